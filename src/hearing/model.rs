//! The speech model in memory, from which every stream's recognisers are made.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use thiserror::Error;
use vosk::{LogLevel, Recognizer};

use super::heard::UNKNOWN;
use super::language::{self, Words};
use super::tuning::Tuned;
use super::wav::RATE;
use crate::grammar::Network;

/// The most transcripts that are asked for, the best one included.
const TRANSCRIPTS: u16 = 10;

/// Why words cannot be recognised.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum EarError {
    /// The model folder, or a file in it, is missing.
    #[error(
        "the speech model is incomplete: {0} is missing; unpack the release again (in a checkout: run `make setup`), or give another model folder with --model"
    )]
    ModelMissing(PathBuf),
    /// The library refused the model.
    #[error(
        "the speech model in {0} cannot be loaded; it may be damaged: delete that folder, and unpack the release again (in a checkout: run `make setup`)"
    )]
    ModelUnusable(PathBuf),
    /// No folder can be made for the links that stand in for the model.
    #[error(
        "the speech model cannot be made ready in {0}: {1}; make room there, or set TMPDIR to another folder"
    )]
    NoPlace(PathBuf, String),
    /// A network was asked for, and the model was opened without one.
    #[error("the speech model was opened without a network to listen for")]
    NoNetwork,
    /// Words that the model does not know can never be heard.
    #[error("the speech model does not know: {}; use other words for these", .0.join(", "))]
    UnknownWords(Vec<String>),
    /// A phrase holds something other than words.
    #[error("{0:?} is not a phrase of plain lower-case words")]
    NotAPhrase(String),
    /// The library would not make a recogniser.
    #[error("the speech recogniser could not be started; memory may be short")]
    Failed,
}

/// A loaded speech model. Cloning it is cheap, and the clones share the memory,
/// so that many streams can be heard at once.
#[derive(Clone)]
pub struct Model {
    // The library looks words up through an exclusive reference, hence the lock.
    inner: Arc<Mutex<vosk::Model>>,
    /// Whether its language is a network of ours.
    listens: bool,
}

impl Model {
    /// Loads the model in a folder, with its own language. Takes about half a second.
    ///
    /// # Errors
    /// Says which file is missing, or that the files are damaged.
    pub fn open(folder: &Path) -> Result<Self, EarError> {
        Self::load(folder, None)
    }

    /// Loads the model in a folder, with the language of a network in place of its
    /// own.
    ///
    /// # Errors
    /// As [`Model::open`]; and lists the words of the network that the model does not
    /// know.
    pub fn open_for(folder: &Path, words: &Words, network: &Network) -> Result<Self, EarError> {
        let language = language::file(network, words)?;
        Self::load(folder, Some(&language))
    }

    fn load(folder: &Path, language: Option<&[u8]>) -> Result<Self, EarError> {
        // The library would report a missing file on standard error only, and
        // some of them not before the first word.
        for part in [
            "am/final.mdl",
            "conf/mfcc.conf",
            "conf/model.conf",
            "graph/Gr.fst",
            "graph/HCLr.fst",
            "graph/phones/word_boundary.int",
            "ivector/final.ie",
        ] {
            let file = folder.join(part);
            if !file.is_file() {
                return Err(EarError::ModelMissing(file));
            }
        }
        vosk::set_log_level(LogLevel::Error);
        let unusable = || EarError::ModelUnusable(folder.to_owned());
        let tuned = Tuned::new(folder, language)
            .map_err(|error| EarError::NoPlace(std::env::temp_dir(), error.to_string()))?;
        let name = tuned.folder().to_str().ok_or_else(unusable)?;
        let model = vosk::Model::new(name).ok_or_else(unusable)?;
        Ok(Self {
            inner: Arc::new(Mutex::new(model)),
            listens: language.is_some(),
        })
    }

    /// Whether the model can recognise a word (in lower case).
    #[must_use]
    pub fn knows(&self, word: &str) -> bool {
        // Symbol 0 is the empty word.
        self.lock().find_word(word).is_some_and(|symbol| symbol > 0)
    }

    fn lock(&self) -> MutexGuard<'_, vosk::Model> {
        // Nothing inside is ever half changed, so a poisoned lock is harmless.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A recogniser for some phrases, or for the network that the model was opened
    /// with.
    pub(super) fn recognizer(&self, phrases: Option<&[String]>) -> Result<Recognizer, EarError> {
        #[allow(clippy::cast_precision_loss, reason = "16000 is exact")]
        let rate = RATE as f32;
        let recognizer = match phrases {
            Some(phrases) => Recognizer::new_with_grammar(&self.lock(), rate, phrases),
            None if self.listens => Recognizer::new(&self.lock(), rate),
            None => return Err(EarError::NoNetwork),
        };
        let mut recognizer = recognizer.ok_or(EarError::Failed)?;
        recognizer.set_words(true);
        recognizer.set_max_alternatives(TRANSCRIPTS);
        Ok(recognizer)
    }
}

/// The phrases, each known to be nothing but words. The binding pastes them into
/// JSON unescaped, so this also keeps that well-formed.
pub(super) fn checked(phrases: &[String]) -> Result<Vec<String>, EarError> {
    let plain = |c: char| c.is_lowercase() || matches!(c, '\'' | '-' | '.');
    let word = |it: &&str| *it == UNKNOWN || it.chars().all(plain);
    phrases
        .iter()
        .map(|phrase| {
            let words: Vec<&str> = phrase.split_whitespace().collect();
            let phrase = words.join(" ");
            if phrase.is_empty() || !words.iter().all(word) {
                return Err(EarError::NotAPhrase(phrase));
            }
            Ok(phrase)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_model_says_what_to_do() {
        let error = Model::open(Path::new("no/such/folder")).err().unwrap();
        let text = error.to_string();
        assert!(
            text.contains("am/final.mdl") && text.contains("make setup"),
            "{text}"
        );
    }

    #[test]
    fn phrases_are_plain_words() {
        let check = |phrase: &str| checked(&[phrase.to_owned()]);
        assert_eq!(check("  one   hundred ").unwrap(), ["one hundred"]);
        assert_eq!(check("[unk]").unwrap(), ["[unk]"]);
        assert_eq!(check("[unk] yes").unwrap(), ["[unk] yes"]);
        assert_eq!(check("o'clock").unwrap(), ["o'clock"]);
        for bad in ["", " ", "98", "a\"b", "a\\", "Yes", "a\0b", "[unk]yes"] {
            assert!(check(bad).is_err(), "{bad:?}");
        }
    }
}
