//! An aide who speaks aloud, listens, and says yes only to what is true.

use std::path::{Path, PathBuf};

use chrono::Duration;
use fastrand::Rng;
use sayback::dialogue::{Dialogue, Event};
use sayback::facts::{Body, Fact, KeptReading, Time};
use sayback::grammar::Expect;
use sayback::hearing::{Ear, Heard, RATE};
use sayback::residents::{ResidentId, Staff};
use sayback::round::{Round, Screen, Turn};
use sayback::speaking::wording;
use sayback::store::Store;

use super::plan::Visit;
use super::sound::{Ventilation, Voices, silence};
use super::truth::{Truth, say_qualifier};

/// As from a microphone: 50 ms.
const BLOCK: usize = RATE as usize / 20;
/// Seconds that Sayback speaks for each letter: 165 words of six a minute.
const LETTER: f64 = 60.0 / (165.0 * 6.0);
/// After so many turns of one visit the aide has failed.
const PATIENCE: usize = 120;

/// Facts as they are stored, to steer by. The proof reads the record itself.
#[derive(Default)]
pub struct Seen(pub Vec<Fact<KeptReading>>);

impl Screen for Seen {
    fn heard(&mut self, _: Time, _: &Heard, _: bool) {}
    fn said(&mut self, _: Time, _: &str) {}
    fn stored(&mut self, fact: &Fact<KeptReading>) {
        self.0.push(fact.clone());
    }
    fn notice(&mut self, text: &str) {
        panic!("{text}");
    }
}

/// How long the two of them spoke, in seconds.
#[derive(Debug, Default, Clone, Copy)]
pub struct Spoken {
    pub aide: f64,
    pub sayback: f64,
}

/// What outlives the program when it is killed: the world.
pub struct World<'a> {
    pub ear: &'a mut Ear<Expect>,
    pub voices: Voices,
    pub ventilation: Ventilation,
    pub voice: &'static str,
    pub now: Time,
    pub rng: Rng,
    pub spoken: Spoken,
    /// For a failure's message.
    pub log: Vec<String>,
}

/// An aide with a round under way.
pub struct Aide<'w, 'a> {
    pub world: &'w mut World<'a>,
    round: Round<'w>,
    pub seen: &'w mut Seen,
    expect: Option<Expect>,
    patience: Option<u32>,
    wake: Option<Time>,
    said: String,
    /// Was told to say the digits, since something was kept last.
    advised: bool,
    /// The microphone gives nothing for so many sayings.
    pub dead: usize,
}

impl<'w, 'a> Aide<'w, 'a> {
    pub fn begin(
        world: &'w mut World<'a>,
        dialogue: &'w Dialogue,
        store: &'w mut Store,
        seen: &'w mut Seen,
    ) -> Self {
        let opened = Round::open(dialogue, store, world.now, seen);
        let (round, turn) = opened.expect("a round");
        let mut aide = Self {
            world,
            round,
            seen,
            expect: None,
            patience: None,
            wake: None,
            said: String::new(),
            advised: false,
            dead: 0,
        };
        aide.hear_out(turn);
        aide
    }

    pub fn said(&self) -> &str {
        &self.said
    }

    pub fn question(&self) -> Option<&str> {
        self.round.state().question()
    }

    pub fn resident(&self) -> Option<&ResidentId> {
        self.round.state().resident()
    }

    /// Open reports of a resident, or of everyone.
    fn open_reports(&self, of: Option<&ResidentId>) -> usize {
        let open = self.round.state().open_reports().iter();
        open.filter(|it| of.is_none_or(|of| it.resident == *of))
            .count()
    }

    pub fn ended(&self) -> bool {
        self.expect.is_none()
    }

    pub fn fail(&self, why: &str) -> ! {
        let log = &self.world.log;
        let from = log.len().saturating_sub(600);
        panic!("{why}\n{}", log[from..].join("\n"));
    }

    fn pass(&mut self, seconds: f64) {
        #[allow(clippy::cast_possible_truncation)]
        let passed = Duration::milliseconds((seconds * 1_000.0) as i64);
        self.world.now += passed;
    }

