//! Whole conversations, written as scripts in `tests/dialogues/*.txt`.
//!
//! ```text
//! ## title            a new conversation, at 07:30 in the demo home
//! > words             the aide says (a silence when empty)
//! t words             the aide types or touches this, about what waits
//! x words             the same, about what waited before the last turn
//! < words             Sayback's answer contains these words, in this order
//! - words             Sayback's answer does not contain these words
//! + fact              this fact was stored by the last turn
//! @ minutes           time passes, in which Sayback is used
//! ~ minutes           time passes, and the dialogue's timer ends
//! . minutes           time passes, and no timer says so
//! % seconds           seconds pass, with every timer of the dialogue at its time
//! ~~ seconds          seconds pass, and the dialogue's timer ends only then
//! ! number            so many ticks were heard in this conversation
//! home NAME           the conversation is in tests/dialogues/homes/NAME.toml
//! signed NAME, NAME   it begins with these signed on; with nobody when empty
//! ^ words             of that answer these words are spoken, in this order
//! * tones             these tones are heard: question, kept, report, refused
//! on NAME             someone signs on at the screen
//! off NAME            someone signs off
//! killed              the program is killed, and started again a minute later
//! ```
//! Every reading, refusal, flag and report that is stored must be in the script;
//! a fact that the script does not name fails it. Every script runs once more
//! for each other choice of what is heard: what is shown and stored stays the
//! same, and what is spoken never tells whose a value is.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{LazyLock, Mutex};

use chrono::Duration;
use sayback::dialogue::{Action, Dialogue, Event, State, Touched};
use sayback::facts::{Body, Fact, Raised, Record, Time};
use sayback::grammar::Grammar;
use sayback::hearing::Heard;
use sayback::residents::{Bedside, Home, Speech, Staff};
use sayback::speaking::{Saying, Tone, wording};
use sayback::understanding::typed;
use shown::show;

const DEMO: &str = include_str!("../audio-fixtures/demo-home.toml");
static DIALOGUE: LazyLock<&Dialogue> = LazyLock::new(|| in_home(DEMO, None, None));

fn home_file(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/dialogues/homes");
    let text = std::fs::read_to_string(folder.join(format!("{name}.toml")));
    text.unwrap_or_else(|error| panic!("home {name}: {error}"))
}

/// The dialogue of a home with these signed on, its first aide when none are
/// given; with `speech` where the home has chosen no other. A test's dialogues live as
/// long as it does.
fn in_home(text: &str, speech: Option<Speech>, staff: Option<Vec<Staff>>) -> &'static Dialogue {
    static MADE: Mutex<BTreeMap<String, &'static Dialogue>> = Mutex::new(BTreeMap::new());
    let key = format!("{text}{speech:?}{staff:?}");
    let mut made = MADE.lock().unwrap();
    made.entry(key).or_insert_with(|| {
        let mut home = Home::from_toml(text).unwrap();
        if home.bedside.speech == Speech::Earpiece {
            home.bedside.speech = speech.unwrap_or_default();
        }
        let staff = staff.unwrap_or_else(|| vec![home.aides[0].clone()]);
        let dialogue = Dialogue::for_staff(home, staff, &Grammar::standard());
        Box::leak(Box::new(dialogue.unwrap()))
    })
}

struct Conversation {
    dialogue: &'static Dialogue,
    state: State,
    now: Time,
    said: String,
    spoken: String,
    tones: Vec<Tone>,
    stored: Vec<String>,
    /// All that was stored.
    record: Record,
    turn: String,
    /// The number of the question that waited before the last turn.
    before: u64,
    wake: Option<Time>,
    clicks: usize,
}

impl Conversation {
    fn begin(dialogue: &'static Dialogue) -> Self {
        Self::begin_at(dialogue, "2026-03-02T07:30:00-05:00")
    }

    fn begin_at(dialogue: &'static Dialogue, now: &str) -> Self {
        let now = Time::parse_from_rfc3339(now).unwrap();
        let (state, actions) = dialogue.begin(&Record::default(), 1, now);
        let mut conversation = Self {
            dialogue,
            state,
            now,
            said: String::new(),
            spoken: String::new(),
            tones: Vec::new(),
            stored: Vec::new(),
            record: Record::default(),
            turn: String::new(),
            before: 0,
            wake: None,
            clicks: 0,
        };
        conversation.take(actions);
        conversation
    }

