//! A reading that was written elsewhere, on paper for example, and is entered by a nurse:
//! what a form says of it is read back first, and stored when that comes back.

use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};
use uuid::Uuid;

use super::measure::measurement;
use super::score::{Changed, scored_again};
use super::{Acting, Fields, NewFact, Refused, is_unlikely, looked_again, raised};
use crate::dialogue::against;
use crate::facts::{
    Body, ByHand, Fact, KeptReading, NO_ROUND, NotShown, Raised, ReadBack, Ready, Time,
};
use crate::residents::{Resident, ResidentId};
use crate::review::index::Index;
use crate::round::shown;
use crate::speaking::wording::capital;
use crate::vitals::{Caution, Measurement, VitalSign, WentOn};

/// The field of the vital sign.
pub const SIGN: &str = "sign";
/// The field of the day on which it was taken.
pub const DAY: &str = "day";
/// The field of the time of that day.
pub const CLOCK: &str = "clock";
/// The field of who took it.
pub const TAKEN_BY: &str = "taken_by";
/// The field of a remark about it, which may be empty.
pub const REMARK: &str = "remark";
/// The field of why it was taken in a way that the care plan speaks against.
pub const WENT_ON: &str = "went_on";
/// The field of what was read back.
pub const SHOWN: &str = "shown";

/// How far back a reading may be entered. A paper that is older is for the chart: what it
/// would raise was to be acted on weeks ago.
pub const LONGEST_AGO: TimeDelta = TimeDelta::days(31);

/// A name, of a person rather than a story.
const LONGEST_NAME: usize = 100;

/// A reading as it would be stored.
#[derive(Debug, Clone)]
pub struct Proposed {
    /// What is read back.
    pub read_back: ReadBack,
    /// What was measured.
    pub measurement: Measurement,
    /// When it was measured.
    pub at: Time,
    /// Who took it.
    pub taken_by: String,
    /// The round that it was taken in, if one went on then.
    pub round: Option<Uuid>,
    /// A remark about it, if there is one.
    pub remark: Option<String>,
    /// Whether it is far from the usual, so that the paper must be looked at again.
    pub unlikely: bool,
    /// What the care plan has against how it was taken: a reason is needed.
    pub against: Vec<Caution>,
    /// What it will raise.
    pub raises: Vec<Raised>,
}

/// What a form says of a reading, to be read back. `moment` is when a clock on the
/// home's wall showed this; none where none ever did.
///
/// # Errors
/// [`Refused`] names the field that is wrong.
pub fn proposed(
    index: &Index,
    resident: &ResidentId,
    fields: &Fields,
    acting: &Acting,
    moment: impl Fn(NaiveDateTime) -> Option<Time>,
) -> Result<Proposed, Refused> {
    let resident = index.home().resident(resident);
    let resident = resident.ok_or("There is no such resident in this home.")?;
    let sign = VitalSign::from_tag(fields.get(SIGN)).ok_or("Choose a vital sign.")?;
    let measurement = measurement(sign, fields)?;
    let at = taken_at(fields, acting.at, moment)?;
    let taken_by = fields.text(TAKEN_BY, "Who took it")?;
    if taken_by.chars().count() > LONGEST_NAME {
        return Err(format!(
            "Who took it is too long: {LONGEST_NAME} characters at most."
        ));
    }
    let remark = match fields.get(REMARK) {
        "" => None,
        _ => Some(fields.text(REMARK, "The remark")?),
    };
    known_already(index, resident, at, &measurement)?;
    let against = against(resident, &measurement, at);
    let reason = match fields.get(WENT_ON) {
        "" => None,
        _ => Some(fields.text(WENT_ON, "Why it was taken so")?),
    };
    let went_on = reason.iter().flat_map(|reason| {
        against.iter().map(|it| WentOn {
            caution: it.kind,
            reason: reason.clone(),
        })
    });
    let whose = ByHand {
        taken_by: taken_by.clone(),
        entered_by: acting.by.clone(),
    };
    let ready = Ready::by_hand(measurement.clone(), at, acting.at, went_on.collect(), whose);
    let ready = ready.map_err(|missing| {
        let question = missing.first().map_or("", |it| it.question());
        format!("{question} Choose one.")
    })?;
    Ok(Proposed {
        read_back: ReadBack::of(Uuid::now_v7(), resident.id.clone(), vec![ready]),
        unlikely: is_unlikely(index, &resident.id, (at, &measurement)),
        raises: raised(index, &resident.id, Uuid::nil(), (at, &measurement)),
        round: index
            .round_of_paper(&resident.id, at, &taken_by, acting.at)
            .map(|it| it.id),
        measurement,
        at,
        taken_by,
        remark,
        against,
    })
}

