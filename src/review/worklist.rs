//! What needs a nurse, in the order in which it does.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use chrono::TimeDelta;
use rust_decimal::Decimal;
use uuid::Uuid;

use super::acts::is_urgent_score;
use super::fields::Fields;
use super::index::{Entry, Flag, Held, Index, Missed, Note, Recheck, Stage};
use super::now::Now;
use crate::facts::{NO_ROUND, Pending, Raised, Time};
use crate::residents::{Resident, ResidentId, Staff, shift_start};
use crate::vitals::rules::Rule;
use crate::vitals::{Finding, Side, VitalSign};

/// Below this confidence of the recogniser a reading is shown to the nurse,
/// although the aide heard it read back and said yes. Above the confidence under
/// which the aide is asked again at once.
pub const SURE: f32 = 0.9;

/// Spans that may be chosen, in hours.
pub const SPANS: [u32; 5] = [8, 24, 72, 168, 720];
const USUAL_SPAN: u32 = 24;

/// What was offered so long ago, and never answered, waits for nobody.
const LEFT: TimeDelta = TimeDelta::minutes(5);

/// What is shown of the worklist.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Filter {
    /// Only this wing.
    pub wing: String,
    /// Only this room.
    pub room: String,
    /// Only this round.
    pub round: Option<Uuid>,
    /// Only what this aide recorded.
    pub aide: String,
    /// Only the last so many hours.
    pub hours: u32,
}

impl Filter {
    /// The filter that a query describes.
    #[must_use]
    pub fn of(fields: &Fields) -> Self {
        let hours = fields.get("hours").parse().ok();
        Self {
            wing: fields.get("wing").to_owned(),
            room: fields.get("room").to_owned(),
            round: fields.id("round"),
            aide: fields.get("aide").to_owned(),
            hours: hours.filter(|it| SPANS.contains(it)).unwrap_or(USUAL_SPAN),
        }
    }

    fn admits(&self, index: &Index, resident: &ResidentId, by: &Staff, round: Uuid) -> bool {
        let anywhere = self.wing.is_empty() && self.room.is_empty();
        let resident = || index.home().resident(resident);
        (anywhere || resident().is_some_and(|it| self.covers(it)))
            && (self.aide.is_empty() || by.name == self.aide)
            && self.round.is_none_or(|it| it == round)
    }

    /// Whether the resident lives where the filter looks.
    fn covers(&self, resident: &Resident) -> bool {
        (self.wing.is_empty() || resident.wing.as_deref() == Some(&*self.wing))
            && (self.room.is_empty() || resident.room == self.room)
    }
}

/// A resident with what was taken in the time shown, and what is due.
#[derive(Debug)]
pub struct Row<'a> {
    /// The resident.
    pub resident: &'a Resident,
    /// The last reading of each vital sign in the time shown.
    pub taken: Vec<&'a Entry>,
    /// What is due now.
    pub due: Vec<VitalSign>,
}

/// The worklist.
#[derive(Debug)]
pub struct Worklist<'a> {
    /// Reports that no nurse has yet, however old: first those of values far from the usual
    /// and of scores to be reported at once, then the others; of each the oldest first.
    pub reports: Vec<&'a Flag>,
    /// Changed by two who did not know of each other, and not looked at; however old.
    pub apart: Vec<&'a Entry>,
    /// What aides noted for the nurse in a round: how a resident feels.
    pub remarks: Vec<(&'a ResidentId, &'a Note)>,
    /// Read back twice and never answered.
    pub held: Vec<&'a Held>,
    /// Begun or read back when the recorder stopped, when that was, and in which round.
    pub pending: Vec<(&'a Pending, Time, Uuid)>,
    /// Kept, with words the recogniser was not sure of.
    pub unsure: Vec<&'a Entry>,
    /// Kept although far from the usual.
    pub unlikely: Vec<&'a Entry>,
    /// Not taken.
    pub missed: Vec<&'a Missed>,
    /// Rechecks asked for and not taken yet.
    pub rechecks: Vec<&'a Recheck>,
    /// Residents, by room and bed.
    pub rows: Vec<Row<'a>>,
    /// Rounds that have ended and that no nurse has signed.
    pub unsigned: usize,
    /// Rounds that nobody ended and that nothing was recorded in for hours.
    pub not_ended: usize,
}

