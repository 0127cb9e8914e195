//! Not hearing oneself: the microphone is deaf while something is being said,
//! and a little longer, until the room is quiet again.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// How long a room rings after the last word.
const TAIL: Duration = Duration::from_millis(250);

/// Makes a microphone deaf for a while. Cheap to clone; usable from any thread.
#[derive(Debug, Clone)]
pub struct Mute {
    inner: Arc<Inner>,
}

#[derive(Debug)]
struct Inner {
    start: Instant,
    holders: AtomicUsize,
    /// Milliseconds after `start` until which the tail of the last hold lasts.
    deaf_until: AtomicU64,
}

impl Default for Mute {
    fn default() -> Self {
        let inner = Inner {
            start: Instant::now(),
            holders: AtomicUsize::new(0),
            deaf_until: AtomicU64::new(0),
        };
        Self {
            inner: Arc::new(inner),
        }
    }
}

/// The microphone is deaf while this lives, and a quarter of a second longer.
#[derive(Debug)]
#[must_use = "the microphone hears again as soon as this is dropped"]
pub struct Muted {
    inner: Arc<Inner>,
}

impl Mute {
    /// Makes the microphone deaf until what is returned is dropped. Several may
    /// hold it at once.
    pub fn hold(&self) -> Muted {
        self.inner.holders.fetch_add(1, Ordering::SeqCst);
        Muted {
            inner: Arc::clone(&self.inner),
        }
    }

    /// Whether the microphone is deaf now.
    #[must_use]
    pub fn is_deaf(&self) -> bool {
        self.is_deaf_at(Instant::now())
    }

    pub(super) fn is_deaf_at(&self, now: Instant) -> bool {
        self.inner.holders.load(Ordering::SeqCst) > 0
            || self.inner.since_start(now) < self.inner.deaf_until.load(Ordering::SeqCst)
    }
}

impl Inner {
    fn since_start(&self, now: Instant) -> u64 {
        let passed = now.saturating_duration_since(self.start).as_millis();
        u64::try_from(passed).unwrap_or(u64::MAX)
    }
}

impl Drop for Muted {
    fn drop(&mut self) {
        // The tail is set before the hold ends, so that there is no gap between.
        let until = self.inner.since_start(Instant::now() + TAIL);
        self.inner.deaf_until.fetch_max(until, Ordering::SeqCst);
        self.inner.holders.fetch_sub(1, Ordering::SeqCst);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn deaf_while_held_and_for_the_tail() {
        let mute = Mute::default();
        assert!(!mute.is_deaf());
        let first = mute.hold();
        let second = mute.clone().hold();
        drop(first);
        assert!(
            mute.is_deaf_at(Instant::now() + Duration::from_secs(9)),
            "still held"
        );
        drop(second);
        let now = Instant::now();
        assert!(mute.is_deaf_at(now), "the room rings");
        assert!(!mute.is_deaf_at(now + TAIL + Duration::from_millis(2)));
    }
}
