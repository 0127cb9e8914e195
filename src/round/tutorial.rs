//! A practice round: Sayback asks for one phrase after another, and each step
//! waits until the aide has done it. The answers are the real ones of the
//! dialogue; only the asking is added.

use crate::dialogue::{Dialogue, Event, Phase, State};
use crate::facts::{Record, Time};
use crate::grammar::{Grammar, GrammarError};
use crate::hearing::Heard;
use crate::residents::Home;

/// What is explained before a phrase is asked for, and the phrase.
pub const LESSONS: &[(&str, &str)] = &[
    (
        "This is practice: nothing is stored. First, who it is.",
        "room seven",
    ),
    (
        "The name and birth date are read from the wristband. When they are right,",
        "yes",
    ),
    ("Now a reading.", "pulse seventy two regular"),
    (
        "Only your yes keeps it. Listen to the number first, then",
        "yes",
    ),
    (
        "Leave something out, and I ask.",
        "temperature ninety eight point six",
    ),
    ("Answer in a word.", "oral"),
    ("Right again?", "yes"),
    ("Now one that is misheard.", "respiration forty"),
    ("That is wrong, so nothing is kept.", "no"),
    ("Now the right one.", "fourteen"),
    ("That is what you meant.", "yes"),
    ("When a resident does not want it,", "weight refused"),
    ("That is read back too.", "yes"),
    (
        "Now one that is outside the range.",
        "blood pressure two hundred over ninety six left arm sitting",
    ),
    ("Keep it.", "yes"),
    (
        "It stays open until the nurse has it. When you have told the nurse,",
        "reported to nurse marlow",
    ),
    ("And it is noted with the time.", "yes"),
    (
        "That is all for this resident. Before you leave the room,",
        "done",
    ),
    ("You know enough for a round. To close it,", "end of round"),
];

/// Where a conversation stands, as far as the lessons tell it apart.
#[derive(Debug, Clone, PartialEq)]
struct Mark {
    phase: std::mem::Discriminant<Phase>,
    somebody: bool,
    kept: usize,
    reports: bool,
    ended: bool,
}

impl Mark {
    fn of(state: &State) -> Self {
        Self {
            phase: std::mem::discriminant(state.phase()),
            somebody: state.resident().is_some(),
            kept: state.kept_signs(),
            reports: !state.open_reports().is_empty(),
            ended: state.ended(),
        }
    }
}

/// A practice round under way.
#[derive(Debug, Clone)]
pub struct Tutorial {
    /// The lesson that is asked for.
    at: usize,
    /// How it stands before each lesson, and after the last.
    marks: Vec<Mark>,
}

impl Tutorial {
    /// The dialogue of the practice home.
    ///
    /// # Errors
    /// [`GrammarError`] when the practice home does not fit the grammar.
    ///
    /// # Panics
    /// Never in a build whose tests passed: the home is part of the program.
    pub fn dialogue(grammar: &Grammar) -> Result<Dialogue, GrammarError> {
        let home = Home::from_toml(include_str!("practice-home.toml"));
        let home = home.expect("the practice home is tested");
        let aide = home.aides[0].clone();
        Dialogue::new(home, aide, grammar)
    }

    /// The lessons, in the dialogue that [`Tutorial::dialogue`] makes.
    #[must_use]
    pub fn new(dialogue: &Dialogue, now: Time) -> Self {
        let (mut state, _) = dialogue.begin(&Record::default(), 0, now);
        let mut marks = vec![Mark::of(&state)];
        for (_, phrase) in LESSONS {
            let event = Event::Heard(Heard::from_text(phrase));
            state = dialogue.step(state, &event, now).0;
            marks.push(Mark::of(&state));
        }
        Self { at: 0, marks }
    }

    /// What to ask for at the beginning.
    #[must_use]
    pub fn first(&self) -> String {
        self.ask()
    }

