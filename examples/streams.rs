//! How many live streams one core carries, and what each costs: `make streams`,
//! on a machine at rest.
//!
//! Every stream is a round of its own, in real time, 50 ms by 50 ms: an ear with the
//! recognisers of all states and one shared model, and the demo round's
//! recordings over ventilation, spoken [`SPEECH`] of the time. What is heard is
//! understood at once. How late the claim comes is counted from the moment at
//! which the last sound of the endpoint's silence was there, so that the
//! endpoint's silence is not in it, and all waiting for the core is.
//!
//! With `listen` only what `sayback listen` takes in silence is measured.

#[cfg(target_os = "linux")]
#[path = "../tests/sound/server.rs"]
#[allow(dead_code, reason = "the tests use the rest")]
mod server;
#[path = "../tests/hour/sound.rs"]
#[allow(dead_code, reason = "a round uses the rest")]
mod sound;

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use sayback::dialogue::{Dialogue, Event, State};
use sayback::facts::{Record, Time};
use sayback::grammar::{Expect, Grammar};
use sayback::hearing::{Ear, Heard, Model, RATE, read_wav, with_best_kernels};
use sayback::residents::Home;
use sayback::round::{hear, listen_for, model_for};
use sound::Ventilation;

type Anything<T> = Result<T, Box<dyn std::error::Error>>;

/// As from a microphone.
const BLOCK: usize = RATE as usize / 20;
const BLOCK_TIME: Duration = Duration::from_millis(50);
/// The share of the time in which the aide speaks: 46 of 204 s, as in the hour of
/// `tests/hour` (docs/figures.md).
const SPEECH: f64 = 46.0 / 204.0;
/// How long a number of streams is heard.
const LISTEN: Duration = Duration::from_secs(60);
/// The latest that a claim may come, for all but one in twenty.
const LATEST: Duration = Duration::from_millis(300);
/// Numbers of streams that are tried, until one is too many.
const TRIED: [usize; 7] = [1, 10, 25, 40, 60, 80, 100];

fn main() -> Anything<()> {
    with_best_kernels();
    #[cfg(target_os = "linux")]
    if std::env::args().nth(1).as_deref() == Some("listen") {
        return listening();
    }
    let home = Home::from_toml(&std::fs::read_to_string("audio-fixtures/demo-home.toml")?)?;
    let grammar = Grammar::standard().for_home(&home)?;
    let dialogue = Dialogue::new(home.clone(), home.aides[0].clone(), &grammar)?;
    let (model, grammar) = model_for(Path::new("assets/model-en-us"), grammar)?;
    let rig = Rig {
        dialogue,
        model,
        grammar,
        speech: speech()?,
    };
    println!("| What | Figure | Goal |\n|---|---|---|");
    rig.silence()?;
    #[cfg(target_os = "linux")]
    listening()?;
    rig.streams()
}

fn row(what: &str, figure: &str, goal: &str) {
    println!("| {what} | {figure} | {goal} |");
}

/// The recordings of the demo round, with what is expected when each is spoken.
fn speech() -> Anything<Vec<Vec<i16>>> {
    let script = std::fs::read_to_string("audio-fixtures/demo-round.script")?;
    let names = script.lines().filter_map(|it| it.strip_prefix("wav "));
    names
        .map(|it| Ok(read_wav(&Path::new("audio-fixtures").join(it))?))
        .collect()
}

struct Rig {
    dialogue: Dialogue,
    model: Model,
    grammar: Grammar,
    speech: Vec<Vec<i16>>,
}

impl Rig {
    fn ear(&self) -> Anything<Ear<Expect>> {
        let mut ear = Ear::new(self.model.clone());
        for expect in Expect::ALL {
            listen_for(&mut ear, expect, &self.grammar)?;
        }
        ear.expect(Expect::Readings);
        Ok(ear)
    }

    /// A minute in which nobody speaks.
    fn silence(&self) -> Anything<()> {
        let quiet = Ventilation::new(1).under(&sound::silence(60_000));
        for (name, ear, goal) in [
            (
                "silence, every sample decoded",
                self.ear()?.without_gate(),
                "",
            ),
            ("silence, behind the gate", self.ear()?, "≤ 0.03"),
        ] {
            let mut ear = ear;
            let busy = processor_time()?;
            for block in quiet.chunks(BLOCK) {
                let _ = ear.accept(block);
            }
            let busy = processor_time()?.saturating_sub(busy).as_secs_f64();
            row(
                &format!("Processor time for a second of a stream: {name}"),
                &format!("{:.4} s", busy / 60.0),
                goal,
            );
        }
        Ok(())
    }

