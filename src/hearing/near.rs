//! Softening who is further away: a television, or talk across the room.
//!
//! While somebody speaks near the microphone, what is much softer than the loudest of
//! the utterance is not theirs. Left as it is, the recogniser hears it as more words, and
//! never finds the end of the utterance. Speech has soft sounds too, before and behind
//! loud ones, so only what is further from anything loud is softened; and what is softer
//! by far disturbs nobody and stays as it is. A room that is quiet now and then is left
//! alone, and so is a steady noise: who speaks softly there is not taken for another. Nor is
//! the end of a sentence: who speaks near may become softer while going on.

use std::collections::VecDeque;
use std::time::Duration;

use super::frames::{FRAME, FRAME_TIME, lasting};
use super::level::{FLOOR, Smoothed, rms};

/// What is softer than the loudest of the utterance by more than this, in dB, may be
/// further away. In 14 recordings of people reading (pocketsphinx-testdata), 0.5 of 46 s
/// of their own speech are softer than this and far enough from anything louder; with 8
/// dB it would be 7 s.
const FURTHER: f32 = 14.0;
/// People begin a sentence louder than they end it: since its loudest moment a voice may
/// have lost so many dB with each second of its own speech. Chosen on the bench's tune half,
/// whose neural voices do so (docs/hearing-tried.md).
const FALLS: f32 = 5.0;
/// And no more than this, in dB.
const FALLS_AT_MOST: f32 = 6.0;
/// What is softer than the loudest by more than this, in dB, is the room.
const ROOM: f32 = 32.0;
/// So many frames (8 s) tell what the room is like: longer than most sentences, or a
/// fluent one would look like a room in which another goes on speaking.
const HISTORY: usize = 800;
/// Of these, the softest tenth is the room's own noise, and what is louder than that by
/// less than this, in dB, is no voice: ventilation is left alone.
const STEADY: f32 = 4.0;
/// Only where the softest fifth is within so many dB of the loudest of the utterance does
/// somebody else go on speaking. A quiet room is quiet for longer.
const CROWDED: f32 = 38.0;
/// The room is looked at anew after so many frames.
const SELDOM: usize = 10;
/// Left as it is ahead of something loud, in frames: the "s" of "six".
const BEFORE: usize = 12;
/// And behind it.
const AFTER: usize = 20;
/// What is further away is made softer by 30 dB.
const SOFTENED: f32 = 0.03;
/// How much of the way to its new strength the sound goes with each sample: a step
/// would be a click.
const FADE: f32 = 0.01;

/// Softens one stream.
#[derive(Debug, Clone)]
pub(super) struct Near {
    /// Less than a frame, and then what is not judged yet.
    held: VecDeque<i16>,
    /// Frames of `held` that may yet turn out to be ahead of something loud.
    waiting: usize,
    level: Smoothed,
    loudest: f32,
    /// How many dB softer its speaker may be by now.
    fallen: f32,
    /// Frames since something loud.
    since: usize,
    gain: f32,
    room: Room,
}

/// What the last seconds were like.
#[derive(Debug, Clone, Default)]
struct Room {
    levels: VecDeque<f32>,
    until_anew: usize,
    softest_tenth: f32,
    softest_fifth: f32,
}

impl Room {
    fn frame(&mut self, level: f32) {
        if self.levels.len() == HISTORY {
            self.levels.pop_front();
        }
        self.levels.push_back(level);
        if self.until_anew > 0 {
            self.until_anew -= 1;
            return;
        }
        self.until_anew = SELDOM;
        let mut levels: Vec<f32> = self.levels.iter().copied().collect();
        levels.sort_by(f32::total_cmp);
        self.softest_tenth = levels[levels.len() / 10];
        self.softest_fifth = levels[levels.len() / 5];
    }

    /// Whether a frame of this level may be somebody's voice, beside a voice so loud.
    fn is_voice(&self, level: f32, loudest: f32) -> bool {
        loudest - self.softest_fifth < CROWDED && level > self.softest_tenth + STEADY
    }
}

