//! What the facts add up to.

use std::collections::{BTreeMap, BTreeSet};

use uuid::Uuid;

use super::{Body, Correction, Fact, MovedFrom, ReadingRecord, Standing, Time, Unfinished};
use crate::residents::ResidentId;
use crate::vitals::rules::{Flag, Known, Rule, flags};
use crate::vitals::{self, Finding, History, Layer, Measurement, NotTakenReason, VitalSign};

/// Readings that were read back and neither kept nor dropped: what a stop of
/// the program left waiting for a yes.
#[derive(Debug, Clone, PartialEq)]
pub struct Pending {
    /// The fact that offered them.
    pub offer: Uuid,
    /// The resident.
    pub resident: ResidentId,
    /// The words read back.
    pub read_back: String,
    /// The kept readings that they are, where they were to be moved.
    pub moves: Vec<MovedFrom>,
    /// Whether all of those were retracted since.
    pub settled: bool,
    /// What was under way, where nothing was read back to be kept.
    pub unfinished: Option<Unfinished>,
}

/// What raised a report.
#[derive(Debug, Clone, PartialEq)]
pub enum Raised {
    /// A limit.
    Limit(Finding),
    /// A rule over several readings, or a published criterion.
    Rule(Flag),
}

impl Raised {
    /// What a reading raises: the limits it crosses and the rules it meets.
    #[must_use]
    pub fn by(known: Known<'_>, reading: &vitals::Reading) -> Vec<Self> {
        let findings = known.limits.judge_on(&reading.measurement, reading.at);
        let outside: Vec<Finding> = findings
            .into_iter()
            .filter(|it| it.layer == Layer::OutsideRange)
            .collect();
        // A limit of the resident's own says it already; said once is enough. It says nothing
        // of another vital sign: the flow that a saturation was taken on.
        let said = |it: &Flag| {
            let same = it.sign == Some(reading.measurement.sign());
            !outside.is_empty() && same && it.layer == Layer::OutsideRange
        };
        let met = flags(known, reading).into_iter().filter(|it| !said(it));
        let met: Vec<Self> = met.map(Self::Rule).collect();
        outside.into_iter().map(Self::Limit).chain(met).collect()
    }

    /// The early-warning score, where that is it.
    #[must_use]
    pub fn score(&self) -> Option<&Flag> {
        match self {
            Self::Rule(flag) if flag.rule == Rule::EarlyWarning => Some(flag),
            _ => None,
        }
    }

    /// The fact that says it of a reading, as that stood by the fact `of`.
    #[must_use]
    pub fn into_body<R>(self, reading: Uuid, resident: ResidentId, of: Uuid) -> Body<R> {
        let of = Some(of);
        match self {
            Self::Limit(finding) => Body::Flagged {
                reading,
                resident,
                finding,
                of,
            },
            Self::Rule(flag) => Body::RuleMet {
                reading,
                resident,
                flag,
                of,
            },
        }
    }
}

/// A flag that no report has closed.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenReport {
    /// The fact of the flag.
    pub flag: Uuid,
    /// The resident.
    pub resident: ResidentId,
    /// What was crossed or met.
    pub raised: Raised,
    /// Since when.
    pub since: Time,
}

/// A reading as it stands after all corrections.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The fact that recorded it.
    pub id: Uuid,
    /// As it was recorded.
    pub record: ReadingRecord,
    /// What holds now.
    pub measurement: Measurement,
    /// When it was measured, as that stands now.
    pub measured_at: Time,
    /// The fact by which that holds: its own, or a correction's.
    pub version: Uuid,
    /// Whether it was retracted, so that it no longer counts.
    pub retracted: bool,
}

/// A fold over all facts. Lists are in the order of the record, and not of
/// identifiers, which go backward when the clock is set back. What holds is the same
/// in whichever order facts came.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Record {
    pending: Vec<Pending>,
    open: Vec<OpenReport>,
    readings: Vec<Reading>,
    places: BTreeMap<Uuid, usize>,
    /// The corrections of each reading.
    corrections: BTreeMap<Uuid, Vec<Correction>>,
    retracted: BTreeSet<Uuid>,
    closed: BTreeSet<Uuid>,
    put_off: Vec<PutOff>,
    /// With when they were asked for.
    rechecks: Vec<(Uuid, Time, Recheck)>,
}

