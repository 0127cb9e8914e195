//! Limits in layers that are never mixed up: what is impossible is refused by
//! the types; what is unlikely is measured again; what is outside the
//! resident's own range is reported.

use std::collections::BTreeMap;
use std::fmt;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::defaults::{outside_range, unlikely_range};
use super::measurement::measurable;
use super::{HomeLimits, Measurement, Quantity, Unit, Units, VitalSign};

/// The part of a measurement that a limit applies to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Component {
    /// The only number there is.
    Whole,
    /// Systolic pressure.
    Systolic,
    /// Diastolic pressure.
    Diastolic,
}

impl Component {
    /// The name of this part of `sign`, as spoken.
    #[must_use]
    pub const fn name(self, sign: VitalSign) -> &'static str {
        match self {
            Self::Whole => sign.name(),
            Self::Systolic => "systolic",
            Self::Diastolic => "diastolic",
        }
    }
}

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
        let round = |value: Decimal| value.round_dp(1).normalize();
        Self {
            low: round(self.low),
            high: round(self.high),
            unit: self.unit,
        }
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

/// Which layer of limits spoke. The impossible is not among them: it is refused
/// by [`Measurement::new`] and never becomes a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Layer {
    /// Far from the usual: recheck before believing it.
    Unlikely,
    /// Outside the resident's range: report to the nurse.
    OutsideRange,
    /// Changed against the resident's own history or baseline: report to the
    /// nurse. Said by [`rules`](super::rules), never by [`Limits::judge`].
    Changed,
}

/// Who or what set a limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// A default of this program, with the publication it comes from, or
    /// "common practice, no source".
    Default(String),
    /// The home, for all its residents.
    Home {
        /// The policy, as the home names it.
        policy: String,
        /// The day from which it holds.
        on: NaiveDate,
    },
    /// A nurse, for this resident.
    Nurse {
        /// The nurse who set it.
        name: String,
        /// The day it was set.
        on: NaiveDate,
    },
}

impl Source {
    /// The day from which the limit holds; `None` for a default, which always
    /// held.
    #[must_use]
    pub const fn since(&self) -> Option<NaiveDate> {
        match self {
            Self::Default(_) => None,
            Self::Home { on, .. } | Self::Nurse { on, .. } => Some(*on),
        }
    }

    /// The words that name the source when a finding is spoken. A publication
    /// is for the screen and the record, not for the ear.
    #[must_use]
    pub fn spoken(&self) -> String {
        match self {
            Self::Default(_) => "by the usual limits".to_owned(),
            Self::Home { .. } => "by this home's limits".to_owned(),
            Self::Nurse { name, .. } => format!("by the range {name} set"),
        }
    }
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Default(publication) => f.write_str(publication),
            Self::Home { policy, on } => write!(f, "{policy}, {on}"),
            Self::Nurse { name, on } => write!(f, "{name}, {on}"),
        }
    }
}

/// A limit that a measurement has crossed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// Which layer.
    pub layer: Layer,
    /// Which vital sign.
    pub sign: VitalSign,
    /// Which part of it.
    pub component: Component,
    /// Below or above.
    pub side: Side,
    /// The value as said.
    pub value: Quantity,
    /// The range in force.
    pub bounds: Bounds,
    /// Who set it.
    pub source: Source,
}

/// A range and who set it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Range {
    /// The range.
    pub bounds: Bounds,
    /// Who set it.
    pub source: Source,
}

/// The limits that apply to one resident: the nurse's ranges for this resident,
/// each kept with the day it was set; below them the home's; below those the
/// defaults.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Limits {
    /// Oldest first.
    own: BTreeMap<(VitalSign, Component), Vec<Range>>,
    home: HomeLimits,
}

impl Limits {
    /// Sets the resident's own range for a component of a vital sign. Earlier
    /// ranges are kept; of two set on one day the later call holds.
    pub fn set(&mut self, sign: VitalSign, component: Component, range: Range) {
        let dated = self.own.entry((sign, component)).or_default();
        let after = dated.partition_point(|it| it.source.since() <= range.source.since());
        dated.insert(after, range);
    }