impl Default for Near {
    fn default() -> Self {
        Self {
            held: VecDeque::new(),
            waiting: 0,
            level: Smoothed::default(),
            loudest: FLOOR,
            fallen: 0.0,
            since: 0,
            gain: 1.0,
            room: Room::default(),
        }
    }
}

impl Near {
    /// Takes the next samples, and gives those that the recogniser is to have now.
    pub(super) fn pass(&mut self, samples: &[i16]) -> Vec<i16> {
        self.held.extend(samples);
        let mut out = Vec::with_capacity(samples.len());
        while self.held.len() >= (self.waiting + 1) * FRAME {
            let from = self.waiting * FRAME;
            let frame: Vec<i16> = self.held.range(from..from + FRAME).copied().collect();
            self.judge(rms(&frame), &mut out);
        }
        out
    }

    /// Where the frame behind those that wait belongs, by its level in dBFS.
    fn judge(&mut self, rms: f32, out: &mut Vec<i16>) {
        let level = self.level.frame(rms);
        if level >= self.loudest {
            (self.loudest, self.fallen) = (level, 0.0);
        } else if self.since <= AFTER {
            self.fallen = (self.fallen + FALLS * FRAME_TIME.as_secs_f32()).min(FALLS_AT_MOST);
        }
        self.room.frame(level);
        let below = self.loudest - self.fallen - level;
        if below < FURTHER {
            self.since = 0;
            self.release(self.waiting + 1, 1.0, out);
            return;
        }
        self.since += 1;
        if self.since <= AFTER {
            self.release(1, 1.0, out);
        } else if below > ROOM || !self.room.is_voice(level, self.loudest) {
            self.release(self.waiting, SOFTENED, out);
            self.release(1, 1.0, out);
        } else {
            self.waiting += 1;
            if self.waiting > BEFORE {
                self.release(1, SOFTENED, out);
            }
        }
    }

    fn release(&mut self, frames: usize, strength: f32, out: &mut Vec<i16>) {
        self.waiting = self.waiting.saturating_sub(frames);
        for sample in self.held.drain(..frames * FRAME) {
            self.gain += FADE * (strength - self.gain);
            #[allow(clippy::cast_possible_truncation, reason = "softer than it was")]
            out.push((f32::from(sample) * self.gain).round() as i16);
        }
    }

    /// Whether somebody else goes on speaking, or the room is loud, beside a voice as loud
    /// as the loudest of this utterance.
    pub(super) fn is_crowded(&self) -> bool {
        self.loudest - self.room.softest_fifth < CROWDED
    }

    /// How far what was given is behind what was taken.
    pub(super) fn held(&self) -> Duration {
        lasting(self.held.len())
    }

    /// What is held back is of no interest any more. The room is as it was.
    pub(super) fn forget(&mut self) {
        self.held.clear();
        self.waiting = 0;
        self.begin();
    }

