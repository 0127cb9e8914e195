//! Something to say: what is shown of it, and what is heard.

/// A short sound in place of words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Tone {
    /// An answer is waited for.
    Question,
    /// Done: kept, noted, or heard.
    Kept,
    /// Something is to be reported to the nurse.
    Report,
    /// Not kept, or not understood.
    Refused,
}

impl Tone {
    /// Every tone.
    pub const ALL: [Self; 4] = [Self::Question, Self::Kept, Self::Report, Self::Refused];
}

/// Something to say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Saying {
    /// The whole of it, for the screen.
    pub shown: String,
    /// What the voice says of it; empty where tones are heard instead.
    pub spoken: String,
    /// The tones that are heard, in this order.
    pub tones: Vec<Tone>,
}

impl Saying {
    /// Words that are both shown and spoken.
    #[must_use]
    pub fn aloud(text: &str) -> Self {
        Self {
            shown: text.to_owned(),
            spoken: text.to_owned(),
            tones: Vec::new(),
        }
    }
}
