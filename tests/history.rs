//! Histories are folds: the order in which readings arrive does not matter.

use chrono::{DateTime, FixedOffset, TimeDelta};
use proptest::prelude::*;
use sayback::vitals::{
    Decimal, History, Measurement, Numbers, Qualifiers, Reading, Unit, VitalSign,
};

fn start() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2026-03-01T00:00:00-05:00").expect("a time")
}

/// Readings at different minutes: of two at one time the later arrival counts
/// as the newer, and order would matter.
fn readings() -> impl Strategy<Value = Vec<Reading>> {
    let one = |(minute, rate): (i64, u16)| Reading {
        at: start() + TimeDelta::minutes(minute),
        measurement: Measurement::new(
            VitalSign::Pulse,
            Numbers::One(Decimal::from(rate)),
            Unit::PerMinute,
            Qualifiers::default(),
        )
        .expect("a possible pulse"),
    };
    let pairs = prop::collection::btree_map(0_i64..100_000, 40_u16..160, 0..20);
    let shuffled = pairs
        .prop_map(|it| it.into_iter().collect::<Vec<_>>())
        .prop_shuffle();
    shuffled.prop_map(move |pairs| pairs.into_iter().map(one).collect())
}

proptest! {
    #[test]
    fn order_of_arrival_does_not_matter(readings in readings()) {
        let collected: History = readings.iter().cloned().collect();
        let mut pushed = History::default();
        for reading in readings {
            pushed.push(reading);
        }
        prop_assert_eq!(collected, pushed);
    }

    #[test]
    fn what_is_before_a_time_is_newest_first_and_all_of_it(
        readings in readings(),
        minute in 0_i64..100_000,
    ) {
        let time = start() + TimeDelta::minutes(minute);
        let expected = readings.iter().filter(|it| it.at < time).count();
        let history: History = readings.into_iter().collect();
        let found: Vec<_> = history.before(VitalSign::Pulse, time).map(|it| it.at).collect();
        prop_assert_eq!(found.len(), expected);
        prop_assert!(found.is_sorted_by(|one, other| one > other));
    }
}