/// Stores a reading that was read back: only what the page showed, word for word.
///
/// # Errors
/// [`Refused`] names the field that is wrong.
pub fn enter(
    index: &Index,
    resident: &ResidentId,
    fields: &Fields,
    acting: &Acting,
    moment: impl Fn(NaiveDateTime) -> Option<Time>,
) -> Result<Vec<NewFact>, Refused> {
    let it = proposed(index, resident, fields, acting, moment)?;
    if it.unlikely {
        looked_again(fields, &it.measurement)?;
    }
    if let Some(caution) = it.against.first()
        && fields.get(WENT_ON).is_empty()
    {
        return Err(format!(
            "{} Write below why it was taken so all the same.",
            caution.say
        ));
    }
    // Where it will be looked for. It is the nurse who stores it: it makes no round longer.
    let round = it.round.unwrap_or(NO_ROUND);
    let offered = offered(&it.read_back, acting);
    let kept = it
        .read_back
        .confirm_shown(fields.get(SHOWN), acting.at, it.unlikely);
    let mut facts = vec![offered];
    for kept in kept.map_err(not_shown)? {
        facts.extend(stored(index, resident, round, kept, acting));
    }
    if let Some(text) = it.remark
        && let Some(about) = facts.iter().find(|it| matches!(it.body, Body::Read(_)))
    {
        let about = Some(about.id);
        let resident = resident.clone();
        facts.push(acting.fact(
            round,
            Body::Noted {
                resident,
                about,
                text,
            },
        ));
    }
    Ok(facts)
}

/// The fact that says what was read back, under the identifier that the reading names.
/// It belongs to no round: none waits for a yes there.
pub(super) fn offered(read_back: &ReadBack, acting: &Acting) -> NewFact {
    let body = Body::Offered {
        resident: read_back.resident().clone(),
        read_back: read_back.text().to_owned(),
        readings: read_back.measurements(),
        moves: Vec::new(),
        unfinished: None,
    };
    Fact {
        id: read_back.offer(),
        ..acting.fact(NO_ROUND, body)
    }
}

pub(super) fn not_shown(_: NotShown) -> Refused {
    "What would be stored is not what was shown. Look at it as it is now, and say yes to that."
        .to_owned()
}

/// A reading that is new to a resident's record, with what it raises there: open, as what
/// an aide's raises is until a nurse has answered for it.
pub(super) fn stored(
    index: &Index,
    resident: &ResidentId,
    round: Uuid,
    kept: KeptReading,
    acting: &Acting,
) -> Vec<NewFact> {
    let (at, measurement) = (kept.record().measured_at, kept.record().measurement.clone());
    let mut facts = vec![acting.fact(round, Body::Read(kept))];
    let reading = facts[0].id;
    for raised in raised(index, resident, reading, (at, &measurement)) {
        let body = raised.into_body(reading, resident.clone(), reading);
        facts.push(acting.fact(round, body));
    }
    let changed = Changed {
        reading,
        resident,
        round,
        was: None,
        now: Some((at, &measurement)),
        of: reading,
    };
    facts.extend(scored_again(index, &changed, acting));
    facts
}

/// When it was taken, as typed.
pub(super) fn taken_at(
    fields: &Fields,
    now: Time,
    moment: impl Fn(NaiveDateTime) -> Option<Time>,
) -> Result<Time, Refused> {
    let (day, clock) = (fields.get(DAY), fields.get(CLOCK));
    let day = day.parse::<NaiveDate>().map_err(|_| {
        "The day on which it was taken is missing: choose it, such as 2026-03-12.".to_owned()
    })?;
    let clock = NaiveTime::parse_from_str(clock, "%H:%M")
        .or_else(|_| NaiveTime::parse_from_str(clock, "%H:%M:%S"))
        .map_err(|_| "The time at which it was taken is missing: such as 14:05.".to_owned())?;
    let at = moment(day.and_time(clock)).ok_or_else(|| {
        format!(
            "No clock showed {} on {day}: the clocks were put forward then. Give another time.",
            clock.format("%H:%M")
        )
    })?;
    if at > now {
        return Err(format!(
            "It can\u{2019}t have been taken at {}: it is {} now.",
            at.format("%H:%M on %B %-d, %Y"),
            now.format("%H:%M on %B %-d, %Y")
        ));
    }
    if now - at > LONGEST_AGO {
        return Err(format!(
            "Only times of the last {} days are taken here, and that was on {}. Keep what is \
             older with the chart.",
            LONGEST_AGO.num_days(),
            at.format("%B %-d, %Y")
        ));
    }
    Ok(at)
}

/// A form that is sent twice, or the same paper entered by two.
fn known_already(
    index: &Index,
    resident: &Resident,
    at: Time,
    measurement: &Measurement,
) -> Result<(), Refused> {
    let mut own = index.readings_of(&resident.id).rev();
    let minute = |it: Time| it.timestamp().div_euclid(60);
    let same = own.find(|it| {
        !it.retracted
            && minute(it.measured_at) == minute(at)
            && it.measurement.as_ref() == measurement
    });
    match same {
        Some(same) => Err(format!(
            "{} of {} is in the record already, stored by {}.",
            capital(&shown(measurement)),
            at.format("%H:%M on %B %-d, %Y"),
            index.recorder_of(same).name
        )),
        None => Ok(()),
    }
}
