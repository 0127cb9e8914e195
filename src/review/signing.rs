//! What has become of a round since a nurse signed it: a signature stays, and says nothing
//! of what came or was changed after it.

use uuid::Uuid;

use crate::facts::{Body, Fact};

/// What is not covered by the last signature of a round. Facts are taken in the order of
/// the record: what a recorder that was cut off sends later, whoever signed has not seen.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SinceSigned {
    /// Whether more was recorded in it.
    pub came: bool,
    /// Readings of it that were corrected or retracted, or that nurses put there: entered
    /// by hand, or moved from another resident's record. In that order, each once.
    pub changed: Vec<Uuid>,
}

impl SinceSigned {
    /// Whether the signature covers all of the round.
    #[must_use]
    pub const fn is_nothing(&self) -> bool {
        !self.came && self.changed.is_empty()
    }

    /// Takes in a fact about a round that was signed before it.
    pub fn take(&mut self, fact: &Fact) {
        let changed = match &fact.body {
            Body::Read(record) if record.by_nurse => fact.id,
            Body::Corrected { reading, .. } | Body::Retracted { reading, .. } => *reading,
            Body::Read(_) | Body::NotTaken { .. } | Body::Unconfirmed { .. } => {
                self.came = true;
                return;
            }
            _ => return,
        };
        if !self.changed.contains(&changed) {
            self.changed.push(changed);
        }
    }
}

/// The reading that a fact changes, where it changes one. What is changed belongs to the
/// round of the reading, whichever it was changed in.
#[must_use]
pub const fn changed_by(body: &Body) -> Option<Uuid> {
    match body {
        Body::Corrected { reading, .. } | Body::Retracted { reading, .. } => Some(*reading),
        _ => None,
    }
}
