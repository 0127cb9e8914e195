//! Rounds by an aide who answers truthfully, and by one who says yes without
//! listening now and then: how many wrong values come to be stored.
//!
//! Each simulated reading is one of the bench's utterances as it was heard, with
//! all its alternatives and confidences, and so is each answer; the dialogue is
//! the real one. The resident has one earlier reading: the true value.

use fastrand::Rng;
use sayback::dialogue::{Action, Event, State};
use sayback::facts::Body;
use sayback::hearing::Heard;
use sayback::vitals::Measurement;

use super::judge::{Judge, now, offers};
use super::report::{Judged, share};

/// What came of the simulated readings.
#[derive(Debug, Default)]
pub struct Tally {
    pub readings: usize,
    /// A read-back with something that was not said.
    pub offered_wrong: usize,
    /// The aide said yes to one.
    pub careless_yes: usize,
    /// Of these, how many were asked for again as far from the usual.
    pub second_looks: usize,
    /// Wrong values stored.
    pub stored_wrong: usize,
    pub stored_right: usize,
}

impl Tally {
    pub fn row(&self, aide: &str) -> String {
        format!(
            "| {aide} | {} | {} | {} | {} | {} | {} |\n",
            self.readings,
            share(self.offered_wrong, self.readings),
            self.careless_yes,
            self.second_looks,
            share(self.stored_wrong, self.readings),
            share(self.stored_right, self.readings),
        )
    }
}

/// The resident with the true value kept already, the sentences that read it back,
/// and the value.
type Prepared = (State, Vec<String>, Vec<Measurement>);

/// Draws `count` readings among these. One in `careless` wrong read-backs is
/// answered by a yes; none when it is 0.
pub fn run(
    judge: &Judge,
    judged: &[&Judged],
    yes: &[&Judged],
    count: usize,
    careless: u32,
) -> Tally {
    let mut rng = Rng::with_seed(20_261_125);
    let mut tally = Tally::default();
    let mut prepared: Vec<Option<Prepared>> = vec![None; judged.len()];
    for _ in 0..count {
        let at = rng.usize(0..judged.len());
        let it = judged[at];
        let (state, sentences, truths) = prepared[at].get_or_insert_with(|| {
            let from = judge.waiting.clone();
            let text = Heard::from_text(&it.text);
            let (offered, _) = judge.dialogue.step(from, &Event::Heard(text), now());
            let sentences = offered.question().and_then(offers).unwrap_or_default();
            let mut truths = Vec::new();
            let state = answer(judge, offered, &Heard::from_text("yes"), &mut truths);
            // A value far from the usual is asked about even when it is true.
            let again = state.question().and_then(offers).is_some();
            let state = if again {
                answer(judge, state, &Heard::from_text("yes"), &mut truths)
            } else {
                state
            };
            (state, sentences, truths)
        });
        tally.readings += 1;
        let mut state = state.clone();
        for heard in &it.raw {
            state = judge
                .dialogue
                .step(state, &Event::Heard(heard.clone()), now())
                .0;
        }
        let mut stored = Vec::new();
        let mut counted = false;
        // A read-back, perhaps a second look; whatever else is asked again.
        for look in 0..2 {
            let Some(offered) = state.question().and_then(offers) else {
                break;
            };
            let is_true = offered.iter().all(|it| sentences.contains(it));
            if !is_true {
                tally.offered_wrong += usize::from(!counted);
                counted = true;
                if careless == 0 || rng.u32(0..careless) > 0 {
                    break;
                }
                tally.careless_yes += usize::from(look == 0);
            }
            let heard = &yes[rng.usize(0..yes.len())].raw;
            for heard in heard {
                state = answer(judge, state, heard, &mut stored);
            }
            if !is_true && look == 0 && stored.is_empty() {
                tally.second_looks += 1;
            }
        }
        let wrong = stored.iter().any(|it| !truths.contains(it));
        tally.stored_wrong += usize::from(wrong);
        tally.stored_right += usize::from(!stored.is_empty() && !wrong);
    }
    tally
}

fn answer(judge: &Judge, state: State, heard: &Heard, stored: &mut Vec<Measurement>) -> State {
    let (state, actions) = judge
        .dialogue
        .step(state, &Event::Heard(heard.clone()), now());
    for action in actions {
        if let Action::Keep(fact) = action
            && let Body::Read(reading) = fact.body
        {
            stored.push(reading.record().measurement.clone());
        }
    }
    state
}
