//! How something was taken, said alone: of nothing that waits.

use chrono::Duration;

use super::turn::Turn;
use super::{Dialogue, Phase};
use crate::hearing::Heard;
use crate::understanding::{Context, Part, Utterance, understand};
use crate::vitals::VitalSign;

/// How long after "Kept" a word of how it was taken is meant for that. Common practice, no
/// source.
const JUST_KEPT: Duration = Duration::seconds(20);

/// Whether nothing was said but how something was taken.
pub(super) fn is_how(part: &Part) -> bool {
    let other = part.value.is_some() || part.why.is_some() || part.taken.is_some();
    !other && !part.no && !part.qualifiers.is_empty()
}

impl Dialogue {
    /// How a vital sign was taken, where nothing else was said.
    pub(super) fn how(
        &self,
        heard: &Heard,
        sign: VitalSign,
        context: &Context<'_>,
    ) -> Option<Part> {
        let context = Context {
            pending: &[sign],
            ..*context
        };
        match understand(heard, &self.vocabulary, &context) {
            Ok(Utterance::Part(part)) if is_how(&part) => Some(*part),
            _ => None,
        }
    }
}

impl Turn<'_> {
    /// Whether how it was taken was said of what was kept just now: a silence would be taken
    /// for noted.
    pub(super) fn is_late_how(&self, heard: &Heard) -> bool {
        let Some(last) = self.own_kept().last() else {
            return false;
        };
        let context = Context::at_rest(self.dialogue.home.units, self.dialogue.ask_below);
        self.state.phase == Phase::Open
            && !self.state.asleep
            && self.state.guided.is_none()
            && self.now - last.record.confirmed_at <= JUST_KEPT
            && heard.confidence() >= self.dialogue.ask_below
            && self.dialogue.how(heard, last.sign(), &context).is_some()
    }
}
