//! Weight lost or gained at 30, 90 and 180 days, with the manual's rule of the
//! nearest weight; and weights so far from the last one that they are measured again.

use rust_decimal::{Decimal, dec};

use super::{Flag, Known, Rule};
use crate::vitals::sources::{WEIGHT, WEIGHT_90};
use crate::vitals::{
    Component, History, Layer, Reading, Source, Thresholds, Unit, Value, VitalSign,
};

/// How far from the day sought a weight may lie and still stand for it, as a
/// part of the interval: 10, 30 and 60 days. Common practice, no source; the
/// manual says only "closest to".
const WITHIN: i64 = 3;

/// A weight so far from the last one, in per cent of it, is measured again. Common
/// practice, no source: pounds said as kilograms are 120 % more, kilograms said as pounds
/// 55 % less, and either can be within what is likely of anybody.
pub(super) const FROM_THE_LAST: Decimal = dec!(25);
/// How many days a weight is the last one.
pub(super) const LAST_DAYS: i64 = 90;

type Share = fn(&Thresholds) -> Decimal;

/// Days back, the share in per cent, and its publication.
const INTERVALS: [(u16, Share, &str); 3] = [
    (30, |it| it.weight_30_days, WEIGHT),
    (90, |it| it.weight_90_days, WEIGHT_90),
    (180, |it| it.weight_180_days, WEIGHT),
];

/// A weight against an earlier one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeightChange {
    /// The interval: 30, 90 or 180 days.
    pub days: u16,
    /// The earlier weight that stands for the start of the interval.
    pub then: Reading,
    /// How many days really lie between the two.
    pub apart: i64,
    /// Gained (or lost, below nought) since, in per cent of the earlier weight.
    pub percent: Decimal,
    /// The share in per cent from which on it is reported.
    pub limit: Decimal,
    /// Whether it is reported.
    pub crossed: bool,
    /// The publication, or whoever set the share.
    pub source: Source,
}

impl WeightChange {
    /// How much it changed in per cent, as it is shown: to a tenth, or finer where a tenth
    /// would lie on the other side of what is reported.
    #[must_use]
    pub fn shown(&self) -> Decimal {
        let percent = self.percent.abs();
        let mut rounded = (1..=4).map(|places| percent.round_dp(places));
        let rounded = rounded.find(|it| (*it >= self.limit) == self.crossed);
        rounded.unwrap_or(percent).normalize()
    }
}

/// A weight against those of 30, 90 and 180 days before, as far as there are
/// any near enough.
#[must_use]
pub fn weight_changes(known: Known<'_>, reading: &Reading) -> Vec<WeightChange> {
    let each = INTERVALS.into_iter();
    each.filter_map(|(days, share, publication)| {
        let then = nearest(known, reading, days)?;
        // Pounds become kilograms exactly, so the comparison is exact.
        let before = then.number(Component::Whole, Unit::Kilogram)?;
        let now = reading.number(Component::Whole, Unit::Kilogram)?;
        let limit = share(known.thresholds());
        // What came from elsewhere may be next to nothing, or nothing.
        let percent = (now - before).checked_div(before)?;
        let part = limit / dec!(100);
        let lost = now <= before * (Decimal::ONE - part);
        let gained = now >= before * (Decimal::ONE + part);
        Some(WeightChange {
            days,
            then: then.clone(),
            apart: days_apart(reading, then),
            percent: percent.checked_mul(dec!(100))?,
            limit,
            crossed: lost || gained,
            source: known.source(publication, share),
        })
    })
    .collect()
}

/// Whether a weight is so far from the last one before it that it is measured again.
#[must_use]
pub fn is_far_from_last(history: &History, reading: &Reading) -> bool {
    let kilograms = |it: &Reading| it.number(Component::Whole, Unit::Kilogram);
    let last = history.last(VitalSign::Weight, reading.at);
    let last = last.filter(|it| days_apart(reading, it) <= LAST_DAYS);
    let (Some(last), Some(now)) = (last.and_then(kilograms), kilograms(reading)) else {
        return false;
    };
    reading.measurement.sign() == VitalSign::Weight
        && (now - last).abs() >= last * FROM_THE_LAST / dec!(100)
}

