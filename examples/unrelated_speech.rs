//! What speech that is not meant for Sayback leads to: an hour and more of prose
//! read by people (Debian package `pocketsphinx-testdata`) and of chat by
//! synthetic voices, with numbers, names of vital signs and a yes in it, at four
//! levels. Half of it is heard while readings may be spoken, half while a reading
//! waits for a yes.
//!
//! ```sh
//! cargo run --release --example unrelated_speech
//! ```
//!
//! Ends with an error if anything was kept.

#[path = "../tests/hour/sound.rs"]
#[allow(dead_code, reason = "a round uses the rest")]
mod sound;

use std::path::{Path, PathBuf};

use chrono::Duration;
use sayback::dialogue::{Action, Dialogue, Event, Phase, State};
use sayback::facts::{Body, Record, Time};
use sayback::grammar::{Expect, Grammar};
use sayback::hearing::{Ear, Heard, RATE, read_wav};
use sayback::residents::Home;
use sound::{CHAT, Ventilation, Voices, silence};

type Anything<T> = Result<T, Box<dyn std::error::Error>>;

/// At least so many seconds in each half.
const SECONDS: f64 = 2_000.0;
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

/// What came of a half.
#[derive(Default)]
struct Came {
    seconds: f64,
    kept: usize,
    read_back: usize,
    other: usize,
}

fn main() -> Anything<()> {
    let folder = tempfile::tempdir()?;
    let talk = talk(folder.path())?;
    let home = Home::from_toml(&std::fs::read_to_string("audio-fixtures/demo-home.toml")?)?;
    let grammar = Grammar::standard();
    let dialogue = Dialogue::new(home.clone(), home.aides[0].clone(), &grammar)?;
    let model = std::env::var_os("SAYBACK_MODEL")
        .map_or_else(|| PathBuf::from("assets/model-en-us"), PathBuf::from);
    let mut ear = sayback::round::ear_for(&model, &grammar, &home)?;

    println!("| While | minutes | kept | read back, an hour | other answers, an hour |");
    println!("|---|---|---|---|---|");
    let mut kept = 0;
    for (name, said) in [
        ("readings may be spoken", &["room nine", "yes"][..]),
        (
            "a reading waits for a yes",
            &["room nine", "yes", "pulse seven two regular"],
        ),
    ] {
        let came = half(&dialogue, &mut ear, &talk, said);
        let an_hour = |count: usize| {
            #[allow(clippy::cast_precision_loss)]
            let count = count as f64;
            count * 3_600.0 / came.seconds
        };
        println!(
            "| {name} | {:.0} | {} | {:.1} | {:.1} |",
            came.seconds / 60.0,
            came.kept,
            an_hour(came.read_back),
            an_hour(came.other)
        );
        kept += came.kept;
    }
    if kept > 0 {
        return Err(format!("{kept} readings were kept that nobody took").into());
    }
    Ok(())
}

/// Prose and chat, as 16 kHz samples.
fn talk(folder: &Path) -> Anything<Vec<Vec<i16>>> {
    let prose = Path::new("/usr/share/pocketsphinx/test/data/librivox");
    let files = std::fs::read_dir(prose)
        .map_err(|error| format!("{}: {error}; run `make setup-test`", prose.display()))?;
    let mut files: Vec<PathBuf> = files
        .filter_map(|it| Some(it.ok()?.path()))
        .filter(|it| it.extension().is_some_and(|it| it == "wav"))
        .collect();
    files.sort();
    let mut talk = Vec::new();
    for file in files {
        talk.push(read_wav(&file)?);
    }
    let mut voices = Voices::new(folder);
    for voice in VOICES {
        talk.extend(CHAT.iter().map(|words| voices.say(voice, words)));
    }
    Ok(talk)
}

fn begin(dialogue: &Dialogue, said: &[&str], now: Time) -> State {
    let (mut state, _) = dialogue.begin(&Record::default(), 1, now);
    for words in said {
        let event = Event::Heard(Heard::from_text(words));
        state = dialogue.step(state, &event, now).0;
    }
    state
}

fn half(dialogue: &Dialogue, ear: &mut Ear<Expect>, talk: &[Vec<i16>], said: &[&str]) -> Came {
    let mut now = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").expect("a time");
    let mut ventilation = Ventilation::new(1);
    let mut came = Came::default();
    let mut state = begin(dialogue, said, now);
    let turns = LEVELS
        .iter()
        .flat_map(|it| talk.iter().map(move |t| (*it, t)));
    for (level, speech) in turns.cycle() {
        if came.seconds > SECONDS {
            break;
        }
        let mut sound = louder(speech, level);
        sound.extend(silence(1_200));
        let sound = ventilation.under(&sound);
        for block in sound.chunks(RATE as usize / 20) {
            #[allow(clippy::cast_precision_loss)]
            let seconds = block.len() as f64 / f64::from(RATE);
            came.seconds += seconds;
            now += Duration::milliseconds(50);
            ear.expect(state.expect());
            let pause = |words: &str| dialogue.pause_after(&state, words)?.to_std().ok();
            let Some(heard) = ear.accept_until(block, pause) else {
                continue;
            };
            let asked = matches!(state.phase(), Phase::Confirming(_));
            let (next, actions) = dialogue.step(state.clone(), &Event::Heard(heard), now);
            let facts = actions.iter().filter_map(|it| match it {
                Action::Keep(fact) => Some(&fact.body),
                _ => None,
            });
            let count = |is: &dyn Fn(&Body<_>) -> bool| facts.clone().filter(|it| is(it)).count();
            came.kept += count(&|it| matches!(it, Body::Read(_)));
            let offered = count(&|it| matches!(it, Body::Offered { .. }));
            came.read_back += offered;
            let answered = actions.iter().any(|it| matches!(it, Action::Say(_)));
            came.other += usize::from(answered && offered == 0);
            // Whatever came of it, the next talk meets the same state.
            if next.phase() != state.phase() || asked && answered {
                state = begin(dialogue, said, now);
                ear.drop_utterance();
            } else {
                state = next;
            }
        }
    }
    came
}

#[allow(clippy::cast_possible_truncation)]
fn louder(sound: &[i16], decibels: f64) -> Vec<i16> {
    let gain = 10_f64.powf(decibels / 20.0);
    let louder = |it: &i16| (f64::from(*it) * gain).clamp(-32_767.0, 32_767.0) as i16;
    sound.iter().map(louder).collect()
}
