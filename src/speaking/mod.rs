//! Words in, sound out.
//!
//! A [`Voice`] turns a text into [`Audio`]; [`Cached`] remembers the phrases
//! that recur. [`Player`] plays it, and [`Tee`] keeps it in a WAV file.

mod cache;
mod engine;
mod espeak;
mod piper;
mod player;
mod tee;
pub mod wording;

pub use cache::Cached;
pub use engine::{Audio, Voice, VoiceError};
pub use espeak::{Espeak, EspeakSettings};
pub use piper::Piper;
pub use player::{PlayError, Played, Player, Playing};
pub use tee::Tee;
