//! How far speech stands out of the room, and so how far its transcripts are believed.
//!
//! The recogniser weighs transcripts as if the sound were as clear as what it learned
//! from. In noise it is as sure of a wrong number as of a right one.

use super::alternatives::Spoken;
use super::heard::UNKNOWN;
use super::wav::RATE;

/// Looked at together, in samples (20 ms).
const FRAME: usize = RATE as usize / 50;
/// What is nearer to a word than this, in seconds, may be its beginning or its echo.
const MARGIN: f32 = 0.1;
/// Fewer frames around the words than this (200 ms) are no measure of the room.
const FEWEST: usize = 10;
/// The difference between two transcripts counts by how many dB the words stand out:
/// half at 1 dB, all of it from 13.5 dB. Chosen on the tune half of the speech bench
/// (docs/hearing-tried.md), whose quiet rooms are at 30 dB and more. The recogniser hears
/// the noise softer than it is ([`super::steady`]).
const HALF_AT: f64 = 1.0;
const WHOLE_AT: f64 = 13.5;
const LEAST: f64 = 0.5;

/// How much the differences between an utterance's transcripts count, of 1, by its sound,
/// when that ends in seconds of the stream, and the words of the likeliest.
pub(super) fn belief(sound: &[i16], end: f64, words: &[Spoken]) -> f64 {
    let stands_out = stands_out(sound, end, words);
    let share = (stands_out - HALF_AT) / (WHOLE_AT - HALF_AT);
    LEAST + (1.0 - LEAST) * share.clamp(0.0, 1.0)
}

/// How much louder words are than what is around them, in dB. Without a pause around
/// words somebody else goes on speaking: 0.
#[allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    reason = "half a minute of samples"
)]
fn stands_out(sound: &[i16], end: f64, words: &[Spoken]) -> f64 {
    let begin = end - sound.len() as f64 / f64::from(RATE);
    // Speech that fits no word is as likely somebody else's.
    let known = || words.iter().filter(|(word, ..)| word != UNKNOWN);
    let within = |time: f32, margin: f32| {
        known().any(|(_, from, to)| (from - margin..to + margin).contains(&time))
    };
    let (mut words, mut room) = (Vec::new(), Vec::new());
    for (at, frame) in sound.chunks_exact(FRAME).enumerate() {
        let middle = (at * FRAME + FRAME / 2) as f64 / f64::from(RATE);
        let time = (begin + middle) as f32;
        let power = frame.iter().map(|it| f64::from(*it).powi(2)).sum::<f64>();
        if within(time, 0.0) {
            words.push(power);
        } else if !within(time, MARGIN) {
            room.push(power);
        }
    }
    if words.is_empty() || room.len() < FEWEST {
        return 0.0;
    }
    let mean = |all: &[f64]| all.iter().sum::<f64>() / all.len() as f64;
    10.0 * (mean(&words) / mean(&room).max(1.0)).log10()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECOND: usize = RATE as usize;

    /// A second of the room, a word of a second, and another of the room, with the room's
    /// level that many dB below the word's.
    fn sound(below: f64) -> Vec<i16> {
        let room = 10_000.0 * 10_f64.powf(-below / 20.0);
        let second = |level: f64| {
            #[allow(clippy::cast_possible_truncation, reason = "10,000 at most")]
            let level = level as i16;
            [level, -level].into_iter().cycle().take(SECOND)
        };
        let sound = second(room).chain(second(10_000.0));
        sound.chain(second(room)).collect()
    }

    fn word(text: &str) -> Vec<Spoken> {
        vec![(text.to_owned(), 61.0, 62.0)]
    }

    #[test]
    fn speech_in_noise_is_believed_less() {
        let cases = [
            (40.0, 1.0),
            (14.0, 1.0),
            (7.25, 0.75),
            (1.0, 0.5),
            (0.0, 0.5),
        ];
        for (below, share) in cases {
            let found = belief(&sound(below), 63.0, &word("pulse"));
            assert!((found - share).abs() < 0.01, "{below}: {found}");
        }
    }

    #[test]
    fn where_nobody_pauses_it_is_believed_least() {
        let clear = sound(40.0);
        let least = |sound: &[i16], end: f64, words: &[Spoken]| {
            (belief(sound, end, words) - LEAST).abs() < 1e-9
        };
        // A word without the room around it, speech that fits none, and no sound.
        assert!(least(&clear[SECOND..2 * SECOND], 62.0, &word("pulse")));
        assert!(least(&clear, 63.0, &word(UNKNOWN)));
        assert!(least(&clear, 63.0, &[]));
        assert!(least(&[], 63.0, &word("pulse")));
    }
}
