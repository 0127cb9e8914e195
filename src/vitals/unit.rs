//! Units: what was said, and the canonical unit beside it.

use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};

use super::VitalSign;

/// A unit of measure, named by its UCUM code in [`Unit::ucum`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// Degrees Fahrenheit.
    Fahrenheit,
    /// Degrees Celsius.
    Celsius,
    /// Beats or breaths in a minute.
    PerMinute,
    /// Millimetres of mercury.
    MmHg,
    /// Per cent.
    Percent,
    /// Pounds avoirdupois.
    Pound,
    /// Kilograms.
    Kilogram,
    /// Inches.
    Inch,
    /// Centimetres.
    Centimetre,
    /// Points of a score.
    Score,
    /// Litres a minute.
    LitreAMinute,
}

/// One pound in kilograms, exactly (NIST SP 811, appendix B.8).
const KILOGRAMS_PER_POUND: Decimal = dec!(0.45359237);
/// One inch in centimetres, exactly (NIST SP 811, appendix B.8).
const CENTIMETRES_PER_INCH: Decimal = dec!(2.54);

impl Unit {
    /// The UCUM code (Unified Code for Units of Measure), as HL7 FHIR uses it.
    #[must_use]
    pub const fn ucum(self) -> &'static str {
        match self {
            Self::Fahrenheit => "[degF]",
            Self::Celsius => "Cel",
            Self::PerMinute => "/min",
            Self::MmHg => "mm[Hg]",
            Self::Percent => "%",
            Self::Pound => "[lb_av]",
            Self::Kilogram => "kg",
            Self::Inch => "[in_i]",
            Self::Centimetre => "cm",
            Self::Score => "{score}",
            Self::LitreAMinute => "L/min",
        }
    }

    /// The unit as shown on a screen.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Fahrenheit => "°F",
            Self::Celsius => "°C",
            Self::PerMinute => "/min",
            Self::MmHg => "mmHg",
            Self::Percent => "%",
            Self::Pound => "lb",
            Self::Kilogram => "kg",
            Self::Inch => "in",
            Self::Centimetre => "cm",
            Self::Score => "points",
            Self::LitreAMinute => "L/min",
        }
    }

    /// The unit as spoken in a read-back; empty where nobody says it.
    #[must_use]
    pub const fn spoken(self) -> &'static str {
        match self {
            Self::Fahrenheit => "Fahrenheit",
            Self::Celsius => "Celsius",
            Self::PerMinute | Self::MmHg | Self::Score => "",
            Self::Percent => "percent",
            Self::Pound => "pounds",
            Self::Kilogram => "kilograms",
            Self::Inch => "inches",
            Self::Centimetre => "centimeters",
            Self::LitreAMinute => "liters a minute",
        }
    }

    /// The unit with this serde name, as written in grammar tags.
    #[must_use]
    pub fn from_tag(tag: &str) -> Option<Self> {
        serde_json::from_value(serde_json::Value::String(tag.to_owned())).ok()
    }

    /// The unit in which rules compare values of this kind: °C, kg and cm for
    /// temperature, weight and height.
    #[must_use]
    pub const fn canonical(self) -> Self {
        match self {
            Self::Fahrenheit => Self::Celsius,
            Self::Pound => Self::Kilogram,
            Self::Inch => Self::Centimetre,
            other => other,
        }
    }

    /// Converts `value` from this unit into `to` by exact factors (NIST SP 811).
    /// `None` when the two do not measure the same thing, and for a number so large
    /// that it can't be: files and other machines can hold any.
    #[must_use]
    pub fn convert(self, value: Decimal, to: Self) -> Option<Decimal> {
        match (self, to) {
            (from, to) if from == to => Some(value),
            (Self::Fahrenheit, Self::Celsius) => {
                let above = value.checked_sub(dec!(32))?;
                above.checked_mul(dec!(5))?.checked_div(dec!(9))
            }
            (Self::Celsius, Self::Fahrenheit) => {
                let above = value.checked_mul(dec!(9))?.checked_div(dec!(5))?;
                above.checked_add(dec!(32))
            }
            (Self::Pound, Self::Kilogram) => value.checked_mul(KILOGRAMS_PER_POUND),
            (Self::Kilogram, Self::Pound) => value.checked_div(KILOGRAMS_PER_POUND),
            (Self::Inch, Self::Centimetre) => value.checked_mul(CENTIMETRES_PER_INCH),
            (Self::Centimetre, Self::Inch) => value.checked_div(CENTIMETRES_PER_INCH),
            _ => None,
        }
    }
}

