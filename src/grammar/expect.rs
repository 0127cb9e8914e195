//! What the dialogue expects to hear next, and so what the recogniser listens for.

use serde::{Deserialize, Serialize};

/// A state of the conversation as far as hearing is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Expect {
    /// Which resident: a room and bed.
    Place,
    /// Readings of the resident who was named, in any order.
    Readings,
    /// The answer to a question about a reading.
    Answer,
    /// The answer to "What is the pulse?" and the like: a count, and little else,
    /// so that people are heard better.
    Rate,
    /// Yes, no, or another value.
    Confirm,
    /// Nothing but the words that wake it.
    Wake,
}

impl Expect {
    /// Every expectation.
    pub const ALL: [Self; 6] = [
        Self::Place,
        Self::Readings,
        Self::Answer,
        Self::Rate,
        Self::Confirm,
        Self::Wake,
    ];

    /// The public rules that may be heard, with how many phrases to draw from
    /// each. The counts are shares of the recogniser's language model: what is
    /// likely next gets more.
    #[must_use]
    pub const fn shares(self) -> &'static [(&'static str, usize)] {
        match self {
            Self::Place => &[
                ("place.where", 1000),
                ("place.reported", 100),
                ("conversation.command", 200),
                ("conversation.yes", 40),
                ("conversation.no", 40),
            ],
            Self::Readings => &[
                ("reading.readings", 4666),
                ("reading.not-taken", 400),
                ("reading.history", 166),
                ("reading.activity-said", 100),
                ("place.where", 266),
                ("place.reported", 100),
                ("conversation.command", 234),
                ("conversation.yes", 40),
                ("conversation.no", 40),
            ],
            Self::Answer => &[
                ("reading.part", 1666),
                ("reading.readings", 1666),
                ("reading.reason", 100),
                ("reading.history", 66),
                ("reading.not-taken", 134),
                ("place.which-bed", 100),
                ("place.where", 100),
                ("conversation.command", 166),
                ("conversation.yes", 100),
                ("conversation.no", 100),
            ],
            Self::Rate => &[
                ("reading.rate", 2000),
                ("reading.not-taken", 40),
                ("conversation.command", 40),
            ],
            Self::Confirm => &[
                ("conversation.yes", 1000),
                ("conversation.no", 666),
                ("conversation.replace", 834),
                ("reading.part", 834),
                ("reading.readings", 1334),
                ("reading.history", 66),
                ("reading.not-taken", 66),
                ("place.where", 66),
                ("place.reported", 66),
                ("conversation.command", 266),
            ],
            Self::Wake => &[("conversation.wake", 40)],
        }
    }
}
