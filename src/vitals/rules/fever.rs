//! The temperature criteria of the long-term-care guideline, by method.
//!
//! The guideline names a single oral, repeated oral and repeated rectal
//! temperatures, and a rise over the resident's baseline from any site. That
//! the repeated part covers rectal temperatures too is how the surveillance
//! definitions of 2012 print it. For armpit, ear and forehead only the rise
//! over baseline applies.

use chrono::TimeDelta;
use rust_decimal::{Decimal, dec};

use super::{Flag, Known, Rule};
use crate::vitals::sources::{LONG_TERM_CARE_FEVER, OWN_TEMPERATURE};
use crate::vitals::{
    Degrees, Layer, Method, Qualifier, QualifierKind, Quantity, RangeOf, Reading, Source, Unit,
    Value, VitalSign,
};

pub(super) fn flags(known: Known<'_>, reading: &Reading) -> Vec<Flag> {
    let Some(temperature) = temperature(reading) else {
        return Vec::new();
    };
    let parts = match method(reading) {
        Some(Method::Oral) => [
            single_oral(known, temperature),
            repeated(known, reading, temperature, Rule::RepeatedOral),
        ],
        Some(Method::Rectal) => [
            None,
            repeated(known, reading, temperature, Rule::RepeatedRectal),
        ],
        _ => [None, None],
    };
    let over_baseline = over_baseline(known, reading, temperature);
    parts.into_iter().chain([over_baseline]).flatten().collect()
}

fn temperature(reading: &Reading) -> Option<Quantity> {
    match reading.measurement.value() {
        Value::One(quantity) if reading.measurement.sign() == VitalSign::Temperature => {
            Some(quantity)
        }
        _ => None,
    }
}

fn method(reading: &Reading) -> Option<Method> {
    match reading.measurement.qualifiers().get(QualifierKind::Method) {
        Some(Qualifier::Method(method)) => Some(method),
        _ => None,
    }
}

fn single_oral(known: Known<'_>, temperature: Quantity) -> Option<Flag> {
    let limit = known.thresholds().single_oral;
    let source = known.source(LONG_TERM_CARE_FEVER, |it| it.single_oral);
    let what = "a single oral temperature";
    limit
        .exceeded_by(temperature)
        .then(|| criterion(Rule::SingleOral, what, limit, temperature.unit(), source))
}

/// This temperature and an earlier one by the same method, both above the
/// limit, far enough apart that the second is not just a second look.
fn repeated(
    known: Known<'_>,
    reading: &Reading,
    temperature: Quantity,
    rule: Rule,
) -> Option<Flag> {
    let thresholds = known.thresholds();
    let (limit, what) = if rule == Rule::RepeatedRectal {
        (thresholds.repeated_rectal, "repeated rectal temperatures")
    } else {
        (thresholds.repeated_oral, "repeated oral temperatures")
    };
    let source = known.source(LONG_TERM_CARE_FEVER, |it| {
        if rule == Rule::RepeatedRectal {
            it.repeated_rectal
        } else {
            it.repeated_oral
        }
    });
    let least = TimeDelta::minutes(thresholds.repeated_after_minutes.into());
    let most = TimeDelta::hours(thresholds.repeated_within_hours.into());
    let mut earlier = known.history.before(VitalSign::Temperature, reading.at);
    let again = earlier.any(|it| {
        let apart = reading.at - it.at;
        let above = self::temperature(it).is_some_and(|it| limit.exceeded_by(it));
        method(it) == method(reading) && (least..=most).contains(&apart) && above
    });
    (limit.exceeded_by(temperature) && again)
        .then(|| criterion(rule, what, limit, temperature.unit(), source))
}

fn criterion(rule: Rule, what: &str, limit: Degrees, unit: Unit, source: Source) -> Flag {
    let degrees = limit.on(unit);
    Flag {
        rule,
        layer: Layer::OutsideRange,
        sign: Some(VitalSign::Temperature),
        say: format!(
            "Meets the long-term-care temperature criterion: {what} over {degrees} {}. \
             Report to the nurse.",
            unit.spoken()
        ),
        limit: format!("{what} above {degrees} {}", unit.symbol()),
        source,
    }
}