pub(super) fn flags(known: Known<'_>, reading: &Reading) -> Vec<Flag> {
    let changes = weight_changes(known, reading).into_iter();
    let reported = changes.filter(|it| it.crossed);
    reported
        .map(|it| {
            let way = if it.percent < dec!(0) { "less" } else { "more" };
            let (days, limit) = (it.days, it.limit);
            Flag {
                rule: Rule::WeightChange { days },
                layer: Layer::Changed,
                sign: Some(VitalSign::Weight),
                say: format!(
                    "Weight is {} percent {way} than {} days ago: {} then, {} now. \
                     Report to the nurse.",
                    it.shown(),
                    it.apart,
                    said(&it.then, reading),
                    said(reading, reading),
                ),
                limit: format!("{limit} % or more in {days} days"),
                source: it.source,
            }
        })
        .collect()
}

/// The earlier weight nearest to `days` before this one; of two equally near,
/// the earlier.
fn nearest<'a>(known: Known<'a>, reading: &Reading, days: u16) -> Option<&'a Reading> {
    let days = i64::from(days);
    let off = |it: &&Reading| (days_apart(reading, it) - days).abs();
    // Newest first, so that the last of the minima is the earliest.
    let earlier = known.history.before(VitalSign::Weight, reading.at);
    let near = earlier.filter(|it| off(it) <= days / WITHIN);
    near.reduce(|best, it| if off(&it) <= off(&best) { it } else { best })
}

fn days_apart(reading: &Reading, earlier: &Reading) -> i64 {
    (reading.at.date_naive() - earlier.at.date_naive()).num_days()
}

/// A weight in the unit of the reading that is being judged.
fn said(weight: &Reading, judged: &Reading) -> String {
    let unit = match judged.measurement.value() {
        Value::One(quantity) => quantity.unit(),
        _ => Unit::Kilogram,
    };
    let number = weight.number(Component::Whole, unit).unwrap_or_default();
    format!("{} {}", number.round_dp(1).normalize(), unit.spoken())
}

#[cfg(test)]
mod tests {
    use chrono::Days;

    use super::*;
    use crate::vitals::history::tests::{at, one};
    use crate::vitals::{Baselines, Limits, Precautions};

    const NONE: [u16; 0] = [];

    fn weight(days_ago: u64, value: Decimal, unit: Unit) -> Reading {
        let day = at(30, "08:00") - Days::new(days_ago);
        one(day, VitalSign::Weight, value, unit, &[])
    }

    fn found(earlier: &[Reading], now: &Reading) -> Vec<Flag> {
        let history: History = earlier.iter().cloned().collect();
        let (baselines, limits) = (Baselines::new(), Limits::default());
        let known = Known {
            history: &history,
            baselines: &baselines,
            limits: &limits,
            precautions: &Precautions::default(),
        };
        flags(known, now)
    }

    fn days(earlier: &[Reading], now: Decimal) -> Vec<u16> {
        let flags = found(earlier, &weight(0, now, Unit::Pound));
        let days = |it: Flag| match it.rule {
            Rule::WeightChange { days } => days,
            other => panic!("{other:?}"),
        };
        flags.into_iter().map(days).collect()
    }

    /// RAI Manual, item K0300, worked example: 172 lb 30 days ago (threshold
    /// 163.4) and 192 lb 180 days ago (threshold 172.8); 169 lb now is no loss
    /// at 30 days and a loss at 180.
    #[test]
    fn the_manuals_worked_example() {
        let earlier = [
            weight(180, dec!(192), Unit::Pound),
            weight(30, dec!(172), Unit::Pound),
        ];
        let flags = found(&earlier, &weight(0, dec!(169), Unit::Pound));
        assert_eq!(flags.len(), 1);
        assert_eq!(
            flags[0].say,
            "Weight is 12 percent less than 180 days ago: 192 pounds then, 169 pounds now. \
             Report to the nurse."
        );
        assert_eq!(flags[0].source.to_string(), WEIGHT);
    }

