//! What belongs together: each reading with its corrections, flags and notes.

use std::collections::BTreeMap;
use std::fmt;

use chrono::NaiveDate;
use uuid::Uuid;

use crate::facts::{Body, Fact, ReadingRecord, Time};
use crate::residents::{Home, ResidentId, Staff};
use crate::round::crossed;
use crate::vitals::{
    Component, Finding, Limits, Measurement, NotTakenReason, Range, Retake, RetakeReason, Source,
    VitalSign, rules,
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
    /// Who corrected it, when, and why.
    pub act: Act<'a>,
    /// What had stood there.
    pub old: &'a Measurement,
    /// What has stood there since.
    pub new: &'a Measurement,
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
        match self {
            Self::Limit(finding) => f.write_str(&crossed(finding)),
            Self::Rule(it) => write!(f, "{} Limit: {} ({})", it.say, it.limit, it.source),
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
    /// The limit or rule, and whose it is.
    pub cause: Cause<'a>,
    /// The report that closed it: by whom, and to whom as its text.
    pub reported: Option<Act<'a>>,
    /// The nurse who answered for it; the text is empty.
    pub acknowledged: Option<Act<'a>>,
}

impl Flag<'_> {
    /// Whether neither a report nor a nurse has closed it.
    #[must_use]
    pub const fn open(&self) -> bool {
        self.reported.is_none() && self.acknowledged.is_none()
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
    /// Its corrections, oldest first.
    pub corrections: Vec<Change<'a>>,
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
}

/// Everything that leaves for the chart, in order of time, and what is needed
/// to explain it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Chart<'a> {
    /// Readings, by when they were measured.
    pub readings: Vec<Entry<'a>>,
    /// What was not taken, by when that was recorded.
    pub missed: Vec<Missed<'a>>,
    /// What was never confirmed, by when it was recorded.
    pub unconfirmed: Vec<Unconfirmed<'a>>,
    identified: BTreeMap<&'a ResidentId, (&'a str, NaiveDate)>,
    ranges: Vec<(&'a ResidentId, VitalSign, Component, Range)>,
}

impl<'a> Chart<'a> {
    /// Gathers facts that may come in any order: several recorders send theirs
    /// when they can.
    #[must_use]
    pub fn of(facts: &'a [Fact]) -> Self {
        let mut gathering = Gathering::default();
        for fact in facts {
            gathering.begin(fact);
        }
        let mut later: Vec<&Fact> = facts.iter().collect();
        later.sort_by_key(|fact| (fact.at, fact.id));
        for fact in later {
            gathering.add(fact);
        }
        gathering.finish()
    }

    /// Name and birth date by which the aide last identified a resident: for
    /// those who are no longer in the home's file.
    #[must_use]
    pub fn identified(&self, resident: &ResidentId) -> Option<(&'a str, NaiveDate)> {
        self.identified.get(resident).copied()
    }

    /// The range in force for a resident on `day`: the newest that a nurse set,
    /// whether a fact or the home's file says so, else the home's, else the
    /// default.
    #[must_use]
    pub fn range_on(
        &self,
        home: &Home,
        resident: &ResidentId,
        (sign, component): (VitalSign, Component),
        day: NaiveDate,
    ) -> Option<Range> {
        let limits = home.resident(resident).map(|it| &it.limits);
        let filed = limits.and_then(|it| it.own_on(sign, component, day));
        let set = self.range_set_on(resident, sign, component, day);
        let newest = match (filed, set) {
            (Some(filed), Some(set)) if filed.source.since() > set.source.since() => Some(filed),
            (filed, set) => set.or(filed),
        };
        let usual = || match limits {
            Some(limits) => limits.range_on(sign, component, day),
            None => Limits::default().range_on(sign, component, day),
        };
        newest.cloned().or_else(usual)
    }

    fn range_set_on(
        &self,
        resident: &ResidentId,
        sign: VitalSign,
        component: Component,
        day: NaiveDate,
    ) -> Option<&Range> {
        let own = |it: &&(&ResidentId, VitalSign, Component, Range)| {
            it.0 == resident
                && (it.1, it.2) == (sign, component)
                && it.3.source.since().is_none_or(|since| since <= day)
        };
        let own = self.ranges.iter().filter(own).map(|it| &it.3);
        // Of two set on one day the later one holds; they are in order of time.
        own.max_by_key(|range| range.source.since())
    }
}

#[derive(Default)]
struct Gathering<'a> {
    chart: Chart<'a>,
    readings: BTreeMap<Uuid, Entry<'a>>,
    missed: BTreeMap<Uuid, Missed<'a>>,
    /// The reading of each flag.
    flags: BTreeMap<Uuid, Uuid>,
}

