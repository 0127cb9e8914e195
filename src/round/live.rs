//! A round at the bedside: microphone in, loudspeaker out, until it is ended.

use std::sync::Arc;

use tokio::sync::{Notify, mpsc, watch};
use tokio::time::{Instant, sleep_until};

use super::patience::Patience;
use super::{Mouth, Round, RoundError, Screen, Turn, Tutorial};
use crate::dialogue::{Dialogue, Event};
use crate::facts::Time;
use crate::grammar::Expect;
use crate::hearing::{Ear, Heard, Meter, Microphone, MicrophoneEvent};
use crate::metrics;
use crate::speaking::Saying;
use crate::store::Store;
use crate::sync::LinkStatus;

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
    /// What is given by hand on a bedside screen, where there is one.
    pub touches: Option<mpsc::Receiver<Event>>,
    /// The lessons of a practice round.
    pub tutorial: Option<Tutorial>,
    /// How the record stands with its home, where it has one.
    pub link: Option<watch::Receiver<LinkStatus>>,
}

/// A word that is due to the second is begun at most so much earlier. A sound
/// system that takes longer makes it late, and the dialogue is told how late.
const MOST_LEAD: std::time::Duration = std::time::Duration::from_millis(500);

/// What the next moment brings.
enum Next {
    Sound(MicrophoneEvent),
    ByHand(Event),
    Linked(LinkStatus),
    Silence,
    Tick,
    /// The word that is due at this time is to be begun.
    Sharp(Time),
    Stop,
}

/// How a saying ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Said {
    /// To its end; or there is no voice, and it was shown.
    Whole,
    /// The voice or the loudspeaker failed.
    Unheard,
    /// The round is to stop.
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
        let (mut round, mut turn) = Round::open(self.dialogue, self.store, now(), self.screen)?;
        if let Some(tutorial) = self.tutorial {
            round.practise(tutorial, &mut turn);
        }
        let mut hands = Hands {
            ear: &mut self.ear,
            microphone: &mut self.microphone,
            mouth: &mut self.mouth,
            screen: self.screen,
            stop: interrupts(),
            meter: Meter::default(),
            patience: Patience::default(),
            wake: None,
            sharp: None,
            lead: std::time::Duration::ZERO,
            recognised: None,
            spoken: None,
            open_reports: 0,
            seconds: None,
            unheard: None,
            voiceless: false,
            was: (false, false),
            touches: self.touches,
            link: self.link,
            settings: 0,
        };
        let mut going = hands.act(&mut round, turn).await;
        while going {
            let mut at = now();
            round.let_sound_go(at);
            let event = match hands.next().await? {
                Next::Stop => {
                    hands.stopped();
                    break;
                }
                Next::Linked(status) => {
                    hands.linked(&status);
                    continue;
                }
                Next::Silence => Event::Silence,
                Next::Tick => Event::Tick,
                Next::ByHand(event) => {
                    if let Event::Touched(touched) = &event {
                        hands.screen.heard(now(), &touched.heard, true);
                    }
                    // Whoever answers by hand has read the question.
                    hands.unheard = None;
                    event
                }
                Next::Sharp(due) => {
                    at = due;
                    Event::Tick
                }
                Next::Sound(MicrophoneEvent::Frames(frames)) => {
                    match hands.listen(&frames, &round) {
                        Some(heard) => {
                            hands.recognised = Some(Instant::now());
                            Event::Heard(heard)
                        }
                        None => continue,
                    }
                }
                Next::Sound(MicrophoneEvent::Lost(reason)) => {
                    let text = "The microphone is lost. I am waiting for it.";
                    going = hands.lost(&reason, &round.notice(text)).await;
                    continue;
                }
                Next::Sound(MicrophoneEvent::Back) => {
                    going = hands.back(&round).await;
                    continue;
                }
            };
            if let Event::Heard(heard) = &event {
                let addressed = round.addressed(&event);
                hands.screen.heard(now(), heard, addressed);
                if addressed && let Some(saying) = hands.unheard.take() {
                    going = hands.ask(&saying).await;
                    continue;
                }
            }
            let turn = round.take(&event, now().max(at), hands.screen);
            going = hands.act(&mut round, turn).await;
            hands.recognised = None;
        }
        Ok(())
    }
}

/// Told of every Ctrl-C from now on, also while something is being said.
fn interrupts() -> Arc<Notify> {
    let stop = Arc::new(Notify::new());
    let told = Arc::clone(&stop);
    tokio::spawn(async move {
        while tokio::signal::ctrl_c().await.is_ok() {
            told.notify_one();
        }
    });
    stop
}

async fn until(at: Option<Instant>) {
    match at {
        Some(at) => sleep_until(at).await,
        None => std::future::pending().await,
    }
}

