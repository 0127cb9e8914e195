//! The record: facts that are only ever appended. A correction or a retraction
//! is a fact too.
//!
//! A [`Fact`] is generic over its reading. The dialogue makes facts whose
//! readings are [`KeptReading`]s, which only a confirmation can make, and the
//! store takes no others; what comes back out of the store holds plain
//! [`ReadingRecord`]s.

mod bounded;
mod chain_head;
mod confirmation;
mod fold;
mod ranges;
mod standing;

use chrono::{DateTime, FixedOffset, NaiveDate};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::hearing::By;
use crate::residents::{ResidentId, Staff};
use crate::understanding::Rival;
use crate::vitals::rules::Flag;
use crate::vitals::{
    self, Bounds, Component, Device, Finding, Measurement, NotTakenReason, Retake, VitalSign,
    WentOn, Working,
};

pub(crate) use bounded::finite;
pub use chain_head::ChainHead;
pub use confirmation::{KeptReading, NotShown, ReadBack, Ready};
pub use fold::{OpenReport, Pending, PutOff, Raised, Reading, Recheck, Record};
pub use ranges::residents_with_ranges;
pub(crate) use ranges::set_by;
pub use standing::{Correction, Standing};

/// A moment, with the home's own offset from UTC.
pub type Time = DateTime<FixedOffset>;

/// The version of the facts written now. Older versions stay readable.
pub const VERSION: u16 = 1;

/// The round of what belongs to none: a range set between rounds, for example.
pub const NO_ROUND: Uuid = Uuid::nil();

