//! Sums an aide should not have to do in her head: the two bars of a balance
//! scale, the chair on a wheelchair scale, feet and inches, pounds and ounces.

use rust_decimal::{Decimal, dec};
use thiserror::Error;

use super::{Quantity, Unit};

/// Why parts make no sum.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum SumError {
    /// The heavy weight of a balance scale rests only in its notches.
    #[error("the large weight moves in steps of fifty pounds, not to {said}")]
    NotANotch {
        /// The number as said.
        said: Decimal,
    },
    /// The light bar ends where the heavy one's next notch begins.
    #[error("the small weight reads less than fifty pounds, not {said}")]
    PastTheBar {
        /// The number as said.
        said: Decimal,
    },
    /// Twelve inches are a foot, sixteen ounces a pound.
    #[error("{said} {part} make a {whole} or more")]
    TooMany {
        /// The number as said.
        said: Decimal,
        /// The smaller part.
        part: &'static str,
        /// What it is a part of.
        whole: &'static str,
    },
    /// The chair cannot weigh as much as the chair with the resident in it.
    #[error("the chair alone weighs {chair}, which is not less than the total of {total}")]
    ChairTooHeavy {
        /// Weight of the chair, in the unit of the total.
        chair: Decimal,
        /// The total as said.
        total: Decimal,
    },
    /// Something other than weights.
    #[error("{} is not a unit of weight", unit.symbol())]
    NotAWeight {
        /// The unit as said.
        unit: Unit,
    },
    /// A part below nought.
    #[error("{said} is less than nothing")]
    Negative {
        /// The number as said.
        said: Decimal,
    },
}

/// The weight on a two-bar balance scale: the large weight's notch plus the
/// small weight's reading, both in `unit`.
///
/// In pounds the notches are 50 apart (common practice, no source); metric
/// scales differ from maker to maker, so that there only the sum is taken.
///
/// # Errors
/// [`SumError`] when the parts cannot be read from such a scale.
pub fn balance_scale(large: Decimal, small: Decimal, unit: Unit) -> Result<Quantity, SumError> {
    not_negative(large)?;
    not_negative(small)?;
    match unit {
        Unit::Pound if !(large % dec!(50)).is_zero() => Err(SumError::NotANotch { said: large }),
        Unit::Pound if small >= dec!(50) => Err(SumError::PastTheBar { said: small }),
        Unit::Pound | Unit::Kilogram => Ok(Quantity::new(large + small, unit)),
        _ => Err(SumError::NotAWeight { unit }),
    }
}

/// The weight on a wheelchair scale: the total less the empty chair, in the
/// unit of the total. Where the chair was weighed in another unit, the result
/// is rounded to 0.1, the step of such scales (common practice, no source).
///
/// # Errors
/// [`SumError`] when the chair is not lighter than the total.
pub fn wheelchair_scale(total: Quantity, chair: Quantity) -> Result<Quantity, SumError> {
    let unit = total.unit();
    if unit.canonical() != Unit::Kilogram {
        return Err(SumError::NotAWeight { unit });
    }
    let Some(alike) = chair.to(unit) else {
        let unit = chair.unit();
        return Err(SumError::NotAWeight { unit });
    };
    not_negative(alike.value())?;
    if alike.value() >= total.value() {
        return Err(SumError::ChairTooHeavy {
            chair: alike.value().round_dp(1).normalize(),
            total: total.value(),
        });
    }
    let weight = total.value() - alike.value();
    let rounded = if chair.unit() == unit {
        weight
    } else {
        weight.round_dp(1)
    };
    Ok(Quantity::new(rounded, unit))
}

/// A height said as feet and inches, in inches.
///
/// # Errors
/// [`SumError`] for twelve inches or more, or less than none.
pub fn feet_and_inches(feet: u8, inches: Decimal) -> Result<Quantity, SumError> {
    part(inches, dec!(12), "inches", "foot")?;
    let total = Decimal::from(feet) * dec!(12) + inches;
    Ok(Quantity::new(total, Unit::Inch))
}

