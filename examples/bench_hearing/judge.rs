//! What Sayback made of an utterance, judged by the real dialogue: what it
//! offers, asks or does, beside what it does when every word is heard right.

use sayback::dialogue::{Action, Dialogue, Event, State};
use sayback::facts::{Body, Record, Time};
use sayback::grammar::Grammar;
use sayback::hearing::Heard;
use sayback::residents::Home;
use sayback::understanding::Utterance;
use sayback::vitals::VitalSign;

use super::Anything;

/// What came of an utterance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Outcome {
    /// What would have come of it in text: all numbers and qualifiers.
    Right,
    /// Something else was offered in a read-back.
    Wrong,
    /// Part of what was said was offered, and nothing that was not.
    PartOnly,
    /// A question, or nothing wrong read back.
    Asked,
    /// Nothing came of it.
    Nothing,
}

/// The demo home, with a resident named and readings awaited.
pub struct Judge {
    pub dialogue: Dialogue,
    pub waiting: State,
    /// Before that: a room is awaited.
    pub nowhere: State,
    /// The same as waiting, after a pulse of 72 was read back.
    pub offered: State,
}

impl Judge {
    pub fn new() -> Anything<Self> {
        let home = Home::from_toml(&std::fs::read_to_string("audio-fixtures/demo-home.toml")?)?;
        let aide = home.aides[0].clone();
        let dialogue = Dialogue::new(home, aide, &Grammar::standard())?;
        let (nowhere, _) = dialogue.begin(&Record::default(), 1, now());
        let mut state = nowhere.clone();
        for words in ["room nine", "yes"] {
            state = say(&dialogue, state, words);
        }
        let offered = say(&dialogue, state.clone(), "pulse seventy two");
        Ok(Self {
            dialogue,
            waiting: state,
            nowhere,
            offered,
        })
    }

    /// The question that the dialogue puts after these utterances.
    pub fn question(&self, from: &State, heard: &[Heard]) -> Option<String> {
        self.after(from, heard).0
    }

    /// That question, and whether a reading was kept on the way.
    fn after(&self, from: &State, heard: &[Heard]) -> (Option<String>, bool) {
        let (mut state, mut kept) = (from.clone(), false);
        for it in heard {
            let (next, actions) = self.dialogue.step(state, &Event::Heard(it.clone()), now());
            kept |= actions
                .iter()
                .any(|it| matches!(it, Action::Keep(fact) if matches!(fact.body, Body::Read(_))));
            state = next;
        }
        (state.question().map(str::to_owned), kept)
    }

    /// Where the dialogue is after asking for one value.
    pub fn asked(&self, sign: VitalSign) -> State {
        say(&self.dialogue, self.waiting.clone(), sign.name())
    }

    /// A reading of this text was heard so.
    pub fn reading(&self, text: &str, heard: &[Heard]) -> Outcome {
        self.from(&self.waiting, text, heard)
    }

    /// A reading, or an answer with a value, was heard so in this state.
    pub fn from(&self, state: &State, text: &str, heard: &[Heard]) -> Outcome {
        let truth = self.question(state, &[Heard::from_text(text)]);
        let found = self.question(state, heard);
        if found == truth {
            return Outcome::Right;
        }
        let before = state.question();
        let Some(found) = found.filter(|it| Some(it.as_str()) != before) else {
            // The same question put again, or silence.
            let asked = before.is_some() && !heard.is_empty();
            return if asked {
                Outcome::Asked
            } else {
                Outcome::Nothing
            };
        };
        let Some(offers) = offers(&found) else {
            return Outcome::Asked;
        };
        let truth = truth.as_deref().and_then(self::offers).unwrap_or_default();
        if offers.iter().all(|it| truth.contains(it)) {
            Outcome::PartOnly
        } else {
            Outcome::Wrong
        }
    }

    /// Whether a text is a reading that is offered at once and whole.
    pub fn is_offered(&self, text: &str) -> bool {
        let question = self.question(&self.waiting, &[Heard::from_text(text)]);
        question.is_some_and(|it| offers(&it).is_some())
    }

