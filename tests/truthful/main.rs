//! A truthful aide is never recorded wrongly. Thousands of seeded rounds: random
//! true readings, said in random ways, sometimes misheard; the aide answers
//! truthfully and says yes only to a read-back that is the truth. What is stored
//! is the truth, all of it, and nothing else.

mod corrected;
mod truth;

use std::sync::LazyLock;

use chrono::Duration;
use fastrand::Rng;
use sayback::dialogue::{Action, Dialogue, Event, State};
use sayback::facts::{Body, Fact, ReadingRecord, Record, Time};
use sayback::grammar::Grammar;
use sayback::hearing::Heard;
use sayback::residents::Home;
use sayback::speaking::wording;
use sayback::vitals::{Measurement, Qualifier, QualifierKind, Scale};
use truth::{Truth, say_qualifier};

static HOMES: LazyLock<[Dialogue; 2]> = LazyLock::new(|| {
    let text = include_str!("../../audio-fixtures/demo-home.toml");
    let metric = text.replace("us_customary", "metric");
    assert_ne!(metric, text);
    [text, &metric].map(|text| {
        let home = Home::from_toml(text).unwrap();
        let aide = home.aides[0].clone();
        Dialogue::new(home, aide, &Grammar::standard()).unwrap()
    })
});

/// Words that an utterance may be misheard as. Left out are those that would
/// make the aide say yes, do or use something that was never true and is not
/// read back.
static NOISE: LazyLock<Vec<String>> = LazyLock::new(|| {
    let untrue = [
        "yes",
        "keep",
        "correct",
        "that's",
        "ate",
        "drank",
        "smoked",
        "exercised",
        "gauge",
    ];
    let words = Grammar::standard().words().into_iter();
    words.filter(|it| !untrue.contains(&it.as_str())).collect()
});

/// After so many turns the aide speaks as plainly as possible and is heard
/// well; after twice as many, it has failed.
const PATIENCE: usize = 40;

struct Aide<'a> {
    dialogue: &'a Dialogue,
    state: State,
    now: Time,
    rng: Rng,
    /// What is true and not yet stored.
    left: Vec<Truth>,
    stored: Vec<ReadingRecord>,
    facts: Vec<Fact>,
    turns: usize,
    silent_before: bool,
    /// For a failure's message.
    log: Vec<String>,
}

