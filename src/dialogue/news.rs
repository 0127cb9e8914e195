//! What others added to the record while a round goes on. Pure.

use uuid::Uuid;

use super::{Dialogue, Phase, State};
use crate::facts::{Fact, Record};
use crate::residents::ResidentId;
use crate::vitals::Measurement;

impl Dialogue {
    /// Judges by this range from now on, if the fact sets one.
    pub fn take_range(&mut self, fact: &Fact) {
        self.home.take_range(fact);
    }
}

impl State {
    /// Goes on with the histories of this record, with what is to be taken again or was put
    /// off, and with what was kept in this round as it stands there.
    pub fn take_histories(&mut self, record: &Record) {
        self.histories = record.histories();
        self.rechecks = record.rechecks().cloned().collect();
        self.put_off = record.put_off_since(self.since).cloned().collect();
        for here in self.kept.values_mut() {
            here.retain_mut(|it| match record.reading(it.id) {
                Some(now) if now.retracted => false,
                Some(now) if now.version != it.version => {
                    it.measurement = now.measurement.clone();
                    it.record.measured_at = now.measured_at;
                    it.version = now.version;
                    // Whoever corrected it has seen what it raised.
                    it.flags.clear();
                    true
                }
                _ => true,
            });
        }
    }

    /// What was kept in this round and stands, as it stands now.
    #[must_use]
    pub fn kept_here(&self, resident: &ResidentId, reading: Uuid) -> Option<&Measurement> {
        let mut here = self.kept.get(resident)?.iter();
        let kept = here.find(|it| it.id == reading)?;
        Some(&kept.measurement)
    }

    /// Goes on with the open reports of this record. A report that another raised
    /// meanwhile is that one's to tell; it is heard here only of the resident who is
    /// being identified.
    pub fn take_reports(&mut self, record: &Record) {
        let here = match &self.phase {
            Phase::Identify(resident) => Some(resident.clone()),
            _ => None,
        };
        let known = std::mem::take(&mut self.open_reports);
        let is_known = |flag| known.iter().any(|it| it.flag == flag);
        let open = record.open_reports();
        let meant = open.filter(|it| is_known(it.flag) || Some(&it.resident) == here.as_ref());
        self.open_reports = meant.cloned().collect();
    }
}
