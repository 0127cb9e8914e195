//! Whole conversations, written as scripts in `tests/dialogues/*.txt`.
//!
//! ```text
//! ## title            a new conversation, at 07:30 in the demo home
//! > words             the aide says (a silence when empty)
//! * words             the aide types or touches this, about what waits
//! x words             the same, about what waited before the last turn
//! < words             Sayback's answer contains these words, in this order
//! + fact              this fact was stored by the last turn
//! @ minutes           time passes
//! ~ minutes           time passes, and the dialogue's timer ends
//! home NAME           the conversation is in tests/dialogues/homes/NAME.toml
//! ```
//! Every reading, refusal, flag and report that is stored must be in the script;
//! a fact that the script does not name fails it.

use std::fmt::Write as _;
use std::path::Path;
use std::sync::LazyLock;

use chrono::Duration;
use sayback::dialogue::{Action, Dialogue, Event, State, Touched};
use sayback::facts::{Body, Fact, KeptReading, Record, Time};
use sayback::grammar::Grammar;
use sayback::hearing::{By, Heard};
use sayback::residents::Home;
use sayback::understanding::typed;
use sayback::vitals::{Measurement, Qualifier, Supply, Value, Working};

static DIALOGUE: LazyLock<Dialogue> =
    LazyLock::new(|| dialogue(include_str!("../audio-fixtures/demo-home.toml")));
static CARE: LazyLock<Dialogue> =
    LazyLock::new(|| dialogue(include_str!("dialogues/homes/care.toml")));

fn dialogue(home: &str) -> Dialogue {
    let home = Home::from_toml(home).unwrap();
    let aide = home.aides[0].clone();
    Dialogue::new(home, aide, &Grammar::standard()).unwrap()
}

struct Conversation {
    dialogue: &'static Dialogue,
    state: State,
    now: Time,
    said: String,
    stored: Vec<String>,
    turn: String,
    /// The number of the question that waited before the last turn.
    before: u64,
}

impl Conversation {
    fn begin(dialogue: &'static Dialogue) -> Self {
        let now = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap();
        let (state, actions) = dialogue.begin(&Record::default(), 1, now);
        let mut conversation = Self {
            dialogue,
            state,
            now,
            said: String::new(),
            stored: Vec::new(),
            turn: String::new(),
            before: 0,
        };
        conversation.take(actions);
        conversation
    }

