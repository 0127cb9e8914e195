//! A range, and on which side of it a value lies.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::vitals::measurement::measurable;
use crate::vitals::{Quantity, Unit};

/// An inclusive range in one unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bounds {
    /// Lowest value inside.
    #[serde(deserialize_with = "measurable")]
    pub low: Decimal,
    /// Highest value inside.
    #[serde(deserialize_with = "measurable")]
    pub high: Decimal,
    /// Unit of both.
    pub unit: Unit,
}

impl Bounds {
    /// Whether `value`, in this range's unit, is inside.
    #[must_use]
    pub fn contains(&self, value: Decimal) -> bool {
        (self.low..=self.high).contains(&value)
    }

    /// The same range in another unit; `None` between unlike units.
    #[must_use]
    pub fn to(&self, unit: Unit) -> Option<Self> {
        let low = self.unit.convert(self.low, unit)?;
        let high = self.unit.convert(self.high, unit)?;
        Some(Self { low, high, unit })
    }

    /// The same range with ends rounded to one decimal, for showing.
    #[must_use]
    pub fn rounded(&self) -> Self {
        self.to_places(1)
    }

    fn to_places(self, places: u32) -> Self {
        let round = |value: Decimal| value.round_dp(places).normalize();
        Self {
            low: round(self.low),
            high: round(self.high),
            unit: self.unit,
        }
    }

    /// The same range as it is shown beside a value, in its unit: rounded to one decimal, or
    /// to more where the value would seem to lie on the other side of an end.
    #[must_use]
    pub fn beside(&self, value: Quantity) -> Self {
        let (exact, side) = (self.to(value.unit()).unwrap_or(*self), self.beyond(value));
        let mut rounded = (1..=6).map(|places| exact.to_places(places));
        rounded.find(|it| it.beyond(value) == side).unwrap_or(exact)
    }

    /// On which side of the range `quantity` lies, if it is outside.
    #[must_use]
    pub fn beyond(&self, quantity: Quantity) -> Option<Side> {
        let value = quantity.to(self.unit)?.value();
        if value < self.low {
            Some(Side::Below)
        } else if value > self.high {
            Some(Side::Above)
        } else {
            None
        }
    }
}

/// A side of a range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Lower than the range.
    Below,
    /// Higher than the range.
    Above,
}
