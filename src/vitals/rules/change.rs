//! Change against the resident's own usual, and trends over four readings.

use chrono::TimeDelta;
use rust_decimal::{Decimal, dec};

use super::{Flag, Known, Rule, capital};
use crate::vitals::sources::{SURVEILLANCE, TRADE};
use crate::vitals::{
    Component, Layer, Qualifier, QualifierKind, RangeOf, Reading, Source, Supply, Thresholds, Unit,
    VitalSign,
};

/// Readings that make up the usual: at least and at most so many, from the last
/// thirty days. Common practice, no source.
const USUAL: (usize, usize) = (3, 5);
const USUAL_DAYS: i64 = 30;
/// Readings that make a trend, this one included, within seven days. Common
/// practice, no source.
const TREND: usize = 4;
const TREND_DAYS: i64 = 7;

/// Each part of a reading that has changed against the resident's usual: what a
/// nurse set, else the median of the last comparable readings.
pub(super) fn from_usual(known: Known<'_>, reading: &Reading) -> Vec<Flag> {
    let sign = reading.measurement.sign();
    let parts = reading.measurement.components().into_iter();
    parts
        .filter_map(|(component, value)| {
            let (number, unit) = (value.value(), value.unit());
            let usual = usual(known, reading, component, unit)?;
            let change = number - usual;
            let limit = changed_by(known, sign, component, change)?;
            let way = if change < dec!(0) { "below" } else { "above" };
            let part = component.name_of(sign, reading.measurement.is_palpated());
            Some(Flag {
                rule: Rule::ChangeFromUsual,
                layer: Layer::Changed,
                sign: Some(sign),
                say: format!(
                    "{} is {} {way} the usual {usual}. Report to the nurse.",
                    capital(part),
                    change.abs().normalize()
                ),
                limit: limit.0,
                source: limit.1,
            })
        })
        .collect()
}

/// The limit that a change crosses and who set it, if it crosses one.
fn changed_by(
    known: Known<'_>,
    sign: VitalSign,
    component: Component,
    change: Decimal,
) -> Option<(String, Source)> {
    if sign == VitalSign::OxygenSaturation {
        // Only a fall matters, and the definition says more than 3.
        let limit = known.thresholds().saturation_fall;
        let source = known.source(SURVEILLANCE, |it| it.saturation_fall);
        let crossed = -change > limit;
        return crossed.then(|| (format!("more than {limit} below the usual"), source));
    }
    let threshold: fn(&Thresholds) -> Decimal = match (sign, component) {
        (VitalSign::Pulse, _) => |it| it.pulse_change,
        (VitalSign::Respiration, _) => |it| it.respiration_change,
        (VitalSign::BloodPressure, Component::Systolic) => |it| it.systolic_change,
        (VitalSign::BloodPressure, _) => |it| it.diastolic_change,
        _ => return None,
    };
    let limit = threshold(known.thresholds());
    let crossed = change.abs() >= limit;
    crossed.then(|| {
        let words = format!("{limit} or more from the usual");
        (words, known.source(TRADE, threshold))
    })
}

fn usual(known: Known<'_>, reading: &Reading, component: Component, unit: Unit) -> Option<Decimal> {
    let sign = reading.measurement.sign();
    let set = RangeOf::of(sign, component).and_then(|of| known.baselines.get(&of));
    if let Some(set) = set.filter(|it| it.on <= reading.at.date_naive()) {
        return Some(set.value.to(unit)?.value());
    }
    let since = TimeDelta::days(USUAL_DAYS);
    let earlier = known.history.before(sign, reading.at);
    let mut numbers: Vec<Decimal> = earlier
        .take_while(|it| reading.at - it.at <= since)
        .filter(|it| comparable(it, reading))
        .filter_map(|it| it.number(component, unit))
        .take(USUAL.1)
        .collect();
    if numbers.len() < USUAL.0 {
        return None;
    }
    numbers.sort_unstable();
    let middle = numbers.len() / 2;
    let median = if numbers.len() % 2 == 1 {
        numbers[middle]
    } else {
        (numbers[middle - 1] + numbers[middle]) / dec!(2)
    };
    Some(median.normalize())
}

/// Pressures compare in one position, saturations on one supply.
fn comparable(one: &Reading, other: &Reading) -> bool {
    let position = |it: &Reading| it.measurement.qualifiers().get(QualifierKind::Position);
    let on_oxygen = |it: &Reading| {
        let supply = it.measurement.qualifiers().get(QualifierKind::Supply);
        matches!(supply, Some(Qualifier::Supply(Supply::Oxygen(_))))
    };
    position(one) == position(other) && on_oxygen(one) == on_oxygen(other)
}

