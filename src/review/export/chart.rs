//! What belongs together: each reading with its corrections, flags and notes.

mod gathering;

use std::collections::BTreeMap;
use std::fmt;

use chrono::NaiveDate;
use uuid::Uuid;

use self::gathering::Gathering;
use crate::facts::{ChainHead, Fact, ReadingRecord, Time, TimeChange};
use crate::residents::{Home, ResidentId, Staff};
use crate::review::SinceSigned;
use crate::round::over_limit;
use crate::store::Unread;
use crate::vitals::{
    Component, Finding, Limits, Measurement, NotTakenReason, Range, RetakeReason, Units, VitalSign,
    When, rules, shown_source,
};

/// Who did something, and when.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Act<'a> {
    /// When.
    pub at: Time,
    /// Who.
    pub by: &'a Staff,
    /// Why, or what was said.
    pub text: &'a str,
}

/// A correction of a reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change<'a> {
    /// The fact of it.
    pub id: Uuid,
    /// Who corrected it, when, and why.
    pub act: Act<'a>,
    /// What had stood there.
    pub old: &'a Measurement,
    /// What has stood there since.
    pub new: &'a Measurement,
    /// Flags of before that hold of what is right too.
    pub stands: &'a [Uuid],
    /// Its time of measurement, where that was corrected.
    pub time: Option<TimeChange>,
}

/// A remark about a reading.
pub type Note<'a> = Act<'a>;

/// What raised a flag.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cause<'a> {
    /// A limit.
    Limit(&'a Finding),
    /// A rule over several readings, or a published criterion.
    Rule(&'a rules::Flag),
}

impl<'a> Cause<'a> {
    /// The limit, where it is one.
    #[must_use]
    pub const fn finding(self) -> Option<&'a Finding> {
        match self {
            Self::Limit(finding) => Some(finding),
            Self::Rule(_) => None,
        }
    }
}

impl fmt::Display for Cause<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Whose it is, as the pages name it.
        match self {
            Self::Limit(it) => write!(f, "{} ({})", over_limit(it), shown_source(&it.source)),
            Self::Rule(it) => {
                let source = shown_source(&it.source);
                write!(f, "{} Limit: {} ({source})", it.say, it.limit)
            }
        }
    }
}

/// What a reading raised, and what came of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flag<'a> {
    /// The fact of the flag.
    pub id: Uuid,
    /// When it was raised.
    pub at: Time,
    /// Whether it is about what holds now, and not about a value of before.
    pub stands: bool,
    /// The limit or rule, and whose it is.
    pub cause: Cause<'a>,
    /// The report that closed it: by whom, and to whom as its text.
    pub reported: Option<Act<'a>>,
    /// The nurse who answered for it; the text is empty.
    pub acknowledged: Option<Act<'a>>,
    /// Whoever changed the reading, with which it did not hold any more; the text
    /// is empty.
    pub withdrawn: Option<Act<'a>>,
}

impl Flag<'_> {
    /// Whether neither a report nor a nurse nor a change has closed it.
    #[must_use]
    pub const fn open(&self) -> bool {
        self.reported.is_none() && self.acknowledged.is_none() && self.withdrawn.is_none()
    }
}

/// One of two readings of the same thing: both are kept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Retaken<'a> {
    /// This one was taken because of the first.
    After(&'a ReadingRecord, RetakeReason),
    /// Another was taken because of this one.
    Again(&'a ReadingRecord, RetakeReason),
}

/// A reading with all that was later recorded about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry<'a> {
    /// The fact that recorded it.
    pub id: Uuid,
    /// Who recorded it.
    pub by: &'a Staff,
    /// The round it belongs to.
    pub round: Uuid,
    /// As it was recorded.
    pub record: &'a ReadingRecord,
    /// What holds now.
    pub measurement: &'a Measurement,
    /// When it was measured, as that stands now.
    pub measured_at: Time,
    /// The corrections that led to what holds, each of the value before.
    pub corrections: Vec<Change<'a>>,
    /// Corrections made without knowing of one of those, which do not hold, and
    /// what was made over them. In order of time.
    pub apart: Vec<Change<'a>>,
    /// Its retraction: it no longer counts.
    pub retracted: Option<Act<'a>>,
    /// What it raised.
    pub flags: Vec<Flag<'a>>,
    /// The readings that it was taken again for, or that were taken again for
    /// it.
    pub retaken: Vec<Retaken<'a>>,
    /// Remarks about it.
    pub notes: Vec<Note<'a>>,
    /// When anything about it was last recorded.
    pub changed_at: Time,
}

impl<'a> Entry<'a> {
    /// What it raised that is about what holds now.
    pub fn standing_flags(&self) -> impl Iterator<Item = &Flag<'a>> {
        self.flags.iter().filter(|it| it.stands)
    }
}

