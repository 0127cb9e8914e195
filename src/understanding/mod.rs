//! Words in, claims out: what the aide meant, or the reason why that is not
//! clear. Pure, and never a guess: where words were lost, where two values are
//! equally sensible, or where the recogniser was unsure, the answer is a reason
//! to ask again.

mod address;
mod breath;
mod claims;
mod cut;
mod flows;
mod instead;
mod lasting;
mod manner;
mod number;
mod order;
mod painless;
mod short;
mod taken;
mod typed;
mod utterance;
mod value;
mod whole;

use std::borrow::Cow;

use crate::grammar::{Piece, Spoken, Token, Vocabulary};
use crate::hearing::{Heard, UNKNOWN, Word};
use crate::vitals::{
    Measurement, NotTakenReason, Precautions, Qualifier, Qualifiers, Units, VitalSign,
};

pub use address::{Meant, meant};
pub use manner::{Manner, Worked};
pub use number::candidates as number_candidates;
pub use order::Order;
pub use typed::typed;
pub use utterance::{
    Claim, NotUnderstood, Part, Place, Rival, Taken, Unclear, Utterance, Valued, Why, Yes,
};
pub(crate) use value::is_core;
use value::no_diastolic;
pub use whole::is_whole;

/// What understanding needs to know of the conversation.
#[derive(Debug, Clone)]
pub struct Context<'a> {
    /// The home's units, for values spoken without one.
    pub units: Units,
    /// The vital signs that wait for an answer or a yes. A number spoken
    /// without a name can only belong to one of these.
    pub pending: &'a [VitalSign],
    /// Of these, the one that was said last: a number that begins with "and" or "point"
    /// goes on with its.
    pub last: Option<VitalSign>,
    /// The precautions of the resident being recorded.
    pub precautions: Option<&'a Precautions>,
    /// Recogniser confidence, 0 to 1, under which a value is asked for again
    /// rather than offered.
    pub ask_below: f32,
    /// How what waits was said: a number that is said of it without a unit or a time of its
    /// own is taken the same way.
    pub manners: &'a [Manner],
    /// How what is kept was said, for changes of it.
    pub kept: &'a [Manner],
}

impl Context<'static> {
    /// Where nothing waits and nothing is kept.
    #[must_use]
    pub const fn at_rest(units: Units, ask_below: f32) -> Self {
        Self {
            units,
            pending: &[],
            last: None,
            precautions: None,
            ask_below,
            manners: &[],
            kept: &[],
        }
    }
}

/// The confidence under which a value is asked for again, unless a home says
/// otherwise.
pub const ASK_BELOW: f32 = 0.85;

/// What an utterance means.
///
/// # Errors
/// [`NotUnderstood`] when it is not addressed to Sayback, or nothing was said.
pub fn understand(
    heard: &Heard,
    vocabulary: &Vocabulary,
    context: &Context<'_>,
) -> Result<Utterance, NotUnderstood> {
    let best = meaning(heard, vocabulary, context);
    let (best, heard) =
        if let Some((best, instead)) = whole::instead(&best, heard, vocabulary, context) {
            (best, Cow::Owned(instead))
        } else if let Some((yes, without)) = breath::without(&best, heard, vocabulary, context) {
            (yes, Cow::Owned(without))
        } else {
            let no = || whole::may_be_no(heard, vocabulary, context);
            let best = best.or_else(|why| no().then_some(Utterance::No).ok_or(why))?;
            (best, Cow::Borrowed(heard))
        };
    let found = with_rivals(best, &heard, vocabulary, context)?;
    let meant = || meant(&heard, vocabulary, context.ask_below);
    if address::is_talk(&found, context.pending, meant) {
        return Err(NotUnderstood::SideTalk);
    }
    Ok(address::doubted(found, meant).sounding(heard.sound.as_ref()))
}

fn meaning(
    heard: &Heard,
    vocabulary: &Vocabulary,
    context: &Context<'_>,
) -> Result<Utterance, NotUnderstood> {
    let words: Vec<String> = heard.words.iter().map(|it| it.text.clone()).collect();
    let mut tokens = vocabulary.tokens(&words);
    let ordered = outside_of_orders(&mut tokens);
    without_other_sites(&mut tokens);
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
        long: &lasting::may_be_two(heard, vocabulary, context),
    };
    if ordered {
        // Half of an order is none, and no reading either.
        let lost = tokens.iter().any(|it| it.token == Token::Unknown);
        let why = if lost {
            NotUnderstood::SideTalk
        } else {
            NotUnderstood::Unsure
        };
        let found = sentence.order().map(Utterance::Order);
        return found.map(|it| sentence.instead(it)).ok_or(why);
    }
    let found = sentence.short().or_else(|| sentence.long());
    let found = found.or_else(|| sentence.reported_to_whom());
    let found = found.map(|it| sentence.instead(it));
    found.ok_or_else(|| sentence.why_not())
}

