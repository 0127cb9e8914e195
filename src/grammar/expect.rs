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
    pub const fn shares(self) -> &'static [(&'static str, u32)] {
        match self {
            Self::Place => &[
                ("place.where", 3000),
                ("people.resident", 1200),
                ("people.staff", 200),
                ("place.reported", 300),
                ("conversation.command", 600),
                ("order.command", 400),
                ("order.skip", 100),
                ("conversation.yes", 100),
                ("conversation.no", 100),
            ],
            Self::Readings => &[
                ("reading.readings", 14000),
                ("reading.not-taken", 1200),
                ("reading.history", 500),
                ("reading.activity-said", 300),
                ("reading.felt", 200),
                ("blood_pressure.stood", 60),
                ("change.value", 500),
                ("change.that-was", 200),
                ("change.scratch", 150),
                ("change.count", 250),
                ("change.time", 150),
                ("change.again", 200),
                ("place.where", 800),
                ("people.resident", 300),
                ("people.staff", 100),
                ("place.reported", 300),
                ("conversation.command", 700),
                ("order.command", 300),
                ("order.skip", 200),
                ("conversation.yes", 100),
                ("conversation.no", 100),
            ],
            Self::Answer => &[
                ("reading.part", 5000),
                ("reading.readings", 5000),
                ("reading.reason", 300),
                ("reading.history", 200),
                ("reading.not-taken", 400),
                ("reading.felt", 100),
                ("change.that-was", 150),
                ("change.which", 100),
                ("change.count", 150),
                ("place.which-bed", 300),
                ("place.where", 300),
                ("people.resident", 100),
                ("people.staff", 50),
                ("conversation.command", 500),
                ("order.command", 150),
                ("order.skip", 50),
                ("order.why", 150),
                ("conversation.later", 60),
                ("conversation.yes", 300),
                ("conversation.no", 300),
                ("conversation.instead", 100),
            ],
            Self::Rate => &[
                ("reading.rate", 2000),
                ("reading.not-taken", 40),
                ("reading.felt", 20),
                ("conversation.command", 40),
                ("conversation.later", 20),
                ("conversation.no", 20),
                ("conversation.instead", 40),
            ],
            Self::Confirm => &[
                ("conversation.yes", 9000),
                ("conversation.no", 6000),
                ("conversation.replace", 2500),
                ("reading.part", 2500),
                ("reading.readings", 4000),
                ("reading.history", 200),
                ("reading.not-taken", 200),
                ("reading.felt", 80),
                ("change.value", 250),
                ("change.that-was", 150),
                ("change.scratch", 100),
                ("place.where", 200),
                ("people.resident", 100),
                ("people.staff", 50),
                ("place.reported", 200),
                ("conversation.command", 800),
                ("order.command", 150),
                ("order.skip", 100),
                ("conversation.instead", 400),
            ],
            Self::Wake => &[("conversation.wake", 100)],
        }
    }
}