    /// Measures, while a room's sound goes on; a timer that ends is told.
    pub fn measure(&mut self, seconds: u32) {
        self.pass(f64::from(seconds));
        self.room(&silence(400));
        if self.wake.is_some_and(|at| at <= self.world.now) {
            self.wake = None;
            self.take(&Event::Tick);
        }
    }

    #[allow(clippy::cast_precision_loss)]
    fn hear_out(&mut self, turn: Turn) {
        self.expect = turn.waiting.expect;
        self.patience = turn.waiting.patience;
        self.wake = turn.waiting.wake;
        if let Some(saying) = turn.say {
            let time = self.world.now.format("%H:%M:%S");
            self.world.log.push(format!("{time} < {}", saying.shown));
            let seconds = saying.spoken.len() as f64 * LETTER;
            self.world.spoken.sayback += seconds;
            self.said = saying.shown;
            self.advised &= !self.said.starts_with("Kept.");
            self.advised |= self.said.contains("igit by digit");
            self.pass(seconds);
        }
        if let Some(expect) = self.expect {
            self.world.ear.expect(expect);
        }
    }

    pub fn take(&mut self, event: &Event) {
        let before = self.seen.0.len();
        let turn = self.round.take(event, self.world.now, self.seen);
        for fact in &self.seen.0[before..] {
            if let Body::Read(it) = &fact.body {
                let log = format!("+ {:?}", it.record().measurement);
                self.world.log.push(log);
            }
        }
        self.hear_out(turn);
    }

    /// A sound in the room; true when Sayback answered something in it, and was
    /// deaf to the rest.
    fn room(&mut self, sound: &[i16]) -> bool {
        let sound = self.world.ventilation.under(sound);
        for block in sound.chunks(BLOCK) {
            #[allow(clippy::cast_precision_loss)]
            self.pass(block.len() as f64 / f64::from(RATE));
            let heard = self.round.hear(self.world.ear, block);
            let Some(heard) = heard else { continue };
            self.world.log.push(format!("  heard: {}", heard.text()));
            let before = (self.said.clone(), self.world.log.len());
            self.take(&Event::Heard(heard));
            if self.world.log.len() > before.1 {
                self.world.ear.drop_utterance();
                return true;
            }
        }
        false
    }

    /// Says something and waits for the answer; where none comes, for as long
    /// as Sayback waits for one.
    pub fn say(&mut self, words: &str) {
        let voice = self.world.voice;
        if self.spoken_by(voice, words) {
            return;
        }
        let Some(patience) = self.patience else {
            return;
        };
        self.pass(f64::from(patience));
        self.world.ear.drop_utterance();
        self.take(&Event::Silence);
    }

    /// Something said to somebody else, by anyone.
    pub fn talk(&mut self, voice: &str, words: &str) -> bool {
        self.spoken_by(voice, words)
    }

    fn spoken_by(&mut self, voice: &str, words: &str) -> bool {
        let time = self.world.now.format("%H:%M:%S");
        self.world.log.push(format!("{time} > {words}"));
        // Nobody speaks the moment that they have heard the last word.
        let mut sound = silence(300);
        sound.extend(self.world.voices.say(voice, words));
        #[allow(clippy::cast_precision_loss)]
        let seconds = sound.len() as f64 / f64::from(RATE);
        self.world.spoken.aide += seconds;
        if self.dead > 0 {
            self.dead -= 1;
            sound.fill(0);
        }
        sound.extend(silence(1_800));
        self.room(&sound)
    }

    /// Whether this reading is stored for this resident.
    fn is_stored(&self, truth: &Truth, resident: &ResidentId) -> bool {
        self.seen.0.iter().any(|it| match &it.body {
            Body::Read(it) => {
                it.record().resident == *resident && it.record().measurement == truth.measurement
            }
            Body::Corrected {
                resident: of, new, ..
            } => of == resident && *new == truth.measurement,
            _ => false,
        })
    }

    /// What is true of the visit and not stored yet.
    fn left(&self, visit: &Visit, truths: &[Truth]) -> Vec<Truth> {
        let stored = |it: &&Truth| !self.is_stored(it, &visit.resident);
        truths.iter().filter(stored).cloned().collect()
    }

