//! What the index holds of each kind of fact.

use std::sync::Arc;

use chrono::TimeDelta;
use uuid::Uuid;

use crate::facts::{Correction, Raised, Time};
use crate::residents::{ResidentId, Staff};
use crate::review::signing::SinceSigned;
use crate::vitals::{Bounds, Component, Measurement, NotTakenReason, VitalSign};

/// A reading as it stands now.
#[derive(Debug, Clone)]
pub struct Entry {
    /// The fact that recorded it.
    pub id: Uuid,
    /// The round.
    pub round: Uuid,
    /// What holds now; shared with every equal one.
    pub measurement: Arc<Measurement>,
    /// When it was measured.
    pub measured_at: Time,
    /// The recogniser's lowest confidence, 0 to 1.
    pub confidence: f32,
    /// Far from the usual, and confirmed a second time.
    pub second_look: bool,
    /// The fact by which that holds: its own, or a correction's.
    pub version: Uuid,
    /// Whether it was retracted.
    pub retracted: bool,
    /// Whether what holds now crosses a limit.
    pub flagged: bool,
    pub(super) who: u32,
    pub(super) by: u32,
}

/// What a search asks of every reading: so little that all of them are soon looked
/// through.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mark {
    pub(super) who: u32,
    pub(super) sign: VitalSign,
    pub(super) flagged: bool,
}

impl Entry {
    pub(super) fn mark(&self) -> Mark {
        Mark {
            who: self.who,
            sign: self.measurement.sign(),
            flagged: self.flagged,
        }
    }

    /// Whether it was corrected.
    #[must_use]
    pub fn corrected(&self) -> bool {
        self.version != self.id
    }
}

/// Something done to a reading after it was kept.
#[derive(Debug, Clone)]
pub struct Act {
    /// The fact of it.
    pub id: Uuid,
    /// When.
    pub at: Time,
    /// Who.
    pub by: Staff,
    /// What.
    pub kind: ActKind,
}

/// What was done to a reading.
#[derive(Debug, Clone)]
pub enum ActKind {
    /// It was corrected.
    Corrected {
        /// Before and after, and over what.
        it: Box<Correction>,
        /// Why.
        reason: String,
        /// Flags of before that hold of what is right too.
        stands: Vec<Uuid>,
    },
    /// It was retracted.
    Retracted {
        /// Why.
        reason: String,
        /// By which facts it held for whoever retracted it.
        over: Vec<Uuid>,
    },
    /// A remark.
    Noted(String),
}

/// A crossed limit, or a rule that was met.
#[derive(Debug, Clone)]
pub struct Flag {
    /// The fact of the flag.
    pub id: Uuid,
    /// The reading.
    pub reading: Uuid,
    /// The resident.
    pub resident: ResidentId,
    /// Which limit or rule.
    pub raised: Raised,
    /// By which fact the value held that it is about, where that is known.
    pub of: Option<Uuid>,
    /// Since when.
    pub at: Time,
    /// Who was recording.
    pub by: Staff,
    /// In which round.
    pub round: Uuid,
}

/// How a flag was closed.
#[derive(Debug, Clone)]
pub struct Closed {
    /// The fact of it.
    pub id: Uuid,
    /// When.
    pub at: Time,
    /// By whom.
    pub by: Staff,
    /// In which way.
    pub how: ClosedHow,
}

/// In which way a flag was closed.
#[derive(Debug, Clone)]
pub enum ClosedHow {
    /// The aide told this nurse.
    Told(String),
    /// A nurse acknowledged it.
    Acknowledged,
    /// The reading was changed, and it did not hold any more.
    Withdrawn,
}

/// Readings that were read back twice and never answered.
#[derive(Debug, Clone)]
pub struct Held {
    /// The resident.
    pub resident: ResidentId,
    /// What was read back.
    pub readings: Vec<Measurement>,
    /// When.
    pub at: Time,
    /// Who was recording.
    pub by: Staff,
    /// In which round.
    pub round: Uuid,
}

/// Something that was not taken.
#[derive(Debug, Clone)]
pub struct Missed {
    /// The resident.
    pub resident: ResidentId,
    /// Which vital signs; none means all that were due.
    pub signs: Vec<VitalSign>,
    /// Why.
    pub reason: NotTakenReason,
    /// When.
    pub at: Time,
    /// Who was recording.
    pub by: Staff,
    /// In which round.
    pub round: Uuid,
}

/// A recheck that a nurse asked for.
#[derive(Debug, Clone)]
pub struct Recheck {
    /// The fact of it.
    pub id: Uuid,
    /// The resident.
    pub resident: ResidentId,
    /// The vital sign.
    pub sign: VitalSign,
    /// Why.
    pub reason: String,
    /// When it was asked for.
    pub at: Time,
    /// By whom.
    pub by: Staff,
}

/// A remark about a resident.
#[derive(Debug, Clone)]
pub struct Note {
    /// In which round, where it was in one.
    pub round: Uuid,
    /// When.
    pub at: Time,
    /// Who.
    pub by: Staff,
    /// The remark.
    pub text: String,
}

/// A range that was set, or withdrawn.
#[derive(Debug, Clone)]
pub struct RangeChange {
    /// When.
    pub at: Time,
    /// Who.
    pub by: Staff,
    /// The vital sign and the part of it.
    pub target: (VitalSign, Component),
    /// What was in force before.
    pub before: Option<Bounds>,
    /// What is in force since; none where the home's is again.
    pub after: Option<Bounds>,
}

/// A round.
#[derive(Debug, Clone)]
pub struct Round {
    /// Its identifier.
    pub id: Uuid,
    /// Who recorded.
    pub by: Staff,
    /// When it began.
    pub opened: Time,
    /// When it was ended, if it was.
    pub closed: Option<Time>,
    /// The last thing recorded in it.
    pub last: Time,
    /// How many readings were kept.
    pub readings: usize,
    /// For how many residents.
    pub residents: std::collections::BTreeSet<ResidentId>,
    /// Who signed it, when, and the fact that says so.
    pub signed: Vec<(Staff, Time, Uuid)>,
    /// What the last signature does not cover.
    pub since_signed: SinceSigned,
}

/// How far a round has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// It goes on, or did until lately.
    GoingOn,
    /// Nobody ended it, and nothing was recorded in it for hours.
    NotEnded,
    /// It was ended, and no nurse has signed all of it as it is now.
    Unsigned,
    /// A nurse has signed it.
    Signed,
}

/// An aide who is called away comes back sooner than this; what nobody ended until
/// then, nobody will.
const LEFT: TimeDelta = TimeDelta::hours(4);

impl Round {
    /// Whether a nurse has signed all of it, as it is now.
    #[must_use]
    pub fn is_signed(&self) -> bool {
        !self.signed.is_empty() && self.since_signed.is_nothing()
    }

    /// Whether a nurse has signed all that was recorded in it, whatever was changed of that
    /// since. A recorder that was cut off sends what it has when it can: what comes after a
    /// signature nobody has seen.
    #[must_use]
    pub fn is_seen(&self) -> bool {
        !self.signed.is_empty() && !self.since_signed.came
    }

    /// How far it has come.
    #[must_use]
    pub fn stage(&self, now: Time) -> Stage {
        if self.is_signed() {
            Stage::Signed
        } else if self.closed.is_some() || self.is_seen() {
            Stage::Unsigned
        } else if now - self.last >= LEFT {
            Stage::NotEnded
        } else {
            Stage::GoingOn
        }
    }
}
