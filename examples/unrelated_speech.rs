//! What speech that is not meant for Sayback leads to: prose that people read
//! (Debian package `pocketsphinx-testdata`), chat, and talk with numbers, by
//! synthetic voices at four levels. Each is heard while readings may be spoken,
//! and while a reading waits for a yes: whenever none does any more, one is
//! spoken and heard surely, which is all that an aide says here.
//!
//! ```sh
//! cargo run --release --example unrelated_speech
//! cargo run --release --example unrelated_speech show
//! ```
//!
//! `show` prints what was answered. Ends with an error if anything was kept.

#[path = "../tests/hour/sound.rs"]
#[allow(dead_code, reason = "a round uses the rest")]
mod sound;

use std::path::{Path, PathBuf};

use chrono::Duration;
use sayback::dialogue::{Action, Dialogue, Event, Phase, State};
use sayback::facts::{Body, Record, Time};
use sayback::grammar::{Expect, Grammar};
use sayback::hearing::{Ear, Heard, Meter, RATE, read_wav, with_best_kernels};
use sayback::residents::Home;
use sayback::round::{ear_for, hear};
use sound::{CHAT, Ventilation, Voices, silence};

type Anything<T> = Result<T, Box<dyn std::error::Error>>;

/// At least so many seconds of each talk in each state.
const SECONDS: f64 = 600.0;
/// As from a microphone.
const BLOCK: usize = RATE as usize / 20;
/// In dB beside speech as it is recorded.
const LEVELS: [f64; 4] = [6.0, 0.0, -6.0, -12.0];
const VOICES: [&str; 6] = [
    "flite:kal",
    "flite:slt",
    "flite:awb",
    "espeak-ng:en-us",
    "espeak-ng:en-gb+f2",
    "espeak-ng:en-us+m3",
];

/// Numbers, such as they come up while an aide is at work.
const NUMBERS: [&str; 16] = [
    "i was born in nineteen thirty two",
    "she is eighty two you know",
    "they have raised the price to three fifty",
    "my son lives at one forty five maple street",
    "he is ninety eight years old and sharp as a tack",
    "the phone number is five five five one two three four",
    "we were married for fifty three years",
    "the temperature outside is seventy five degrees today",
    "i used to weigh one hundred and twenty pounds when i was young",
    "the score is seventy two to sixty eight at the half",
    "the pain was an eight when i came but i am better now",
    "the train leaves at nine fifteen from platform three",
    "his pulse was one hundred and ten when they found him",
    "i paid twelve dollars and ninety five cents for that",
    "yesterday my pressure was one sixty over ninety the doctor said",
    "two tablets at eight and one before bed",
];

/// What came of one kind of talk in one state.
#[derive(Default)]
struct Came {
    seconds: f64,
    kept: usize,
    /// A reading was read back, or read back again, because of talk.
    read_back: usize,
    /// Anything else was said because of talk.
    other: usize,
    /// A question was said again, or given up, because nobody answered it.
    unanswered: usize,
}

fn main() -> Anything<()> {
    with_best_kernels();
    let show = std::env::args().nth(1).is_some_and(|it| it == "show");
    let folder = tempfile::tempdir()?;
    let mut voices = Voices::new(folder.path());
    let home = Home::from_toml(&std::fs::read_to_string("audio-fixtures/demo-home.toml")?)?;
    let grammar = Grammar::standard();
    let dialogue = Dialogue::new(home.clone(), home.aides[0].clone(), &grammar)?;
    let model = std::env::var_os("SAYBACK_MODEL")
        .map_or_else(|| PathBuf::from("assets/model-en-us"), PathBuf::from);
    let ear = ear_for(&model, &grammar, &home)?;
    let mut listening = Listening {
        dialogue,
        ear,
        show,
    };

    println!(
        "| Talk | while | minutes | kept | read back, an hour | other answers, an hour | said again or given up for want of an answer, an hour |\n|---|---|---|---|---|---|---|"
    );
    let mut kept = 0;
    for (name, talk) in [
        ("prose", prose()?),
        ("chat", spoken(&mut voices, &CHAT)),
        ("numbers", spoken(&mut voices, &NUMBERS)),
    ] {
        for (state, reading) in [
            ("readings may be spoken", None),
            ("a reading waits for a yes", Some("pulse seven two regular")),
        ] {
            let came = listening.hear(&talk, reading);
            let an_hour = |count: usize| {
                #[allow(clippy::cast_precision_loss)]
                let count = count as f64;
                count * 3_600.0 / came.seconds
            };
            println!(
                "| {name} | {state} | {:.0} | {} | {:.1} | {:.1} | {:.1} |",
                came.seconds / 60.0,
                came.kept,
                an_hour(came.read_back),
                an_hour(came.other),
                an_hour(came.unanswered)
            );
            kept += came.kept;
        }
    }
    if kept > 0 {
        return Err(format!("{kept} readings were kept that nobody took").into());
    }
    Ok(())
}

fn prose() -> Anything<Vec<Vec<i16>>> {
    let folder = Path::new("/usr/share/pocketsphinx/test/data/librivox");
    let files = std::fs::read_dir(folder)
        .map_err(|error| format!("{}: {error}; run `make setup-test`", folder.display()))?;
    let mut files: Vec<PathBuf> = files
        .filter_map(|it| Some(it.ok()?.path()))
        .filter(|it| it.extension().is_some_and(|it| it == "wav"))
        .collect();
    files.sort();
    files.iter().map(|it| Ok(read_wav(it)?)).collect()
}

