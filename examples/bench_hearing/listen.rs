//! The sounds through the real ear, each voice as one stream, as on a round.

use std::time::{Duration, Instant};

use sayback::dialogue::{Dialogue, State};
use sayback::grammar::{Expect, Grammar};
use sayback::hearing::{Ear, Heard, Model, RATE};
use sayback::round::{hear, heard_again, listen_for};

use super::Anything;

/// As from a microphone.
const BLOCK: usize = RATE as usize / 20;

/// One stream's ear, and the time it took.
pub struct Listener<'a> {
    ear: Ear<Expect>,
    dialogue: &'a Dialogue,
    pub sound: Duration,
    pub busy: Duration,
    /// The time of the block that ended the last utterance.
    pub last: Duration,
}

impl<'a> Listener<'a> {
    pub fn new(
        model: &Model,
        grammar: &Grammar,
        dialogue: &'a Dialogue,
        expects: &[Expect],
    ) -> Anything<Self> {
        let mut ear = Ear::new(model.clone());
        for expect in expects {
            listen_for(&mut ear, *expect, grammar)?;
        }
        Ok(Self {
            ear,
            dialogue,
            sound: Duration::ZERO,
            busy: Duration::ZERO,
            last: Duration::ZERO,
        })
    }

    /// What is heard of one utterance while the dialogue is in this state.
    pub fn hear(&mut self, state: &State, sound: &[i16]) -> Vec<Heard> {
        self.ear.expect(state.expect());
        let started = Instant::now();
        let mut heard = Vec::new();
        for block in sound.chunks(BLOCK) {
            let began = Instant::now();
            if let Some(it) = hear(self.dialogue, state, &mut self.ear, block) {
                self.last = began.elapsed();
                heard.push(it);
            }
        }
        // In loud noise an utterance has no end of its own.
        if heard.is_empty() {
            let began = Instant::now();
            let last = self.ear.finish();
            heard.extend(last.map(|it| heard_again(self.dialogue, state, &mut self.ear, it)));
            self.last = began.elapsed();
        }
        self.busy += started.elapsed();
        self.sound += Duration::from_secs_f64(seconds(sound.len()));
        heard
    }

    /// What is heard of a sound that goes on, with the samples given until then, up to
    /// the first that ends after `enough` samples; nothing is given after.
    pub fn until(&mut self, state: &State, sound: &[i16], enough: usize) -> Vec<(Heard, usize)> {
        self.ear.expect(state.expect());
        let (mut given, mut all) = (0, Vec::new());
        for block in sound.chunks(BLOCK) {
            given += block.len();
            if let Some(it) = hear(self.dialogue, state, &mut self.ear, block) {
                all.push((it, given));
                if given >= enough {
                    return all;
                }
            }
        }
        self.ear.drop_utterance();
        all
    }
}

#[allow(clippy::cast_precision_loss, reason = "minutes at most")]
pub fn seconds(samples: usize) -> f64 {
    samples as f64 / f64::from(RATE)
}

pub fn texts(heard: &[Heard]) -> String {
    let texts: Vec<String> = heard.iter().map(Heard::text).collect();
    texts.join(" | ")
}