    /// Puts a home's limits below the resident's own ranges.
    pub fn set_home(&mut self, home: HomeLimits) {
        self.home = home;
    }

    /// The home's limits.
    #[must_use]
    pub const fn home(&self) -> &HomeLimits {
        &self.home
    }

    /// Every range that was ever set for this resident, oldest first.
    pub fn own(&self) -> impl Iterator<Item = (VitalSign, Component, &[Range])> {
        let all = self.own.iter();
        all.map(|(&(sign, component), ranges)| (sign, component, ranges.as_slice()))
    }

    /// The resident's own range in force on `day`: the newest set on or before
    /// it.
    #[must_use]
    pub fn own_on(&self, sign: VitalSign, component: Component, day: NaiveDate) -> Option<&Range> {
        let dated = self.own.get(&(sign, component))?;
        let in_force = |it: &&Range| it.source.since().is_none_or(|since| since <= day);
        dated.iter().rev().find(in_force)
    }

    /// The newest range: the resident's own, else the home's, else the default.
    /// `None` for weight and height where neither nurse nor home has set one:
    /// no range fits everyone.
    #[must_use]
    pub fn range(&self, sign: VitalSign, component: Component) -> Option<Range> {
        self.in_force(sign, component, None, Units::UsCustomary.unspoken(sign))
    }

    /// Like [`range`](Self::range), on a given day.
    #[must_use]
    pub fn range_on(&self, sign: VitalSign, component: Component, day: NaiveDate) -> Option<Range> {
        let said = Units::UsCustomary.unspoken(sign);
        self.in_force(sign, component, Some(day), said)
    }

    fn in_force(
        &self,
        sign: VitalSign,
        component: Component,
        day: Option<NaiveDate>,
        said: Unit,
    ) -> Option<Range> {
        let own = self.own_on(sign, component, day.unwrap_or(NaiveDate::MAX));
        own.cloned()
            .or_else(|| self.home.outside_range(sign, component).cloned())
            .or_else(|| outside_range(sign, component, said))
    }

    /// Every limit that `measurement` crosses, the gravest layer first, by the
    /// newest ranges. [`judge_on`](Self::judge_on) is for a reading of another
    /// day.
    #[must_use]
    pub fn judge(&self, measurement: &Measurement) -> Vec<Finding> {
        self.judge_by(measurement, None)
    }

    /// Every limit that `measurement` crosses by the ranges in force on `day`,
    /// the gravest layer first.
    #[must_use]
    pub fn judge_on(&self, measurement: &Measurement, day: NaiveDate) -> Vec<Finding> {
        self.judge_by(measurement, Some(day))
    }