    /// What to ask for after a turn; nothing where the turn did nothing. A step
    /// that the aide took back is asked for again.
    pub fn after(&mut self, state: &State, spoke: bool) -> Option<String> {
        let mark = Mark::of(state);
        if mark.ended {
            return Some("Practice is over. Nothing was stored.".to_owned());
        }
        if state.asleep() {
            return None;
        }
        let before = self.at;
        let fits = |at: &usize| self.marks[*at] == mark;
        let next = (self.at + 1..LESSONS.len()).next().filter(fits);
        let back = (0..=self.at).rev().find(fits);
        self.at = next.or(back).unwrap_or(self.at);
        (spoke || self.at != before).then(|| self.ask())
    }

    fn ask(&self) -> String {
        let (why, phrase) = LESSONS[self.at];
        format!("{why} Say: {phrase}.")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Practice {
        dialogue: Dialogue,
        state: State,
        tutorial: Tutorial,
        asked: String,
    }

    fn now() -> Time {
        Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap()
    }

    impl Practice {
        fn begin() -> Self {
            let dialogue = Tutorial::dialogue(&Grammar::standard()).unwrap();
            let (state, _) = dialogue.begin(&Record::default(), 1, now());
            let tutorial = Tutorial::new(&dialogue, now());
            let asked = tutorial.first();
            Self {
                dialogue,
                state,
                tutorial,
                asked,
            }
        }

        fn say(&mut self, words: &str) {
            let event = Event::Heard(Heard::from_text(words));
            let (state, actions) = self.dialogue.step(self.state.clone(), &event, now());
            self.state = state;
            let said = |it: &crate::dialogue::Action| matches!(it, crate::dialogue::Action::Say(_));
            let spoke = actions.iter().any(said);
            if let Some(asked) = self.tutorial.after(&self.state, spoke) {
                self.asked = asked;
            }
        }
    }

    #[test]
    fn every_phrase_that_is_asked_for_is_understood_and_leads_on() {
        let grammar = Grammar::standard();
        let home = Tutorial::dialogue(&grammar).unwrap().home().clone();
        let grammar = grammar.for_home(&home).unwrap();
        let mut practice = Practice::begin();
        for pair in practice.tutorial.marks.windows(2) {
            assert_ne!(pair[0], pair[1], "a step must be told from the one before");
        }
        for (at, (_, phrase)) in LESSONS.iter().enumerate() {
            assert_eq!(practice.tutorial.at, at, "before \"{phrase}\"");
            assert!(practice.asked.ends_with(&format!("Say: {phrase}.")));
            let heard = Heard::from_text(phrase);
            let meaning = practice.dialogue.meaning(&practice.state, &heard);
            assert!(meaning.is_ok(), "\"{phrase}\": {meaning:?}");
            // And it is listened for just then.
            let mut shares = practice.state.expect().shares().iter();
            assert!(
                shares.any(|(rule, _)| grammar.accepts(rule, phrase)),
                "\"{phrase}\" is not listened for in {:?}",
                practice.state.expect()
            );
            practice.say(phrase);
        }
        assert!(practice.state.ended());
        assert_eq!(practice.asked, "Practice is over. Nothing was stored.");
    }

    #[test]
    fn each_step_waits_until_it_is_done() {
        let mut practice = Practice::begin();
        practice.say("what a lovely morning");
        assert!(practice.asked.ends_with("Say: room seven."));
        practice.say("room nine");
        assert!(practice.asked.ends_with("Say: room seven."));
        practice.say("room seven");
        assert!(practice.asked.ends_with("Say: yes."));
        // A step that is taken back is asked for again.
        practice.say("no");
        assert!(practice.asked.ends_with("Say: room seven."));
        for words in ["room seven", "yes", "pulse seventy two regular"] {
            practice.say(words);
        }
        practice.say("scratch that");
        assert!(practice.asked.ends_with("Say: pulse seventy two regular."));
        // Another value is as good.
        practice.say("pulse eighty irregular");
        practice.say("yes");
        assert!(
            practice
                .asked
                .ends_with("Say: temperature ninety eight point six.")
        );
    }
}