/// Everything with which a live round touches the world.
struct Hands<'a> {
    ear: &'a mut Ear<Expect>,
    microphone: &'a mut Microphone,
    mouth: &'a mut Mouth,
    screen: &'a mut dyn Screen,
    stop: Arc<Notify>,
    meter: Meter,
    patience: Patience,
    /// When a timer of the dialogue ends.
    wake: Option<Instant>,
    /// When one ends to the second, by the machine and by its clock, which may be
    /// set meanwhile.
    sharp: Option<(Instant, Time)>,
    /// How long the last saying took from the wish to its first sound.
    lead: std::time::Duration,
    /// When an utterance was recognised that nothing was said to yet.
    recognised: Option<Instant>,
    /// From when to when the words of the last saying were heard.
    spoken: Option<(Time, Time)>,
    /// How many reports no nurse has yet.
    open_reports: usize,
    /// The silence that is an answer to what was said last.
    seconds: Option<u32>,
    /// A question that the voice or the loudspeaker failed to say.
    unheard: Option<Saying>,
    /// That they fail was shown.
    voiceless: bool,
    /// Clipping and dead, as last noticed.
    was: (bool, bool),
    touches: Option<mpsc::Receiver<Event>>,
    link: Option<watch::Receiver<LinkStatus>>,
    /// How much was said of the home's roster and limits.
    settings: usize,
}

async fn by_hand(touches: &mut Option<mpsc::Receiver<Event>>) -> Event {
    if let Some(receiver) = touches
        && let Some(event) = receiver.recv().await
    {
        return event;
    }
    // No screen, or it is gone.
    *touches = None;
    std::future::pending().await
}

async fn changed(link: &mut Option<watch::Receiver<LinkStatus>>) -> LinkStatus {
    if let Some(receiver) = link
        && receiver.changed().await.is_ok()
    {
        return receiver.borrow_and_update().clone();
    }
    *link = None;
    std::future::pending().await
}

