//! What can be read from a device: its ends and its steps.

use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{Bounds, Quantity, Unit};

/// A device whose reading has a known precision.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Device {
    /// A glass thermometer: 94–108 °F in steps of 0.2, or 34–43 °C in steps of
    /// 0.1. Common practice, no source.
    GlassThermometer,
    /// An electronic thermometer: steps of 0.1 in either scale. Common
    /// practice, no source.
    ElectronicThermometer,
    /// An aneroid or mercury pressure gauge: 0–300 mmHg in steps of 2. Common
    /// practice, no source.
    PressureGauge,
    /// A balance scale: steps of ¼ lb or 0.1 kg. Common practice, no source.
    BalanceScale,
}

/// A value that the named device cannot show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("{} can't be read from {}: it reads {} to {} in steps of {step}",
    said.value(), device.spoken(), bounds.low, bounds.high)]
pub struct Unreadable {
    /// The device.
    pub device: Device,
    /// The value as said.
    pub said: Quantity,
    /// Ends of the device's scale.
    pub bounds: Bounds,
    /// Its step.
    pub step: Decimal,
}

impl Device {
    /// Every device.
    pub const ALL: [Self; 4] = [
        Self::GlassThermometer,
        Self::ElectronicThermometer,
        Self::PressureGauge,
        Self::BalanceScale,
    ];

    /// The device, as spoken.
    #[must_use]
    pub const fn spoken(self) -> &'static str {
        match self {
            Self::GlassThermometer => "a glass thermometer",
            Self::ElectronicThermometer => "an electronic thermometer",
            Self::PressureGauge => "a pressure gauge",
            Self::BalanceScale => "a balance scale",
        }
    }

    /// The ends and the step of the device's scale in `unit`; `None` where the
    /// device has no such scale.
    #[must_use]
    pub const fn scale(self, unit: Unit) -> Option<(Bounds, Decimal)> {
        let (low, high, step) = match (self, unit) {
            (Self::GlassThermometer, Unit::Fahrenheit) => (dec!(94), dec!(108), dec!(0.2)),
            (Self::GlassThermometer, Unit::Celsius) => (dec!(34), dec!(43), dec!(0.1)),
            (Self::ElectronicThermometer, Unit::Fahrenheit) => (dec!(80), dec!(113), dec!(0.1)),
            (Self::ElectronicThermometer, Unit::Celsius) => (dec!(26), dec!(45), dec!(0.1)),
            (Self::PressureGauge, Unit::MmHg) => (dec!(0), dec!(300), dec!(2)),
            (Self::BalanceScale, Unit::Pound) => (dec!(0), dec!(500), dec!(0.25)),
            (Self::BalanceScale, Unit::Kilogram) => (dec!(0), dec!(230), dec!(0.1)),
            _ => return None,
        };
        Some((Bounds { low, high, unit }, step))
    }

    /// Whether `said` can be read from the device. A value in a unit that the
    /// device does not show is not questioned here.
    ///
    /// # Errors
    /// [`Unreadable`] for a value beyond the ends or between the steps.
    pub fn check(self, said: Quantity) -> Result<(), Unreadable> {
        let Some((bounds, step)) = self.scale(said.unit()) else {
            return Ok(());
        };
        let on_a_step = ((said.value() - bounds.low) % step).is_zero();
        if bounds.contains(said.value()) && on_a_step {
            return Ok(());
        }
        Err(Unreadable {
            device: self,
            said,
            bounds,
            step,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice, no source: see the docs of each device.
    #[test]
    fn each_device_reads_its_ends_and_its_steps_and_nothing_else() {
        for device in Device::ALL {
            for unit in [
                Unit::Fahrenheit,
                Unit::Celsius,
                Unit::MmHg,
                Unit::Pound,
                Unit::Kilogram,
            ] {
                let Some((Bounds { low, high, .. }, step)) = device.scale(unit) else {
                    continue;
                };
                let reads = |value| device.check(Quantity::new(value, unit)).is_ok();
                assert!(reads(low) && reads(high), "{device:?} {unit:?}");
                assert!(reads(low + step) && reads(high - step));
                assert!(!reads(low - step) && !reads(high + step));
                assert!(!reads(low + step / dec!(2)));
            }
        }
    }

    #[test]
    fn a_glass_thermometer_has_no_odd_tenths_of_fahrenheit() {
        let glass = Device::GlassThermometer;
        let check = |value, unit| glass.check(Quantity::new(value, unit));
        assert_eq!(check(dec!(98.6), Unit::Fahrenheit), Ok(()));
        assert_eq!(check(dec!(98.8), Unit::Fahrenheit), Ok(()));
        assert_eq!(check(dec!(36.7), Unit::Celsius), Ok(()));
        let refused = check(dec!(98.7), Unit::Fahrenheit).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "98.7 can't be read from a glass thermometer: it reads 94 to 108 in steps of 0.2"
        );
    }
}
