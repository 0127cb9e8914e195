//! A round at the bedside: microphone in, loudspeaker out, until it is ended.

use std::time::Duration;

use tokio::time::{Instant, sleep_until};

use super::{Mouth, Round, RoundError, Screen, Turn};
use crate::dialogue::{Dialogue, Event};
use crate::facts::Time;
use crate::grammar::Expect;
use crate::hearing::{Ear, Heard, Meter, Microphone, MicrophoneEvent};
use crate::store::Store;

/// Louder than this, in dBFS, somebody may be speaking: the answer is not
/// counted as missing while it is being given.
const SPEECH: f32 = -45.0;
/// How much longer an answer that has begun is waited for, at a time.
const MORE: Duration = Duration::from_secs(1);
/// How often that is granted, so that a noisy room does not wait for ever.
const MOST_MORE: u32 = 6;

/// A live round about to begin.
pub struct Live<'a> {
    /// The dialogue.
    pub dialogue: &'a Dialogue,
    /// Where facts go.
    pub store: &'a mut Store,
    /// The ear.
    pub ear: Ear<Expect>,
    /// The microphone.
    pub microphone: Microphone,
    /// The voice.
    pub mouth: Mouth,
    /// Who watches.
    pub screen: &'a mut dyn Screen,
}

/// What the next moment brings.
enum Next {
    Sound(MicrophoneEvent),
    Silence,
    Tick,
    Stop,
}

impl Live<'_> {
    /// Runs the round until "end of round" or an interrupt (Ctrl-C). What waits
    /// for a yes at an interrupt is not kept, and the next start says so.
    ///
    /// # Errors
    /// [`RoundError`] when the record cannot be opened, or the microphone's
    /// thread is gone. A device that is lost is waited for.
    pub async fn run(mut self) -> Result<(), RoundError> {
        let (mut round, turn) = Round::open(self.dialogue, self.store, now(), self.screen)?;
        let mut hands = Hands {
            ear: &mut self.ear,
            microphone: &mut self.microphone,
            mouth: &mut self.mouth,
            screen: self.screen,
            meter: Meter::default(),
            deadline: None,
            wake: None,
            granted: 0,
            was: (false, false),
        };
        if !hands.carry_out(turn).await {
            return Ok(());
        }
        loop {
            let event = match hands.next().await? {
                Next::Stop => {
                    hands
                        .screen
                        .notice("stopped; what waited for a yes is not kept");
                    return Ok(());
                }
                Next::Silence => Event::Silence,
                Next::Tick => Event::Tick,
                Next::Sound(MicrophoneEvent::Frames(frames)) => match hands.listen(&frames) {
                    Some(heard) => Event::Heard(heard),
                    None => continue,
                },
                Next::Sound(MicrophoneEvent::Lost(reason)) => {
                    hands.lost(&reason).await;
                    continue;
                }
                Next::Sound(MicrophoneEvent::Back) => {
                    hands.back().await;
                    continue;
                }
            };
            if let Event::Heard(heard) = &event {
                hands.screen.heard(now(), heard, round.addressed(&event));
            }
            let turn = round.take(&event, now(), hands.screen);
            if !hands.carry_out(turn).await {
                return Ok(());
            }
        }
    }
}

/// Everything with which a live round touches the world.
struct Hands<'a> {
    ear: &'a mut Ear<Expect>,
    microphone: &'a mut Microphone,
    mouth: &'a mut Mouth,
    screen: &'a mut dyn Screen,
    meter: Meter,
    /// When silence becomes an answer.
    deadline: Option<Instant>,
    /// When a timer of the dialogue ends.
    wake: Option<Time>,
    /// How often the deadline was put off because somebody was speaking.
    granted: u32,
    /// Clipping and dead, as last noticed.
    was: (bool, bool),
}

impl Hands<'_> {
    async fn next(&mut self) -> Result<Next, RoundError> {
        loop {
            let deadline = self.deadline;
            let silence = async {
                match deadline {
                    Some(at) => sleep_until(at).await,
                    None => std::future::pending().await,
                }
            };
            let left = self
                .wake
                .map(|at| (at - now()).to_std().unwrap_or_default());
            let timer = async {
                match left {
                    Some(left) => tokio::time::sleep(left).await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                event = self.microphone.next() => {
                    let gone = || RoundError::Other("the microphone's thread has ended; start again".into());
                    return event.map(Next::Sound).ok_or_else(gone);
                }
                _ = tokio::signal::ctrl_c() => return Ok(Next::Stop),
                () = timer => {
                    self.wake = None;
                    return Ok(Next::Tick);
                }
                () = silence => {
                    if self.meter.level().rms > SPEECH && self.granted < MOST_MORE {
                        self.granted += 1;
                        self.deadline = Some(Instant::now() + MORE);
                        continue;
                    }
                    self.deadline = None;
                    return Ok(Next::Silence);
                }
            }
        }
    }

    fn listen(&mut self, frames: &[i16]) -> Option<Heard> {
        let level = self.meter.push(frames);
        self.screen.level(level);
        let is = (level.clipping, level.dead);
        if is.0 && !self.was.0 {
            self.screen
                .notice("too loud: move the microphone away or turn it down");
        }
        if is.1 && !self.was.1 {
            self.screen
                .notice("the microphone gives no sound at all: is it muted?");
        }
        self.was = is;
        self.ear.accept(frames)
    }

    async fn lost(&mut self, reason: &str) {
        self.deadline = None;
        self.ear.drop_utterance();
        self.screen.notice(&format!(
            "the microphone is lost ({reason}); waiting for it"
        ));
        self.say("The microphone is lost. I am waiting for it.")
            .await;
    }

    async fn back(&mut self) {
        self.screen.notice("the microphone is back");
        self.say("The microphone is back. Say repeat to hear where we are.")
            .await;
    }

    /// Says what a turn wants said and listens for what it expects. False when
    /// the round is over.
    async fn carry_out(&mut self, turn: Turn) -> bool {
        if let Some(text) = &turn.say {
            self.say(text).await;
        }
        let Some(expect) = turn.waiting.expect else {
            return false;
        };
        self.ear.expect(expect);
        self.wake = turn.waiting.wake;
        if turn.waiting.spoke {
            let patience = turn
                .waiting
                .patience
                .map(u64::from)
                .map(Duration::from_secs);
            self.deadline = patience.map(|it| Instant::now() + it);
            self.granted = 0;
        }
        true
    }

    /// Says a text to its end, deaf meanwhile. A voice that fails is shown; the
    /// words are on the screen in any case.
    async fn say(&mut self, text: &str) {
        let muted = self.microphone.mute().hold();
        self.ear.drop_utterance();
        self.screen.said(now(), text);
        match self.mouth.say(text) {
            Ok(Some((_, Some(playing)))) => {
                if let Err(error) = playing.await {
                    self.screen.notice(&error.to_string());
                }
            }
            Ok(_) => {}
            Err(error) => self.screen.notice(&error.to_string()),
        }
        drop(muted);
    }
}

fn now() -> Time {
    chrono::Local::now().fixed_offset()
}
