//! A stream cut into frames of 10 ms, however its blocks come.

use std::time::Duration;

use super::wav::RATE;

/// Samples in a frame.
pub(super) const FRAME: usize = RATE as usize / 100;
/// The length of a frame.
pub(super) const FRAME_TIME: Duration = Duration::from_millis(10);

/// How long so many samples last.
pub(super) fn lasting(samples: usize) -> Duration {
    Duration::from_secs(1) * u32::try_from(samples).unwrap_or(0) / RATE
}

/// The same in seconds.
#[allow(clippy::cast_precision_loss, reason = "exact for 2^53 samples")]
pub(super) fn seconds(samples: u64) -> f64 {
    samples as f64 / f64::from(RATE)
}

/// Holds what is less than a frame until the next block.
#[derive(Debug, Clone, Default)]
pub(super) struct Frames {
    rest: Vec<i16>,
}

impl Frames {
    /// Takes the next samples and gives each frame that is whole.
    pub(super) fn push(&mut self, samples: &[i16], mut each: impl FnMut(&[i16])) {
        self.rest.extend_from_slice(samples);
        let frames = self.rest.chunks_exact(FRAME);
        let left = frames.remainder().len();
        frames.for_each(&mut each);
        self.rest.drain(..self.rest.len() - left);
    }
}