/// One thing that happened, and who recorded it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fact<R = ReadingRecord> {
    /// UUID version 7: unique, and in order of time.
    pub id: Uuid,
    /// The version of the fact's form.
    pub version: u16,
    /// When it was recorded.
    #[serde(deserialize_with = "bounded::moment")]
    pub at: Time,
    /// Who was recording.
    pub by: Staff,
    /// The round it belongs to.
    pub round: Uuid,
    /// What happened.
    #[serde(flatten)]
    pub body: Body<R>,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Body<R = ReadingRecord> {
    /// A round began.
    RoundOpened {
        /// Name of the home.
        home: String,
    },
    /// The aide confirmed who the resident is, by two identifiers.
    Identified {
        /// The resident.
        resident: ResidentId,
        /// First identifier: the name that was read back.
        name: String,
        /// Second identifier: the birth date that was read back.
        birth_date: NaiveDate,
    },
    /// Readings were read back and wait for a yes. They are not kept yet.
    Offered {
        /// The resident.
        resident: ResidentId,
        /// The words read back.
        read_back: String,
        /// What was read back.
        readings: Vec<Measurement>,
        /// The kept readings that these are, where they are to be moved here. Until a yes
        /// they stand where they are.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        moves: Vec<MovedFrom>,
        /// What is under way instead, where nothing was read back to be kept: so that a
        /// stop does not lose it without a word. It is an offer, since a program that
        /// knows of no more says of those too that they were not kept.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        unfinished: Option<Unfinished>,
    },
    /// What was offered was answered with something other than yes.
    Dropped {
        /// The fact that offered it.
        offer: Uuid,
        /// Why.
        why: Dropped,
        /// Whether nothing was read back: it was under way, and is not any more.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        unfinished: bool,
    },
    /// A reading, confirmed.
    Read(R),
    /// Read back twice and never answered. Shown to the nurse; not a reading.
    Unconfirmed {
        /// The fact that offered it.
        offer: Uuid,
        /// The resident.
        resident: ResidentId,
        /// What was read back.
        readings: Vec<Measurement>,
    },
    /// Something due was not taken.
    NotTaken {
        /// The resident.
        resident: ResidentId,
        /// Which vital signs; none means all that were due.
        signs: Vec<VitalSign>,
        /// Why.
        reason: NotTakenReason,
        /// When to try again, where that is known.
        #[serde(
            default,
            skip_serializing_if = "Option::is_none",
            deserialize_with = "bounded::moment_if_any"
        )]
        retry_at: Option<Time>,
    },
    /// A reading was taken again; both stay in the record.
    Retaken(Retake),
    /// A kept reading crossed a limit and must be reported.
    Flagged {
        /// The fact of the reading.
        reading: Uuid,
        /// The resident.
        resident: ResidentId,
        /// Which limit, in force from whom.
        finding: Finding,
        /// The fact by which the value holds that it is about: the reading's or a
        /// correction's. Facts of before this was kept have none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        of: Option<Uuid>,
    },
    /// A kept reading meets a rule over several readings, or a published
    /// criterion, and must be reported.
    RuleMet {
        /// The fact of the reading.
        reading: Uuid,
        /// The resident.
        resident: ResidentId,
        /// The rule, the limit and its source.
        flag: Flag,
        /// The fact by which the value holds that it is about: the reading's or a
        /// correction's. Facts of before this was kept have none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        of: Option<Uuid>,
    },
    /// The aide told a nurse.
    ReportedToNurse {
        /// The resident.
        resident: ResidentId,
        /// The flags that this closes.
        flags: Vec<Uuid>,
        /// Who was told.
        to: String,
        /// The words read back before the yes.
        read_back: String,
    },
    /// A kept reading was wrong; what it should be. The old one stays visible.
    Corrected {
        /// The fact of the reading.
        reading: Uuid,
        /// The resident.
        resident: ResidentId,
        /// What was recorded.
        old: Measurement,
        /// What is right.
        new: Measurement,
        /// Why.
        reason: String,
        /// Its flags that hold of the right value too. Those that do not are
        /// closed, and new ones raised, by facts that follow.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        stands: Vec<Uuid>,
        /// The facts that whoever made it had before them: the one by which the
        /// value held that is corrected (the reading's or a correction's), then the
        /// corrections made apart from that one. Facts of before this was kept have
        /// none.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        over: Vec<Uuid>,
        /// Whether a nurse made it, at the station. The home's database refuses
        /// that of a recorder.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        by_nurse: bool,
        /// When it was measured, where that was wrong. Only a nurse corrects that. A
        /// program that knows of no such thing goes on with the time that was recorded.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        time: Option<TimeChange>,
    },
    /// A kept reading must not stand: taken of another resident, for example. It
    /// does not, whatever it was corrected to.
    Retracted {
        /// The fact of the reading.
        reading: Uuid,
        /// The resident.
        resident: ResidentId,
        /// Why.
        reason: String,
        /// As of a correction.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        over: Vec<Uuid>,
    },
    /// The aide corrected, took back or moved a reading, or a nurse corrected or
    /// retracted it, and what it had raised does not hold any more.
    Withdrawn {
        /// The flags.
        flags: Vec<Uuid>,
        /// The resident.
        resident: ResidentId,
        /// The reading that was changed.
        reading: Uuid,
    },
    /// A nurse has seen a flag and answers for it; or withdraws a recheck that was
    /// asked for. A program that knows only of flags finds none of that identifier, and
    /// goes on asking for the recheck.
    Acknowledged {
        /// The flags, or the facts that asked for the rechecks.
        flags: Vec<Uuid>,
        /// The resident.
        resident: ResidentId,
    },
    /// A nurse set a resident's own range, or withdrew it.
    RangeSet {
        /// The resident.
        resident: ResidentId,
        /// The vital sign.
        sign: VitalSign,
        /// The part of it.
        component: Component,
        /// The range, from the moment of this fact on.
        bounds: Bounds,
        /// Whether the resident's own range is withdrawn, so that the home's holds
        /// again. That is then in `bounds` as it was at that moment, or the widest that
        /// is possible where the home has none: a program that knows of no withdrawing
        /// goes on with it as with a range that was set.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        withdrawn: bool,
    },
    /// A remark about a resident, or about one of the facts.
    Noted {
        /// The resident.
        resident: ResidentId,
        /// The fact it is about, if it is about one.
        about: Option<Uuid>,
        /// The remark.
        text: String,
    },
    /// A nurse wants a vital sign taken again at the next visit.
    RecheckAsked {
        /// The resident.
        resident: ResidentId,
        /// The vital sign.
        sign: VitalSign,
        /// Why, as the aide will hear it.
        reason: String,
    },
    /// A nurse signed a round.
    Signed {
        /// The round.
        signed: Uuid,
        /// The record that was signed, up to the fact before this one. The
        /// store fills it in as it appends.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        head: Option<ChainHead>,
    },
    /// The one whom this fact is by records from now on, as the voice said.
    Recorder,
    /// The round ended.
    RoundClosed {
        /// Reports that were still open.
        open_reports: usize,
    },
}

