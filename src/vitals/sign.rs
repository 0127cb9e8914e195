//! The vital signs themselves.

use serde::{Deserialize, Serialize};

use super::QualifierKind;

/// One of the vital signs taken on a round.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VitalSign {
    /// Body temperature.
    Temperature,
    /// Pulse (heart) rate.
    Pulse,
    /// Respiratory rate.
    Respiration,
    /// Arterial blood pressure, systolic over diastolic.
    BloodPressure,
    /// Oxygen saturation by pulse oximetry.
    OxygenSaturation,
    /// Body weight.
    Weight,
    /// Body height.
    Height,
    /// Pain as the resident rates it, 0 to 10.
    Pain,
    /// Flow of oxygen.
    OxygenFlow,
    /// Level of alertness, in words.
    Alertness,
}

impl VitalSign {
    /// Every vital sign, in the order a round usually takes them.
    pub const ALL: [Self; 10] = [
        Self::Temperature,
        Self::Pulse,
        Self::Respiration,
        Self::BloodPressure,
        Self::OxygenSaturation,
        Self::Weight,
        Self::Height,
        Self::Pain,
        Self::OxygenFlow,
        Self::Alertness,
    ];

    /// The name as spoken and shown.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::Pulse => "pulse",
            Self::Respiration => "respiration",
            Self::BloodPressure => "blood pressure",
            Self::OxygenSaturation => "oxygen saturation",
            Self::Weight => "weight",
            Self::Height => "height",
            Self::Pain => "pain",
            Self::OxygenFlow => "oxygen flow",
            Self::Alertness => "alertness",
        }
    }

    /// The name as written in grammar tags and settings.
    #[must_use]
    pub const fn tag(self) -> &'static str {
        match self {
            Self::BloodPressure => "blood_pressure",
            Self::OxygenSaturation => "oxygen_saturation",
            Self::OxygenFlow => "oxygen_flow",
            other => other.name(),
        }
    }

    /// The vital sign with this [`tag`](Self::tag).
    #[must_use]
    pub fn from_tag(tag: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|sign| sign.tag() == tag)
    }

    /// The qualifiers that may be recorded with this vital sign, in the order
    /// in which they are read back.
    #[must_use]
    pub const fn qualifiers(self) -> &'static [QualifierKind] {
        use QualifierKind as Kind;
        match self {
            Self::Temperature => &[Kind::Method],
            Self::Pulse => &[Kind::PulseSite, Kind::Rhythm, Kind::Strength],
            Self::Respiration => &[Kind::Rhythm, Kind::Depth],
            Self::BloodPressure => &[Kind::Arm, Kind::Position],
            Self::OxygenSaturation => &[Kind::Supply],
            Self::Weight => &[Kind::Scale],
            Self::Height | Self::Pain | Self::OxygenFlow | Self::Alertness => &[],
        }
    }

    /// The qualifiers without which a reading is not complete; the aide is
    /// asked for them. Common practice, no source: the method changes what a
    /// temperature means, the arm and position what a pressure means, and the
    /// oxygen supply what a saturation means.
    #[must_use]
    pub const fn required(self) -> &'static [QualifierKind] {
        use QualifierKind as Kind;
        match self {
            Self::Temperature => &[Kind::Method],
            Self::BloodPressure => &[Kind::Arm, Kind::Position],
            Self::OxygenSaturation => &[Kind::Supply],
            Self::Pulse
            | Self::Respiration
            | Self::Weight
            | Self::Height
            | Self::Pain
            | Self::OxygenFlow
            | Self::Alertness => &[],
        }
    }
}
