//! What is known about a resident that changes how to measure, and what the
//! nurse has set as usual for them.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::{Arm, Component, OxygenFlow, Quantity, RangeOf, VitalSign, possible_bounds};

/// Why a limb is not to be used for a cuff. For the screen; never spoken in the
/// room.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LimbReason {
    /// A dialysis fistula or graft.
    Fistula,
    /// An intravenous or other line.
    Line,
    /// The side of an operation.
    Surgery,
    /// Weakness of that side.
    Weakness,
    /// Another reason in the care plan.
    Other,
}

impl LimbReason {
    /// Every reason.
    pub const ALL: [Self; 5] = [
        Self::Fistula,
        Self::Line,
        Self::Surgery,
        Self::Weakness,
        Self::Other,
    ];

    /// The name as written in files.
    #[must_use]
    pub const fn tag(self) -> &'static str {
        match self {
            Self::Fistula => "fistula",
            Self::Line => "line",
            Self::Surgery => "surgery",
            Self::Weakness => "weakness",
            Self::Other => "other",
        }
    }
}

/// What changes how a resident may be measured, from the care plan.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is a precaution of its own, as the care plan lists them"
)]
pub struct Precautions {
    /// Is given oxygen.
    #[serde(skip_serializing_if = "is_false")]
    pub on_oxygen: bool,
    /// The flow the care plan orders, where it orders one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub oxygen_flow: Option<OxygenFlow>,
    /// The saturation target is 88–92 % and the early-warning score's second
    /// scale applies. Set only where a clinician has decided so.
    #[serde(skip_serializing_if = "is_false")]
    pub low_saturation_target: bool,
    /// Breathes through the mouth.
    #[serde(skip_serializing_if = "is_false")]
    pub mouth_breather: bool,
    /// Limbs not to be used for a cuff, and why.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub limbs_not_to_use: BTreeMap<Arm, LimbReason>,
    /// No rectal temperature.
    #[serde(skip_serializing_if = "is_false")]
    pub no_rectal: bool,
    /// The pulse is known to be irregular.
    #[serde(skip_serializing_if = "is_false")]
    pub irregular_pulse: bool,
    /// Weight of the resident's empty wheelchair.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chair_weight: Option<Quantity>,
}

/// Whether an empty wheelchair may weigh this: more than nothing, and no more than a
/// person may.
#[must_use]
pub fn is_chair_weight(weight: Quantity) -> bool {
    let bounds = possible_bounds(VitalSign::Weight, Component::Whole);
    // In its own unit: a number of any size can be compared, and not converted.
    bounds.to(weight.unit()).is_some_and(|it| {
        let weight = weight.value();
        Decimal::ZERO < weight && weight <= it.high
    })
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde passes a reference"
)]
const fn is_false(flag: &bool) -> bool {
    !*flag
}

/// A value that a nurse has set as usual for a resident.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Baseline {
    /// The value.
    pub value: Quantity,
    /// The nurse who set it.
    pub nurse: String,
    /// The day it was set.
    pub on: NaiveDate,
}

/// The usual values that nurses have set for one resident.
pub type Baselines = BTreeMap<RangeOf, Baseline>;