    /// A yes or no to a read-back: whether it keeps the reading or drops it, as it should.
    pub fn answer(&self, text: &str, heard: &[Heard]) -> Outcome {
        let truth = self.after(&self.offered, &[Heard::from_text(text)]);
        let found = self.after(&self.offered, heard);
        let same = |it: &(Option<String>, bool)| it.0.as_deref() == self.offered.question();
        // After a no: the reading waits no more, and is asked for in other words.
        let asks = |it: &(Option<String>, bool)| it.0.as_deref().and_then(offers).is_none();
        if found == truth {
            Outcome::Right
        } else if heard.is_empty() {
            Outcome::Nothing
        } else if !found.1 && (same(&found) || (!truth.1 && asks(&found))) {
            Outcome::Asked
        } else {
            Outcome::Wrong
        }
    }

    /// Whether a text is a room or a bed of the demo home.
    pub fn is_place(&self, text: &str) -> bool {
        let meaning = self
            .dialogue
            .meaning(&self.nowhere, &Heard::from_text(text));
        matches!(meaning, Ok(Utterance::Place(_)))
    }

    /// A room and bed: whether it is taken for that one.
    pub fn place(&self, state: &State, text: &str, heard: &[Heard]) -> Outcome {
        self.meant(state, text, heard, |a, b| a == b)
    }

    fn meant(
        &self,
        state: &State,
        text: &str,
        heard: &[Heard],
        same: impl Fn(&Utterance, &Utterance) -> bool,
    ) -> Outcome {
        let meaning = |it: &Heard| self.dialogue.meaning(state, it).ok();
        let truth = meaning(&Heard::from_text(text));
        let acts: Vec<Utterance> = heard.iter().filter_map(meaning).collect();
        match acts.as_slice() {
            [] if heard.is_empty() => Outcome::Nothing,
            [] => Outcome::Asked,
            all if all
                .iter()
                .all(|it| truth.as_ref().is_some_and(|truth| same(truth, it))) =>
            {
                Outcome::Right
            }
            _ => Outcome::Wrong,
        }
    }

    /// A correction of the read-back: judged by what is read back then.
    pub fn correction(&self, text: &str, heard: &[Heard]) -> Outcome {
        let truth = self.question(&self.offered, &[Heard::from_text(text)]);
        let before = self.offered.question().map(str::to_owned);
        match self.question(&self.offered, heard) {
            found if found == truth => Outcome::Right,
            found if found == before => Outcome::Nothing,
            Some(found) if offers(&found).is_some() => Outcome::Wrong,
            _ => Outcome::Asked,
        }
    }

    /// Talk that is none of Sayback's business: whether it offered or kept a reading,
    /// asked something, or let it pass.
    pub fn talk(&self, from: &State, heard: &[Heard]) -> Outcome {
        let before = from.question().map(str::to_owned);
        match self.after(from, heard) {
            (_, true) => Outcome::Wrong,
            (found, _) if found == before => Outcome::Right,
            (Some(found), _) if offers(&found).is_some() => Outcome::Wrong,
            _ => Outcome::Asked,
        }
    }
}

/// The sentences of a read-back; `None` when the question is another one.
pub fn offers(question: &str) -> Option<Vec<String>> {
    let again = question.strip_suffix(" Yes to keep it as it is?");
    let again = again
        .and_then(|it| it.split_once("say it. "))
        .map(|it| it.1);
    let text = again.or_else(|| question.strip_suffix(" Yes?"))?;
    let text = text.strip_suffix('.').unwrap_or(text);
    Some(text.split(". ").map(str::to_owned).collect())
}

fn say(dialogue: &Dialogue, state: State, words: &str) -> State {
    dialogue
        .step(state, &Event::Heard(Heard::from_text(words)), now())
        .0
}

pub fn now() -> Time {
    Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").expect("a time")
}
