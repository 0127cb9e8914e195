//! The numbers inside the rules over several readings, which a home may change.

use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};

use super::measurement::TOO_LARGE;
use super::{Quantity, Unit};

/// A temperature, or a difference of temperatures, as a publication prints it
/// in both scales. The two are rounded and so not quite equal (100 °F is
/// 37.78 °C); a reading is compared with the number of its own scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Degrees {
    /// In °F.
    pub fahrenheit: Decimal,
    /// In °C.
    pub celsius: Decimal,
}

impl Degrees {
    /// The number for a scale; °F for a unit that is no scale of temperature.
    #[must_use]
    pub fn on(self, unit: Unit) -> Decimal {
        match unit {
            Unit::Celsius => self.celsius,
            _ => self.fahrenheit,
        }
    }

    /// Whether a temperature is above this one, by the number of its own scale.
    #[must_use]
    pub fn exceeded_by(self, temperature: Quantity) -> bool {
        temperature.value() > self.on(temperature.unit())
    }
}

/// Every threshold of the rules over several readings, with the published or
/// customary default. [`rules_table`](super::rules_table) names each source.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Thresholds {
    /// A single oral temperature above this meets the criterion.
    pub single_oral: Degrees,
    /// Repeated oral temperatures above this meet the criterion.
    pub repeated_oral: Degrees,
    /// Repeated rectal temperatures above this meet the criterion.
    pub repeated_rectal: Degrees,
    /// A temperature more than this above the resident's baseline meets the
    /// criterion.
    pub over_baseline: Degrees,
    /// Least time between two temperatures that count as repeated, in minutes.
    pub repeated_after_minutes: u32,
    /// Longest time between two temperatures that count as repeated, in hours.
    pub repeated_within_hours: u32,
    /// Respirations a minute, at or above which the criterion is met.
    pub respiration_at_least: Decimal,
    /// Saturation in per cent, below which the criterion is met.
    pub saturation_below: Decimal,
    /// Weight change in 30 days, in per cent, at or above which it is reported.
    pub weight_30_days: Decimal,
    /// Weight change in 90 days, in per cent, at or above which it is reported.
    pub weight_90_days: Decimal,
    /// Weight change in 180 days, in per cent, at or above which it is reported.
    pub weight_180_days: Decimal,
    /// Fall of systolic pressure on standing, in mmHg, at or above which it is
    /// reported.
    pub standing_systolic_fall: Decimal,
    /// Fall of diastolic pressure on standing, in mmHg, at or above which it is
    /// reported.
    pub standing_diastolic_fall: Decimal,
    /// Change of pulse against the resident's usual, in beats a minute, at or
    /// above which it is reported.
    pub pulse_change: Decimal,
    /// Change of respiration against the resident's usual, in breaths a minute,
    /// at or above which it is reported.
    pub respiration_change: Decimal,
    /// Change of systolic pressure against the resident's usual, in mmHg, at or
    /// above which it is reported.
    pub systolic_change: Decimal,
    /// Change of diastolic pressure against the resident's usual, in mmHg, at
    /// or above which it is reported.
    pub diastolic_change: Decimal,
    /// Fall of saturation below the resident's usual, in percentage points,
    /// above which it is reported.
    pub saturation_fall: Decimal,
    /// Rise or fall of pulse over four readings that go one way, in beats a
    /// minute, at or above which it is reported.
    pub pulse_trend: Decimal,
    /// Rise or fall of respiration over four readings that go one way, in
    /// breaths a minute, at or above which it is reported.
    pub respiration_trend: Decimal,
    /// Wait after eating, drinking or smoking before an oral temperature, in
    /// minutes.
    pub oral_wait_minutes: u32,
    /// Wait after smoking or exercise before a blood pressure, in minutes.
    pub pressure_wait_minutes: u32,
    /// Rest after exercise before a pulse or respirations, in minutes.
    pub rest_minutes: u32,
    /// Wait before the cuff is inflated again on the same limb, in minutes.
    pub cuff_again_minutes: u32,
    /// Pain score at or above which it is reported.
    pub pain_at_least: u8,
    /// Early-warning score at or above which the nurse is told.
    pub early_warning: u8,
    /// Early-warning score at or above which the nurse is told at once.
    pub early_warning_urgent: u8,
}