fn over_baseline(known: Known<'_>, reading: &Reading, temperature: Quantity) -> Option<Flag> {
    let unit = temperature.unit();
    let (baseline, usual_by) = baseline(known, reading, unit)?;
    let rise = temperature.value() - baseline;
    let limit = known.thresholds().over_baseline.on(unit);
    if rise <= limit {
        return None;
    }
    let (rise, baseline) = (tenth(rise), tenth(baseline));
    Some(Flag {
        rule: Rule::OverBaseline,
        layer: Layer::Changed,
        sign: Some(VitalSign::Temperature),
        say: format!(
            "Meets the long-term-care temperature criterion: {rise} degrees over the usual \
             {baseline}. Report to the nurse."
        ),
        limit: format!(
            "more than {limit} {} above {baseline}, {usual_by}",
            unit.symbol()
        ),
        source: known.source(LONG_TERM_CARE_FEVER, |it| it.over_baseline),
    })
}

fn tenth(degrees: Decimal) -> Decimal {
    degrees.round_dp(1).normalize()
}

/// The resident's usual temperature in `unit`, and where it comes from: what a
/// nurse set, else the mean of the three most recent by the same method that
/// were not themselves above the repeated criterion, from before the repeated
/// window.
fn baseline(known: Known<'_>, reading: &Reading, unit: Unit) -> Option<(Decimal, String)> {
    let set = known.baselines.get(&RangeOf::Temperature);
    if let Some(set) = set.filter(|it| it.on <= reading.at.date_naive()) {
        let by = format!("set by {}, {}", set.nurse, set.on);
        return Some((set.value.to(unit)?.value(), by));
    }
    let thresholds = known.thresholds();
    let ill = if method(reading) == Some(Method::Rectal) {
        thresholds.repeated_rectal
    } else {
        thresholds.repeated_oral
    };
    let window = TimeDelta::hours(thresholds.repeated_within_hours.into());
    let earlier = known.history.before(VitalSign::Temperature, reading.at);
    let usual: Vec<Decimal> = earlier
        .filter(|it| method(it) == method(reading) && reading.at - it.at > window)
        .filter_map(temperature)
        .filter(|it| !ill.exceeded_by(*it))
        .filter_map(|it| Some(it.to(unit)?.value()))
        .take(3)
        .collect();
    let mean = usual.iter().sum::<Decimal>() / dec!(3);
    let by = format!("mean of the last three ({OWN_TEMPERATURE})");
    (usual.len() == 3).then_some((mean, by))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vitals::history::tests::{at, one};
    use crate::vitals::{Baseline, Baselines, History, Limits, Precautions};

    const F: Unit = Unit::Fahrenheit;
    const C: Unit = Unit::Celsius;

    fn taken(day: u32, clock: &str, degrees: Decimal, unit: Unit, method: Method) -> Reading {
        let how = [Qualifier::Method(method)];
        one(at(day, clock), VitalSign::Temperature, degrees, unit, &how)
    }

    fn rules(earlier: &[Reading], baselines: &Baselines, reading: &Reading) -> Vec<Rule> {
        let history: History = earlier.iter().cloned().collect();
        let limits = Limits::default();
        let known = Known {
            history: &history,
            baselines,
            limits: &limits,
            precautions: &Precautions::default(),
        };
        flags(known, reading)
            .into_iter()
            .map(|it| it.rule)
            .collect()
    }

    fn alone(degrees: Decimal, unit: Unit, method: Method) -> Vec<Rule> {
        let reading = taken(9, "08:00", degrees, unit, method);
        rules(&[], &Baselines::new(), &reading)
    }

    /// High KP et al. 2009: a single oral temperature >100 °F (37.8 °C).
    #[test]
    fn a_single_oral_temperature() {
        assert_eq!(alone(dec!(99.9), F, Method::Oral), []);
        assert_eq!(alone(dec!(100), F, Method::Oral), []);
        assert_eq!(alone(dec!(100.1), F, Method::Oral), [Rule::SingleOral]);
        assert_eq!(alone(dec!(37.7), C, Method::Oral), []);
        assert_eq!(alone(dec!(37.8), C, Method::Oral), []);
        assert_eq!(alone(dec!(37.9), C, Method::Oral), [Rule::SingleOral]);
        for method in [
            Method::Rectal,
            Method::Axillary,
            Method::Tympanic,
            Method::Temporal,
        ] {
            assert_eq!(alone(dec!(101), F, method), [], "{method:?}");
        }
    }

    /// High KP et al. 2009: repeated oral temperatures >99 °F (37.2 °C), rectal
    /// >99.5 °F (37.5 °C).
    #[test]
    fn repeated_temperatures_by_one_method() {
        let cases = [
            (Method::Oral, F, dec!(99), Rule::RepeatedOral),
            (Method::Oral, C, dec!(37.2), Rule::RepeatedOral),
            (Method::Rectal, F, dec!(99.5), Rule::RepeatedRectal),
            (Method::Rectal, C, dec!(37.5), Rule::RepeatedRectal),
        ];
        for (method, unit, limit, rule) in cases {
            let twice = |first, second| {
                let earlier = [taken(9, "06:00", first, unit, method)];
                let reading = taken(9, "08:00", second, unit, method);
                rules(&earlier, &Baselines::new(), &reading)
            };
            let above = limit + dec!(0.1);
            assert_eq!(twice(above, above), [rule]);
            assert_eq!(twice(limit, above), []);
            assert_eq!(twice(above, limit), []);
            assert_eq!(twice(above, limit - dec!(0.1)), []);
            let other = if method == Method::Oral {
                Method::Rectal
            } else {
                Method::Oral
            };
            let mixed = [taken(9, "06:00", above, unit, other)];
            let reading = taken(9, "08:00", above, unit, method);
            assert_eq!(
                rules(&mixed, &Baselines::new(), &reading),
                [],
                "by two methods"
            );
        }
    }

    /// Common practice, no source: half an hour to a day apart.
    #[test]
    fn repeated_means_apart_and_within_a_day() {
        let earlier = [taken(9, "08:00", dec!(99.4), F, Method::Oral)];
        let later = |day, clock| {
            let reading = taken(day, clock, dec!(99.4), F, Method::Oral);
            rules(&earlier, &Baselines::new(), &reading)
        };
        assert_eq!(later(9, "08:29"), [], "a second look");
        assert_eq!(later(9, "08:30"), [Rule::RepeatedOral]);
        assert_eq!(later(10, "08:00"), [Rule::RepeatedOral]);
        assert_eq!(later(10, "08:01"), []);
    }

    /// High KP et al. 2009: more than 2 °F (1.1 °C) over baseline, from any
    /// site.
    #[test]
    fn over_the_baseline_that_a_nurse_set() {
        let baseline = Baseline {
            value: Quantity::new(dec!(97), F),
            nurse: "Ines Marlow".to_owned(),
            on: at(9, "00:00").date_naive(),
        };
        let baselines = Baselines::from([(RangeOf::Temperature, baseline)]);
        let on = |day, degrees, unit| {
            let reading = taken(day, "08:00", degrees, unit, Method::Temporal);
            rules(&[], &baselines, &reading)
        };
        assert_eq!(on(9, dec!(98.9), F), []);
        assert_eq!(on(9, dec!(99), F), []);
        assert_eq!(on(9, dec!(99.1), F), [Rule::OverBaseline]);
        // 97 °F is 36.11 °C.
        assert_eq!(on(9, dec!(37.2), C), []);
        assert_eq!(on(9, dec!(37.3), C), [Rule::OverBaseline]);
        assert_eq!(on(8, dec!(99.1), F), [], "not yet set");
    }

    /// J Am Geriatr Soc 2014;62:135-140 took the three most recent.
    #[test]
    fn over_the_mean_of_the_last_three() {
        let by = Method::Tympanic;
        let usual = [
            taken(1, "08:00", dec!(96), F, by),
            taken(4, "08:00", dec!(97), F, by),
            taken(5, "08:00", dec!(97.3), F, by),
            taken(6, "08:00", dec!(96.7), F, by),
            taken(6, "20:00", dec!(99.9), F, by),
            taken(9, "06:00", dec!(98.9), F, by),
        ];
        let none = Baselines::new();
        let judged = |degrees| rules(&usual, &none, &taken(9, "08:00", degrees, F, by));
        assert_eq!(judged(dec!(99)), [], "mean 97.0, the ill one left out");
        assert_eq!(judged(dec!(99.1)), [Rule::OverBaseline]);
        let few = &usual[..2];
        assert_eq!(rules(few, &none, &taken(9, "08:00", dec!(99.1), F, by)), []);
        let other = taken(9, "08:00", dec!(99.1), F, Method::Temporal);
        assert_eq!(
            rules(&usual, &none, &other),
            [],
            "another method's baseline"
        );
    }
}