/// Words of orders mean nothing where no order begins: "pulse to eighty" may
/// have been any number, and is asked for again. Returns whether one begins.
fn outside_of_orders(tokens: &mut [Spoken]) -> bool {
    let mut meant = tokens.iter().filter(|it| it.token != Token::Filler);
    let first = meant.next();
    let begins = |it: &Spoken| matches!(it.token, Token::Order(word) if word.begins());
    // "No, change the pulse to eighty."
    let corrects = |it: &Spoken| matches!(it.token, Token::Order(word) if word.follows_no());
    let after_no = first.is_some_and(|it| it.token == Token::No);
    if first.is_some_and(begins) || (after_no && meant.next().is_some_and(corrects)) {
        return true;
    }
    let words = tokens.iter_mut();
    let of_order = words.filter(|it| matches!(it.token, Token::Order(_)));
    of_order.for_each(|it| it.token = Token::Unknown);
    false
}

/// "Right" and a word that is not known is hardly the right arm.
fn without_other_sites(tokens: &mut [Spoken]) {
    for at in 1..tokens.len() {
        let lost = tokens[at].token == Token::Unknown;
        if lost && matches!(tokens[at - 1].token, Token::Short(_)) {
            tokens[at - 1].token = Token::Unknown;
        }
    }
}

/// Whether two meanings are the same, whatever their words.
fn alike(a: &Utterance, b: &Utterance) -> bool {
    match (a, b) {
        (Utterance::Order(a), Utterance::Order(b)) => a.is_like(b),
        // A name that was not understood says nothing against one that was.
        (Utterance::Reported { to: None }, Utterance::Reported { .. })
        | (Utterance::Reported { .. }, Utterance::Reported { to: None }) => true,
        _ => a == b,
    }
}

/// Another transcript's meaning, and how likely it is beside the best one, 0 to 1.
struct Other {
    meaning: Result<Utterance, NotUnderstood>,
    /// Whether speech was heard in it that fits no word.
    lost: bool,
    /// How many words it has.
    words: usize,
    weight: f32,
}

/// Takes the other transcripts into account. What counts is whether they mean
/// another value, not whether they are other words: a claim's confidence is the
/// share of likelihood of all transcripts that claim the same.
fn with_rivals(
    best: Utterance,
    heard: &Heard,
    vocabulary: &Vocabulary,
    context: &Context<'_>,
) -> Result<Utterance, NotUnderstood> {
    let others = heard.alternatives.iter().map(|it| Other {
        meaning: meaning(&Heard::from_text(&it.text), vocabulary, context),
        lost: it.text.split(' ').any(|word| word == UNKNOWN),
        words: it.text.split(' ').count(),
        weight: (-it.behind).exp(),
    });
    let others: Vec<Other> = others.collect();
    match best {
        Utterance::Readings {
            yes,
            no,
            claims,
            mut unclear,
        } => {
            let mut certain = Vec::new();
            let enough = 1.0 - OTHER_VALUE * (1.0 - context.ask_below);
            for mut claim in claims {
                let (share, rivals) = share_of(&claim.measurement, heard.words.len(), &others);
                // A word that hardly any transcript has is not trusted either.
                let doubted = claim.confidence < DOUBTED_WORD;
                claim.confidence = share;
                if share >= enough && !doubted {
                    claim.rivals = rivals;
                    certain.push(claim);
                    continue;
                }
                unclear.push(match rivals.into_iter().next() {
                    Some(Rival {
                        measurement: rival, ..
                    }) => Unclear {
                        qualifiers: agreed(&claim.measurement, &rival),
                        ..Unclear::of(&claim, Why::Either(vec![claim.measurement.clone(), rival]))
                    },
                    None => Unclear::of(&claim, Why::Unsure(share)),
                });
            }
            let believed = |it: Unclear| {
                let why = cut::believed(it.why.clone(), heard.confidence(), context, &others);
                let manner = it.manner.filter(|_| why == it.why);
                Unclear { why, manner, ..it }
            };
            let unclear: Vec<Unclear> = unclear.into_iter().map(believed).collect();
            // "Yesterday my pressure was" begins with what sounds like a yes.
            Ok(Utterance::Readings {
                yes: yes.filter(|_| unclear.is_empty()),
                no,
                claims: certain,
                unclear,
            })
        }
        Utterance::Part(mut part) => {
            let differs = |it: &&Other| match &it.meaning {
                Ok(Utterance::Part(other)) => {
                    other.value != part.value || other.qualifiers != part.qualifiers
                }
                Ok(_) => true,
                Err(_) => false,
            };
            let rivals: f32 = others.iter().filter(differs).map(|it| it.weight).sum();
            let doubted = part.confidence < DOUBTED_WORD;
            part.confidence = 1.0 / (1.0 + rivals);
            part.rivals = rivals_of(&part, &others);
            let believed = |why| cut::believed(why, heard.confidence(), context, &others);
            part.why = part.why.map(believed);
            if part.confidence < context.ask_below || doubted {
                part.why = part.why.or(Some(Why::Unsure(part.confidence)));
            }
            Ok(Utterance::Part(part))
        }
        yes @ Utterance::Yes(_) => {
            let sure = breath::confidence_of(&yes, heard, vocabulary, context) >= context.ask_below;
            sure.then_some(yes).ok_or(NotUnderstood::Unsure)
        }
        // "Next wrong" and "that's wrong" are the same no.
        Utterance::No => {
            let says_no = |word: &&Word| {
                let tokens = vocabulary.tokens(std::slice::from_ref(&word.text));
                tokens.iter().all(|it| it.token == Token::No)
            };
            let words = heard.words.iter().filter(says_no).map(|it| it.confidence);
            let sure = words.fold(0.0, f32::max) >= context.ask_below;
            sure.then_some(Utterance::No).ok_or(NotUnderstood::Unsure)
        }
        other => {
            let rivals = others.iter().filter(|it| match &it.meaning {
                Ok(meaning) => !alike(meaning, &other),
                Err(_) => false,
            });
            let share = 1.0 / (1.0 + rivals.map(|it| it.weight).sum::<f32>());
            if share >= context.ask_below && heard.confidence() >= DOUBTED_COMMAND {
                Ok(other)
            } else {
                Err(NotUnderstood::Unsure)
            }
        }
    }
}

