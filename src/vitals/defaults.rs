//! The limits in force where neither the home nor a nurse has set others.

use rust_decimal::{Decimal, dec};

use super::sources::{LONG_TERM_CARE_BREATHING, TEMPERATURE_RANGE, TRADE};
use super::{Bounds, Component, Range, Source, Unit, VitalSign};

fn range(low: Decimal, high: Decimal, unit: Unit, source: &str) -> Range {
    Range {
        bounds: Bounds { low, high, unit },
        source: Source::Default(source.to_owned()),
    }
}

/// The range outside which a value is reported. `said` is the unit of the value
/// to be judged; `None` for weight and height, which have no range that fits
/// everyone.
pub(super) fn outside_range(sign: VitalSign, component: Component, said: Unit) -> Option<Range> {
    Some(match (sign, component) {
        // The upper end is the guideline's single oral temperature, which it
        // prints in both scales; 100 °F is not quite 37.8 °C, so each reading
        // is judged by the number printed for its own scale. The lower end is
        // common practice.
        (VitalSign::Temperature, _) if said == Unit::Celsius => {
            range(dec!(35), dec!(37.8), Unit::Celsius, TEMPERATURE_RANGE)
        }
        (VitalSign::Temperature, _) => {
            range(dec!(95), dec!(100), Unit::Fahrenheit, TEMPERATURE_RANGE)
        }
        (VitalSign::Pulse, _) => range(dec!(60), dec!(100), Unit::PerMinute, TRADE),
        (VitalSign::Respiration, _) => range(dec!(12), dec!(20), Unit::PerMinute, TRADE),
        (VitalSign::BloodPressure, Component::Diastolic) => {
            range(dec!(60), dec!(90), Unit::MmHg, TRADE)
        }
        (VitalSign::BloodPressure, _) => range(dec!(100), dec!(140), Unit::MmHg, TRADE),
        (VitalSign::OxygenSaturation, _) => {
            range(dec!(90), dec!(100), Unit::Percent, LONG_TERM_CARE_BREATHING)
        }
        // The first two have no range that fits everyone; the others have rules
        // of their own.
        (
            VitalSign::Weight
            | VitalSign::Height
            | VitalSign::Pain
            | VitalSign::OxygenFlow
            | VitalSign::Alertness,
            _,
        ) => return None,
    })
}

/// The range outside which a value is measured again before it is believed;
/// `None` for what the resident rates or the aide sees.
pub(super) fn unlikely_range(sign: VitalSign, component: Component) -> Option<Range> {
    Some(match (sign, component) {
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
        // More than a nasal cannula is used for.
        (VitalSign::OxygenFlow, _) => range(dec!(0.1), dec!(6), Unit::LitreAMinute, TRADE),
        (VitalSign::Pain | VitalSign::Alertness, _) => return None,
    })
}
