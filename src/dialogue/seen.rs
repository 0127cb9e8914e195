//! What a screen and a tutor may see of a conversation.

use std::collections::BTreeSet;

use super::kept::KeptHere;
use super::moved::Moving;
use super::recheck::Elsewhere;
use super::timers::Timer;
use super::{Phase, State};
use crate::facts::{OpenReport, Time};
use crate::residents::ResidentId;
use crate::vitals::Measurement;
use crate::vitals::rules::OrthostaticTest;

/// A count or a wait under way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Running {
    /// What it is for: "pulse count", "thermometer", "3 minutes".
    pub name: String,
    /// When it is over; none until "Start" has been said.
    pub until: Option<Time>,
    /// Whether somebody counts beats or breaths, and is not to be disturbed.
    pub count: bool,
}

impl State {
    /// The number of the question that waits, which no other question of the
    /// round has; where none waits, of that. What is to be said twice has another
    /// number the second time. An answer by hand brings back the
    /// number it saw.
    #[must_use]
    pub const fn asked(&self) -> u64 {
        self.asked
    }

    /// What was said of the current resident and is still being asked about.
    pub fn unfinished(&self) -> impl Iterator<Item = &Measurement> {
        self.drafts.iter().map(|it| &it.claim.measurement)
    }

    /// How many vital signs of the current resident were kept in this round.
    #[must_use]
    pub fn kept_signs(&self) -> usize {
        let kept = self.resident.as_ref().and_then(|id| self.kept.get(id));
        let signs = kept.into_iter().flatten().map(KeptHere::sign);
        signs.collect::<BTreeSet<_>>().len()
    }

    /// Whether the round is over.
    #[must_use]
    pub const fn ended(&self) -> bool {
        self.ended
    }

    /// Lying and standing pressures under way.
    #[must_use]
    pub const fn guided(&self) -> Option<&OrthostaticTest> {
        self.guided.as_ref()
    }

    /// Counts and waits under way, in the order in which they began.
    pub fn running(&self) -> impl Iterator<Item = Running> {
        let elsewhere = self.elsewhere.iter().filter_map(Elsewhere::seen);
        self.timers.iter().map(Timer::seen).chain(elsewhere)
    }

    /// The resident in whose record readings were kept by mistake, while it is
    /// not yet known whose they are.
    #[must_use]
    pub fn moving_from(&self) -> Option<&ResidentId> {
        self.moving.as_ref().map(Moving::from)
    }

    /// The kept readings of which one is to be changed, in the order in which
    /// they are offered.
    pub fn in_doubt(&self) -> impl Iterator<Item = (&Measurement, Time)> {
        let among = match &self.phase {
            Phase::WhichKept(doubt) => doubt.among(),
            _ => &[],
        };
        let kept = self.resident.as_ref().and_then(|id| self.kept.get(id));
        let find = move |id| kept?.iter().find(|it| it.id == id);
        let found = among.iter().filter_map(move |id| find(*id));
        found.map(|it| (&it.measurement, it.record.measured_at))
    }

    /// How often an open report was said again.
    #[must_use]
    pub fn insisted(&self, report: &OpenReport) -> u32 {
        self.insisted.get(&report.flag).copied().unwrap_or(0)
    }

    /// Whether a yes or no to who records is waited for.
    #[must_use]
    pub fn recorder_offered(&self) -> bool {
        self.staff.is_offered()
    }
}
