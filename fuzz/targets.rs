//! Every way in, given any bytes: nothing may panic, hang or take more memory
//! than the bytes are worth, and what is taken must hold what is said beside it.
//!
//! The fuzzer runs these (`make fuzz`), and so does an ordinary test over the
//! seeds (`tests/fuzz_seeds.rs`).

#[path = "home.rs"]
pub mod home;
#[path = "tablet.rs"]
pub mod tablet;
#[path = "web.rs"]
pub mod web;

use std::collections::BTreeMap;
use std::sync::LazyLock;

use chrono::NaiveDate;
use sayback::dialogue::{Action, Dialogue, Event, State, Touched};
use sayback::facts::{Body, ChainHead, Fact, Record, Time};
use sayback::grammar::{Expect, Grammar, Vocabulary};
use sayback::hearing::{Heard, heard_in, read_wav_at_own_rate, read_wav_bytes};
use sayback::residents::{Home, import_csv};
use sayback::review::export::Chart;
use sayback::review::export::import::{Rooms, plan};
use sayback::review::fields::Fields;
use sayback::review::index::Index;
use sayback::round::Script;
use sayback::store::{LogFault, Stored};
use sayback::understanding::{Context, Utterance, typed, understand};
use sayback::vitals::{HomeLimits, Units, VitalSign};

