//! Asking again beside talk. Whoever is asked again and again about words that
//! were not for Sayback turns it off; so what may not have been is asked about
//! [`ASKS`] times in a row, and then shown on the screen alone, until something
//! is heard that needs no question, or after a minute in which nobody spoke.
//! A named reading of which every word was heard surely is always answered.
//!
//! While a yes waits, the question comes again after a silence anyway. So there
//! only what looks like an answer is asked about at once.

use chrono::Duration;

use super::turn::Turn;
use super::{Phase, State};
use crate::facts::Time;
use crate::grammar::{Spoken, Token};
use crate::hearing::{By, Heard, UNKNOWN};
use crate::understanding::{Meant, NotUnderstood, Utterance, Why, meant};

/// How often in a row.
const ASKS: u8 = 2;
/// Whoever speaks after so long a silence begins something new.
const QUIET: Duration = Duration::minutes(1);
/// Confidence under which a yes or no that begins what was not heard surely is taken
/// for a piece of other talk.
const HALF_SURE: f32 = 0.35;

/// What begins so soon after talk, in seconds, goes on with it: "I was born in
/// nineteen", and then "thirty two".
const GOES_ON: f32 = 1.0;
/// What begins so soon after talk has no pause before it: the recogniser ended the
/// talk in the middle. "Repeat" is then the end of "maple street", and "no" that of "you
/// know".
const NO_PAUSE: f32 = 0.15;

/// What was asked about, and what is only shown.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Restraint {
    asked: u8,
    /// When anybody was heard last.
    heard: Option<Time>,
    /// When the last talk ended, in seconds of the sound, where it was heard last.
    talked_until: Option<f32>,
    /// The last words may have been for Sayback, and were not asked about.
    passed_over: bool,
}

impl State {
    /// Whether what was heard last may have been meant for Sayback and was not
    /// asked about, because others were talking.
    #[must_use]
    pub const fn passed_over(&self) -> bool {
        self.restraint.passed_over
    }
}

