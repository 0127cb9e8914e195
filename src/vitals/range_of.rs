//! What a range in a file is for: a vital sign, or one half of a blood pressure.

use serde::{Deserialize, Serialize};

use super::{Component, VitalSign};

/// The name of a range in a home's files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RangeOf {
    /// Body temperature.
    Temperature,
    /// Pulse.
    Pulse,
    /// Respiration.
    Respiration,
    /// Systolic pressure.
    Systolic,
    /// Diastolic pressure.
    Diastolic,
    /// Oxygen saturation.
    OxygenSaturation,
    /// Weight.
    Weight,
}

impl RangeOf {
    /// Every range.
    pub const ALL: [Self; 7] = [
        Self::Temperature,
        Self::Pulse,
        Self::Respiration,
        Self::Systolic,
        Self::Diastolic,
        Self::OxygenSaturation,
        Self::Weight,
    ];

    /// The vital sign and the part of it that the range is for.
    #[must_use]
    pub const fn target(self) -> (VitalSign, Component) {
        match self {
            Self::Temperature => (VitalSign::Temperature, Component::Whole),
            Self::Pulse => (VitalSign::Pulse, Component::Whole),
            Self::Respiration => (VitalSign::Respiration, Component::Whole),
            Self::Systolic => (VitalSign::BloodPressure, Component::Systolic),
            Self::Diastolic => (VitalSign::BloodPressure, Component::Diastolic),
            Self::OxygenSaturation => (VitalSign::OxygenSaturation, Component::Whole),
            Self::Weight => (VitalSign::Weight, Component::Whole),
        }
    }

    /// The range for a part of a vital sign; `None` for height, which has none.
    #[must_use]
    pub fn of(sign: VitalSign, component: Component) -> Option<Self> {
        let mut all = Self::ALL.into_iter();
        all.find(|it| it.target() == (sign, component))
    }

    /// The name as written in the files.
    #[must_use]
    pub const fn tag(self) -> &'static str {
        match self {
            Self::Systolic => "systolic",
            Self::Diastolic => "diastolic",
            other => other.target().0.tag(),
        }
    }
}