/// A weight said as pounds and ounces, in pounds. Exact: an ounce is 0.0625 lb.
///
/// # Errors
/// [`SumError`] for sixteen ounces or more, or less than none.
pub fn pounds_and_ounces(pounds: u16, ounces: Decimal) -> Result<Quantity, SumError> {
    part(ounces, dec!(16), "ounces", "pound")?;
    let total = Decimal::from(pounds) + ounces * dec!(0.0625);
    Ok(Quantity::new(total, Unit::Pound))
}

fn part(
    said: Decimal,
    limit: Decimal,
    part: &'static str,
    whole: &'static str,
) -> Result<(), SumError> {
    not_negative(said)?;
    if said >= limit {
        return Err(SumError::TooMany { said, part, whole });
    }
    Ok(())
}

fn not_negative(said: Decimal) -> Result<(), SumError> {
    if said < Decimal::ZERO {
        return Err(SumError::Negative { said });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pounds(value: Decimal) -> Quantity {
        Quantity::new(value, Unit::Pound)
    }

    /// Common practice, no source.
    #[test]
    fn the_two_bars_of_a_balance_scale_add_up() {
        let sum = |large, small| balance_scale(large, small, Unit::Pound);
        assert_eq!(sum(dec!(100), dec!(23.25)), Ok(pounds(dec!(123.25))));
        assert_eq!(sum(dec!(150), dec!(0)), Ok(pounds(dec!(150))));
        assert_eq!(sum(dec!(100), dec!(49.75)), Ok(pounds(dec!(149.75))));
        let past = SumError::PastTheBar { said: dec!(50) };
        assert_eq!(sum(dec!(100), dec!(50)), Err(past));
        let between = SumError::NotANotch { said: dec!(125) };
        assert_eq!(sum(dec!(125), dec!(3)), Err(between));
        let kilograms = balance_scale(dec!(60), dec!(3.5), Unit::Kilogram);
        assert_eq!(kilograms, Ok(Quantity::new(dec!(63.5), Unit::Kilogram)));
        assert!(balance_scale(dec!(60), dec!(3), Unit::Inch).is_err());
        assert!(sum(dec!(-50), dec!(3)).is_err());
    }

    #[test]
    fn the_chair_is_taken_off_the_total() {
        let weight = wheelchair_scale(pounds(dec!(186.4)), pounds(dec!(38)));
        assert_eq!(weight, Ok(pounds(dec!(148.4))));
        // 17 kg is 37.4786 lb (NIST SP 811 factor).
        let mixed = wheelchair_scale(pounds(dec!(186.4)), Quantity::new(dec!(17), Unit::Kilogram));
        assert_eq!(mixed, Ok(pounds(dec!(148.9))));
        assert!(wheelchair_scale(pounds(dec!(38)), pounds(dec!(38))).is_err());
        assert!(wheelchair_scale(pounds(dec!(38.1)), pounds(dec!(38))).is_ok());
        let height = Quantity::new(dec!(38), Unit::Inch);
        assert!(wheelchair_scale(height, pounds(dec!(3))).is_err());
        assert!(wheelchair_scale(pounds(dec!(38)), height).is_err());
    }

    #[test]
    fn feet_and_ounces_are_exact() {
        let inches = |value| Ok(Quantity::new(value, Unit::Inch));
        assert_eq!(feet_and_inches(5, dec!(4.5)), inches(dec!(64.5)));
        assert_eq!(feet_and_inches(5, dec!(11.75)), inches(dec!(71.75)));
        assert!(feet_and_inches(5, dec!(12)).is_err());
        assert_eq!(pounds_and_ounces(148, dec!(0)), Ok(pounds(dec!(148))));
        assert_eq!(pounds_and_ounces(148, dec!(5)), Ok(pounds(dec!(148.3125))));
        assert_eq!(pounds_and_ounces(148, dec!(15)), Ok(pounds(dec!(148.9375))));
        assert_eq!(
            pounds_and_ounces(148, dec!(16)).unwrap_err().to_string(),
            "16 ounces make a pound or more"
        );
        assert!(pounds_and_ounces(148, dec!(-1)).is_err());
    }
}
