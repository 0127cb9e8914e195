//! Tones: short bursts of sine, told apart by how many there are and whether
//! they rise or fall, not by pitch alone. Common practice, no source.

use std::f32::consts::TAU;

use super::Tone;
use super::engine::Audio;

/// Samples per second.
const RATE: u32 = 22_050;
/// Loudness, full scale being 1: about 10 dB below it.
const LOUDNESS: f32 = 0.3;
/// Each burst swells and fades in 10 ms, so that it does not click.
const FADE: u32 = RATE / 100;
/// Silence after a burst, and after a tone, in milliseconds.
const GAPS: (u32, u32) = (40, 160);

/// The bursts of a tone: hertz and milliseconds.
const fn bursts(tone: Tone) -> &'static [(f32, u32)] {
    match tone {
        Tone::Question => &[(587.0, 90), (880.0, 140)],
        Tone::Kept => &[(880.0, 140)],
        Tone::Report => &[(740.0, 120), (740.0, 120), (740.0, 120)],
        Tone::Refused => &[(440.0, 140), (294.0, 220)],
    }
}

/// The sound of tones, one after the other.
#[must_use]
pub fn tones(tones: &[Tone]) -> Audio {
    let mut samples = Vec::new();
    let silence = |samples: &mut Vec<i16>, ms: u32| {
        let more = samples.len() + (RATE * ms / 1_000) as usize;
        samples.resize(more, 0);
    };
    for tone in tones {
        for (hertz, ms) in bursts(*tone) {
            let length = RATE * ms / 1_000;
            samples.extend((0..length).map(|at| burst(*hertz, at, length)));
            silence(&mut samples, GAPS.0);
        }
        silence(&mut samples, GAPS.1);
    }
    Audio {
        rate: RATE,
        samples,
    }
}

#[allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    reason = "a few thousand samples, and at most full scale"
)]
fn burst(hertz: f32, at: u32, length: u32) -> i16 {
    let edge = at.min(length - at) as f32 / FADE as f32;
    let wave = (TAU * hertz * at as f32 / RATE as f32).sin();
    (wave * edge.min(1.0) * LOUDNESS * f32::from(i16::MAX)) as i16
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How often the wave crosses nought upwards in each burst: its pitch.
    fn pitches(audio: &Audio) -> Vec<usize> {
        let mut pitches = Vec::new();
        let mut quiet = usize::MAX;
        for pair in audio.samples.windows(2) {
            if pair == [0, 0] {
                quiet = quiet.saturating_add(1);
                continue;
            }
            if quiet > 100 {
                pitches.push(0);
            }
            quiet = 0;
            if pair[0] < 0
                && pair[1] >= 0
                && let Some(last) = pitches.last_mut()
            {
                *last += 1;
            }
        }
        pitches
    }

    #[test]
    fn tones_differ_in_number_or_in_direction() {
        let of = |tone| pitches(&tones(&[tone]));
        assert_eq!(of(Tone::Kept).len(), 1);
        assert_eq!(of(Tone::Report).len(), 3);
        let (question, refused) = (of(Tone::Question), of(Tone::Refused));
        assert_eq!((question.len(), refused.len()), (2, 2));
        // 587 Hz for 90 ms, then 880 Hz for 140 ms.
        assert!((51..=53).contains(&question[0]), "{question:?}");
        assert!((121..=124).contains(&question[1]), "{question:?}");
        assert!(refused[1] < refused[0] + 10, "{refused:?}");
    }

    #[test]
    fn tones_are_short_and_never_full_scale() {
        for tone in Tone::ALL {
            let audio = tones(&[tone]);
            assert!(audio.duration().as_millis() < 700, "{tone:?}");
            let most = audio.samples.iter().map(|it| it.unsigned_abs()).max();
            assert!((9_000..10_000).contains(&most.unwrap()), "{tone:?}");
        }
        assert_eq!(
            tones(&[Tone::Kept, Tone::Question]).samples.len(),
            tones(&[Tone::Kept]).samples.len() + tones(&[Tone::Question]).samples.len()
        );
    }
}
