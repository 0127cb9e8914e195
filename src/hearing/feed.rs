//! Where a microphone's sound comes in: from a device's own thread, or from a tablet.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

use tokio::sync::mpsc;
use tokio::sync::mpsc::error::TrySendError;

use super::microphone::MicrophoneEvent;
use super::mute::Mute;

/// The end of a [`Microphone`](super::Microphone) that sound goes into.
#[derive(Debug)]
pub struct Feed {
    events: mpsc::Sender<MicrophoneEvent>,
    mute: Mute,
    closed: Arc<AtomicBool>,
    dropped: u64,
}

impl Feed {
    pub(super) const fn new(
        events: mpsc::Sender<MicrophoneEvent>,
        mute: Mute,
        closed: Arc<AtomicBool>,
    ) -> Self {
        Self {
            events,
            mute,
            closed,
            dropped: 0,
        }
    }

    /// Gives the next samples, 16 kHz and one channel. What comes while the microphone is
    /// deaf is dropped, and what comes faster than it is heard.
    pub fn sound(&mut self, frames: Vec<i16>) {
        if frames.is_empty() || self.mute.is_deaf_at(Instant::now()) {
            return;
        }
        match self.events.try_send(MicrophoneEvent::Frames(frames)) {
            Ok(()) | Err(TrySendError::Closed(_)) => {}
            Err(TrySendError::Full(_)) => {
                self.dropped += 1;
                if self.dropped.is_power_of_two() {
                    tracing::warn!(blocks = self.dropped, "sound came faster than it was heard");
                }
            }
        }
    }

    /// Says something that must not be dropped, however full the backlog is.
    pub async fn tell(&self, event: MicrophoneEvent) {
        let told = self.events.send(event).await;
        self.closed.fetch_or(told.is_err(), Ordering::SeqCst);
    }

    /// As [`Feed::tell`], for a thread without an executor.
    pub(super) fn tell_blocking(&self, event: MicrophoneEvent) {
        let told = self.events.blocking_send(event);
        self.closed.fetch_or(told.is_err(), Ordering::SeqCst);
    }

    /// Whether the microphone is gone.
    pub(super) fn is_closed(&self) -> bool {
        self.closed.load(Ordering::SeqCst)
    }
}
