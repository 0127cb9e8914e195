use rust_decimal::dec;

use super::*;
use crate::vitals::{Numbers, Qualifiers};

fn pulse(rate: Decimal) -> Measurement {
    let none = Qualifiers::default();
    Measurement::new(VitalSign::Pulse, Numbers::One(rate), Unit::PerMinute, none).unwrap()
}

fn layers(limits: &Limits, rate: Decimal) -> Vec<Layer> {
    let findings = limits.judge(&pulse(rate));
    findings.into_iter().map(|it| it.layer).collect()
}

#[test]
fn each_end_of_a_range_is_inside_it() {
    let limits = Limits::default();
    assert_eq!(layers(&limits, dec!(60)), []);
    assert_eq!(layers(&limits, dec!(100)), []);
    assert_eq!(layers(&limits, dec!(59)), [Layer::OutsideRange]);
    assert_eq!(layers(&limits, dec!(101)), [Layer::OutsideRange]);
    assert_eq!(
        layers(&limits, dec!(161)),
        [Layer::Unlikely, Layer::OutsideRange]
    );
}

#[test]
fn a_residents_own_range_replaces_the_default_and_names_its_nurse() {
    let mut limits = Limits::default();
    let source = Source::Nurse {
        name: "Ines Marlow".to_owned(),
        on: NaiveDate::from_ymd_opt(2026, 3, 1).unwrap(),
    };
    let own = Range {
        bounds: Bounds {
            low: dec!(50),
            high: dec!(95),
            unit: Unit::PerMinute,
        },
        source: source.clone(),
    };
    limits.set(VitalSign::Pulse, Component::Whole, own);
    assert_eq!(layers(&limits, dec!(55)), []);
    assert_eq!(limits.judge(&pulse(dec!(96)))[0].source, source);
}

#[test]
fn the_newest_range_on_or_before_a_day_is_in_force() {
    let mut limits = Limits::default();
    let day = |number| NaiveDate::from_ymd_opt(2026, 3, number).unwrap();
    // Set out of order, as a file may list them.
    for (number, low) in [(20, dec!(52)), (1, dec!(50)), (10, dec!(55))] {
        let bounds = Bounds {
            low,
            high: dec!(95),
            unit: Unit::PerMinute,
        };
        let source = Source::Nurse {
            name: "Ines Marlow".to_owned(),
            on: day(number),
        };
        let range = Range { bounds, source };
        limits.set(VitalSign::Pulse, Component::Whole, range);
    }
    let low_on = |day| {
        let range = limits.range_on(VitalSign::Pulse, Component::Whole, day);
        range.unwrap().bounds.low
    };
    assert_eq!(low_on(day(1).pred_opt().unwrap()), dec!(60), "the default");
    assert_eq!(low_on(day(1)), dec!(50));
    assert_eq!(low_on(day(9)), dec!(50));
    assert_eq!(low_on(day(10)), dec!(55));
    assert_eq!(low_on(day(19)), dec!(55));
    assert_eq!(low_on(day(20)), dec!(52));
    assert_eq!(limits.own().next().unwrap().2.len(), 3, "history is kept");
    assert_eq!(limits.judge_on(&pulse(dec!(54)), day(9)), []);
    assert_eq!(limits.judge_on(&pulse(dec!(54)), day(10)).len(), 1);
    assert_eq!(limits.judge(&pulse(dec!(52))), [], "the newest");
}

#[test]
fn a_range_holds_from_the_moment_it_was_set() {
    let mut limits = Limits::default();
    let at = |time: &str| {
        let text = format!("2026-03-20T{time}:00-05:00");
        DateTime::parse_from_rfc3339(&text).unwrap()
    };
    let set_at = at("15:39");
    let bounds = Bounds {
        low: dec!(50),
        high: dec!(95),
        unit: Unit::PerMinute,
    };
    let source = Source::Nurse {
        name: "Ines Marlow".to_owned(),
        on: set_at.date_naive(),
    };
    let range = Range { bounds, source };
    limits.set_at(VitalSign::Pulse, Component::Whole, Some(range), set_at);
    let crossed = |time| limits.judge_on(&pulse(dec!(55)), at(time)).len();
    assert_eq!(crossed("07:00"), 1, "by the default, which was in force");
    assert_eq!(crossed("15:39"), 0);
}

/// The guideline prints 100 °F beside 37.8 °C.
#[test]
fn a_temperature_is_judged_by_the_number_printed_for_its_own_scale() {
    let limits = Limits::default();
    let reported = |value, unit| {
        let none = Qualifiers::default();
        let number = Numbers::One(value);
        let measured = Measurement::new(VitalSign::Temperature, number, unit, none);
        !limits.judge(&measured.unwrap()).is_empty()
    };
    assert!(!reported(dec!(100), Unit::Fahrenheit));
    assert!(reported(dec!(100.1), Unit::Fahrenheit));
    assert!(!reported(dec!(37.8), Unit::Celsius));
    assert!(reported(dec!(37.9), Unit::Celsius));
    assert!(!reported(dec!(95), Unit::Fahrenheit));
    assert!(reported(dec!(94.9), Unit::Fahrenheit));
    assert!(!reported(dec!(35), Unit::Celsius));
    assert!(reported(dec!(34.9), Unit::Celsius));
}
