//! Vital signs as the trade takes them: what may be measured, in which unit,
//! with which qualifiers, and within which limits.
//!
//! Pure: no clock, no audio, no network, no disk. Constructors refuse the
//! impossible, so that a [`Measurement`] is always one that a person could have.

mod care;
mod cautions;
mod count;
mod defaults;
mod derived;
mod device;
mod felt;
mod history;
mod home_limits;
mod limits;
mod measurement;
mod not_taken;
mod observed;
mod qualifier;
mod range_of;
pub mod rules;
mod sign;
mod sources;
pub mod sums;
mod thresholds;
mod toml_mistake;
mod unit;
mod working;

pub use care::{Baseline, Baselines, LimbReason, Precautions, is_chair_weight};
pub use cautions::{Activity, Caution, CautionKind, Plan, Recent, WentOn, cautions};
pub use count::{CountError, LATE_SECONDS, period, rate, short_count};
pub use derived::{body_mass_index, is_alike, is_narrow, mean_arterial_pressure, pulse_pressure};
pub use device::{Device, Unreadable};
pub use felt::Felt;
pub use history::{History, Reading, described};
pub use home_limits::HomeLimits;
pub(crate) use home_limits::{LONGEST_TEXT, too_long};
pub use limits::{Bounds, Component, Finding, Layer, Limits, Range, Side, Source, When};
pub use measurement::{
    BY_PALPATION, Impossible, Measurement, Numbers, Quantity, Value, possible_bounds,
};
pub use not_taken::{NotTakenReason, Retake, RetakeReason};
pub use observed::{Alertness, NotAFlow, NotOnScale, OxygenFlow, Pain, PainScore};
pub use qualifier::{
    Arm, Depth, Method, Position, PulseSite, Qualifier, QualifierKind, Qualifiers, Rhythm, Scale,
    Strength, Supply,
};
pub use range_of::RangeOf;
pub use rules::rules_table;
pub use rust_decimal::Decimal;
pub use sign::VitalSign;
pub use sources::shown_source;
pub use sums::{SumError, balance_scale, feet_and_inches, pounds_and_ounces, wheelchair_scale};
pub use thresholds::{Degrees, Thresholds};
pub use toml_mistake::Mistake;
pub(crate) use toml_mistake::{Right, mistake};
pub use unit::{Unit, Units};
pub use working::Working;