impl Aide<'_> {
    /// Whether the aide is no longer playful.
    fn plain(&self) -> bool {
        self.turns >= PATIENCE
    }

    fn step(&mut self, event: &Event) {
        self.now += Duration::seconds(4);
        let (state, actions) = self.dialogue.step(self.state.clone(), event, self.now);
        self.state = state;
        for action in actions {
            if let Action::Keep(fact) = &action {
                let fact = serde_json::to_value(fact).unwrap();
                self.facts.push(serde_json::from_value(fact).unwrap());
            }
            match action {
                Action::Say(saying) => self.log.push(format!("< {}", saying.shown)),
                Action::Keep(fact) => match fact.body {
                    Body::Read(reading) => self.stored(reading.record()),
                    Body::Unconfirmed { .. } | Body::NotTaken { .. } => {
                        self.fail(&format!("stored {:?}", fact.body));
                    }
                    _ => {}
                },
                Action::Listen { .. } | Action::Click | Action::End => {}
            }
        }
    }

    fn dialogue_question(&self) -> Option<String> {
        self.state.question().map(str::to_owned)
    }

    fn fail(&self, why: &str) -> ! {
        panic!("{why}; still true {:?}\n{}", self.left, self.log.join("\n"));
    }

    fn stored(&mut self, record: &ReadingRecord) {
        self.log.push(format!("+ {:?}", record.measurement));
        let place = self
            .left
            .iter()
            .position(|it| it.measurement == record.measurement);
        let Some(place) = place else {
            self.fail("what was stored is not true");
        };
        self.left.swap_remove(place);
        let reason = record.went_on.is_empty() || with_chair(&record.measurement);
        let plain = record.working.is_none() && record.device.is_none() && reason;
        if !plain || record.measured_at != record.spoken_at {
            self.fail(&format!("more was stored than was said: {record:?}"));
        }
        self.stored.push(record.clone());
    }

    fn say(&mut self, words: &str) {
        self.log.push(format!("> {words}"));
        self.step(&Event::Heard(Heard::from_text(words)));
    }

    /// Says something with many words that may be misheard: a word lost, added
    /// or another one.
    fn say_aloud(&mut self, words: &str) {
        let mut heard: Vec<&str> = words.split(' ').collect();
        if !self.plain() && self.rng.u8(0..4) == 0 {
            let at = self.rng.usize(0..heard.len());
            let noise = match self.rng.u8(0..3) {
                0 => "[unk]",
                _ => &NOISE[self.rng.usize(0..NOISE.len())],
            };
            match self.rng.u8(0..3) {
                0 if heard.len() > 1 => drop(heard.remove(at)),
                1 => heard.insert(at, noise),
                _ => heard[at] = noise,
            }
        }
        self.say(&heard.join(" "));
    }

    fn say_readings(&mut self, truths: &[Truth], before: &str) {
        let (units, plain) = (self.dialogue.home().units, self.plain());
        let alone = truths.len() == 1;
        let each = truths
            .iter()
            .map(|it| it.said(units, plain, alone, &mut self.rng));
        let each: Vec<String> = each.collect();
        self.say_aloud(format!("{before} {}", each.join(" ")).trim());
    }

    /// Some of what is true, in any order.
    fn some(&mut self) -> Vec<Truth> {
        self.rng.shuffle(&mut self.left);
        let most = if self.plain() { 1 } else { self.left.len() };
        let count = self.rng.usize(1..=most);
        self.left[..count].to_vec()
    }

    /// One turn: the aide hears what is asked and answers it.
    fn turn(&mut self) {
        self.turns += 1;
        if self.turns > 2 * PATIENCE {
            self.fail("it never came to an end");
        }
        if !self.plain() {
            match self.rng.u8(0..24) {
                0 if !self.silent_before => {
                    // Twice in a row would be no answer at all.
                    self.silent_before = true;
                    return self.step(&Event::Silence);
                }
                1 => return self.say("[unk] the weather [unk]"),
                2 => return self.say("repeat"),
                _ => {}
            }
        }
        let question = self.dialogue_question();
        match question {
            Some(question) => self.answer(&question),
            None if self.state.resident().is_none() => self.say("room nine"),
            None => {
                let some = self.some();
                self.say_readings(&some, "");
            }
        }
        self.silent_before = false;
    }

    fn answer(&mut self, question: &str) {
        if question.ends_with("Check the wristband. Yes?") {
            let right = question.starts_with("Rosa Delgado");
            return self.say(if right { "yes" } else { "no" });
        }
        if question.contains("Say because") {
            let weighed = self.left.iter().any(|it| with_chair(&it.measurement));
            return self.say(if weighed {
                "because the nurse said so"
            } else {
                "scratch that"
            });
        }
        // A word was misheard as a time: nobody said one, so it is dropped and said anew.
        if question.contains("with when it was taken") && self.plain() {
            return self.say("scratch that");
        }
        if question.ends_with("Which bed?") {
            return self.say("room nine");
        }
        let again = question.strip_suffix(" Yes to keep it as it is?");
        let again = again
            .and_then(|it| it.split_once("say it. "))
            .map(|it| it.1);
        if let Some(read_back) = again.or(question.strip_suffix(" Yes?")) {
            return self.answer_read_back(read_back);
        }
        for truth in self.left.clone() {
            let name = wording::capital(truth.sign().name());
            for kind in truth.sign().qualifiers() {
                if question == format!("{name}: {}", kind.question()) {
                    return self.answer_qualifier(&truth, *kind);
                }
            }
        }
        let about = |it: &&Truth| question.contains(it.sign().name());
        let asked: Vec<Truth> = self.left.iter().filter(about).cloned().collect();
        match asked.as_slice() {
            [one] if self.rng.bool() && !self.plain() => {
                let value = one.value(self.dialogue.home().units, false, &mut self.rng);
                self.say_aloud(&value);
            }
            [] if self.rng.bool() || self.plain() => self.say("scratch that"),
            [] => {
                let some = self.some();
                self.say_readings(&some, "");
            }
            several => {
                let first = several[..1].to_vec();
                self.say_readings(&first, "");
            }
        }
    }

    fn answer_qualifier(&mut self, truth: &Truth, kind: QualifierKind) {
        match truth.measurement.qualifiers().get(kind) {
            Some(qualifier) => {
                let phrase = say_qualifier(qualifier, &mut self.rng);
                self.say_aloud(&phrase);
            }
            None => self.say("scratch that"),
        }
    }

    /// Yes if and only if every sentence is true, and none is there twice.
    fn answer_read_back(&mut self, read_back: &str) {
        let text = read_back.strip_suffix('.').unwrap_or(read_back);
        let mut wrong: Vec<&str> = Vec::new();
        let mut seen: Vec<&str> = Vec::new();
        for sentence in text.split(". ") {
            let is_true = self.left.iter().any(|it| it.read_back() == sentence);
            if !is_true || seen.contains(&sentence) {
                wrong.push(sentence);
            }
            seen.push(sentence);
        }
        let Some(first) = wrong.first() else {
            let yes = self
                .rng
                .choice(["yes", "keep it", "that's correct"])
                .unwrap();
            return self.say(yes);
        };
        let about = |it: &&Truth| first.starts_with(&wording::capital(it.sign().name()));
        let truth = self.left.iter().find(about).cloned();
        match (truth, self.rng.u8(0..4)) {
            (Some(truth), 0) if !self.plain() => self.say_readings(&[truth], "no"),
            (Some(truth), 1) if !self.plain() => self.say_readings(&[truth], ""),
            (_, 2) if !self.plain() => self.say("no"),
            _ if first.contains("refused") || first.contains("try again") => self.say("no"),
            _ => self.say("scratch that"),
        }
    }
}

