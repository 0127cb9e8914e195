//! Vital signs as the trade takes them: what may be measured, in which unit,
//! with which qualifiers, and within which limits.
//!
//! Pure: no clock, no audio, no network, no disk. Constructors refuse the
//! impossible, so that a [`Measurement`] is always one that a person could have.

mod limits;
mod measurement;
mod qualifier;
mod sign;
mod unit;

pub use limits::{Bounds, Component, Finding, Layer, Limits, Range, Side, Source};
pub use measurement::{Impossible, Measurement, Numbers, Quantity, Value, possible_bounds};
pub use qualifier::{
    Arm, Depth, Method, Position, PulseSite, Qualifier, QualifierKind, Qualifiers, Rhythm, Scale,
    Strength, Supply,
};
pub use rust_decimal::Decimal;
pub use sign::VitalSign;
pub use unit::{Unit, Units};
