//! What a screen and a tutor may see of a conversation.

use std::collections::BTreeSet;

use super::State;
use crate::vitals::Measurement;
use crate::vitals::rules::OrthostaticTest;

impl State {
    /// The number of the question that waits, which no other question of the
    /// round has; where none waits, of that. An answer by hand brings back the
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
        let signs = kept.into_iter().flatten().map(|it| it.sign);
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

    /// Whether a yes or no to who records is waited for.
    #[must_use]
    pub fn recorder_offered(&self) -> bool {
        self.staff.is_offered()
    }
}
