//! Sound in, words out.
//!
//! Everything inside is 16 kHz, one channel, 16 bits. [`read_wav`] brings
//! recordings into that form and [`Microphone`] live sound; [`Ear`] turns it into
//! utterances, and [`Meter`] says how loud it is.

mod adapted;
mod again;
mod alternatives;
mod feed;
mod frames;
mod gate;
mod heard;
mod kept_sound;
mod kernels;
mod language;
mod level;
mod link;
mod microphone;
mod model;
mod mute;
mod near;
mod nearest;
mod noise;
#[cfg(target_os = "linux")]
mod paced;
mod pause;
mod recognizer;
mod resample;
mod sound;
mod steady;
mod tuning;
mod wav;

pub use alternatives::heard_in;
pub use feed::Feed;
pub use heard::{Alternative, By, Heard, UNKNOWN, Word};
pub use kernels::with_best_kernels;
pub use language::Words;
pub use level::{ClipDetector, FLOOR, Level, Meter};
pub use microphone::{Microphone, MicrophoneEvent};
pub use model::{EarError, Model};
pub use mute::{Mute, Muted};
pub use recognizer::Ear;
pub use resample::{
    HIGHEST_RATE, LOWEST_RATE, Resampler, UnsupportedRate, resample, to_f32, to_i16,
};
pub use sound::Sound;
pub use steady::Steady;
pub use wav::{
    LONGEST_SECONDS, MOST_CHANNELS, RATE, WavError, read_wav, read_wav_at_own_rate, read_wav_bytes,
    wav_bytes, write_wav,
};
pub(crate) use wav::{into_io, mono16};
