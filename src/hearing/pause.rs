//! How long it has been quiet since somebody spoke.
//!
//! The recogniser ends an utterance after half a second of silence, but looks at
//! the sound some tenths of a second late. The level is known at once.

use std::time::Duration;

use super::frames::{FRAME_TIME, Frames};
use super::level::{FLOOR, Smoothed, rms};

/// A quieter room than this, in dBFS, is taken to be as loud as this: otherwise
/// the last breath of a word in a silent room would still be speech.
const QUIETEST_ROOM: f32 = -60.0;
/// Where quiet ends between the room's level and the loudest of the utterance,
/// both in dB. Soft last syllables are above it, echoes mostly below.
const SHARE: f32 = 0.25;
/// Speech that rises less above the room, in dB, has soft syllables that are
/// lost in it: then only the recogniser knows when it ends.
const CONTRAST: f32 = 18.0;
/// How fast the room is taken to become louder, in dB for a frame: 3 dB a second.
const RISE: f32 = 0.03;

/// Follows the level of one stream.
#[derive(Debug, Clone)]
pub(super) struct Pauses {
    level: Smoothed,
    room: f32,
    loudest: f32,
    quiet: Duration,
    frames: Frames,
}

impl Default for Pauses {
    fn default() -> Self {
        Self {
            level: Smoothed::default(),
            room: 0.0,
            loudest: FLOOR,
            quiet: Duration::ZERO,
            frames: Frames::default(),
        }
    }
}

impl Pauses {
    /// Takes the next samples.
    pub(super) fn push(&mut self, samples: &[i16]) {
        let mut frames = std::mem::take(&mut self.frames);
        frames.push(samples, |frame| self.frame(rms(frame)));
        self.frames = frames;
    }

    fn frame(&mut self, rms: f32) {
        let level = self.level.frame(rms);
        self.room = (self.room + RISE).min(level).max(QUIETEST_ROOM);
        self.loudest = self.loudest.max(level);
        let contrast = self.loudest - self.room;
        if contrast < CONTRAST || level > self.room + SHARE * contrast {
            self.quiet = Duration::ZERO;
        } else {
            self.quiet += FRAME_TIME;
        }
    }

    /// How long it has been quiet. In a noisy room it may never be.
    pub(super) const fn quiet(&self) -> Duration {
        self.quiet
    }

    /// A new utterance begins: what the last one's loudest was says nothing.
    pub(super) fn begin(&mut self) {
        self.loudest = self.room;
        self.quiet = Duration::ZERO;
    }
}

#[cfg(test)]
mod tests {
    use super::super::wav::RATE;
    use super::*;

    /// A square wave this many dB below full scale.
    fn sound(dbfs: f32, ms: usize) -> Vec<i16> {
        #[allow(clippy::cast_possible_truncation, reason = "below full scale")]
        let high = (32_767.0 * 10_f32.powf(dbfs / 20.0)) as i16;
        let samples = ms * RATE as usize / 1_000;
        (0..samples)
            .map(|at| if at % 20 < 10 { high } else { -high })
            .collect()
    }

    fn quiet_after(parts: &[(f32, usize)]) -> u128 {
        let mut pauses = Pauses::default();
        for (level, ms) in parts {
            // In odd blocks, as a sound card gives them.
            sound(*level, *ms)
                .chunks(777)
                .for_each(|it| pauses.push(it));
        }
        pauses.quiet().as_millis()
    }

    #[test]
    fn quiet_is_counted_from_the_end_of_speech() {
        let quiet = quiet_after(&[(-70.0, 1_000), (-20.0, 600), (-70.0, 300)]);
        assert!((220..=300).contains(&quiet), "{quiet} ms");
    }

    #[test]
    fn a_soft_last_word_is_speech() {
        let quiet = quiet_after(&[(-70.0, 1_000), (-20.0, 600), (-38.0, 400)]);
        assert_eq!(quiet, 0);
    }

    #[test]
    fn ventilation_is_no_speech_once_somebody_spoke_above_it() {
        let quiet = quiet_after(&[(-40.0, 1_000), (-20.0, 600), (-40.0, 300)]);
        assert!((220..=300).contains(&quiet), "{quiet} ms");
    }

    #[test]
    fn noise_as_loud_as_speech_is_never_quiet() {
        let quiet = quiet_after(&[(-70.0, 1_000), (-20.0, 600), (-24.0, 900)]);
        assert_eq!(quiet, 0);
    }
}
