//! A live round for real: the program itself, a microphone into which recorded
//! speech is played, and a loudspeaker that is recorded. The loudspeaker can be
//! heard in the microphone, as on a cart.

#![cfg(target_os = "linux")]

mod browser;
#[path = "live_round/kept.rs"]
mod kept;
mod metered;
#[path = "live_round/screen.rs"]
mod screen;
mod sound;
#[path = "live_round/tablet.rs"]
mod tablet;

use std::cell::OnceCell;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use metered::Metrics;
use sayback::hearing::{Ear, RATE};
use serde_json::{Value, json};
use sound::server::{FAR, Inside, Server};
use sound::{phrases, rms};

/// The longest that anything is waited for.
const PATIENCE: Duration = Duration::from_secs(30);
/// The longest that an answer is waited for. Before a question is asked again
/// there are eight seconds.
const ANSWER: Duration = Duration::from_secs(6);
/// Louder than this is speech, full scale being 1.
const SPEECH: f64 = 0.003;
/// Sayback has ended after so much silence; between its sentences is less.
const QUIET: Duration = Duration::from_millis(900);
/// Everything that left the loudspeaker, at 16 kHz.
struct Loudspeaker {
    recorder: Child,
    samples: Arc<Mutex<Vec<i16>>>,
}

impl Loudspeaker {
    fn record(sound: &Inside) -> Self {
        let mut command = sound.command("parec");
        command.args(["-d", "speaker.monitor", "--rate=16000", "--channels=1"]);
        command.args(["--format=s16le", "--latency-msec=40", "--raw"]);
        let mut recorder = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut output = recorder.stdout.take().unwrap();
        let samples = Arc::new(Mutex::new(Vec::new()));
        let heard = Arc::clone(&samples);
        std::thread::spawn(move || {
            let mut bytes = [0; 640];
            while output.read_exact(&mut bytes).is_ok() {
                let block = bytes.chunks_exact(2);
                let block = block.map(|it| i16::from_le_bytes([it[0], it[1]]));
                heard.lock().unwrap().extend(block);
            }
        });
        let loudspeaker = Self { recorder, samples };
        let started = Instant::now();
        while loudspeaker.len() == 0 {
            assert!(started.elapsed() < PATIENCE, "the recorder did not start");
            std::thread::sleep(Duration::from_millis(20));
        }
        loudspeaker
    }

    fn len(&self) -> usize {
        self.samples.lock().unwrap().len()
    }

    /// Waits until nothing is said.
    fn quiet(&self) {
        let started = Instant::now();
        while started.elapsed() < PATIENCE {
            let from = self.len();
            std::thread::sleep(QUIET);
            if rms(&self.samples.lock().unwrap()[from..]) < SPEECH {
                return;
            }
        }
        panic!("it never ends");
    }