/// Something due that was not taken.
#[derive(Debug, Clone, PartialEq)]
pub struct Missed<'a> {
    /// The fact that recorded it.
    pub id: Uuid,
    /// Who recorded it, and when.
    pub act: Act<'a>,
    /// The round it belongs to.
    pub round: Uuid,
    /// The resident.
    pub resident: &'a ResidentId,
    /// Which vital signs; none means all that were due.
    pub signs: &'a [VitalSign],
    /// Why.
    pub reason: &'a NotTakenReason,
    /// When to try again, where that was known.
    pub retry_at: Option<Time>,
    /// Its retraction.
    pub retracted: Option<Act<'a>>,
    /// Remarks about it.
    pub notes: Vec<Note<'a>>,
    /// When anything about it was last recorded.
    pub changed_at: Time,
}

/// A remark about a resident, and about no reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Remark<'a> {
    /// The fact of it.
    pub id: Uuid,
    /// Who, when, and what.
    pub act: Act<'a>,
    /// The round it belongs to; none where a nurse made it at the station.
    pub round: Uuid,
    /// The resident.
    pub resident: &'a ResidentId,
}

/// Read back twice and never answered. It is no reading; it stands only on the
/// sheet of its round, for the nurse to see.
#[derive(Debug, Clone, PartialEq)]
pub struct Unconfirmed<'a> {
    /// Who was recording, and when.
    pub act: Act<'a>,
    /// The round it belongs to.
    pub round: Uuid,
    /// The resident.
    pub resident: &'a ResidentId,
    /// What was read back.
    pub readings: &'a [Measurement],
}

/// A round.
#[derive(Debug, Clone, PartialEq)]
pub struct Round<'a> {
    /// Its identifier.
    pub id: Uuid,
    /// Who began it, and when; the text is the home's name.
    pub opened: Act<'a>,
    /// When it ended, if it did.
    pub closed_at: Option<Time>,
    /// The nurses who signed it; their text is empty.
    pub signed: Vec<Act<'a>>,
    /// What the last signature does not cover, in the order in which the facts came.
    pub since_signed: SinceSigned,
}

/// What to take out of the record.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Selection {
    /// Only what was recorded, corrected or remarked on from this day on.
    pub since: Option<NaiveDate>,
    /// Only what is about this resident.
    pub resident: Option<ResidentId>,
}

impl Selection {
    /// Whether it takes what is about `resident` and was last changed then.
    #[must_use]
    pub fn takes(&self, resident: &ResidentId, changed_at: Time) -> bool {
        self.since
            .is_none_or(|since| changed_at.date_naive() >= since)
            && self.resident.as_ref().is_none_or(|only| only == resident)
    }

    /// Whether what cannot be read may be about what it takes, from whichever day
    /// on: something older may correct what it takes.
    #[must_use]
    pub fn concerns(&self, unread: &Unread) -> bool {
        self.resident.as_ref().is_none_or(|it| unread.concerns(it))
    }
}

/// Everything that leaves for the chart, in order of time, and what is needed
/// to explain it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Chart<'a> {
    /// Readings, by when they were measured.
    pub readings: Vec<Entry<'a>>,
    /// What was not taken, by when that was recorded.
    pub missed: Vec<Missed<'a>>,
    /// Remarks about residents, by when they were made.
    pub remarks: Vec<Remark<'a>>,
    /// What was never confirmed, by when it was recorded.
    pub unconfirmed: Vec<Unconfirmed<'a>>,
    /// Rounds, by when they began.
    pub rounds: Vec<Round<'a>>,
    /// Where the record stood, if that is known.
    pub head: Option<ChainHead>,
    /// What is left out because this version cannot read it. It may correct or
    /// retract what is here.
    pub unread: &'a [Unread],
    identified: BTreeMap<&'a ResidentId, (&'a str, NaiveDate)>,
    /// What nurses set in the record.
    ranges: BTreeMap<&'a ResidentId, Limits>,
}

impl<'a> Chart<'a> {
    /// Gathers facts that may come in any order: several recorders send theirs
    /// when they can.
    #[must_use]
    pub fn of(facts: &'a [Fact]) -> Self {
        Gathering::of(facts)
    }

    /// Name and birth date by which the aide last identified a resident: for
    /// those who are no longer in the home's file.
    #[must_use]
    pub fn identified(&self, resident: &ResidentId) -> Option<(&'a str, NaiveDate)> {
        self.identified.get(resident).copied()
    }

    /// The range in force for a resident at a moment, or at the end of a day: the
    /// newest that a nurse set, whether a fact or the home's file says so, else the
    /// home's, else the default.
    #[must_use]
    pub fn range_on(
        &self,
        home: &Home,
        resident: &ResidentId,
        (sign, component): (VitalSign, Component),
        when: impl Into<When>,
    ) -> Option<Range> {
        let when = when.into();
        let limits = home.resident(resident).map(|it| &it.limits);
        let filed = limits.and_then(|it| it.changed_on(sign, component, when));
        let set = self.ranges.get(resident);
        let set = set.and_then(|it| it.changed_on(sign, component, when));
        let newest = match (filed, set) {
            (Some(filed), Some(set)) if filed.0 > set.0 => Some(filed),
            (filed, set) => set.or(filed),
        };
        let said = Units::UsCustomary.unspoken(sign);
        let usual = || match limits {
            Some(limits) => limits.homes_on(sign, component, when, said),
            None => Limits::default().homes_on(sign, component, when, said),
        };
        newest.and_then(|it| it.1).cloned().or_else(usual)
    }
}
