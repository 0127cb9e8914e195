//! Who says it: every English voice that the registries give, split in two.
//!
//! Not used: flite's `rms`, and the packages festvox-us-slt-hts and
//! festvox-kdlpc16k.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use sayback::hearing::{RATE, read_wav, write_wav};

use super::Anything;
use super::room::at_half;
use super::texts::{BABBLE, Split};

/// A synthetic voice.
#[derive(Debug, PartialEq, Eq)]
pub struct Voice {
    pub name: &'static str,
    program: Program,
    /// What the program calls it.
    id: &'static str,
    /// Words a minute, where the program takes it.
    speed: &'static str,
    half: Half,
}

#[derive(Debug, PartialEq, Eq)]
enum Program {
    EspeakNg,
    Flite,
    Festival,
    /// Spoken in batches, by a script in Python.
    Piper,
    Kokoro,
}

impl Program {
    /// For those that take long to start: what speaks a list of files, voices and texts.
    const fn script(&self) -> Option<&'static str> {
        match self {
            Self::Piper => Some("examples/bench_hearing/piper_say.py"),
            Self::Kokoro => Some("examples/bench_hearing/kokoro_say.py"),
            Self::EspeakNg | Self::Flite | Self::Festival => None,
        }
    }
}

/// Two casts say the same texts, in runs of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cast {
    /// Synthesizers of several makes.
    Mixed,
    /// One network that has learned from people how they speak: nearer to people, though
    /// clear and even as no round is.
    Neural,
}

/// Which voices and texts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Half {
    pub split: Split,
    pub cast: Cast,
}

impl Half {
    pub const fn mixed(split: Split) -> Self {
        let cast = Cast::Mixed;
        Self { split, cast }
    }

    /// For files.
    pub const fn name(self) -> &'static str {
        match (self.split, self.cast) {
            (Split::Tune, Cast::Mixed) => "tune",
            (Split::Test, Cast::Mixed) => "test",
            (Split::Tune, Cast::Neural) => "tune-neural",
            (Split::Test, Cast::Neural) => "test-neural",
        }
    }

    pub fn voices(self) -> Vec<&'static Voice> {
        VOICES.iter().filter(|it| it.half == self).collect()
    }
}

const fn voice(
    name: &'static str,
    program: Program,
    id: &'static str,
    speed: &'static str,
    split: Split,
) -> Voice {
    Voice {
        name,
        program,
        id,
        speed,
        half: Half::mixed(split),
    }
}

const fn neural(name: &'static str, split: Split) -> Voice {
    let cast = Cast::Neural;
    Voice {
        name,
        program: Program::Kokoro,
        id: name,
        speed: "",
        half: Half { split, cast },
    }
}

/// One speaker's voices are all in one half (flite's and festival's `kal`). All English
/// voices of the neural cast, in the order of their names, take turns.
static VOICES: [Voice; 46] = {
    use Program::{EspeakNg, Festival, Flite, Piper};
    use Split::{Test, Tune};
    [
        voice("flite-slt", Flite, "slt", "", Tune),
        voice("flite-kal16", Flite, "kal16", "", Tune),
        voice("festival-kal", Festival, "kal_diphone", "", Tune),
        voice("espeak-us", EspeakNg, "en-us", "150", Tune),
        voice("espeak-gb-f2", EspeakNg, "en-gb+f2", "140", Tune),
        voice("espeak-rp-m3", EspeakNg, "en-gb-x-rp+m3", "160", Tune),
        voice("espeak-us-f5", EspeakNg, "en-us+f5", "170", Tune),
        voice("espeak-029-m1", EspeakNg, "en-029+m1", "150", Tune),
        voice("flite-awb", Flite, "awb", "", Test),
        voice("piper-joe", Piper, "joe", "", Test),
        voice("espeak-gb", EspeakNg, "en-gb", "150", Test),
        voice("espeak-us-m7", EspeakNg, "en-us+m7", "175", Test),
        voice("espeak-us-f3", EspeakNg, "en-us+f3", "145", Test),
        voice("espeak-nyc-m2", EspeakNg, "en-us-nyc+m2", "165", Test),
        voice("espeak-scot-f1", EspeakNg, "en-gb-scotland+f1", "150", Test),
        voice("espeak-clan-f4", EspeakNg, "en-gb-x-gbclan+f4", "160", Test),
        voice("espeak-wmd", EspeakNg, "en-gb-x-gbcwmd", "140", Test),
        voice("espeak-rp-m4", EspeakNg, "en-gb-x-rp+m4", "190", Test),
        neural("af_alloy", Test),
        neural("af_aoede", Tune),
        neural("af_bella", Test),
        neural("af_heart", Tune),
        neural("af_jessica", Test),
        neural("af_kore", Tune),
        neural("af_nicole", Test),
        neural("af_nova", Tune),
        neural("af_river", Test),
        neural("af_sarah", Tune),
        neural("af_sky", Test),
        neural("am_adam", Tune),
        neural("am_echo", Test),
        neural("am_eric", Tune),
        neural("am_fenrir", Test),
        neural("am_liam", Tune),
        neural("am_michael", Test),
        neural("am_onyx", Tune),
        neural("am_puck", Test),
        neural("am_santa", Tune),
        neural("bf_alice", Test),
        neural("bf_emma", Tune),
        neural("bf_isabella", Test),
        neural("bf_lily", Tune),
        neural("bm_daniel", Test),
        neural("bm_fable", Tune),
        neural("bm_george", Test),
        neural("bm_lewis", Tune),
    ]
};