impl<'a> Gathering<'a> {
    /// First pass: what others refer to.
    fn begin(&mut self, fact: &'a Fact) {
        let act = act(fact, "");
        match &fact.body {
            Body::Read(record) => {
                let entry = Entry {
                    id: fact.id,
                    by: &fact.by,
                    round: fact.round,
                    record,
                    measurement: &record.measurement,
                    corrections: Vec::new(),
                    retracted: None,
                    flags: Vec::new(),
                    retaken: Vec::new(),
                    notes: Vec::new(),
                    changed_at: fact.at,
                };
                self.readings.insert(fact.id, entry);
            }
            Body::NotTaken {
                resident,
                signs,
                reason,
                retry_at,
            } => {
                let missed = Missed {
                    id: fact.id,
                    act,
                    round: fact.round,
                    resident,
                    signs,
                    reason,
                    retry_at: *retry_at,
                    retracted: None,
                    notes: Vec::new(),
                    changed_at: fact.at,
                };
                self.missed.insert(fact.id, missed);
            }
            Body::Unconfirmed {
                resident, readings, ..
            } => self.chart.unconfirmed.push(Unconfirmed {
                act,
                round: fact.round,
                resident,
                readings,
            }),
            Body::Flagged { reading, .. } | Body::RuleMet { reading, .. } => {
                self.flags.insert(fact.id, *reading);
            }
            _ => {}
        }
    }

    /// Second pass, in order of time: what refers to others.
    fn add(&mut self, fact: &'a Fact) {
        match &fact.body {
            Body::Identified {
                resident,
                name,
                birth_date,
                ..
            } => {
                self.chart.identified.insert(resident, (name, *birth_date));
            }
            Body::Corrected {
                reading,
                old,
                new,
                reason,
                ..
            } => self.about(*reading, fact, |entry| {
                let act = act(fact, reason);
                entry.corrections.push(Change { act, old, new });
                entry.measurement = new;
            }),
            Body::Retracted {
                reading, reason, ..
            } => {
                let act = act(fact, reason);
                self.about(*reading, fact, |entry| entry.retracted = Some(act));
                self.about_missed(*reading, fact, |missed| missed.retracted = Some(act));
            }
            Body::Flagged {
                reading, finding, ..
            } => self.flag(*reading, fact, Cause::Limit(finding)),
            Body::RuleMet { reading, flag, .. } => self.flag(*reading, fact, Cause::Rule(flag)),
            Body::Retaken(retake) => self.retaken(*retake, fact),
            Body::ReportedToNurse { flags, to, .. } => {
                self.about_flags(flags, fact, |flag| flag.reported = Some(act(fact, to)));
            }
            Body::Acknowledged { flags, .. } => {
                self.about_flags(flags, fact, |flag| flag.acknowledged = Some(act(fact, "")));
            }
            Body::Noted {
                about: Some(about),
                text,
                ..
            } => {
                // A remark on a flag is a remark on its reading.
                let about = self.flags.get(about).copied().unwrap_or(*about);
                let note = act(fact, text);
                self.about(about, fact, |entry| entry.notes.push(note));
                self.about_missed(about, fact, |missed| missed.notes.push(note));
            }
            Body::RangeSet {
                resident,
                sign,
                component,
                bounds,
            } => {
                let source = Source::Nurse {
                    name: fact.by.name.clone(),
                    on: fact.at.date_naive(),
                };
                let bounds = *bounds;
                let range = Range { bounds, source };
                self.chart.ranges.push((resident, *sign, *component, range));
            }
            _ => {}
        }
    }

    fn flag(&mut self, reading: Uuid, fact: &Fact, cause: Cause<'a>) {
        self.about(reading, fact, |entry| {
            entry.flags.push(Flag {
                id: fact.id,
                at: fact.at,
                cause,
                reported: None,
                acknowledged: None,
            });
        });
    }

    fn retaken(&mut self, retake: Retake, fact: &Fact) {
        let record = |id| self.readings.get(&id).map(|it| it.record);
        let (Some(first), Some(again)) = (record(retake.first), record(retake.again)) else {
            return;
        };
        let reason = retake.reason;
        self.about(retake.first, fact, |entry| {
            entry.retaken.push(Retaken::Again(again, reason));
        });
        self.about(retake.again, fact, |entry| {
            entry.retaken.push(Retaken::After(first, reason));
        });
    }

    fn about(&mut self, reading: Uuid, fact: &Fact, change: impl FnOnce(&mut Entry<'a>)) {
        if let Some(entry) = self.readings.get_mut(&reading) {
            change(entry);
            entry.changed_at = entry.changed_at.max(fact.at);
        }
    }

    fn about_missed(&mut self, missed: Uuid, fact: &Fact, change: impl FnOnce(&mut Missed<'a>)) {
        if let Some(missed) = self.missed.get_mut(&missed) {
            change(missed);
            missed.changed_at = missed.changed_at.max(fact.at);
        }
    }

    fn about_flags(&mut self, flags: &[Uuid], fact: &Fact, change: impl Fn(&mut Flag<'a>)) {
        for id in flags {
            let Some(reading) = self.flags.get(id).copied() else {
                continue;
            };
            self.about(reading, fact, |entry| {
                entry
                    .flags
                    .iter_mut()
                    .filter(|it| it.id == *id)
                    .for_each(&change);
            });
        }
    }

    fn finish(self) -> Chart<'a> {
        let mut chart = self.chart;
        chart.readings = self.readings.into_values().collect();
        chart.missed = self.missed.into_values().collect();
        chart
            .readings
            .sort_by_key(|it| (it.record.measured_at, it.id));
        chart.missed.sort_by_key(|it| (it.act.at, it.id));
        chart.unconfirmed.sort_by_key(|it| it.act.at);
        chart
    }
}

fn act<'a>(fact: &'a Fact, text: &'a str) -> Act<'a> {
    Act {
        at: fact.at,
        by: &fact.by,
        text,
    }
}
