//! What a resident says beside the readings, such as that she is dizzy: a remark for the
//! nurse, and no reading.

use serde::{Deserialize, Serialize};

/// How a resident feels, as it was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Felt {
    /// Dizzy.
    Dizzy,
    /// Lightheaded.
    Lightheaded,
    /// Faint.
    Faint,
    /// Asked about, and not dizzy.
    NotDizzy,
    /// Could not stand up, or stay standing.
    UnableToStand,
}

impl Felt {
    /// The wording in a read-back and in the note.
    #[must_use]
    pub const fn spoken(self) -> &'static str {
        match self {
            Self::Dizzy => "dizzy",
            Self::Lightheaded => "lightheaded",
            Self::Faint => "feels faint",
            Self::NotDizzy => "not dizzy",
            Self::UnableToStand => "unable to stand",
        }
    }

    /// Whether the resident is to sit or lie down, and the nurse to be told.
    #[must_use]
    pub const fn needs_care(self) -> bool {
        !matches!(self, Self::NotDizzy)
    }
}
