//! A rate that is said while the same is being counted: that of a monitor, or the count
//! itself, said too soon. The read-back says which it is taken for. A yes takes the rate and
//! ends the count; a no, or the end of the count, leaves the count.

use super::Phase;
use super::turn::Turn;
use crate::facts::{Dropped, ReadBack};
use crate::speaking::wording;
use crate::understanding::Claim;
use crate::vitals::{VitalSign, Working};

/// What is said before the read-back.
pub(super) fn rate_not_count(sign: VitalSign) -> String {
    format!("The {} a minute, and no count: ", sign.name())
}

impl Turn<'_> {
    /// The vital sign of these readings that is being counted, where one is and was not
    /// said to be a count.
    pub(super) fn instead_of_count(&self, readings: &ReadBack) -> Option<VitalSign> {
        let counted = self.counted_sign()?;
        let counting = |it: &Claim| matches!(it.working, Some(Working::Counted { .. }));
        let rate = |it: &Claim| it.measurement.sign() == counted && !counting(it);
        readings.claims().any(rate).then_some(counted)
    }

    /// The rate was taken.
    pub(super) fn end_count_of(&mut self, sign: VitalSign) {
        if self.drop_count_of(sign) {
            self.say("The count is stopped.");
        }
    }

    /// The rate was refused, and what was said of it is let go. True when nothing else was
    /// said with it.
    pub(super) fn leave_count(&mut self, sign: VitalSign) -> bool {
        self.state.drafts.retain(|it| it.sign() != sign);
        if !self.state.drafts.is_empty() {
            return false;
        }
        self.say("Not kept.");
        if self.counted_sign() == Some(sign) {
            let name = wording::capital(sign.name());
            self.say(&format!("{name} is still counted."));
        }
        self.advance();
        true
    }

    /// The count is over, and its number is asked for instead of the rate.
    pub(super) fn drop_rate_of(&mut self, sign: VitalSign) {
        if matches!(&self.state.phase, Phase::Confirming(it) if it.instead_of_count == Some(sign)) {
            self.take_back(Dropped::Replaced);
            self.state.drafts.retain(|it| it.sign() != sign);
        }
    }
}
