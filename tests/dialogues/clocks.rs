//! The nights in which the clocks change.

use chrono::{DateTime, FixedOffset, NaiveTime, Utc};
use sayback::residents::Offsets;

use super::*;

/// At -05:00, in 2026: forward by an hour on March 8, at 02:00, and back on November 1, at
/// 02:00.
fn changing() -> Offsets {
    let utc = |text: &str| DateTime::parse_from_rfc3339(text).unwrap().to_utc();
    let hours = |hours: i32| FixedOffset::west_opt(hours * 3600).unwrap();
    let (forward, back) = (utc("2026-03-08T07:00:00Z"), utc("2026-11-01T06:00:00Z"));
    let at = |it: DateTime<Utc>| hours(if (forward..back).contains(&it) { 4 } else { 5 });
    Offsets::between(utc("2026-01-01T00:00:00Z"), utc("2027-01-01T00:00:00Z"), at)
}

/// A round with Rosa Delgado that begins then.
fn at(now: &str) -> Conversation {
    let mut home = Home::from_toml(DEMO).unwrap();
    home.shifts = [7, 15, 23]
        .map(|hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap())
        .to_vec();
    let aide = home.aides[0].clone();
    let mut dialogue = Dialogue::new(home, aide, &Grammar::standard()).unwrap();
    dialogue.set_offsets(changing());
    let mut it = Conversation::begin_at(Box::leak(Box::new(dialogue)), now);
    it.hear("room nine");
    it.hear("yes");
    it
}

fn measured_at(it: &Conversation) -> Vec<String> {
    let readings = it.record.readings();
    readings
        .map(|it| it.record.measured_at.to_rfc3339())
        .collect()
}

#[test]
fn a_late_entry_has_the_offset_that_held_then() {
    let cases = [
        (
            "2026-03-08T03:10:00-04:00",
            "pulse seventy two taken at one fifty a m",
            "taken at one, five zero, before the clocks changed. Yes?",
            "2026-03-08T01:50:00-05:00",
        ),
        (
            "2026-03-08T03:10:10-04:00",
            "pulse seventy two taken half an hour ago",
            "taken at one, four zero, before the clocks changed. Yes?",
            "2026-03-08T01:40:15-05:00",
        ),
        // The hour that is gone through twice: the second, where that is past.
        (
            "2026-11-01T01:10:00-05:00",
            "pulse seventy two taken at one thirty",
            "taken at one, three zero, before the clocks changed. Yes?",
            "2026-11-01T01:30:00-04:00",
        ),
        (
            "2026-11-01T01:50:00-05:00",
            "pulse seventy two taken at one thirty",
            "taken at one, three zero. Yes?",
            "2026-11-01T01:30:00-05:00",
        ),
    ];
    for (now, words, said, expected) in cases {
        let mut it = at(now);
        it.hear(words);
        assert!(it.said.contains(said), "{}", it.said);
        it.hear("yes");
        let taken = measured_at(&it);
        assert_eq!(taken.len(), 1);
        let to_the_minute = |it: &str| {
            Time::parse_from_rfc3339(it)
                .unwrap()
                .format("%F %R %z")
                .to_string()
        };
        assert_eq!(
            to_the_minute(&taken[0]),
            to_the_minute(expected),
            "{words} at {now}"
        );
    }
}

#[test]
fn a_time_that_no_clock_showed_is_refused_in_words() {
    let mut it = at("2026-03-08T03:10:00-04:00");
    it.hear("pulse seventy two taken at two thirty");
    assert!(
        it.said
            .starts_with("The clocks skipped that time. That time can't be."),
        "{}",
        it.said
    );
    it.hear("pulse seventy two taken at three oh five");
    assert!(
        it.said.contains("taken at three, zero five. Yes?"),
        "{}",
        it.said
    );
    it.hear("yes");
    assert_eq!(measured_at(&it), ["2026-03-08T03:05:00-04:00"]);
}

/// What was taken just before a shift began is due in it, whatever the clock showed since.
#[test]
fn a_shift_begins_by_the_clock_of_then() {
    for (before, after, due) in [
        // Taken at 22:50, in the shift before, and looked at in the night.
        (
            "2026-10-31T22:50:00-04:00",
            "2026-11-01T05:30:00-05:00",
            true,
        ),
        (
            "2026-03-07T22:50:00-05:00",
            "2026-03-08T05:30:00-04:00",
            true,
        ),
        // Taken at 23:10, in that of the night.
        (
            "2026-10-31T23:10:00-04:00",
            "2026-11-01T05:30:00-05:00",
            false,
        ),
        (
            "2026-03-07T23:10:00-05:00",
            "2026-03-08T05:30:00-04:00",
            false,
        ),
    ] {
        let mut it = at(before);
        it.hear("pulse seventy two");
        it.hear("yes");
        it.now = Time::parse_from_rfc3339(after).unwrap();
        let pulse = it
            .dialogue
            .due(&it.state, it.now)
            .contains(&sayback::vitals::VitalSign::Pulse);
        assert_eq!(pulse, due, "{before}, then {after}");
    }
}
