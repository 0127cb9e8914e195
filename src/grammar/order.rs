//! The words of an order: what to change, to time, or to measure again.

use serde::{Deserialize, Serialize};

/// A word of an order. Outside of one it means nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OrderWord {
    /// "change the": a kept value that is to be another.
    Change,
    /// "to", before the new value.
    To,
    /// "that was": a qualifier that is to be another.
    ThatWas,
    /// "scratch the": a kept reading that must not stand.
    Scratch,
    /// "the first" of several readings.
    First,
    /// "the second".
    Second,
    /// "the third".
    Third,
    /// "the fourth".
    Fourth,
    /// "count".
    Count,
    /// "seconds", after a number.
    Seconds,
    /// "minutes", after a number.
    Minutes,
    /// "with ticks".
    Ticks,
    /// "time", before a time.
    Time,
    /// "time the thermometer", before a time.
    Thermometer,
    /// "recheck".
    Recheck,
    /// "in", before the minutes until a recheck.
    In,
}

impl OrderWord {
    /// Whether an order begins with it.
    #[must_use]
    pub const fn begins(self) -> bool {
        !matches!(
            self,
            Self::To | Self::In | Self::Seconds | Self::Minutes | Self::Ticks
        )
    }

    /// Whether it may follow a no: it puts right what was said, or has it measured anew.
    #[must_use]
    pub const fn follows_no(self) -> bool {
        use OrderWord::{Change, Count, Recheck, Scratch, ThatWas};
        matches!(self, Change | ThatWas | Scratch | Count | Recheck)
    }
}
