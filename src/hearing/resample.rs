//! Change of sample rate, for a whole recording or for a stream that arrives in
//! blocks of any size.

use audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Resampler as _};
use thiserror::Error;

/// The lowest sample rate that is accepted, in hertz.
pub const LOWEST_RATE: u32 = 8_000;
/// The highest sample rate that is accepted, in hertz.
pub const HIGHEST_RATE: u32 = 192_000;

/// A sample rate outside [`LOWEST_RATE`] to [`HIGHEST_RATE`].
#[derive(Debug, Error, Clone, Copy, PartialEq, Eq)]
#[error(
    "a sample rate of {0} Hz is outside the supported {LOWEST_RATE} to {HIGHEST_RATE} Hz; \
     convert the sound to 16000 Hz"
)]
pub struct UnsupportedRate(pub u32);

/// A band-limited resampler for one channel.
///
/// Its own delay (about 10 ms) is trimmed from the start, so that the output
/// lines up with the input and a word keeps its time.
pub struct Resampler {
    // `None` when the rates are equal: samples pass through untouched.
    inner: Option<Fft<f32>>,
    from: u32,
    to: u32,
    pending: Vec<f32>,
    block: Vec<f32>,
    delay_left: usize,
    taken: u64,
    given: u64,
}

impl Resampler {
    /// A resampler from one rate to another, both in hertz.
    ///
    /// # Errors
    /// [`UnsupportedRate`] names the rate that is out of range.
    pub fn new(from: u32, to: u32) -> Result<Self, UnsupportedRate> {
        for rate in [from, to] {
            if !(LOWEST_RATE..=HIGHEST_RATE).contains(&rate) {
                return Err(UnsupportedRate(rate));
            }
        }
        let inner = if from == to {
            None
        } else {
            // 20 ms: short enough for a conversation, long enough for a steep filter.
            let chunk = (from / 50) as usize;
            let fft = Fft::new(from as usize, to as usize, chunk, 1, FixedSync::Both)
                .map_err(|_| UnsupportedRate(from))?;
            Some(fft)
        };
        let mut resampler = Self {
            inner,
            from,
            to,
            pending: Vec::new(),
            block: Vec::new(),
            delay_left: 0,
            taken: 0,
            given: 0,
        };
        resampler.reset();
        Ok(resampler)
    }

    /// Takes samples in, and appends to `out` those that are ready.
    pub fn push(&mut self, input: &[f32], out: &mut Vec<f32>) {
        self.taken += input.len() as u64;
        if self.inner.is_none() {
            self.given += input.len() as u64;
            out.extend_from_slice(input);
            return;
        }
        self.pending.extend_from_slice(input);
        self.run(out);
    }

    /// Takes samples in, and gives those that are ready, 16 bits each.
    pub fn push_16_bits(&mut self, input: &[f32]) -> Vec<i16> {
        let mut ready = Vec::new();
        self.push(input, &mut ready);
        ready.into_iter().map(to_i16).collect()
    }

    /// Appends what is still inside to `out`, and starts afresh. The total
    /// output is the total input times the ratio of the rates, rounded up.
    pub fn finish(&mut self, out: &mut Vec<f32>) {
        if let Some(need) = self.inner.as_ref().map(Fft::input_frames_next) {
            let due = (self.taken * u64::from(self.to)).div_ceil(u64::from(self.from));
            while self.given < due {
                let room = usize::try_from(due - self.given).unwrap_or(usize::MAX);
                let before = out.len();
                self.pending.resize(need, 0.0);
                self.run(out);
                out.truncate(before + room.min(out.len() - before));
            }
        }
        self.reset();
    }

    fn reset(&mut self) {
        self.pending.clear();
        self.taken = 0;
        self.given = 0;
        if let Some(fft) = &mut self.inner {
            fft.reset();
            self.delay_left = fft.output_delay();
            self.block.resize(fft.output_frames_max(), 0.0);
        }
    }

    fn run(&mut self, out: &mut Vec<f32>) {
        let Some(fft) = &mut self.inner else { return };
        let mut used = 0;
        loop {
            let need = fft.input_frames_next();
            let Some(chunk) = self.pending.get(used..used + need) else {
                break;
            };
            used += need;
            let capacity = self.block.len();
            let written = InterleavedSlice::new(chunk, 1, need)
                .ok()
                .zip(InterleavedSlice::new_mut(&mut self.block, 1, capacity).ok())
                .and_then(|(from, mut to)| fft.process_into_buffer(&from, &mut to, None).ok());
            // Both buffers have the sizes asked for, so there is no failure to report.
            debug_assert!(written.is_some());
            let ready = &self.block[..written.map_or(0, |(_, frames)| frames)];
            let trim = self.delay_left.min(ready.len());
            self.delay_left -= trim;
            self.given += (ready.len() - trim) as u64;
            out.extend_from_slice(&ready[trim..]);
        }
        self.pending.drain(..used);
    }
}