    fn take(&mut self, actions: Vec<Action>) {
        self.said.clear();
        self.spoken.clear();
        self.tones.clear();
        self.take_more(actions);
    }

    /// Takes actions; what is said takes a second, and the dialogue is told so
    /// where it wants to be.
    fn take_more(&mut self, actions: Vec<Action>) {
        let mut told = false;
        for action in actions {
            match action {
                Action::Say(saying) => {
                    self.is_private(&saying);
                    self.said.push_str(&saying.shown);
                    self.spoken.push_str(&saying.spoken);
                    self.tones.extend(saying.tones);
                }
                Action::Keep(fact) => {
                    self.stored.extend(show(&fact));
                    let stored = serde_json::to_value(&fact).unwrap();
                    self.record.add(&serde_json::from_value(stored).unwrap());
                }
                Action::Click => self.clicks += 1,
                Action::Listen {
                    wake, sharp, tell, ..
                } => {
                    self.wake = wake.into_iter().chain(sharp).min();
                    told = tell;
                }
                Action::End => {}
            }
        }
        if told {
            let began = self.now;
            self.now += Duration::seconds(1);
            let ended = self.now;
            self.go_on(&Event::Said { began, ended });
        }
    }

    fn go_on(&mut self, event: &Event) {
        let (state, actions) = self.dialogue.step(self.state.clone(), event, self.now);
        self.state = state;
        self.take_more(actions);
    }

    /// Time passes, as the mark says.
    fn wait(&mut self, mark: &str, time: &str) {
        let number = |it: &str| it.trim().parse::<i64>().unwrap();
        match (mark, time.strip_prefix('~')) {
            ("%", _) => return self.seconds(number(time)),
            ("@", _) => return self.pass(number(time)),
            (_, Some(seconds)) => self.now += Duration::seconds(number(seconds)),
            _ => self.now += Duration::minutes(number(time)),
        }
        if mark == "~" {
            self.step(&Event::Tick);
        }
    }

    /// Seconds pass; timers end at their time.
    fn seconds(&mut self, seconds: i64) {
        let until = self.now + Duration::seconds(seconds);
        self.said.clear();
        while let Some(at) = self.wake.filter(|it| *it <= until) {
            self.now = at;
            self.go_on(&Event::Tick);
        }
        self.now = until.max(self.now);
    }

    /// Nothing is spoken that tells the room whose a value is.
    fn is_private(&self, saying: &Saying) {
        let home = self.dialogue.home();
        match home.bedside.speech {
            Speech::Earpiece => assert_eq!(saying.spoken, saying.shown),
            Speech::Tones => assert!(saying.spoken.is_empty() && !saying.tones.is_empty()),
            Speech::Room => {
                assert!(!saying.spoken.is_empty() && saying.tones.is_empty());
                for resident in &home.residents {
                    let born = wording::birth_date(resident.birth_date);
                    for told in [resident.name.as_str(), &resident.spoken_name(), &born] {
                        let spoken = &saying.spoken;
                        assert!(!spoken.contains(told), "{told} is told in \"{spoken}\"");
                    }
                }
                // What is open for one who is not here has no value spoken.
                for report in self.state.open_reports() {
                    let elsewhere = self.state.resident() != Some(&report.resident);
                    if let (true, Raised::Limit(finding)) = (elsewhere, &report.raised)
                        && saying.shown.contains("Still to report")
                    {
                        let value = wording::finding(finding);
                        assert!(!saying.spoken.contains(&value), "{}", saying.spoken);
                    }
                }
            }
        }
    }

    fn hear(&mut self, words: &str) {
        self.now += Duration::seconds(5);
        words.clone_into(&mut self.turn);
        let event = if words.is_empty() {
            Event::Silence
        } else {
            Event::Heard(Heard::from_text(words))
        };
        self.step(&event);
    }

    /// Words by hand, about what waits now, or before the last turn.
    fn touch(&mut self, words: &str, now: bool) {
        let asked = if now { self.state.asked() } else { self.before };
        self.now += Duration::seconds(5);
        words.clone_into(&mut self.turn);
        let heard = typed(words);
        self.step(&Event::Touched(Touched { heard, asked }));
    }

    /// Time in which something is said now and then, so that nobody is thought
    /// to have left.
    fn pass(&mut self, minutes: i64) {
        let end = self.now + Duration::minutes(minutes);
        while self.now < end {
            self.now = end.min(self.now + Duration::minutes(10));
            let event = Event::Heard(Heard::from_text("repeat"));
            let (state, _) = self.dialogue.step(self.state.clone(), &event, self.now);
            self.state = state;
        }
    }

