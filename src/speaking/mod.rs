//! Words in, sound out.
//!
//! A [`Voice`] turns a text into [`Audio`]; [`Cached`] remembers the phrases
//! that recur, and [`Tee`] keeps what was said in a WAV file.

mod cache;
mod engine;
mod espeak;
mod tee;
pub mod wording;

pub use cache::Cached;
pub use engine::{Audio, Voice, VoiceError};
pub use espeak::{Espeak, EspeakSettings};
pub use tee::Tee;