    /// The recordings in this stream's own order, each after so much ventilation
    /// that [`SPEECH`] of the time is speech.
    fn stretch(&self, number: usize) -> Vec<i16> {
        let mut ventilation = Ventilation::new(number as u64 + 1);
        let mut rng = fastrand::Rng::with_seed(number as u64);
        let mut order: Vec<&Vec<i16>> = self.speech.iter().collect();
        rng.shuffle(&mut order);
        let mut sound = Vec::new();
        for it in order {
            #[allow(
                clippy::cast_precision_loss,
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "seconds"
            )]
            let pause = (it.len() as f64 * (1.0 / SPEECH - 1.0)) as usize;
            // Rounds do not keep step.
            sound.extend(vec![0; rng.usize(pause / 2..=pause * 3 / 2)]);
            sound.extend(it);
        }
        ventilation.under(&sound)
    }

    fn streams(&self) -> Anything<()> {
        // One set of phrases for all.
        let first = self.ear()?;
        let mut streams: Vec<Stream> = Vec::new();
        let (mut carried, mut began) = (0, None);
        for count in TRIED {
            while streams.len() < count {
                let number = streams.len();
                let mut ear = first.another()?;
                ear.expect(Expect::Readings);
                streams.push(Stream::new(self, ear, number));
            }
            let mut ran = self.run(&mut streams)?;
            let memory = memory()?;
            let (first, least) = *began.get_or_insert((count, memory));
            let more = count - first;
            row(
                &format!(
                    "{count} streams, {} utterances in {} s: end of the endpoint's silence to claim, p50 / p95",
                    ran.late.len(),
                    LISTEN.as_secs()
                ),
                &format!(
                    "{:.0} / {:.0} ms",
                    percentile(&mut ran.late, 50),
                    percentile(&mut ran.late, 95)
                ),
                "p95 ≤ 300 ms",
            );
            row(
                "… processor time for a second of a stream",
                &format!("{:.4} s", ran.busy.as_secs_f64() / ran.seconds),
                "",
            );
            if more > 0 {
                #[allow(clippy::cast_precision_loss)]
                let each = (memory - least) as f64 / 1_024.0 / more as f64;
                row(
                    "… memory for each further stream",
                    &format!("{each:.1} MB"),
                    "≤ 12 MB",
                );
            }
            if percentile(&mut ran.late, 95) > LATEST.as_secs_f64() * 1_000.0 {
                break;
            }
            carried = count;
        }
        row(
            "Streams that one core carries",
            &format!("at least {carried}"),
            "25",
        );
        Ok(())
    }

    /// All streams in real time, each block when it is there and not sooner.
    fn run(&self, streams: &mut [Stream]) -> Anything<Ran> {
        let mut ran = Ran::default();
        let busy = processor_time()?;
        let start = Instant::now();
        let gap = BLOCK_TIME / u32::try_from(streams.len())?;
        let blocks = u32::try_from(LISTEN.as_millis() / BLOCK_TIME.as_millis())?;
        for number in 0..blocks {
            for (at, stream) in (0..).zip(streams.iter_mut()) {
                let there = start + BLOCK_TIME * number + gap * at;
                std::thread::sleep(there.saturating_duration_since(Instant::now()));
                if stream.hear(&self.dialogue) {
                    ran.late.push(there.elapsed().as_secs_f64() * 1_000.0);
                }
                ran.seconds += BLOCK_TIME.as_secs_f64();
            }
        }
        ran.busy = processor_time()?.saturating_sub(busy);
        Ok(ran)
    }
}

/// What came of a number of streams.
#[derive(Default)]
struct Ran {
    /// In milliseconds.
    late: Vec<f64>,
    seconds: f64,
    busy: Duration,
}

struct Stream {
    ear: Ear<Expect>,
    state: State,
    sound: Vec<i16>,
    at: usize,
}

impl Stream {
    fn new(rig: &Rig, ear: Ear<Expect>, number: usize) -> Self {
        let (mut state, _) = rig.dialogue.begin(&Record::default(), 1, now());
        for words in ["room nine", "yes"] {
            let heard = Event::Heard(Heard::from_text(words));
            state = rig.dialogue.step(state, &heard, now()).0;
        }
        Self {
            ear,
            state,
            sound: rig.stretch(number),
            at: 0,
        }
    }

