//! Measures what the documentation claims and prints it as a table:
//! `make figures`. It should run alone, pinned to one core.
//!
//! Two of the figures need a process of their own (a cold model, a sound system
//! that isn't there otherwise), so this program also starts itself.

#[cfg(target_os = "linux")]
#[path = "../tests/sound/server.rs"]
#[allow(dead_code, reason = "the tests use the rest")]
mod server;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use sayback::dialogue::{Action, Dialogue, Event, Phase};
use sayback::facts::{Fact, KeptReading, Record, Time};
use sayback::grammar::{Expect, Grammar};
use sayback::hearing::{Ear, Heard, Model, RATE, Words, read_wav, with_best_kernels};
use sayback::residents::Home;
use sayback::round::{Mouth, Round, Silent, ear_for};
use sayback::speaking::{Audio, Cached, Espeak, EspeakSettings, Player};
use sayback::store::{Key, Store};

type Anything<T> = Result<T, Box<dyn std::error::Error>>;

/// How often the demo round is spoken: more than 100 answers together.
const ROUNDS: u64 = 5;
/// How often the model is loaded, and something is played.
const TIMES: usize = 20;
/// Facts appended one by one.
const APPENDS: usize = 500;
/// As from a microphone.
const BLOCK: usize = RATE as usize / 20;

fn main() -> Anything<()> {
    with_best_kernels();
    let argument = std::env::args().nth(1);
    match argument.as_deref() {
        Some("model") => load_model(),
        Some("player") => start_playing(),
        Some("appends") => {
            let home = std::fs::read_to_string("audio-fixtures/demo-home.toml")?;
            append_rows(&Home::from_toml(&home)?)
        }
        _ => table(),
    }
}

/// Durations, to be summed up.
#[derive(Default)]
struct Times(Vec<Duration>);

impl Times {
    /// The duration that this share of them, in percent, does not exceed.
    fn percentile(&mut self, percent: usize) -> Duration {
        self.0.sort_unstable();
        let at = (self.0.len() * percent).div_ceil(100).max(1) - 1;
        self.0.get(at).copied().unwrap_or_default()
    }
}

fn row(what: &str, figure: &str, goal: &str) {
    println!("| {what} | {figure} | {goal} |");
}

fn ms(time: Duration) -> String {
    format!("{:.1} ms", time.as_secs_f64() * 1_000.0)
}

fn p50_p95(times: &mut Times) -> String {
    format!(
        "{} / {}",
        ms(times.percentile(50)),
        ms(times.percentile(95))
    )
}

fn table() -> Anything<()> {
    let mut load = Times(ourselves("model")?);
    let grammar_started = Instant::now();
    let grammar = Grammar::standard();
    let home = Home::from_toml(&std::fs::read_to_string("audio-fixtures/demo-home.toml")?)?;
    let grammar = grammar.for_home(&home)?;
    let read = grammar_started.elapsed();
    let mut phrases = Duration::ZERO;
    let mut recognisers = Duration::ZERO;
    {
        let words = Words::read(&model_folder())?;
        let grammar = grammar.known_to(&|word| words.know(word));
        let started = Instant::now();
        let network = grammar.network(Expect::Readings);
        phrases += started.elapsed();
        let mut ear = Ear::new(Model::open_for(&model_folder(), &words, &network)?);
        for expect in Expect::ALL {
            let started = Instant::now();
            let list = (expect != Expect::Readings).then(|| grammar.phrases(expect));
            phrases += started.elapsed();
            let started = Instant::now();
            match list {
                Some(list) => ear.set_phrases(expect, &list)?,
                None => ear.set_network(expect)?,
            }
            recognisers += started.elapsed();
        }
    }
    let mut rounds = Rounds::default();
    rounds.speak(&home)?;
    // Before anything else is measured that a round does not do.
    let memory = peak_memory()?;

    println!("| What | Figure | Goal |\n|---|---|---|");
    let length = rounds.sound.as_secs_f64();
    row(
        &format!("Hearing: real-time factor on one core, {length:.0} s of speech with its pauses"),
        &format!(
            "{:.3} (processor time: {:.3})",
            rounds.hearing.as_secs_f64() / length,
            rounds.busy.as_secs_f64() / length
        ),
        "≤ 0.03",
    );
    row(
        &format!(
            "From the end of the endpoint silence to the first sample of the answer, {} answers, p50 / p95",
            rounds.answers.0.len()
        ),
        &p50_p95(&mut rounds.answers),
        "p95 ≤ 150 ms",
    );
    for (part, times) in [
        ("concluding the utterance", &mut rounds.concluding),
        ("understanding, dialogue and storing", &mut rounds.deciding),
        ("the voice, espeak-ng", &mut rounds.speaking),
    ] {
        row(&format!("… of this {part}, p50 / p95"), &p50_p95(times), "");
    }
    row(
        "Endpoint: from the end of the sound of the last word to where the utterance is taken for ended, p50 / p95",
        &p50_p95(&mut rounds.endpoint),
        "",
    );
    row(
        &format!(
            "From the end of “yes” to stored, all of it, {} times, p50 / p95",
            rounds.yes_to_kept.0.len()
        ),
        &p50_p95(&mut rounds.yes_to_kept),
        "p95 ≤ 400 ms",
    );
    row(
        &format!(
            "From the end of a reading to the first sample of its read-back, all of it, {} times, p50 / p95",
            rounds.reading_to_read_back.0.len()
        ),
        &p50_p95(&mut rounds.reading_to_read_back),
        "p95 ≤ 700 ms",
    );
    // A busy machine can lose even a loudspeaker that isn't there.
    let player = virtual_loudspeaker().map(|it| p50_p95(&mut Times(it)));
    row(
        "Loudspeaker: from the samples to the first of them leaving a PulseAudio null sink, p50 / p95",
        &player.unwrap_or_else(|error| format!("not measured: {}", error.to_string().trim())),
        "",
    );
    row("Model load, p50 / p95", &p50_p95(&mut load), "≤ 600 ms");
    row("Grammar: reading it", &ms(read), "");
    row(
        "Grammar: drawing the phrases of all states",
        &ms(phrases),
        "",
    );
    row("Recognisers for all states", &ms(recognisers), "");
    row(
        "Peak memory of a round (VmHWM)",
        &format!("{} MB", memory / 1_024),
        "≤ 250 MB",
    );
    append_rows(&home)
}

