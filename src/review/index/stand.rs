//! What holds of a reading: of all that was done to it and all that it raised, in
//! whichever order that came.

use std::sync::Arc;

use uuid::Uuid;

use super::{Act, ActKind, Entry, Flag, Index};
use crate::facts::{Correction, Raised, Standing, Time};
use crate::vitals::rules::Rule;

impl Index {
    /// How the corrections of a reading stand to each other.
    #[must_use]
    pub fn standing(&self, entry: &Entry) -> Standing<'_> {
        let recorded = self.recorded.get(&entry.id).unwrap_or(&entry.measurement);
        let made = self.acts(entry.id).iter().filter_map(Act::correction);
        Standing::of(entry.id, recorded, made)
    }

    /// Readings that were changed by two who did not know of each other, in ways that
    /// differ, and that nobody has looked at since.
    pub fn changed_apart(&self) -> impl Iterator<Item = &Entry> {
        self.apart.iter().filter_map(|it| self.reading(*it))
    }

    /// Whether it is one of those.
    #[must_use]
    pub fn is_apart(&self, entry: &Entry) -> bool {
        self.apart.contains(&entry.id)
    }

    /// The correction that whoever retracted this reading did not know of.
    #[must_use]
    pub fn retracted_unaware(&self, entry: &Entry) -> Option<&Act> {
        if !entry.retracted || !entry.corrected() {
            return None;
        }
        let acts = self.acts(entry.id);
        let unaware = |it: &Act| match &it.kind {
            ActKind::Retracted { over, .. } => over.is_empty() || over.contains(&entry.version),
            _ => false,
        };
        if acts.iter().any(unaware) {
            return None;
        }
        acts.iter().find(|it| it.id == entry.version)
    }

    pub(super) fn stand(&mut self, id: Uuid) {
        let Some(entry) = self.reading(id) else {
            return;
        };
        let standing = self.standing(entry);
        let version = standing.version();
        let new = standing.holds().map(|it| it.new.clone());
        let corrected_at = standing.measured_at();
        let rivals = standing.rivals().next().is_some();
        let acts = self.acts(id);
        let retracted = |it: &Act| matches!(it.kind, ActKind::Retracted { .. });
        let retracted = acts.iter().any(retracted);
        let kept = acts.iter().find_map(|it| match &it.kind {
            ActKind::Corrected { stands, .. } if it.id == version => Some(stands.as_slice()),
            _ => None,
        });
        let kept = kept.unwrap_or_default();
        let holds = |it: &Flag| kept.contains(&it.id) || self.about(it) == version;
        let flagged = self
            .flags_of(id)
            .any(|it| is_of_value(it) && !self.withdrawn.contains_key(&it.id) && holds(it));

        let first = self.recorded.get(&id).unwrap_or(&entry.measurement);
        let first = Arc::clone(first);
        if new.is_some() {
            self.recorded
                .entry(id)
                .or_insert_with(|| Arc::clone(&first));
        }
        let measurement = new.map_or(first, |it| self.shared(&it));
        let Some(at) = self.at.get(&id).map(|it| *it as usize) else {
            return;
        };
        self.stand_in_time(at, corrected_at);
        let entry = &mut self.readings[at];
        let gone = retracted && !entry.retracted;
        (entry.measurement, entry.version) = (measurement, version);
        (entry.retracted, entry.flagged) = (retracted, flagged);
        self.marks[at] = entry.mark();
        if gone {
            self.find_latest_again(id);
        }
        let looked_at = self.looked_at_since(id);
        let unaware = self.reading(id).and_then(|it| self.retracted_unaware(it));
        let unaware = unaware.is_some() && !looked_at;
        if unaware || (rivals && !retracted) {
            self.apart.insert(id);
        } else {
            self.apart.remove(&id);
        }
    }

    fn stand_in_time(&mut self, at: usize, corrected: Option<Time>) {
        let Some(Entry {
            id, measured_at, ..
        }) = self.readings.get(at)
        else {
            return;
        };
        let (id, now) = (*id, *measured_at);
        let recorded = self.recorded_at(id).unwrap_or(now);
        let measured_at = corrected.unwrap_or(recorded);
        if measured_at != now
            && let Ok(at) = u32::try_from(at)
        {
            self.recorded_at.entry(id).or_insert(recorded);
            self.move_in_time(at, measured_at);
        }
    }

    /// When a reading was measured, as was recorded at first, where that was corrected.
    #[must_use]
    pub fn recorded_at(&self, reading: Uuid) -> Option<Time> {
        self.recorded_at.get(&reading).copied()
    }

    /// Whether a remark is the last that was said of it: of a retracted reading nobody
    /// can say more.
    fn looked_at_since(&self, id: Uuid) -> bool {
        let last = self.acts(id).last();
        last.is_some_and(|it| matches!(it.kind, ActKind::Noted(_)))
    }

    /// By which fact the value held that a flag is about. Where it does not say so
    /// itself, the last correction before it made that value.
    fn about(&self, flag: &Flag) -> Uuid {
        flag.of.unwrap_or_else(|| {
            let before = self.acts(flag.reading).iter().rev();
            let mut before = before.filter(|it| (it.at, it.id) < (flag.at, flag.id));
            let made = before.find(|it| it.correction().is_some());
            made.map_or(flag.reading, |it| it.id)
        })
    }
}

impl Act {
    /// Whether it changed what holds, and is no mere remark.
    #[must_use]
    pub const fn changes(&self) -> bool {
        !matches!(self.kind, ActKind::Noted(_))
    }

    /// The correction, if it is one.
    #[must_use]
    pub fn correction(&self) -> Option<&Correction> {
        match &self.kind {
            ActKind::Corrected { it, .. } => Some(it),
            _ => None,
        }
    }
}

/// Whether a flag says something of the value that holds now: that a nurse was told wrongly
/// does not, and a score is of a whole visit, whose last reading carries it.
fn is_of_value(flag: &Flag) -> bool {
    let Raised::Rule(it) = &flag.raised else {
        return true;
    };
    !matches!(it.rule, Rule::ToldWrong | Rule::EarlyWarning)
}
