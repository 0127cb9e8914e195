//! What a nurse does, from a form to facts. Each function looks at the record
//! as it stands and gives the facts to append, all or none, or says in words
//! why there is nothing to append. Nothing in the record is changed by any.

mod enter;
mod measure;
mod moving;
mod resident;
mod score;

use chrono::{NaiveDateTime, TimeDelta};
use uuid::Uuid;

use super::fields::Fields;
use super::index::{ActKind, Entry, Index, Round};
use crate::facts::{Body, Fact, KeptReading, Raised, Time, TimeChange, VERSION};
use crate::residents::{ResidentId, Staff};
use crate::round::shown;
use crate::speaking::wording::capital;
use crate::vitals::rules::is_far_from_last;
use crate::vitals::{History, Limits, Measurement, Reading};

use score::{Changed, scored_again};

pub(super) use score::{is_urgent_score, scored_with};

pub use enter::{
    CLOCK, DAY, LONGEST_AGO, Proposed, REMARK, SHOWN, SIGN, TAKEN_BY, WENT_ON, enter, proposed,
};
pub use measure::{ALERTNESS, OVER, PALPATED, VALUE, qualifier_field};
pub use moving::{TO, ToMove, move_reading, to_move};
pub use resident::{ask_recheck, note_resident, set_range, withdraw_range, withdraw_recheck};

/// A fact to append.
pub type NewFact = Fact<KeptReading>;

/// The field that says that a value far from the usual was looked at again.
pub const LOOKED_AGAIN: &str = "looked_again";

/// Why nothing was appended, to be shown as it is.
pub type Refused = String;

/// Why an act was not done, to be shown as it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NotDone {
    /// Nothing was stored, and why.
    Refused(Refused),
    /// It may be stored or not.
    Unsure(String),
}

impl std::fmt::Display for NotDone {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Refused(why) | Self::Unsure(why) => f.write_str(why),
        }
    }
}

/// A recorder that was silent for so long has ended its round.
const SILENT: TimeDelta = TimeDelta::hours(1);

/// Who acts, and when.
#[derive(Debug, Clone)]
pub struct Acting {
    /// The nurse, as the record will show her.
    pub by: Staff,
    /// Now.
    pub at: Time,
}

impl Acting {
    /// A fact about something that belongs to `round`.
    fn fact(&self, round: Uuid, body: Body<KeptReading>) -> NewFact {
        Fact {
            id: Uuid::now_v7(),
            version: VERSION,
            at: self.at,
            by: self.by.clone(),
            round,
            body,
        }
    }

    /// The same of reports that are acknowledged, where there are any.
    fn acknowledged(
        &self,
        round: Uuid,
        flags: Vec<Uuid>,
        resident: &ResidentId,
    ) -> Option<NewFact> {
        if flags.is_empty() {
            return None;
        }
        let resident = resident.clone();
        Some(self.fact(round, Body::Acknowledged { flags, resident }))
    }
}

/// How often a reading was acted on, as a form shows it: a form filled in on an
/// older state is refused, so that nobody corrects what they have not seen.
#[must_use]
pub fn state_of(index: &Index, reading: Uuid) -> usize {
    index.acts(reading).len()
}

fn reading<'a>(index: &'a Index, id: Uuid, fields: &Fields) -> Result<&'a Entry, Refused> {
    let entry = index.reading(id).ok_or("There is no such reading.")?;
    if entry.retracted {
        return Err("This reading was retracted; there is nothing left to change.".into());
    }
    if fields.get("seen") != state_of(index, id).to_string() {
        let why = "Someone acted on this reading meanwhile. Look at it as it is now and try again.";
        return Err(why.into());
    }
    Ok(entry)
}

/// Acknowledges an open report.
///
/// # Errors
/// [`Refused`] when it is closed or unknown.
pub fn acknowledge(index: &Index, flag: Uuid, acting: &Acting) -> Result<Vec<NewFact>, Refused> {
    let flag = index.flag(flag).ok_or("There is no such report.")?;
    if let Some(closed) = index.closed(flag.id) {
        return Err(format!(
            "{} has already closed this report.",
            closed.by.name
        ));
    }
    let acknowledged = acting.acknowledged(flag.round, vec![flag.id], &flag.resident);
    Ok(acknowledged.into_iter().collect())
}

/// Corrects a reading. Its open reports are acknowledged with it, since whoever
/// corrects it has seen them; so are those that the right value would make. The
/// early-warning score of its visit is judged anew.
///
/// # Errors
/// [`Refused`] names the field that is wrong.
pub fn correct(
    index: &Index,
    id: Uuid,
    fields: &Fields,
    acting: &Acting,
) -> Result<Vec<NewFact>, Refused> {
    let entry = reading(index, id, fields)?;
    let new = measure::measurement(entry.measurement.sign(), fields)?;
    if new == *entry.measurement {
        return Err("That is what is recorded already: nothing to correct.".into());
    }
    let reason = fields.text("reason", "The reason")?;
    if is_unlikely(index, index.resident_of(entry), (entry.measured_at, &new)) {
        looked_again(fields, &new)?;
    }
    let now = (entry.measured_at, &new);
    Ok(corrected(index, entry, now, reason, acting))
}