/// A text to be spoken into a file.
pub struct Order {
    pub voice: &'static Voice,
    pub text: String,
    pub file: PathBuf,
}

/// Speaks what is not there yet. Every file is 16 kHz, one channel, its loudest
/// sample at half of full scale.
pub fn speak(orders: &[Order]) -> Anything<()> {
    let missing = orders.iter().filter(|it| !it.file.exists());
    let (batches, others): (Vec<&Order>, Vec<&Order>) =
        missing.partition(|it| it.voice.program.script().is_some());
    for order in others {
        let raw = raw(&order.file)?;
        let mut command = match order.voice.program {
            Program::EspeakNg => {
                let mut command = Command::new("espeak-ng");
                command.args(["-v", order.voice.id, "-s", order.voice.speed, "-w"]);
                command.arg(&raw).arg("--").arg(&order.text);
                command
            }
            Program::Flite => {
                let mut command = Command::new("flite");
                command.args(["-voice", order.voice.id, "-t", &order.text, "-o"]);
                command.arg(&raw);
                command
            }
            Program::Festival => {
                let text = raw.with_extension("txt");
                std::fs::write(&text, &order.text)?;
                let mut command = Command::new("text2wave");
                let voice = format!("(voice_{})", order.voice.id);
                command.arg(&text).args(["-eval", &voice, "-o"]).arg(&raw);
                command
            }
            Program::Piper | Program::Kokoro => continue,
        };
        run(&mut command)?;
        finish(&raw, &order.file)?;
    }
    for program in [Program::Piper, Program::Kokoro] {
        let orders = batches.iter().filter(|it| it.voice.program == program);
        speak_batch(&program, &orders.copied().collect::<Vec<_>>())?;
    }
    Ok(())
}

fn speak_batch(program: &Program, orders: &[&Order]) -> Anything<()> {
    let Some(script) = program.script().filter(|_| !orders.is_empty()) else {
        return Ok(());
    };
    let list = PathBuf::from(format!("out/bench/{program:?}.tsv"));
    let mut lines = String::new();
    for order in orders {
        let (raw, voice) = (raw(&order.file)?, order.voice.id);
        writeln!(lines, "{}\t{voice}\t{}", raw.display(), order.text)?;
    }
    std::fs::write(&list, lines)?;
    run(Command::new(super::python()).arg(script).arg(&list))?;
    for order in orders {
        finish(&raw(&order.file)?, &order.file)?;
    }
    Ok(())
}

fn raw(file: &Path) -> Anything<PathBuf> {
    let folder = file.parent().ok_or("a file in no folder")?;
    std::fs::create_dir_all(folder)?;
    Ok(file.with_extension("raw.wav"))
}

fn run(command: &mut Command) -> Anything<()> {
    let output = command.output();
    let output = output.map_err(|error| format!("{command:?}: {error}; see docs/hearing.md"))?;
    if !output.status.success() {
        let why = String::from_utf8_lossy(&output.stderr);
        return Err(format!("{command:?} failed: {why}").into());
    }
    Ok(())
}

fn finish(raw: &Path, file: &Path) -> Anything<()> {
    write_wav(file, RATE, &at_half(&read_wav(raw)?))?;
    std::fs::remove_file(raw)?;
    let _ = std::fs::remove_file(raw.with_extension("txt"));
    Ok(())
}

/// The talk that babble and television are made of, each sentence by one voice.
pub fn babble() -> Anything<Vec<Vec<i16>>> {
    let halves = [Split::Tune, Split::Test].map(Half::mixed);
    let voices: Vec<&Voice> = halves.into_iter().flat_map(Half::voices).collect();
    let order = |(at, text): (usize, &&str)| {
        let voice = voices[at * 5 % voices.len()];
        let file = PathBuf::from(format!("out/bench/babble/{at:02}-{}.wav", voice.name));
        Order {
            voice,
            text: (*text).to_owned(),
            file,
        }
    };
    let orders: Vec<Order> = BABBLE.iter().enumerate().map(order).collect();
    speak(&orders)?;
    orders.iter().map(|it| Ok(read_wav(&it.file)?)).collect()
}
