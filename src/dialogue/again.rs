//! Which utterances are heard a second time, and what for.

use std::collections::BTreeSet;

use super::{Dialogue, State};
use crate::grammar::Token;
use crate::hearing::{Heard, UNKNOWN};
use crate::understanding::{NotUnderstood, Utterance, is_core, is_whole};
use crate::vitals::VitalSign;

/// More vital signs in one breath are heard once only: with so many phrases
/// again, little would be gained.
const MOST_SIGNS: usize = 3;

/// A whole reading whose every word is this sure is believed at once: of 78 such
/// ones of the bench's tune half, none was wrong.
const SURE: f32 = 0.95;

/// Where more than one word in so many fits nothing, it is talk. Below that a name
/// that was not heard is often heard the second time; of sixty sentences of talk in
/// four voices none became a reading so.
const WORDS_FOR_A_LOST_ONE: usize = 3;

/// What an utterance is heard again for: readings of these vital signs, after these
/// words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Again {
    signs: Vec<VitalSign>,
    after: &'static str,
}

impl Again {
    /// The same for the same phrases.
    #[must_use]
    pub fn name(&self) -> String {
        let names: Vec<&str> = self.signs.iter().map(|it| it.name()).collect();
        format!("{} {}", self.after, names.join(", "))
    }
}

impl Dialogue {
    /// The phrases of what an utterance is heard again for.
    #[must_use]
    pub fn phrases_again(&self, again: &Again) -> Vec<String> {
        self.grammar.phrases_of(&again.signs, again.after)
    }

    /// As [`Dialogue::worth_hearing_again`], by the words so far of what has not ended: how
    /// sure they are is known at the end only.
    #[must_use]
    pub fn worth_beginning_again(&self, state: &State, words: &str) -> Option<Again> {
        let mut heard = Heard::from_text(words);
        for word in &mut heard.words {
            word.confidence = self.ask_below;
        }
        self.worth_hearing_again(state, &heard)
    }

    /// What the sound of an utterance is worth hearing again for:
    /// readings of the vital signs that it names, or of those whose unit it has.
    /// `None` for what is sure, for anything else, and for talk: nothing but
    /// readings is listened for then, and some would be found.
    #[must_use]
    pub fn worth_hearing_again(&self, state: &State, heard: &Heard) -> Option<Again> {
        let words: Vec<String> = heard.words.iter().map(|it| it.text.clone()).collect();
        let tokens = self.vocabulary.tokens(&words);
        let tokens: Vec<&Token> = tokens.iter().map(|it| &it.token).collect();
        let named = tokens.iter().filter_map(|it| match it {
            Token::Sign(sign) => Some(*sign),
            _ => None,
        });
        let mut signs: BTreeSet<VitalSign> = named.collect();
        let meaning = self.meaning(state, heard);
        let sure =
            heard.confidence() >= SURE && is_whole(&meaning, &heard.text(), &self.vocabulary);
        let worth = match meaning {
            Ok(Utterance::Readings { .. } | Utterance::Part(_)) => {
                !sure && tokens.iter().all(|it| of_readings(it))
            }
            Err(NotUnderstood::SideTalk | NotUnderstood::Nameless) => {
                if signs.is_empty() {
                    signs = tokens.iter().flat_map(|it| with_unit(it)).collect();
                }
                let lost = words.iter().filter(|it| *it == UNKNOWN).count();
                lost * WORDS_FOR_A_LOST_ONE <= words.len()
            }
            _ => false,
        };
        let after = match tokens.first() {
            Some(Token::No) => "no",
            _ => "",
        };
        let signs: Vec<VitalSign> = signs.into_iter().collect();
        let few = (1..=MOST_SIGNS).contains(&signs.len());
        (worth && few).then_some(Again { signs, after })
    }
}

/// The vital signs that a unit is of.
fn with_unit(token: &Token) -> Vec<VitalSign> {
    let signs = VitalSign::ALL.iter().copied();
    match token {
        Token::Unit(unit) => signs.filter(|it| unit.is_of(*it)).collect(),
        _ => Vec::new(),
    }
}

/// Whether readings hold it when they hold nothing of when, where or who.
const fn of_readings(token: &Token) -> bool {
    is_core(token)
        || matches!(
            token,
            Token::Sign(_)
                | Token::Is(_)
                | Token::Short(_)
                | Token::Unit(_)
                | Token::Number(_)
                | Token::Device(_)
                | Token::No
                | Token::Fix
                | Token::Filler
                | Token::Unknown
        )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dialogue::pause::tests::having_said;

    #[test]
    fn readings_are_heard_again_and_nothing_else_is() {
        let (dialogue, state) = having_said(&["room nine", "yes"]);
        let again = |words: &str| {
            let mut heard = Heard::from_text(words);
            heard.words[0].confidence = 0.9;
            dialogue.worth_hearing_again(&state, &heard).is_some()
        };
        for reading in [
            "pulse seventy two",
            "temperature ninety six i temporal pain level can't say",
            "nine six three inches",
            "[unk] eighty two percent",
            "told a hundred and twenty six centimeters",
        ] {
            assert!(again(reading), "{reading}");
        }
        for other in [
            "yes",
            "room nine",
            "pulse refused",
            "change the pulse to eighty",
            "what was her last pulse",
            "pulse eighty taken at nine fifteen",
            "[unk] pulse is [unk]",
            "[unk] [unk] eighty two percent",
            "eighty two",
        ] {
            assert!(!again(other), "{other}");
        }
        let sure = Heard::from_text("pulse seventy two");
        assert_eq!(dialogue.worth_hearing_again(&state, &sure), None);
        let half = Heard::from_text("pulse eighty wrong");
        assert!(dialogue.worth_hearing_again(&state, &half).is_some());
    }
}
