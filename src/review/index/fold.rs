//! Taking in facts.

use std::sync::Arc;

use chrono::NaiveDate;
use uuid::Uuid;

use super::{
    Act, ActKind, Closed, ClosedHow, Entry, Flag, Held, Index, Missed, Note, RangeChange, Recheck,
    Round,
};
use crate::facts::{Body, Correction, Dropped, Fact, Pending, Raised, ReadingRecord, Time};
use crate::residents::{Care, Resident, ResidentId};
use crate::review::signing::{SinceSigned, changed_by};
use crate::store::Stored;
use crate::vitals::{Limits, Measurement};

impl Index {
    /// Takes in facts. What holds is the same in whichever order they come.
    pub fn extend(&mut self, facts: impl IntoIterator<Item = Stored>) {
        for stored in facts {
            self.seq = self.seq.max(stored.seq);
            match stored.fact {
                Ok(fact) => self.add(fact),
                Err(error) => {
                    tracing::error!("{error}");
                    self.damaged += 1;
                }
            }
        }
    }

    /// Takes in one fact.
    #[expect(
        clippy::too_many_lines,
        reason = "one arm for each kind of fact, and none of them long"
    )]
    pub fn add(&mut self, fact: Fact) {
        self.touch_round(&fact);
        if matches!(fact.body, Body::RangeSet { .. }) {
            return self.range_set(fact);
        }
        let Fact {
            id, at, by, round, ..
        } = fact;
        match fact.body {
            Body::Read(record) => {
                if let Some(from) = &record.moved_from {
                    self.moved.insert(from.reading, id);
                }
                self.read(id, round, &by, &record);
            }
            Body::Offered {
                resident,
                read_back,
                moves,
                unfinished,
                ..
            } => {
                let pending = Pending {
                    offer: id,
                    resident,
                    read_back,
                    moves,
                    settled: false,
                    unfinished,
                };
                self.pending.insert(id, (pending, at, round));
            }
            Body::Dropped { offer, why, .. } => {
                // Whichever aide came next was told of it; the nurse still was not.
                if why != Dropped::Stopped {
                    self.pending.remove(&offer);
                }
            }
            Body::Unconfirmed {
                offer,
                resident,
                readings,
            } => {
                self.pending.remove(&offer);
                self.held.push(Held {
                    resident,
                    readings,
                    at,
                    by,
                    round,
                });
            }
            Body::NotTaken {
                resident,
                signs,
                reason,
                ..
            } => self.missed.push(Missed {
                resident,
                signs,
                reason,
                at,
                by,
                round,
            }),
            Body::Flagged {
                reading,
                resident,
                finding,
                of,
            } => self.flagged(Flag {
                of,
                id,
                reading,
                resident,
                raised: Raised::Limit(finding),
                at,
                by,
                round,
            }),
            Body::RuleMet {
                reading,
                resident,
                flag,
                of,
            } => self.flagged(Flag {
                of,
                id,
                reading,
                resident,
                raised: Raised::Rule(flag),
                at,
                by,
                round,
            }),
            Body::ReportedToNurse { flags, to, .. } => {
                let how = ClosedHow::Told(to);
                self.close(&flags, &Closed { id, at, by, how });
            }
            Body::Withdrawn { flags, .. } => {
                let how = ClosedHow::Withdrawn;
                self.close(&flags, &Closed { id, at, by, how });
                self.withdraw(&flags, id);
            }
            Body::Acknowledged { flags, .. } => {
                let how = ClosedHow::Acknowledged;
                self.close(&flags, &Closed { id, at, by, how });
            }
            Body::Corrected {
                reading,
                old,
                new,
                reason,
                stands,
                over,
                by_nurse,
                time,
                ..
            } => {
                let it = Box::new(Correction {
                    id,
                    at,
                    over,
                    by_nurse,
                    old,
                    new,
                    time,
                });
                let kind = ActKind::Corrected { it, reason, stands };
                self.act(reading, Act { id, at, by, kind });
            }
            Body::Retracted {
                reading,
                reason,
                over,
                ..
            } => {
                let kind = ActKind::Retracted { reason, over };
                self.act(reading, Act { id, at, by, kind });
            }
            Body::Noted {
                resident,
                about: None,
                text,
            } => {
                let notes = self.notes.entry(resident).or_default();
                notes.push(Note {
                    round,
                    at,
                    by,
                    text,
                });
            }
            Body::Noted {
                about: Some(reading),
                text,
                ..
            } => {
                let kind = ActKind::Noted(text);
                self.act(reading, Act { id, at, by, kind });
            }
            Body::RecheckAsked {
                resident,
                sign,
                reason,
            } => self.rechecks.push(Recheck {
                id,
                resident,
                sign,
                reason,
                at,
                by,
            }),
            Body::Signed { signed, .. } => {
                if let Some(round) = self.rounds.get_mut(&signed) {
                    round.signed.push((by, at, id));
                    round.since_signed = SinceSigned::default();
                }
            }
            Body::Identified {
                resident,
                name,
                birth_date,
                ..
            } => self.identified(at, resident, name, birth_date),
            Body::RoundOpened { .. }
            | Body::Recorder
            | Body::Retaken(_)
            | Body::RangeSet { .. }
            | Body::RoundClosed { .. } => {}
        }
    }

    fn identified(&mut self, at: Time, id: ResidentId, name: String, birth_date: NaiveDate) {
        if self.identified.get(&id).is_some_and(|it| it.0 > at) {
            return;
        }
        let resident = Resident {
            id: id.clone(),
            wing: None,
            room: String::new(),
            bed: None,
            name,
            birth_date,
            limits: Limits::default(),
            care: Care::default(),
        };
        self.identified.insert(id, (at, resident));
    }

    /// Rounds are made of what the recorder appends; what a nurse does to a
    /// round's facts later does not make it any longer, but it is not what was signed.
    fn touch_round(&mut self, fact: &Fact) {
        if matches!(fact.body, Body::RoundOpened { .. }) {
            let round = Round {
                id: fact.round,
                by: fact.by.clone(),
                opened: fact.at,
                closed: None,
                last: fact.at,
                readings: 0,
                residents: std::collections::BTreeSet::new(),
                signed: Vec::new(),
                since_signed: SinceSigned::default(),
            };
            self.rounds.insert(fact.round, round);
            return;
        }
        let changed = changed_by(&fact.body).and_then(|it| self.reading(it));
        let of = changed.map_or(fact.round, |it| it.round);
        let Some(round) = self.rounds.get_mut(&of) else {
            return;
        };
        if !round.signed.is_empty() {
            round.since_signed.take(fact);
        }
        match &fact.body {
            Body::Read(record) => {
                round.readings += 1;
                if !round.residents.contains(&record.resident) {
                    round.residents.insert(record.resident.clone());
                }
                // A nurse at the station does not record.
                if record.by_nurse {
                    return;
                }
            }
            Body::RoundClosed { .. } => round.closed = round.closed.max(Some(fact.at)),
            Body::Identified { .. } | Body::Offered { .. } | Body::NotTaken { .. } => {}
            _ => return,
        }
        round.last = round.last.max(fact.at);
    }

    fn read(&mut self, id: Uuid, round: Uuid, by: &crate::residents::Staff, it: &ReadingRecord) {
        self.pending.remove(&it.offer);
        let Ok(at) = u32::try_from(self.readings.len()) else {
            return;
        };
        let entry = Entry {
            id,
            round,
            measurement: self.shared(&it.measurement),
            measured_at: it.measured_at,
            confidence: it.confidence,
            second_look: it.second_look,
            version: id,
            retracted: false,
            flagged: false,
            who: self.people.of(&it.resident),
            by: self.staff.of(by),
        };
        if it.by_hand.is_some() {
            self.by_hand.insert(id);
        }
        self.marks.push(entry.mark());
        self.readings.push(entry);
        self.at.insert(id, at);
        let latest = self.latest.entry(it.resident.clone()).or_default();
        let latest = latest.entry(it.measurement.sign()).or_insert(at);
        if place(&self.readings[*latest as usize]) <= place(&self.readings[at as usize]) {
            *latest = at;
        }
        self.put_in_time(at);
        if self.acts.contains_key(&id) || self.flags_of.contains_key(&id) {
            self.stand(id);
        }
    }

    /// Puts a reading where its time belongs.
    fn put_in_time(&mut self, at: u32) {
        let entry = &self.readings[at as usize];
        let (when, who) = (place(entry), &self.people.all[entry.who as usize]);
        let own = self.by_resident.entry(who.clone()).or_default();
        for list in [&mut self.by_time, own] {
            // Nearly always the newest, so look from the end.
            let later = |&it: &u32| place(&self.readings[it as usize]) > when;
            let after = if list.last().is_some_and(later) {
                list.partition_point(|it| !later(it))
            } else {
                list.len()
            };
            list.insert(after, at);
        }
    }

    /// The time of a reading was corrected: it is in another place since.
    pub(super) fn move_in_time(&mut self, at: u32, to: Time) {
        let entry = &self.readings[at as usize];
        let (id, from) = (entry.id, place(entry));
        let own = self
            .by_resident
            .get_mut(&self.people.all[entry.who as usize]);
        for list in [Some(&mut self.by_time), own].into_iter().flatten() {
            let before = |it: &u32| place(&self.readings[*it as usize]) < from;
            let found = list.partition_point(before);
            if list.get(found) == Some(&at) {
                list.remove(found);
            }
        }
        self.readings[at as usize].measured_at = to;
        self.put_in_time(at);
        self.find_latest_again(id);
    }

    /// The latest reading may be the one that was just retracted, or has another time.
    pub(super) fn find_latest_again(&mut self, changed: Uuid) {
        let Some(&at) = self.at.get(&changed) else {
            return;
        };
        let entry = &self.readings[at as usize];
        let (resident, sign) = (self.resident_of(entry).clone(), entry.measurement.sign());
        let own = self.by_resident.get(&resident).map_or(&[][..], |it| it);
        let counts = |it: &&u32| {
            let entry = &self.readings[**it as usize];
            entry.measurement.sign() == sign && !entry.retracted
        };
        let found = own.iter().rev().find(counts).copied();
        let latest = self.latest.entry(resident).or_default();
        match found {
            Some(at) => latest.insert(sign, at),
            None => latest.remove(&sign),
        };
    }

    fn range_set(&mut self, fact: Fact) {
        let before = |home: &crate::residents::Home| {
            let Body::RangeSet {
                resident,
                sign,
                component,
                ..
            } = &fact.body
            else {
                return None;
            };
            let range = home.resident(resident)?.limits.range(*sign, *component);
            range.map(|it| it.bounds)
        };
        let was = before(&self.home);
        self.home.take_range(&fact);
        self.set.push(fact.clone());
        if let Body::RangeSet {
            resident,
            sign,
            component,
            bounds,
            withdrawn,
        } = fact.body
        {
            let change = RangeChange {
                at: fact.at,
                by: fact.by,
                target: (sign, component),
                before: was,
                after: (!withdrawn).then_some(bounds),
            };
            self.ranges.entry(resident).or_default().push(change);
        }
    }

    fn flagged(&mut self, flag: Flag) {
        if !self.closed.contains_key(&flag.id) {
            self.open.insert(flag.id);
        }
        let order = |it: &Uuid| self.flags.get(it).map(|it| (it.at, it.id));
        let of = self.flags_of.entry(flag.reading).or_default();
        let after = of.partition_point(|it| order(it) < Some((flag.at, flag.id)));
        of.insert(after, flag.id);
        let reading = flag.reading;
        self.flags.insert(flag.id, flag);
        self.stand(reading);
    }

    /// What was withdrawn says nothing any more of what holds.
    fn withdraw(&mut self, flags: &[Uuid], by: Uuid) {
        for flag in flags {
            self.withdrawn.insert(*flag, by);
            if let Some(reading) = self.flags.get(flag).map(|it| it.reading) {
                self.stand(reading);
            }
        }
    }

    fn close(&mut self, flags: &[Uuid], closed: &Closed) {
        for flag in flags {
            self.open.remove(flag);
            // The first answer counts; later ones change nothing.
            let first = self.closed.entry(*flag).or_insert_with(|| closed.clone());
            if (closed.at, closed.id) < (first.at, first.id) {
                *first = closed.clone();
            }
        }
    }

    fn act(&mut self, reading: Uuid, act: Act) {
        let acts = self.acts.entry(reading).or_default();
        let after = acts.partition_point(|it| (it.at, it.id) < (act.at, act.id));
        acts.insert(after, act);
        self.stand(reading);
    }

    pub(super) fn shared(&mut self, measurement: &Measurement) -> Arc<Measurement> {
        if let Some(known) = self.values.get(measurement) {
            return Arc::clone(known);
        }
        let new = Arc::new(measurement.clone());
        self.values.insert(Arc::clone(&new));
        new
    }
}

/// Its place in time.
const fn place(entry: &Entry) -> (Time, Uuid) {
    (entry.measured_at, entry.id)
}