/// A vital sign that a nurse wants taken again, and that was not yet.
#[derive(Debug, Clone, PartialEq)]
pub struct Recheck {
    /// The resident.
    pub resident: ResidentId,
    /// The vital sign.
    pub sign: VitalSign,
    /// Why, as the aide will hear it.
    pub reason: String,
    /// The nurse.
    pub by: String,
}

/// Vital signs that were due and not taken.
#[derive(Debug, Clone, PartialEq)]
pub struct PutOff {
    /// The resident.
    pub resident: ResidentId,
    /// Which vital signs; none means all that were due.
    pub signs: Vec<VitalSign>,
    /// Why.
    pub reason: NotTakenReason,
    /// When to try again; none where the nurse decides.
    pub retry_at: Option<Time>,
    /// When that was recorded.
    pub at: Time,
    /// The round in which it was.
    pub round: Uuid,
}

impl PutOff {
    /// Whether it is not due again yet, in a shift that began at `shift`.
    #[must_use]
    pub fn holds(&self, now: Time, shift: Time) -> bool {
        // What the nurse decides on is due again when the next shift begins.
        self.retry_at.map_or(self.at >= shift, |at| at > now)
    }
}

impl Record {
    /// Folds facts in any order that has an offer before its answer and a flag
    /// before its report, as the store gives them.
    pub fn of<'a>(facts: impl IntoIterator<Item = &'a Fact>) -> Self {
        let mut record = Self::default();
        for fact in facts {
            record.add(fact);
        }
        record
    }

    /// Folds in one more, of later in the record.
    pub fn add(&mut self, fact: &Fact) {
        match &fact.body {
            Body::Offered {
                resident,
                read_back,
                moves,
                unfinished,
                ..
            } => {
                let pending = Pending {
                    offer: fact.id,
                    resident: resident.clone(),
                    read_back: read_back.clone(),
                    moves: moves.clone(),
                    settled: false,
                    unfinished: unfinished.clone(),
                };
                self.pending.push(pending);
            }
            Body::Dropped { offer, .. } | Body::Unconfirmed { offer, .. } => {
                self.answered(*offer);
            }
            Body::Read(reading) => {
                self.answered(reading.offer);
                let reading = Reading {
                    id: fact.id,
                    record: reading.clone(),
                    measurement: reading.measurement.clone(),
                    measured_at: reading.measured_at,
                    version: fact.id,
                    retracted: self.retracted.contains(&fact.id),
                };
                self.places.insert(fact.id, self.readings.len());
                self.readings.push(reading);
                self.stand(fact.id);
            }
            Body::RecheckAsked {
                resident,
                sign,
                reason,
            } => {
                let recheck = Recheck {
                    resident: resident.clone(),
                    sign: *sign,
                    reason: reason.clone(),
                    by: fact.by.name.clone(),
                };
                self.rechecks.push((fact.id, fact.at, recheck));
            }
            Body::Corrected { .. } => {
                if let Some((reading, correction)) = Correction::of(fact) {
                    let made = self.corrections.entry(reading).or_default();
                    made.push(correction);
                    self.stand(reading);
                }
            }
            Body::Retracted { reading, .. } => {
                self.retracted.insert(*reading);
                let retracted = &self.retracted;
                for it in self.pending.iter_mut().filter(|it| !it.moves.is_empty()) {
                    it.settled = it.moves.iter().all(|it| retracted.contains(&it.reading));
                }
                if let Some(reading) = self.reading_mut(*reading) {
                    reading.retracted = true;
                }
            }
            Body::Flagged {
                resident, finding, ..
            } => self.open(fact, resident, Raised::Limit(finding.clone())),
            Body::RuleMet { resident, flag, .. } => {
                self.open(fact, resident, Raised::Rule(flag.clone()));
            }
            Body::ReportedToNurse { flags, .. }
            | Body::Withdrawn { flags, .. }
            | Body::Acknowledged { flags, .. } => {
                self.closed.extend(flags);
                self.open.retain(|it| !flags.contains(&it.flag));
            }
            Body::NotTaken {
                resident,
                signs,
                reason,
                retry_at,
            } => self.put_off.push(PutOff {
                resident: resident.clone(),
                signs: signs.clone(),
                reason: reason.clone(),
                // Facts of before this was kept have none.
                retry_at: retry_at.or_else(|| fact.at.checked_add_signed(reason.retry_after()?)),
                at: fact.at,
                round: fact.round,
            }),
            Body::RoundOpened { .. }
            | Body::Recorder
            | Body::Identified { .. }
            | Body::RangeSet { .. }
            | Body::Noted { .. }
            | Body::Retaken(_)
            | Body::Signed { .. }
            | Body::RoundClosed { .. } => {}
        }
    }

    /// What holds of a reading, of all corrections so far.
    fn stand(&mut self, reading: Uuid) {
        let Some(made) = self.corrections.get(&reading) else {
            return;
        };
        let place = self.places.get(&reading);
        let Some(entry) = place.and_then(|it| self.readings.get_mut(*it)) else {
            return;
        };
        let standing = Standing::of(reading, &entry.record.measurement, made);
        let holds = standing.holds().map(|it| &it.new);
        entry.measurement = holds.unwrap_or(&entry.record.measurement).clone();
        entry.measured_at = standing.measured_at().unwrap_or(entry.record.measured_at);
        entry.version = standing.version();
    }

    fn open(&mut self, fact: &Fact, resident: &ResidentId, raised: Raised) {
        if self.closed.contains(&fact.id) {
            return;
        }
        let report = OpenReport {
            flag: fact.id,
            resident: resident.clone(),
            raised,
            since: fact.at,
        };
        self.open.push(report);
    }

    fn answered(&mut self, offer: Uuid) {
        self.pending.retain(|it| it.offer != offer);
    }

    fn reading_mut(&mut self, id: Uuid) -> Option<&mut Reading> {
        let place = *self.places.get(&id)?;
        self.readings.get_mut(place)
    }

    /// A reading, retracted or not.
    #[must_use]
    pub fn reading(&self, id: Uuid) -> Option<&Reading> {
        self.readings.get(*self.places.get(&id)?)
    }

    /// What nurses want taken again, and what was neither measured since nor withdrawn.
    pub fn rechecks(&self) -> impl Iterator<Item = &Recheck> {
        let open = |(id, asked, it): &&(Uuid, Time, Recheck)| {
            let last = self.last(&it.resident, it.sign);
            !self.closed.contains(id) && last.is_none_or(|it| it.measured_at <= *asked)
        };
        self.rechecks.iter().filter(open).map(|(.., it)| it)
    }

    /// The past of every resident, for the rules.
    #[must_use]
    pub fn histories(&self) -> BTreeMap<ResidentId, History> {
        let mut histories: BTreeMap<ResidentId, History> = BTreeMap::new();
        for reading in self.readings() {
            let history = histories
                .entry(reading.record.resident.clone())
                .or_default();
            history.push(vitals::Reading {
                at: reading.measured_at,
                measurement: reading.measurement.clone(),
            });
        }
        histories
    }

    /// What was put off since a moment, in order of recording.
    pub fn put_off_since(&self, since: Time) -> impl Iterator<Item = &PutOff> {
        self.put_off.iter().filter(move |it| it.at >= since)
    }

    /// What was read back and never answered.
    pub fn pending(&self) -> impl Iterator<Item = &Pending> {
        self.pending.iter()
    }

    /// Reports that are still open, oldest first.
    pub fn open_reports(&self) -> impl Iterator<Item = &OpenReport> {
        self.open.iter()
    }

    /// Readings that count, in order of recording: corrected ones as corrected,
    /// retracted ones left out.
    pub fn readings(&self) -> impl Iterator<Item = &Reading> {
        self.readings.iter().filter(|it| !it.retracted)
    }

    /// The resident's last reading of a vital sign, by the time of measurement.
    #[must_use]
    pub fn last(&self, resident: &ResidentId, sign: VitalSign) -> Option<&Reading> {
        let own = |it: &&Reading| it.record.resident == *resident && it.measurement.sign() == sign;
        self.readings()
            .filter(own)
            .max_by_key(|it| (it.measured_at, it.id))
    }
}