/// What was under way, and a stop would lose.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unfinished {
    /// Readings of which something was still to be asked.
    Readings(Vec<VitalSign>),
    /// A change of a kept reading that waited for a yes.
    Change(VitalSign),
    /// Kept readings that were to be moved to a resident who was not known yet.
    Move(Vec<VitalSign>),
}

/// Why an offer was dropped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Dropped {
    /// The aide said no.
    No,
    /// Another value took its place.
    Replaced,
    /// The aide scratched it.
    Scratched,
    /// The program stopped before it was answered.
    Stopped,
}

/// A reading as it stands in the record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReadingRecord {
    /// The fact that offered it.
    pub offer: Uuid,
    /// The resident.
    pub resident: ResidentId,
    /// What was measured, as said.
    pub measurement: Measurement,
    /// When it was measured.
    #[serde(deserialize_with = "bounded::moment")]
    pub measured_at: Time,
    /// When it was spoken.
    #[serde(deserialize_with = "bounded::moment")]
    pub spoken_at: Time,
    /// The words heard.
    pub heard: String,
    /// The recogniser's lowest confidence in those words, 0 to 1.
    #[serde(deserialize_with = "bounded::finite")]
    pub confidence: f32,
    /// The words read back.
    pub read_back: String,
    /// When the yes was heard.
    #[serde(deserialize_with = "bounded::moment")]
    pub confirmed_at: Time,
    /// Whether it is far from the usual and was confirmed a second time.
    pub second_look: bool,
    /// How the value was worked out, where it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub working: Option<Working>,
    /// The device it was read from, where one was named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub device: Option<Device>,
    /// Cautions gone past, with the aide's reasons.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub went_on: Vec<WentOn>,
    /// What else the recogniser took the words for, the likeliest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rivals: Vec<Rival>,
    /// How the words were given: touch when any of them was typed.
    #[serde(default, skip_serializing_if = "By::is_voice")]
    pub given_by: By,
    /// How the yes was given.
    #[serde(default, skip_serializing_if = "By::is_voice")]
    pub confirmed_by: By,
    /// Where it was kept at first, where that was another resident's record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub moved_from: Option<MovedFrom>,
    /// Who took it and who entered it, where it was written elsewhere and entered by hand
    /// at the station. Nothing was heard then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by_hand: Option<ByHand>,
    /// Whether a nurse stored it, at the station: entered by hand, or moved from the wrong
    /// resident. The home's database refuses that of a recorder.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub by_nurse: bool,
}

/// A corrected time of measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct TimeChange {
    /// When it had been measured, as it stood.
    #[serde(deserialize_with = "bounded::moment")]
    pub old: Time,
    /// When it was measured.
    #[serde(deserialize_with = "bounded::moment")]
    pub new: Time,
}

/// Whose a reading is that was written on paper, for example, and entered by hand.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ByHand {
    /// Who took it, as the nurse wrote it: a name, of 3 to 100 characters.
    pub taken_by: String,
    /// The nurse who entered it.
    pub entered_by: Staff,
}

/// The record in which a reading was kept by mistake.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MovedFrom {
    /// The resident whose record it was.
    pub resident: ResidentId,
    /// The fact of the reading there, which is retracted.
    pub reading: Uuid,
}

impl MovedFrom {
    /// Why it was retracted, as the record of the wrong resident says it. It does not
    /// name the other: a record leaves the home with its own resident.
    pub const WHY: &str = "wrong resident: moved to another resident's record";
}

impl ReadingRecord {
    /// What was measured, and when.
    #[must_use]
    pub fn reading(&self) -> vitals::Reading {
        vitals::Reading {
            at: self.measured_at,
            measurement: self.measurement.clone(),
        }
    }
}