/// A target: what it is called, and what it does.
pub type Target = (&'static str, fn(&[u8]));

/// Every target.
#[allow(dead_code, reason = "each fuzz target runs one")]
pub const ALL: [Target; 20] = [
    ("wav", wav),
    ("transcripts", transcripts),
    ("log", log),
    ("station", web::station),
    ("bedside", web::bedside),
    ("tablet", tablet::tablet),
    ("grammar", grammar),
    ("roster_toml", roster_toml),
    ("roster_csv", roster_csv),
    ("limits", limits),
    ("heard", heard),
    ("dialogue", dialogue),
    ("form", form),
    ("facts", facts),
    ("patients", patients),
    ("script", script),
    ("link", home::link),
    ("fetched", home::fetched),
    ("shown", home::shown),
    ("settings", home::settings),
];

static HOME: LazyLock<Home> = LazyLock::new(|| {
    let text = include_str!("../audio-fixtures/demo-home.toml");
    Home::from_toml(text).expect("the demo home")
});
static GRAMMAR: LazyLock<Grammar> = LazyLock::new(Grammar::standard);
static VOCABULARY: LazyLock<Vocabulary> =
    LazyLock::new(|| GRAMMAR.clone().for_home(&HOME).expect("words").vocabulary());
static DIALOGUE: LazyLock<Dialogue> = LazyLock::new(|| {
    Dialogue::new(HOME.clone(), HOME.aides[0].clone(), &GRAMMAR).expect("a dialogue")
});
/// What can be said, to begin from.
static PHRASES: LazyLock<Vec<String>> = LazyLock::new(|| {
    let home = GRAMMAR.clone().for_home(&HOME).expect("words");
    let mut all: Vec<String> = Expect::ALL
        .iter()
        .flat_map(|it| home.phrases(*it))
        .collect();
    all.sort();
    all.dedup();
    all
});

fn now() -> Time {
    Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").expect("a time")
}

fn text(data: &[u8]) -> Option<&str> {
    std::str::from_utf8(data).ok()
}

/// A recording.
pub fn wav(data: &[u8]) {
    if let Ok((rate, samples)) = read_wav_at_own_rate(data) {
        assert!(rate > 0);
        assert!(samples.len() <= data.len(), "more sound than bytes");
    }
    let _ = read_wav_bytes(data);
}

/// What the recogniser's library writes of an utterance: its own JSON.
pub fn transcripts(data: &[u8]) {
    let Some(Ok(Some(heard))) = text(data).map(heard_in) else {
        return;
    };
    for word in &heard.words {
        assert!((0.0..=1.0).contains(&word.confidence), "{word:?}");
    }
    meant(&heard);
}

/// A write-ahead log that a stop left.
pub fn log(data: &[u8]) {
    let _ = LogFault::in_log(data);
}

/// A grammar file, under the name that it says. Every phrase that has a meaning is of
/// its words.
pub fn grammar(data: &[u8]) {
    let Some(text) = text(data) else { return };
    let named = text
        .split_once("grammar ")
        .and_then(|it| it.1.split_once(';'));
    let name = named.map_or("any", |it| it.0.trim());
    // Most others use the numbers.
    let numbers = ("numbers", include_str!("../grammar/numbers.jsgf"));
    let Ok(grammar) = Grammar::parse(&[numbers, (name, text)]) else {
        return;
    };
    let words = grammar.words();
    for (phrase, _) in grammar.vocabulary().phrases() {
        let mut each = phrase.split_whitespace();
        assert!(
            each.all(|it| words.binary_search(&it.to_owned()).is_ok()),
            "{phrase}"
        );
    }
}

/// A home's file. What is written of it reads back as the same.
pub fn roster_toml(data: &[u8]) {
    if let Some(Ok(home)) = text(data).map(Home::from_toml) {
        let written = home.to_toml().expect("what was read can be written");
        let again = Home::from_toml(&written).expect("what was written can be read");
        assert_eq!(again, home);
        assert_eq!(again.to_toml().expect("again"), written);
    }
}

/// A roster as a table. What is read of it can be written to the home's file, and
/// reads back from there as the same.
pub fn roster_csv(data: &[u8]) {
    let today = NaiveDate::from_ymd_opt(2026, 3, 9).expect("a day");
    let read = text(data).map(|it| import_csv(it, &HOME, today, true));
    let Some(Ok(lines)) = read else {
        return;
    };
    let mut home = HOME.clone();
    home.residents = lines.into_iter().map(|it| it.resident).collect();
    let written = home.to_toml().expect("what was read can be written");
    assert_eq!(Home::from_toml(&written).expect("and read"), home);
}

/// A home's limits. Whatever they are, a round can be held with them.
pub fn limits(data: &[u8]) {
    let Some(text) = text(data) else { return };
    let _ = HomeLimits::parse(text, Units::Metric);
    if let Ok(limits) = HomeLimits::parse(text, HOME.units) {
        let mut home = HOME.clone();
        home.set_limits(&limits);
        let dialogue = Dialogue::new(home, HOME.aides[0].clone(), &GRAMMAR);
        let facts = web::recorded(&dialogue.expect("a dialogue"));
        assert!(facts.iter().any(|it| matches!(it.body, Body::Read(_))));
    }
}

/// What the recogniser heard, as JSON or as words.
pub fn heard(data: &[u8]) {
    let heard = serde_json::from_slice::<Heard>(data).ok();
    let heard = heard.or_else(|| text(data).map(Heard::from_text));
    if let Some(heard) = heard {
        meant(&heard);
    }
}

fn meant(heard: &Heard) {
    for pending in [&[][..], &[VitalSign::Pulse], &VitalSign::ALL] {
        let context = Context {
            pending,
            ..Context::at_rest(Units::UsCustomary, 0.5)
        };
        let _ = understand(heard, &VOCABULARY, &context);
    }
}

/// A conversation: each byte says what happens next. No reading is kept but by a
/// step whose words are understood as a yes, and none that was not read back of the
/// same resident.
pub fn dialogue(data: &[u8]) {
    let mut now = now();
    let (mut state, _) = DIALOGUE.begin(&Record::default(), 1, now);
    let mut bytes = data.iter().copied();
    let mut offered = BTreeMap::new();
    // Longer ones only take longer.
    for _ in 0..60 {
        let Some(byte) = bytes.next() else { return };
        now += chrono::TimeDelta::seconds(i64::from(byte));
        let event = event(byte, &mut bytes, &state, now);
        // The clock is set back.
        if byte == 99 {
            now -= chrono::TimeDelta::hours(2);
        }
        let heard = match &event {
            Event::Heard(heard) | Event::Touched(Touched { heard, .. }) => heard,
            _ => &Heard::default(),
        };
        let yes = matches!(
            DIALOGUE.meaning(&state, heard),
            Ok(Utterance::Yes(_) | Utterance::Readings { yes: Some(_), .. })
        );
        let (next, actions) = DIALOGUE.step(state, &event, now);
        for action in &actions {
            let Action::Keep(fact) = action else { continue };
            let json = serde_json::to_value(fact).expect("a fact");
            match fact.body {
                Body::Offered { .. } => {
                    offered.insert(json["id"].to_string(), json);
                }
                Body::Read(_) => {
                    assert!(yes, "kept without a yes: {event:?}");
                    let offer = offered.get(&json["offer"].to_string());
                    let offer = offer.expect("kept without an offer");
                    let read_back = offer["readings"].as_array().expect("readings");
                    assert!(read_back.contains(&json["measurement"]), "{json}");
                    assert_eq!(offer["resident"], json["resident"]);
                }
                _ => {}
            }
        }
        if actions.iter().any(|it| matches!(it, Action::End)) {
            return;
        }
        state = next;
    }
}

/// What a byte, and those after it, say that happens.
fn event(byte: u8, bytes: &mut impl Iterator<Item = u8>, state: &State, now: Time) -> Event {
    let mut phrase = || {
        let pair = [bytes.next().unwrap_or(0), bytes.next().unwrap_or(0)];
        let at = usize::from(u16::from_le_bytes(pair)) * 31 + usize::from(byte);
        Heard::from_text(&PHRASES[at % PHRASES.len()])
    };
    let touched = |words: &str, asked: u64| {
        let heard = typed(words);
        Event::Touched(Touched { heard, asked })
    };
    let staff = |at: u8| {
        let staff: Vec<_> = HOME.staff().cloned().collect();
        staff[usize::from(at) % staff.len()].clone()
    };
    match byte {
        0..=15 => Event::Silence,
        16..=23 | 99 => Event::Tick,
        24..=27 => Event::NotStored("the disk is full".to_owned()),
        28..=31 => Event::NotSaid,
        32..=39 => Event::Said {
            began: now,
            ended: now,
        },
        40..=79 => Event::Heard(Heard::from_text("yes")),
        80..=85 => touched("yes", state.asked()),
        86 => touched("yes", state.asked().wrapping_sub(1)),
        87 => touched("152/88", state.asked()),
        88..=92 => {
            let words: Vec<String> = phrase().words.into_iter().map(|it| it.text).collect();
            touched(&words.join(" "), state.asked())
        }
        93..=95 => Event::SignedOn(staff(byte)),
        96..=98 => Event::SignedOff(staff(byte)),
        _ => Event::Heard(phrase()),
    }
}

/// The body of a form, or a query.
pub fn form(data: &[u8]) {
    let fields = Fields::parse(data);
    for name in ["value", "reason", "seen", "login", "from", ""] {
        let _ = (fields.get(name).len(), fields.exact(name).len());
        let _ = (
            fields.number(name, "The value"),
            fields.text(name, "The reason"),
        );
        let _ = (fields.date(name), fields.id(name));
        let written = fields.query_with(name, "ä&b=c");
        let query = written.trim_start_matches('?');
        assert_eq!(Fields::parse(query.as_bytes()).exact(name), "ä&b=c");
    }
}

/// Stored facts, one a line. What is read is written as the same, and every fold
/// takes whatever facts there are.
pub fn facts(data: &[u8]) {
    let Some(text) = text(data) else { return };
    let mut facts = Vec::new();
    for line in text.lines().take(50) {
        let _ = line.parse::<ChainHead>();
        if let Ok(fact) = serde_json::from_str::<Fact>(line) {
            let written = serde_json::to_string(&fact).expect("it can be written");
            let again: Fact = serde_json::from_str(&written).expect("and read again");
            assert_eq!(serde_json::to_string(&again).expect("and written"), written);
            facts.push(fact);
        }
    }
    let record = Record::of(&facts);
    let _ = (record.histories(), record.rechecks().count());
    let _ = Chart::of(&facts);
    let mut index = Index::new(HOME.clone());
    let stored = facts.into_iter().zip(1..);
    index.extend(stored.map(|(fact, seq)| Stored {
        seq,
        fact: Ok(fact),
    }));
    let _ = index.open_reports().count();
}

/// FHIR Patients to import.
pub fn patients(data: &[u8]) {
    if let Some(text) = text(data)
        && let Ok(plan) = plan(text, &HOME, &Rooms::default(), None)
    {
        let mut home = HOME.clone();
        let before = home.residents.len();
        let added = plan.added.len();
        plan.apply(&mut home);
        assert_eq!(home.residents.len(), before + added, "nobody is removed");
    }
}

/// The script of a rehearsal.
pub fn script(data: &[u8]) {
    if let Some(text) = text(data) {
        let _ = Script::parse(std::path::Path::new("any.script"), text);
    }
}
