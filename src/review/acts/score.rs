//! What a nurse's change of a reading does to the early-warning score of its visit.

use uuid::Uuid;

use super::{Acting, NewFact, history};
use crate::facts::{Body, Raised, Time};
use crate::review::index::{Entry, Index};
use crate::vitals::Measurement;
use crate::vitals::rules::{self, ONE_VISIT, early_warning_of_visit};

/// Judges the score anew with `new` in the place of a reading, or without that reading:
/// one that does not hold any more is withdrawn, and what holds instead is reported. It
/// stays open, unlike what the reading itself raises: whoever typed a pulse has not seen
/// what that makes of the score. `of` is the correction.
pub(super) fn scored_again(
    index: &Index,
    entry: &Entry,
    (new, of): (Option<&Measurement>, Uuid),
    acting: &Acting,
) -> Vec<NewFact> {
    let Some(resident) = index.home().resident(index.resident_of(entry)) else {
        return Vec::new();
    };
    let ended = visit_ended(index, entry);
    let score = |measurement: Option<&Measurement>| {
        let history = history(index, entry, measurement);
        // By what the home had turned on then.
        let on = resident.limits.home().since() <= Some(ended.date_naive());
        let score = on.then(|| early_warning_of_visit(resident.known(&history), ended));
        score.flatten().map(|(_, flag)| flag)
    };
    let now = score(new);
    if now == score(Some(&entry.measurement)) {
        return Vec::new();
    }
    let raised: Vec<(Uuid, &rules::Flag)> = of_visit(index, entry, ended)
        .flat_map(|it| index.flags_of(it.id))
        .filter(|it| !index.is_withdrawn(it.id))
        .filter_map(|it| Some((it.id, it.raised.score()?)))
        .collect();
    let known = |it: &rules::Flag| raised.iter().any(|(_, was)| *was == it);
    let gone = raised.iter().filter(|(_, it)| Some(*it) != now.as_ref());
    let gone: Vec<Uuid> = gone.map(|(flag, _)| *flag).collect();
    let mut facts = Vec::new();
    if !gone.is_empty() {
        let body = Body::Withdrawn {
            flags: gone,
            resident: resident.id.clone(),
            reading: entry.id,
        };
        facts.push(acting.fact(entry.round, body));
    }
    // What was retracted carries no report any more.
    let mut left = of_visit(index, entry, ended).filter(|it| it.id != entry.id);
    let carrier = match new {
        Some(_) => Some((entry.id, of)),
        None => left.next_back().map(|it| (it.id, it.version)),
    };
    if let Some(flag) = now.filter(|it| !known(it))
        && let Some((reading, of)) = carrier
    {
        let body = Raised::Rule(flag).into_body(reading, resident.id.clone(), of);
        facts.push(acting.fact(entry.round, body));
    }
    facts
}

/// The readings that stand of a visit that ended then.
fn of_visit<'a>(
    index: &'a Index,
    entry: &Entry,
    ended: Time,
) -> impl DoubleEndedIterator<Item = &'a Entry> {
    let all = index.readings_of(index.resident_of(entry));
    let standing = all.filter(|it| !it.retracted);
    standing.filter(move |it| it.measured_at <= ended && ended - it.measured_at <= ONE_VISIT)
}

/// The last that was measured in the visit of a reading.
fn visit_ended(index: &Index, entry: &Entry) -> Time {
    let from = entry.measured_at;
    let all = index.readings_of(index.resident_of(entry)).rev();
    let mut last = all.filter(|it| !it.retracted).map(|it| it.measured_at);
    let last = last.find(|it| *it - from <= ONE_VISIT);
    last.unwrap_or(from).max(from)
}
