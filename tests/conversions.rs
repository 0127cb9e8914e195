//! Conversions against an independent units library, and there and back again.

use proptest::prelude::*;
use sayback::vitals::{Decimal, Unit};
use uom::si::f64::{Length, Mass, ThermodynamicTemperature};
use uom::si::length::{centimeter, inch};
use uom::si::mass::{kilogram, pound};
use uom::si::thermodynamic_temperature::{degree_celsius, degree_fahrenheit};

fn converted(value: Decimal, from: Unit, to: Unit) -> f64 {
    let exact = from.convert(value, to).expect("alike units");
    exact.to_string().parse().expect("a number")
}

/// Equal to one part in 10⁷ is equal: the library works in binary fractions, and
/// has the pound to seven digits (0.4535924 kg), where ours is exact.
fn assert_close(ours: f64, theirs: f64) {
    let tolerance = 1e-7 * theirs.abs().max(1.0);
    assert!((ours - theirs).abs() <= tolerance, "{ours} is not {theirs}");
}

fn tenths(low: i64, high: i64) -> impl Strategy<Value = Decimal> {
    (low * 10..=high * 10).prop_map(|tenths| Decimal::new(tenths, 1))
}

fn binary(value: Decimal) -> f64 {
    value.to_string().parse().expect("a number")
}

proptest! {
    #[test]
    fn temperatures_agree_with_the_library(value in tenths(70, 115)) {
        let library = ThermodynamicTemperature::new::<degree_fahrenheit>(binary(value));
        let ours = converted(value, Unit::Fahrenheit, Unit::Celsius);
        assert_close(ours, library.get::<degree_celsius>());
    }

    #[test]
    fn masses_agree_with_the_library(value in tenths(0, 800)) {
        let library = Mass::new::<pound>(binary(value));
        assert_close(converted(value, Unit::Pound, Unit::Kilogram), library.get::<kilogram>());
        let library = Mass::new::<kilogram>(binary(value));
        assert_close(converted(value, Unit::Kilogram, Unit::Pound), library.get::<pound>());
    }

    #[test]
    fn lengths_agree_with_the_library(value in tenths(0, 300)) {
        let library = Length::new::<inch>(binary(value));
        assert_close(converted(value, Unit::Inch, Unit::Centimetre), library.get::<centimeter>());
        let library = Length::new::<centimeter>(binary(value));
        assert_close(converted(value, Unit::Centimetre, Unit::Inch), library.get::<inch>());
    }

    /// Back to the same number, at the twentieth decimal.
    #[test]
    fn conversions_come_back(value in tenths(0, 1000)) {
        let pairs = [
            (Unit::Fahrenheit, Unit::Celsius),
            (Unit::Pound, Unit::Kilogram),
            (Unit::Inch, Unit::Centimetre),
        ];
        for (one, other) in pairs {
            for (from, to) in [(one, other), (other, one)] {
                let there = from.convert(value, to).unwrap();
                let back = to.convert(there, from).unwrap();
                prop_assert_eq!(back.round_dp(20).normalize(), value.normalize());
            }
        }
    }
}
