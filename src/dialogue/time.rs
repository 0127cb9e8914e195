//! The time of a late entry: what was said, and now, make a moment.

use chrono::{Duration, Timelike};

use crate::facts::Time;
use crate::grammar::HalfDay;
use crate::understanding::Taken;

/// How far back a late entry may reach. Older ones belong to the nurse's page.
const LONGEST_AGO: Duration = Duration::hours(24);
/// A time that is so soon to come is a slip, or another clock's, rather than that of half a
/// day ago.
const SOON: Duration = Duration::hours(1);

/// When a reading was measured: now, or the last moment that fits what was
/// said. `None` for a time that is no time, or longer ago than a day.
pub(super) fn measured_at(taken: Option<Taken>, now: Time) -> Option<Time> {
    match taken {
        None => Some(now),
        Some(Taken::MinutesAgo(minutes)) => {
            let ago = Duration::minutes(i64::from(minutes));
            (ago <= LONGEST_AGO).then(|| now.checked_sub_signed(ago))?
        }
        Some(Taken::At { hour, minute, half }) => last_at(hour, minute, half, now),
    }
}

/// The last time before `now` that the clock showed this; without "a m" or
/// "p m" both are meant, where the hour does not say. None where it will soon show it.
fn last_at(hour: u32, minute: u32, half: Option<HalfDay>, now: Time) -> Option<Time> {
    let hours = match (hour, half) {
        (1..=12, Some(HalfDay::Am)) => vec![hour % 12],
        (1..=12, Some(HalfDay::Pm)) => vec![hour % 12 + 12],
        (1..=12, None) => vec![hour % 12, hour % 12 + 12],
        (0 | 13..=23, None) => vec![hour],
        _ => return None,
    };
    let clock = |day: Time, hour: u32| {
        day.with_hour(hour)?
            .with_minute(minute)?
            .with_second(0)?
            .with_nanosecond(0)
    };
    let day = LONGEST_AGO;
    let days = [
        Some(now),
        now.checked_sub_signed(day),
        now.checked_add_signed(day),
    ];
    let each = days.into_iter().flatten();
    let moments = each.flat_map(|day| hours.iter().filter_map(move |hour| clock(day, *hour)));
    let (past, future): (Vec<Time>, Vec<Time>) = moments.partition(|it| *it <= now);
    let soon = future.iter().any(|it| *it - now <= SOON);
    past.into_iter().max().filter(|_| !soon)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Time {
        Time::parse_from_rfc3339(text).unwrap()
    }

    const fn clock(hour: u32, minute: u32, half: Option<HalfDay>) -> Taken {
        Taken::At { hour, minute, half }
    }

    #[test]
    fn a_late_entry_is_the_last_time_that_fits() {
        let now = at("2026-03-02T14:05:30+01:00");
        let cases = [
            (None, Some("2026-03-02T14:05:30+01:00")),
            (Some(clock(10, 15, None)), Some("2026-03-02T10:15:00+01:00")),
            (Some(clock(2, 0, None)), Some("2026-03-02T14:00:00+01:00")),
            (Some(clock(2, 30, None)), None),
            (
                Some(clock(2, 30, Some(HalfDay::Am))),
                Some("2026-03-02T02:30:00+01:00"),
            ),
            (Some(clock(3, 30, None)), Some("2026-03-02T03:30:00+01:00")),
            (Some(clock(0, 15, None)), Some("2026-03-02T00:15:00+01:00")),
            (Some(clock(23, 5, None)), Some("2026-03-01T23:05:00+01:00")),
            (
                Some(clock(11, 0, Some(HalfDay::Pm))),
                Some("2026-03-01T23:00:00+01:00"),
            ),
            (
                Some(clock(12, 0, Some(HalfDay::Am))),
                Some("2026-03-02T00:00:00+01:00"),
            ),
            (
                Some(Taken::MinutesAgo(20)),
                Some("2026-03-02T13:45:30+01:00"),
            ),
            (Some(Taken::MinutesAgo(1441)), None),
            (Some(clock(13, 0, None)), Some("2026-03-02T13:00:00+01:00")),
            (Some(clock(13, 0, Some(HalfDay::Pm))), None),
            (Some(clock(24, 0, None)), None),
            (Some(clock(10, 75, None)), None),
        ];
        for (taken, expected) in cases {
            assert_eq!(measured_at(taken, now), expected.map(at), "{taken:?}");
        }
    }
}