    fn all_of(&self, names: &str) -> Vec<Staff> {
        let names = names.split(',').map(str::trim);
        let names = names.filter(|it| !it.is_empty());
        names.map(|it| self.staff(it)).collect()
    }

    fn staff(&self, name: &str) -> Staff {
        let mut all = self.dialogue.home().staff();
        let found = all.find(|it| it.name == name).cloned();
        found.unwrap_or_else(|| panic!("{name} is not of the staff"))
    }

    /// The program is killed, and started again on what was stored.
    fn start_again(&mut self) {
        self.now += Duration::minutes(1);
        "killed".clone_into(&mut self.turn);
        let (state, actions) = self.dialogue.begin(&self.record, 2, self.now);
        self.state = state;
        self.take(actions);
        assert_eq!(self.record.pending().count(), 0, "what waited is closed");
        self.is_what_was_stored();
    }

    /// That was said, in these words in this order; nothing when there are none.
    fn has_said(&self, words: &str, at: &str) {
        let (turn, said) = (&self.turn, &self.said);
        let right = in_order(said, words) && said.is_empty() >= words.is_empty();
        assert!(
            right,
            "{at}: after \"{turn}\" expected \"{words}\" in \"{said}\""
        );
    }

    /// That fact was stored, and was not asked about yet.
    fn has_stored(&mut self, fact: &str, at: &str) {
        let (turn, stored) = (&self.turn, &mut self.stored);
        let found = stored.iter().position(|it| it == fact);
        let Some(found) = found else {
            panic!("{at}: after \"{turn}\" expected \"{fact}\" among {stored:?}");
        };
        stored.remove(found);
    }

    fn step(&mut self, event: &Event) {
        self.before = self.state.asked();
        let (state, actions) = self.dialogue.step(self.state.clone(), event, self.now);
        self.state = state;
        self.take(actions);
        self.is_what_was_stored();
    }

    /// What the conversation goes by is what the record adds up to: where others
    /// added nothing, going on with the record changes nothing.
    fn is_what_was_stored(&self) {
        let mut again = self.state.clone();
        again.take_histories(&self.record);
        again.take_reports(&self.record);
        assert_eq!(parts(&again), parts(&self.state), "after \"{}\"", self.turn);
    }
}

/// A state as text, its past readings apart: of those taken at one moment the order
/// means nothing, and a correction changes it.
fn parts(state: &State) -> (String, Vec<String>) {
    let text = format!("{state:?}");
    let (before, rest) = text.split_once(" histories: ").unwrap();
    let (histories, after) = rest.split_once(" rechecks: ").unwrap();
    let mut readings = Vec::new();
    for of_one in histories.split("ResidentId(").skip(1) {
        let mut parts = of_one.split("Reading { ");
        let whose = parts.next().unwrap();
        let of_one = parts.map(|it| it.trim_end_matches([' ', ',', ']', '}']));
        readings.extend(of_one.map(|it| format!("{whose} {it}")));
    }
    readings.sort();
    (before.to_owned() + after, readings)
}

fn own(home: &str) -> Bedside {
    Home::from_toml(home).unwrap().bedside
}

/// Whether the parts of `expected`, with " … " between, are in `said`, in order.
fn in_order(said: &str, expected: &str) -> bool {
    let mut left = said;
    expected.split(" … ").all(|part| {
        let found = left.find(part).map(|at| at + part.len());
        left = &left[found.unwrap_or(0)..];
        found.is_some()
    })
}

