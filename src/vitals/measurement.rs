//! One measured value with its unit and qualifiers.

use rust_decimal::{Decimal, dec};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize};
use thiserror::Error;

use super::{
    Alertness, Bounds, Component, OxygenFlow, Pain, Qualifier, Qualifiers, Rhythm, Supply, Unit,
    VitalSign,
};

/// A number with its unit, as it was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Quantity {
    #[serde(deserialize_with = "measurable")]
    value: Decimal,
    unit: Unit,
}

impl Quantity {
    /// A number in a unit. Whether a person can have it is for
    /// [`Measurement::new`] to say.
    #[must_use]
    pub fn new(value: Decimal, unit: Unit) -> Self {
        let value = value.normalize();
        Self { value, unit }
    }

    /// The number as said.
    #[must_use]
    pub const fn value(self) -> Decimal {
        self.value
    }

    /// The unit as said, or the home's own where none was said.
    #[must_use]
    pub const fn unit(self) -> Unit {
        self.unit
    }

    /// The same quantity in another unit; `None` between unlike units.
    #[must_use]
    pub fn to(self, unit: Unit) -> Option<Self> {
        Some(Self::new(self.unit.convert(self.value, unit)?, unit))
    }

    /// The same quantity in °C, kg, cm, or the unit it already has.
    #[must_use]
    pub fn canonical(self) -> Self {
        self.to(self.unit.canonical()).unwrap_or(self)
    }
}

/// No vital sign has numbers as large as this: what is reckoned with them must not
/// overflow.
pub(super) const TOO_LARGE: Decimal = dec!(1_000_000);

/// A number that a fact or a file holds. Whether a person can have it is for
/// [`Measurement::new`] to say.
pub(super) fn measurable<'de, D: Deserializer<'de>>(from: D) -> Result<Decimal, D::Error> {
    let number: Decimal = Deserialize::deserialize(from)?;
    if number.abs() < TOO_LARGE {
        return Ok(number);
    }
    Err(D::Error::custom("no vital sign has a number as large"))
}

/// The numbers of a claim: one, the two of a blood pressure, or its systolic alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Numbers {
    /// A single number.
    One(Decimal),
    /// Systolic over diastolic.
    Over(Decimal, Decimal),
    /// Systolic by palpation, which gives no diastolic.
    Palpated(Decimal),
}

/// How a systolic without a diastolic was taken, in words.
pub const BY_PALPATION: &str = "by palpation";

/// The value of a measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Value {
    /// A single quantity.
    One(Quantity),
    /// A blood pressure.
    Pressure {
        /// Systolic pressure.
        systolic: Quantity,
        /// Diastolic pressure.
        diastolic: Quantity,
    },
    /// A blood pressure by palpation: the cuff's pressure at which the pulse could be felt
    /// again. There is no diastolic, and without this method there must be one. It is for
    /// when the sounds can't be heard (common practice, no source), and some 5 mmHg lower than by
    /// ear (J Hypertens 2011;29:51-55), so that it is always said with the value.
    Palpated {
        /// Systolic pressure.
        systolic: Quantity,
    },
    /// A level of alertness.
    Level(Alertness),
    /// Pain that was asked about and that the resident could not rate.
    NotRated,
}

/// Why a claimed value cannot be a person's.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum Impossible {
    /// Outside what can be measured on a living person.
    #[error("{} of {} {} is not possible: it must be between {} and {} {}",
        component.name(*sign), said.value, said.unit.symbol(), bounds.low, bounds.high, bounds.unit.symbol())]
    OutOfBounds {
        /// Which vital sign.
        sign: VitalSign,
        /// Which part of it.
        component: Component,
        /// The value as said.
        said: Quantity,
        /// What is possible, in the unit as said.
        bounds: Bounds,
    },
    /// Systolic not above diastolic.
    #[error("systolic {systolic} must be more than diastolic {diastolic}")]
    NotOver {
        /// The first number said.
        systolic: Decimal,
        /// The second number said.
        diastolic: Decimal,
    },
    /// One number for a blood pressure, two for anything else, or any for an
    /// alertness.
    #[error("{} takes {}", sign.name(), shape(*sign))]
    WrongShape {
        /// Which vital sign.
        sign: VitalSign,
    },
    /// A unit that does not measure this vital sign.
    #[error("{} is not measured in {}", sign.name(), unit.symbol())]
    WrongUnit {
        /// Which vital sign.
        sign: VitalSign,
        /// The unit as said.
        unit: Unit,
    },
    /// A fraction where the trade counts in whole numbers.
    #[error("{} is a whole number, not {said}", sign.name())]
    NotWhole {
        /// Which vital sign.
        sign: VitalSign,
        /// The number as said.
        said: Decimal,
    },
    /// A qualifier that says nothing about this vital sign.
    #[error("{} can't be {}", sign.name(), qualifier.spoken())]
    WrongQualifier {
        /// Which vital sign.
        sign: VitalSign,
        /// The qualifier as said.
        qualifier: Qualifier,
    },
}