/// Whether it is a weight that the dialogue asks about, since the chair is in it.
fn with_chair(it: &Measurement) -> bool {
    it.qualifiers().get(QualifierKind::Scale) == Some(Qualifier::Scale(Scale::Wheelchair))
}

fn draw_any(rng: &mut Rng) -> Vec<Truth> {
    let drawn = Truth::draw_several(rng).into_iter();
    drawn.map(|it| it.or_palpated(rng)).collect()
}

/// One visit to a resident, with one to four things to record.
fn arrive(seed: u64) -> (Aide<'static>, Vec<Truth>) {
    let mut rng = Rng::with_seed(seed);
    let dialogue = &HOMES[rng.usize(0..2)];
    let now = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap();
    let (state, _) = dialogue.begin(&Record::default(), seed, now);
    let left = draw_any(&mut rng);
    let truths = left.clone();
    let aide = Aide {
        dialogue,
        state,
        now,
        rng,
        left,
        stored: Vec::new(),
        facts: Vec::new(),
        turns: 0,
        silent_before: false,
        log: vec![format!("seed {seed}, {:?}", dialogue.home().units)],
    };
    (aide, truths)
}

fn visit(seed: u64) -> usize {
    let (mut aide, truths) = arrive(seed);
    while !aide.left.is_empty() {
        aide.turn();
    }
    // What is stored once is not stored again by what comes after.
    aide.say("yes");
    aide.say("done");
    assert_eq!(aide.stored.len(), truths.len(), "{}", aide.log.join("\n"));
    aide.turns
}

const VISITS: u64 = 4000;

fn visits(seeds: impl Iterator<Item = u64>) {
    let turns: usize = seeds.map(visit).sum();
    assert!(
        turns > 4 * usize::try_from(VISITS / 2).unwrap(),
        "only {turns} turns"
    );
}

#[test]
fn a_truthful_aide_is_recorded_truly() {
    visits(0..VISITS / 2);
}

#[test]
fn and_so_is_another() {
    visits(VISITS / 2..VISITS);
}

/// The proof is no better than its draws: every vital sign, both units and
/// every qualifier is among them.
#[test]
fn the_draws_hold_everything() {
    use sayback::vitals::{Qualifier, Unit, Value, VitalSign};
    let mut rng = Rng::with_seed(1);
    let draws: Vec<Truth> = (0..2000).flat_map(|_| draw_any(&mut rng)).collect();
    for sign in VitalSign::ALL {
        assert!(draws.iter().any(|it| it.sign() == sign), "{sign:?}");
    }
    assert!(draws.iter().any(|it| it.measurement.is_palpated()));
    for (tag, qualifier) in Qualifier::tagged() {
        let has = |it: &Truth| it.measurement.qualifiers().get(qualifier.kind()) == Some(qualifier);
        assert!(draws.iter().any(has), "{tag}");
    }
    for unit in [
        Unit::Fahrenheit,
        Unit::Celsius,
        Unit::Pound,
        Unit::Kilogram,
        Unit::Inch,
        Unit::Centimetre,
    ] {
        let has =
            |it: &Truth| matches!(it.measurement.value(), Value::One(it) if it.unit() == unit);
        assert!(draws.iter().any(has), "{unit:?}");
    }
}
