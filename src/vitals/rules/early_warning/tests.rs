//! The published table in full: both edges of every band of every parameter.

use super::*;
use crate::vitals::history::tests::{at, one, palpated, pressure};
use crate::vitals::{Baselines, HomeLimits, Limits, Measurement, Position, Precautions, Units};

/// A set that scores nought.
fn well() -> Observations {
    Observations {
        respiration: Some(dec!(16)),
        saturation: Some(dec!(97)),
        on_oxygen: Some(false),
        systolic: Some(dec!(120)),
        pulse: Some(dec!(70)),
        alertness: Some(Alertness::Alert),
        celsius: Some(dec!(36.8)),
    }
}

type Part = fn(&mut Observations) -> &mut Option<Decimal>;

/// Both edges of every band: (value, score), from the published table.
fn check(part: Part, edges: &[(Decimal, u8)]) {
    for (value, expected) in edges {
        let mut set = well();
        *part(&mut set) = Some(*value);
        let score = early_warning_score(&set, SaturationScale::One).unwrap();
        assert_eq!(score.total, *expected, "{value}");
    }
}

/// NEWS2, 2017.
#[test]
fn respiration() {
    check(
        |it| &mut it.respiration,
        &[
            (dec!(2), 3),
            (dec!(8), 3),
            (dec!(9), 1),
            (dec!(11), 1),
            (dec!(12), 0),
            (dec!(20), 0),
            (dec!(21), 2),
            (dec!(24), 2),
            (dec!(25), 3),
            (dec!(60), 3),
        ],
    );
}

/// NEWS2, 2017.
#[test]
fn saturation_on_the_first_scale() {
    check(
        |it| &mut it.saturation,
        &[
            (dec!(60), 3),
            (dec!(91), 3),
            (dec!(92), 2),
            (dec!(93), 2),
            (dec!(94), 1),
            (dec!(95), 1),
            (dec!(96), 0),
            (dec!(100), 0),
        ],
    );
}

/// NEWS2, 2017.
#[test]
fn saturation_on_the_second_scale() {
    // (value, on air, on oxygen without the 2 for oxygen itself)
    let edges = [
        (dec!(60), 3, 3),
        (dec!(83), 3, 3),
        (dec!(84), 2, 2),
        (dec!(85), 2, 2),
        (dec!(86), 1, 1),
        (dec!(87), 1, 1),
        (dec!(88), 0, 0),
        (dec!(92), 0, 0),
        (dec!(93), 0, 1),
        (dec!(94), 0, 1),
        (dec!(95), 0, 2),
        (dec!(96), 0, 2),
        (dec!(97), 0, 3),
        (dec!(100), 0, 3),
    ];
    for (value, air, oxygen) in edges {
        for (on_oxygen, expected) in [(false, air), (true, oxygen + 2)] {
            let set = Observations {
                saturation: Some(value),
                on_oxygen: Some(on_oxygen),
                ..well()
            };
            let score = early_warning_score(&set, SaturationScale::Two).unwrap();
            assert_eq!(score.total, expected, "{value} {on_oxygen}");
        }
    }
}

/// NEWS2, 2017.
#[test]
fn systolic_and_pulse() {
    check(
        |it| &mut it.systolic,
        &[
            (dec!(50), 3),
            (dec!(90), 3),
            (dec!(91), 2),
            (dec!(100), 2),
            (dec!(101), 1),
            (dec!(110), 1),
            (dec!(111), 0),
            (dec!(219), 0),
            (dec!(220), 3),
            (dec!(280), 3),
        ],
    );
    check(
        |it| &mut it.pulse,
        &[
            (dec!(20), 3),
            (dec!(40), 3),
            (dec!(41), 1),
            (dec!(50), 1),
            (dec!(51), 0),
            (dec!(90), 0),
            (dec!(91), 1),
            (dec!(110), 1),
            (dec!(111), 2),
            (dec!(130), 2),
            (dec!(131), 3),
            (dec!(200), 3),
        ],
    );
}

/// NEWS2, 2017.
#[test]
fn temperature() {
    check(
        |it| &mut it.celsius,
        &[
            (dec!(30), 3),
            (dec!(35.0), 3),
            (dec!(35.1), 1),
            (dec!(36.0), 1),
            (dec!(36.1), 0),
            (dec!(38.0), 0),
            (dec!(38.1), 1),
            (dec!(39.0), 1),
            (dec!(39.1), 2),
            (dec!(42), 2),
            // Between two printed tenths: rounded to the nearer.
            (dec!(38.04), 0),
            (dec!(38.05), 1),
        ],
    );
}

/// NEWS2, 2017.
#[test]
fn supply_and_alertness() {
    let oxygen = Observations {
        on_oxygen: Some(true),
        ..well()
    };
    let total = |set: &Observations| {
        early_warning_score(set, SaturationScale::One)
            .unwrap()
            .total
    };
    assert_eq!(total(&well()), 0);
    assert_eq!(total(&oxygen), 2);
    for level in Alertness::ALL {
        let set = Observations {
            alertness: Some(level),
            ..well()
        };
        let expected = if level == Alertness::Alert { 0 } else { 3 };
        assert_eq!(total(&set), expected, "{level:?}");
    }
}