fn append_rows(home: &Home) -> Anything<()> {
    let (mut encrypted, mut plain) = appends(home)?;
    row(
        &format!("Append of a fact, encrypted and synced to disk, {APPENDS} times, p50 / p95"),
        &p50_p95(&mut encrypted),
        "",
    );
    row("… not encrypted, p50 / p95", &p50_p95(&mut plain), "");
    Ok(())
}

/// The demo round, spoken again and again, and how long everything took.
#[derive(Default)]
struct Rounds {
    sound: Duration,
    hearing: Duration,
    /// The same in processor time.
    busy: Duration,
    answers: Times,
    concluding: Times,
    deciding: Times,
    speaking: Times,
    endpoint: Times,
    yes_to_kept: Times,
    reading_to_read_back: Times,
}

/// Seconds from the start of a recording to its last 10 ms that are within 35 dB
/// of the loudest: where a listener would say that it ends.
#[allow(clippy::cast_precision_loss, reason = "recordings of some seconds")]
fn end_of_speech(sound: &[i16]) -> f64 {
    let frames = sound.chunks(RATE as usize / 100);
    let power = frames.map(|it| it.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>());
    let power: Vec<f64> = power.collect();
    let loudest = power.iter().copied().fold(0.0, f64::max);
    let last = power
        .iter()
        .rposition(|it| *it > loudest * 10_f64.powf(-3.5));
    last.map_or(0.0, |at| (at + 1) as f64 / 100.0)
}

impl Rounds {
    fn speak(&mut self, home: &Home) -> Anything<()> {
        let script = std::fs::read_to_string("audio-fixtures/demo-round.script")?;
        let recordings = script.lines().filter_map(|it| it.strip_prefix("wav "));
        let recordings: Vec<&str> = recordings.collect();
        let grammar = Grammar::standard();
        let dialogue = Dialogue::new(home.clone(), home.aides[0].clone(), &grammar)?;
        let mut ear = ear_for(&model_folder(), &grammar, home)?;
        for _ in 0..ROUNDS {
            let mut store = scratch_store("round", &trial_key())?;
            // What recurs within a round is synthesised once, as in a real one.
            let voice = Cached::new(Espeak::new(EspeakSettings::default())?);
            let mut mouth = Mouth::new(Box::new(voice));
            let (mut round, turn) = Round::open(&dialogue, &mut store, now(), &mut Silent)?;
            let mut expect = turn.waiting.expect;
            for recording in &recordings {
                let Some(waiting) = expect else { break };
                ear.expect(waiting);
                let mut sound = read_wav(&Path::new("audio-fixtures").join(recording))?;
                let ends = Duration::from_secs_f64(ear.seconds() + end_of_speech(&sound));
                // As from a microphone, which does not stop after the last word.
                sound.extend(std::iter::repeat_n(0, RATE as usize));
                for block in sound.chunks(BLOCK) {
                    self.sound += Duration::from_secs(1) * u32::try_from(block.len())? / RATE;
                    let busy = processor_time()?;
                    let before = Instant::now();
                    let heard = round.hear(&mut ear, block);
                    let concluded = before.elapsed();
                    self.busy += processor_time()?.saturating_sub(busy);
                    self.hearing += concluded;
                    let Some(heard) = heard else { continue };
                    let pause = Duration::from_secs_f64(ear.seconds()).saturating_sub(ends);
                    let yes = heard.text() == "yes";
                    let turn = round.take(&Event::Heard(heard), now(), &mut Silent);
                    let decided = before.elapsed();
                    expect = turn.waiting.expect;
                    let Some(text) = turn.say else { continue };
                    let _samples = mouth.say(&text)?;
                    let spoken = before.elapsed();
                    self.answers.0.push(spoken);
                    self.concluding.0.push(concluded);
                    self.deciding.0.push(decided.saturating_sub(concluded));
                    self.speaking.0.push(spoken.saturating_sub(decided));
                    self.endpoint.0.push(pause);
                    if yes {
                        self.yes_to_kept.0.push(pause + decided);
                    } else if matches!(round.state().phase(), Phase::Confirming(_)) {
                        self.reading_to_read_back.0.push(pause + spoken);
                    }
                    ear.drop_utterance();
                    break;
                }
            }
        }
        Ok(())
    }
}