/// How much of the doubt that a word may have, another value may have: one third.
const OTHER_VALUE: f32 = 1.0 / 3.0;

/// Word confidence under which a command or a refusal is asked for again.
const DOUBTED_COMMAND: f32 = 0.5;

/// Word confidence under which a reading is asked for again whatever the other
/// transcripts mean.
const DOUBTED_WORD: f32 = 0.5;

/// The share of likelihood, 0 to 1, of the transcripts that claim the same as
/// the best one, and the other claims. Transcripts that claim nothing
/// clear about this vital sign say nothing about its value, unless what they
/// lack is words beside the number: speech that fits no word, or a word more than
/// the best one has, which may have been a digit. That it was not taken is another claim.
fn share_of(best: &Measurement, words: usize, others: &[Other]) -> (f32, Vec<Rival>) {
    let (mut same, mut other) = (1.0, 0.0);
    let mut rivals = Vec::new();
    for it in others {
        let (claims, unclear) = match &it.meaning {
            Ok(Utterance::Readings {
                claims, unclear, ..
            }) => (claims, unclear),
            Ok(Utterance::NotTaken { signs, .. }) if signs.contains(&best.sign()) => {
                other += it.weight;
                continue;
            }
            _ => continue,
        };
        let of_sign = claims.iter().map(|it| &it.measurement);
        let of_sign: Vec<_> = of_sign.filter(|it| it.sign() == best.sign()).collect();
        let more = it.lost || it.words > words;
        let gap = |it: &Unclear| it.sign == best.sign() && it.why == Why::Gap;
        // A diastolic of which only that it was said is left must not pass for none.
        let over = |it: &Unclear| it.sign == best.sign();
        let refused =
            |it: &Unclear| it.sign == best.sign() && matches!(it.why, Why::OrNotTaken(..));
        if of_sign.iter().any(|it| !differs(best, it)) {
            same += it.weight;
        } else if let Some(first) = of_sign.first() {
            other += it.weight;
            add(&mut rivals, first, it.weight);
        } else if (more && unclear.iter().any(gap))
            || unclear.iter().any(refused)
            || (best.is_palpated() && unclear.iter().any(over))
        {
            other += it.weight;
        }
    }
    let all = same + other;
    for it in &mut rivals {
        it.share /= all;
    }
    (same / all, rivals)
}

/// The other values that a part may have been.
fn rivals_of(part: &Part, others: &[Other]) -> Vec<Rival> {
    let mut rivals = Vec::new();
    let mut all = 1.0;
    for Other {
        meaning, weight, ..
    } in others
    {
        let (Some(own), Ok(Utterance::Part(other))) = (&part.value, meaning) else {
            continue;
        };
        all += weight;
        if let Some(value) = &other.value
            && value.measurement != own.measurement
        {
            add(&mut rivals, &value.measurement, *weight);
        }
    }
    for it in &mut rivals {
        it.share /= all;
    }
    rivals
}

