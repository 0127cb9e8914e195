//! What a nurse's change of a reading does to the early-warning score of its visit.

use uuid::Uuid;

use super::{Acting, NewFact, history};
use crate::facts::{Body, Raised, Time};
use crate::residents::ResidentId;
use crate::review::index::{Entry, Index};
use crate::vitals::rules::{
    self, ONE_VISIT, early_warning_of_visit, is_to_be_told_at_once, settle_scores,
};
use crate::vitals::{History, Measurement, Reading, VitalSign};

/// One reading of a resident before and after an act.
pub(super) struct Changed<'a> {
    /// The fact of the reading.
    pub reading: Uuid,
    /// Whose it is.
    pub resident: &'a ResidentId,
    /// The round that the act belongs to.
    pub round: Uuid,
    /// When it was measured and what held; none where it was not in the record.
    pub was: Option<(Time, &'a Measurement)>,
    /// When it was measured and what holds; none where it does not stand any more.
    pub now: Option<(Time, &'a Measurement)>,
    /// The fact by which it holds now.
    pub of: Uuid,
}

impl<'a> Changed<'a> {
    /// A reading that is in the record, as it is before the act.
    pub fn of(
        index: &'a Index,
        entry: &'a Entry,
        (now, of): (Option<(Time, &'a Measurement)>, Uuid),
    ) -> Self {
        Self {
            reading: entry.id,
            resident: index.resident_of(entry),
            round: entry.round,
            was: Some((entry.measured_at, &entry.measurement)),
            now,
            of,
        }
    }
}

/// Judges the score anew of each visit that an act is about: one that does not hold any
/// more is withdrawn, and what holds instead is reported. It stays open, unlike what a
/// correction itself raises: whoever typed a pulse has not seen what that makes of the
/// score.
pub(super) fn scored_again(index: &Index, it: &Changed<'_>, acting: &Acting) -> Vec<NewFact> {
    let Some(resident) = index.home().resident(it.resident) else {
        return Vec::new();
    };
    let moments = [it.was, it.now].into_iter().flatten();
    let mut visits: Vec<Time> = moments
        .map(|(at, _)| visit_ended(index, it.resident, at))
        .collect();
    visits.dedup();
    let mut facts = Vec::new();
    let mut withdrawn: Vec<Uuid> = Vec::new();
    for ended in visits {
        let score = |reading: Option<(Time, &Measurement)>| {
            let history = history(index, it.resident, it.reading, reading);
            // By what the home had turned on then.
            let on = resident.limits.home().since() <= Some(ended.date_naive());
            let score = on.then(|| early_warning_of_visit(resident.known(&history), ended));
            score.flatten().map(|(_, flag)| flag)
        };
        let now = score(it.now);
        if now == score(it.was) {
            continue;
        }
        let raised: Vec<(Uuid, &rules::Flag)> = of_visit(index, it.resident, ended)
            .flat_map(|it| index.flags_of(it.id))
            .filter(|it| !index.is_withdrawn(it.id) && !withdrawn.contains(&it.id))
            .filter_map(|it| Some((it.id, it.raised.score()?)))
            .collect();
        let (gone, new) = settle_scores(raised, now);
        if !gone.is_empty() {
            withdrawn.extend(&gone);
            let body = Body::Withdrawn {
                flags: gone,
                resident: resident.id.clone(),
                reading: it.reading,
            };
            facts.push(acting.fact(it.round, body));
        }
        let here = |(at, _): &(Time, _)| *at <= ended && ended - *at <= ONE_VISIT;
        // What was retracted, or belongs to another visit, carries no report of this one.
        let mut left = of_visit(index, it.resident, ended).filter(|one| one.id != it.reading);
        let carrier = match it.now.filter(here) {
            Some(_) => Some((it.reading, it.of)),
            None => left.next_back().map(|it| (it.id, it.version)),
        };
        if let Some(flag) = new
            && let Some((reading, of)) = carrier
        {
            let body = Raised::Rule(flag).into_body(reading, resident.id.clone(), of);
            facts.push(acting.fact(it.round, body));
        }
    }
    facts
}

/// Whether the score of the visit of a reading is one from which on the nurse is told at
/// once, by what stands and by the limits in force. Where that can't be told it is taken
/// for one: a report must not fall behind others because something is not known.
pub fn is_urgent_score(index: &Index, reading: &Entry) -> bool {
    let of = index.resident_of(reading);
    let Some(resident) = index.home().resident(of) else {
        return true;
    };
    let ended = visit_ended(index, of, reading.measured_at);
    let visit = of_visit(index, of, ended).map(|it| Reading {
        at: it.measured_at,
        measurement: (*it.measurement).clone(),
    });
    let visit: History = visit.collect();
    is_to_be_told_at_once(resident.known(&visit), ended).unwrap_or(true)
}

/// The readings of the visit of a reading that its score is made from.
pub fn scored_with<'a>(index: &'a Index, reading: &Entry) -> Vec<&'a Entry> {
    let of = index.resident_of(reading);
    let ended = visit_ended(index, of, reading.measured_at);
    let scored = |it: &&Entry| {
        !matches!(
            it.measurement.sign(),
            VitalSign::Weight | VitalSign::Height | VitalSign::Pain
        )
    };
    of_visit(index, of, ended).filter(scored).collect()
}

/// The readings that stand of a visit that ended then.
fn of_visit<'a>(
    index: &'a Index,
    resident: &ResidentId,
    ended: Time,
) -> impl DoubleEndedIterator<Item = &'a Entry> {
    let standing = index.readings_of(resident).filter(|it| !it.retracted);
    standing.filter(move |it| it.measured_at <= ended && ended - it.measured_at <= ONE_VISIT)
}

/// The last that was measured in the visit of a reading of this moment.
fn visit_ended(index: &Index, resident: &ResidentId, from: Time) -> Time {
    let all = index.readings_of(resident).rev();
    let mut last = all.filter(|it| !it.retracted).map(|it| it.measured_at);
    let last = last.find(|it| *it - from <= ONE_VISIT);
    last.unwrap_or(from).max(from)
}