impl Hands<'_> {
    async fn next(&mut self) -> Result<Next, RoundError> {
        let silence = until(self.patience.ends());
        let begin = |(at, _): (Instant, _)| at.checked_sub(self.lead).unwrap_or(at);
        let sharp = until(self.sharp.map(begin));
        let due = self.sharp.map(|(_, due)| due);
        let timer = until(self.wake.map(|it| self.patience.after_speech(it)));
        tokio::select! {
            // In this order: it is not silent while sound waits to be heard.
            biased;
            () = self.stop.notified() => Ok(Next::Stop),
            () = sharp => {
                self.sharp = None;
                Ok(due.map_or(Next::Tick, Next::Sharp))
            }
            // Only between sayings: a touch is taken at the end of what is being
            // said and never cuts it short, so that a report is heard whole.
            event = by_hand(&mut self.touches) => Ok(Next::ByHand(event)),
            event = self.microphone.next() => {
                let gone = || RoundError::Other("the microphone's thread has ended; start again".into());
                event.map(Next::Sound).ok_or_else(gone)
            }
            status = changed(&mut self.link) => Ok(Next::Linked(status)),
            () = timer => {
                self.wake = None;
                Ok(Next::Tick)
            }
            () = silence => {
                self.patience.stop();
                Ok(Next::Silence)
            }
        }
    }

    fn listen(&mut self, frames: &[i16], round: &Round<'_>) -> Option<Heard> {
        let level = self.meter.push(frames);
        self.screen.level(level);
        self.patience.level(level.rms, Instant::now());
        let is = (level.clipping, level.dead);
        if is.0 && !self.was.0 {
            self.screen
                .notice("too loud: move the microphone away or turn it down");
        }
        if is.1 && !self.was.1 {
            // Shown and not said: some headsets give no sound in a quiet room.
            self.screen
                .notice("the microphone gives no sound at all: is it muted?");
        }
        self.was = is;
        round.hear(self.ear, frames)
    }

    /// Shown and not said: it is nothing that an aide can do something about.
    fn linked(&mut self, status: &LinkStatus) {
        self.screen.link(status, now());
        for news in status.settings.iter().skip(self.settings) {
            self.screen.notice(news);
        }
        self.settings = status.settings.len();
    }

    fn stopped(&mut self) {
        self.screen
            .notice("stopped; what waited for a yes is not kept");
        if self.open_reports > 0 {
            self.screen.notice(&format!(
                "{} still to report: tell the nurse; the next start says them again",
                self.open_reports
            ));
        }
    }

    /// The microphone is lost: nothing counts as an answer until it is back.
    /// False when the round is over.
    async fn lost(&mut self, reason: &str, saying: &Saying) -> bool {
        self.patience.stop();
        self.ear.drop_utterance();
        self.screen.microphone_lost(true);
        self.screen.notice(&format!(
            "the microphone is lost ({reason}); waiting for it"
        ));
        self.say(saying).await != Said::Stop
    }

    /// The microphone is back: what waited for an answer is asked again.
    async fn back(&mut self, round: &Round<'_>) -> bool {
        self.screen.microphone_lost(false);
        self.screen.notice("the microphone is back");
        let text = "The microphone is back.";
        let question = round.state().question();
        match question.filter(|_| self.seconds.is_some()) {
            Some(question) => self.ask(&round.notice(&format!("{text} {question}"))).await,
            None => self.say(&round.notice(text)).await != Said::Stop,
        }
    }

    /// Does what a turn wants done, and tells the dialogue when its words were
    /// said where it wants to know. False when the round is over.
    async fn act(&mut self, round: &mut Round<'_>, mut turn: Turn) -> bool {
        loop {
            let tell = turn.waiting.tell;
            self.open_reports = round.state().open_reports().len();
            if !self.carry_out(turn).await {
                return false;
            }
            if !tell {
                return true;
            }
            let event = match self.spoken.take() {
                Some((began, ended)) => Event::Said { began, ended },
                None => Event::NotSaid,
            };
            turn = round.take(&event, now(), self.screen);
        }
    }

    /// Says what a turn wants said and listens for what it expects. False when
    /// the round is over.
    async fn carry_out(&mut self, turn: Turn) -> bool {
        self.seconds = turn.waiting.patience;
        if turn.click {
            self.mouth.click();
        }
        if let Some(saying) = &turn.say
            && !self.ask(saying).await
        {
            return false;
        }
        let Some(expect) = turn.waiting.expect else {
            return false;
        };
        self.ear.expect(expect);
        let left = |at: Time| (at - now()).to_std().unwrap_or_default();
        self.wake = turn.waiting.wake.map(|at| Instant::now() + left(at));
        let before = self.sharp;
        let known = |at: Time| before.filter(|(_, due)| *due == at);
        let new = |at: Time| (Instant::now() + left(at), at);
        self.sharp = turn
            .waiting
            .sharp
            .map(|at| known(at).unwrap_or_else(|| new(at)));
        true
    }

    /// Says something, and waits anew for an answer to it where there is one. False
    /// when the round is over.
    async fn ask(&mut self, saying: &Saying) -> bool {
        let said = self.say(saying).await;
        // An aide can't have answered a question that was never heard.
        let unheard = said == Said::Unheard && self.seconds.is_some();
        self.unheard = unheard.then(|| saying.clone());
        self.patience.start(self.seconds, Instant::now());
        said != Said::Stop
    }

    /// Says something to its end, deaf meanwhile. The words are on the screen in
    /// any case.
    async fn say(&mut self, saying: &Saying) -> Said {
        let muted = self.microphone.mute().hold();
        self.screen.said(now(), &saying.shown);
        let mut said = self.speak(saying).await;
        if said.is_err() {
            // The loudspeaker is opened anew, and may now be another.
            said = self.speak(saying).await;
        }
        // What came in before the mute is no answer to what was said.
        self.microphone.drop_sound();
        drop(muted);
        self.screen.said_all();
        match said {
            Ok(said) => {
                if said == Said::Whole && self.voiceless {
                    self.voiceless = false;
                    self.screen.notice("the voice is heard again");
                }
                said
            }
            Err(reason) => {
                if !self.voiceless {
                    self.voiceless = true;
                    self.screen.notice(&format!(
                        "{reason}. What was to be said is shown here, and a question is asked \
                         again before it is answered; to work by the screen alone, start again \
                         with --voice none"
                    ));
                }
                Said::Unheard
            }
        }
    }

    async fn speak(&mut self, saying: &Saying) -> Result<Said, String> {
        self.spoken = None;
        let wished = std::time::Instant::now();
        let playing = self.mouth.say(saying);
        self.ear.drop_utterance();
        let Some((audio, Some(playing))) = playing.map_err(|error| error.to_string())? else {
            // Shown only: it is read at once.
            self.spoken = Some((now(), now()));
            return Ok(Said::Whole);
        };
        tokio::select! {
            biased;
            () = self.stop.notified() => {
                self.stopped();
                Ok(Said::Stop)
            }
            played = playing => match played {
                Ok(played) => {
                    let (before, after) = audio.quiet_ends();
                    let first = played.first + before;
                    let last = played.last.checked_sub(after).unwrap_or(first);
                    self.lead = first.saturating_duration_since(wished).min(MOST_LEAD);
                    self.spoken = Some((time_of(first), time_of(last)));
                    if let Some(recognised) = self.recognised.take() {
                        metrics::answered(first.saturating_duration_since(recognised.into_std()));
                    }
                    Ok(Said::Whole)
                }
                Err(error) => Err(error.to_string()),
            }
        }
    }
}

fn now() -> Time {
    chrono::Local::now().fixed_offset()
}

/// What the clock showed then.
fn time_of(at: std::time::Instant) -> Time {
    let ago = std::time::Instant::now().saturating_duration_since(at);
    now() - chrono::Duration::from_std(ago).unwrap_or_default()
}