/// The units a home works in when none is said aloud.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Units {
    /// °F, pounds, inches.
    #[default]
    UsCustomary,
    /// °C, kilograms, centimetres.
    Metric,
}

impl Units {
    /// The unit meant when a value of `sign` is spoken without one.
    #[must_use]
    pub const fn unspoken(self, sign: VitalSign) -> Unit {
        match (sign, self) {
            (VitalSign::Temperature, Self::UsCustomary) => Unit::Fahrenheit,
            (VitalSign::Temperature, Self::Metric) => Unit::Celsius,
            (VitalSign::Weight, Self::UsCustomary) => Unit::Pound,
            (VitalSign::Weight, Self::Metric) => Unit::Kilogram,
            (VitalSign::Height, Self::UsCustomary) => Unit::Inch,
            (VitalSign::Height, Self::Metric) => Unit::Centimetre,
            (VitalSign::Pulse | VitalSign::Respiration, _) => Unit::PerMinute,
            (VitalSign::BloodPressure, _) => Unit::MmHg,
            (VitalSign::OxygenSaturation, _) => Unit::Percent,
            (VitalSign::OxygenFlow, _) => Unit::LitreAMinute,
            // Alertness is a word and has no unit of its own.
            (VitalSign::Pain | VitalSign::Alertness, _) => Unit::Score,
        }
    }
}

impl Unit {
    /// Whether a value of `sign` can be said in this unit.
    #[must_use]
    pub fn is_of(self, sign: VitalSign) -> bool {
        let all = [Units::UsCustomary, Units::Metric];
        all.iter().any(|it| it.unspoken(sign) == self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fixed points of the scales and the exact factors: NIST SP 811.
    #[test]
    fn conversions_match_the_published_factors() {
        let cases = [
            (dec!(32), Unit::Fahrenheit, dec!(0), Unit::Celsius),
            (dec!(212), Unit::Fahrenheit, dec!(100), Unit::Celsius),
            (dec!(98.6), Unit::Fahrenheit, dec!(37.0), Unit::Celsius),
            (dec!(37.0), Unit::Celsius, dec!(98.6), Unit::Fahrenheit),
            (dec!(100), Unit::Pound, dec!(45.359237), Unit::Kilogram),
            (dec!(10), Unit::Inch, dec!(25.4), Unit::Centimetre),
        ];
        for (value, from, expected, to) in cases {
            assert_eq!(from.convert(value, to), Some(expected), "{value} {from:?}");
        }
    }

    #[test]
    fn what_is_too_large_does_not_convert() {
        for (number, from, to) in [
            (Decimal::MAX, Unit::Kilogram, Unit::Pound),
            (Decimal::MAX, Unit::Inch, Unit::Centimetre),
            (Decimal::MAX, Unit::Celsius, Unit::Fahrenheit),
            (Decimal::MIN, Unit::Fahrenheit, Unit::Celsius),
        ] {
            assert_eq!(from.convert(number, to), None, "{number} {from:?}");
        }
    }

    #[test]
    fn unlike_units_do_not_convert() {
        assert_eq!(Unit::Pound.convert(dec!(1), Unit::Celsius), None);
        assert_eq!(Unit::PerMinute.convert(dec!(1), Unit::Percent), None);
    }
}
