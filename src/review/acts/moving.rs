//! A reading that was stored with the wrong resident: retracted there and stored with the
//! right one, by facts that are appended together or not at all.

use uuid::Uuid;

use super::enter::{SHOWN, not_shown, offered, stored};
use super::score::{Changed, scored_again};
use super::{Acting, Fields, NewFact, Refused, is_unlikely, looked_again, open_flags, raised};
use crate::facts::{Body, MovedFrom, Raised, ReadBack, ReadingRecord, Ready};
use crate::residents::ResidentId;
use crate::review::index::Index;
use crate::vitals::Reading;

/// The field of the right resident.
pub const TO: &str = "to";

/// A move as it would be stored.
#[derive(Debug, Clone)]
pub struct ToMove {
    /// What is read back, of the right resident.
    pub read_back: ReadBack,
    /// Whether it is far from the usual of the right resident.
    pub unlikely: bool,
    /// What it will raise there.
    pub raises: Vec<Raised>,
}

/// What would be moved, to be read back. `record` is the reading as it was recorded.
///
/// # Errors
/// [`Refused`] names what is wrong.
pub fn to_move(
    index: &Index,
    (id, record): (Uuid, &ReadingRecord),
    fields: &Fields,
) -> Result<ToMove, Refused> {
    let entry = super::reading(index, id, fields)?;
    let to = ResidentId(fields.get(TO).to_owned());
    if to.0.is_empty() {
        return Err("Choose the right resident.".into());
    }
    if index.home().resident(&to).is_none() {
        return Err("There is no such resident in this home.".into());
    }
    if to == *index.resident_of(entry) {
        return Err("That is the resident with whom it is stored already.".into());
    }
    let now = (entry.measured_at, entry.measurement.as_ref());
    let stands = Reading {
        at: entry.measured_at,
        measurement: entry.measurement.as_ref().clone(),
    };
    let ready = Ready::moved(id, record, stands);
    Ok(ToMove {
        unlikely: is_unlikely(index, &to, now),
        raises: raised(index, &to, id, now),
        read_back: ReadBack::of(Uuid::now_v7(), to, vec![ready]),
    })
}

/// Moves a reading. What it had raised with the wrong resident is withdrawn, and it is
/// judged anew with the right one.
///
/// # Errors
/// [`Refused`] names what is wrong.
pub fn move_reading(
    index: &Index,
    (id, record): (Uuid, &ReadingRecord),
    fields: &Fields,
    acting: &Acting,
) -> Result<Vec<NewFact>, Refused> {
    let it = to_move(index, (id, record), fields)?;
    let entry = super::reading(index, id, fields)?;
    if it.unlikely {
        looked_again(fields, &entry.measurement)?;
    }
    let from = index.resident_of(entry);
    let to = it.read_back.resident().clone();
    let offered = offered(&it.read_back, acting);
    let kept = it
        .read_back
        .confirm_shown(fields.get(SHOWN), acting.at, it.unlikely)
        .map_err(not_shown)?;
    let retracted = Body::Retracted {
        reading: id,
        resident: from.clone(),
        reason: MovedFrom::WHY.to_owned(),
        over: index.standing(entry).over(),
    };
    let retracted = acting.fact(entry.round, retracted);
    let changed = Changed::of(index, entry, (None, retracted.id));
    let flags = open_flags(index, id);
    let mut facts = vec![offered, retracted];
    if !flags.is_empty() {
        let body = Body::Withdrawn {
            flags,
            resident: from.clone(),
            reading: id,
        };
        facts.push(acting.fact(entry.round, body));
    }
    let scored = scored_again(index, &changed, acting);
    facts.extend(scored);
    for kept in kept {
        facts.extend(stored(index, &to, entry.round, kept, acting));
    }
    Ok(facts)
}
