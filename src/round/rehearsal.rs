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
use crate::hearing::{Ear, Heard, RATE, UNKNOWN, read_wav};
use crate::speaking::Saying;
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
        let now = self
            .script
            .at
            .unwrap_or_else(|| chrono::Local::now().fixed_offset());
        let mut outcome = Outcome::default();
        let (round, turn) = Round::open(self.dialogue, self.store, now, self.screen)?;
        let mut stage = Stage {
            round,
            now,
            mouth: self.mouth,
            screen: self.screen,
            waiting: turn.waiting,
            said: String::new(),
        };
        stage.play(turn)?;
        for (line, step) in &self.script.steps {
            if !matches!(step, Step::Expect(_)) {
                std::thread::sleep(self.pace);
            }
            while let Some(event) = self.touches.as_mut().and_then(|it| it.try_recv().ok()) {
                stage.take(&event)?;
            }
            let events = match step {
                Step::Expect(words) => {
                    if !stage.said.contains(words.as_str()) {
                        outcome.unmet.push((*line, stage.said.clone()));
                    }
                    continue;
                }
                Step::Wait(duration) => {
                    stage.pass(stage.now + *duration)?;
                    Vec::new()
                }
                Step::Silence => {
                    let patience = stage.waiting.patience.unwrap_or(0);
                    stage.pass(stage.now + Duration::seconds(i64::from(patience)))?;
                    vec![Event::Silence]
                }
                Step::Text(text) => {
                    stage.pass(stage.now + TEXT)?;
                    vec![Event::Heard(Heard::from_text(text))]
                }
                Step::Wav(path) => {
                    let ear = self.ear.as_mut().ok_or_else(|| {
                        RoundError::Other(format!("no model is loaded to hear {}", path.display()))
                    })?;
                    let mut until = stage.now;
                    let expect = stage.waiting.expect;
                    let heard = hear(ear, &stage.round, expect, path, &mut until)?;
                    stage.pass(until)?;
                    if heard.is_empty() {
                        stage.screen.notice("nothing was heard");
                    }
                    heard.into_iter().map(Event::Heard).collect()
                }
            };
            for event in events {
                stage.take(&event)?;
            }
            if stage.ended() {
                break;
            }
        }
        if let Some(touches) = &mut self.touches {
            stage.on_by_hand(touches)?;
        }
        outcome.ended = stage.ended();
        Ok(outcome)
    }
}

/// The round as it is played.
struct Stage<'a> {
    round: Round<'a>,
    now: Time,
    mouth: Mouth,
    screen: &'a mut dyn Screen,
    waiting: Waiting,
    /// The last answer.
    said: String,
}

