//! Limits in layers that are never mixed up: what is impossible is refused by
//! the types; what is unlikely is measured again; what is outside the
//! resident's own range is reported.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};

use super::{Measurement, Quantity, Unit, VitalSign};

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
    pub low: Decimal,
    /// Highest value inside.
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

/// Which layer of limits spoke.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Layer {
    /// Far from the usual: recheck before believing it.
    Unlikely,
    /// Outside the resident's range: report to the nurse.
    OutsideRange,
}

/// Who or what set a limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// A default of this program, with the publication it comes from, or
    /// "common practice, no source".
    Default(String),
    /// A nurse, for this resident.
    Nurse {
        /// The nurse who set it.
        name: String,
        /// The day it was set.
        on: NaiveDate,
    },
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

/// The limits that apply to one resident.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Limits {
    own: BTreeMap<(VitalSign, Component), Range>,
}

impl Limits {
    /// Sets the resident's own range for a component of a vital sign.
    pub fn set(&mut self, sign: VitalSign, component: Component, range: Range) {
        self.own.insert((sign, component), range);
    }

    /// The range in force: the resident's own, else the default. `None` for
    /// weight and height, which have no range that fits everyone.
    #[must_use]
    pub fn range(&self, sign: VitalSign, component: Component) -> Option<Range> {
        let own = self.own.get(&(sign, component)).cloned();
        own.or_else(|| default_range(sign, component))
    }

    /// Every limit that `measurement` crosses, the gravest layer first.
    #[must_use]
    pub fn judge(&self, measurement: &Measurement) -> Vec<Finding> {
        let sign = measurement.sign();
        let mut findings = Vec::new();
        for (component, value) in measurement.components() {
            let layers = [
                (Layer::Unlikely, Some(usual_range(sign, component))),
                (Layer::OutsideRange, self.range(sign, component)),
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

fn range(low: Decimal, high: Decimal, unit: Unit, source: &str) -> Range {
    Range {
        bounds: Bounds { low, high, unit },
        source: Source::Default(source.to_owned()),
    }
}

const TRADE: &str = "common practice, no source";
const LONG_TERM_CARE_FEVER: &str =
    "High KP et al., Clin Infect Dis 2009;48:149-171 (threshold from memory)";

/// The range outside which a value is reported when no nurse has set another.
fn default_range(sign: VitalSign, component: Component) -> Option<Range> {
    Some(match (sign, component) {
        // The upper end is the guideline's single oral temperature; the lower
        // end is common practice.
        (VitalSign::Temperature, _) => {
            range(dec!(95), dec!(100), Unit::Fahrenheit, LONG_TERM_CARE_FEVER)
        }
        (VitalSign::Pulse, _) => range(dec!(60), dec!(100), Unit::PerMinute, TRADE),
        (VitalSign::Respiration, _) => range(dec!(12), dec!(20), Unit::PerMinute, TRADE),
        (VitalSign::BloodPressure, Component::Diastolic) => {
            range(dec!(60), dec!(90), Unit::MmHg, TRADE)
        }
        (VitalSign::BloodPressure, _) => range(dec!(100), dec!(140), Unit::MmHg, TRADE),
        (VitalSign::OxygenSaturation, _) => {
            range(dec!(90), dec!(100), Unit::Percent, LONG_TERM_CARE_FEVER)
        }
        (VitalSign::Weight | VitalSign::Height, _) => return None,
    })
}

/// The range outside which a value is measured again before it is believed.
/// Common practice, no source.
fn usual_range(sign: VitalSign, component: Component) -> Range {
    match (sign, component) {
        (VitalSign::Temperature, _) => range(dec!(34), dec!(40.5), Unit::Celsius, TRADE),
        (VitalSign::Pulse, _) => range(dec!(35), dec!(160), Unit::PerMinute, TRADE),
        (VitalSign::Respiration, _) => range(dec!(8), dec!(40), Unit::PerMinute, TRADE),
        (VitalSign::BloodPressure, Component::Diastolic) => {
            range(dec!(35), dec!(130), Unit::MmHg, TRADE)
        }
        (VitalSign::BloodPressure, _) => range(dec!(70), dec!(220), Unit::MmHg, TRADE),
        (VitalSign::OxygenSaturation, _) => range(dec!(75), dec!(100), Unit::Percent, TRADE),
        (VitalSign::Weight, _) => range(dec!(30), dec!(180), Unit::Kilogram, TRADE),
        (VitalSign::Height, _) => range(dec!(120), dec!(205), Unit::Centimetre, TRADE),
    }
}

#[cfg(test)]
mod tests {
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
}