/// Facts of a round given as text, appended one by one to an encrypted record
/// and to one that is not.
fn appends(home: &Home) -> Anything<(Times, Times)> {
    let dialogue = Dialogue::new(home.clone(), home.aides[0].clone(), &Grammar::standard())?;
    let mut facts: Vec<Box<Fact<KeptReading>>> = Vec::new();
    let mut seed = 1;
    while facts.len() < APPENDS {
        let (mut state, actions) = dialogue.begin(&Record::default(), seed, now());
        let mut keep = |actions: Vec<Action>| {
            facts.extend(actions.into_iter().filter_map(|it| match it {
                Action::Keep(fact) => Some(fact),
                _ => None,
            }));
        };
        keep(actions);
        for words in ["room nine", "yes", "pulse seventy two regular", "yes"] {
            let event = Event::Heard(Heard::from_text(words));
            let (next, actions) = dialogue.step(state, &event, now());
            state = next;
            keep(actions);
        }
        seed += 1;
    }
    let mut stores = [
        (scratch_store("encrypted", &trial_key())?, Times::default()),
        (scratch_store("plain", &Key::None)?, Times::default()),
    ];
    // By turns, so that what else the disk does is shared out.
    for fact in &facts[..APPENDS] {
        for (store, times) in &mut stores {
            let started = Instant::now();
            store.append(&[fact])?;
            times.0.push(started.elapsed());
        }
    }
    let [(_, encrypted), (_, plain)] = stores;
    Ok((encrypted, plain))
}

fn trial_key() -> Key {
    Key::File("target/figures/trial.key".into())
}

/// A new record in the build folder, on the disk that the checkout is on.
fn scratch_store(name: &str, key: &Key) -> Anything<Store> {
    let folder = Path::new("target/figures");
    std::fs::create_dir_all(folder)?;
    let path = folder.join(format!("{name}-{}.db", now().timestamp_micros()));
    Ok(Store::open_with(&path, key)?)
}

fn load_model() -> Anything<()> {
    let started = Instant::now();
    let model = Model::open(&model_folder())?;
    println!("{}", started.elapsed().as_nanos());
    drop(model);
    Ok(())
}

fn start_playing() -> Anything<()> {
    let loudspeaker = Player::open(None)?;
    let rate = 22_050;
    let samples = vec![1_000; rate as usize / 5];
    // A null sink that was just opened has two seconds of silence to get rid of.
    let mut warm = false;
    for _ in 0..=TIMES {
        let asked = Instant::now();
        let played = loudspeaker
            .play(Audio {
                rate,
                samples: samples.clone(),
            })
            .wait()?;
        let time = played.first.saturating_duration_since(asked);
        if warm {
            println!("{}", time.as_nanos());
        }
        warm = true;
    }
    Ok(())
}

/// Durations that this program measures in processes of their own.
fn ourselves(part: &str) -> Anything<Vec<Duration>> {
    let mut times = Vec::new();
    for _ in 0..TIMES {
        let mut command = Command::new(std::env::current_exe()?);
        times.extend(durations(command.arg(part))?);
    }
    Ok(times)
}

fn durations(command: &mut Command) -> Anything<Vec<Duration>> {
    let output = command.output()?;
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into());
    }
    let text = String::from_utf8(output.stdout)?;
    let times = text.lines().map(|it| it.parse().map(Duration::from_nanos));
    Ok(times.collect::<Result<_, _>>()?)
}

#[cfg(target_os = "linux")]
fn virtual_loudspeaker() -> Anything<Vec<Duration>> {
    let server = server::Server::start();
    let program = std::env::current_exe()?;
    let program = program
        .to_str()
        .ok_or("the path of this program is no text")?;
    durations(server.inside().command(program).arg("player"))
}

#[cfg(not(target_os = "linux"))]
fn virtual_loudspeaker() -> Anything<Vec<Duration>> {
    Ok(Vec::new())
}

/// How long this thread has been on a processor, whoever else wanted it.
fn processor_time() -> Anything<Duration> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat")?;
    let first = text.split_whitespace().next();
    Ok(Duration::from_nanos(first.unwrap_or_default().parse()?))
}

/// The most memory this process has had, in kB.
fn peak_memory() -> Anything<u64> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let line = status.lines().find_map(|it| it.strip_prefix("VmHWM:"));
    let number = line.and_then(|it| it.split_whitespace().next());
    Ok(number
        .ok_or("the system does not tell the peak memory")?
        .parse()?)
}

fn model_folder() -> PathBuf {
    PathBuf::from("assets/model-en-us")
}

fn now() -> Time {
    chrono::Local::now().fixed_offset()
}
