//! Softening a steady noise: ventilation, and what of a room full of talk never stops.
//!
//! The recogniser learned from clearer sound than a round has. Each note of the sound is
//! made softer by as much as the noise of that note stands beside it, and never by more
//! than [`MOST`]: what is taken away altogether leaves holes, which disturb the recogniser
//! more than the noise did.
//!
//! The parts are published ones, their constants from memory: how loud the noise of each
//! note is, by Gerkmann and Hendriks, "Unbiased MMSE-Based Noise Power Estimation with Low
//! Complexity and Low Tracking Delay" (IEEE Transactions on Audio, Speech, and Language
//! Processing, 2012); how far speech stands out of it, by the decision-directed rule of
//! Ephraim and Malah (IEEE Transactions on Acoustics, Speech, and Signal Processing, 1984);
//! and Wiener's filter. What came of it is in docs/hearing-tried.md.

use std::f32::consts::PI;
use std::sync::Arc;
use std::time::Duration;

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use super::frames::lasting;

/// Looked at together, in samples (32 ms).
const WINDOW: usize = 512;
/// From one look to the next (16 ms): each sample is in two.
const HOP: usize = WINDOW / 2;
const NOTES: usize = WINDOW / 2 + 1;
/// No note is made softer by more than this, 12 dB.
const MOST: f32 = 0.251;
/// At the start the noise is the mean of so many looks (0.13 s).
const FIRST: f32 = 8.0;
/// A note in which somebody speaks is taken to stand out of the noise by this, 15 dB.
const SPEECH: f32 = 31.62;
/// How much of what was known of the noise is kept from look to look, and of how likely
/// speech was.
const KEEPS_NOISE: f32 = 0.8;
const KEEPS_LIKELY: f32 = 0.9;
/// Where speech has been likelier than this for long, it may be the noise that changed.
const LIKELIEST: f32 = 0.99;
/// How much the last look says about how far speech stands out now.
const KEEPS_SPEECH: f32 = 0.98;
/// No note stands out less than this, -30 dB, or more than that, 40 dB.
const STANDS_OUT: (f32, f32) = (1e-3, 1e4);

/// Softens the noise of one stream.
pub struct Steady {
    forward: Arc<dyn RealToComplex<f32>>,
    back: Arc<dyn ComplexToReal<f32>>,
    window: [f32; WINDOW],
    /// The second half of what was looked at last, and the samples that came since.
    held: Vec<f32>,
    /// Nothing was looked at yet: what comes before it is no sound.
    begins: bool,
    /// The second half of the last look as it is to be given, but for what the next adds.
    half: [f32; HOP],
    notes: Vec<Note>,
    looks: f32,
    time: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
}

/// What is known of one note.
#[derive(Debug, Clone, Copy, Default)]
struct Note {
    /// Power.
    noise: f32,
    speech: f32,
    likely: f32,
}

impl Default for Steady {
    fn default() -> Self {
        let mut planner = RealFftPlanner::new();
        let forward = planner.plan_fft_forward(WINDOW);
        Self {
            back: planner.plan_fft_inverse(WINDOW),
            window: window(),
            held: vec![0.0; HOP],
            begins: true,
            half: [0.0; HOP],
            notes: vec![Note::default(); NOTES],
            looks: 0.0,
            time: forward.make_input_vec(),
            spectrum: forward.make_output_vec(),
            forward,
        }
    }
}

/// Half a sine: its square and that of the next look's together are 1.
#[allow(clippy::cast_precision_loss, reason = "512 at most")]
fn window() -> [f32; WINDOW] {
    std::array::from_fn(|at| (PI * (at as f32 + 0.5) / WINDOW as f32).sin())
}

impl Steady {
    /// Takes the next samples, and gives those that are done.
    pub fn pass(&mut self, samples: &[i16]) -> Vec<i16> {
        self.held.extend(samples.iter().map(|it| f32::from(*it)));
        let mut out = Vec::with_capacity(self.held.len());
        let mut from = 0;
        while from + WINDOW <= self.held.len() {
            self.look(from, &mut out);
            from += HOP;
        }
        self.held.drain(..from);
        out
    }

