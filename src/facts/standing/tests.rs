use fastrand::Rng;

use super::*;
use crate::vitals::{Numbers, Qualifiers, Unit, VitalSign};

const READING: u128 = 1;

fn pulse(value: u32) -> Measurement {
    let numbers = Numbers::One(value.into());
    let made = Measurement::new(
        VitalSign::Pulse,
        numbers,
        Unit::PerMinute,
        Qualifiers::default(),
    );
    made.unwrap()
}

fn time(minute: i64) -> Time {
    let begin = Time::parse_from_rfc3339("2026-03-02T08:00:00-05:00").unwrap();
    begin + chrono::TimeDelta::minutes(minute)
}

/// Correction `id` at this minute, to a pulse of this value.
fn made(id: u128, minute: i64, over: &[u128], by_nurse: bool, new: u32) -> Correction {
    Correction {
        id: Uuid::from_u128(id),
        at: time(minute),
        over: over.iter().map(|it| Uuid::from_u128(*it)).collect(),
        by_nurse,
        old: pulse(70),
        new: pulse(new),
        time: None,
    }
}

fn numbers(of: &[&Correction]) -> Vec<u128> {
    of.iter().map(|it| it.id.as_u128()).collect()
}

/// What holds, and which are apart, by their numbers.
fn stands(all: &[Correction]) -> (u128, Vec<u128>) {
    let standing = Standing::of(Uuid::from_u128(READING), &pulse(70), all);
    (standing.version().as_u128(), numbers(&standing.apart))
}

#[test]
fn nothing_corrected_stands_as_recorded() {
    assert_eq!(stands(&[]), (READING, vec![]));
}

/// A corrected time holds until another is said, whatever else is corrected over it.
#[test]
fn a_time_stands_until_another_is_said() {
    let recorded = pulse(70);
    let change = |minute| {
        Some(TimeChange {
            old: time(0),
            new: time(minute),
        })
    };
    let mut earlier = made(11, 5, &[1], true, 70);
    earlier.time = change(-60);
    let value = made(12, 30, &[11], false, 74);
    let mut all = vec![earlier, value];
    let at = |all: &[Correction]| {
        let standing = Standing::of(Uuid::from_u128(READING), &recorded, all);
        (
            standing.measured_at(),
            numbers(&standing.rivals().collect::<Vec<_>>()),
        )
    };
    assert_eq!(at(&all[1..]), (None, vec![]));
    assert_eq!(at(&all), (Some(time(-60)), vec![]));
    let mut again = made(13, 40, &[12], true, 74);
    again.time = change(-30);
    all.push(again.clone());
    assert_eq!(at(&all), (Some(time(-30)), vec![]));
    // The same value at another time, apart from that, is to be looked at.
    let mut apart = made(14, 35, &[12], true, 74);
    apart.time = change(-45);
    all.push(apart);
    assert_eq!(at(&all), (Some(time(-30)), vec![14]));
    all.reverse();
    assert_eq!(at(&all), (Some(time(-30)), vec![14]));
}

#[test]
fn a_nurses_correction_goes_before_a_later_one_of_an_aide_who_did_not_know_of_it() {
    let (nurse, aide) = (made(11, 5, &[1], true, 72), made(12, 30, &[1], false, 74));
    assert_eq!(stands(&[nurse.clone(), aide.clone()]), (11, vec![12]));
    assert_eq!(stands(&[aide.clone(), nurse.clone()]), (11, vec![12]));
    // However much the aide corrects that.
    let again = made(13, 40, &[12], false, 76);
    assert_eq!(stands(&[aide, nurse, again]), (11, vec![13]));
}

#[test]
fn who_knew_of_a_nurses_correction_may_correct_it() {
    let nurse = made(11, 5, &[1], true, 72);
    let aide = made(12, 30, &[11], false, 74);
    assert_eq!(stands(&[aide, nurse]), (12, vec![]));
}

#[test]
fn of_two_alike_the_later_holds_and_at_one_time_the_greater_identifier() {
    let two = [made(12, 5, &[1], true, 72), made(11, 6, &[1], true, 74)];
    assert_eq!(stands(&two), (11, vec![12]));
    let two = [made(12, 5, &[1], false, 72), made(11, 5, &[1], false, 74)];
    assert_eq!(stands(&two), (12, vec![11]));
}