    /// Takes the next block; whether an utterance ended in it and was understood.
    fn hear(&mut self, dialogue: &Dialogue) -> bool {
        let next = (self.at + BLOCK).min(self.sound.len());
        let block = &self.sound[self.at..next];
        self.at = if next == self.sound.len() { 0 } else { next };
        let Some(heard) = hear(dialogue, &self.state, &mut self.ear, block) else {
            return false;
        };
        self.state = dialogue
            .step(self.state.clone(), &Event::Heard(heard), now())
            .0;
        self.ear.expect(self.state.expect());
        true
    }
}

fn percentile(values: &mut [f64], percent: usize) -> f64 {
    values.sort_by(f64::total_cmp);
    let at = (values.len() * percent).div_ceil(100).max(1) - 1;
    values.get(at).copied().unwrap_or_default()
}

/// `sayback listen` at a microphone into which ventilation is played.
#[cfg(target_os = "linux")]
fn listening() -> Anything<()> {
    const SECONDS: u64 = 60;
    let program = PathBuf::from("target/release/sayback");
    if !program.is_file() {
        row(
            "`sayback listen` in silence",
            "not measured: build it first (make build)",
            "",
        );
        return Ok(());
    }
    let server = server::Server::start();
    let inside = server.inside();
    let store = inside.folder().join("round.db");
    let quiet = Ventilation::new(2).under(&sound::silence(100_000));
    let model = std::fs::canonicalize("assets/model-en-us")?;
    let home = std::fs::canonicalize("audio-fixtures/demo-home.toml")?;
    let mut command = inside.command(std::fs::canonicalize(program)?.to_str().ok_or("a path")?);
    command.arg("listen").arg("--model").arg(model);
    command.arg("--home").arg(home).arg("--store").arg(store);
    let output = std::fs::File::create(inside.folder().join("listen.txt"))?;
    command.stdin(std::process::Stdio::null()).stdout(output);
    let mut noise = inside.play_into_microphone("quiet.wav", &quiet);
    let listen = command.spawn();
    let Ok(mut listen) = listen else {
        let _ = noise.kill();
        let _ = noise.wait();
        return Err("`sayback listen` cannot be started".into());
    };
    // It loads the model, and greets.
    std::thread::sleep(Duration::from_secs(20));
    let before = process_time(listen.id());
    std::thread::sleep(Duration::from_secs(SECONDS));
    let after = process_time(listen.id());
    let said = std::fs::read_to_string(inside.folder().join("listen.txt"));
    for child in [&mut listen, &mut noise] {
        let _ = child.kill();
        let _ = child.wait();
    }
    let figure = match (before, after) {
        (Ok(before), Ok(after)) => {
            #[allow(clippy::cast_precision_loss)]
            let share = after.saturating_sub(before).as_secs_f64() / SECONDS as f64;
            format!("{:.2} % of a core", 100.0 * share)
        }
        _ => format!("not measured: {}", said.unwrap_or_default().trim()),
    };
    row(
        "`sayback listen` at a null sink with ventilation, all of the process",
        &figure,
        "≤ 3 %",
    );
    Ok(())
}

/// Processor time of all threads of a process so far.
#[cfg(target_os = "linux")]
fn process_time(process: u32) -> Anything<Duration> {
    let mut sum = Duration::ZERO;
    for task in std::fs::read_dir(format!("/proc/{process}/task"))? {
        let text = std::fs::read_to_string(task?.path().join("schedstat"))?;
        let first = text.split_whitespace().next().unwrap_or_default();
        sum += Duration::from_nanos(first.parse()?);
    }
    Ok(sum)
}

/// How long this thread has been on a processor, whoever else wanted it.
fn processor_time() -> Anything<Duration> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat")?;
    let first = text.split_whitespace().next().unwrap_or_default();
    Ok(Duration::from_nanos(first.parse()?))
}

/// What this process has in memory now, in kB.
fn memory() -> Anything<u64> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let line = status.lines().find_map(|it| it.strip_prefix("VmRSS:"));
    let number = line.and_then(|it| it.split_whitespace().next());
    Ok(number
        .ok_or("the system does not tell the memory")?
        .parse()?)
}

fn now() -> Time {
    chrono::Local::now().fixed_offset()
}
