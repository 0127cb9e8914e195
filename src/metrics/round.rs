//! What a round adds to the numbers: a screen that counts what it is shown.

use super::{METRICS, open_reports, readings};
use crate::dialogue::{Dialogue, State};
use crate::facts::{Fact, KeptReading, Time};
use crate::hearing::{By, Heard};
use crate::round::Screen;
use crate::understanding::{NotUnderstood, Utterance};

/// Watches a round and counts. What is kept is counted where it is stored.
pub struct Counted<'a> {
    dialogue: &'a Dialogue,
    state: Option<State>,
}

impl<'a> Counted<'a> {
    /// One that watches a round of this dialogue.
    #[must_use]
    pub const fn new(dialogue: &'a Dialogue) -> Self {
        Self {
            dialogue,
            state: None,
        }
    }

    /// How many readings of an utterance are to be said again.
    fn unclear(&self, heard: &Heard) -> usize {
        let Some(state) = &self.state else { return 0 };
        match self.dialogue.meaning(state, heard) {
            Ok(Utterance::Readings { unclear, .. }) => unclear.len(),
            Err(NotUnderstood::Unsure) => 1,
            _ => 0,
        }
    }
}

impl Screen for Counted<'_> {
    fn heard(&mut self, _: Time, heard: &Heard, addressed: bool) {
        let by = match heard.by {
            By::Voice => "voice",
            By::Touch => "touch",
        };
        let addressed = if addressed { "yes" } else { "no" };
        let labels = [("by", by), ("addressed", addressed)];
        METRICS.utterances.get_or_create(&labels).inc();
        readings("asked_again", self.unclear(heard) as u64);
    }

    fn said(&mut self, _: Time, _: &str) {}
    fn stored(&mut self, _: &Fact<KeptReading>) {}
    fn notice(&mut self, _: &str) {}

    fn state(&mut self, _: &Dialogue, state: &State, _: Time) {
        open_reports(state.open_reports().len());
        self.state = Some(state.clone());
    }
}