/// Resamples a whole recording.
///
/// # Errors
/// [`UnsupportedRate`] names the rate that is out of range.
pub fn resample(samples: &[f32], from: u32, to: u32) -> Result<Vec<f32>, UnsupportedRate> {
    let mut resampler = Resampler::new(from, to)?;
    let mut out = Vec::new();
    resampler.push(samples, &mut out);
    resampler.finish(&mut out);
    Ok(out)
}

/// A sample in -1 to 1 as 16 bits; what is beyond, or not a number, is held
/// within the range.
#[must_use]
#[allow(
    clippy::cast_possible_truncation,
    reason = "`as` saturates, and turns not-a-number into silence: both are wanted here"
)]
pub fn to_i16(sample: f32) -> i16 {
    (sample * 32_768.0).round() as i16
}

/// A 16-bit sample as -1 to 1.
#[must_use]
pub fn to_f32(sample: i16) -> f32 {
    f32::from(sample) / 32_768.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Milliseconds of a half-scale sine.
    #[allow(clippy::cast_precision_loss)]
    fn sine(rate: u32, hertz: f32, milliseconds: u32) -> Vec<f32> {
        let count = rate * milliseconds / 1_000;
        (0..count)
            .map(|i| 0.5 * (std::f32::consts::TAU * hertz * i as f32 / rate as f32).sin())
            .collect()
    }

    #[test]
    fn output_lines_up_with_the_input() {
        for from in [8_000, 11_025, 22_050, 32_000, 44_100, 48_000, 96_000] {
            let out = resample(&sine(from, 440.0, 500), from, 16_000).unwrap();
            let want = sine(16_000, 440.0, 500);
            assert!(out.len().abs_diff(want.len()) <= 1, "{from}: {}", out.len());
            // The edges ring, because the sine starts and stops abruptly there.
            let worst = out[500..7_500]
                .iter()
                .zip(&want[500..7_500])
                .map(|(a, b)| (a - b).abs())
                .fold(0.0, f32::max);
            // Half an input sample: the filter has an odd length for some rates.
            #[allow(clippy::cast_precision_loss)]
            let slack = 0.5 * std::f32::consts::PI * 440.0 / from as f32;
            assert!(worst < slack + 0.01, "{from} Hz: off by {worst}");
        }
    }

    #[test]
    fn blocks_of_any_size_give_the_same_as_one() {
        let input = sine(44_100, 300.0, 400);
        let whole = resample(&input, 44_100, 16_000).unwrap();
        for size in [1, 7, 441, 1_000, 9_999] {
            let mut resampler = Resampler::new(44_100, 16_000).unwrap();
            let mut out = Vec::new();
            for block in input.chunks(size) {
                resampler.push(block, &mut out);
            }
            resampler.finish(&mut out);
            assert_eq!(out, whole, "blocks of {size}");
        }
    }

    #[test]
    fn a_tone_above_the_new_band_is_removed() {
        let out = resample(&sine(48_000, 12_000.0, 500), 48_000, 16_000).unwrap();
        let loudest = out[500..7_500].iter().fold(0.0_f32, |m, s| m.max(s.abs()));
        assert!(loudest < 0.001, "{loudest}");
    }

    #[test]
    fn equal_rates_pass_through_and_absurd_rates_are_refused() {
        let input = sine(16_000, 440.0, 100);
        assert_eq!(resample(&input, 16_000, 16_000).unwrap(), input);
        assert_eq!(resample(&input, 0, 16_000), Err(UnsupportedRate(0)));
        assert_eq!(
            resample(&input, 16_000, u32::MAX),
            Err(UnsupportedRate(u32::MAX))
        );
        assert!(resample(&[], 48_000, 16_000).unwrap().is_empty());
    }

    #[test]
    fn samples_beyond_full_scale_are_held() {
        assert_eq!(to_i16(2.0), i16::MAX);
        assert_eq!(to_i16(-2.0), i16::MIN);
        assert_eq!(to_i16(f32::NAN), 0);
        assert_eq!(to_i16(to_f32(-12_345)), -12_345);
    }
}
