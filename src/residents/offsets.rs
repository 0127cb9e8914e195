//! Which offsets from UTC hold when, as the clocks of the home are changed. A value:
//! what goes by the clock stays pure.

use chrono::{DateTime, FixedOffset, NaiveDateTime, TimeDelta, Utc};

/// Nowhere are clocks changed twice within this.
const STEP: TimeDelta = TimeDelta::days(1);

/// The offsets of one place over a stretch of time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offsets {
    first: FixedOffset,
    /// From when on another one holds, in order.
    changes: Vec<(DateTime<Utc>, FixedOffset)>,
}

impl Offsets {
    /// One offset, always.
    #[must_use]
    pub const fn fixed(offset: FixedOffset) -> Self {
        Self {
            first: offset,
            changes: Vec::new(),
        }
    }

    /// The offsets that `at` gives from `from` until `to`. Outside of that the nearest holds.
    #[must_use]
    pub fn between(
        from: DateTime<Utc>,
        to: DateTime<Utc>,
        at: impl Fn(DateTime<Utc>) -> FixedOffset,
    ) -> Self {
        let mut offsets = Self::fixed(at(from));
        let mut before = from;
        while before < to {
            let Some(mut after) = before.checked_add_signed(STEP) else {
                break;
            };
            let next = after;
            let (old, new) = (at(before), at(after));
            if old != new {
                while after - before > TimeDelta::seconds(1) {
                    let middle = before + (after - before) / 2;
                    if at(middle) == old {
                        before = middle;
                    } else {
                        after = middle;
                    }
                }
                // Clocks are changed on a whole second.
                let change = DateTime::from_timestamp(after.timestamp(), 0).unwrap_or(after);
                offsets.changes.push((change, new));
            }
            before = next;
        }
        offsets
    }

    /// A moment as the clock showed it, or will.
    #[must_use]
    pub fn shown(&self, moment: DateTime<FixedOffset>) -> DateTime<FixedOffset> {
        let begun = self.changes.iter().rev();
        let mut begun = begun.filter(|(from, _)| *from <= moment);
        let offset = begun.next().map_or(self.first, |(_, offset)| *offset);
        moment.with_timezone(&offset)
    }

    /// When the clock shows this: once, twice where it is set back, in order, and never
    /// where it is set forward.
    #[must_use]
    pub fn moments(&self, local: NaiveDateTime) -> Vec<DateTime<FixedOffset>> {
        let all = [self.first].into_iter();
        let all = all.chain(self.changes.iter().map(|(_, offset)| *offset));
        let moments = all.filter_map(|offset| local.and_local_timezone(offset).single());
        let mut moments: Vec<_> = moments
            .filter(|it| self.shown(*it).naive_local() == local)
            .collect();
        moments.sort();
        moments.dedup();
        moments
    }

    /// When the clock went past this without showing it.
    #[must_use]
    pub fn skipped(&self, local: NaiveDateTime) -> Option<DateTime<FixedOffset>> {
        if !self.moments(local).is_empty() {
            return None;
        }
        let mut changes = self.changes.iter();
        let past = |from: &DateTime<Utc>, offset: &FixedOffset| {
            from.with_timezone(offset).naive_local() > local
        };
        let (from, offset) = changes.find(|(from, offset)| past(from, offset))?;
        Some(from.with_timezone(offset))
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// The clocks of a place at -05:00, in 2026: forward by an hour on March 8, at 02:00,
    /// and back on November 1, at 02:00.
    pub(crate) fn changing() -> Offsets {
        let utc = |text: &str| DateTime::parse_from_rfc3339(text).unwrap().to_utc();
        let hours = |hours: i32| FixedOffset::west_opt(hours * 3600).unwrap();
        let (forward, back) = (utc("2026-03-08T07:00:00Z"), utc("2026-11-01T06:00:00Z"));
        let at = |it: DateTime<Utc>| hours(if (forward..back).contains(&it) { 4 } else { 5 });
        let from = utc("2026-01-01T12:34:56.789Z");
        Offsets::between(from, utc("2027-01-01T00:00:00Z"), at)
    }

    fn moments(local: &str) -> Vec<String> {
        let moments = changing().moments(local.parse().unwrap());
        moments.iter().map(DateTime::to_rfc3339).collect()
    }

    #[test]
    fn changes_are_found_to_the_second() {
        let changes: Vec<String> = changing()
            .changes
            .iter()
            .map(|(at, offset)| at.with_timezone(offset).to_rfc3339())
            .collect();
        assert_eq!(
            changes,
            ["2026-03-08T03:00:00-04:00", "2026-11-01T01:00:00-05:00"]
        );
    }

    #[test]
    fn a_time_is_shown_once_twice_or_never() {
        assert_eq!(
            moments("2026-03-08T01:59:59"),
            ["2026-03-08T01:59:59-05:00"]
        );
        assert!(moments("2026-03-08T02:00:00").is_empty());
        assert!(moments("2026-03-08T02:59:59").is_empty());
        assert_eq!(
            moments("2026-03-08T03:00:00"),
            ["2026-03-08T03:00:00-04:00"]
        );
        assert_eq!(
            moments("2026-11-01T01:30:00"),
            ["2026-11-01T01:30:00-04:00", "2026-11-01T01:30:00-05:00"]
        );
        assert_eq!(
            moments("2026-11-01T02:00:00"),
            ["2026-11-01T02:00:00-05:00"]
        );
        let skipped = |local: &str| {
            let at = changing().skipped(local.parse().unwrap());
            at.map(|it| it.to_rfc3339())
        };
        assert_eq!(
            skipped("2026-03-08T02:30:00").as_deref(),
            Some("2026-03-08T03:00:00-04:00")
        );
        assert_eq!(skipped("2026-03-08T03:30:00"), None);
    }
}
