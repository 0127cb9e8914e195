//! When silence becomes an answer. Pure: the clock is an argument.

use std::time::Duration;

use tokio::time::Instant;

/// Louder than this, in dBFS, somebody may be speaking.
const SPEECH: f32 = -45.0;
/// Silence is not an answer so soon after speech: the recogniser waits a moment
/// before it takes an utterance for ended, and people pause between words.
const AFTER_SPEECH: Duration = Duration::from_millis(1_500);
/// The longest that speech puts off the silence, so that a television in the
/// room does not make Sayback wait for ever.
const MOST_MORE: Duration = Duration::from_secs(12);

/// How long an answer is waited for.
#[derive(Debug, Default)]
pub(super) struct Patience {
    deadline: Option<Instant>,
    loud: Option<Instant>,
}

impl Patience {
    /// Waits anew for an answer, or for none at all.
    pub(super) fn start(&mut self, seconds: Option<u32>, now: Instant) {
        self.deadline = seconds.map(|it| now + Duration::from_secs(it.into()));
        self.loud = None;
    }

    /// Waits for nothing.
    pub(super) fn stop(&mut self) {
        *self = Self::default();
    }

    /// It was this loud, in dBFS.
    pub(super) fn level(&mut self, rms: f32, now: Instant) {
        if rms > SPEECH {
            self.loud = Some(now);
        }
    }

    /// When silence is an answer, if nothing more is heard until then.
    pub(super) fn ends(&self) -> Option<Instant> {
        self.deadline.map(|it| self.after_speech(it))
    }

    /// A time, or later when somebody is speaking then.
    pub(super) fn after_speech(&self, at: Instant) -> Instant {
        let after = self.loud.map_or(at, |loud| loud + AFTER_SPEECH);
        at.max(after.min(at + MOST_MORE))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MS: Duration = Duration::from_millis(1);

    #[test]
    fn silence_is_an_answer_after_the_time_given() {
        let (mut patience, now) = (Patience::default(), Instant::now());
        assert_eq!(patience.ends(), None);
        patience.start(Some(8), now);
        patience.level(-60.0, now + 7_900 * MS);
        assert_eq!(patience.ends(), Some(now + 8_000 * MS));
        patience.start(None, now);
        assert_eq!(patience.ends(), None);
    }

    #[test]
    fn an_answer_that_has_begun_is_waited_for() {
        let (mut patience, now) = (Patience::default(), Instant::now());
        patience.start(Some(8), now);
        patience.level(-20.0, now + 7_900 * MS);
        // A pause between words, and the end of the utterance, are no answer.
        patience.level(-70.0, now + 8_800 * MS);
        assert_eq!(patience.ends(), Some(now + 9_400 * MS));
        patience.level(-20.0, now + 9_000 * MS);
        assert_eq!(patience.ends(), Some(now + 10_500 * MS));
    }

    #[test]
    fn a_noisy_room_is_not_waited_for_without_end() {
        let (mut patience, now) = (Patience::default(), Instant::now());
        patience.start(Some(8), now);
        patience.level(-20.0, now + 60_000 * MS);
        assert_eq!(patience.ends(), Some(now + 20_000 * MS));
        // What was loud before the question does not count.
        patience.start(Some(8), now + 61_000 * MS);
        assert_eq!(patience.ends(), Some(now + 69_000 * MS));
    }
}