impl Turn<'_> {
    /// Whether what was understood is answered. What leads to a question at most
    /// may be passed over.
    pub(super) fn answers(
        &mut self,
        heard: &Heard,
        meaning: &Result<Utterance, NotUnderstood>,
    ) -> bool {
        let is_new = |last| self.now - last >= QUIET;
        if self.state.restraint.heard.is_some_and(is_new) {
            self.state.restraint = Restraint::default();
        }
        self.state.restraint.heard = Some(self.now);
        let at_once = self.follows_talk(heard, NO_PAUSE);
        let goes_on = meaning.as_ref().is_ok_and(|it| match it {
            Utterance::Command(_) | Utterance::Yes(_) | Utterance::No | Utterance::Instead(_) => {
                at_once
            }
            it => self.follows_talk(heard, GOES_ON) && self.is_bare_replacement(it),
        });
        self.state.restraint.talked_until = match (meaning, heard.words.last()) {
            // Words that came as text have no times.
            (Err(NotUnderstood::SideTalk), Some(last)) if last.end > last.start => Some(last.end),
            _ => None,
        };
        self.state.restraint.passed_over = false;
        if goes_on {
            self.state.restraint.passed_over = true;
            return false;
        }
        let asked = match self.doubt(heard, meaning, at_once) {
            Doubt::Talk => return true,
            Doubt::None => 0,
            Doubt::Some if self.state.restraint.asked < ASKS => self.state.restraint.asked + 1,
            Doubt::Some | Doubt::Most => {
                self.state.restraint.passed_over = true;
                return false;
            }
        };
        self.state.restraint.asked = asked;
        true
    }

    /// Whether what was heard begins within this many seconds of other talk.
    fn follows_talk(&self, heard: &Heard, pause: f32) -> bool {
        let first = heard.words.first().filter(|_| heard.by == By::Voice);
        let talk = self.state.restraint.talked_until;
        let since_talk = first.zip(talk).map(|(first, talk)| first.start - talk);
        // Where the recogniser cuts talk in the middle, what follows may seem to begin sooner.
        // By more than this it is another stream, whose seconds count anew.
        since_talk.is_some_and(|it| (-0.5..pause).contains(&it))
    }

    /// Whether it is a part of a reading in place of a yes or no, and nothing says
    /// so: no name and no "no".
    fn is_bare_replacement(&self, meaning: &Utterance) -> bool {
        let Utterance::Part(part) = meaning else {
            return false;
        };
        matches!(self.state.phase, Phase::Confirming(_)) && !part.no && part.whose.is_empty()
    }

    /// `at_once` if it begins without a pause after other talk.
    fn doubt(
        &self,
        heard: &Heard,
        meaning: &Result<Utterance, NotUnderstood>,
        at_once: bool,
    ) -> Doubt {
        use NotUnderstood::{Nameless, Nothing, SideTalk, Unsure};
        let dialogue = self.dialogue;
        let doubtful = match meaning {
            Err(Nothing | SideTalk) => return Doubt::Talk,
            Err(_) if self.state.asleep || self.counting() => return Doubt::Talk,
            Err(Nameless) if self.state.phase != Phase::Open => return Doubt::Talk,
            Err(Unsure) if !self.waiting() && !dialogue.worth_asking(self, heard) => {
                return Doubt::Talk;
            }
            Err(Unsure | Nameless) => true,
            Ok(Utterance::Readings {
                claims, unclear, ..
            }) => {
                let meant = || meant(heard, &dialogue.vocabulary, dialogue.ask_below);
                let sure = heard.confidence() >= dialogue.ask_below;
                let cut = sure && unclear.iter().any(|it| it.why == Why::Cut);
                claims.is_empty() && (at_once || !(cut || meant() == Meant::Surely))
            }
            Ok(Utterance::Part(part)) => part.why.is_some() || part.whose.len() > 1,
            // A yes to another nurse than was said would close the report.
            Ok(Utterance::Reported { to: None }) => {
                !matches!(self.state.phase, Phase::ConfirmReport { .. })
            }
            Ok(_) => false,
        };
        if !doubtful || heard.by != By::Voice {
            Doubt::None
        } else if self.state.waits_for_yes() && !self.looks_like_an_answer(heard) {
            Doubt::Most
        } else {
            Doubt::Some
        }
    }

    /// Whether words look like an answer to a read-back: the first is a yes or no,
    /// more or less surely, or it begins a time, or they are a number of several words, surely.
    fn looks_like_an_answer(&self, heard: &Heard) -> bool {
        let words: Vec<String> = heard.words.iter().map(|it| it.text.clone()).collect();
        let mut tokens = self.dialogue.vocabulary.tokens(&words);
        tokens.retain(|it| it.token != Token::Filler);
        let sure = |it: &Spoken| {
            let words = heard.words[it.from..it.to].iter();
            words.map(|it| it.confidence).fold(1.0, f32::min)
        };
        let of_a_number = |it: &Spoken| {
            matches!(it.token, Token::Number(_) | Token::Over | Token::Unit(_))
                && sure(it) >= self.dialogue.ask_below
        };
        let answer = tokens
            .first()
            .is_some_and(|it| matches!(it.token, Token::Yes | Token::No) && sure(it) >= HALF_SURE);
        // A time that was not clear would else be lost with the yes that follows.
        let time = tokens.first().is_some_and(|it| {
            matches!(it.token, Token::Taken(_)) && sure(it) >= self.dialogue.ask_below
        });
        answer
            || time
            || self.may_be_an_answer(heard)
            || (tokens.len() > 1 && tokens.iter().all(of_a_number))
    }

    /// Whether one word that is no answer was heard where a yes is awaited, and may have
    /// been an answer: some voices' "yes" is heard as "less". The question would only
    /// come again after a silence.
    pub(super) fn may_be_an_answer(&self, heard: &Heard) -> bool {
        let of_one = |text: &str| {
            let words: Vec<String> = text.split(' ').map(str::to_owned).collect();
            let tokens = self.dialogue.vocabulary.tokens(&words);
            tokens.len() == 1 && matches!(tokens[0].token, Token::Yes | Token::No)
        };
        let one_word = heard.words.len() == 1 && heard.words[0].text != UNKNOWN;
        let mut others = heard.alternatives.iter();
        self.state.waits_for_yes() && one_word && others.any(|it| of_one(&it.text))
    }

    /// What may be a piece of other talk, and would be read back, is asked for again.
    pub(super) fn doubt_pieces(&self, heard: &Heard, meaning: &mut Utterance) {
        self.doubt_end(heard, meaning);
        self.doubt_replacement(heard, meaning);
    }

    /// Readings without a pause before them may be the end of the talk: "pain seven" is
    /// how "very handsome" ends.
    fn doubt_end(&self, heard: &Heard, meaning: &mut Utterance) {
        if self.follows_talk(heard, NO_PAUSE) {
            meaning.doubt();
            if let Utterance::Readings { yes, .. } = meaning {
                *yes = None;
            }
        }
    }

    /// A part of a reading that comes in place of a yes or no without a no before
    /// it changes what was read back: every word of it must have been heard surely.
    fn doubt_replacement(&self, heard: &Heard, meaning: &mut Utterance) {
        let sure = heard.confidence() >= self.dialogue.ask_below;
        if !sure
            && self.is_bare_replacement(meaning)
            && let Utterance::Part(part) = meaning
        {
            part.why
                .get_or_insert_with(|| Why::Unsure(heard.confidence()));
        }
    }
}