const fn shape(sign: VitalSign) -> &'static str {
    match sign {
        VitalSign::BloodPressure => "two numbers, one over the other, or one that was palpated",
        VitalSign::Alertness => "a word, such as alert",
        _ => "one number",
    }
}

/// A value of one vital sign that a living person can have, with how it was
/// taken. Made only by [`Measurement::new`], [`Measurement::pain`] and
/// [`Measurement::alertness`], or read from the store.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Measurement {
    sign: VitalSign,
    value: Value,
    #[serde(default)]
    qualifiers: Qualifiers,
}

impl Measurement {
    /// Checks a claim: right number of numbers, a unit of the right kind, a
    /// possible value, and qualifiers that belong to the vital sign.
    ///
    /// # Errors
    /// [`Impossible`] says which of these failed.
    pub fn new(
        sign: VitalSign,
        numbers: Numbers,
        unit: Unit,
        qualifiers: Qualifiers,
    ) -> Result<Self, Impossible> {
        let foreign = |it: &Qualifier| !sign.qualifiers().contains(&it.kind());
        if let Some(qualifier) = qualifiers.iter().find(foreign) {
            return Err(Impossible::WrongQualifier { sign, qualifier });
        }
        let value = match (sign, numbers) {
            (VitalSign::BloodPressure, Numbers::Over(systolic, diastolic)) => Value::Pressure {
                systolic: possible(sign, Component::Systolic, systolic, unit)?,
                diastolic: possible(sign, Component::Diastolic, diastolic, unit)?,
            },
            (VitalSign::BloodPressure, Numbers::Palpated(systolic)) => Value::Palpated {
                systolic: possible(sign, Component::Systolic, systolic, unit)?,
            },
            (VitalSign::BloodPressure | VitalSign::Alertness, Numbers::One(_))
            | (_, Numbers::Over(..) | Numbers::Palpated(_)) => {
                return Err(Impossible::WrongShape { sign });
            }
            (_, Numbers::One(number)) => {
                Value::One(possible(sign, Component::Whole, number, unit)?)
            }
        };
        if let Numbers::Over(systolic, diastolic) = numbers
            && systolic <= diastolic
        {
            return Err(Impossible::NotOver {
                systolic,
                diastolic,
            });
        }
        Ok(Self {
            sign,
            value,
            qualifiers,
        })
    }

    /// Pain as the resident rates it, or that it could not be rated.
    #[must_use]
    pub fn pain(pain: Pain) -> Self {
        let value = match pain {
            Pain::Rated(score) => Value::One(Quantity::new(score.get().into(), Unit::Score)),
            Pain::CannotSay => Value::NotRated,
        };
        Self {
            sign: VitalSign::Pain,
            value,
            qualifiers: Qualifiers::default(),
        }
    }

    /// A level of alertness.
    #[must_use]
    pub fn alertness(level: Alertness) -> Self {
        Self {
            sign: VitalSign::Alertness,
            value: Value::Level(level),
            qualifiers: Qualifiers::default(),
        }
    }

    /// Which vital sign this is.
    #[must_use]
    pub const fn sign(&self) -> VitalSign {
        self.sign
    }

    /// The value as said.
    #[must_use]
    pub const fn value(&self) -> Value {
        self.value
    }

    /// How it was taken.
    #[must_use]
    pub const fn qualifiers(&self) -> &Qualifiers {
        &self.qualifiers
    }

    /// The parts that limits apply to, each in its unit as said; none for what
    /// is no number.
    #[must_use]
    pub fn components(&self) -> Vec<(Component, Quantity)> {
        match self.value {
            Value::One(quantity) => vec![(Component::Whole, quantity)],
            Value::Pressure {
                systolic,
                diastolic,
            } => vec![
                (Component::Systolic, systolic),
                (Component::Diastolic, diastolic),
            ],
            Value::Palpated { systolic } => vec![(Component::Systolic, systolic)],
            Value::Level(_) | Value::NotRated => Vec::new(),
        }
    }

