//! Where a nurse would look for a reading that was written on paper: with the round in
//! which it was taken, or, where there was none then, with its shift.

use std::cmp::Reverse;

use super::{Entry, Index, Round, Stage};
use crate::facts::{NO_ROUND, Time};
use crate::residents::ResidentId;

impl Index {
    /// The round that a reading was taken in, though it was not recorded there: one that
    /// went on then, and in which that resident was seen, or whose recorder took it, or
    /// that was in the same wing. Of several the first of these in this order, and the one
    /// that began last.
    #[must_use]
    pub fn round_of_paper(
        &self,
        resident: &ResidentId,
        at: Time,
        taken_by: &str,
        now: Time,
    ) -> Option<&Round> {
        let here = self.rounds().filter(|it| went_on(it, at, now));
        let near = here.filter_map(|round| {
            let missed = || self.missed().iter().filter(|it| it.round == round.id);
            let seen =
                round.residents.contains(resident) || missed().any(|it| it.resident == *resident);
            let name = taken_by.split(',').next().unwrap_or_default().trim();
            let by = round.by.name.eq_ignore_ascii_case(name);
            let wing = |it| self.resident(it).map(|it| &it.wing);
            let beside = || {
                let own = wing(resident);
                round.residents.iter().any(|it| wing(it) == own)
            };
            let near = if seen {
                0
            } else if by {
                1
            } else if beside() {
                2
            } else {
                return None;
            };
            Some((near, Reverse((round.opened, round.id)), round))
        });
        near.min_by_key(|it| (it.0, it.1)).map(|it| it.2)
    }

    /// Readings that belong to no round, latest first: a nurse entered them from paper, and
    /// no round that was known then went on when they were taken. One that comes in later,
    /// from a recorder that was offline, does not take them in: it shows them with its shift.
    #[must_use]
    pub fn outside_rounds(&self) -> Vec<&Entry> {
        let by_hand = self.by_hand.iter().filter_map(|it| self.reading(*it));
        let mut outside: Vec<&Entry> = by_hand.filter(|it| it.round == NO_ROUND).collect();
        outside.sort_by_key(|it| Reverse((it.measured_at, it.id)));
        outside
    }
}

/// Whether a round went on then. On paper there are no seconds.
fn went_on(round: &Round, at: Time, now: Time) -> bool {
    let minute = |it: Time| it.timestamp().div_euclid(60);
    let ended = match (round.closed, round.stage(now)) {
        (Some(closed), _) => closed.max(round.last),
        (None, Stage::GoingOn) => now,
        (None, _) => round.last,
    };
    (minute(round.opened)..=minute(ended)).contains(&minute(at))
}