/// Whether an answer would be a question.
enum Doubt {
    /// Nobody means Sayback.
    Talk,
    None,
    Some,
    /// And the question that waits comes again by itself.
    Most,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dialogue::pause::tests::having_said;
    use crate::dialogue::{Action, Event};

    /// What is said after these words, which begin at this second of the sound.
    fn heard(words: &str, start: f32) -> Event {
        let mut heard = Heard::from_text(words);
        let mut at = start;
        for word in &mut heard.words {
            (word.start, word.end) = (at, at + 0.3);
            at += 0.3;
        }
        Event::Heard(heard)
    }

    #[test]
    fn a_number_that_goes_on_with_talk_replaces_nothing() {
        let now = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap();
        let said = |pause: f32, words: &str| {
            let (dialogue, state) = having_said(&["room nine", "yes", "pulse seventy two"]);
            let (state, _) = dialogue.step(state, &heard("on the [unk]", 10.0), now);
            let (_, actions) = dialogue.step(state, &heard(words, 10.9 + pause), now);
            actions.iter().any(|it| matches!(it, Action::Say(_)))
        };
        assert!(!said(0.3, "eighty two"));
        assert!(said(1.5, "eighty two"));
        assert!(said(0.3, "no eighty two"));
        assert!(said(0.3, "pulse eighty two"));
        assert!(said(0.3, "yes"));
    }

    #[test]
    fn a_word_that_may_have_been_a_yes_is_asked_about_at_once() {
        let now = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap();
        let said = |words: &str, alternative: &str| {
            let (dialogue, state) = having_said(&["room nine", "yes", "pulse seventy two"]);
            let mut heard = Heard::from_text(words);
            heard.alternatives.push(crate::hearing::Alternative {
                text: alternative.to_owned(),
                behind: 2.0,
            });
            let (state, actions) = dialogue.step(state, &Event::Heard(heard), now);
            assert!(state.waits_for_yes(), "{words}");
            actions.iter().any(|it| matches!(it, Action::Say(_)))
        };
        assert!(said("less", "yes"));
        assert!(said("less", "no"));
        assert!(!said("less", "last"));
        assert!(!said("[unk]", "yes"));
        assert!(!said("less the", "yes the"));
    }

    #[test]
    fn a_reading_without_a_pause_before_it_is_asked_for_again() {
        let now = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap();
        let question = |before: &[&str], pause: f32| {
            let (dialogue, state) = having_said(before);
            let (state, _) = dialogue.step(state, &heard("on the [unk]", 10.0), now);
            let (state, _) = dialogue.step(state, &heard("pain seven", 10.9 + pause), now);
            state.question().unwrap().to_owned()
        };
        let open = ["room nine", "yes"];
        let again = "I missed part of the pain. Say the pain again.";
        assert_eq!(question(&open, 0.0), again);
        assert_eq!(question(&open, 0.3), "Pain seven of ten. Yes?");
        // A yes that waits is asked for again by itself.
        let waits = ["room nine", "yes", "pulse seventy two"];
        assert_eq!(question(&waits, 0.0), "Pulse seven two. Yes?");
    }

    #[test]
    fn a_command_without_a_pause_before_it_is_the_end_of_the_talk() {
        let now = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap();
        let said = |pause: f32| {
            let (dialogue, state) = having_said(&["room nine", "yes", "pulse seventy two", "yes"]);
            let (state, _) = dialogue.step(state, &heard("on the [unk]", 10.0), now);
            let (_, actions) = dialogue.step(state, &heard("repeat", 10.9 + pause), now);
            actions.iter().any(|it| matches!(it, Action::Say(_)))
        };
        assert!(!said(0.0));
        assert!(said(0.3));
    }
}
