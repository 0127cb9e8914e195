use chrono::{DateTime, TimeDelta};
use uuid::Uuid;

use super::*;
use crate::facts::{Body, Fact, VERSION};
use crate::residents::{Home, Offsets, ResidentId, Staff};
use crate::vitals::{Measurement, Numbers, Qualifiers};

#[path = "../../../tests/kept/mod.rs"]
mod kept;

fn noon() -> Time {
    DateTime::parse_from_rfc3339("2026-03-12T12:00:00-05:00").unwrap()
}

fn offsets() -> Offsets {
    Offsets::fixed(*noon().offset())
}

fn drawn(trend: &Trend, size: Size, label: &str) -> String {
    let offsets = offsets();
    let at = Now {
        at: noon(),
        offsets: &offsets,
    };
    draw(trend, size, label, at).unwrap()
}

fn index(readings: &[(i64, VitalSign, Numbers, Unit)]) -> Index {
    let home = include_str!("../../../audio-fixtures/demo-home.toml");
    let mut index = Index::new(Home::from_toml(home).unwrap());
    for (back, sign, numbers, unit) in readings {
        let at = noon() - TimeDelta::hours(*back);
        let none = Qualifiers::default();
        let measurement = Measurement::new(*sign, *numbers, *unit, none).unwrap();
        let record = kept::reading(ResidentId("AR-042".into()), measurement, at);
        let limits = &index.home().resident(&record.resident).unwrap().limits;
        let findings = limits.judge_on(&record.measurement, at.date_naive());
        let (resident, reading) = (record.resident.clone(), Uuid::now_v7());
        let fact = |id, body| Fact {
            id,
            version: VERSION,
            at,
            by: Staff {
                name: "Dana Whitlock".into(),
                title: "nursing aide".into(),
            },
            round: Uuid::nil(),
            body,
        };
        index.add(fact(reading, Body::Read(record)));
        for finding in findings {
            let body = Body::Flagged {
                reading,
                resident: resident.clone(),
                finding,
                of: None,
            };
            index.add(fact(Uuid::now_v7(), body));
        }
    }
    index
}

fn trend(index: &Index, sign: VitalSign, days: u32, most: usize) -> Option<Trend> {
    let resident = index.home().resident(&ResidentId("AR-042".into()));
    let offsets = offsets();
    let at = Now {
        at: noon(),
        offsets: &offsets,
    };
    Trend::of(index, resident.unwrap(), sign, (days, most), at)
}

#[test]
fn few_readings_are_a_mark_each_and_many_share_one() {
    let all: Vec<_> = (0..240)
        .map(|it| {
            let rate = Decimal::from(70 + it % 10);
            (it, VitalSign::Pulse, Numbers::One(rate), Unit::PerMinute)
        })
        .collect();
    let index = index(&all);
    let few = trend(&index, VitalSign::Pulse, 7, 400).unwrap();
    assert_eq!((few.marks.len(), few.readings), (181, 181));
    let many = trend(&index, VitalSign::Pulse, 7, 20).unwrap();
    assert!(many.marks.len() <= 21, "{}", many.marks.len());
    let counted: usize = many.marks.iter().map(|it| it.count).sum();
    assert_eq!(counted, 181, "none is lost");
    assert_eq!(many.extent(0), Some((70.0, 79.0)), "nor an extreme");
}

#[test]
fn the_band_is_the_residents_own_from_its_day_on() {
    let numbers = Numbers::Over(Decimal::from(140), Decimal::from(80));
    let index = index(&[(1, VitalSign::BloodPressure, numbers, Unit::MmHg)]);
    let trend = trend(&index, VitalSign::BloodPressure, 90, 60).unwrap();
    let systolic: Vec<_> = trend.bands.iter().filter(|it| it.part == 0).collect();
    let day = |it: &str| it.parse::<NaiveDate>().unwrap();
    assert_eq!(systolic.len(), 2);
    assert_eq!(
        (systolic[0].high, systolic[0].to),
        (140.0, day("2026-02-11"))
    );
    assert_eq!(
        (systolic[1].high, systolic[1].from),
        (150.0, day("2026-02-12"))
    );
}

#[test]
fn weights_of_both_units_are_drawn_in_the_homes() {
    let kilograms = Numbers::One(Decimal::from(80));
    let index = index(&[(5, VitalSign::Weight, kilograms, Unit::Kilogram)]);
    let trend = trend(&index, VitalSign::Weight, 7, 60).unwrap();
    assert_eq!(trend.unit, Unit::Pound);
    assert!((trend.marks[0].parts[0].unwrap().middle - 176.37).abs() < 0.01);
}