    fn take(&mut self, actions: Vec<Action>) {
        self.said.clear();
        for action in actions {
            match action {
                Action::Say(text) => self.said.push_str(&text),
                Action::Keep(fact) => self.stored.extend(show(&fact)),
                Action::Listen { .. } | Action::End => {}
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

    fn touch(&mut self, words: &str, asked: u64) {
        self.now += Duration::seconds(5);
        words.clone_into(&mut self.turn);
        let heard = typed(words);
        self.step(&Event::Touched(Touched { heard, asked }));
    }

    fn step(&mut self, event: &Event) {
        self.before = self.state.asked();
        let (state, actions) = self.dialogue.step(self.state.clone(), event, self.now);
        self.state = state;
        self.take(actions);
    }
}

fn measurement(it: &Measurement) -> String {
    let mut text = it.sign().tag().to_owned();
    match it.value() {
        Value::One(quantity) => write!(text, " {} {}", quantity.value(), quantity.unit().symbol()),
        Value::Pressure {
            systolic,
            diastolic,
        } => {
            write!(text, " {}/{}", systolic.value(), diastolic.value())
        }
        Value::Level(level) => write!(text, " {}", level.tag()),
        Value::NotRated => write!(text, " not rated"),
    }
    .unwrap();
    for qualifier in it.qualifiers().iter() {
        match qualifier {
            Qualifier::Supply(Supply::Oxygen(Some(litres))) => write!(text, ", oxygen {litres}"),
            other => write!(text, ", {}", other.spoken()),
        }
        .unwrap();
    }
    text
}

/// The facts that a script must name; offers and their answers it may leave out.
fn show(fact: &Fact<KeptReading>) -> Option<String> {
    Some(match &fact.body {
        Body::Read(reading) => {
            let record = reading.record();
            let late = if record.measured_at == record.spoken_at {
                String::new()
            } else {
                record.measured_at.format(" at %H:%M").to_string()
            };
            let looked = if record.second_look {
                ", looked twice"
            } else {
                ""
            };
            let worked = match record.working {
                None => String::new(),
                Some(Working::Counted { count, seconds }) => {
                    format!("; counted {count} in {seconds}")
                }
                Some(Working::Bars { large, small }) => format!("; bars {large} + {small}"),
                Some(Working::LessChair { total, chair }) => {
                    format!("; {} less chair {}", total.value(), chair.value())
                }
            };
            let went_on = record
                .went_on
                .iter()
                .map(|it| format!("; went on: {}", it.reason));
            let went_on: String = went_on.collect();
            let read = measurement(&record.measurement);
            let typed = match record.given_by {
                By::Voice => "",
                By::Touch => "; typed",
            };
            let touched = match record.confirmed_by {
                By::Voice => "",
                By::Touch => "; yes by touch",
            };
            format!("read {read}{late}{looked}{worked}{went_on}{typed}{touched}")
        }
        Body::NotTaken { signs, reason, .. } => {
            let signs: Vec<&str> = signs.iter().map(|it| it.tag()).collect();
            format!("not taken {} {}", signs.join(" "), reason.spoken())
        }
        Body::Flagged { finding, .. } => {
            format!(
                "flag {} {:?}",
                finding.component.name(finding.sign),
                finding.side
            )
        }
        Body::RuleMet { flag, .. } => format!("rule {:?}", flag.rule),
        Body::Retaken(_) => "retaken".to_owned(),
        Body::ReportedToNurse { to, flags, .. } => format!("reported {} to {to}", flags.len()),
        Body::Unconfirmed { readings, .. } => {
            let readings: Vec<String> = readings.iter().map(measurement).collect();
            format!("unconfirmed {}", readings.join("; "))
        }
        Body::Identified { name, .. } => format!("identified {name}"),
        Body::RoundClosed { open_reports } => format!("closed with {open_reports} open"),
        _ => return None,
    })
}

fn run(file: &str, script: &str) -> usize {
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
                current = Some(Conversation::begin(&DIALOGUE));
                conversations += 1;
            }
            ("" | "#", _) => {}
            (">", Some(it)) => {
                nothing_left(it);
                it.hear(rest);
            }
            ("*" | "x", Some(it)) => {
                nothing_left(it);
                let asked = if mark == "*" {
                    it.state.asked()
                } else {
                    it.before
                };
                it.touch(rest, asked);
            }
            ("<", Some(it)) => {
                let mut left = it.said.as_str();
                for part in rest.split(" … ") {
                    let found = left.find(part);
                    assert!(
                        found.is_some(),
                        "{at}: after \"{}\" expected \"{part}\" in \"{}\"",
                        it.turn,
                        it.said
                    );
                    left = &left[found.unwrap() + part.len()..];
                }
                assert!(
                    !rest.is_empty() || it.said.is_empty(),
                    "{at}: said \"{}\"",
                    it.said
                );
            }
            ("+", Some(it)) => {
                let found = it.stored.iter().position(|stored| stored == rest);
                assert!(
                    found.is_some(),
                    "{at}: after \"{}\" expected \"{rest}\" among {:?}",
                    it.turn,
                    it.stored
                );
                it.stored.remove(found.unwrap());
            }
            ("h", Some(it)) => {
                assert_eq!(line, "home care", "{at}: there is no other home");
                *it = Conversation::begin(&CARE);
            }
            ("~", Some(it)) => {
                it.now += Duration::minutes(rest.parse().unwrap());
                it.step(&Event::Tick);
            }
            ("@", Some(it)) => it.now += Duration::minutes(rest.parse().unwrap()),
            _ => panic!("{at}: a line begins with ##, >, *, x, <, + or @: {line}"),
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
        conversations += run(path.file_name().unwrap().to_str().unwrap(), &script);
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

mod properties {
    use std::collections::BTreeSet;

    use proptest::prelude::*;
    use sayback::dialogue::Phase;
    use sayback::speaking::wording;

    use super::*;

    /// Things an aide, a television or silence might bring, in any order.
    fn event() -> impl Strategy<Value = Event> {
        let grammar = Grammar::standard();
        let rules: Vec<String> = grammar.public_rules().map(str::to_owned).collect();
        let drawn =
            (proptest::sample::select(rules), any::<u64>()).prop_map(move |(rule, seed)| {
                let mut rng = fastrand::Rng::with_seed(seed);
                Event::Heard(Heard::from_text(&grammar.draw(&rule, &mut rng)))
            });
        let often = proptest::sample::select(vec![
            "yes",
            "no",
            "room nine",
            "room four bed two",
            "pulse seventy two regular",
            "blood pressure one sixty over ninety left arm sitting",
            "temperature one hundred two",
            "respiration [unk]",
            "no eighty four",
            "oral",
            "scratch that",
            "reported to the charge nurse",
            "done",
        ]);
        let words = proptest::collection::vec("[a-z]{1,6}", 0..5).prop_map(|it| it.join(" "));
        prop_oneof![
            5 => often.prop_map(|it| Event::Heard(Heard::from_text(it))),
            3 => drawn,
            1 => Just(Event::Silence),
            1 => words.prop_map(|it| Event::Heard(Heard::from_text(&it))),
            1 => Just(Event::NotStored("the disk is full".to_owned())),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig {
            cases: 400,
            failure_persistence: None,
            ..ProptestConfig::default()
        })]

        /// In any order of events: nothing panics; nothing is stored without a
        /// yes that followed the read-back of just that value; and nothing that
        /// was read back is lost without a fact that says so.
        #[test]
        fn only_what_was_read_back_and_confirmed_is_stored(
            events in proptest::collection::vec(event(), 1..40),
        ) {
            let mut now = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap();
            let (mut state, _) = DIALOGUE.begin(&Record::default(), 1, now);
            let mut last_said = String::new();
            let mut waiting: BTreeSet<uuid::Uuid> = BTreeSet::new();
            for event in events {
                now += Duration::seconds(7);
                let (next, actions) = DIALOGUE.step(state.clone(), &event, now);
                prop_assert_eq!(&DIALOGUE.step(state, &event, now).1, &actions, "not pure");
                state = next;
                let yes = matches!(
                    &event,
                    Event::Heard(heard) if ["yes", "keep", "correct", "that's"]
                        .iter()
                        .any(|it| heard.text().starts_with(it))
                );
                let mut answered = None;
                for action in actions {
                    match action {
                        Action::Say(text) => last_said = text,
                        Action::Keep(fact) => match fact.body {
                            Body::Read(reading) => {
                                let record = reading.record();
                                prop_assert!(yes, "stored on {:?}", event);
                                // One yes answers one offer of several readings.
                                let offered = waiting.remove(&record.offer);
                                prop_assert!(offered || answered == Some(record.offer));
                                answered = Some(record.offer);
                                let said = wording::measurement(&record.measurement);
                                prop_assert!(record.read_back.contains(&said));
                                prop_assert!(
                                    last_said.contains(&said),
                                    "stored \"{}\" after saying \"{}\"", said, last_said
                                );
                            }
                            Body::Offered { .. } => {
                                waiting.insert(fact.id);
                            }
                            Body::Dropped { offer, .. } | Body::Unconfirmed { offer, .. } => {
                                prop_assert!(waiting.remove(&offer), "dropped what was not offered");
                            }
                            _ => {}
                        },
                        Action::Listen { .. } | Action::End => {}
                    }
                }
                let confirming = matches!(state.phase(), Phase::Confirming(_));
                prop_assert_eq!(waiting.len(), usize::from(confirming), "{:?}", state.phase());
            }
        }
    }
}

/// The early-warning score is said only where the home has turned it on and
/// only of a complete set. Values and total: Royal College of Physicians, NEWS2
/// (2017): respiration 22 scores 2, saturation 93 % on air 2, temperature
/// 38.2 °C 1, systolic 105 1, pulse 95 1, alert 0: 7.
#[test]
fn an_early_warning_score_is_of_a_complete_set_where_it_is_turned_on() {
    use sayback::residents::Home;
    use sayback::vitals::{HomeLimits, Units};

    let visit = [
        "room nine",
        "yes",
        "respiration twenty two",
        "yes",
        "saturation ninety three percent on room air",
        "yes",
        "temperature thirty eight point two celsius oral",
        "yes",
        "blood pressure one oh five over seventy left arm sitting",
        "yes",
        "pulse ninety five",
        "yes",
    ];
    let flags = |limits: &str| {
        let mut home = Home::from_toml(include_str!("../audio-fixtures/demo-home.toml")).unwrap();
        home.set_limits(&HomeLimits::parse(limits, Units::UsCustomary).unwrap());
        let aide = home.aides[0].clone();
        let dialogue = Dialogue::new(home, aide, &Grammar::standard()).unwrap();
        let mut conversation = Conversation::begin(Box::leak(Box::new(dialogue)));
        for words in visit {
            conversation.hear(words);
        }
        let early = |it: &Conversation| it.stored.contains(&"rule EarlyWarning".to_owned());
        let before = early(&conversation);
        conversation.hear("alertness alert");
        conversation.hear("yes");
        (before, early(&conversation), conversation.said)
    };
    let on = "policy = \"P\"\non = \"2026-02-01\"\nearly_warning_score = true\n";
    let (before, after, said) = flags(on);
    assert!(!before, "a partial set has no score");
    assert!(after, "{said}");
    assert!(said.contains("Early-warning score seven."), "{said}");
    let (_, after, _) = flags(&on.replace("true", "false"));
    assert!(!after, "the home has not turned it on");
}
