//! Words in, sound out.
//!
//! A [`Voice`] turns a text into [`Audio`]; [`Cached`] remembers the phrases
//! that recur; [`tones`] stand for words where nothing is to be spoken. [`Player`] plays it, and [`Tee`] keeps it in a WAV file.

mod cache;
mod engine;
mod espeak;
mod piper;
mod player;
mod saying;
mod tee;
mod tones;
pub mod wording;

pub use cache::Cached;
pub use engine::{Audio, Voice, VoiceError};
pub use espeak::{Espeak, EspeakSettings};
pub use piper::Piper;
pub use player::{PlayError, Played, Player, Playing};
pub use saying::{Saying, Tone};
pub use tee::Tee;
pub use tones::tones;
