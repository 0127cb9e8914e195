//! What the facts add up to.

use std::collections::BTreeMap;

use uuid::Uuid;

use super::{Body, Fact, ReadingRecord, Time};
use crate::residents::ResidentId;
use crate::vitals::{Finding, VitalSign};

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

/// A fold over all facts.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Record {
    pending: BTreeMap<Uuid, Pending>,
    open: BTreeMap<Uuid, OpenReport>,
    readings: Vec<ReadingRecord>,
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
                self.readings.push(reading.clone());
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
            Body::ReportedToNurse { flags, .. } => {
                for flag in flags {
                    self.open.remove(flag);
                }
            }
            Body::RoundOpened { .. }
            | Body::Identified { .. }
            | Body::NotTaken { .. }
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

    /// The resident's last reading of a vital sign, by the time of measurement.
    #[must_use]
    pub fn last(&self, resident: &ResidentId, sign: VitalSign) -> Option<&ReadingRecord> {
        let own = self
            .readings
            .iter()
            .filter(|it| it.resident == *resident && it.measurement.sign() == sign);
        own.max_by_key(|it| it.measured_at)
    }
}