#[test]
fn nothing_is_drawn_of_nothing_and_one_reading_is_enough() {
    let rate = Numbers::One(Decimal::from(72));
    let index = index(&[(5, VitalSign::Pulse, rate, Unit::PerMinute)]);
    assert_eq!(trend(&index, VitalSign::Weight, 7, 60), None);
    for days in SPANS {
        for size in [Size::Small, Size::Large] {
            let trend = trend(&index, VitalSign::Pulse, days, 60).unwrap();
            let svg = drawn(&trend, size, "Pulse of <someone>");
            assert!(svg.starts_with("<svg role=\"img\" aria-label=\"Pulse of &lt;someone&gt;\""));
            assert!(!svg.contains("NaN"), "{svg}");
        }
    }
}

#[test]
fn values_that_are_all_nothing_have_an_axis() {
    let none = Numbers::One(Decimal::ZERO);
    let index = index(&[
        (5, VitalSign::Pain, none, Unit::Score),
        (9, VitalSign::Pain, none, Unit::Score),
    ]);
    let trend = trend(&index, VitalSign::Pain, 7, 60).unwrap();
    assert!(trend.bands.is_empty());
    let svg = drawn(&trend, Size::Large, "Pain");
    let heights = svg.split("cy=\"").skip(1);
    let heights: Vec<f64> = heights
        .map(|it| it.split('"').next().unwrap().parse().unwrap())
        .collect();
    assert!(!heights.is_empty(), "{svg}");
    assert!(
        heights.iter().all(|it| (10.0..1_000.0).contains(it)),
        "{heights:?}"
    );
}

#[test]
fn a_mark_of_many_shows_each_value_outside_and_the_median_is_of_the_readings() {
    let pressure = |back, over: u32, under: u32| {
        let numbers = Numbers::Over(Decimal::from(over), Decimal::from(under));
        (back, VitalSign::BloodPressure, numbers, Unit::MmHg)
    };
    // Outside: systolic above its 150, diastolic above its 90, and both of one.
    let mut all = vec![
        pressure(100, 160, 80),
        pressure(99, 120, 95),
        pressure(98, 170, 96),
    ];
    all.extend((0..6).map(|it| pressure(97 - it, 110, 70)));
    all.extend((0..2).map(|it| pressure(10 + it, 130, 78)));
    let index = index(&all);
    let many = trend(&index, VitalSign::BloodPressure, 7, 2).unwrap();
    assert_eq!(many.marks.len(), 2);
    let values: Vec<f64> = many.marks[0].outside.iter().map(|it| it.1).collect();
    assert_eq!(values, [160.0, 95.0, 170.0, 96.0]);
    let medians = many.usual.iter().map(|it| it.unwrap().value);
    assert_eq!(medians.collect::<Vec<_>>(), [110.0, 70.0]);
    let few = trend(&index, VitalSign::BloodPressure, 7, 400).unwrap();
    assert_eq!(few.usual, many.usual, "however many marks there are");
}

/// How many squares and rings are drawn, of the sizes of a systolic and of a diastolic.
fn squares_and_rings(svg: &str) -> (usize, usize) {
    let square = svg
        .split("<rect ")
        .skip(1)
        .filter(|it| it.contains("width=\"7\" height=\"7\""));
    let ring = svg
        .split("<circle ")
        .skip(1)
        .filter(|it| it.contains("r=\"4\"") && it.contains("fill=\"none\""));
    (square.count(), ring.count())
}

#[test]
fn a_palpated_pressure_is_a_square_alone_and_lends_no_diastolic() {
    let of = |back, numbers| (back, VitalSign::BloodPressure, numbers, Unit::MmHg);
    let palpated = Numbers::Palpated(Decimal::from(112));
    let alone = index(&[of(5, palpated)]);
    let only = trend(&alone, VitalSign::BloodPressure, 7, 60).unwrap();
    assert_eq!(only.marks[0].parts.len(), 2);
    assert_eq!(only.marks[0].parts[1], None);
    assert_eq!(
        (only.extent(0), only.extent(1)),
        (Some((112.0, 112.0)), None)
    );
    let svg = drawn(&only, Size::Large, "Blood pressure");
    assert_eq!(squares_and_rings(&svg), (1, 0), "{svg}");
    let over = Numbers::Over(Decimal::from(120), Decimal::from(70));
    let both = index(&[of(5, palpated), of(30, over)]);
    let apart = trend(&both, VitalSign::BloodPressure, 7, 60).unwrap();
    let svg = drawn(&apart, Size::Large, "Blood pressure");
    assert_eq!(squares_and_rings(&svg), (2, 1), "{svg}");
    assert_eq!(apart.extent(1), Some((70.0, 70.0)));
    // Where they share a mark, the diastolic is of the one that has it.
    let shared = trend(&both, VitalSign::BloodPressure, 7, 1).unwrap();
    let diastolic = shared.marks.iter().filter_map(|it| it.parts[1]);
    let lowest = diastolic.map(|it| it.low).reduce(f64::min);
    assert_eq!(lowest, Some(70.0));
}
