//! Whether the microphone is still there. Pure: the clock is an argument.

use std::time::{Duration, Instant};

/// A stream that gives nothing for this long is lost. Sound systems don't always
/// say so when a microphone is pulled out.
const SILENT_FOR: Duration = Duration::from_secs(2);
/// How often a lost microphone is tried again.
const RETRY: Duration = Duration::from_secs(1);

/// What to do now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    /// Nothing.
    Wait,
    /// Close the stream and say that the microphone is lost.
    GiveUp,
    /// Close what is left of a stream and try to open one.
    Reopen,
}

/// The state of the connection to a microphone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Link {
    /// Sound arrived at that time.
    Up(Instant),
    /// Lost; to be tried again at that time.
    Down(Instant),
    /// Opened again at that time, and nothing arrived so far.
    Trying(Instant),
}

impl Link {
    pub(super) fn opened(now: Instant) -> Self {
        Self::Up(now)
    }

    /// Sound arrived; true when the microphone is back.
    pub(super) fn sound(&mut self, now: Instant) -> bool {
        let back = !matches!(self, Self::Up(_));
        *self = Self::Up(now);
        back
    }

    /// The stream failed; true when this is news.
    pub(super) fn failed(&mut self, now: Instant) -> bool {
        let news = matches!(self, Self::Up(_));
        *self = Self::Down(now + RETRY);
        news
    }

    /// An attempt to open it again ended.
    pub(super) fn tried(&mut self, opened: bool, now: Instant) {
        *self = if opened {
            Self::Trying(now)
        } else {
            Self::Down(now + RETRY)
        };
    }

    /// Time passed.
    pub(super) fn step(&self, now: Instant) -> Step {
        match self {
            Self::Up(last) if now.saturating_duration_since(*last) >= SILENT_FOR => Step::GiveUp,
            Self::Down(next) if now >= *next => Step::Reopen,
            Self::Trying(since) if now.saturating_duration_since(*since) >= SILENT_FOR => {
                Step::Reopen
            }
            _ => Step::Wait,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lost_microphone_is_reported_once_and_tried_until_it_is_back() {
        let start = Instant::now();
        let at = |milliseconds| start + Duration::from_millis(milliseconds);
        let mut link = Link::opened(start);
        assert!(!link.sound(at(100)));
        assert_eq!(link.step(at(2_000)), Step::Wait);
        assert_eq!(link.step(at(2_100)), Step::GiveUp);
        assert!(link.failed(at(2_100)), "news");
        assert!(!link.failed(at(2_150)), "no news");
        assert_eq!(link.step(at(3_000)), Step::Wait);
        assert_eq!(link.step(at(3_150)), Step::Reopen);
        link.tried(false, at(3_200));
        assert_eq!(link.step(at(4_199)), Step::Wait);
        assert_eq!(link.step(at(4_200)), Step::Reopen);
        link.tried(true, at(4_210));
        assert_eq!(
            link.step(at(6_000)),
            Step::Wait,
            "opened, but silent so far"
        );
        assert_eq!(link.step(at(6_210)), Step::Reopen);
        link.tried(true, at(6_300));
        assert!(link.sound(at(6_400)), "back");
        assert!(!link.sound(at(6_500)));
    }

    #[test]
    fn a_stream_that_says_it_failed_is_lost_at_once() {
        let start = Instant::now();
        let mut link = Link::opened(start);
        assert!(link.failed(start));
        assert_eq!(link.step(start), Step::Wait);
        assert_eq!(link.step(start + RETRY), Step::Reopen);
    }
}
