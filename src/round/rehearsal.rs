//! A round from a script: the same ear, dialogue, record and voice as a live
//! one, with recordings or texts in place of the microphone and the time moving
//! as they would have taken.

use std::path::Path;

use chrono::Duration;
use tokio::sync::mpsc::{self, error::TryRecvError};

use super::script::Step;
use super::{Mouth, Round, RoundError, Screen, Script, Turn, Waiting};
use crate::dialogue::{Dialogue, Event};
use crate::facts::Time;
use crate::grammar::Expect;
use crate::hearing::{Ear, Heard, RATE, read_wav};
use crate::store::Store;

/// Silence after each recording, so that the ear itself finds its end.
const PAUSE: usize = RATE as usize * 8 / 10;
/// Sound goes to the ear in blocks of 100 ms, as from a microphone.
const BLOCK: usize = RATE as usize / 10;
/// How long an aide takes to say a text, for the clock.
const TEXT: Duration = Duration::seconds(3);

/// How often a touch is looked for.
const LOOK: std::time::Duration = std::time::Duration::from_millis(20);

/// A rehearsal about to run.
pub struct Rehearsal<'a> {
    /// What is to happen.
    pub script: &'a Script,
    /// The dialogue.
    pub dialogue: &'a Dialogue,
    /// Where facts go.
    pub store: &'a mut Store,
    /// The ear; none for a script that is all text.
    pub ear: Option<Ear<Expect>>,
    /// The voice.
    pub mouth: Mouth,
    /// Who watches.
    pub screen: &'a mut dyn Screen,
    /// How long to wait before each step, so that people can follow.
    pub pace: std::time::Duration,
    /// What is given by hand on a bedside screen. With one, the round goes on
    /// by hand after the script, until it is ended or the screen is gone.
    pub touches: Option<mpsc::Receiver<Event>>,
}

/// How a rehearsal went.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Outcome {
    /// Lines of the script whose `expect` was not met, with what was said.
    pub unmet: Vec<(usize, String)>,
    /// Whether the round was ended by the script.
    pub ended: bool,
}

impl Rehearsal<'_> {
    /// Runs the script to its end.
    ///
    /// # Errors
    /// [`RoundError`] for a recording that cannot be read, a record that cannot
    /// be written, or a voice that fails.
    pub fn run(mut self) -> Result<Outcome, RoundError> {
        let mut now = self
            .script
            .at
            .unwrap_or_else(|| chrono::Local::now().fixed_offset());
        let mut outcome = Outcome::default();
        let (round, turn) = Round::open(self.dialogue, self.store, now, self.screen)?;
        let waiting = turn.waiting;
        let said = speak(&mut self.mouth, self.screen, turn, &mut now)?;
        let mut going = Going {
            round,
            waiting,
            said,
            now,
            mouth: self.mouth,
            screen: self.screen,
        };
        for (line, step) in &self.script.steps {
            if !matches!(step, Step::Expect(_)) {
                std::thread::sleep(self.pace);
            }
            while let Some(event) = self.touches.as_mut().and_then(|it| it.try_recv().ok()) {
                going.take(&event)?;
            }
            let events = match step {
                Step::Expect(words) => {
                    if !going.said.contains(words.as_str()) {
                        outcome.unmet.push((*line, going.said.clone()));
                    }
                    continue;
                }
                Step::Wait(duration) => {
                    going.now += *duration;
                    if !going.timer_ended() {
                        continue;
                    }
                    vec![Event::Tick]
                }
                Step::Silence => {
                    let patience = going.waiting.patience.unwrap_or(0);
                    going.now += Duration::seconds(i64::from(patience));
                    vec![Event::Silence]
                }
                Step::Text(text) => {
                    going.now += TEXT;
                    vec![Event::Heard(Heard::from_text(text))]
                }
                Step::Wav(path) => {
                    let ear = self.ear.as_mut().ok_or_else(|| {
                        RoundError::Other(format!("no model is loaded to hear {}", path.display()))
                    })?;
                    let heard = hear(
                        ear,
                        &going.round,
                        going.waiting.expect,
                        path,
                        &mut going.now,
                    )?;
                    if heard.is_empty() {
                        going.screen.notice("nothing was heard");
                    }
                    heard.into_iter().map(Event::Heard).collect()
                }
            };
            for event in events {
                going.take(&event)?;
            }
            if going.ended() {
                break;
            }
        }
        if let Some(touches) = &mut self.touches {
            going.on_by_hand(touches)?;
        }
        outcome.ended = going.ended();
        Ok(outcome)
    }
}

