//! A resident's readings over time: what the last ones were, in words and for
//! the rules.

use std::fmt::Write;

use chrono::{DateTime, Days, FixedOffset, TimeDelta};
use rust_decimal::Decimal;

use super::{BY_PALPATION, Component, Measurement, Qualifier, Supply, Unit, Value, VitalSign};

/// A measurement and when it was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reading {
    /// When it was taken.
    pub at: DateTime<FixedOffset>,
    /// What was measured.
    pub measurement: Measurement,
}

impl Reading {
    /// The number of a part of this reading in `unit`, if it has that part.
    #[must_use]
    pub fn number(&self, component: Component, unit: Unit) -> Option<Decimal> {
        let parts = self.measurement.components();
        let (_, quantity) = parts.into_iter().find(|(part, _)| *part == component)?;
        Some(quantity.to(unit)?.value())
    }
}

/// One resident's confirmed readings, oldest first. Readings that were
/// corrected, retracted or replaced are left out by whoever fills it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct History {
    readings: Vec<Reading>,
}

impl FromIterator<Reading> for History {
    fn from_iter<I: IntoIterator<Item = Reading>>(readings: I) -> Self {
        let mut readings: Vec<Reading> = readings.into_iter().collect();
        readings.sort_by_key(|it| it.at);
        Self { readings }
    }
}

impl History {
    /// Adds a reading in its place in time.
    pub fn push(&mut self, reading: Reading) {
        let after = self.readings.partition_point(|it| it.at <= reading.at);
        self.readings.insert(after, reading);
    }

    /// Takes a reading out, once.
    pub fn remove(&mut self, reading: &Reading) {
        if let Some(at) = self.readings.iter().position(|it| it == reading) {
            self.readings.remove(at);
        }
    }

    /// The readings of `sign` taken before `time`, newest first.
    pub fn before(
        &self,
        sign: VitalSign,
        time: DateTime<FixedOffset>,
    ) -> impl Iterator<Item = &Reading> {
        let newest_first = self.readings.iter().rev();
        newest_first.filter(move |it| it.measurement.sign() == sign && it.at < time)
    }

    /// The last reading of `sign` before `time`.
    #[must_use]
    pub fn last(&self, sign: VitalSign, time: DateTime<FixedOffset>) -> Option<&Reading> {
        self.before(sign, time).next()
    }

    /// The newest reading of `sign` taken within `span` up to and including
    /// `time`.
    #[must_use]
    pub fn within(
        &self,
        sign: VitalSign,
        time: DateTime<FixedOffset>,
        span: TimeDelta,
    ) -> Option<&Reading> {
        let mut newest_first = self.readings.iter().rev();
        newest_first
            .find(|it| it.measurement.sign() == sign && it.at <= time && time - it.at <= span)
    }

    /// The answer to "what was the last …?", for `count` readings, as plain
    /// text with numbers in digits: "Last blood pressure: 128 over 76, left
    /// arm, sitting, yesterday at 8:05 AM."
    #[must_use]
    pub fn spoken_last(&self, sign: VitalSign, now: DateTime<FixedOffset>, count: usize) -> String {
        let readings = self.before(sign, now).take(count);
        let said: Vec<String> = readings
            .map(|it| {
                format!(
                    "{}, {}",
                    described(&it.measurement),
                    spoken_time(it.at, now)
                )
            })
            .collect();
        if said.is_empty() {
            return format!("No earlier {} is recorded.", sign.name());
        }
        format!("Last {}: {}.", sign.name(), said.join("; before that, "))
    }
}

/// A measurement as plain text with numbers in digits: "98.6 Fahrenheit, oral".
#[must_use]
pub fn described(measurement: &Measurement) -> String {
    let mut said = match measurement.value() {
        Value::One(quantity) => {
            let number = quantity.value().to_string();
            match quantity.unit().spoken() {
                "" => number,
                unit => format!("{number} {unit}"),
            }
        }
        Value::Pressure {
            systolic,
            diastolic,
        } => format!("{} over {}", systolic.value(), diastolic.value()),
        Value::Palpated { systolic } => format!("{} systolic, {BY_PALPATION}", systolic.value()),
        Value::Level(level) => level.spoken().to_owned(),
        Value::NotRated => "could not be rated".to_owned(),
    };
    for qualifier in measurement.qualifiers().iter() {
        said.push_str(", ");
        said.push_str(qualifier.spoken());
        if let Qualifier::Supply(Supply::Oxygen(Some(flow))) = qualifier {
            let liters = if flow == Decimal::ONE {
                "liter"
            } else {
                "liters"
            };
            let _ = write!(said, " at {flow} {liters}");
        }
    }
    said
}

/// A time of day with its day as one would say it on `now`'s day.
fn spoken_time(at: DateTime<FixedOffset>, now: DateTime<FixedOffset>) -> String {
    let local = at.with_timezone(now.offset());
    let time = local.format("%-I:%M %p");
    let (day, today) = (local.date_naive(), now.date_naive());
    if day == today {
        format!("today at {time}")
    } else if day.checked_add_days(Days::new(1)) == Some(today) {
        format!("yesterday at {time}")
    } else if day.format("%Y").to_string() == today.format("%Y").to_string() {
        format!("{} at {time}", local.format("%B %-d"))
    } else {
        format!("{} at {time}", local.format("%B %-d, %Y"))
    }
}

