//! How loud it is: a meter, and the two things it warns of. A microphone that is
//! too loud damages words (clipping); one that is muted gives perfect silence.

use std::time::Duration;

use super::wav::RATE;

/// Below this peak a stream is not a quiet room but a dead line, in dBFS. Even a
/// good microphone's own noise reaches -80 dBFS.
const DEAD_LINE: f32 = -84.0;
/// How long a dead line lasts before it is reported.
const DEAD_FOR: Duration = Duration::from_secs(5);
/// How fast the shown peak falls, in dB per second.
const FALL: f32 = 20.0;
/// How long a clipping warning stays on.
const CLIP_HOLD: Duration = Duration::from_secs(2);
/// Full scale reached this many samples in a row is clipping; one sample alone
/// may be a loud moment that was just caught.
const CLIPPED_RUN: u32 = 3;
/// The level of perfect silence, in dBFS, so that there is always a number.
pub const FLOOR: f32 = -96.0;

/// How much of a frame's difference is taken over, so that one click is no word.
const SMOOTH: f32 = 0.4;

/// The loudness of a stream, frame by frame, without its clicks.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Smoothed {
    /// In dBFS; none before the first frame.
    level: Option<f32>,
}

impl Smoothed {
    /// Takes a frame's loudness and gives the stream's, in dBFS.
    pub(super) fn frame(&mut self, rms: f32) -> f32 {
        let level = self.level.map_or(rms, |it| it + SMOOTH * (rms - it));
        self.level = Some(level);
        level
    }
}

/// Finds runs of samples at full scale.
#[derive(Debug, Clone, Copy, Default)]
pub struct ClipDetector {
    run: u32,
    clipped: bool,
}

impl ClipDetector {
    /// Looks at more samples; true when these clip.
    pub fn push(&mut self, samples: &[i16]) -> bool {
        let mut here = false;
        for sample in samples {
            if sample.unsigned_abs() >= 32_760 {
                self.run += 1;
                here |= self.run >= CLIPPED_RUN;
            } else {
                self.run = 0;
            }
        }
        self.clipped |= here;
        here
    }

    /// Whether anything clipped so far.
    #[must_use]
    pub fn clipped(&self) -> bool {
        self.clipped
    }
}

/// What the meter shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Loudness of the last block, in dBFS, [`FLOOR`] to 0.
    pub rms: f32,
    /// Peak with a decaying hold, in dBFS, [`FLOOR`] to 0.
    pub peak: f32,
    /// The sound reached full scale within the last two seconds: move the
    /// microphone away or turn it down.
    pub clipping: bool,
    /// Nothing at all for five seconds: the microphone is muted or broken.
    pub dead: bool,
}

/// A level meter for a 16 kHz mono stream.
#[derive(Debug, Clone)]
pub struct Meter {
    peak: f32,
    rms: f32,
    clips: ClipDetector,
    since_clip: Duration,
    quiet: Duration,
}

impl Default for Meter {
    fn default() -> Self {
        Self {
            peak: FLOOR,
            rms: FLOOR,
            clips: ClipDetector::default(),
            since_clip: CLIP_HOLD,
            quiet: Duration::ZERO,
        }
    }
}

impl Meter {
    /// Takes the next samples and gives the level.
    #[allow(clippy::cast_precision_loss, reason = "a meter needs no more")]
    pub fn push(&mut self, samples: &[i16]) -> Level {
        if samples.is_empty() {
            return self.level();
        }
        let length = Duration::from_secs_f64(samples.len() as f64 / f64::from(RATE));
        let loudest = samples.iter().map(|s| s.unsigned_abs()).max().unwrap_or(0);
        let peak = dbfs(f32::from(loudest));
        let rms = rms(samples);

        self.rms = rms;
        self.peak = peak.max(self.peak - FALL * length.as_secs_f32()).max(FLOOR);
        self.since_clip = if self.clips.push(samples) {
            Duration::ZERO
        } else {
            self.since_clip + length
        };
        self.quiet = if peak > DEAD_LINE {
            Duration::ZERO
        } else {
            self.quiet + length
        };
        self.level()
    }

    /// The level now.
    #[must_use]
    pub fn level(&self) -> Level {
        Level {
            rms: self.rms,
            peak: self.peak,
            clipping: self.since_clip < CLIP_HOLD,
            dead: self.quiet >= DEAD_FOR,
        }
    }
}

/// The loudness of some samples, in dBFS.
#[allow(clippy::cast_precision_loss, reason = "a meter needs no more")]
pub(super) fn rms(samples: &[i16]) -> f32 {
    let power: f64 = samples.iter().map(|s| f64::from(*s).powi(2)).sum();
    #[allow(clippy::cast_possible_truncation, reason = "at most 32768")]
    let rms = (power / samples.len().max(1) as f64).sqrt() as f32;
    dbfs(rms)
}

fn dbfs(amplitude: f32) -> f32 {
    if amplitude <= 0.0 {
        FLOOR
    } else {
        (20.0 * (amplitude / 32_768.0).log10()).max(FLOOR)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECOND: usize = RATE as usize;

    fn square(amplitude: i16, samples: usize) -> Vec<i16> {
        (0..samples)
            .map(|i| if i % 40 < 20 { amplitude } else { -amplitude })
            .collect()
    }

    #[test]
    fn half_scale_is_six_decibels_down() {
        let level = Meter::default().push(&square(16_384, SECOND));
        assert!(
            (level.peak + 6.02).abs() < 0.01 && (level.rms + 6.02).abs() < 0.01,
            "{level:?}"
        );
        assert!(!level.clipping && !level.dead);
    }

    #[test]
    fn the_peak_decays_and_the_loudness_does_not_linger() {
        let mut meter = Meter::default();
        meter.push(&square(16_384, SECOND));
        let level = meter.push(&vec![0; SECOND / 2]);
        assert!((level.peak + 16.02).abs() < 0.1, "{level:?}");
        assert!((level.rms - FLOOR).abs() < f32::EPSILON);
    }

    #[test]
    fn full_scale_in_a_row_clips_and_the_warning_ends() {
        let mut meter = Meter::default();
        assert!(!meter.push(&[0, i16::MAX, 0, i16::MIN, 0]).clipping);
        assert!(!meter.push(&[i16::MAX, i16::MAX]).clipping);
        assert!(
            meter.push(&[i16::MAX, 0]).clipping,
            "a run goes on across blocks"
        );
        assert!(meter.push(&square(100, SECOND)).clipping);
        assert!(!meter.push(&square(100, 2 * SECOND)).clipping);
    }

    #[test]
    fn perfect_silence_is_a_dead_line_and_a_quiet_room_is_not() {
        let mut meter = Meter::default();
        assert!(!meter.push(&vec![0; 4 * SECOND]).dead);
        assert!(meter.push(&vec![1; 2 * SECOND]).dead);
        assert!(!meter.push(&square(10, SECOND)).dead);
        assert!(!meter.push(&square(10, 10 * SECOND)).dead);
    }

    #[test]
    fn an_empty_block_changes_nothing() {
        let mut meter = Meter::default();
        let before = meter.level();
        assert_eq!(meter.push(&[]), before);
    }
}
