//! What others added to the record while a round goes on. Pure.

use super::{Dialogue, Phase, State};
use crate::facts::{Fact, Record};

impl Dialogue {
    /// Judges by this range from now on, if the fact sets one.
    pub fn take_range(&mut self, fact: &Fact) {
        self.home.take_range(fact);
    }
}

impl State {
    /// Goes on with the histories of this record, and with what is to be taken again.
    pub fn take_histories(&mut self, record: &Record) {
        self.histories = record.histories();
        self.rechecks = record.rechecks().cloned().collect();
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
