//! Finding readings.

use chrono::NaiveDate;

use uuid::Uuid;

use super::{ActKind, Entry, Index, Mark, Missed, Note};
use crate::facts::Time;
use crate::residents::{Resident, ResidentId, Staff};
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

/// A remark, about a resident or about one of the resident's readings.
#[derive(Debug, Clone, Copy)]
pub struct Remark<'a> {
    /// The resident.
    pub resident: &'a ResidentId,
    /// The reading it is about, if it is about one.
    pub reading: Option<Uuid>,
    /// When.
    pub at: Time,
    /// Who.
    pub by: &'a Staff,
    /// The remark.
    pub text: &'a str,
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
        let whom = self.whom(query);
        let (list, wanted) = match whom.as_deref() {
            Some([one]) => (self.by_resident.get(*one).map_or(&[][..], |it| it), None),
            Some(several) => {
                let all = self.people.all.iter();
                let wanted: Vec<bool> = all.map(|it| several.contains(&it)).collect();
                (&self.by_time[..], Some(wanted))
            }
            None => (&self.by_time[..], None),
        };
        let part = self.between(list, query);
        if wanted.is_none() && query.takes_all() {
            let page = part.iter().rev().skip(skip).take(take);
            found
                .page
                .extend(page.map(|&at| &self.readings[at as usize]));
            found.total = part.len();
            return found;
        }
        for &at in part.iter().rev() {
            let (mark, at) = (self.marks[at as usize], at as usize);
            let whom = wanted.as_ref().is_none_or(|it| it[mark.who as usize]);
            if !whom || !query.marks(mark) || !query.spans(|| self.readings[at].measured_at) {
                continue;
            }
            if (skip..skip + take).contains(&found.total) {
                found.page.push(&self.readings[at]);
            }
            found.total += 1;
        }
        found
    }

    /// What was not taken and matches, newest first.
    #[must_use]
    pub fn find_missed(&self, query: &Query) -> Vec<&Missed> {
        let who = query.wanted();
        let sign = |it: &Missed| {
            let all = it.signs.is_empty();
            query
                .sign
                .is_none_or(|sign| all || it.signs.contains(&sign))
        };
        let all = self.missed.iter().filter(|it| sign(it));
        let found = all.filter(|it| query.spans(|| it.at) && self.means(&who, &it.resident));
        newest(found, |it| it.at)
    }

    /// What was not taken of a resident, newest first.
    #[must_use]
    pub fn missed_of(&self, resident: &ResidentId) -> Vec<&Missed> {
        let own = self.missed.iter().filter(|it| it.resident == *resident);
        newest(own, |it| it.at)
    }

    /// Remarks that match, newest first. One about a resident is of no vital sign.
    #[must_use]
    pub fn find_remarks(&self, query: &Query) -> Vec<Remark<'_>> {
        let who = query.wanted();
        let about_resident = self.notes.keys().filter(|_| query.sign.is_none());
        let about_resident = about_resident.flat_map(|it| self.remarks_about(it));
        let about_reading = self.acts.keys().filter_map(|it| self.reading(*it));
        let wanted = |it: &&Entry| query.sign.is_none_or(|sign| sign == it.measurement.sign());
        let about_reading = about_reading.filter(wanted);
        let about_reading = about_reading.flat_map(|it| self.remarks_on(it));
        let all = about_resident.chain(about_reading);
        let found = all.filter(|it| query.spans(|| it.at) && self.means(&who, it.resident));
        newest(found, |it| it.at)
    }

    /// Remarks about a resident and about the resident's readings, newest first.
    #[must_use]
    pub fn remarks_of(&self, resident: &ResidentId) -> Vec<Remark<'_>> {
        let on_readings = self
            .readings_of(resident)
            .flat_map(|it| self.remarks_on(it));
        newest(self.remarks_about(resident).chain(on_readings), |it| it.at)
    }

    /// Every remark about a resident, and not about a reading.
    pub fn notes(&self) -> impl Iterator<Item = (&ResidentId, &Note)> {
        let all = self.notes.iter();
        all.flat_map(|(resident, notes)| notes.iter().map(move |it| (resident, it)))
    }

    fn remarks_about(&self, resident: &ResidentId) -> impl Iterator<Item = Remark<'_>> {
        let own = self.notes.get_key_value(resident).into_iter();
        own.flat_map(|(resident, notes)| {
            notes.iter().map(move |it| Remark {
                resident,
                reading: None,
                at: it.at,
                by: &it.by,
                text: &it.text,
            })
        })
    }

    fn remarks_on<'a>(&'a self, entry: &'a Entry) -> impl Iterator<Item = Remark<'a>> {
        self.acts(entry.id)
            .iter()
            .filter_map(move |act| match &act.kind {
                ActKind::Noted(text) => Some(Remark {
                    resident: self.resident_of(entry),
                    reading: Some(entry.id),
                    at: act.at,
                    by: &act.by,
                    text,
                }),
                _ => None,
            })
    }

    /// Whether a search means this resident, of whom there may be no reading; `who` as
    /// [`Query::wanted`] gives it.
    fn means(&self, who: &str, id: &ResidentId) -> bool {
        let named = || self.resident(id).is_some_and(|it| names(it, who));
        who.is_empty() || id.0.to_lowercase() == who || named()
    }

    /// The residents that a search means; `None` for everyone.
    fn whom(&self, query: &Query) -> Option<Vec<&ResidentId>> {
        let who = query.wanted();
        if who.is_empty() {
            return None;
        }
        let all = self.people.all.iter();
        Some(all.filter(|id| self.means(&who, id)).collect())
    }

    /// The part of a list in time that lies between the days sought, with a day
    /// to spare at both ends for clocks of another offset.
    fn between<'a>(&self, list: &'a [u32], query: &Query) -> &'a [u32] {
        let day = |at: &u32| self.readings[*at as usize].measured_at.date_naive();
        let start = query
            .from
            .and_then(|it| it.pred_opt())
            .map_or(0, |from| list.partition_point(|at| day(at) < from));
        let end = query
            .to
            .and_then(|it| it.succ_opt())
            .map_or(list.len(), |to| list.partition_point(|at| day(at) <= to));
        list.get(start..end).unwrap_or_default()
    }
}

fn newest<T>(found: impl Iterator<Item = T>, at: impl Fn(&T) -> Time) -> Vec<T> {
    let mut found: Vec<T> = found.collect();
    found.sort_by_key(|it| std::cmp::Reverse(at(it)));
    found
}

fn names(resident: &Resident, who: &str) -> bool {
    let wing = resident.wing.as_deref().unwrap_or_default();
    resident.room == who || wing.to_lowercase() == who || resident.name.to_lowercase().contains(who)
}

impl Query {
    /// Whether it narrows nothing but who.
    const fn takes_all(&self) -> bool {
        let days = self.from.is_some() || self.to.is_some();
        !(days || self.flagged || self.sign.is_some())
    }

    fn marks(&self, mark: Mark) -> bool {
        (mark.flagged || !self.flagged) && self.sign.is_none_or(|it| it == mark.sign)
    }

    /// Whom it is about, as names are compared.
    fn wanted(&self) -> String {
        self.who.trim().to_lowercase()
    }

    fn spans(&self, at: impl FnOnce() -> Time) -> bool {
        if self.from.is_none() && self.to.is_none() {
            return true;
        }
        let day = at().date_naive();
        self.from.is_none_or(|it| it <= day) && self.to.is_none_or(|it| day <= it)
    }
}