/// Corrects the time at which a reading was measured; its value stays. It is judged as it
/// is now with the readings around that time, and so are both visits' early-warning
/// scores. `moment` as of [`proposed`].
///
/// # Errors
/// [`Refused`] names the field that is wrong.
pub fn correct_time(
    index: &Index,
    id: Uuid,
    fields: &Fields,
    acting: &Acting,
    moment: impl Fn(NaiveDateTime) -> Option<Time>,
) -> Result<Vec<NewFact>, Refused> {
    let entry = reading(index, id, fields)?;
    let at = enter::taken_at(fields, acting.at, moment)?;
    let minute = |it: Time| it.timestamp().div_euclid(60);
    if minute(at) == minute(entry.measured_at) {
        return Err("That is the time that is recorded already: nothing to correct.".into());
    }
    let reason = fields.text("reason", "The reason")?;
    let now = (at, entry.measurement.as_ref());
    Ok(corrected(index, entry, now, reason, acting))
}

/// Whether a value is one that an aide would be asked to look at again.
fn is_unlikely(index: &Index, resident: &ResidentId, (at, new): (Time, &Measurement)) -> bool {
    let resident = index.home().resident(resident);
    let usual = Limits::default();
    let limits = resident.map_or(&usual, |it| &it.limits);
    let far = |id: &ResidentId| {
        let measurement = new.clone();
        let history = history(index, id, Uuid::nil(), None);
        is_far_from_last(&history, &Reading { at, measurement })
    };
    limits.is_unlikely(new, at) || resident.is_some_and(|it| far(&it.id))
}

fn looked_again(fields: &Fields, new: &Measurement) -> Result<(), Refused> {
    if fields.get(LOOKED_AGAIN) == "on" {
        return Ok(());
    }
    Err(format!(
        "{} is far from the usual. Look again: if it is right, say so below the value and \
         record it once more.",
        capital(&shown(new))
    ))
}

/// Decides between corrections that were made apart: the one that is chosen is made
/// once more, by one who knows of all of them.
///
/// # Errors
/// [`Refused`] when there is nothing to decide, or not that to choose.
pub fn decide(
    index: &Index,
    id: Uuid,
    fields: &Fields,
    acting: &Acting,
) -> Result<Vec<NewFact>, Refused> {
    let entry = reading(index, id, fields)?;
    let standing = index.standing(entry);
    if standing.rivals().next().is_none() {
        return Err("Nothing is left to decide here.".into());
    }
    let chosen = fields.id("right");
    let all = standing.apart.iter().copied().chain(standing.holds());
    let mut chosen = all.filter(|it| Some(it.id) == chosen);
    let chosen = chosen.next().ok_or("Choose which one is right.")?;
    let at = chosen.time.map_or(entry.measured_at, |it| it.new);
    let reason = "looked at the corrections made apart".to_owned();
    Ok(corrected(index, entry, (at, &chosen.new), reason, acting))
}

/// A correction, with what follows of it.
fn corrected(
    index: &Index,
    entry: &Entry,
    (at, new): (Time, &Measurement),
    reason: String,
    acting: &Acting,
) -> Vec<NewFact> {
    let id = entry.id;
    let resident = index.resident_of(entry).clone();
    let mut facts = vec![acting.fact(
        entry.round,
        Body::Corrected {
            reading: id,
            resident: resident.clone(),
            old: entry.measurement.as_ref().clone(),
            new: new.clone(),
            reason,
            stands: Vec::new(),
            over: index.standing(entry).over(),
            by_nurse: true,
            time: (at != entry.measured_at).then_some(TimeChange {
                old: entry.measured_at,
                new: at,
            }),
        },
    )];
    let of = facts[0].id;
    let mut seen = open_flags(index, id);
    for raised in raised(index, &resident, id, (at, new)) {
        let body = raised.into_body(id, resident.clone(), of);
        let flagged = acting.fact(entry.round, body);
        seen.push(flagged.id);
        facts.push(flagged);
    }
    facts.extend(acting.acknowledged(entry.round, seen, &resident));
    let now = Some((at, new));
    let changed = Changed::of(index, entry, (now, of));
    facts.extend(scored_again(index, &changed, acting));
    facts
}