    /// Whether it is a blood pressure by palpation.
    #[must_use]
    pub const fn is_palpated(&self) -> bool {
        matches!(self.value, Value::Palpated { .. })
    }

    /// How it was taken, in written words, the method first: "by palpation", "left arm".
    #[must_use]
    pub fn how(&self) -> Vec<String> {
        let palpated = self.is_palpated().then(|| BY_PALPATION.to_owned());
        let words = self.qualifiers.iter().map(|it| match it {
            Qualifier::Supply(Supply::Oxygen(Some(litres))) => format!("on oxygen {litres} L/min"),
            Qualifier::Rhythm(Rhythm::Irregular) => "irregular".to_owned(),
            other => other.spoken().to_owned(),
        });
        palpated.into_iter().chain(words).collect()
    }

    /// The same measurement with one more (or another) qualifier.
    ///
    /// # Errors
    /// [`Impossible::WrongQualifier`] when it does not belong to this vital sign.
    pub fn with(mut self, qualifier: Qualifier) -> Result<Self, Impossible> {
        if !self.sign.qualifiers().contains(&qualifier.kind()) {
            let sign = self.sign;
            return Err(Impossible::WrongQualifier { sign, qualifier });
        }
        self.qualifiers.set(qualifier);
        Ok(self)
    }
}

/// What is possible on a living person, in canonical units. Wide on purpose:
/// anything inside may be true and is only questioned, never refused. Common
/// practice, no source.
#[must_use]
pub const fn possible_bounds(sign: VitalSign, component: Component) -> Bounds {
    let (low, high, unit) = match (sign, component) {
        (VitalSign::Temperature, _) => (dec!(25), dec!(45), Unit::Celsius),
        (VitalSign::Pulse, _) => (dec!(20), dec!(300), Unit::PerMinute),
        (VitalSign::Respiration, _) => (dec!(2), dec!(80), Unit::PerMinute),
        (VitalSign::BloodPressure, Component::Diastolic) => (dec!(10), dec!(200), Unit::MmHg),
        (VitalSign::BloodPressure, _) => (dec!(40), dec!(300), Unit::MmHg),
        (VitalSign::OxygenSaturation, _) => (dec!(40), dec!(100), Unit::Percent),
        (VitalSign::Weight, _) => (dec!(15), dec!(350), Unit::Kilogram),
        (VitalSign::Height, _) => (dec!(90), dec!(230), Unit::Centimetre),
        (VitalSign::Pain, _) => (dec!(0), dec!(10), Unit::Score),
        (VitalSign::OxygenFlow, _) => (OxygenFlow::LOWEST, OxygenFlow::HIGHEST, Unit::LitreAMinute),
        // A word: it has no parts, and nothing asks for their bounds.
        (VitalSign::Alertness, _) => (dec!(0), dec!(0), Unit::Score),
    };
    Bounds { low, high, unit }
}

