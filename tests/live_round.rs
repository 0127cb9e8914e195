//! A live round for real: the program itself, a microphone into which recorded
//! speech is played, and a loudspeaker that is recorded. The loudspeaker can be
//! heard in the microphone, as on a cart.

#![cfg(target_os = "linux")]

mod sound;

use std::io::{BufRead, BufReader, Read};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use sayback::hearing::{Ear, RATE};
use serde_json::Value;
use sound::server::{FAR, Inside, Server};
use sound::{phrases, rms};

/// The longest that anything is waited for.
const PATIENCE: Duration = Duration::from_secs(30);
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

    /// Waits until something was said after a place and is over. Returns it.
    fn saying(&self, from: usize) -> Vec<i16> {
        const BLOCK: usize = RATE as usize / 50;
        let quiet = usize::try_from(QUIET.as_millis()).unwrap() * RATE as usize / 1_000;
        let started = Instant::now();
        loop {
            let said = self.samples.lock().unwrap()[from..].to_vec();
            let loud = said.chunks(BLOCK).map(|it| rms(it) > SPEECH);
            let last = loud.enumerate().filter(|it| it.1).last();
            if last.is_some_and(|(at, _)| said.len() > (at + 1) * BLOCK + quiet) {
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
}

impl<'a> Listening<'a> {
    fn start(sound: &'a Inside, speaker: &str, loudspeaker: &'a Loudspeaker) -> Self {
        let mut command = sound.command(env!("CARGO_BIN_EXE_sayback"));
        command.args(["listen", "--home", "audio-fixtures/demo-home.toml"]);
        command.args(["--speaker", speaker]);
        command.arg("--store").arg(store(sound));
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
        }
    }

    /// Waits for a line with some words that was not looked at before.
    fn shows(&mut self, words: &str) -> String {
        let started = Instant::now();
        loop {
            let lines = self.lines.lock().unwrap()[self.seen..].to_vec();
            if let Some(at) = lines.iter().position(|line| line.contains(words)) {
                self.seen += at + 1;
                return lines[at].clone();
            }
            assert!(
                started.elapsed() < PATIENCE,
                "{words:?} is not in {lines:#?}"
            );
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Waits until Sayback has said some words. Returns their sound.
    fn says(&mut self, words: &str) -> Vec<i16> {
        self.shows(&format!("Sayback  {words}"));
        self.loudspeaker.saying(self.from)
    }

    /// Speaks a recording into the microphone; it must be heard as these words.
    fn hears(&mut self, recording: &str, words: &str) {
        self.from = self.loudspeaker.len();
        let path = format!("audio-fixtures/speech/{recording}.wav");
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(path);
        assert!(self.sound.play_file(&path).wait().unwrap().success());
        let heard = self.shows("Dana  “");
        assert!(heard.contains(&format!("“{words}”")), "{heard}");
    }

    /// How many utterances it heard, its own voice among them if it heard that.
    fn utterances(&self) -> usize {
        let lines = self.lines.lock().unwrap();
        lines.iter().filter(|it| it.contains("Dana  “")).count()
    }

    /// Waits until the program has ended by itself.
    fn ends(&mut self) {
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
    facts
        .iter()
        .map(|it| it["kind"].as_str().unwrap())
        .collect()
}

fn of_kind<'a>(facts: &'a [Value], kind: &str) -> Vec<&'a Value> {
    facts.iter().filter(|it| it["kind"] == kind).collect()
}

/// A round with Walter Brandt named and confirmed.
fn at_the_bedside<'a>(
    sound: &'a Inside,
    speaker: &str,
    loudspeaker: &'a Loudspeaker,
) -> Listening<'a> {
    let mut round = Listening::start(sound, speaker, loudspeaker);
    round.says("Alder Ridge House. Dana Whitlock recording. Which room?");
    round.hears("room-four-bed-two", "room four bed two");
    round.says("Walter Brandt, born November one nine, one nine four one.");
    round.hears("yes-slt", "yes");
    round.shows("resident  Walter Brandt");
    round.says("Ready for Walter Brandt.");
    round
}

#[test]
fn a_spoken_round_is_read_back_aloud_and_kept() {
    let server = Server::start();
    let sound = server.inside();
    one_room(&sound);
    let loudspeaker = Loudspeaker::record(&sound);
    let mut round = at_the_bedside(&sound, "default", &loudspeaker);

    round.hears(
        "pressure-152-88",
        "blood pressure one fifty two over eighty eight left arm sitting",
    );
    let said = round.says("Blood pressure one five two over eight eight, left arm, sitting. Yes?");
    let heard = recognised(&said);
    assert!(
        heard.contains("blood pressure one five two over eight eight left arm"),
        "{heard}"
    );
    let facts = record(&sound);
    assert!(of_kind(&facts, "read").is_empty(), "nothing before the yes");

    round.hears("yes-awb", "yes");
    round.shows("kept  Blood pressure 152/88 mmHg");
    round.says("Kept. Systolic one five two is above the range");
    round.hears("reported-marlow", "reported to nurse marlow");
    round.says("Reported to Ines Marlow");
    round.hears("yes-slt", "yes");
    round.says("Noted");
    round.hears("done-slt", "done");
    round.says("");
    round.hears("end-of-round", "end of round");
    round.says("");
    for fact in record(&sound) {
        eprintln!("{fact}");
    }
    // It heard what was spoken to it, and never itself.
    assert_eq!(round.utterances(), 8);
}

#[test]
fn a_microphone_pulled_out_and_a_kill_lose_nothing_that_was_kept() {
    let (mic, speaker) = Server::apart();
    let sound = mic.inside();
    let loudspeaker = Loudspeaker::record(&speaker.inside());
    let mut round = at_the_bedside(&sound, FAR, &loudspeaker);

    round.hears(
        "temperature-98-6",
        "temperature ninety eight point six oral",
    );
    round.says("Temperature nine eight point six Fahrenheit, oral. Yes?");
    round.from = loudspeaker.len();
    sound.pactl(&["unload-module", &sound.module_of("mic")]);
    round.shows("the microphone is lost");
    round.says("The microphone is lost.");
    round.from = loudspeaker.len();
    sound.pactl(&[
        "load-module",
        "module-null-sink",
        "sink_name=mic",
        "rate=48000",
    ]);
    round.shows("the microphone is back");
    round.says("The microphone is back. Temperature nine eight point six Fahrenheit, oral. Yes?");
    round.hears("yes-us", "yes");
    round.shows("kept  Temperature 98.6 °F");
    round.says("Kept.");

    round.hears(
        "pressure-152-88",
        "blood pressure one fifty two over eighty eight left arm sitting",
    );
    round.says("Blood pressure one five two over eight eight, left arm, sitting. Yes?");
    round.kill();
    let facts = record(&sound);
    assert_eq!(of_kind(&facts, "read").len(), 1);
    assert_eq!(*kinds(&facts).last().unwrap(), "offered");

    let mut next = Listening::start(&sound, FAR, &loudspeaker);
    let line = next.shows("Sayback  ");
    for words in [
        "this was waiting for a yes and was not kept. Walter Brandt: Blood pressure one five two \
         over eight eight",
        "Please take it again. Which room?",
    ] {
        assert!(line.contains(words), "{line}");
    }
    let after = record(&sound);
    assert_eq!(kinds(&after[facts.len()..]), ["round_opened", "dropped"]);
    assert_eq!(after.last().unwrap()["why"], "stopped");
}
