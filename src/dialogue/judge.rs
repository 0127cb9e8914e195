//! What a kept reading means for the report: the resident's own limits, and the
//! rules over several readings.

use uuid::Uuid;

use super::kept::KeptHere;
use super::report::spoken;
use super::turn::Turn;
use crate::facts::{Body, OpenReport, Raised, ReadBack, ReadingRecord, Recheck, Time};
use crate::residents::Resident;
use crate::vitals::rules::{Flag, ONE_VISIT, early_warning_of_visit, is_far_from_last};
use crate::vitals::{Measurement, Reading, Retake, RetakeReason, VitalSign, is_alike};

impl Turn<'_> {
    /// The readings of an offer that are far from the usual.
    pub(super) fn unlikely(&self, offer: &ReadBack) -> Vec<Measurement> {
        let Some(resident) = self.resident() else {
            return Vec::new();
        };
        let far = |it: &Measurement| self.is_far(resident, it, self.now);
        offer.measurements().into_iter().filter(far).collect()
    }

    /// Whether these are all that is far from the usual, and each was far before, was asked
    /// to be measured again, and came out alike: to ask so again would be in vain.
    pub(super) fn is_far_again(&self, unlikely: &[Measurement]) -> bool {
        let again = |it: &Measurement| self.state.far.iter().any(|far| is_alike(far, it));
        !unlikely.is_empty() && unlikely.iter().all(again)
    }

    /// Whether a measurement of this time is asked about once more.
    pub(super) fn is_far(&self, resident: &Resident, it: &Measurement, at: Time) -> bool {
        let reading = Reading {
            at,
            measurement: it.clone(),
        };
        let history = self.state.histories.get(&resident.id);
        resident.limits.is_unlikely(it, at)
            || history.is_some_and(|it| is_far_from_last(it, &reading))
    }

    /// Judges a reading that was just kept under `id`: flags what must be
    /// reported, links it to the one it was taken again for, and adds it to the
    /// resident's past. Returns what to say.
    pub(super) fn judge(
        &mut self,
        resident: &Resident,
        id: Uuid,
        record: &ReadingRecord,
    ) -> Vec<String> {
        let reading = record.reading();
        let sign = reading.measurement.sign();
        let raised = self.raised_by(resident, &reading);
        let first = self.link_retake(resident, id, sign);
        let done = |it: &Recheck| it.resident == resident.id && it.sign == sign;
        let rechecks = std::mem::take(&mut self.state.rechecks);
        let (settled, left) = rechecks.into_iter().partition(done);
        self.state.rechecks = left;
        let kept = KeptHere {
            id,
            record: record.clone(),
            measurement: record.measurement.clone(),
            working: record.working,
            version: id,
            flags: Vec::new(),
            visit: self.state.visit,
            first,
            by: self.state.staff.by().name,
            settled,
        };
        let here = self.state.kept.entry(resident.id.clone()).or_default();
        here.push(kept);
        let history = self.state.histories.entry(resident.id.clone()).or_default();
        history.push(reading);
        let raised = raised.into_iter();
        raised.map(|it| self.raise(resident, id, it)).collect()
    }

    /// What a reading raises: the limits it crosses and the rules it meets.
    pub(super) fn raised_by(&self, resident: &Resident, reading: &Reading) -> Vec<Raised> {
        let empty = crate::vitals::History::default();
        let history = self.state.histories.get(&resident.id).unwrap_or(&empty);
        Raised::by(resident.known(history), reading)
    }

    /// Stores what a reading raised and opens its report. Returns what to say.
    pub(super) fn raise(&mut self, resident: &Resident, reading: Uuid, raised: Raised) -> String {
        let said = spoken(&raised);
        let kept = self.state.kept.get(&resident.id).into_iter().flatten();
        let mut versions = kept.filter(|it| it.id == reading).map(|it| it.version);
        let of = versions.next().unwrap_or(reading);
        let body = raised.clone().into_body(reading, resident.id.clone(), of);
        let flag = self.keep(body);
        let kept = self.state.kept.get_mut(&resident.id);
        if let Some(kept) = kept.into_iter().flatten().find(|it| it.id == reading) {
            kept.flags.push((flag, raised.clone()));
        }
        self.state.open_reports.push(OpenReport {
            flag,
            resident: resident.id.clone(),
            raised,
            since: self.now,
        });
        // A round whose end was asked for has something new to report.
        self.state.end_asked = false;
        said
    }

    /// The early-warning score, where the home has turned it on and this visit
    /// has all its parts; said once a visit, and again when it is higher.
    pub(super) fn early_warning(&mut self, resident: &Resident, reading: Uuid) -> Option<String> {
        let (total, flag) = self.score(resident)?;
        let raised = self.state.scores.get(&resident.id);
        if raised.is_some_and(|(was, at)| *was >= total && self.now - *at <= ONE_VISIT) {
            return None;
        }
        let said = (total, self.now);
        self.state.scores.insert(resident.id.clone(), said);
        Some(self.raise(resident, reading, Raised::Rule(flag)))
    }

    /// The early-warning score of this visit, and what it raises, if anything.
    pub(super) fn score(&self, resident: &Resident) -> Option<(u8, Flag)> {
        let history = self.state.histories.get(&resident.id)?;
        early_warning_of_visit(resident.known(history), self.now)
    }

    /// A reading taken again after one of this round that was flagged.
    /// Returns that one.
    fn link_retake(&mut self, resident: &Resident, again: Uuid, sign: VitalSign) -> Option<Uuid> {
        let kept = self.state.kept.get(&resident.id);
        let first = kept
            .into_iter()
            .flatten()
            .rev()
            .find(|it| it.sign() == sign);
        let first = first?;
        let reason = if first.flagged() {
            RetakeReason::OutsideRange
        } else if self.is_rechecking(sign) {
            RetakeReason::Doubted
        } else {
            return None;
        };
        let first = first.id;
        self.keep(Body::Retaken(Retake {
            first,
            again,
            reason,
        }));
        Some(first)
    }
}