/// A pulse or respiration that has gone one way over four readings, by as much
/// as the threshold in all.
pub(super) fn trend(known: Known<'_>, reading: &Reading) -> Option<Flag> {
    let sign = reading.measurement.sign();
    let threshold: fn(&Thresholds) -> Decimal = match sign {
        VitalSign::Pulse => |it| it.pulse_trend,
        VitalSign::Respiration => |it| it.respiration_trend,
        _ => return None,
    };
    let since = TimeDelta::days(TREND_DAYS);
    let number = |it: &Reading| it.number(Component::Whole, Unit::PerMinute);
    let earlier = known.history.before(sign, reading.at);
    let recent = earlier.take_while(|it| reading.at - it.at <= since);
    let newest_first: Vec<Decimal> = std::iter::once(reading)
        .chain(recent)
        .take(TREND)
        .filter_map(number)
        .collect();
    let (&[now, .., then], TREND) = (newest_first.as_slice(), newest_first.len()) else {
        return None;
    };
    let rising = newest_first.windows(2).all(|it| it[0] > it[1]);
    let falling = newest_first.windows(2).all(|it| it[0] < it[1]);
    let limit = threshold(known.thresholds());
    if !(rising || falling) || (now - then).abs() < limit {
        return None;
    }
    let way = if rising { "risen" } else { "fallen" };
    Some(Flag {
        rule: Rule::Trend,
        layer: Layer::Changed,
        sign: Some(sign),
        say: format!(
            "{} has {way} over the last {TREND} readings, from {then} to {now}. \
             Report to the nurse.",
            capital(sign.name())
        ),
        limit: format!("{limit} or more over {TREND} readings one way"),
        source: known.source(TRADE, threshold),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vitals::history::tests::{at, one, palpated, pressure};
    use crate::vitals::{Baseline, Baselines, History, Limits, Position, Precautions, Quantity};

    fn judged(
        rule: fn(Known<'_>, &Reading) -> Vec<Flag>,
        baselines: &Baselines,
        earlier: Vec<Reading>,
        now: &Reading,
    ) -> Vec<String> {
        let history: History = earlier.into_iter().collect();
        let limits = Limits::default();
        let known = Known {
            history: &history,
            baselines,
            limits: &limits,
            precautions: &Precautions::default(),
        };
        rule(known, now).into_iter().map(|it| it.say).collect()
    }

    fn rate(sign: VitalSign, day: u32, number: Decimal) -> Reading {
        one(at(day, "08:00"), sign, number, Unit::PerMinute, &[])
    }

    fn changed(sign: VitalSign, earlier: &[Decimal], now: Decimal) -> bool {
        let earlier = (1..).zip(earlier).map(|(day, it)| rate(sign, day, *it));
        let now = rate(sign, 20, now);
        !judged(from_usual, &Baselines::new(), earlier.collect(), &now).is_empty()
    }

    /// Common practice, no source.
    #[test]
    fn pulse_and_respiration_against_the_median() {
        let usual = [dec!(70), dec!(72), dec!(110)];
        assert!(!changed(VitalSign::Pulse, &usual, dec!(91)));
        assert!(changed(VitalSign::Pulse, &usual, dec!(92)));
        assert!(changed(VitalSign::Pulse, &usual, dec!(93)));
        assert!(!changed(VitalSign::Pulse, &usual, dec!(53)));
        assert!(changed(VitalSign::Pulse, &usual, dec!(52)));
        assert!(
            !changed(VitalSign::Pulse, &usual[..2], dec!(120)),
            "too few"
        );
        let breaths = [dec!(16), dec!(16), dec!(18), dec!(18)];
        assert!(!changed(VitalSign::Respiration, &breaths, dec!(22)));
        assert!(
            changed(VitalSign::Respiration, &breaths, dec!(23)),
            "usual 17"
        );
        assert!(!changed(VitalSign::Respiration, &breaths, dec!(12)));
        assert!(changed(VitalSign::Respiration, &breaths, dec!(11)));
    }

    /// Common practice, no source.
    #[test]
    fn pressures_compare_in_one_position() {
        let usual = |position| {
            let days = (1..=3).map(|day| pressure(at(day, "08:00"), dec!(120), dec!(70), position));
            days.collect::<Vec<_>>()
        };
        let judge = |earlier, high, low| {
            let now = pressure(at(9, "08:00"), high, low, Position::Sitting);
            judged(from_usual, &Baselines::new(), earlier, &now).len()
        };
        assert_eq!(judge(usual(Position::Sitting), dec!(149), dec!(89)), 0);
        assert_eq!(judge(usual(Position::Sitting), dec!(150), dec!(89)), 1);
        assert_eq!(judge(usual(Position::Sitting), dec!(150), dec!(90)), 2);
        assert_eq!(judge(usual(Position::Sitting), dec!(90), dec!(51)), 1);
        assert_eq!(judge(usual(Position::Lying), dec!(160), dec!(95)), 0);
    }

    /// Whoever is told knows that it is lower by its method alone.
    #[test]
    fn a_palpated_pressure_compares_by_its_systolic() {
        let days = 1..=3;
        let usual =
            days.map(|day| pressure(at(day, "08:00"), dec!(120), dec!(70), Position::Lying));
        let usual: Vec<Reading> = usual.collect();
        let judge = |systolic| {
            let now = palpated(at(9, "08:00"), systolic, Position::Lying);
            judged(from_usual, &Baselines::new(), usual.clone(), &now)
        };
        assert!(judge(dec!(91)).is_empty());
        assert_eq!(
            judge(dec!(90)),
            ["Systolic by palpation is 30 below the usual 120. Report to the nurse."]
        );
        // It gives no diastolic that another could be compared with.
        let earlier = (1..=3).map(|day| palpated(at(day, "08:00"), dec!(120), Position::Lying));
        let now = pressure(at(9, "08:00"), dec!(120), dec!(20), Position::Lying);
        assert!(judged(from_usual, &Baselines::new(), earlier.collect(), &now).is_empty());
    }

    /// Stone ND et al. 2012: a fall of more than 3 from baseline (from memory).
    #[test]
    fn saturation_against_a_baseline_that_a_nurse_set() {
        let baseline = Baseline {
            value: Quantity::new(dec!(96), Unit::Percent),
            nurse: "Ines Marlow".to_owned(),
            on: at(1, "00:00").date_naive(),
        };
        let baselines = Baselines::from([(RangeOf::OxygenSaturation, baseline)]);
        let judge = |percent| {
            let sign = VitalSign::OxygenSaturation;
            let now = one(at(9, "08:00"), sign, percent, Unit::Percent, &[]);
            judged(from_usual, &baselines, Vec::new(), &now)
        };
        assert!(judge(dec!(94)).is_empty());
        assert!(judge(dec!(93)).is_empty());
        assert_eq!(
            judge(dec!(92)),
            ["Oxygen saturation is 4 below the usual 96. Report to the nurse."]
        );
        assert!(judge(dec!(100)).is_empty(), "a rise is not reported");
    }

    fn trended(sign: VitalSign, days: [u32; 4], numbers: [Decimal; 4]) -> bool {
        let mut readings: Vec<_> = days
            .into_iter()
            .zip(numbers)
            .map(|(day, it)| rate(sign, day, it))
            .collect();
        let now = readings.pop().unwrap();
        let rule =
            |known: Known<'_>, reading: &Reading| trend(known, reading).into_iter().collect();
        !judged(rule, &Baselines::new(), readings, &now).is_empty()
    }

    /// Common practice, no source.
    #[test]
    fn four_readings_one_way() {
        let days = [1, 2, 3, 4];
        let pulse = |numbers| trended(VitalSign::Pulse, days, numbers);
        assert!(!pulse([dec!(70), dec!(75), dec!(80), dec!(84)]));
        assert!(pulse([dec!(70), dec!(75), dec!(80), dec!(85)]));
        assert!(pulse([dec!(85), dec!(80), dec!(75), dec!(70)]));
        assert!(
            !pulse([dec!(70), dec!(80), dec!(80), dec!(90)]),
            "not each higher"
        );
        let breaths = |numbers| trended(VitalSign::Respiration, days, numbers);
        assert!(!breaths([dec!(15), dec!(16), dec!(18), dec!(20)]));
        assert!(breaths([dec!(14), dec!(16), dec!(18), dec!(20)]));
        let over = |days| {
            trended(
                VitalSign::Pulse,
                days,
                [dec!(70), dec!(75), dec!(80), dec!(85)],
            )
        };
        assert!(over([1, 2, 3, 8]));
        assert!(!over([1, 2, 3, 9]), "more than seven days");
    }
}