#[test]
fn who_knew_of_both_decides_and_what_was_not_known_is_apart_again() {
    let (nurse, aide) = (made(11, 5, &[1], true, 72), made(12, 4, &[1], false, 74));
    let decided = made(13, 9, &[11, 12], true, 74);
    let all = [decided, nurse, aide];
    assert_eq!(stands(&all), (13, vec![]));
    let mut all = all.to_vec();
    all.push(made(14, 60, &[12], false, 75));
    assert_eq!(stands(&all), (13, vec![14]));
}

#[test]
fn two_apart_to_the_same_value_are_no_rivals() {
    let two = [made(12, 5, &[1], true, 72), made(11, 6, &[1], false, 72)];
    let standing = Standing::of(Uuid::from_u128(READING), &pulse(70), &two);
    assert_eq!(standing.rivals().count(), 0);
    let over: Vec<u128> = standing.over().iter().map(Uuid::as_u128).collect();
    assert_eq!(over, [12, 11], "the next one still knows of both");
}

#[test]
fn of_an_older_form_those_in_one_line_hold_whatever_their_times() {
    let one = |id, minute, old, new| Correction {
        old: pulse(old),
        ..made(id, minute, &[], false, new)
    };
    // The second by a clock that was set back.
    let line = [one(12, 60, 70, 72), one(11, 0, 72, 70)];
    assert_eq!(stands(&line), (11, vec![]));
    let apart = [one(11, 0, 70, 72), one(12, 60, 70, 74)];
    assert_eq!(stands(&apart), (12, vec![11]));
}

#[test]
fn facts_that_someone_made_up_still_stand_somehow() {
    let alone = [made(11, 0, &[11], false, 72)];
    assert_eq!(stands(&alone), (11, vec![]));
    let ring = [made(11, 0, &[12], false, 72), made(12, 1, &[11], false, 74)];
    assert_eq!(stands(&ring), (12, vec![]));
    let each_other = [
        made(11, 0, &[1, 12], false, 72),
        made(12, 1, &[1, 11], false, 74),
    ];
    assert_eq!(stands(&each_other).0, 12);
    let of_nothing = [made(11, 0, &[99], false, 72)];
    assert_eq!(stands(&of_nothing), (11, vec![]));
    // Deep, and not too deep.
    let long: Vec<Correction> = (0..50_000)
        .map(|it| made(10 + it, 0, &[if it == 0 { 1 } else { 9 + it }], false, 72))
        .collect();
    assert_eq!(stands(&long).0, 50_009);
}

/// Devices that hear of each other now and then correct one reading as each sees it.
/// Whatever order the corrections come in, the same holds.
#[test]
fn any_order_of_arrival_gives_the_same() {
    let (mut with_rivals, mut decided) = (0, 0);
    for seed in 0..1000 {
        let mut rng = Rng::with_seed(seed);
        let mut all: Vec<Correction> = Vec::new();
        // Which corrections each of three devices has.
        let mut has = vec![Vec::<Correction>::new(); 3];
        for step in 0..rng.u8(1..20) {
            let at = rng.usize(0..3);
            if rng.bool() {
                let from = rng.usize(0..3);
                for it in has[from].clone() {
                    if !has[at].contains(&it) {
                        has[at].push(it);
                    }
                }
                continue;
            }
            let reading = Uuid::from_u128(READING);
            let recorded = pulse(70);
            let standing = Standing::of(reading, &recorded, &has[at]);
            let over: Vec<u128> = standing.over().iter().map(Uuid::as_u128).collect();
            decided += usize::from(over.len() > 1);
            // Clocks differ.
            let new = Correction {
                old: standing.holds().map_or(pulse(70), |it| it.new.clone()),
                ..made(
                    100 + u128::from(step),
                    rng.i64(0..60),
                    &over,
                    rng.bool(),
                    rng.u32(60..64),
                )
            };
            has[at].push(new.clone());
            all.push(new);
        }
        let expected = stands(&all);
        with_rivals += usize::from(!expected.1.is_empty());
        for _ in 0..20 {
            rng.shuffle(&mut all);
            assert_eq!(stands(&all), expected, "seed {seed}: {all:?}");
        }
        // And none that somebody had before them holds over one that is made of it.
        for it in &all {
            assert!(
                !it.over.contains(&Uuid::from_u128(expected.0)),
                "seed {seed}"
            );
        }
    }
    assert!(with_rivals > 50 && decided > 50, "{with_rivals} {decided}");
}
