//! The recogniser of one expectation.

use std::sync::Arc;

use vosk::Recognizer;

use super::model::{EarError, Model};

/// A recogniser for one list of phrases.
pub(super) struct Slot {
    /// Shared by the ears of one process: they are megabytes. None for the network
    /// that the model was opened with.
    pub phrases: Option<Arc<[String]>>,
    pub recognizer: Recognizer,
    /// Samples given to this recogniser since it was made.
    pub fed: u64,
    /// Samples given to it since it last forgot what it had learned.
    pub learned: u64,
}

impl Slot {
    pub(super) fn new(model: &Model, phrases: Option<Arc<[String]>>) -> Result<Self, EarError> {
        Ok(Self {
            recognizer: model.recognizer(phrases.as_deref())?,
            phrases,
            fed: 0,
            learned: 0,
        })
    }
}