    /// Gives what is held back, as at the end of a file.
    pub fn rest(&mut self) -> Vec<i16> {
        let held = self.samples_held();
        // What comes with it is silence of our own.
        let mut rest = self.pass(&[0; WINDOW]);
        rest.truncate(held);
        self.forget();
        rest
    }

    /// How far what was given is behind what was taken.
    pub(super) fn held(&self) -> Duration {
        lasting(self.samples_held())
    }

    fn samples_held(&self) -> usize {
        self.held.len() - if self.begins { HOP } else { 0 }
    }

    /// What is held back is of no interest any more. The noise is as it was.
    pub(super) fn forget(&mut self) {
        self.held.clear();
        self.held.resize(HOP, 0.0);
        self.half.fill(0.0);
        self.begins = true;
    }

    fn look(&mut self, from: usize, out: &mut Vec<i16>) {
        let samples = self.held[from..from + WINDOW].iter().zip(&self.window);
        for (place, (sample, weight)) in self.time.iter_mut().zip(samples) {
            *place = sample * weight;
        }
        // They fail for buffers of another length only, and these are the plan's own.
        let _ = self.forward.process(&mut self.time, &mut self.spectrum);
        self.looks = (self.looks + 1.0).min(FIRST + 1.0);
        for (note, place) in self.notes.iter_mut().zip(&mut self.spectrum) {
            *place *= note.gain(place.norm_sqr() + 1.0, self.looks);
        }
        let _ = self.back.process(&mut self.spectrum, &mut self.time);
        #[allow(clippy::cast_precision_loss, reason = "512")]
        let weighed = |(sample, weight): (&f32, &f32)| sample * weight / WINDOW as f32;
        let mut done = self.time.iter().zip(&self.window).map(weighed);
        for (half, first) in self.half.iter().zip(done.by_ref().take(HOP)) {
            #[allow(clippy::cast_possible_truncation, reason = "clamped")]
            let sample = (half + first).round().clamp(-32_768.0, 32_767.0) as i16;
            if !self.begins {
                out.push(sample);
            }
        }
        self.begins = false;
        for (half, second) in self.half.iter_mut().zip(done) {
            *half = second;
        }
    }
}

