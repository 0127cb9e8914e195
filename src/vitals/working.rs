//! How a value was worked out from what the aide read.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::Quantity;

/// The numbers behind a value that was not read but worked out; kept beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Working {
    /// Beats or breaths counted over a part of a minute.
    Counted {
        /// How many.
        count: u16,
        /// Over how many seconds: 15, 30 or 60.
        seconds: u16,
    },
    /// The two bars of a balance scale, in the unit of the value.
    Bars {
        /// The large weight.
        large: Decimal,
        /// The small weight.
        small: Decimal,
    },
    /// A wheelchair scale.
    LessChair {
        /// Chair and resident together.
        total: Quantity,
        /// The empty chair.
        chair: Quantity,
    },
}
