//! How far speech stands out of the room, and so how far its transcripts are believed.
//!
//! The recogniser weighs transcripts as if the sound were as clear as what it learned
//! from. In noise it is as sure of a wrong number as of a right one.

use super::level::rms;
use super::wav::RATE;

/// Looked at together, in samples (20 ms).
const FRAME: usize = RATE as usize / 50;
/// Speech that stands out this far, in dB, is believed as the recogniser weighs it.
/// Readings in the bench's quiet rooms stand out 40 dB and more.
const CLEAR: f64 = 22.0;
/// The least that a difference between two transcripts counts. Both were chosen on the
/// tune half of the speech bench (docs/hearing.md).
const LEAST: f64 = 0.6;

/// How much the differences between an utterance's transcripts count, of 1.
pub(super) fn belief(sound: &[i16]) -> f64 {
    (stands_out(sound) / CLEAR).clamp(LEAST, 1.0)
}

/// How much louder an utterance's loud frames are than its soft ones, in dB, the
/// outermost tenth of each left out.
fn stands_out(sound: &[i16]) -> f64 {
    let mut levels: Vec<f32> = sound.chunks_exact(FRAME).map(rms).collect();
    if levels.is_empty() {
        return 0.0;
    }
    levels.sort_by(f32::total_cmp);
    let tenth = levels.len() / 10;
    f64::from(levels[levels.len() - 1 - tenth] - levels[tenth])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A second of sound at one level and a second at another.
    fn sound(loud: i16, soft: i16) -> Vec<i16> {
        let second = |level: i16| [level, -level].into_iter().cycle().take(RATE as usize);
        second(loud).chain(second(soft)).collect()
    }

    #[test]
    fn speech_in_noise_is_believed_less() {
        assert!((stands_out(&sound(10_000, 1_000)) - 20.0).abs() < 0.1);
        assert!((belief(&sound(10_000, 100)) - 1.0).abs() < 1e-9);
        assert!((belief(&sound(10_000, 0)) - 1.0).abs() < 1e-9);
        assert!((belief(&sound(10_000, 5_000)) - LEAST).abs() < 1e-9);
        let between = belief(&sound(10_000, 1_350));
        assert!(between > LEAST && between < 1.0, "{between}");
        assert!((belief(&[]) - LEAST).abs() < 1e-9);
    }
}
