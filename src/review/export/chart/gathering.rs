//! The fold: two passes, so that the order of the facts does not matter.

use std::collections::{BTreeMap, BTreeSet};

use uuid::Uuid;

use super::{Act, Cause, Change, Chart, Entry, Flag, Missed, Remark, Retaken, Round, Unconfirmed};
use crate::facts::{Body, Correction, Fact, Standing, set_by};
use crate::review::SinceSigned;
use crate::review::signing::changed_by;
use crate::vitals::Retake;

#[derive(Default)]
pub(super) struct Gathering<'a> {
    chart: Chart<'a>,
    readings: BTreeMap<Uuid, Entry<'a>>,
    missed: BTreeMap<Uuid, Missed<'a>>,
    /// The reading of each flag.
    flags: BTreeMap<Uuid, Uuid>,
    rounds: BTreeMap<Uuid, Round<'a>>,
    /// Those of them that were signed.
    signed: BTreeSet<Uuid>,
    corrections: BTreeMap<Uuid, Vec<Correction>>,
    /// By which fact the value held that a flag is about.
    of: BTreeMap<Uuid, Uuid>,
}

impl<'a> Gathering<'a> {
    pub(super) fn of(facts: &'a [Fact]) -> Chart<'a> {
        let mut gathering = Self::default();
        for fact in facts {
            gathering.begin(fact);
        }
        for fact in facts {
            gathering.sign(fact);
        }
        let mut later: Vec<&Fact> = facts.iter().collect();
        later.sort_by_key(|fact| (fact.at, fact.id));
        for fact in later {
            gathering.add(fact);
        }
        gathering.finish()
    }

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
                    measured_at: record.measured_at,
                    corrections: Vec::new(),
                    apart: Vec::new(),
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
            Body::RoundOpened { home } => {
                let round = Round {
                    id: fact.round,
                    opened: self::act(fact, home),
                    closed_at: None,
                    signed: Vec::new(),
                    since_signed: SinceSigned::default(),
                };
                self.rounds.insert(fact.round, round);
            }
            Body::Flagged { reading, .. } | Body::RuleMet { reading, .. } => {
                self.flags.insert(fact.id, *reading);
            }
            _ => {}
        }
    }

    /// What came after the signatures, in the order of the record: by their times alone, a
    /// nurse would have signed what had not come yet.
    fn sign(&mut self, fact: &Fact) {
        if let Body::Signed { signed, .. } = &fact.body {
            if let Some(round) = self.rounds.get_mut(signed) {
                round.since_signed = SinceSigned::default();
                self.signed.insert(*signed);
            }
            return;
        }
        let changed = changed_by(&fact.body).and_then(|it| self.readings.get(&it));
        let of = changed.map_or(fact.round, |it| it.round);
        if self.signed.contains(&of)
            && let Some(round) = self.rounds.get_mut(&of)
        {
            round.since_signed.take(fact);
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
                stands,
                time,
                ..
            } => {
                let change = Change {
                    id: fact.id,
                    act: act(fact, reason),
                    old,
                    new,
                    stands,
                    time: *time,
                };
                self.about(*reading, fact, |entry| entry.corrections.push(change));
                let made = Correction::of(fact).map(|(_, it)| it);
                self.corrections.entry(*reading).or_default().extend(made);
            }
            Body::Retracted {
                reading, reason, ..
            } => {
                let act = act(fact, reason);
                self.about(*reading, fact, |entry| entry.retracted = Some(act));
                self.about_missed(*reading, fact, |missed| missed.retracted = Some(act));
            }
            Body::Flagged {
                reading,
                finding,
                of,
                ..
            } => self.flag(*reading, fact, Cause::Limit(finding), *of),
            Body::RuleMet {
                reading, flag, of, ..
            } => self.flag(*reading, fact, Cause::Rule(flag), *of),
            Body::Retaken(retake) => self.retaken(*retake, fact),
            Body::ReportedToNurse { flags, to, .. } => {
                self.about_flags(flags, fact, |flag| flag.reported = Some(act(fact, to)));
            }
            Body::Withdrawn { flags, .. } => {
                self.about_flags(flags, fact, |flag| flag.withdrawn = Some(act(fact, "")));
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
            Body::Noted {
                about: None,
                resident,
                text,
            } => self.chart.remarks.push(Remark {
                id: fact.id,
                act: act(fact, text),
                round: fact.round,
                resident,
            }),
            Body::RoundClosed { .. } => {
                if let Some(round) = self.rounds.get_mut(&fact.round) {
                    round.closed_at = Some(fact.at);
                }
            }
            Body::Signed { signed, .. } => {
                if let Some(round) = self.rounds.get_mut(signed) {
                    round.signed.push(act(fact, ""));
                }
            }
            Body::RangeSet {
                resident,
                sign,
                component,
                bounds,
                withdrawn,
            } => {
                let bounds = (!withdrawn).then_some(*bounds);
                let limits = self.chart.ranges.entry(resident).or_default();
                set_by(limits, fact, (*sign, *component), bounds);
            }
            _ => {}
        }
    }

    /// A flag that does not say which value it is about is about the newest of then.
    fn flag(&mut self, reading: Uuid, fact: &Fact, cause: Cause<'a>, of: Option<Uuid>) {
        let newest = self
            .readings
            .get(&reading)
            .and_then(|it| it.corrections.last());
        let newest = newest.map_or(reading, |it| it.id);
        self.of.insert(fact.id, of.unwrap_or(newest));
        self.about(reading, fact, |entry| {
            entry.flags.push(Flag {
                id: fact.id,
                at: fact.at,
                stands: true,
                cause,
                reported: None,
                acknowledged: None,
                withdrawn: None,
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
        for entry in &mut chart.readings {
            if let Some(made) = self.corrections.get(&entry.id) {
                stand(entry, made);
            }
            let (version, kept) = match entry.corrections.last() {
                Some(last) => (last.id, last.stands),
                None => (entry.id, &[][..]),
            };
            for flag in &mut entry.flags {
                let of = self.of.get(&flag.id);
                let about_it = kept.contains(&flag.id) || of == Some(&version);
                flag.stands = about_it && flag.withdrawn.is_none();
            }
        }
        chart.rounds = self.rounds.into_values().collect();
        chart.rounds.sort_by_key(|it| (it.opened.at, it.id));
        chart.missed = self.missed.into_values().collect();
        chart.readings.sort_by_key(|it| (it.measured_at, it.id));
        chart.missed.sort_by_key(|it| (it.act.at, it.id));
        chart.unconfirmed.sort_by_key(|it| it.act.at);
        chart
    }
}

/// Parts the corrections into those that led to what holds and the others.
fn stand(entry: &mut Entry<'_>, made: &[Correction]) {
    let standing = Standing::of(entry.id, &entry.record.measurement, made);
    let changes = std::mem::take(&mut entry.corrections);
    let line = standing.line.iter();
    let line = line.filter_map(|it| changes.iter().find(|change| change.id == it.id));
    entry.corrections = line.copied().collect();
    let on_line = |it: &&Change| standing.line.iter().any(|on| on.id == it.id);
    entry.apart = changes.iter().filter(|it| !on_line(it)).copied().collect();
    if let Some(last) = entry.corrections.last() {
        entry.measurement = last.new;
    }
    entry.measured_at = standing.measured_at().unwrap_or(entry.measured_at);
}

fn act<'a>(fact: &'a Fact, text: &'a str) -> Act<'a> {
    Act {
        at: fact.at,
        by: &fact.by,
        text,
    }
}