fn possible(
    sign: VitalSign,
    component: Component,
    number: Decimal,
    unit: Unit,
) -> Result<Quantity, Impossible> {
    let said = Quantity::new(number, unit);
    let canonical = possible_bounds(sign, component);
    let Some(bounds) = canonical.to(unit) else {
        return Err(Impossible::WrongUnit { sign, unit });
    };
    // The comparison is made in the canonical unit, where the bounds are exact.
    if !canonical.contains(said.canonical().value()) {
        return Err(Impossible::OutOfBounds {
            sign,
            component,
            said,
            bounds: bounds.rounded(),
        });
    }
    let counted = matches!(
        unit,
        Unit::PerMinute | Unit::MmHg | Unit::Percent | Unit::Score
    );
    if counted && !number.fract().is_zero() {
        return Err(Impossible::NotWhole { sign, said: number });
    }
    Ok(said)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vitals::{Arm, Method};

    fn one(sign: VitalSign, number: Decimal, unit: Unit) -> Result<Measurement, Impossible> {
        Measurement::new(sign, Numbers::One(number), unit, Qualifiers::default())
    }

    #[test]
    fn bounds_hold_at_and_just_beyond_their_ends() {
        for sign in VitalSign::ALL {
            if matches!(sign, VitalSign::BloodPressure | VitalSign::Alertness) {
                continue;
            }
            let Bounds { low, high, unit } = possible_bounds(sign, Component::Whole);
            assert!(one(sign, low, unit).is_ok(), "{sign:?} low");
            assert!(one(sign, high, unit).is_ok(), "{sign:?} high");
            assert!(one(sign, low - dec!(1), unit).is_err(), "{sign:?} below");
            assert!(one(sign, high + dec!(1), unit).is_err(), "{sign:?} above");
        }
    }

    #[test]
    fn systolic_must_exceed_diastolic() {
        let pressure = |high, low| {
            let numbers = Numbers::Over(high, low);
            let none = Qualifiers::default();
            Measurement::new(VitalSign::BloodPressure, numbers, Unit::MmHg, none)
        };
        assert!(pressure(dec!(128), dec!(76)).is_ok());
        for (systolic, diastolic) in [(dec!(76), dec!(128)), (dec!(90), dec!(90))] {
            let refused = pressure(systolic, diastolic);
            assert_eq!(
                refused,
                Err(Impossible::NotOver {
                    systolic,
                    diastolic
                })
            );
        }
    }

    #[test]
    fn a_palpated_pressure_has_no_diastolic_and_is_stored_as_such() {
        let palpated = |sign, number| {
            let none = Qualifiers::default();
            Measurement::new(sign, Numbers::Palpated(number), Unit::MmHg, none)
        };
        let pressure = palpated(VitalSign::BloodPressure, dec!(110)).unwrap();
        let systolic = Quantity::new(dec!(110), Unit::MmHg);
        assert_eq!(pressure.value(), Value::Palpated { systolic });
        assert_eq!(pressure.components(), [(Component::Systolic, systolic)]);
        let pressure = pressure.with(Qualifier::Arm(Arm::Left)).unwrap();
        assert_eq!(pressure.how(), ["by palpation", "left arm"]);
        let json = serde_json::to_value(&pressure).unwrap();
        let value = serde_json::json!({
            "palpated": { "systolic": { "value": "110", "unit": "mm_hg" } }
        });
        assert_eq!(json["value"], value);
        assert_eq!(
            serde_json::from_value::<Measurement>(json).unwrap(),
            pressure
        );
        assert!(palpated(VitalSign::BloodPressure, dec!(39)).is_err());
        assert!(palpated(VitalSign::BloodPressure, dec!(110.5)).is_err());
        let sign = VitalSign::Pulse;
        let refused = palpated(sign, dec!(72));
        assert_eq!(refused, Err(Impossible::WrongShape { sign }));
        // Without the word, one number is none.
        assert!(one(VitalSign::BloodPressure, dec!(110), Unit::MmHg).is_err());
    }

    #[test]
    fn a_fahrenheit_value_is_judged_in_fahrenheit() {
        assert!(one(VitalSign::Temperature, dec!(98.6), Unit::Fahrenheit).is_ok());
        let refused = one(VitalSign::Temperature, dec!(98.6), Unit::Celsius).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "temperature of 98.6 °C is not possible: it must be between 25 and 45 °C"
        );
    }

    #[test]
    fn qualifiers_of_another_sign_are_refused() {
        let oral = one(VitalSign::Temperature, dec!(98.6), Unit::Fahrenheit).unwrap();
        assert!(oral.clone().with(Qualifier::Method(Method::Oral)).is_ok());
        assert!(oral.with(Qualifier::Arm(Arm::Left)).is_err());
    }

    #[test]
    fn an_alertness_is_a_word_and_pain_may_be_unrated() {
        let refused = one(VitalSign::Alertness, dec!(1), Unit::Score).unwrap_err();
        assert_eq!(refused.to_string(), "alertness takes a word, such as alert");
        let alert = Measurement::alertness(Alertness::Alert);
        assert_eq!(alert.components(), []);
        let rated = one(VitalSign::Pain, dec!(4), Unit::Score).unwrap();
        let score = crate::vitals::PainScore::new(dec!(4)).unwrap();
        assert_eq!(Measurement::pain(Pain::Rated(score)), rated);
        assert_eq!(Measurement::pain(Pain::CannotSay).value(), Value::NotRated);
        assert!(one(VitalSign::Pain, dec!(4.5), Unit::Score).is_err());
        assert!(one(VitalSign::OxygenFlow, dec!(2.5), Unit::LitreAMinute).is_ok());
        for kept in [alert, rated, Measurement::pain(Pain::CannotSay)] {
            let json = serde_json::to_string(&kept).unwrap();
            assert_eq!(serde_json::from_str::<Measurement>(&json).unwrap(), kept);
        }
    }

    #[test]
    fn counts_are_whole() {
        assert!(one(VitalSign::Pulse, dec!(72.5), Unit::PerMinute).is_err());
        assert!(one(VitalSign::Weight, dec!(153.5), Unit::Pound).is_ok());
    }
}