#[cfg(test)]
pub(super) mod tests {
    use rust_decimal::dec;

    use super::*;
    use crate::vitals::{Arm, Numbers, Position, Qualifiers};

    /// 2026-03-`day` at `clock`, five hours west.
    pub(in crate::vitals) fn at(day: u32, clock: &str) -> DateTime<FixedOffset> {
        let text = format!("2026-03-{day:02}T{clock}:00-05:00");
        DateTime::parse_from_rfc3339(&text).unwrap()
    }

    pub(in crate::vitals) fn one(
        at: DateTime<FixedOffset>,
        sign: VitalSign,
        number: Decimal,
        unit: Unit,
        how: &[Qualifier],
    ) -> Reading {
        reading(at, sign, Numbers::One(number), unit, how)
    }

    pub(in crate::vitals) fn pressure(
        at: DateTime<FixedOffset>,
        systolic: Decimal,
        diastolic: Decimal,
        position: Position,
    ) -> Reading {
        let how = [Qualifier::Arm(Arm::Left), Qualifier::Position(position)];
        let numbers = Numbers::Over(systolic, diastolic);
        reading(at, VitalSign::BloodPressure, numbers, Unit::MmHg, &how)
    }

    /// A blood pressure by palpation.
    pub(in crate::vitals) fn palpated(
        at: DateTime<FixedOffset>,
        systolic: Decimal,
        position: Position,
    ) -> Reading {
        let how = [Qualifier::Arm(Arm::Left), Qualifier::Position(position)];
        let numbers = Numbers::Palpated(systolic);
        reading(at, VitalSign::BloodPressure, numbers, Unit::MmHg, &how)
    }

    fn reading(
        at: DateTime<FixedOffset>,
        sign: VitalSign,
        numbers: Numbers,
        unit: Unit,
        how: &[Qualifier],
    ) -> Reading {
        let mut qualifiers = Qualifiers::default();
        for qualifier in how {
            qualifiers.set(*qualifier);
        }
        let measurement = Measurement::new(sign, numbers, unit, qualifiers).unwrap();
        Reading { at, measurement }
    }

    #[test]
    fn the_last_values_are_said_newest_first() {
        let history: History = [
            pressure(at(9, "08:00"), dec!(118), dec!(70), Position::Lying),
            pressure(at(11, "08:05"), dec!(128), dec!(76), Position::Sitting),
            pressure(at(12, "07:15"), dec!(130), dec!(78), Position::Sitting),
        ]
        .into_iter()
        .rev()
        .collect();
        let now = at(12, "09:00");
        assert_eq!(
            history.spoken_last(VitalSign::BloodPressure, now, 1),
            "Last blood pressure: 130 over 78, left arm, sitting, today at 7:15 AM."
        );
        assert_eq!(
            history.spoken_last(VitalSign::BloodPressure, at(12, "07:15"), 2),
            "Last blood pressure: 128 over 76, left arm, sitting, yesterday at 8:05 AM; \
             before that, 118 over 70, left arm, lying, March 9 at 8:00 AM."
        );
        assert_eq!(
            history.spoken_last(VitalSign::Weight, now, 1),
            "No earlier weight is recorded."
        );
    }

    #[test]
    fn a_palpated_pressure_is_said_to_be() {
        let last = palpated(at(9, "08:00"), dec!(110), Position::Lying);
        let history: History = [last].into_iter().collect();
        assert_eq!(
            history.spoken_last(VitalSign::BloodPressure, at(9, "09:00"), 1),
            "Last blood pressure: 110 systolic, by palpation, left arm, lying, today at 8:00 AM."
        );
    }

    #[test]
    fn units_and_oxygen_are_said() {
        let how = [Qualifier::Supply(Supply::Oxygen(Some(dec!(2))))];
        let sign = VitalSign::OxygenSaturation;
        let saturation = one(at(1, "08:00"), sign, dec!(93), Unit::Percent, &how);
        let said = described(&saturation.measurement);
        assert_eq!(said, "93 percent, on oxygen at 2 liters");
    }

    #[test]
    fn a_reading_is_put_in_its_place_in_time() {
        let pulse = |day| {
            one(
                at(day, "08:00"),
                VitalSign::Pulse,
                dec!(70),
                Unit::PerMinute,
                &[],
            )
        };
        let mut history: History = [pulse(1), pulse(5)].into_iter().collect();
        history.push(pulse(3));
        let days: Vec<_> = history
            .before(VitalSign::Pulse, at(9, "08:00"))
            .map(|it| it.at)
            .collect();
        assert_eq!(days, [at(5, "08:00"), at(3, "08:00"), at(1, "08:00")]);
        let hour = TimeDelta::hours(1);
        let within = |clock| {
            history
                .within(VitalSign::Pulse, at(5, clock), hour)
                .is_some()
        };
        assert!(within("08:00") && within("09:00"));
        assert!(!within("07:59") && !within("09:01"));
    }
}