    /// Records these readings of a visit, whatever it takes. `stop` ends it at a
    /// question, before it is answered.
    pub fn record(&mut self, visit: &Visit, truths: &[Truth], stop: impl Fn(&str) -> bool) {
        for _ in 0..PATIENCE {
            let left = self.left(visit, truths);
            let question = self.question().map(str::to_owned);
            match question {
                Some(question) if stop(&question) => return,
                Some(question) => self.answer(&question, visit, &left),
                None if left.is_empty() => return,
                None if self.resident().is_none() => self.say(&Self::room_of(visit)),
                None => {
                    let most = left.len().min(self.world.rng.usize(1..=2));
                    self.measure(20);
                    self.say_readings(&left[..most]);
                }
            }
        }
        self.fail("it never came to an end");
    }

    fn room_of(visit: &Visit) -> String {
        format!(
            "room {}",
            sayback::grammar::spoken_forms(u16::try_from(visit.room).unwrap())[0]
        )
    }

    pub fn say_readings(&mut self, truths: &[Truth]) {
        if let ([truth], true) = (truths, self.advised) {
            let spelled = truth.read_back().to_lowercase().replace([',', '.'], "");
            return self.say(&spelled);
        }
        let units = sayback::vitals::Units::UsCustomary;
        let alone = truths.len() == 1;
        let rng = &mut self.world.rng;
        let each = truths.iter().map(|it| it.said(units, false, alone, rng));
        let words: Vec<String> = each.collect();
        self.say(&words.join(" "));
    }

    fn answer(&mut self, question: &str, visit: &Visit, left: &[Truth]) {
        if question.ends_with("Check the wristband. Yes?") {
            let right = question.contains(&visit.name);
            return self.say(if right { "yes" } else { "no" });
        }
        let again = question.strip_suffix(" Yes to keep it as it is?");
        let again = again
            .and_then(|it| it.split_once("say it. "))
            .map(|it| it.1);
        if let Some(read_back) = again.or(question.strip_suffix(" Yes?")) {
            return self.answer_read_back(read_back, left);
        }
        for truth in left {
            let name = wording::capital(truth.sign().name());
            for kind in truth.sign().qualifiers() {
                if question == format!("{name}: {}", kind.question())
                    && let Some(qualifier) = truth.measurement.qualifiers().get(*kind)
                {
                    let phrase = say_qualifier(qualifier, &mut self.world.rng);
                    return self.say(&phrase);
                }
            }
        }
        let asked = left.iter().find(|it| question.contains(it.sign().name()));
        match asked.cloned() {
            Some(truth) => self.say_readings(&[truth]),
            None => self.say("scratch that"),
        }
    }

    /// Yes if and only if every sentence is true, and none is there twice.
    fn answer_read_back(&mut self, read_back: &str, left: &[Truth]) {
        let text = read_back.strip_suffix('.').unwrap_or(read_back);
        let mut seen: Vec<&str> = Vec::new();
        let mut wrong = None;
        for sentence in text.split(". ") {
            let is_true = left.iter().any(|it| it.read_back() == sentence);
            if !is_true || seen.contains(&sentence) {
                wrong = Some(sentence);
            }
            seen.push(sentence);
        }
        match wrong {
            None => self.say("yes"),
            // One that is wrong is said anew, or all of it is dropped.
            Some(sentence) => {
                let about = |it: &&Truth| sentence.starts_with(&wording::capital(it.sign().name()));
                match left.iter().find(about).cloned() {
                    Some(truth) if self.world.rng.u8(0..3) > 0 => self.say_readings(&[truth]),
                    _ => self.say("scratch that"),
                }
            }
        }
    }

    /// Says something, in one of these ways after the other, until Sayback's
    /// answer holds `wanted`.
    pub fn until(&mut self, ways: &[&str], wanted: &str) {
        for words in ways.iter().cycle().take(PATIENCE) {
            self.say(words);
            if self.said.contains(wanted) {
                return;
            }
        }
        self.fail(&format!("{wanted:?} was never said"));
    }