impl Default for Thresholds {
    fn default() -> Self {
        let degrees = |fahrenheit, celsius| Degrees {
            fahrenheit,
            celsius,
        };
        Self {
            single_oral: degrees(dec!(100), dec!(37.8)),
            repeated_oral: degrees(dec!(99), dec!(37.2)),
            repeated_rectal: degrees(dec!(99.5), dec!(37.5)),
            over_baseline: degrees(dec!(2), dec!(1.1)),
            repeated_after_minutes: 30,
            repeated_within_hours: 24,
            respiration_at_least: dec!(25),
            saturation_below: dec!(90),
            weight_30_days: dec!(5),
            weight_90_days: dec!(7.5),
            weight_180_days: dec!(10),
            standing_systolic_fall: dec!(20),
            standing_diastolic_fall: dec!(10),
            pulse_change: dec!(20),
            respiration_change: dec!(6),
            systolic_change: dec!(30),
            diastolic_change: dec!(20),
            saturation_fall: dec!(3),
            pulse_trend: dec!(15),
            respiration_trend: dec!(6),
            oral_wait_minutes: 30,
            pressure_wait_minutes: 30,
            rest_minutes: 10,
            cuff_again_minutes: 1,
            pain_at_least: 4,
            early_warning: 5,
            early_warning_urgent: 7,
        }
    }
}

impl Thresholds {
    /// The name of a threshold that makes no sense, if there is one: each must
    /// be above nought, and not so large that nothing can reach it or a sum with it
    /// overflows; and the urgent score not below the other.
    pub(super) fn senseless(&self) -> Option<&'static str> {
        let numbers = [
            ("single_oral", self.single_oral.fahrenheit),
            ("single_oral", self.single_oral.celsius),
            ("repeated_oral", self.repeated_oral.fahrenheit),
            ("repeated_oral", self.repeated_oral.celsius),
            ("repeated_rectal", self.repeated_rectal.fahrenheit),
            ("repeated_rectal", self.repeated_rectal.celsius),
            ("over_baseline", self.over_baseline.fahrenheit),
            ("over_baseline", self.over_baseline.celsius),
            ("repeated_within_hours", self.repeated_within_hours.into()),
            ("respiration_at_least", self.respiration_at_least),
            ("saturation_below", self.saturation_below),
            ("weight_30_days", self.weight_30_days),
            ("weight_90_days", self.weight_90_days),
            ("weight_180_days", self.weight_180_days),
            ("standing_systolic_fall", self.standing_systolic_fall),
            ("standing_diastolic_fall", self.standing_diastolic_fall),
            ("pulse_change", self.pulse_change),
            ("respiration_change", self.respiration_change),
            ("systolic_change", self.systolic_change),
            ("diastolic_change", self.diastolic_change),
            ("saturation_fall", self.saturation_fall),
            ("pulse_trend", self.pulse_trend),
            ("respiration_trend", self.respiration_trend),
            ("pain_at_least", self.pain_at_least.into()),
            ("early_warning", self.early_warning.into()),
            ("early_warning_urgent", self.early_warning_urgent.into()),
        ];
        // Pain is rated from 0 to 10, a part of something is at most all of it, and seven
        // parameters score 20 together (National Early Warning Score 2; from memory).
        let most = |name: &str| match name {
            "pain_at_least" => dec!(10),
            "early_warning" | "early_warning_urgent" => dec!(20),
            "saturation_below" | "weight_30_days" | "weight_90_days" | "weight_180_days" => {
                dec!(100)
            }
            _ => TOO_LARGE,
        };
        let right = |(name, number): &(&str, Decimal)| {
            *number > dec!(0) && *number < TOO_LARGE && *number <= most(name)
        };
        let wrong = numbers.into_iter().find(|it| !right(it));
        let urgent = (self.early_warning_urgent < self.early_warning)
            .then_some(("early_warning_urgent", dec!(0)));
        wrong.or(urgent).map(|(name, _)| name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A limit that nothing reaches turns its report off without a word.
    #[test]
    fn a_threshold_that_nothing_can_reach_is_senseless() {
        let with = |change: fn(&mut Thresholds)| {
            let mut it = Thresholds::default();
            change(&mut it);
            it.senseless()
        };
        assert_eq!(with(|_| ()), None);
        assert_eq!(with(|it| it.pain_at_least = 10), None);
        assert_eq!(with(|it| it.pain_at_least = 11), Some("pain_at_least"));
        assert_eq!(with(|it| it.weight_30_days = dec!(100)), None);
        assert_eq!(
            with(|it| it.weight_30_days = dec!(101)),
            Some("weight_30_days")
        );
        assert_eq!(
            with(|it| it.saturation_below = dec!(900)),
            Some("saturation_below")
        );
        assert_eq!(with(|it| it.early_warning_urgent = 20), None);
        assert_eq!(
            with(|it| it.early_warning_urgent = 21),
            Some("early_warning_urgent")
        );
        assert_eq!(with(|it| it.pulse_change = dec!(0)), Some("pulse_change"));
    }
}