    /// Waits until something was said after a place and is over. Returns it.
    fn saying(&self, from: usize) -> Vec<i16> {
        const BLOCK: usize = RATE as usize / 50;
        let quiet = usize::try_from(QUIET.as_millis()).unwrap() * RATE as usize / 1_000;
        let started = Instant::now();
        loop {
            let said = self.samples.lock().unwrap()[from..].to_vec();
            let last = said.chunks(BLOCK).rposition(|it| rms(it) > SPEECH);
            if last.is_some_and(|at| said.len() > (at + 1) * BLOCK + quiet) {
                return said;
            }
            assert!(
                started.elapsed() < PATIENCE,
                "it says nothing, or never ends"
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

impl Drop for Loudspeaker {
    fn drop(&mut self) {
        let _ = self.recorder.kill();
        let _ = self.recorder.wait();
    }
}

/// `sayback listen`, running.
struct Listening<'a> {
    sound: &'a Inside,
    loudspeaker: &'a Loudspeaker,
    program: Child,
    lines: Arc<Mutex<Vec<String>>>,
    /// Lines already looked at.
    seen: usize,
    /// The loudspeaker's samples when the last input was given.
    from: usize,
    /// How often something was spoken to it.
    spoken: usize,
}

impl<'a> Listening<'a> {
    fn start(sound: &'a Inside, arguments: &[&str], loudspeaker: &'a Loudspeaker) -> Self {
        let store = store(sound);
        let home = ["--home", "audio-fixtures/demo-home.toml"];
        let store = ["--store", store.to_str().unwrap()];
        let arguments = [&home, &store, arguments].concat();
        Self::with(sound, &arguments, loudspeaker)
    }

    fn with(sound: &'a Inside, arguments: &[&str], loudspeaker: &'a Loudspeaker) -> Self {
        let mut command = sound.command(env!("CARGO_BIN_EXE_sayback"));
        command.arg("listen").args(arguments);
        command.arg("--said").arg(sound.folder().join("said.wav"));
        command.arg("--model").arg(sound::model_folder());
        command.current_dir(env!("CARGO_MANIFEST_DIR"));
        let mut program = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let output = program.stdout.take().unwrap();
        let lines = Arc::new(Mutex::new(Vec::new()));
        let written = Arc::clone(&lines);
        std::thread::spawn(move || {
            for line in BufReader::new(output).lines().map_while(Result::ok) {
                eprintln!("{line}");
                written.lock().unwrap().push(line);
            }
        });
        Self {
            sound,
            loudspeaker,
            program,
            lines,
            seen: 0,
            from: loudspeaker.len(),
            spoken: 0,
        }
    }

    /// Waits for a line with some words that was not looked at before.
    fn shows(&mut self, words: &str) -> String {
        let found = self.shows_within(words, PATIENCE);
        found.unwrap_or_else(|| panic!("{words:?} is not shown"))
    }

    fn shows_within(&mut self, words: &str, patience: Duration) -> Option<String> {
        let started = Instant::now();
        while started.elapsed() < patience {
            let lines = self.lines.lock().unwrap()[self.seen..].to_vec();
            if let Some(at) = lines.iter().position(|line| line.contains(words)) {
                self.seen += at + 1;
                return Some(lines[at].clone());
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        None
    }

    /// Waits until Sayback has said some words. Returns their sound.
    fn says(&mut self, words: &str) -> Vec<i16> {
        self.shows(&format!("Sayback  {words}"));
        self.loudspeaker.saying(self.from)
    }

    /// Speaks a recording into the microphone until Sayback answers it with some
    /// words, as an aide would; a busy machine may lose sound.
    fn begins_to_answer(&mut self, recording: &str, words: &str) {
        let path = format!("audio-fixtures/speech/{recording}.wav");
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(path);
        self.begins_to_answer_file(&path, words);
    }

    fn begins_to_answer_file(&mut self, path: &Path, words: &str) {
        for _ in 0..3 {
            self.from = self.loudspeaker.len();
            self.seen = self.lines.lock().unwrap().len();
            self.spoken += 1;
            assert!(self.sound.play_file(path).wait().unwrap().success());
            let answer = self.shows_within(&format!("Sayback  {words}"), ANSWER);
            if answer.is_some() {
                return;
            }
            eprintln!(
                "{} was not answered with {words:?}; once more",
                path.display()
            );
            self.loudspeaker.quiet();
        }
        panic!("{} is never answered with {words:?}", path.display());
    }

    /// The same, to the end of the answer. Returns its sound.
    fn answers(&mut self, recording: &str, words: &str) -> Vec<i16> {
        self.begins_to_answer(recording, words);
        self.loudspeaker.saying(self.from)
    }

    /// How many utterances it heard, its own voice among them if it heard that.
    fn utterances(&self) -> usize {
        let lines = self.lines.lock().unwrap();
        lines.iter().filter(|it| it.contains("Dana  “")).count()
    }

    /// Ctrl-C.
    fn interrupt(&mut self) {
        let process = self.program.id().to_string();
        let sent = Command::new("kill").args(["-INT", &process]).status();
        assert!(sent.unwrap().success());
        let started = Instant::now();
        while self.program.try_wait().unwrap().is_none() {
            assert!(started.elapsed() < PATIENCE, "it does not end");
            std::thread::sleep(Duration::from_millis(20));
        }
        assert!(self.program.wait().unwrap().success());
    }

    fn kill(&mut self) {
        self.program.kill().unwrap();
        self.program.wait().unwrap();
    }
}

impl Drop for Listening<'_> {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

fn store(sound: &Inside) -> PathBuf {
    sound.folder().join("round.db")
}

/// The stored facts, as another program sees them.
fn record(sound: &Inside) -> Vec<Value> {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
    let output = command
        .args(["record", "--json", "--store"])
        .arg(store(sound));
    let output = output.output().unwrap();
    assert!(output.status.success(), "{output:?}");
    let text = String::from_utf8(output.stdout).unwrap();
    let lines = text.lines();
    lines.map(|it| serde_json::from_str(it).unwrap()).collect()
}

/// What Sayback said, as somebody else hears it: who knows that it is a blood
/// pressure, and not which.
fn recognised(said: &[i16]) -> String {
    const DIGITS: &str = "zero,one,two,three,four,five,six,seven,eight,nine";
    let digits = phrases(DIGITS);
    let mut list = phrases("blood pressure,left arm,sitting,yes");
    for a in &digits {
        for b in &digits {
            list.push(format!("over {a} {b}"));
            list.extend(digits.iter().map(|c| format!("{a} {b} {c} over")));
        }
    }
    let mut ear = Ear::new(sound::model());
    ear.set_phrases((), &list).unwrap();
    ear.expect(());
    let mut heard: Vec<String> = Vec::new();
    for block in said.chunks(1_600) {
        heard.extend(ear.accept(block).map(|it| it.text()));
    }
    heard.extend(ear.finish().map(|it| it.text()));
    heard.join(" ")
}

/// Makes the microphone hear the loudspeaker, a little quieter.
fn one_room(sound: &Inside) {
    let loopback = ["source=speaker.monitor", "sink=mic", "latency_msec=30"];
    sound.pactl(&[&["load-module", "module-loopback"], &loopback[..]].concat());
}

/// The kinds of the stored facts, in order.
fn kinds(facts: &[Value]) -> Vec<&str> {
    let kinds = facts.iter().map(|it| it["kind"].as_str().unwrap());
    kinds.collect()
}

fn of_kind<'a>(facts: &'a [Value], kind: &str) -> Vec<&'a Value> {
    facts.iter().filter(|it| it["kind"] == kind).collect()
}

/// Begins a round with Walter Brandt.
fn at_the_bedside(round: &mut Listening<'_>) {
    round.says("Alder Ridge House. Dana Whitlock recording. Which room?");
    round.answers(
        "room-four-bed-two",
        "Walter Brandt, born November one nine, one nine four one.",
    );
    round.answers("yes-slt", "Ready for Walter Brandt.");
}

#[test]
fn a_spoken_round_is_read_back_aloud_and_kept() {
    let server = Server::start();
    let sound = server.inside();
    one_room(&sound);
    let loudspeaker = Loudspeaker::record(&sound);
    let arguments = ["--speed", "200", "--metrics", "127.0.0.1:0"];
    let mut round = Listening::start(&sound, &arguments, &loudspeaker);
    let metrics = round.shows("The metrics are at ");
    at_the_bedside(&mut round);

    let read_back = "Blood pressure one five two over eight eight, left arm, sitting. Yes?";
    let said = round.answers("pressure-152-88", read_back);
    let heard = recognised(&said);
    assert!(
        heard.starts_with("blood pressure one five two over eight eight left arm"),
        "{heard}"
    );
    let facts = record(&sound);
    assert!(of_kind(&facts, "read").is_empty(), "nothing before the yes");
    let told = Metrics::at(metrics.trim_start_matches("The metrics are at "));
    let answers = told.get("sayback_read_back_seconds_count", &[]).unwrap();
    let all = told.get("sayback_read_back_seconds_sum", &[]).unwrap();
    assert!(answers >= 3.0, "{}", told.text);
    // None is timed by a question that an earlier utterance did not ask for.
    assert!((0.0..3.0).contains(&(all / answers)), "{}", told.text);
    round.begins_to_answer("yes-awb", "Kept. Systolic one five two is above the range");
    round.interrupt();
    round.shows("stopped");
    // It heard what was spoken to it, and never itself.
    assert_eq!(round.utterances(), round.spoken);

    let facts = record(&sound);
    let lasting = kinds(&facts).into_iter();
    let lasting: Vec<&str> = lasting
        .filter(|it| !["offered", "dropped"].contains(it))
        .collect();
    assert_eq!(lasting, ["round_opened", "identified", "read", "flagged"]);
    let read = of_kind(&facts, "read")[0];
    assert_eq!(read["resident"], "AR-042");
    assert_eq!(
        read["measurement"],
        json!({
            "sign": "blood_pressure",
            "value": {"pressure": {
                "systolic": {"value": "152", "unit": "mm_hg"},
                "diastolic": {"value": "88", "unit": "mm_hg"},
            }},
            "qualifiers": {"arm": {"arm": "left"}, "position": {"position": "sitting"}},
        })
    );
    let flag = of_kind(&facts, "flagged")[0];
    assert_eq!(flag["reading"], read["id"]);
    assert_eq!(flag["finding"]["component"], "systolic");
}

#[test]
fn a_microphone_pulled_out_and_a_kill_lose_nothing_that_was_kept() {
    let (mic, speaker) = Server::apart();
    let sound = mic.inside();
    let loudspeaker = Loudspeaker::record(&speaker.inside());
    let arguments = ["--speaker", FAR, "--speed", "260"];
    let mut round = Listening::start(&sound, &arguments, &loudspeaker);
    at_the_bedside(&mut round);

    let read_back = "Temperature nine eight point six Fahrenheit, oral. Yes?";
    round.answers("temperature-98-6", read_back);
    round.from = loudspeaker.len();
    sound.pactl(&["unload-module", &sound.module_of("mic")]);
    round.shows("the microphone is lost");
    round.says("The microphone is lost.");
    round.from = loudspeaker.len();
    let mic = ["module-null-sink", "sink_name=mic", "rate=48000"];
    sound.pactl(&[&["load-module"], &mic[..]].concat());
    round.shows("the microphone is back");
    round.says(&format!("The microphone is back. {read_back}"));
    round.answers("yes-us", "Kept.");

    let read_back = "Blood pressure one five two over eight eight, left arm, sitting.";
    round.answers("pressure-152-88", read_back);
    round.kill();
    let facts = record(&sound);
    let read = of_kind(&facts, "read");
    assert_eq!(read.len(), 1);
    assert_eq!(read[0]["measurement"]["sign"], "temperature");
    assert_eq!(*kinds(&facts).last().unwrap(), "offered");

    let mut next = Listening::start(&sound, &arguments, &loudspeaker);
    let line = next.shows("Sayback  ");
    let pending = format!(
        "When Sayback stopped, this was waiting for a yes and was not kept. \
         Walter Brandt: {read_back}"
    );
    assert!(line.contains(&pending), "{line}");
    assert!(line.ends_with("Which room?"), "{line}");
    let after = record(&sound);
    assert_eq!(kinds(&after[facts.len()..]), ["round_opened", "dropped"]);
    assert_eq!(after.last().unwrap()["why"], "stopped");
    assert_eq!(of_kind(&after, "read").len(), 1);
}

#[test]
fn a_yes_to_a_read_back_that_nobody_heard_keeps_nothing() {
    let (mic, speaker) = Server::apart();
    let (sound, far) = (mic.inside(), speaker.inside());
    let arguments = ["--speaker", FAR, "--speed", "260"];
    let (loudspeaker, replaced) = (Loudspeaker::record(&far), OnceCell::new());
    let mut round = Listening::start(&sound, &arguments, &loudspeaker);
    at_the_bedside(&mut round);

    far.pactl(&["unload-module", &far.module_of("speaker")]);
    let read_back = "Temperature nine eight point six Fahrenheit, oral. Yes?";
    round.begins_to_answer("temperature-98-6", read_back);
    round.shows("start again with --voice none");
    // The read-back is on the screen, and a yes has it said again.
    round.begins_to_answer("yes-slt", read_back);
    let facts = record(&sound);
    assert!(of_kind(&facts, "read").is_empty(), "{facts:?}");

    let sink = ["module-null-sink", "sink_name=speaker", "rate=48000"];
    far.pactl(&[&["load-module"], &sink[..]].concat());
    round.loudspeaker = replaced.get_or_init(|| Loudspeaker::record(&far));
    // It is asked again, at the latest after a silence, and now aloud.
    round.shows("the voice is heard again");
    round.answers("yes-slt", "Kept.");
    assert_eq!(of_kind(&record(&sound), "read").len(), 1);
}

/// From the last sound of "Start" to the first of "Stop" it is as long as is
/// counted, within a quarter of a second: what a sound system and the silence
/// that a voice begins with add.
#[test]
fn a_count_takes_its_time_on_the_loudspeaker() {
    const BLOCK: usize = RATE as usize / 100;
    let server = Server::start();
    let sound = server.inside();
    let loudspeaker = Loudspeaker::record(&sound);
    let mut round = Listening::start(&sound, &["--speed", "200"], &loudspeaker);
    at_the_bedside(&mut round);
    round.answers("count-pulse-fifteen", "Pulse, one five seconds. Start.");
    let from = round.from;
    round.shows("Sayback  Stop. Pulse: how many?");
    loudspeaker.quiet();
    let said = loudspeaker.samples.lock().unwrap()[from..].to_vec();
    let blocks = said.chunks(BLOCK).enumerate();
    let loud = blocks.filter(|(_, it)| rms(it) > SPEECH).map(|(at, _)| at);
    let loud: Vec<usize> = loud.collect();
    let silences = loud.windows(2).map(|it| it[1] - it[0]);
    let longest = Duration::from_millis(10 * silences.max().unwrap() as u64);
    let off = longest.abs_diff(Duration::from_secs(15));
    eprintln!("counted over {longest:?}");
    assert!(off < Duration::from_millis(250), "counted over {longest:?}");
    round.answers(
        "eighteen",
        "Pulse seven two, counted one eight in one five seconds. Yes?",
    );
}