    /// RAI Manual, items K0300 and K0310: 5 % in 30 days, 10 % in 180, the
    /// limit itself included; 7.5 % in 90 days: CMS guidance to 42 CFR
    /// 483.25(g) (from memory).
    #[test]
    fn the_limits_at_and_around_them() {
        let thirty = [weight(30, dec!(172), Unit::Pound)];
        assert_eq!(days(&thirty, dec!(163.5)), NONE);
        assert_eq!(days(&thirty, dec!(163.4)), [30]);
        assert_eq!(days(&thirty, dec!(163.3)), [30]);
        assert_eq!(days(&thirty, dec!(180.5)), NONE);
        assert_eq!(days(&thirty, dec!(180.6)), [30]);
        assert_eq!(days(&thirty, dec!(180.7)), [30]);
        let ninety = [weight(90, dec!(160), Unit::Pound)];
        assert_eq!(days(&ninety, dec!(148.1)), NONE);
        assert_eq!(days(&ninety, dec!(148)), [90]);
        assert_eq!(days(&ninety, dec!(147.9)), [90]);
        assert_eq!(days(&ninety, dec!(171.9)), NONE);
        assert_eq!(days(&ninety, dec!(172)), [90]);
        let half_a_year = [weight(180, dec!(192), Unit::Pound)];
        assert_eq!(days(&half_a_year, dec!(172.9)), NONE);
        assert_eq!(days(&half_a_year, dec!(172.8)), [180]);
        assert_eq!(days(&half_a_year, dec!(172.7)), [180]);
        assert_eq!(days(&half_a_year, dec!(211.1)), NONE);
        assert_eq!(days(&half_a_year, dec!(211.2)), [180]);
    }

    /// RAI Manual, item K0300: the weight closest to the day counts.
    #[test]
    fn the_nearest_weight_counts() {
        let both = [
            weight(33, dec!(172), Unit::Pound),
            weight(28, dec!(165), Unit::Pound),
        ];
        assert_eq!(days(&both, dec!(163)), NONE, "28 days is nearer");
        let both = [
            weight(31, dec!(172), Unit::Pound),
            weight(27, dec!(165), Unit::Pound),
        ];
        assert_eq!(days(&both, dec!(163)), [30], "31 days is nearer");
        let tie = [
            weight(32, dec!(172), Unit::Pound),
            weight(28, dec!(165), Unit::Pound),
        ];
        assert_eq!(days(&tie, dec!(163)), [30], "the earlier of two");
    }

    #[test]
    fn a_weight_too_far_from_the_day_does_not_stand_for_it() {
        let one = |days| [weight(days, dec!(172), Unit::Pound)];
        assert_eq!(days(&one(19), dec!(150)), NONE);
        assert_eq!(days(&one(20), dec!(150)), [30]);
        assert_eq!(days(&one(40), dec!(150)), [30]);
        assert_eq!(days(&one(41), dec!(150)), NONE);
        assert_eq!(days(&[], dec!(150)), NONE);
    }

    /// Of what was stored elsewhere only the upper bound is checked.
    #[test]
    fn nothing_is_compared_with_a_weight_of_nothing() {
        let earlier = weight(30, dec!(172), Unit::Pound);
        for none in ["0", "0.0000000000000000000000000001"] {
            let mut stored = serde_json::to_value(&earlier.measurement).unwrap();
            stored["value"]["one"]["value"] = none.into();
            let measurement = serde_json::from_value(stored).unwrap();
            let earlier = Reading {
                measurement,
                ..earlier.clone()
            };
            assert_eq!(days(&[earlier], dec!(150)), NONE, "{none}");
        }
    }

    #[test]
    fn units_may_differ() {
        // 172 lb is 78.018 kg, and 95 % of it 74.117.
        let earlier = [weight(30, dec!(172), Unit::Pound)];
        let flagged =
            |kilograms| !found(&earlier, &weight(0, kilograms, Unit::Kilogram)).is_empty();
        assert!(flagged(dec!(74.1)));
        assert!(!flagged(dec!(74.2)));
    }
}
