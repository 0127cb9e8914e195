//! The time of a late entry: what was said, and now, make a moment.

use chrono::Duration;

use crate::facts::Time;
use crate::grammar::HalfDay;
use crate::residents::Offsets;
use crate::understanding::Taken;

/// How far back a late entry may reach. Older ones belong to the nurse's page.
const LONGEST_AGO: Duration = Duration::hours(24);
/// A time that is so soon to come is a slip, or another clock's, rather than that of half a
/// day ago.
const SOON: Duration = Duration::hours(1);

/// Why a time is none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NoTime {
    /// No clock shows it, or not lately.
    Never,
    /// The clocks were set forward past it.
    Skipped,
}

/// When a reading was measured: now, or the last moment that fits what was said. Of an hour
/// that the clocks went through twice that is the second.
///
/// # Errors
/// [`NoTime`] for a time that is no time, or longer ago than a day.
pub(super) fn measured_at(
    taken: Option<Taken>,
    now: Time,
    offsets: &Offsets,
) -> Result<Time, NoTime> {
    match taken {
        None => Ok(now),
        Some(Taken::MinutesAgo(minutes)) => {
            let ago = Duration::minutes(i64::from(minutes));
            let at = now.checked_sub_signed(ago).filter(|_| ago <= LONGEST_AGO);
            at.map(|it| offsets.shown(it)).ok_or(NoTime::Never)
        }
        Some(Taken::At { hour, minute, half }) => last_at((hour, minute, half), now, offsets),
    }
}

/// The last time before `now` that the clock showed this; without "a m" or
/// "p m" both are meant, where the hour does not say. Not where it will soon show it.
fn last_at(
    (hour, minute, half): (u32, u32, Option<HalfDay>),
    now: Time,
    offsets: &Offsets,
) -> Result<Time, NoTime> {
    let hours = match (hour, half) {
        (1..=12, Some(HalfDay::Am)) => vec![hour % 12],
        (1..=12, Some(HalfDay::Pm)) => vec![hour % 12 + 12],
        (1..=12, None) => vec![hour % 12, hour % 12 + 12],
        (0 | 13..=23, None) => vec![hour],
        _ => return Err(NoTime::Never),
    };
    let today = offsets.shown(now).date_naive();
    let days = [Some(today), today.pred_opt(), today.succ_opt()];
    let days = days.into_iter().flatten();
    let shown = days.flat_map(|day| {
        let times = hours.iter().map(move |hour| (day, *hour));
        times.filter_map(|(day, hour)| day.and_hms_opt(hour, minute, 0))
    });
    let mut last: Option<(Time, bool)> = None;
    for local in shown {
        let mut moments = offsets.moments(local);
        let skipped = moments.is_empty();
        moments.extend(offsets.skipped(local));
        let past = moments.iter().filter(|it| **it <= now).max();
        match past {
            Some(at) => last = last.max(Some((*at, skipped))),
            None if moments.iter().any(|it| *it - now <= SOON) => return Err(NoTime::Never),
            None => {}
        }
    }
    match last {
        Some((at, false)) => Ok(at),
        Some((_, true)) => Err(NoTime::Skipped),
        None => Err(NoTime::Never),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::residents::changing;

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
            let offsets = Offsets::fixed(*now.offset());
            let found = measured_at(taken, now, &offsets);
            assert_eq!(found, expected.map(at).ok_or(NoTime::Never), "{taken:?}");
        }
    }

    #[test]
    fn a_late_entry_has_the_offset_that_held_then() {
        let (am, pm) = (Some(HalfDay::Am), Some(HalfDay::Pm));
        let forward = "2026-03-08T03:10:00-04:00";
        let (first, second) = ("2026-11-01T01:40:00-04:00", "2026-11-01T01:10:00-05:00");
        let later = "2026-11-01T07:10:00-05:00";
        let cases = [
            (forward, clock(11, 0, pm), Ok("2026-03-07T23:00:00-05:00")),
            (forward, clock(1, 50, am), Ok("2026-03-08T01:50:00-05:00")),
            (forward, clock(2, 30, am), Err(NoTime::Skipped)),
            // Rather than half a day ago.
            (forward, clock(2, 30, None), Err(NoTime::Skipped)),
            (forward, clock(2, 30, pm), Ok("2026-03-07T14:30:00-05:00")),
            (
                forward,
                Taken::MinutesAgo(30),
                Ok("2026-03-08T01:40:00-05:00"),
            ),
            // Before the hour is gone through again, between both, and after them.
            (first, clock(1, 30, am), Ok("2026-11-01T01:30:00-04:00")),
            (second, clock(1, 30, am), Ok("2026-11-01T01:30:00-04:00")),
            (second, clock(1, 5, am), Ok("2026-11-01T01:05:00-05:00")),
            (
                second,
                Taken::MinutesAgo(20),
                Ok("2026-11-01T01:50:00-04:00"),
            ),
            (later, clock(1, 30, am), Ok("2026-11-01T01:30:00-05:00")),
            (later, clock(11, 0, pm), Ok("2026-10-31T23:00:00-04:00")),
        ];
        for (now, taken, expected) in cases {
            let found = measured_at(Some(taken), at(now), &changing());
            let found = found.map(|it| it.to_rfc3339());
            let found = found.as_deref().map_err(|it| *it);
            assert_eq!(found, expected, "{taken:?} at {now}");
        }
    }
}
