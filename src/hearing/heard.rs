//! What the recogniser made of one utterance. Plain data: the pure core takes
//! it as a value and never touches the recogniser.

use serde::{Deserialize, Serialize};

use super::Sound;

/// The recogniser's token for speech that fits none of the expected phrases.
pub const UNKNOWN: &str = "[unk]";

/// One recognised word.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Word {
    /// The word in lower case, or [`UNKNOWN`].
    pub text: String,
    /// Seconds from the start of the stream to the start of the word.
    pub start: f32,
    /// Seconds from the start of the stream to the end of the word.
    pub end: f32,
    /// The recogniser's own confidence, 0 to 1. It ranks words; it is not a
    /// probability of being right.
    pub confidence: f32,
}

/// Another transcript of the same sound.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alternative {
    /// The words as plain text.
    pub text: String,
    /// How far behind the best transcript, in the recogniser's own units (a
    /// difference of log-likelihoods); 0 is level with it.
    pub behind: f32,
}

/// How words were given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum By {
    /// Spoken.
    #[default]
    Voice,
    /// Touched or typed on the bedside screen.
    Touch,
}

impl By {
    /// Whether they were spoken, as nearly all are: what is stored leaves it out.
    #[must_use]
    pub fn is_voice(&self) -> bool {
        *self == Self::Voice
    }
}

/// One utterance: the best words, and the other transcripts the recogniser
/// thought possible.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Heard {
    /// The best transcript, with times and confidences.
    pub words: Vec<Word>,
    /// Other transcripts, most likely first, the best one left out.
    pub alternatives: Vec<Alternative>,
    /// True when samples reached full scale: the words may be damaged.
    pub clipped: bool,
    /// How it was given.
    #[serde(default, skip_serializing_if = "By::is_voice")]
    pub by: By,
    /// How it sounded, where the home keeps that.
    #[serde(skip)]
    pub sound: Option<Sound>,
}

impl Heard {
    /// An utterance given as text, as if heard perfectly. Rehearsals and tests
    /// use it in place of sound.
    #[must_use]
    pub fn from_text(text: &str) -> Self {
        let words = text
            .split_whitespace()
            .map(|word| Word {
                text: word.to_lowercase(),
                start: 0.0,
                end: 0.0,
                confidence: 1.0,
            })
            .collect();
        Self {
            words,
            ..Self::default()
        }
    }

    /// The best transcript as text.
    #[must_use]
    pub fn text(&self) -> String {
        let words: Vec<&str> = self.words.iter().map(|word| word.text.as_str()).collect();
        words.join(" ")
    }

    /// This, and another utterance right after it.
    pub(super) fn and(mut self, next: Self) -> Self {
        self.words.extend(next.words);
        // An alternative to one half is not an alternative to the whole.
        self.alternatives.clear();
        self.clipped |= next.clipped;
        self
    }

    /// The same, so that it is asked for again, whatever else it may have been.
    pub(crate) fn half_sure(mut self) -> Self {
        self.alternatives.clear();
        for word in &mut self.words {
            word.confidence = word.confidence.min(0.5);
        }
        self
    }

    /// The lowest confidence of any word; 1 when nothing was heard.
    #[must_use]
    pub fn confidence(&self) -> f32 {
        self.words
            .iter()
            .map(|word| word.confidence)
            .fold(1.0, f32::min)
    }
}