fn spoken(voices: &mut Voices, texts: &[&str]) -> Vec<Vec<i16>> {
    let each = VOICES.iter();
    each.flat_map(|voice| texts.iter().map(move |text| (voice, text)))
        .map(|(voice, text)| voices.say(voice, text))
        .collect()
}

struct Listening {
    dialogue: Dialogue,
    ear: Ear<Expect>,
    show: bool,
}

/// A conversation beside talk, with the times of a live round.
struct Beside<'a> {
    dialogue: &'a Dialogue,
    state: State,
    now: Time,
    /// Until when Sayback speaks and is deaf.
    deaf: Time,
    /// When silence is an answer, and when it was loud last.
    ends: Option<Time>,
    loud: Time,
    came: Came,
    show: bool,
}

impl Listening {
    fn hear(&mut self, talk: &[Vec<i16>], reading: Option<&str>) -> Came {
        let now = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").expect("a time");
        let (state, _) = self.dialogue.begin(&Record::default(), 1, now);
        let mut beside = Beside {
            dialogue: &self.dialogue,
            state,
            now,
            deaf: now,
            ends: None,
            loud: now,
            came: Came::default(),
            show: self.show,
        };
        for words in ["room nine", "yes"] {
            beside.step(&Event::Heard(Heard::from_text(words)));
        }
        let mut ventilation = Ventilation::new(1);
        let mut meter = Meter::default();
        let turns = LEVELS
            .iter()
            .flat_map(|level| talk.iter().map(move |speech| (*level, speech)));
        for (level, speech) in turns.cycle() {
            if beside.came.seconds > SECONDS {
                break;
            }
            let mut sound = louder(speech, level);
            sound.extend(silence(1_200));
            for block in ventilation.under(&sound).chunks(BLOCK) {
                beside.came.seconds += 0.05;
                beside.now += Duration::milliseconds(50);
                if let Some(words) = reading
                    && *beside.state.phase() == Phase::Open
                {
                    beside.step(&Event::Heard(Heard::from_text(words)));
                    self.ear.drop_utterance();
                }
                if beside.now < beside.deaf {
                    continue;
                }
                if meter.push(block).rms > -45.0 {
                    beside.loud = beside.now;
                }
                if beside.is_silence() {
                    beside.silence();
                    continue;
                }
                self.ear.expect(beside.state.expect());
                if let Some(heard) = hear(beside.dialogue, &beside.state, &mut self.ear, block)
                    && beside.talk(heard)
                {
                    self.ear.drop_utterance();
                }
            }
        }
        beside.came
    }
}

impl Beside<'_> {
    /// Takes an event; what was said, if anything, and whether a reading was
    /// offered.
    fn step(&mut self, event: &Event) -> (Option<String>, bool) {
        let (next, actions) = self.dialogue.step(self.state.clone(), event, self.now);
        self.state = next;
        let (mut said, mut offered) = (None, false);
        for action in actions {
            match action {
                Action::Keep(fact) => {
                    self.came.kept += usize::from(matches!(fact.body, Body::Read(_)));
                    let read_back = matches!(
                        fact.body,
                        Body::Offered {
                            unfinished: None,
                            ..
                        }
                    );
                    offered |= read_back;
                }
                Action::Say(saying) => {
                    // Some fourteen letters a second.
                    let letters = i64::try_from(saying.shown.len()).unwrap_or(0);
                    self.deaf = self.now + Duration::milliseconds(70 * letters);
                    said = Some(saying.shown);
                }
                Action::Listen { patience, .. } if said.is_some() => {
                    self.ends = patience.map(|it| self.deaf + Duration::seconds(it.into()));
                }
                _ => {}
            }
        }
        (said, offered)
    }

    /// As in a live round: an answer that has begun is waited for, but not for
    /// ever.
    fn is_silence(&self) -> bool {
        let late = |ends: Time| {
            let after = self.loud + Duration::milliseconds(1_500);
            self.now >= ends.max(after.min(ends + Duration::seconds(12)))
        };
        self.ends.is_some_and(late)
    }

    fn silence(&mut self) {
        self.ends = None;
        let (said, _) = self.step(&Event::Silence);
        self.came.unanswered += usize::from(said.is_some());
    }

    /// Whether anything was said.
    fn talk(&mut self, heard: Heard) -> bool {
        let words: Vec<String> = heard
            .words
            .iter()
            .map(|it| format!("{} {:.2}", it.text, it.confidence))
            .collect();
        let (said, offered) = self.step(&Event::Heard(heard));
        let Some(said) = said else {
            return false;
        };
        if self.show {
            println!("{} -> {said}", words.join(", "));
        }
        let waits = matches!(self.state.phase(), Phase::Confirming(_));
        let again = waits && self.state.question().is_some_and(|it| said.ends_with(it));
        if offered || again {
            self.came.read_back += 1;
        } else {
            self.came.other += 1;
        }
        true
    }
}

#[allow(clippy::cast_possible_truncation)]
fn louder(sound: &[i16], decibels: f64) -> Vec<i16> {
    let gain = 10_f64.powf(decibels / 20.0);
    let louder = |it: &i16| (f64::from(*it) * gain).clamp(-32_767.0, 32_767.0) as i16;
    sound.iter().map(louder).collect()
}