impl<'a> Worklist<'a> {
    /// Makes the worklist. What belongs to a round that a nurse has signed has
    /// been seen, and is left out; open reports never are.
    #[must_use]
    pub fn of(index: &'a Index, filter: &Filter, now: Now<'_>) -> Self {
        let from = now.at - TimeDelta::hours(i64::from(filter.hours));
        let admits = |resident: &ResidentId, by: &Staff, round: Uuid| {
            filter.admits(index, resident, by, round)
        };
        let unseen = |round: Uuid| index.round(round).is_none_or(|it| !it.is_seen());
        // Put into a round that was signed before, it was not seen with that.
        let put_there = |entry: &Entry| {
            let round = index.round(entry.round);
            round.is_some_and(|it| it.since_signed.changed.contains(&entry.id))
        };
        let recent: Vec<&Entry> = index
            .since(from)
            .filter(|it| !it.retracted)
            .filter(|it| admits(index.resident_of(it), index.recorder_of(it), it.round))
            .collect();
        // A correction settles what the recogniser was unsure of.
        let open = || {
            let newest_first = recent.iter().rev().copied();
            newest_first.filter(|it| !it.corrected() && (unseen(it.round) || put_there(it)))
        };
        let rounds = |stage| {
            index
                .rounds()
                .filter(|it| it.stage(now.at) == stage)
                .count()
        };
        Self {
            reports: urgent_first(index, |it| admits(&it.resident, &it.by, it.round)),
            apart: index
                .changed_apart()
                .filter(|it| admits(index.resident_of(it), index.recorder_of(it), it.round))
                .collect(),
            remarks: remarks(index, |resident, it| {
                it.at >= from && unseen(it.round) && admits(resident, &it.by, it.round)
            }),
            held: newest(index.held(), |it| it.at >= from && unseen(it.round))
                .filter(|it| admits(&it.resident, &it.by, it.round))
                .collect(),
            pending: index
                .pending()
                .filter(|(it, at, round)| {
                    let by = index.round(*round).map(|it| it.by.clone());
                    let by = by.unwrap_or_else(|| Staff {
                        name: String::new(),
                        title: String::new(),
                    });
                    now.at - *at > LEFT
                        && *at >= from
                        && unseen(*round)
                        && admits(&it.resident, &by, *round)
                })
                .map(|(it, at, round)| (it, *at, *round))
                .collect(),
            unsure: open().filter(|it| it.confidence < SURE).collect(),
            unlikely: open().filter(|it| it.second_look).collect(),
            missed: newest(index.missed(), |it| it.at >= from && unseen(it.round))
                .filter(|it| admits(&it.resident, &it.by, it.round))
                .collect(),
            rechecks: index
                .open_rechecks()
                .filter(|it| {
                    let resident = index.home().resident(&it.resident);
                    resident.is_none_or(|it| filter.covers(it))
                })
                .collect(),
            rows: rows(index, filter, &recent, now),
            unsigned: rounds(Stage::Unsigned),
            not_ended: rounds(Stage::NotEnded),
        }
    }
}

/// Open reports, the urgent ones first: a page shows so many, and none of those may be
/// behind its end. Common practice, no source.
fn urgent_first(index: &Index, wanted: impl Fn(&Flag) -> bool) -> Vec<&Flag> {
    let mut reports: Vec<&Flag> = index.open_reports().filter(|it| wanted(it)).collect();
    // A score is worked out for it: once for each.
    reports.sort_by_cached_key(|it| !is_urgent(index, it));
    reports
}

/// Whether a report is of a value far from the usual that was confirmed all the same, or of
/// a score from which on the nurse is told at once.
#[must_use]
pub fn is_urgent(index: &Index, flag: &Flag) -> bool {
    match &flag.raised {
        Raised::Limit(_) => index.reading(flag.reading).is_some_and(|it| it.second_look),
        Raised::Rule(it) => {
            let reading = index.reading(flag.reading);
            it.rule == Rule::EarlyWarning && reading.is_none_or(|it| is_urgent_score(index, it))
        }
    }
}

/// Remarks of rounds that are wanted, newest first.
fn remarks(
    index: &Index,
    wanted: impl Fn(&ResidentId, &Note) -> bool,
) -> Vec<(&ResidentId, &Note)> {
    let in_rounds = index.notes().filter(|(_, it)| it.round != NO_ROUND);
    let mut found: Vec<_> = in_rounds.filter(|(who, it)| wanted(who, it)).collect();
    found.sort_by_key(|(_, it)| Reverse(it.at));
    found
}

/// The part of a list at its end that is wanted, newest first. A late arrival
/// may stand among older ones, so the whole list is looked at.
fn newest<T>(all: &[T], wanted: impl Fn(&T) -> bool) -> impl Iterator<Item = &T> {
    all.iter().rev().filter(move |it| wanted(it))
}

fn rows<'a>(index: &'a Index, filter: &Filter, recent: &[&'a Entry], now: Now<'_>) -> Vec<Row<'a>> {
    let mut taken: BTreeMap<&ResidentId, BTreeMap<VitalSign, &Entry>> = BTreeMap::new();
    for entry in recent {
        let own = taken.entry(index.resident_of(entry)).or_default();
        own.insert(entry.measurement.sign(), entry);
    }
    let narrowed = filter.round.is_some() || !filter.aide.is_empty();
    let home = index.home();
    let shift = shift_start(&home.shifts, now.at, now.offsets);
    let mut rows: Vec<Row<'_>> = home
        .residents
        .iter()
        .filter(|it| filter.covers(it))
        .filter(|it| !narrowed || taken.contains_key(&it.id))
        .map(|resident| Row {
            resident,
            taken: taken
                .get(&resident.id)
                .map_or_else(Vec::new, |it| it.values().copied().collect()),
            due: due(index, resident, shift, now),
        })
        .collect();
    rows.sort_by_key(|it| {
        let room: u32 = it.resident.room.parse().unwrap_or(u32::MAX);
        (room, it.resident.bed.clone())
    });
    rows
}

/// What a resident's care plan says is due now.
#[must_use]
pub fn due(index: &Index, resident: &Resident, shift: Time, now: Now<'_>) -> Vec<VitalSign> {
    let is_due = |sign: &VitalSign| {
        let last = index.last(&resident.id, *sign);
        let last = last.map(|it| now.shown(it.measured_at));
        resident.care.frequency(*sign).is_due(last, now.at, shift)
    };
    VitalSign::ALL.into_iter().filter(is_due).collect()
}

/// How far beyond the range a value lies: the distance and the end it passed,
/// in the unit as said.
#[must_use]
pub fn how_far(it: &Finding) -> (Decimal, Decimal) {
    let bounds = it.bounds.beside(it.value);
    let end = match it.side {
        Side::Above => bounds.high,
        Side::Below => bounds.low,
    };
    ((it.value.value() - end).abs().normalize(), end)
}

/// The name of what was raised: a vital sign or a part of it, or the score.
#[must_use]
pub const fn about(it: &Raised) -> &'static str {
    match it {
        Raised::Limit(finding) => finding.name(),
        Raised::Rule(flag) => match flag.sign {
            Some(sign) => sign.name(),
            None => "early-warning score",
        },
    }
}
