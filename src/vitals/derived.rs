//! Values worked out from measured ones, for the nurse's page. They are never
//! spoken as readings and never kept as facts.

use rust_decimal::{Decimal, RoundingStrategy, dec};

use super::{Measurement, Quantity, Unit, Value, VitalSign};

fn tenths(value: Decimal) -> Decimal {
    let half_up = RoundingStrategy::MidpointAwayFromZero;
    value.round_dp_with_strategy(1, half_up).normalize()
}

/// Mean arterial pressure in mmHg, to 0.1: diastolic plus a third of the pulse
/// pressure (textbook formula, from memory). `None` for anything but a blood
/// pressure with a diastolic.
#[must_use]
pub fn mean_arterial_pressure(measurement: &Measurement) -> Option<Decimal> {
    let Value::Pressure { diastolic, .. } = measurement.value() else {
        return None;
    };
    let third = pulse_pressure(measurement)? / dec!(3);
    Some(tenths(diastolic.value() + third))
}

/// Pulse pressure in mmHg: systolic less diastolic. `None` for anything but a
/// blood pressure with a diastolic.
#[must_use]
pub fn pulse_pressure(measurement: &Measurement) -> Option<Decimal> {
    match measurement.value() {
        Value::Pressure {
            systolic,
            diastolic,
        } => Some(systolic.value() - diastolic.value()),
        _ => None,
    }
}

/// A pulse pressure under this share of the systolic is narrow, in percent.
pub(super) const NARROW: Decimal = dec!(25);

/// Whether the two numbers of a blood pressure are so close together that it is measured
/// again before it is believed: 118 over 116 is more often a word that was heard wrongly.
#[must_use]
pub fn is_narrow(measurement: &Measurement) -> bool {
    let Value::Pressure { systolic, .. } = measurement.value() else {
        return false;
    };
    let least = systolic.value() * NARROW / dec!(100);
    pulse_pressure(measurement).is_some_and(|it| it < least)
}

/// How much two readings may differ and still say the same, in percent of the first, and at
/// least so much: rates and pressures are read to 2 (common practice, no source).
pub(super) const ALIKE: (Decimal, Decimal) = (dec!(5), dec!(2));
/// The same of a temperature, whose whole range is narrow, in percent.
pub(super) const ALIKE_TEMPERATURE: Decimal = dec!(1);

/// Whether a reading taken again came out as the first did: the same parts, each in the
/// same unit and no further apart than two readings of one thing may be.
#[must_use]
pub fn is_alike(first: &Measurement, again: &Measurement) -> bool {
    let (before, now) = (first.components(), again.components());
    let near = |((part, was), (again_part, is)): (&(_, Quantity), &(_, Quantity))| {
        let apart = (was.value() - is.value()).abs();
        let most = if first.sign() == VitalSign::Temperature {
            was.value() * ALIKE_TEMPERATURE / dec!(100)
        } else {
            ALIKE.1.max(was.value() * ALIKE.0 / dec!(100))
        };
        part == again_part && was.unit() == is.unit() && apart <= most
    };
    first.sign() == again.sign()
        && !before.is_empty()
        && before.len() == now.len()
        && before.iter().zip(&now).all(near)
}

