//! What a kept reading means for the report: the resident's own limits, and the
//! rules over several readings.

use chrono::Duration;
use uuid::Uuid;

use super::state::{KeptHere, Turn};
use crate::facts::{Body, OpenReport, Raised};
use crate::residents::Resident;
use crate::speaking::wording;
use crate::vitals::rules::{
    Flag, Known, Observations, Rule, SaturationScale, early_warning_flag, early_warning_score,
    flags,
};
use crate::vitals::{Finding, Layer, Reading, Retake, RetakeReason, VitalSign};

/// How close together the parts of an early-warning score must be taken: one
/// round's visit. Common practice, no source.
const ONE_VISIT: Duration = Duration::hours(1);

impl Turn<'_> {
    /// Judges a reading that was just kept under `id`: flags what must be
    /// reported, links it to the one it was taken again for, and adds it to the
    /// resident's past. Returns what to say.
    pub(super) fn judge(&mut self, resident: &Resident, id: Uuid, reading: Reading) -> Vec<String> {
        let day = reading.at.date_naive();
        let findings = resident.limits.judge_on(&reading.measurement, day);
        let outside: Vec<Finding> = findings
            .into_iter()
            .filter(|it| it.layer == Layer::OutsideRange)
            .collect();
        let met = self.rules_met(resident, &reading);
        // A limit of the resident's own says it already; said once is enough.
        let met = met
            .into_iter()
            .filter(|it| outside.is_empty() || it.layer != Layer::OutsideRange);
        let met: Vec<Flag> = met.collect();

        let sign = reading.measurement.sign();
        let flagged = !outside.is_empty() || !met.is_empty();
        self.link_retake(resident, id, sign);
        let kept = self.state.kept.entry(resident.id.clone()).or_default();
        kept.push(KeptHere { id, sign, flagged });
        let history = self.state.histories.entry(resident.id.clone()).or_default();
        history.push(reading);
        let done = |it: &crate::facts::Recheck| it.resident == resident.id && it.sign == sign;
        self.state.rechecks.retain(|it| !done(it));

        let mut said = Vec::new();
        for finding in outside {
            said.push(wording::finding(&finding));
            let resident = resident.id.clone();
            let flag = self.keep(Body::Flagged {
                reading: id,
                resident: resident.clone(),
                finding: finding.clone(),
            });
            self.open_report(flag, resident, Raised::Limit(finding));
        }
        for met in met {
            said.push(wording::spelled(&met.say));
            self.raise(resident, id, met);
        }
        said
    }

    /// Stores a rule that was met and opens its report.
    pub(super) fn raise(&mut self, resident: &Resident, reading: Uuid, met: Flag) {
        let flag = self.keep(Body::RuleMet {
            reading,
            resident: resident.id.clone(),
            flag: met.clone(),
        });
        self.open_report(flag, resident.id.clone(), Raised::Rule(met));
    }

    fn open_report(&mut self, flag: Uuid, resident: crate::residents::ResidentId, raised: Raised) {
        self.state.open_reports.push(OpenReport {
            flag,
            resident,
            raised,
            since: self.now,
        });
    }

    fn rules_met(&self, resident: &Resident, reading: &Reading) -> Vec<Flag> {
        let empty = crate::vitals::History::default();
        let history = self.state.histories.get(&resident.id).unwrap_or(&empty);
        flags(known(resident, history), reading)
    }

    /// The early-warning score, where the home has turned it on and this visit
    /// has all its parts; said once a visit.
    pub(super) fn early_warning(&mut self, resident: &Resident, reading: Uuid) -> Option<String> {
        let is_open = |it: &OpenReport| {
            it.resident == resident.id
                && matches!(&it.raised, Raised::Rule(flag) if flag.rule == Rule::EarlyWarning)
        };
        if self.state.open_reports.iter().any(is_open) {
            return None;
        }
        let history = self.state.histories.get(&resident.id)?;
        let scale = if resident.care.precautions.low_saturation_target {
            SaturationScale::Two
        } else {
            SaturationScale::One
        };
        let set = Observations::gather(history, self.now, ONE_VISIT);
        let score = early_warning_score(&set, scale).ok()?;
        let flag = early_warning_flag(known(resident, history), &score)?;
        let say = wording::spelled(&flag.say);
        self.raise(resident, reading, flag);
        Some(say)
    }

    /// A reading taken again after one of this round that was flagged.
    fn link_retake(&mut self, resident: &Resident, again: Uuid, sign: VitalSign) {
        let kept = self.state.kept.get(&resident.id);
        let first = kept.into_iter().flatten().rev().find(|it| it.sign == sign);
        let Some(first) = first.filter(|it| it.flagged).map(|it| it.id) else {
            return;
        };
        let reason = RetakeReason::OutsideRange;
        self.keep(Body::Retaken(Retake {
            first,
            again,
            reason,
        }));
    }
}

/// What the rules know of a resident.
pub(super) fn known<'a>(resident: &'a Resident, history: &'a crate::vitals::History) -> Known<'a> {
    Known {
        history,
        baselines: &resident.care.baselines,
        limits: &resident.limits,
        precautions: &resident.care.precautions,
    }
}