    /// Tells the nurse, and Sayback that it was done.
    pub fn report(&mut self, of: Option<&ResidentId>) {
        for _ in 0..PATIENCE {
            if self.open_reports(of) == 0 {
                return;
            }
            match self.question().map(str::to_owned) {
                Some(question) if question.starts_with("Reported to the charge nurse") => {
                    self.say("yes");
                }
                Some(_) => self.say("no"),
                None => self.say("reported to the charge nurse"),
            }
        }
        self.fail("the report was never closed");
    }

    /// Is where the visit is to be.
    pub fn identify(&mut self, visit: &Visit) {
        for _ in 0..PATIENCE {
            match self.question().map(str::to_owned) {
                Some(question) => self.answer(&question, visit, &[]),
                None if self.resident() == Some(&visit.resident) => return,
                None => self.say(&Self::room_of(visit)),
            }
        }
        self.fail("nobody was identified");
    }

    /// The resident will not be weighed.
    pub fn refuse_weight(&mut self) {
        for _ in 0..PATIENCE {
            let noted = |it: &Fact<KeptReading>| matches!(it.body, Body::NotTaken { .. });
            if self.seen.0.iter().any(noted) {
                return;
            }
            match self.question().map(str::to_owned) {
                Some(question) if question.to_lowercase().contains("weight: refused") => {
                    self.say("yes");
                }
                Some(_) => self.say("no"),
                None => self.say("weight refused"),
            }
        }
        self.fail("the refusal was never noted");
    }

    /// The pulse that was kept is wrong.
    pub fn change_pulse(&mut self, to: &Truth) {
        let resident = self.resident().cloned();
        let units = sayback::vitals::Units::UsCustomary;
        for _ in 0..PATIENCE {
            if resident.as_ref().is_some_and(|it| self.is_stored(to, it)) {
                return;
            }
            match self.question().map(str::to_owned) {
                Some(question) if question.starts_with("Change: ") => {
                    let right = format!("to {}. Yes?", to.read_back());
                    self.say(if question.ends_with(&right) {
                        "yes"
                    } else {
                        "no"
                    });
                }
                Some(_) => self.say("scratch that"),
                None => {
                    let value = to.value(units, true, &mut self.world.rng);
                    self.say(&format!("change the pulse to {value}"));
                }
            }
        }
        self.fail("the correction was never kept");
    }

    /// All that was kept on this visit is another resident's.
    pub fn move_to(&mut self, visit: &Visit) {
        for _ in 0..PATIENCE {
            if self.resident() == Some(&visit.resident) && self.question().is_none() {
                return;
            }
            match self.question().map(str::to_owned) {
                Some(question) if question.starts_with("Move from ") => {
                    let right = question.contains(&format!(" to {}: ", visit.name));
                    self.say(if right { "yes" } else { "no" });
                }
                Some(question) => self.answer(&question, visit, &[]),
                None if self.said.contains("Of which room") => {
                    self.say(&Self::room_of(visit));
                }
                None => self.say("wrong resident"),
            }
        }
        self.fail("nothing was moved");
    }

    /// Someone signs on at the screen and is the one who records.
    pub fn hand_over(&mut self, to: &Staff, voice: &'static str, words: &str) {
        self.take(&Event::SignedOn(to.clone()));
        self.world.voice = voice;
        let read_back = format!("{} recording. Yes?", to.name);
        for _ in 0..PATIENCE {
            match self.question().map(str::to_owned) {
                Some(question) if question == read_back => {
                    self.say("yes");
                    if self.said.starts_with("Noted.") {
                        return;
                    }
                }
                _ => self.say(words),
            }
        }
        self.fail("nobody took over");
    }
}

/// The files of a record as a killed program leaves them.
pub fn as_left_by_a_killed_program(record: &Path, copy: &Path) -> PathBuf {
    for ending in ["", "-wal"] {
        let from = format!("{}{ending}", record.display());
        let to = format!("{}{ending}", copy.display());
        if Path::new(&from).exists() {
            std::fs::copy(&from, &to).expect("a copy");
        }
    }
    copy.to_owned()
}
