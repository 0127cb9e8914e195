//! Utterances that are said alone: a yes, a command, a room, a report.

use super::{Place, Sentence, Utterance, Yes, number, taken};
use crate::grammar::{Command, Piece, Spoken, Token};

impl Sentence<'_> {
    /// Utterances that must be said alone, so that a yes inside other talk is
    /// never taken for one.
    pub(super) fn short(&self) -> Option<Utterance> {
        if self.tokens.iter().any(|it| it.token == Token::Unknown) {
            return None;
        }
        let meant = self.tokens.iter().map(|it| &it.token);
        let meant: Vec<&Token> = meant.filter(|it| **it != Token::Filler).collect();
        match meant.as_slice() {
            // A no before some of it answers what was read back: "no, room nine".
            [Token::Say(command)] => Some(Utterance::Command(*command)),
            [Token::No, Token::Say(command)] if command.is_instead() => {
                Some(Utterance::Command(*command))
            }
            [Token::Say(Command::Skip), Token::NotTaken(reason)]
            | [
                Token::No,
                Token::Say(Command::Skip),
                Token::NotTaken(reason),
            ] => Some(Utterance::Skip((*reason).clone())),
            [Token::Resident(phrase)] | [Token::No, Token::Resident(phrase)] => {
                Some(Utterance::Called {
                    phrase: phrase.clone(),
                    alone: true,
                })
            }
            [Token::Staff(phrase)] => Some(Utterance::ThisIs(phrase.clone())),
            [Token::Last, Token::Sign(sign)] => Some(Utterance::LastValue(*sign)),
            // "What was her last one?", of what is asked for or waits.
            [Token::Last, Token::Number(Piece::Digit(1))] => {
                let asked = self.context.pending.first();
                asked.map(|sign| Utterance::LastValue(*sign))
            }
            [Token::Felt(felt)] => Some(Utterance::Felt(*felt)),
            [Token::Reason(reason)] => Some(Utterance::Reason(reason.clone())),
            [Token::Activity(activity), ago @ ..] => {
                taken::minutes_ago(ago).map(|minutes| Utterance::Did(*activity, minutes))
            }
            [Token::Reported | Token::No, Token::Nurse(to)]
            | [Token::No, Token::Reported, Token::Nurse(to)] => Some(Utterance::Reported {
                to: Some(to.clone()),
            }),
            [Token::Room | Token::Bed(_), ..] | [Token::No, Token::Room | Token::Bed(_), ..] => {
                self.place().map(Utterance::Place)
            }
            all if all.iter().all(|it| **it == Token::Yes) => {
                Some(Utterance::Yes(Yes::given(self.heard.by)))
            }
            all if all.iter().all(|it| **it == Token::No) => Some(Utterance::No),
            all => not_taken(all),
        }
    }

    /// "Reported to", and a name that is no nurse's. "Told" begins any talk.
    pub(super) fn reported_to_whom(&self) -> Option<Utterance> {
        let meant = self.tokens.iter().filter(|it| it.token != Token::Filler);
        let meant: Vec<&Spoken> = meant.collect();
        let (first, name) = match meant.as_slice() {
            [no, first, name @ ..] if no.token == Token::No => (first, name),
            [first, name @ ..] => (first, name),
            [] => return None,
        };
        let named = |it: &&Spoken| {
            use Token::{Nurse, Resident, Staff, Unknown};
            matches!(it.token, Unknown | Nurse(_) | Resident(_) | Staff(_))
        };
        let begins = first.token == Token::Reported && first.to - first.from > 1;
        (begins && name.iter().all(named)).then_some(Utterance::Reported { to: None })
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
                Token::No if place == Place::default() => rest = after,
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

/// "Refused", with the names of what was, in any order; once or after each name. A no
/// may come first.
fn not_taken(tokens: &[&Token]) -> Option<Utterance> {
    let tokens = match tokens {
        [Token::No, rest @ ..] => rest,
        all => all,
    };
    let mut signs = Vec::new();
    let mut why = None;
    for token in tokens {
        match token {
            Token::Sign(sign) => signs.push(*sign),
            Token::NotTaken(reason) if why.is_none_or(|it| it == reason) => why = Some(reason),
            _ => return None,
        }
    }
    let reason = why?.clone();
    Some(Utterance::NotTaken { signs, reason })
}

const fn is_named_bed(it: &Spoken) -> bool {
    matches!(it.token, Token::Bed(Some(_)))
}