/// What a reading raises as it is now, judged as a spoken one is: against the
/// resident's other readings as they stand.
fn raised(
    index: &Index,
    resident: &ResidentId,
    reading: Uuid,
    (at, now): (Time, &Measurement),
) -> Vec<Raised> {
    let Some(resident) = index.home().resident(resident) else {
        return Vec::new();
    };
    let history = history(index, &resident.id, reading, Some((at, now)));
    let now = Reading {
        at,
        measurement: now.clone(),
    };
    Raised::by(resident.known(&history), &now)
}

/// A resident's readings as they stand, with these in place of this one.
pub(super) fn history<'a>(
    index: &'a Index,
    resident: &ResidentId,
    reading: Uuid,
    now: impl IntoIterator<Item = (Time, &'a Measurement)>,
) -> History {
    let others = index.readings_of(resident);
    let others = others.filter(|it| !it.retracted && it.id != reading);
    let others = others.map(|it| (it.measured_at, it.measurement.as_ref()));
    let all = others.chain(now);
    all.map(|(at, it)| Reading {
        at,
        measurement: it.clone(),
    })
    .collect()
}

/// Retracts a reading, with its open reports acknowledged and the early-warning score of
/// its visit judged without it.
///
/// # Errors
/// [`Refused`] names the field that is wrong.
pub fn retract(
    index: &Index,
    id: Uuid,
    fields: &Fields,
    acting: &Acting,
) -> Result<Vec<NewFact>, Refused> {
    let entry = reading(index, id, fields)?;
    let reason = fields.text("reason", "The reason")?;
    let resident = index.resident_of(entry).clone();
    let body = Body::Retracted {
        reading: id,
        resident: resident.clone(),
        reason,
        over: index.standing(entry).over(),
    };
    let mut facts = vec![acting.fact(entry.round, body)];
    facts.extend(acting.acknowledged(entry.round, open_flags(index, id), &resident));
    let of = facts[0].id;
    let changed = Changed::of(index, entry, (None, of));
    facts.extend(scored_again(index, &changed, acting));
    Ok(facts)
}

fn open_flags(index: &Index, reading: Uuid) -> Vec<Uuid> {
    let flags = index.flags_of(reading).map(|it| it.id);
    flags.filter(|it| index.closed(*it).is_none()).collect()
}

/// A remark about a reading.
///
/// # Errors
/// [`Refused`] when it says nothing.
pub fn note(
    index: &Index,
    id: Uuid,
    fields: &Fields,
    acting: &Acting,
) -> Result<Vec<NewFact>, Refused> {
    let entry = index.reading(id).ok_or("There is no such reading.")?;
    let text = fields.text("text", "The note")?;
    let body = Body::Noted {
        resident: index.resident_of(entry).clone(),
        about: Some(id),
        text,
    };
    Ok(vec![acting.fact(entry.round, body)])
}

/// Signs a round.
///
/// # Errors
/// [`Refused`] while it still runs, has an open report, or was signed by the
/// same nurse with nothing done to it since.
pub fn sign(index: &Index, id: Uuid, acting: &Acting) -> Result<Vec<NewFact>, Refused> {
    let round = index.round(id).ok_or("There is no such round.")?;
    if round.closed.is_none() && acting.at - round.last < SILENT {
        return Err("This round is still going on: it can be signed when it has ended.".into());
    }
    let open = index.open_of_round(id).count();
    if open > 0 {
        let reports = if open == 1 {
            "report is"
        } else {
            "reports are"
        };
        return Err(format!(
            "{open} {reports} still open in this round: acknowledge first, then sign."
        ));
    }
    let own = round.signed.iter().filter(|(by, ..)| *by == acting.by);
    let last = own.map(|(_, at, signature)| (*at, *signature)).max();
    if round.is_signed() && last.is_some_and(|it| !done_since(index, round, it)) {
        return Err("You have signed this round already.".into());
    }
    let signed = Body::Signed {
        signed: id,
        head: None,
    };
    Ok(vec![acting.fact(id, signed)])
}

/// Whether anything was recorded in a round or done to its readings after this.
fn done_since(index: &Index, round: &Round, then: (Time, Uuid)) -> bool {
    let all = round.residents.iter().flat_map(|it| index.readings_of(it));
    let mut own = all.filter(|it| it.round == round.id);
    let later = |reading: &Entry| {
        let acts = index.acts(reading.id).iter().map(|it| (it.at, it.id));
        let flags = index.flags_of(reading.id).map(|it| (it.at, it.id));
        acts.chain(flags).any(|it| it > then)
    };
    round.last > then.0 || own.any(later)
}

/// What was done to a reading, in a word.
#[must_use]
pub const fn act_word(kind: &ActKind) -> &'static str {
    match kind {
        ActKind::Corrected { .. } => "corrected",
        ActKind::Retracted { .. } => "retracted",
        ActKind::Noted(_) => "note",
    }
}