impl Stage<'_> {
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
        self.play(turn)
    }

    /// Says what a turn wants said, and tells the dialogue when, where it wants
    /// to know.
    fn play(&mut self, mut turn: Turn) -> Result<(), RoundError> {
        loop {
            self.waiting = turn.waiting;
            let (began, ended) = match turn.say {
                Some(saying) => {
                    let times = speak(&mut self.mouth, self.screen, &saying, &mut self.now)?;
                    self.said = saying.shown;
                    times
                }
                None => (self.now, self.now),
            };
            if !self.waiting.tell {
                return Ok(());
            }
            let event = Event::Said { began, ended };
            turn = self.round.take(&event, self.now, self.screen);
        }
    }

    /// When the next timer of the dialogue ends.
    fn next_timer(&self) -> Option<Time> {
        let Waiting { wake, sharp, .. } = self.waiting;
        wake.into_iter().chain(sharp).min()
    }

    /// Lets time pass, with every timer at its time.
    fn pass(&mut self, until: Time) -> Result<(), RoundError> {
        while let Some(at) = self.next_timer().filter(|it| *it <= until) {
            self.now = at.max(self.now);
            self.take(&Event::Tick)?;
        }
        self.now = until.max(self.now);
        Ok(())
    }

    const fn ended(&self) -> bool {
        self.waiting.expect.is_none()
    }

    /// Goes on with what is given by hand, in real time from here.
    fn on_by_hand(&mut self, touches: &mut mpsc::Receiver<Event>) -> Result<(), RoundError> {
        let ahead = self.now - chrono::Local::now().fixed_offset();
        while !self.ended() {
            self.now = chrono::Local::now().with_timezone(self.now.offset()) + ahead;
            let is_over = self.next_timer().is_some_and(|at| at <= self.now);
            match touches.try_recv() {
                Ok(event) => self.take(&event)?,
                Err(TryRecvError::Disconnected) => break,
                Err(TryRecvError::Empty) if is_over => self.take(&Event::Tick)?,
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
    let mut heard: Vec<Heard> = Vec::new();
    for block in sound.chunks(BLOCK) {
        heard.extend(round.hear(ear, block));
    }
    // The network has no phrase without a word, and makes one of the silence that is left.
    let said = |it: &Heard| heard.is_empty() || it.text() != UNKNOWN;
    let rest = ear.finish().filter(said);
    heard.extend(rest.map(|it| round.heard_whole(it, ear)));
    Ok(heard)
}

/// Says a text and waits until it is said. Returns when its first word began and
/// its last one ended.
fn speak(
    mouth: &mut Mouth,
    screen: &mut dyn Screen,
    saying: &Saying,
    now: &mut Time,
) -> Result<(Time, Time), RoundError> {
    screen.said(*now, &saying.shown);
    let Some((audio, playing)) = mouth.say(saying)? else {
        screen.said_all();
        return Ok((*now, *now));
    };
    let time = |it| Duration::from_std(it).unwrap_or_default();
    let (before, after) = audio.quiet_ends();
    let began = *now + time(before);
    *now += time(audio.duration());
    if let Some(Err(error)) = playing.map(crate::speaking::Playing::wait) {
        screen.notice(&error.to_string());
    }
    screen.said_all();
    Ok((began, *now - time(after)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::Fact;
    use crate::grammar::Grammar;
    use crate::residents::Home;
    use crate::speaking::{Audio, Voice, VoiceError};

    const RATE: usize = 1_000;
    const BEFORE: i64 = 200;
    const SPEECH: i64 = 1_500;
    const AFTER: i64 = 400;

    /// Every text takes as long, with silence around it as real voices have.
    struct Even;

    impl Voice for Even {
        fn name(&self) -> &'static str {
            "even"
        }

        fn synthesize(&mut self, _: &str) -> Result<Audio, VoiceError> {
            let silence = |ms: i64| vec![0; usize::try_from(ms).unwrap()];
            let speech = vec![5_000; usize::try_from(SPEECH).unwrap()];
            Ok(Audio {
                rate: u32::try_from(RATE).unwrap(),
                samples: [silence(BEFORE), speech, silence(AFTER)].concat(),
            })
        }
    }

    /// What was said, and when its sound began.
    #[derive(Default)]
    struct Notes(Vec<(Time, String)>);

    impl Screen for Notes {
        fn heard(&mut self, _: Time, _: &Heard, _: bool) {}

        fn said(&mut self, now: Time, text: &str) {
            self.0.push((now, text.to_owned()));
        }

        fn stored(&mut self, _: &Fact<crate::facts::KeptReading>) {}

        fn notice(&mut self, text: &str) {
            panic!("{text}");
        }
    }

    fn rehearsed(steps: &str) -> Vec<(Time, String)> {
        let home = Home::from_toml(include_str!("../../audio-fixtures/demo-home.toml")).unwrap();
        let aide = home.aides[0].clone();
        let dialogue = Dialogue::new(home, aide, &Grammar::standard()).unwrap();
        let text = format!("home h.toml\nat 2026-03-02T07:30:00-05:00\n{steps}");
        let script = Script::parse(Path::new("a.script"), &text).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(&folder.path().join("record.db")).unwrap();
        let mut notes = Notes::default();
        let rehearsal = Rehearsal {
            script: &script,
            dialogue: &dialogue,
            store: &mut store,
            ear: None,
            mouth: Mouth::new(Box::new(Even)),
            screen: &mut notes,
            pace: std::time::Duration::ZERO,
            touches: None,
        };
        let outcome = rehearsal.run().unwrap();
        assert_eq!(outcome.unmet, []);
        notes.0
    }

    /// From the last sound of "Start" to the first of "Stop" there are as many
    /// seconds as are counted; the silence that the voice puts before a word is
    /// all that is added.
    #[test]
    fn a_count_lasts_from_the_end_of_start_to_the_beginning_of_stop() {
        for (over, seconds) in [("fifteen seconds", 15), ("", 30), ("a full minute", 60)] {
            let said = rehearsed(&format!(
                "text room nine\ntext yes\ntext count pulse {over}\nwait 70 seconds\n\
                 expect Stop. Pulse: how many?\n"
            ));
            let at = |end: &str| {
                let found = said.iter().find(|(_, text)| text.contains(end));
                found
                    .unwrap_or_else(|| panic!("{end} is not in {said:?}"))
                    .0
            };
            let start_ended = at("Start.") + Duration::milliseconds(BEFORE + SPEECH);
            let stop_began = at("Stop.") + Duration::milliseconds(BEFORE);
            let counted = Duration::seconds(seconds) + Duration::milliseconds(BEFORE);
            assert_eq!(stop_began - start_ended, counted, "{over}");
        }
    }
}