/// Body-mass index in kg/m², to 0.1: weight over the square of height. `None`
/// when the two are not a weight and a height, or the height is nought.
#[must_use]
pub fn body_mass_index(weight: Quantity, height: Quantity) -> Option<Decimal> {
    let kilograms = weight.to(Unit::Kilogram)?.value();
    let metres = height.to(Unit::Centimetre)?.value() / dec!(100);
    kilograms.checked_div(metres * metres).map(tenths)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vitals::{Numbers, Qualifiers};

    fn pressure(systolic: Decimal, diastolic: Decimal) -> Measurement {
        let numbers = Numbers::Over(systolic, diastolic);
        let none = Qualifiers::default();
        Measurement::new(VitalSign::BloodPressure, numbers, Unit::MmHg, none).unwrap()
    }

    /// Textbook formula, worked by hand: 80 + 40/3 = 93.3; 76 + 52/3 = 93.3.
    #[test]
    fn mean_arterial_pressure_is_diastolic_and_a_third_of_the_difference() {
        let mean = |high, low| mean_arterial_pressure(&pressure(high, low));
        assert_eq!(mean(dec!(120), dec!(80)), Some(dec!(93.3)));
        assert_eq!(mean(dec!(128), dec!(76)), Some(dec!(93.3)));
        assert_eq!(mean(dec!(120), dec!(90)), Some(dec!(100)));
        let difference = pulse_pressure(&pressure(dec!(128), dec!(76)));
        assert_eq!(difference, Some(dec!(52)));
        let (sign, none) = (VitalSign::BloodPressure, Qualifiers::default());
        let palpated = Measurement::new(sign, Numbers::Palpated(dec!(110)), Unit::MmHg, none);
        let palpated = palpated.unwrap();
        assert_eq!(mean_arterial_pressure(&palpated), None);
        assert_eq!(pulse_pressure(&palpated), None);
    }

    /// A quarter of 120 is 30, of 118 29.5.
    #[test]
    fn under_a_quarter_of_the_systolic_is_narrow() {
        for (high, low, narrow) in [
            (dec!(118), dec!(116), true),
            (dec!(118), dec!(89), true),
            (dec!(118), dec!(88), false),
            (dec!(120), dec!(90), false),
            (dec!(120), dec!(91), true),
            (dec!(220), dec!(60), false),
        ] {
            assert_eq!(is_narrow(&pressure(high, low)), narrow, "{high}/{low}");
        }
    }

    /// Worked by hand: 5 % of 170 is 8.5, of 36 1.8, so that 2 holds there; 1 % of 92 is 0.92.
    #[test]
    fn what_is_measured_again_comes_out_alike_or_not() {
        let one = |sign, number, unit| {
            let none = Qualifiers::default();
            Measurement::new(sign, Numbers::One(number), unit, none).unwrap()
        };
        let pulse = |number| one(VitalSign::Pulse, number, Unit::PerMinute);
        assert!(is_alike(&pulse(dec!(170)), &pulse(dec!(178))));
        assert!(!is_alike(&pulse(dec!(170)), &pulse(dec!(179))));
        assert!(is_alike(&pulse(dec!(36)), &pulse(dec!(34))));
        assert!(!is_alike(&pulse(dec!(36)), &pulse(dec!(33))));
        let cold = |number| one(VitalSign::Temperature, number, Unit::Fahrenheit);
        assert!(is_alike(&cold(dec!(92)), &cold(dec!(92.9))));
        assert!(!is_alike(&cold(dec!(92)), &cold(dec!(93))));
        let felt = Numbers::Palpated(dec!(118));
        let none = Qualifiers::default();
        let felt = Measurement::new(VitalSign::BloodPressure, felt, Unit::MmHg, none).unwrap();
        let measured = pressure(dec!(118), dec!(116));
        assert!(is_alike(&measured, &pressure(dec!(120), dec!(117))));
        assert!(!is_alike(&measured, &pressure(dec!(120), dec!(100))));
        assert!(!is_alike(&measured, &felt) && !is_alike(&felt, &measured));
        let weight = |number, unit| one(VitalSign::Weight, number, unit);
        let (pounds, kilograms) = (Unit::Pound, Unit::Kilogram);
        assert!(!is_alike(
            &weight(dec!(140), pounds),
            &weight(dec!(140), kilograms)
        ));
        assert!(!is_alike(
            &pulse(dec!(38)),
            &one(VitalSign::Respiration, dec!(38), Unit::PerMinute)
        ));
    }

    /// Worked by hand: 70 / 1.75² = 22.857; 154 lb at 69 in is 22.74.
    #[test]
    fn body_mass_index_is_weight_over_height_squared() {
        let bmi = |weight, of, height, at| {
            body_mass_index(Quantity::new(weight, of), Quantity::new(height, at))
        };
        let metric = bmi(dec!(70), Unit::Kilogram, dec!(175), Unit::Centimetre);
        assert_eq!(metric, Some(dec!(22.9)));
        let customary = bmi(dec!(154), Unit::Pound, dec!(69), Unit::Inch);
        assert_eq!(customary, Some(dec!(22.7)));
        assert_eq!(bmi(dec!(70), Unit::Kilogram, dec!(0), Unit::Inch), None);
        assert_eq!(bmi(dec!(70), Unit::Inch, dec!(175), Unit::Inch), None);
    }
}