#[test]
fn the_most_is_twenty() {
    let worst = Observations {
        respiration: Some(dec!(30)),
        saturation: Some(dec!(80)),
        on_oxygen: Some(true),
        systolic: Some(dec!(80)),
        pulse: Some(dec!(140)),
        alertness: Some(Alertness::Unresponsive),
        celsius: Some(dec!(34)),
    };
    let score = early_warning_score(&worst, SaturationScale::One).unwrap();
    assert_eq!(score.total, 20);
}

#[test]
fn there_is_no_score_from_a_partial_set() {
    let partial = Observations {
        on_oxygen: None,
        alertness: None,
        ..well()
    };
    let missing = early_warning_score(&partial, SaturationScale::One).unwrap_err();
    assert_eq!(missing, [Parameter::Supply, Parameter::Alertness]);
    let nothing = Observations::default();
    let missing = early_warning_score(&nothing, SaturationScale::Two).unwrap_err();
    assert_eq!(missing.len(), 7);
}

#[test]
fn a_set_is_gathered_from_the_last_readings() {
    let air = [Qualifier::Supply(Supply::RoomAir)];
    let per_minute = Unit::PerMinute;
    let history: History = [
        one(at(9, "07:00"), VitalSign::Pulse, dec!(120), per_minute, &[]),
        one(at(9, "08:00"), VitalSign::Pulse, dec!(95), per_minute, &[]),
        one(
            at(9, "08:01"),
            VitalSign::Respiration,
            dec!(22),
            per_minute,
            &[],
        ),
        one(
            at(9, "08:02"),
            VitalSign::OxygenSaturation,
            dec!(94),
            Unit::Percent,
            &air,
        ),
        one(
            at(9, "08:03"),
            VitalSign::Temperature,
            dec!(100.5),
            Unit::Fahrenheit,
            &[],
        ),
        pressure(at(9, "08:04"), dec!(108), dec!(60), Position::Sitting),
        Reading {
            at: at(9, "08:04"),
            measurement: Measurement::alertness(Alertness::Alert),
        },
    ]
    .into_iter()
    .collect();
    let span = TimeDelta::minutes(30);
    let gather = |clock| Observations::gather(&history, at(9, clock), span);
    let score = early_warning_score(&gather("08:05"), SaturationScale::One).unwrap();
    let each: Vec<u8> = score.parts.iter().map(|it| it.1).collect();
    assert_eq!(each, [2, 1, 0, 1, 1, 0, 1]);
    assert_eq!(gather("08:31").missing(), [Parameter::Pulse]);
}

/// The score asks for the systolic alone.
#[test]
fn a_palpated_systolic_is_scored_as_any() {
    let history: History = [palpated(at(9, "08:00"), dec!(96), Position::Lying)]
        .into_iter()
        .collect();
    let set = Observations::gather(&history, at(9, "08:05"), ONE_VISIT);
    assert_eq!(set.systolic, Some(dec!(96)));
}

fn flagged(home: Option<&str>, set: &Observations) -> Option<String> {
    let mut limits = Limits::default();
    if let Some(text) = home {
        limits.set_home(HomeLimits::parse(text, Units::UsCustomary).unwrap());
    }
    let (history, baselines) = (History::default(), Baselines::new());
    let known = Known {
        history: &history,
        baselines: &baselines,
        limits: &limits,
        precautions: &Precautions::default(),
    };
    let score = early_warning_score(set, SaturationScale::One).unwrap();
    early_warning_flag(known, &score).map(|it| it.say)
}

/// NEWS2, 2017: thresholds 5, 7, and any single 3.
#[test]
fn a_home_turns_it_on_and_is_told_from_five() {
    let on = Some("policy = \"P\"\non = \"2026-01-01\"\nearly_warning_score = true");
    let off = Some("policy = \"P\"\non = \"2026-01-01\"");
    let scoring = |respiration, pulse, celsius| Observations {
        respiration: Some(respiration),
        pulse: Some(pulse),
        celsius: Some(celsius),
        on_oxygen: Some(true),
        ..well()
    };
    let four = scoring(dec!(21), dec!(70), dec!(37));
    let five = scoring(dec!(21), dec!(95), dec!(37));
    let six = scoring(dec!(21), dec!(115), dec!(37));
    let seven = scoring(dec!(21), dec!(115), dec!(38.5));
    assert_eq!(flagged(on, &four), None);
    let say = |total, when| {
        Some(format!(
            "Early-warning score {total}. Report to the nurse{when}."
        ))
    };
    assert_eq!(flagged(on, &five), say(5, ""));
    assert_eq!(flagged(on, &six), say(6, ""));
    assert_eq!(flagged(on, &seven), say(7, " now"));
    assert_eq!(flagged(off, &seven), None);
    assert_eq!(flagged(None, &seven), None);
    let single = Observations {
        respiration: Some(dec!(25)),
        ..well()
    };
    let said = flagged(on, &single).unwrap();
    assert_eq!(
        said,
        "Early-warning score 3. Respiration scores 3. Report to the nurse."
    );
}