/// A rehearsal under way.
struct Going<'a> {
    round: Round<'a>,
    waiting: Waiting,
    /// What was said last.
    said: String,
    now: Time,
    mouth: Mouth,
    screen: &'a mut dyn Screen,
}

impl Going<'_> {
    fn take(&mut self, event: &Event) -> Result<(), RoundError> {
        match event {
            Event::Heard(heard) => {
                let addressed = self.round.addressed(event);
                self.screen.heard(self.now, heard, addressed);
            }
            Event::Touched(touched) => self.screen.heard(self.now, &touched.heard, true),
            _ => {}
        }
        let turn = self.round.take(event, self.now, self.screen);
        self.waiting = turn.waiting;
        if turn.say.is_some() {
            self.said = speak(&mut self.mouth, self.screen, turn, &mut self.now)?;
        }
        Ok(())
    }

    fn timer_ended(&self) -> bool {
        self.waiting.wake.is_some_and(|at| at <= self.now)
    }

    const fn ended(&self) -> bool {
        self.waiting.expect.is_none()
    }

    /// Goes on with what is given by hand, in real time from here.
    fn on_by_hand(&mut self, touches: &mut mpsc::Receiver<Event>) -> Result<(), RoundError> {
        let ahead = self.now - chrono::Local::now().fixed_offset();
        while !self.ended() {
            self.now = chrono::Local::now().with_timezone(self.now.offset()) + ahead;
            match touches.try_recv() {
                Ok(event) => self.take(&event)?,
                Err(TryRecvError::Disconnected) => break,
                Err(TryRecvError::Empty) if self.timer_ended() => self.take(&Event::Tick)?,
                Err(TryRecvError::Empty) => std::thread::sleep(LOOK),
            }
        }
        Ok(())
    }
}

/// Everything heard in a recording.
fn hear(
    ear: &mut Ear<Expect>,
    round: &Round<'_>,
    expect: Option<Expect>,
    path: &Path,
    now: &mut Time,
) -> Result<Vec<Heard>, RoundError> {
    let mut sound = read_wav(path).map_err(|error| RoundError::Other(error.to_string()))?;
    let seconds = i64::try_from(sound.len() / RATE as usize).unwrap_or(0);
    *now += Duration::seconds(seconds);
    sound.extend(std::iter::repeat_n(0, PAUSE));
    if let Some(expect) = expect {
        ear.expect(expect);
    }
    let mut heard: Vec<Heard> = sound
        .chunks(BLOCK)
        .filter_map(|it| ear.accept_until(it, |words| round.pause_after(words)))
        .collect();
    heard.extend(ear.finish());
    Ok(heard)
}

/// Says what a turn wants said, waits until it is said, and returns it.
fn speak(
    mouth: &mut Mouth,
    screen: &mut dyn Screen,
    turn: Turn,
    now: &mut Time,
) -> Result<String, RoundError> {
    let Some(saying) = turn.say else {
        return Ok(String::new());
    };
    screen.said(*now, &saying.shown);
    if let Some((audio, playing)) = mouth.say(&saying)? {
        *now += Duration::from_std(audio.duration()).unwrap_or_default();
        if let Some(Err(error)) = playing.map(crate::speaking::Playing::wait) {
            screen.notice(&error.to_string());
        }
    }
    screen.said_all();
    Ok(saying.shown)
}
