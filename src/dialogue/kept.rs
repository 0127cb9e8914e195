//! What was kept in this round, as far as it can be changed by voice.

use uuid::Uuid;

use crate::facts::{Raised, ReadingRecord, Recheck};
use crate::understanding::Manner;
use crate::vitals::rules::Rule;
use crate::vitals::{Measurement, Reading, VitalSign, Working};

/// A reading kept in this round.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct KeptHere {
    pub(super) id: Uuid,
    /// As it was kept.
    pub(super) record: ReadingRecord,
    /// As it stands.
    pub(super) measurement: Measurement,
    /// How that was worked out, where it was.
    pub(super) working: Option<Working>,
    /// The fact by which it stands so: its own, or a correction's.
    pub(super) version: Uuid,
    /// What it raised, and the facts of that.
    pub(super) flags: Vec<(Uuid, Raised)>,
    /// The visit in which it was kept.
    pub(super) visit: u32,
    /// The reading that it was taken again for.
    pub(super) first: Option<Uuid>,
    /// The name of the aide who kept it.
    pub(super) by: String,
    /// What nurses had wanted taken again, and was.
    pub(super) settled: Vec<Recheck>,
}

impl KeptHere {
    pub(super) const fn sign(&self) -> VitalSign {
        self.measurement.sign()
    }

    /// How it was said. A chair is not taken off again: it may have been corrected by one
    /// who reads what stands.
    pub(super) fn manner(&self) -> Option<Manner> {
        let counted = |it: &Working| matches!(it, Working::Counted { .. });
        Manner::new(&self.measurement, self.working.filter(counted))
    }

    pub(super) fn reading(&self) -> Reading {
        Reading {
            at: self.record.measured_at,
            measurement: self.measurement.clone(),
        }
    }

    /// Whether the reading itself crosses a limit or meets a rule.
    pub(super) fn flagged(&self) -> bool {
        self.flags.iter().any(|(_, raised)| is_own(raised))
    }
}

/// What a nurse was told of a reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Told {
    pub(super) nurse: String,
    /// The reading as it was then, in words.
    pub(super) was: String,
}

/// Whether something was raised by one reading alone, not by several together
/// or by a change.
pub(super) const fn is_own(raised: &Raised) -> bool {
    match raised {
        Raised::Limit(_) => true,
        Raised::Rule(flag) => !matches!(
            flag.rule,
            Rule::EarlyWarning | Rule::StandingFall | Rule::ToldWrong
        ),
    }
}
