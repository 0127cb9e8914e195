//! A tablet or phone in place of a sound card: whoever opens the bedside page there can
//! give it their microphone and loudspeaker, over a `WebSocket`.
//!
//! The page says once how many samples a second it gives, and then gives them: 16 bits, one
//! channel, the lower byte first. It is given sounds to play, each with a number, and says of
//! each when its first and its last sample were heard. One page at a time: whoever comes
//! last has it, as a microphone that was plugged in anew.

use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{Sender, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use axum::body::Bytes;
use axum::extract::ws::{Message, Utf8Bytes, WebSocket};
use serde::Deserialize;
use tokio::sync::{mpsc, watch};
use tokio::time::{Instant as Moment, timeout, timeout_at};

use crate::hearing::{Feed, Microphone, MicrophoneEvent, RATE, Resampler, UnsupportedRate, to_f32};
use crate::speaking::{Audio, PlayError, Played, Player};

/// The longest message that is taken, in bytes: a third of a second at the highest rate.
pub const LONGEST_MESSAGE: usize = 128 * 1024;
/// A page that gives no sound for this long is lost, as a microphone is.
const SILENT_FOR: Duration = Duration::from_secs(2);
/// How long a new page may take to say what it gives.
const HELLO: Duration = Duration::from_secs(5);
/// A sound that is not said to have ended this much after it should have was not heard.
const GRACE: Duration = Duration::from_secs(3);
/// What the page is told when it is not wanted any more.
const TAKEN_OVER: &str = "another page has the microphone now";

/// What a page says of itself before it gives sound.
#[derive(Debug, Deserialize)]
struct Hello {
    rate: u32,
}

/// What a page says of a sound that ended.
#[derive(Debug, Clone, Copy, Deserialize)]
struct Heard {
    /// Its number.
    played: u32,
    /// Milliseconds since its first sample was heard.
    first: f64,
    /// Milliseconds since its last sample was heard.
    last: f64,
}

/// The page that has the sound now.
struct Page {
    /// Which of all that ever had it.
    number: u64,
    /// What is to be played there.
    out: mpsc::UnboundedSender<Bytes>,
    /// Who waits for the end of which sound.
    waits: Option<(u32, Sender<Heard>)>,
}

/// A round's end of a tablet's microphone and loudspeaker.
pub struct Tablet {
    /// Held by the page that has the microphone.
    feed: tokio::sync::Mutex<Fed>,
    page: Mutex<Option<Page>>,
    /// The number of the page that came last.
    last: watch::Sender<u64>,
    /// Whether any page ever had it.
    came: watch::Sender<bool>,
    sounds: AtomicU32,
}

struct Fed {
    feed: Feed,
    /// The round was told that the microphone is lost.
    lost: bool,
}

/// Why a page has the sound no more.
enum Over {
    Lost(&'static str),
    Taken,
}

impl Tablet {
    /// The sound of a tablet that is still to come, and the microphone and loudspeaker that
    /// it will be.
    #[must_use]
    pub fn new() -> (Arc<Self>, Microphone, Player) {
        let (microphone, feed) = Microphone::fed("the tablet's".to_owned());
        let tablet = Arc::new(Self {
            feed: tokio::sync::Mutex::new(Fed { feed, lost: false }),
            page: Mutex::new(None),
            last: watch::Sender::new(0),
            came: watch::Sender::new(false),
            sounds: AtomicU32::new(0),
        });
        let there = Arc::clone(&tablet);
        let player = Player::elsewhere("the tablet's".to_owned(), move |it| there.play(it));
        (tablet, microphone, player)
    }

    /// Waits until a page has given its sound for the first time.
    pub async fn is_there(&self) {
        // The sender is in `self`, and cannot be gone.
        let _ = self.came.subscribe().wait_for(|it| *it).await;
    }

    fn page(&self) -> MutexGuard<'_, Option<Page>> {
        // It is never half changed, so a poisoned lock is harmless.
        self.page.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Plays a sound at the page that is there, to its end.
    fn play(&self, audio: &Audio) -> Result<Played, PlayError> {
        let number = self.sounds.fetch_add(1, Ordering::Relaxed);
        let (heard, answer) = channel();
        let sent = Instant::now();
        {
            let mut page = self.page();
            let page = page.as_mut().ok_or(PlayError::Tablet("none is there"))?;
            page.waits = Some((number, heard));
            let gone = |_| PlayError::Tablet("it is gone");
            page.out.send(packed(number, audio)).map_err(gone)?;
        }
        let heard = answer.recv_timeout(audio.duration() + GRACE);
        let heard = heard.map_err(|_| PlayError::Tablet("it says nothing of having played it"))?;
        Ok(heard.at(sent, Instant::now()))
    }

    /// Takes the sound of a page for as long as it is the last that came and gives any.
    pub(super) async fn serve(&self, mut socket: WebSocket) {
        let mut resampler = match hello(&mut socket).await {
            Ok(resampler) => resampler,
            Err(why) => return farewell(socket, &why, false).await,
        };
        let mut number = 0;
        self.last.send_modify(|it| {
            *it += 1;
            number = *it;
        });
        let mut last = self.last.subscribe();
        // The page before lets go as soon as it sees that it is not the last.
        let mut fed = self.feed.lock().await;
        let (out, mut sounds) = mpsc::unbounded_channel();
        *self.page() = Some(Page {
            number,
            out,
            waits: None,
        });
        self.came.send_replace(true);
        let mut heard = Moment::now();
        let over = loop {
            tokio::select! {
                biased;
                () = async { drop(last.wait_for(|it| *it != number).await) } => break Over::Taken,
                Some(sound) = sounds.recv() => {
                    let sent = timeout(SILENT_FOR, socket.send(Message::Binary(sound))).await;
                    if !matches!(sent, Ok(Ok(()))) {
                        break Over::Lost("the tablet is gone");
                    }
                }
                message = timeout_at(heard + SILENT_FOR, socket.recv()) => match message {
                    Err(_) => break Over::Lost("no sound arrives from the tablet"),
                    Ok(None | Some(Err(_) | Ok(Message::Close(_)))) => {
                        break Over::Lost("the tablet is gone");
                    }
                    Ok(Some(Ok(Message::Binary(bytes)))) => {
                        heard = Moment::now();
                        fed.take(resampler.push_16_bits(&samples(&bytes))).await;
                    }
                    Ok(Some(Ok(Message::Text(text)))) => self.was_heard(&text),
                    Ok(Some(Ok(Message::Ping(_) | Message::Pong(_)))) => {}
                },
            }
        };
        // Whoever waits for the end of a sound is told that there is none.
        self.page().take_if(|it| it.number == number);
        let (why, again) = match over {
            Over::Taken => (TAKEN_OVER, false),
            Over::Lost(reason) => {
                fed.lose(reason).await;
                (reason, true)
            }
        };
        // Who comes next does not wait for one that takes no farewell.
        drop(fed);
        farewell(socket, why, again).await;
    }

    fn was_heard(&self, text: &Utf8Bytes) {
        let Ok(heard) = serde_json::from_str::<Heard>(text) else {
            return tracing::debug!("a tablet said what is not understood");
        };
        let mut page = self.page();
        let waits = page
            .as_mut()
            .and_then(|it| it.waits.take_if(|(number, _)| *number == heard.played));
        if let Some((_, waits)) = waits {
            let _ = waits.send(heard);
        }
    }
}

impl Fed {
    async fn take(&mut self, frames: Vec<i16>) {
        if std::mem::take(&mut self.lost) {
            self.feed.tell(MicrophoneEvent::Back).await;
        }
        self.feed.sound(frames);
    }

    async fn lose(&mut self, reason: &str) {
        if !std::mem::replace(&mut self.lost, true) {
            self.feed
                .tell(MicrophoneEvent::Lost(reason.to_owned()))
                .await;
        }
    }
}

impl Heard {
    /// When it was heard, told at `now`: no page has played a sound before it was sent there.
    fn at(self, sent: Instant, now: Instant) -> Played {
        // What is no number of milliseconds is as if it were heard just now.
        let ago = |milliseconds: f64| {
            let ago = Duration::try_from_secs_f64(milliseconds / 1_000.0);
            let at = now.checked_sub(ago.unwrap_or_default());
            at.unwrap_or(sent).max(sent)
        };
        let first = ago(self.first);
        Played {
            first,
            last: ago(self.last).max(first),
        }
    }
}

/// What a page gives, once it has said so.
async fn hello(socket: &mut WebSocket) -> Result<Resampler, String> {
    let Ok(Some(Ok(Message::Text(text)))) = timeout(HELLO, socket.recv()).await else {
        return Err("the page did not say what it gives".to_owned());
    };
    let hello: Hello =
        serde_json::from_str(&text).map_err(|_| "the page did not say what it gives".to_owned())?;
    Resampler::new(hello.rate, RATE).map_err(|it: UnsupportedRate| it.to_string())
}

/// Tells a page why, and whether it is to try again, and hangs up.
async fn farewell(mut socket: WebSocket, why: &str, again: bool) {
    let over = serde_json::json!({ "why": why, "again": again });
    let told = async {
        let _ = socket.send(Message::Text(over.to_string().into())).await;
        let _ = socket.send(Message::Close(None)).await;
    };
    // Nobody may be there any more.
    let _ = timeout(SILENT_FOR, told).await;
}

/// A sound as a page takes it: its number, samples per second, and the samples.
fn packed(number: u32, audio: &Audio) -> Bytes {
    let head = [number, audio.rate];
    let head = head.into_iter().flat_map(u32::to_le_bytes);
    let samples = audio.samples.iter().flat_map(|it| it.to_le_bytes());
    head.chain(samples).collect()
}

/// The samples of a message; half a one at its end is none.
fn samples(bytes: &[u8]) -> Vec<f32> {
    let pairs = bytes.chunks_exact(2);
    pairs
        .map(|it| to_f32(i16::from_le_bytes([it[0], it[1]])))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_heard_before_it_was_sent_or_after_now() {
        let now = Instant::now();
        let sent = now.checked_sub(Duration::from_secs(2)).unwrap();
        let at = |first: f64, last: f64| {
            let heard = Heard {
                played: 1,
                first,
                last,
            };
            let played = heard.at(sent, now);
            let ago = |it: Instant| (now - it).as_millis();
            (ago(played.first), ago(played.last))
        };
        assert_eq!(at(1_500.0, 100.0), (1_500, 100));
        assert_eq!(at(9_000.0, 100.0), (2_000, 100));
        assert_eq!(at(100.0, 1_500.0), (100, 100));
        for odd in [-5.0, f64::NAN, f64::INFINITY, 1e300] {
            assert!(at(odd, odd).0 <= 2_000, "{odd}");
        }
    }

    #[test]
    fn a_sound_goes_out_with_its_number_and_rate() {
        let audio = Audio {
            rate: 22_050,
            samples: vec![1, -2],
        };
        let bytes = packed(7, &audio);
        assert_eq!(&bytes[..8], [7, 0, 0, 0, 0x22, 0x56, 0, 0]);
        assert_eq!(samples(&bytes[8..]), [1.0 / 32_768.0, -2.0 / 32_768.0]);
        assert!(samples(&[1]).is_empty());
    }
}
