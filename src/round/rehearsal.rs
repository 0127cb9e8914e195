//! A round from a script: the same ear, dialogue, record and voice as a live
//! one, with recordings or texts in place of the microphone and the time moving
//! as they would have taken.

use std::path::Path;

use chrono::Duration;

use super::script::Step;
use super::{Mouth, Round, RoundError, Screen, Script, Turn};
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
        let (mut round, turn) = Round::open(self.dialogue, self.store, now, self.screen)?;
        let mut waiting = turn.waiting;
        let mut said = speak(&mut self.mouth, self.screen, turn, &mut now)?;
        for (line, step) in &self.script.steps {
            let events = match step {
                Step::Expect(words) => {
                    if !said.contains(words.as_str()) {
                        outcome.unmet.push((*line, said.clone()));
                    }
                    continue;
                }
                Step::Wait(duration) => {
                    now += *duration;
                    if waiting.wake.is_none_or(|at| at > now) {
                        continue;
                    }
                    vec![Event::Tick]
                }
                Step::Silence => {
                    now += Duration::seconds(i64::from(waiting.patience.unwrap_or(0)));
                    vec![Event::Silence]
                }
                Step::Text(text) => {
                    now += TEXT;
                    vec![Event::Heard(Heard::from_text(text))]
                }
                Step::Wav(path) => {
                    let ear = self.ear.as_mut().ok_or_else(|| {
                        RoundError::Other(format!("no model is loaded to hear {}", path.display()))
                    })?;
                    let heard = hear(ear, &round, waiting.expect, path, &mut now)?;
                    if heard.is_empty() {
                        self.screen.notice("nothing was heard");
                    }
                    heard.into_iter().map(Event::Heard).collect()
                }
            };
            for event in events {
                if let Event::Heard(heard) = &event {
                    self.screen.heard(now, heard, round.addressed(&event));
                }
                let turn = round.take(&event, now, self.screen);
                waiting = turn.waiting;
                if turn.say.is_none() {
                    continue;
                }
                said = speak(&mut self.mouth, self.screen, turn, &mut now)?;
            }
            outcome.ended = waiting.expect.is_none();
            if outcome.ended {
                break;
            }
        }
        Ok(outcome)
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
    Ok(saying.shown)
}