impl Note {
    /// How strong a note of this power is to be, of 1.
    fn gain(&mut self, power: f32, looks: f32) -> f32 {
        if looks <= FIRST {
            self.noise += (power - self.noise) / looks;
        }
        let stands_out = power / self.noise;
        let evidence = (-stands_out * SPEECH / (1.0 + SPEECH)).exp();
        let mut speech = 1.0 / (1.0 + (1.0 + SPEECH) * evidence);
        self.likely += (1.0 - KEEPS_LIKELY) * (speech - self.likely);
        if self.likely > LIKELIEST {
            speech = speech.min(LIKELIEST);
        }
        let noise = speech * self.noise + (1.0 - speech) * power;
        self.noise += (1.0 - KEEPS_NOISE) * (noise - self.noise);

        let (least, most) = STANDS_OUT;
        let now = ((power / self.noise).min(most) - 1.0).max(0.0);
        let before = self.speech / self.noise;
        let stands_out = (KEEPS_SPEECH * before + (1.0 - KEEPS_SPEECH) * now).max(least);
        let gain = stands_out / (1.0 + stands_out);
        self.speech = gain * gain * power;
        gain.max(MOST)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::hearing::level::rms;
    use crate::hearing::wav::RATE;

    const SECOND: usize = RATE as usize;

    fn noise(rng: &mut fastrand::Rng, level: f32, samples: usize) -> Vec<i16> {
        #[allow(clippy::cast_possible_truncation, reason = "a level below full scale")]
        let next = |_| (level * (2.0 * rng.f32() - 1.0)) as i16;
        (0..samples).map(next).collect()
    }

    /// A tone in bursts of a fifth of a second, as loud as syllables and as short.
    fn syllables(samples: usize) -> Vec<i16> {
        let tone = |at: usize| {
            #[allow(clippy::cast_precision_loss, reason = "seconds")]
            let wave = (2.0 * PI * 500.0 * at as f32 / RATE as f32).sin();
            #[allow(clippy::cast_possible_truncation, reason = "below full scale")]
            let sample = (8_000.0 * wave) as i16;
            if at / (SECOND / 5) % 2 == 1 {
                sample
            } else {
                0
            }
        };
        (0..samples).map(tone).collect()
    }

    #[test]
    fn a_steady_noise_is_softened_by_so_much_and_speech_in_it_is_left() {
        let mut rng = fastrand::Rng::with_seed(1);
        let room = noise(&mut rng, 400.0, 4 * SECOND);
        let both = room.iter().zip(syllables(4 * SECOND));
        let sound: Vec<i16> = both.map(|(a, b)| a + b).collect();
        let mut steady = Steady::default();
        let mut out = steady.pass(&sound);
        out.extend(steady.rest());
        assert_eq!(out.len(), sound.len());
        // The end of the last pause, and the middle of the last syllable.
        let pause = SECOND * 74 / 20..SECOND * 75 / 20;
        let change = |at: std::ops::Range<usize>| rms(&out[at.clone()]) - rms(&sound[at]);
        let softer = change(pause);
        assert!((-12.5..-9.0).contains(&softer), "{softer} dB");
        let syllable = change(SECOND * 77 / 20..SECOND * 39 / 10);
        assert!(syllable.abs() < 0.5, "{syllable} dB");
    }

    #[test]
    fn what_was_held_is_forgotten_and_the_noise_is_not() {
        let mut rng = fastrand::Rng::with_seed(2);
        let mut steady = Steady::default();
        steady.pass(&noise(&mut rng, 400.0, 4 * SECOND));
        steady.forget();
        let room = noise(&mut rng, 400.0, SECOND / 10);
        let out = steady.pass(&room);
        assert!(rms(&out) < rms(&room) - 8.0);
    }

    /// Loud or soft, in any blocks.
    fn sounds() -> impl Strategy<Value = (Vec<i16>, Vec<usize>)> {
        let level = prop_oneof![Just(0.0_f32), 1.0_f32..32_767.0];
        let parts = prop::collection::vec((level, 1_usize..3_000), 1..6);
        let sound = (any::<u64>(), parts).prop_map(|(seed, parts)| {
            let mut rng = fastrand::Rng::with_seed(seed);
            let part = |(level, samples)| noise(&mut rng, level, samples);
            parts.into_iter().flat_map(part).collect()
        });
        (sound, prop::collection::vec(1_usize..1_601, 1..8))
    }

    proptest! {
        #[test]
        fn as_many_samples_come_out_whatever_the_blocks_and_none_is_louder(
            (sound, blocks) in sounds(),
        ) {
            let (mut steady, mut out, mut at) = (Steady::default(), Vec::new(), 0);
            for size in blocks.iter().cycle() {
                let next = (at + size).min(sound.len());
                out.extend(steady.pass(&sound[at..next]));
                at = next;
                // All that was taken was given, or is said to be held.
                let held = usize::try_from(steady.held().as_micros()).unwrap() * SECOND;
                prop_assert_eq!((held + 500_000) / 1_000_000, at - out.len());
                if at == sound.len() {
                    break;
                }
            }
            out.extend(steady.rest());
            let mut at_once = Steady::default();
            let mut once = at_once.pass(&sound);
            once.extend(at_once.rest());
            prop_assert_eq!(&out, &once);
            let power = |all: &[i16]| all.iter().map(|it| f64::from(*it).powi(2)).sum::<f64>();
            prop_assert!(power(&out) <= power(&sound) + 2.0 * f64::from(u32::try_from(sound.len()).unwrap()));
        }
    }
}
