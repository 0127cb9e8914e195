//! Words in, claims out: what the aide meant, or the reason why that is not
//! clear. Pure, and never a guess: where words were lost, where two values are
//! equally sensible, or where the recogniser was unsure, the answer is a reason
//! to ask again.

mod claims;
mod number;
mod taken;
mod utterance;
mod value;

use crate::grammar::{Spoken, Token, Vocabulary};
use crate::hearing::Heard;
use crate::vitals::{Units, VitalSign};

pub use number::candidates as number_candidates;
pub use utterance::{Claim, NotUnderstood, Part, Place, Taken, Unclear, Utterance, Why, Yes};

/// What understanding needs to know of the conversation.
#[derive(Debug, Clone)]
pub struct Context<'a> {
    /// The home's units, for values spoken without one.
    pub units: Units,
    /// The vital signs that wait for an answer or a yes. A number spoken
    /// without a name can only belong to one of these.
    pub pending: &'a [VitalSign],
    /// Recogniser confidence, 0 to 1, under which a value is asked for again
    /// rather than offered.
    pub ask_below: f32,
}

/// The confidence under which a value is asked for again, unless a home says
/// otherwise.
pub const ASK_BELOW: f32 = 0.7;

/// What an utterance means.
///
/// # Errors
/// [`NotUnderstood`] when it is not addressed to Sayback, or nothing was said.
pub fn understand(
    heard: &Heard,
    vocabulary: &Vocabulary,
    context: &Context<'_>,
) -> Result<Utterance, NotUnderstood> {
    let best = meaning(heard, vocabulary, context)?;
    Ok(with_rivals(best, heard, vocabulary, context))
}

fn meaning(
    heard: &Heard,
    vocabulary: &Vocabulary,
    context: &Context<'_>,
) -> Result<Utterance, NotUnderstood> {
    let words: Vec<String> = heard.words.iter().map(|it| it.text.clone()).collect();
    let tokens = vocabulary.tokens(&words);
    let meant = |it: &Spoken| it.token != Token::Filler;
    if !tokens.iter().any(meant) {
        return Err(NotUnderstood::Nothing);
    }
    if tokens
        .iter()
        .all(|it| matches!(it.token, Token::Filler | Token::Unknown))
    {
        return Err(NotUnderstood::SideTalk);
    }
    let sentence = Sentence {
        heard,
        tokens: &tokens,
        context,
    };
    sentence
        .short()
        .or_else(|| sentence.long())
        .ok_or(NotUnderstood::SideTalk)
}

/// Marks claims for which another transcript says another value.
fn with_rivals(
    best: Utterance,
    heard: &Heard,
    vocabulary: &Vocabulary,
    context: &Context<'_>,
) -> Utterance {
    let Utterance::Readings {
        yes,
        claims,
        mut unclear,
    } = best
    else {
        return best;
    };
    let others: Vec<Utterance> = heard
        .rivals()
        .filter_map(|text| meaning(&Heard::from_text(text), vocabulary, context).ok())
        .collect();
    let mut certain = Vec::new();
    for claim in claims {
        let rivals = others
            .iter()
            .filter_map(|other| other.claim(claim.measurement.sign()));
        let mut values: Vec<_> = rivals
            .map(|rival| rival.measurement.clone())
            .filter(|rival| rival.value() != claim.measurement.value())
            .collect();
        if values.is_empty() {
            certain.push(claim);
            continue;
        }
        values.insert(0, claim.measurement.clone());
        values.dedup_by(|a, b| a.value() == b.value());
        values.truncate(2);
        unclear.push(Unclear {
            sign: claim.measurement.sign(),
            why: Why::Either(values),
            qualifiers: claim.measurement.qualifiers().clone(),
        });
    }
    Utterance::Readings {
        yes,
        claims: certain,
        unclear,
    }
}

/// One utterance, cut into tokens.
struct Sentence<'a> {
    heard: &'a Heard,
    tokens: &'a [Spoken],
    context: &'a Context<'a>,
}

impl Sentence<'_> {
    /// Utterances that must be said alone, so that a yes inside other talk is
    /// never taken for one.
    fn short(&self) -> Option<Utterance> {
        if self.tokens.iter().any(|it| it.token == Token::Unknown) || self.unsure() {
            return None;
        }
        let meant = self.tokens.iter().map(|it| &it.token);
        let meant: Vec<&Token> = meant.filter(|it| **it != Token::Filler).collect();
        match meant.as_slice() {
            [Token::Say(command)] => Some(Utterance::Command(*command)),
            [Token::Reported, Token::Nurse(to)] => Some(Utterance::Reported { to: to.clone() }),
            [Token::NotTaken(reason), rest @ ..] | [rest @ .., Token::NotTaken(reason)] => {
                let sign = |it: &&Token| match it {
                    Token::Sign(sign) => Some(*sign),
                    _ => None,
                };
                let signs: Option<Vec<VitalSign>> = rest.iter().map(sign).collect();
                signs.map(|signs| Utterance::NotTaken {
                    signs,
                    reason: *reason,
                })
            }
            [Token::Room | Token::Bed(_), ..] => self.place().map(Utterance::Place),
            all if all.iter().all(|it| **it == Token::Yes) => Some(Utterance::Yes(Yes::heard())),
            all if all.iter().all(|it| **it == Token::No) => Some(Utterance::No),
            _ => None,
        }
    }

    /// Whether any word of the utterance is under the asking threshold.
    fn unsure(&self) -> bool {
        self.heard.confidence() < self.context.ask_below
    }

    fn place(&self) -> Option<Place> {
        let mut place = Place::default();
        let mut rest = self.tokens;
        while let Some((first, after)) = rest.split_first() {
            let number = |tokens: &[Spoken]| {
                let pieces = tokens.iter().map_while(|it| match it.token {
                    Token::Number(piece) => Some(piece),
                    _ => None,
                });
                let pieces: Vec<_> = pieces.collect();
                match number::candidates(&pieces, false).as_slice() {
                    [only] => Some((only.to_string(), pieces.len())),
                    _ => None,
                }
            };
            match &first.token {
                Token::Filler => rest = after,
                Token::Room => {
                    let (room, used) = number(after)?;
                    place.room = Some(room);
                    rest = &after[used..];
                }
                Token::Bed(Some(name)) => {
                    place.bed = Some(name.clone());
                    rest = after;
                }
                Token::Bed(None) if matches!(after.first(), Some(it) if is_named_bed(it)) => {
                    rest = after;
                }
                Token::Bed(None) => {
                    let (bed, used) = number(after)?;
                    place.bed = Some(bed);
                    rest = &after[used..];
                }
                _ => return None,
            }
        }
        Some(place)
    }
}

const fn is_named_bed(it: &Spoken) -> bool {
    matches!(it.token, Token::Bed(Some(_)))
}