    fn judge_by(&self, measurement: &Measurement, day: Option<NaiveDate>) -> Vec<Finding> {
        let sign = measurement.sign();
        let mut findings = Vec::new();
        for (component, value) in measurement.components() {
            let unlikely = self.home.unlikely_range(sign, component).cloned();
            let layers = [
                (
                    Layer::Unlikely,
                    unlikely.or_else(|| unlikely_range(sign, component)),
                ),
                (
                    Layer::OutsideRange,
                    self.in_force(sign, component, day, value.unit()),
                ),
            ];
            for (layer, range) in layers {
                let Some(Range { bounds, source }) = range else {
                    continue;
                };
                if let Some(side) = bounds.beyond(value) {
                    findings.push(Finding {
                        layer,
                        sign,
                        component,
                        side,
                        value,
                        bounds,
                        source,
                    });
                }
            }
        }
        findings.sort_by_key(|finding| finding.layer);
        findings
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal::dec;

    use super::*;
    use crate::vitals::{Numbers, Qualifiers};

    fn pulse(rate: Decimal) -> Measurement {
        let none = Qualifiers::default();
        Measurement::new(VitalSign::Pulse, Numbers::One(rate), Unit::PerMinute, none).unwrap()
    }

    fn layers(limits: &Limits, rate: Decimal) -> Vec<Layer> {
        let findings = limits.judge(&pulse(rate));
        findings.into_iter().map(|it| it.layer).collect()
    }

    #[test]
    fn each_end_of_a_range_is_inside_it() {
        let limits = Limits::default();
        assert_eq!(layers(&limits, dec!(60)), []);
        assert_eq!(layers(&limits, dec!(100)), []);
        assert_eq!(layers(&limits, dec!(59)), [Layer::OutsideRange]);
        assert_eq!(layers(&limits, dec!(101)), [Layer::OutsideRange]);
        assert_eq!(
            layers(&limits, dec!(161)),
            [Layer::Unlikely, Layer::OutsideRange]
        );
    }

    #[test]
    fn a_residents_own_range_replaces_the_default_and_names_its_nurse() {
        let mut limits = Limits::default();
        let source = Source::Nurse {
            name: "Ines Marlow".to_owned(),
            on: NaiveDate::from_ymd_opt(2026, 3, 1).unwrap(),
        };
        let own = Range {
            bounds: Bounds {
                low: dec!(50),
                high: dec!(95),
                unit: Unit::PerMinute,
            },
            source: source.clone(),
        };
        limits.set(VitalSign::Pulse, Component::Whole, own);
        assert_eq!(layers(&limits, dec!(55)), []);
        assert_eq!(limits.judge(&pulse(dec!(96)))[0].source, source);
    }

    #[test]
    fn the_newest_range_on_or_before_a_day_is_in_force() {
        let mut limits = Limits::default();
        let day = |number| NaiveDate::from_ymd_opt(2026, 3, number).unwrap();
        // Set out of order, as a file may list them.
        for (number, low) in [(20, dec!(52)), (1, dec!(50)), (10, dec!(55))] {
            let bounds = Bounds {
                low,
                high: dec!(95),
                unit: Unit::PerMinute,
            };
            let source = Source::Nurse {
                name: "Ines Marlow".to_owned(),
                on: day(number),
            };
            let range = Range { bounds, source };
            limits.set(VitalSign::Pulse, Component::Whole, range);
        }
        let low_on = |day| {
            let range = limits.range_on(VitalSign::Pulse, Component::Whole, day);
            range.unwrap().bounds.low
        };
        assert_eq!(low_on(day(1).pred_opt().unwrap()), dec!(60), "the default");
        assert_eq!(low_on(day(1)), dec!(50));
        assert_eq!(low_on(day(9)), dec!(50));
        assert_eq!(low_on(day(10)), dec!(55));
        assert_eq!(low_on(day(19)), dec!(55));
        assert_eq!(low_on(day(20)), dec!(52));
        assert_eq!(limits.own().next().unwrap().2.len(), 3, "history is kept");
        assert_eq!(limits.judge_on(&pulse(dec!(54)), day(9)), []);
        assert_eq!(limits.judge_on(&pulse(dec!(54)), day(10)).len(), 1);
        assert_eq!(limits.judge(&pulse(dec!(52))), [], "the newest");
    }

    /// The guideline prints 100 °F beside 37.8 °C.
    #[test]
    fn a_temperature_is_judged_by_the_number_printed_for_its_own_scale() {
        let limits = Limits::default();
        let reported = |value, unit| {
            let none = Qualifiers::default();
            let number = Numbers::One(value);
            let measured = Measurement::new(VitalSign::Temperature, number, unit, none);
            !limits.judge(&measured.unwrap()).is_empty()
        };
        assert!(!reported(dec!(100), Unit::Fahrenheit));
        assert!(reported(dec!(100.1), Unit::Fahrenheit));
        assert!(!reported(dec!(37.8), Unit::Celsius));
        assert!(reported(dec!(37.9), Unit::Celsius));
        assert!(!reported(dec!(95), Unit::Fahrenheit));
        assert!(reported(dec!(94.9), Unit::Fahrenheit));
        assert!(!reported(dec!(35), Unit::Celsius));
        assert!(reported(dec!(34.9), Unit::Celsius));
    }
}