/// Runs a script, with `speech` where a home has chosen no other.
fn run(file: &str, script: &str, speech: Option<Speech>) -> usize {
    let mut home = DEMO.to_owned();
    let demo = in_home(DEMO, speech, None);
    let mut conversations = 0;
    let mut current: Option<Conversation> = None;
    for (number, line) in script.lines().enumerate() {
        let at = format!("{file}:{}", number + 1);
        let (mark, rest) = line.split_at(line.len().min(1));
        let rest = rest.trim();
        let nothing_left = |conversation: &Conversation| {
            let stored = &conversation.stored;
            assert!(
                stored.is_empty(),
                "{at}: \"{}\" also stored {stored:?}",
                conversation.turn
            );
        };
        match (mark, current.as_mut()) {
            ("#", _) if line.starts_with("##") => {
                current.iter().for_each(nothing_left);
                DEMO.clone_into(&mut home);
                current = Some(Conversation::begin(demo));
                conversations += 1;
            }
            ("" | "#", _) => {}
            (">", Some(it)) => {
                nothing_left(it);
                it.hear(rest);
            }
            ("t" | "x", Some(it)) => {
                nothing_left(it);
                it.touch(rest, mark == "t");
            }
            ("<", Some(it)) => it.has_said(rest, &at),
            ("-", Some(it)) => {
                assert!(
                    !it.said.contains(rest),
                    "{at}: \"{rest}\" in \"{}\"",
                    it.said
                );
            }
            // What is heard is only of the home's own choice.
            ("^" | "*", Some(it)) if it.dialogue.home().bedside != own(&home) => {}
            ("^", Some(it)) => {
                let right = in_order(&it.spoken, rest) && it.spoken.is_empty() == rest.is_empty();
                assert!(right, "{at}: \"{rest}\" is not spoken in \"{}\"", it.spoken);
            }
            ("*", Some(it)) => {
                let tones: Vec<String> = it.tones.iter().map(|it| format!("{it:?}")).collect();
                assert_eq!(tones.join(" ").to_lowercase(), rest, "{at}");
            }
            ("+", Some(it)) => it.has_stored(rest, &at),
            ("h", Some(it)) => {
                let name = line.strip_prefix("home ");
                let name = name.unwrap_or_else(|| panic!("{at}: not a line: {line}"));
                home = home_file(name);
                *it = Conversation::begin(in_home(&home, speech, None));
            }
            ("!", Some(it)) => assert_eq!(it.clicks.to_string(), rest, "{at}: ticks"),
            ("%" | "~" | "@" | ".", Some(it)) => it.wait(mark, rest),
            ("s", Some(it)) => {
                let names = line.strip_prefix("signed");
                let staff = it.all_of(names.unwrap_or_else(|| panic!("{at}: {line}")));
                *it = Conversation::begin(in_home(&home, speech, Some(staff)));
            }
            ("o", Some(it)) => {
                nothing_left(it);
                line.clone_into(&mut it.turn);
                let event = match line.split_once(' ') {
                    Some(("on", name)) => Event::SignedOn(it.staff(name)),
                    Some(("off", name)) => Event::SignedOff(it.staff(name)),
                    _ => panic!("{at}: not a line: {line}"),
                };
                it.step(&event);
            }
            ("k", Some(it)) => {
                nothing_left(it);
                assert_eq!(line, "killed", "{at}");
                it.start_again();
            }
            _ => panic!("{at}: a line begins with ##, >, <, + or @: {line}"),
        }
    }
    let stored = current.map(|it| it.stored).unwrap_or_default();
    assert!(
        stored.is_empty(),
        "{file}: at the end also stored {stored:?}"
    );
    conversations
}

#[test]
fn every_script_goes_as_written() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/dialogues");
    let mut conversations = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|it| it != "txt") {
            continue;
        }
        let script = std::fs::read_to_string(&path).unwrap();
        let file = path.file_name().unwrap().to_str().unwrap();
        conversations += run(file, &script, None);
        for speech in [Speech::Room, Speech::Tones] {
            run(file, &script, Some(speech));
        }
    }
    assert!(
        conversations >= 240,
        "only {conversations} conversations were found"
    );
}

#[test]
fn what_was_not_heard_surely_is_asked_for_again_unless_it_answers_nothing() {
    let unsure = |text: &str| {
        let mut heard = Heard::from_text(text);
        heard.words[0].confidence = 0.4;
        Event::Heard(heard)
    };
    let mut conversation = Conversation::begin(&DIALOGUE);
    for (text, said) in [
        ("room nine", "Please say that again."),
        ("yes", ""),
        ("no", ""),
        ("what a lovely morning", ""),
    ] {
        conversation.said.clear();
        conversation.step(&unsure(text));
        assert_eq!(conversation.said, said, "after an unsure {text:?}");
    }
}

#[path = "dialogues/clocks.rs"]
mod clocks;
#[path = "dialogues/properties.rs"]
mod properties;
#[path = "dialogues/restart.rs"]
mod restart;
#[path = "dialogues/score.rs"]
mod score;
#[path = "dialogues/shown.rs"]
mod shown;
#[path = "dialogues/timed.rs"]
mod timed;