    /// A new utterance begins, of somebody who may be softer.
    pub(super) fn begin(&mut self) {
        self.loudest = FLOOR;
        self.fallen = 0.0;
        self.since = 0;
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::hearing::wav::RATE;

    const SECOND: usize = RATE as usize;

    /// A square wave at this level in dBFS.
    fn sound(dbfs: f32, ms: usize) -> Vec<i16> {
        #[allow(clippy::cast_possible_truncation, reason = "below full scale")]
        let high = (32_767.0 * 10_f32.powf(dbfs / 20.0)) as i16;
        let wave = |at| if at % 20 < 10 { high } else { -high };
        (0..ms * SECOND / 1_000).map(wave).collect()
    }

    /// What comes of a sound, and silence behind it so that nothing is held.
    fn passed(parts: &[(f32, usize)]) -> Vec<i16> {
        let mut near = Near::default();
        let mut all: Vec<i16> = parts.iter().flat_map(|it| sound(it.0, it.1)).collect();
        all.resize(all.len() + SECOND, 0);
        all.chunks(777).flat_map(|it| near.pass(it)).collect()
    }

    /// The level of 100 ms from here on, in dBFS.
    fn level(sound: &[i16], ms: usize) -> f32 {
        let from = ms * SECOND / 1_000;
        rms(&sound[from..from + SECOND / 10])
    }

    #[test]
    fn what_is_further_away_is_softened_while_somebody_speaks_near() {
        let room = (-50.0, 500);
        let out = passed(&[room, (-20.0, 600), (-40.0, 1_000), (-20.0, 600)]);
        let near = |ms, dbfs: f32| {
            let found = level(&out, ms);
            assert!((found - dbfs).abs() < 0.5, "{ms} ms: {found}");
        };
        near(800, -20.0);
        near(1_600, -40.0 + 20.0 * SOFTENED.log10());
        // A soft sound right behind something loud is left, and so is one ahead of it.
        near(1_200, -40.0);
        near(1_998, -40.0);
        near(2_200, -20.0);
    }

    #[test]
    fn who_speaks_near_may_become_softer_while_going_on() {
        let room = (-50.0, 500);
        let begins = (-20.0, 200);
        let long = passed(&[room, begins, (-24.0, 2_000), (-38.0, 800), (-20.0, 600)]);
        let end = level(&long, 3_100);
        assert!((end + 38.0).abs() < 0.5, "{end}");
        // Not right after its loudest moment.
        let short = passed(&[room, begins, (-38.0, 800), (-20.0, 600)]);
        let end = level(&short, 1_100);
        assert!(end < -60.0, "{end}");
    }

    #[test]
    fn soft_speech_ventilation_and_a_quiet_room_are_left_alone() {
        for parts in [
            // Ever softer, in a room that is not as loud as that.
            &[(-70.0, 2_000), (-20.0, 600), (-38.0, 400)][..],
            // A voice not much softer than the other.
            &[(-50.0, 500), (-20.0, 600), (-32.0, 1_000)],
            // Ventilation.
            &[(-40.0, 500), (-20.0, 600), (-40.0, 1_000)],
            &[(-20.0, 600), (-60.0, 1_000)],
            &[(-50.0, 2_000)],
        ] {
            let all: Vec<i16> = parts.iter().flat_map(|it| sound(it.0, it.1)).collect();
            assert_eq!(passed(parts)[..all.len()], all, "{parts:?}");
        }
    }

    #[test]
    fn a_softer_voice_is_heard_when_the_loud_one_has_ended() {
        let mut near = Near::default();
        near.pass(&sound(-50.0, 500));
        near.pass(&sound(-20.0, 600));
        near.begin();
        let softer = sound(-40.0, 500);
        assert_eq!(near.pass(&softer), softer);
    }

    #[test]
    fn what_was_held_is_forgotten_and_the_room_is_not() {
        let mut near = Near::default();
        near.pass(&sound(-50.0, 500));
        near.pass(&sound(-20.0, 600));
        near.pass(&sound(-40.0, 260));
        assert!(near.held() > Duration::ZERO);
        near.forget();
        assert_eq!(near.held(), Duration::ZERO);
        near.pass(&sound(-20.0, 300));
        let out: Vec<i16> = [near.pass(&sound(-40.0, 500)), near.pass(&[0; SECOND / 10])].concat();
        assert!(level(&out, 350) < -60.0, "{}", level(&out, 350));
    }

    proptest! {
        #[test]
        fn nothing_is_lost_but_what_is_held(
            parts in prop::collection::vec((-70.0_f32..-3.0, 20_usize..400), 1..8),
            blocks in prop::collection::vec(1_usize..1_601, 1..8),
        ) {
            let all: Vec<i16> = parts.iter().flat_map(|it| sound(it.0, it.1)).collect();
            let mut near = Near::default();
            let (mut at, mut given, mut sizes) = (0, 0, blocks.iter().cycle());
            while at < all.len() {
                let next = (at + sizes.next().unwrap()).min(all.len());
                for sample in near.pass(&all[at..next]) {
                    // Each sample as it came, or softer.
                    let came = all[given];
                    prop_assert!(sample.unsigned_abs() <= came.unsigned_abs());
                    prop_assert!(sample == 0 || sample.signum() == came.signum());
                    given += 1;
                }
                at = next;
                let held = near.held().as_micros() * u128::from(RATE);
                prop_assert_eq!((held + 500_000) / 1_000_000, (at - given) as u128);
                prop_assert!(at - given < (BEFORE + 2) * FRAME);
            }
        }
    }
}
