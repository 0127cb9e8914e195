//! What is due, and how often.

use chrono::{DateTime, Datelike, Days, FixedOffset, NaiveTime};
use serde::{Deserialize, Serialize};

use super::Offsets;
use crate::vitals::VitalSign;

/// How often a vital sign is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Frequency {
    /// Once a shift.
    EveryShift,
    /// Once a calendar day.
    Daily,
    /// Once in seven days.
    Weekly,
    /// Once a calendar month.
    Monthly,
    /// Once, after admission.
    OnAdmission,
    /// Only when someone asks.
    AsAsked,
}

impl Frequency {
    /// Every frequency.
    pub const ALL: [Self; 6] = [
        Self::EveryShift,
        Self::Daily,
        Self::Weekly,
        Self::Monthly,
        Self::OnAdmission,
        Self::AsAsked,
    ];

    /// The name as written in the home's files.
    #[must_use]
    pub const fn tag(self) -> &'static str {
        match self {
            Self::EveryShift => "every_shift",
            Self::Daily => "daily",
            Self::Weekly => "weekly",
            Self::Monthly => "monthly",
            Self::OnAdmission => "on_admission",
            Self::AsAsked => "as_asked",
        }
    }

    /// How often a vital sign is due where the care plan says nothing: weight
    /// monthly, height on admission, oxygen flow and alertness when asked, all
    /// others every shift. Common practice, no source.
    #[must_use]
    pub const fn default_for(sign: VitalSign) -> Self {
        match sign {
            VitalSign::Weight => Self::Monthly,
            VitalSign::Height => Self::OnAdmission,
            VitalSign::OxygenFlow | VitalSign::Alertness => Self::AsAsked,
            _ => Self::EveryShift,
        }
    }

    /// Whether a vital sign last taken at `last` is due at `now`, in a shift
    /// that began at `shift`. Days and months are those that the clock showed then.
    #[must_use]
    pub fn is_due(
        self,
        last: Option<DateTime<FixedOffset>>,
        now: DateTime<FixedOffset>,
        shift: DateTime<FixedOffset>,
    ) -> bool {
        let Some(last) = last else {
            return self != Self::AsAsked;
        };
        let (then, today) = (last.date_naive(), now.date_naive());
        match self {
            Self::EveryShift => last < shift,
            Self::Daily => then < today,
            Self::Weekly => then + Days::new(7) <= today,
            Self::Monthly => (then.year(), then.month()) < (today.year(), today.month()),
            Self::OnAdmission | Self::AsAsked => false,
        }
    }
}

/// The start of the shift that `now` lies in, of a home whose shifts begin at
/// `shifts` every day; midnight where it names none. A shift begins when the clock first
/// shows its time, or goes past it.
#[must_use]
pub fn shift_start(
    shifts: &[NaiveTime],
    now: DateTime<FixedOffset>,
    offsets: &Offsets,
) -> DateTime<FixedOffset> {
    let shifts = match shifts {
        [] => &[NaiveTime::MIN],
        all => all,
    };
    let today = offsets.shown(now).date_naive();
    // Before the day's first shift, the last one of yesterday still runs.
    let days = [Some(today), today.pred_opt()].into_iter().flatten();
    let starts = days.flat_map(|day| shifts.iter().map(move |start| day.and_time(*start)));
    let begun = starts.filter_map(|local| {
        let first = offsets.moments(local).into_iter().next();
        first.or_else(|| offsets.skipped(local))
    });
    begun.filter(|it| *it <= now).max().unwrap_or(now)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::residents::changing;

    fn at(text: &str) -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339(&format!("{text}:00-05:00")).unwrap()
    }

    fn due(frequency: Frequency, last: &str, now: &str) -> bool {
        let shifts = [7, 15, 23].map(|hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap());
        let now = at(now);
        let offsets = Offsets::fixed(*now.offset());
        frequency.is_due(Some(at(last)), now, shift_start(&shifts, now, &offsets))
    }

    /// Common practice, no source.
    #[test]
    fn each_frequency_at_and_around_its_boundary() {
        let shift = Frequency::EveryShift;
        assert!(due(shift, "2026-03-09T06:59", "2026-03-09T07:00"));
        assert!(!due(shift, "2026-03-09T07:00", "2026-03-09T14:59"));
        assert!(due(shift, "2026-03-09T22:59", "2026-03-10T03:00"));
        assert!(!due(shift, "2026-03-09T23:00", "2026-03-10T03:00"));
        assert!(due(
            Frequency::Daily,
            "2026-03-09T23:59",
            "2026-03-10T00:00"
        ));
        assert!(!due(
            Frequency::Daily,
            "2026-03-10T00:00",
            "2026-03-10T23:59"
        ));
        assert!(!due(
            Frequency::Weekly,
            "2026-03-03T08:00",
            "2026-03-09T20:00"
        ));
        assert!(due(
            Frequency::Weekly,
            "2026-03-03T08:00",
            "2026-03-10T06:00"
        ));
        assert!(!due(
            Frequency::Monthly,
            "2026-03-01T08:00",
            "2026-03-31T08:00"
        ));
        assert!(due(
            Frequency::Monthly,
            "2026-03-31T08:00",
            "2026-04-01T06:00"
        ));
        assert!(due(
            Frequency::Monthly,
            "2025-12-31T08:00",
            "2026-01-01T06:00"
        ));
        assert!(!due(
            Frequency::OnAdmission,
            "2020-03-31T08:00",
            "2026-04-01T06:00"
        ));
        assert!(!due(
            Frequency::AsAsked,
            "2020-03-31T08:00",
            "2026-04-01T06:00"
        ));
    }

    #[test]
    fn what_was_never_taken_is_due() {
        let now = at("2026-03-09T08:00");
        for frequency in Frequency::ALL {
            let expected = frequency != Frequency::AsAsked;
            assert_eq!(frequency.is_due(None, now, now), expected, "{frequency:?}");
        }
    }

    #[test]
    fn a_home_without_shifts_counts_from_midnight() {
        let now = at("2026-03-09T08:00");
        let offsets = Offsets::fixed(*now.offset());
        assert_eq!(shift_start(&[], now, &offsets), at("2026-03-09T00:00"));
    }

    #[test]
    fn a_shift_begins_by_the_clock_of_then() {
        let start = |shifts: &[&str], now: &str| {
            let shifts: Vec<NaiveTime> = shifts.iter().map(|it| it.parse().unwrap()).collect();
            let now = DateTime::parse_from_rfc3339(now).unwrap();
            shift_start(&shifts, now, &changing()).to_rfc3339()
        };
        let all = ["07:00:00", "15:00:00", "23:00:00"];
        // The night in which the clocks go forward, and that in which they go back.
        assert_eq!(
            start(&all, "2026-03-08T03:10:00-04:00"),
            "2026-03-07T23:00:00-05:00"
        );
        assert_eq!(
            start(&all, "2026-11-01T01:10:00-05:00"),
            "2026-10-31T23:00:00-04:00"
        );
        assert_eq!(
            start(&all, "2026-11-01T07:10:00-05:00"),
            "2026-11-01T07:00:00-05:00"
        );
        // A time that is shown twice, or never.
        assert_eq!(
            start(&["01:30:00"], "2026-11-01T01:10:00-05:00"),
            "2026-11-01T01:30:00-04:00"
        );
        assert_eq!(
            start(&["02:30:00"], "2026-03-08T03:10:00-04:00"),
            "2026-03-08T03:00:00-04:00"
        );
    }
}
