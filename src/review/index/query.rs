//! Finding readings.

use chrono::NaiveDate;

use super::{Entry, Index};
use crate::residents::{Resident, ResidentId};
use crate::vitals::VitalSign;

/// What is looked for. What is left empty does not narrow the search.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Query {
    /// A part of a resident's name, the room, the wing, or the identifier.
    pub who: String,
    /// First day of measurement.
    pub from: Option<NaiveDate>,
    /// Last day of measurement.
    pub to: Option<NaiveDate>,
    /// The vital sign.
    pub sign: Option<VitalSign>,
    /// Only readings that crossed a limit.
    pub flagged: bool,
}

/// One page of what was found.
#[derive(Debug)]
pub struct Found<'a> {
    /// The readings of this page, newest first.
    pub page: Vec<&'a Entry>,
    /// How many there are in all.
    pub total: usize,
}

impl Index {
    /// Readings that match, newest first: the ones from `skip` on, `take` at
    /// most. Retracted ones are among them, since the record keeps them.
    #[must_use]
    pub fn find(&self, query: &Query, skip: usize, take: usize) -> Found<'_> {
        let mut found = Found {
            page: Vec::with_capacity(take),
            total: 0,
        };
        let mut add = |entry| {
            if (skip..skip + take).contains(&found.total) {
                found.page.push(entry);
            }
            found.total += 1;
        };
        let matching = |it: &&Entry| query.matches(it);
        let whom = self.whom(&query.who);
        match whom.as_deref() {
            Some([one]) => self
                .between(self.by_resident.get(*one).map_or(&[], |it| it), query)
                .filter(matching)
                .for_each(&mut add),
            Some(several) => {
                let wanted: Vec<bool> = {
                    let all = self.people.all.iter();
                    all.map(|it| several.contains(&it)).collect()
                };
                self.between(&self.by_time, query)
                    .filter(|it| wanted[it.who as usize] && query.matches(it))
                    .for_each(&mut add);
            }
            None => self
                .between(&self.by_time, query)
                .filter(matching)
                .for_each(&mut add),
        }
        found
    }

    /// The residents that a search for `who` means; `None` for everyone.
    fn whom(&self, who: &str) -> Option<Vec<&ResidentId>> {
        let who = who.trim().to_lowercase();
        if who.is_empty() {
            return None;
        }
        let all = self.people.all.iter();
        let meant = all.filter(|id| {
            id.0.to_lowercase() == who || self.home.resident(id).is_some_and(|it| names(it, &who))
        });
        Some(meant.collect())
    }

    /// The part of a list in time that lies between the days sought, with a day
    /// to spare at both ends for clocks of another offset; newest first.
    fn between<'a>(&'a self, list: &'a [u32], query: &Query) -> impl Iterator<Item = &'a Entry> {
        let day = |at: &u32| self.readings[*at as usize].measured_at.date_naive();
        let start = query
            .from
            .and_then(|it| it.pred_opt())
            .map_or(0, |from| list.partition_point(|at| day(at) < from));
        let end = query
            .to
            .and_then(|it| it.succ_opt())
            .map_or(list.len(), |to| list.partition_point(|at| day(at) <= to));
        let part = list.get(start..end).unwrap_or_default();
        part.iter().rev().map(|&at| &self.readings[at as usize])
    }
}

fn names(resident: &Resident, who: &str) -> bool {
    let wing = resident.wing.as_deref().unwrap_or_default();
    resident.room == who || wing.to_lowercase() == who || resident.name.to_lowercase().contains(who)
}

impl Query {
    fn matches(&self, entry: &Entry) -> bool {
        if self.flagged && !entry.flagged {
            return false;
        }
        if self.sign.is_some_and(|it| it != entry.measurement.sign()) {
            return false;
        }
        if self.from.is_none() && self.to.is_none() {
            return true;
        }
        let day = entry.measured_at.date_naive();
        self.from.is_none_or(|it| it <= day) && self.to.is_none_or(|it| day <= it)
    }
}
