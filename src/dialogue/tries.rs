//! Which vital signs are hard to make out, and the advice that follows.
//!
//! Some voices' "nineteen" is heard as "ninety" however often it is said. Whoever
//! only says the same words again gets nowhere, so from the second time on that a
//! value was asked for again, refused or said anew, it is asked for digit by
//! digit, which has no such pairs. Common practice of spoken numbers, no source.

use super::turn::Turn;
use crate::vitals::VitalSign;

/// So many times in vain, and the advice is given.
const ENOUGH: u32 = 2;

impl Turn<'_> {
    /// A value of each of these was said in vain.
    pub(super) fn in_vain(&mut self, signs: impl IntoIterator<Item = VitalSign>) {
        for sign in signs {
            let times = self.state.in_vain.entry(sign).or_insert(0);
            *times = times.saturating_add(1);
        }
    }

    /// Whether any of these was said in vain often enough for the advice.
    pub(super) fn is_hard(&self, signs: &[VitalSign]) -> bool {
        let times = |it: &VitalSign| self.state.in_vain.get(it).copied().unwrap_or(0);
        let of_digits = |it: &&VitalSign| !matches!(it, VitalSign::Alertness | VitalSign::Pain);
        let mut spelled = signs.iter().filter(of_digits);
        spelled.any(|it| times(it) >= ENOUGH)
    }
}
