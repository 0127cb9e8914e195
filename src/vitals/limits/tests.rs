use rust_decimal::{Decimal, dec};

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

/// The end of each range of the systolic, as of any blood pressure; none of the diastolic.
#[test]
fn a_palpated_pressure_is_judged_by_the_limits_of_the_systolic_alone() {
    let limits = Limits::default();
    let judged = |numbers| {
        let none = Qualifiers::default();
        let measured = Measurement::new(VitalSign::BloodPressure, numbers, Unit::MmHg, none);
        limits.judge(&measured.unwrap())
    };
    for systolic in 40..=300 {
        let systolic = Decimal::from(systolic);
        let palpated = judged(Numbers::Palpated(systolic));
        // With a diastolic that crosses no limit of its own where it can be less.
        let diastolic = dec!(70).min(systolic - dec!(1));
        let mut of_systolic = judged(Numbers::Over(systolic, diastolic));
        of_systolic.retain(|it| it.component == Component::Systolic);
        for it in &mut of_systolic {
            it.palpated = true;
        }
        assert_eq!(palpated, of_systolic, "{systolic}");
    }
    assert!(judged(Numbers::Palpated(dec!(120))).is_empty());
    let low = judged(Numbers::Palpated(dec!(50)));
    assert!(!low.is_empty());
    assert_eq!(low[0].name(), "systolic by palpation");
    let text = serde_json::to_value(&low[0]).unwrap();
    assert_eq!(text["palpated"], true);
    let by_ear = judged(Numbers::Over(dec!(50), dec!(40)));
    assert!(
        serde_json::to_value(&by_ear[0])
            .unwrap()
            .get("palpated")
            .is_none()
    );
}

/// There is no second number that it could be close to.
#[test]
fn a_palpated_pressure_has_no_narrow_pulse_pressure() {
    let limits = Limits::default();
    let unlikely = |numbers| {
        let none = Qualifiers::default();
        let measured = Measurement::new(VitalSign::BloodPressure, numbers, Unit::MmHg, none);
        limits.is_unlikely(&measured.unwrap(), When::Newest)
    };
    assert!(unlikely(Numbers::Over(dec!(118), dec!(116))));
    assert!(!unlikely(Numbers::Palpated(dec!(118))));
}