/// Adds a transcript's weight to what it claims. They come by likelihood, so
/// the first claim is the likeliest.
fn add(rivals: &mut Vec<Rival>, measurement: &Measurement, weight: f32) {
    match rivals.iter_mut().find(|it| it.measurement == *measurement) {
        Some(rival) => rival.share += weight,
        None => rivals.push(Rival {
            measurement: measurement.clone(),
            share: weight,
        }),
    }
}

/// Whether another claim is of another value or qualifier, or has a qualifier more, which
/// may have been said and lost.
fn differs(best: &Measurement, other: &Measurement) -> bool {
    let qualifiers = best.qualifiers();
    let other_way = |it: Qualifier| qualifiers.get(it.kind()) != Some(it);
    other.value() != best.value() || other.qualifiers().iter().any(other_way)
}

/// The qualifiers that the rival does not dispute.
fn agreed(best: &Measurement, rival: &Measurement) -> Qualifiers {
    let mut agreed = Qualifiers::default();
    let disputed = |it: Qualifier| {
        rival
            .qualifiers()
            .get(it.kind())
            .is_some_and(|other| other != it)
    };
    let undisputed = best.qualifiers().iter().filter(|it| !disputed(*it));
    undisputed.for_each(|it| agreed.set(it));
    agreed
}

/// One utterance, cut into tokens.
struct Sentence<'a> {
    heard: &'a Heard,
    tokens: &'a [Spoken],
    context: &'a Context<'a>,
    /// The words that may have been a digit said twice, by their place.
    long: &'a [usize],
}

impl Sentence<'_> {
    /// "Yes, next": an answer that is not taken, and that something would wait for.
    fn is_answer_and_more(&self) -> bool {
        let mut meant = self.tokens.iter().filter(|it| it.token != Token::Filler);
        let waits = !self.context.pending.is_empty();
        let answer = |it: &Token| *it == Token::Yes || (waits && *it == Token::No);
        let more = |it: &Token| match it {
            Token::Say(_) => true,
            Token::Is(_) => waits,
            _ => false,
        };
        meant.next().is_some_and(|it| answer(&it.token)) && meant.all(|it| more(&it.token))
    }

    /// "Weight refused because she is tired": unanswered, it would be taken for noted.
    fn begins_with_not_taken(&self) -> bool {
        let mut meant = self.tokens.iter().filter(|it| it.token != Token::Filler);
        let sign = |it: &Spoken| matches!(it.token, Token::Sign(_));
        let not_taken = |it: &Spoken| matches!(it.token, Token::NotTaken(_));
        // "Asleep, didn't wake her."
        let alone = |it: &Spoken| {
            matches!(
                it.token,
                Token::NotTaken(NotTakenReason::Refused | NotTakenReason::Asleep)
            )
        };
        let Some(first) = meant.next() else {
            return false;
        };
        let lost = |it: &Spoken| it.token == Token::Unknown;
        (alone(first) && meant.clone().all(lost))
            || (sign(first) && meant.next().is_some_and(not_taken))
    }

    /// Why an utterance without meaning has none. Words that are nothing but a
    /// value are worth a question; anything else is side talk.
    fn why_not(&self) -> NotUnderstood {
        let value = |it: &Token| {
            matches!(it, Token::Number(_) | Token::Over | Token::Unit(_)) || no_diastolic(it)
        };
        let part = |it: &Token| value(it) || matches!(it, Token::Filler | Token::Is(_) | Token::No);
        // A digit alone comes up in any talk.
        let number = |it: &Token| matches!(it, Token::Number(Piece::Teen(_) | Piece::Ten(_)));
        let mut tokens = self.tokens.iter().map(|it| &it.token);
        // Two reasons in one breath.
        let of_not_taken =
            |it: &Token| matches!(it, Token::Sign(_) | Token::NotTaken(_) | Token::Filler);
        if tokens.clone().all(of_not_taken)
            && tokens.clone().any(|it| matches!(it, Token::NotTaken(_)))
        {
            return NotUnderstood::Unsure;
        }
        if self.is_answer_and_more() || self.begins_with_not_taken() {
            return NotUnderstood::Unsure;
        }
        let sure = self.heard.confidence() >= self.context.ask_below;
        let several = tokens.clone().filter(|it| is_core(it)).count() > 1;
        if sure && (several || tokens.clone().any(number)) && tokens.all(part) {
            NotUnderstood::Nameless
        } else {
            NotUnderstood::SideTalk
        }
    }
}
