//! What the dialogue expects to hear next, and so what the recogniser listens for.

use serde::{Deserialize, Serialize};

/// A state of the conversation as far as hearing is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Expect {
    /// Which resident: a room and bed.
    Place,
    /// Readings of the resident who was named, in any order, and answers to what is
    /// asked about them: yes, no, or another value.
    Readings,
    /// The answer to "What is the pulse?" and the like: a count, and little else,
    /// so that people are heard better.
    Rate,
    /// Nothing but the words that wake it.
    Wake,
}

impl Expect {
    /// Every expectation.
    pub const ALL: [Self; 4] = [Self::Place, Self::Readings, Self::Rate, Self::Wake];

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
                ("reading.readings", 12750),
                ("reading.part", 1900),
                ("reading.reason", 75),
                ("reading.not-taken", 1050),
                ("reading.history", 475),
                ("reading.activity-said", 225),
                ("change.value", 450),
                ("change.that-was", 225),
                ("change.scratch", 150),
                ("change.which", 25),
                ("change.count", 225),
                ("change.time", 125),
                ("change.again", 150),
                ("place.which-bed", 75),
                ("place.where", 725),
                ("people.resident", 275),
                ("people.staff", 100),
                ("place.reported", 275),
                ("conversation.yes", 900),
                ("conversation.no", 650),
                ("conversation.replace", 625),
                ("conversation.command", 850),
                ("order.command", 300),
                ("order.skip", 200),
                ("order.why", 50),
            ],
            Self::Rate => &[
                ("reading.rate", 2000),
                ("reading.not-taken", 40),
                ("conversation.command", 40),
            ],
            Self::Wake => &[("conversation.wake", 100)],
        }
    }
}
