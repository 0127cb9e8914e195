//! What the facts add up to.

use std::collections::BTreeMap;

use uuid::Uuid;

use super::{Body, Fact, ReadingRecord, Time};
use crate::residents::ResidentId;
use crate::vitals::{Finding, Measurement, VitalSign};

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
}

/// A flag that no report has closed.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenReport {
    /// The fact of the flag.
    pub flag: Uuid,
    /// The resident.
    pub resident: ResidentId,
    /// The limit that was crossed.
    pub finding: Finding,
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
    /// Whether it was corrected.
    pub corrected: bool,
    /// Whether it was retracted, so that it no longer counts.
    pub retracted: bool,
}

/// A fold over all facts.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Record {
    pending: BTreeMap<Uuid, Pending>,
    open: BTreeMap<Uuid, OpenReport>,
    readings: BTreeMap<Uuid, Reading>,
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

    fn add(&mut self, fact: &Fact) {
        match &fact.body {
            Body::Offered {
                resident,
                read_back,
                ..
            } => {
                let pending = Pending {
                    offer: fact.id,
                    resident: resident.clone(),
                    read_back: read_back.clone(),
                };
                self.pending.insert(fact.id, pending);
            }
            Body::Dropped { offer, .. } | Body::Unconfirmed { offer, .. } => {
                self.pending.remove(offer);
            }
            Body::Read(reading) => {
                self.pending.remove(&reading.offer);
                let reading = Reading {
                    id: fact.id,
                    record: reading.clone(),
                    measurement: reading.measurement.clone(),
                    corrected: false,
                    retracted: false,
                };
                self.readings.insert(fact.id, reading);
            }
            Body::Corrected { reading, new, .. } => {
                if let Some(reading) = self.readings.get_mut(reading) {
                    reading.measurement = new.clone();
                    reading.corrected = true;
                }
            }
            Body::Retracted { reading, .. } => {
                if let Some(reading) = self.readings.get_mut(reading) {
                    reading.retracted = true;
                }
            }
            Body::Flagged {
                resident, finding, ..
            } => {
                let report = OpenReport {
                    flag: fact.id,
                    resident: resident.clone(),
                    finding: finding.clone(),
                    since: fact.at,
                };
                self.open.insert(fact.id, report);
            }
            Body::ReportedToNurse { flags, .. } | Body::Acknowledged { flags, .. } => {
                for flag in flags {
                    self.open.remove(flag);
                }
            }
            Body::RoundOpened { .. }
            | Body::Identified { .. }
            | Body::NotTaken { .. }
            | Body::RangeSet { .. }
            | Body::Noted { .. }
            | Body::RecheckAsked { .. }
            | Body::Signed { .. }
            | Body::RoundClosed { .. } => {}
        }
    }

    /// What was read back and never answered.
    pub fn pending(&self) -> impl Iterator<Item = &Pending> {
        self.pending.values()
    }

    /// Reports that are still open, oldest first.
    pub fn open_reports(&self) -> impl Iterator<Item = &OpenReport> {
        self.open.values()
    }

    /// Readings that count, in order of recording: corrected ones as corrected,
    /// retracted ones left out.
    pub fn readings(&self) -> impl Iterator<Item = &Reading> {
        self.readings.values().filter(|it| !it.retracted)
    }

    /// The resident's last reading of a vital sign, by the time of measurement.
    #[must_use]
    pub fn last(&self, resident: &ResidentId, sign: VitalSign) -> Option<&Reading> {
        let own = |it: &&Reading| it.record.resident == *resident && it.measurement.sign() == sign;
        self.readings()
            .filter(own)
            .max_by_key(|it| it.record.measured_at)
    }
}
