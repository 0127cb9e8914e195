//! Other recognisers on the same sound, with the same parser and dialogue behind
//! them. They run in Python (`engines.py`), one after the other.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use sayback::hearing::{Heard, RATE, write_wav};
use serde::Deserialize;

use super::Anything;
use super::judge::Outcome;
use super::listen::seconds;
use super::report::Judged;

pub const ENGINES: [&str; 3] = ["free", "pocketsphinx", "whisper"];

/// One recording that every engine is given.
pub struct Same {
    pub way: String,
    pub text: String,
    pub sound: Vec<i16>,
}

/// What an engine made of all recordings.
pub struct Ran {
    pub judged: Vec<Judged>,
    /// Decoding time by the length of the sound.
    pub real_time: f64,
    /// Median seconds from the end of the sound to the result.
    pub last: f64,
    /// Peak memory of the whole process, in MB.
    pub memory: f64,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Line {
    Text { text: String, busy: f64, last: f64 },
    Memory { memory: f64 },
}

/// Runs one of [`ENGINES`].
pub fn run(engine: &str, all: &[Same], judge: impl Fn(&str, &[Heard]) -> Outcome) -> Anything<Ran> {
    let folder = Path::new("out/bench/same");
    std::fs::create_dir_all(folder)?;
    let mut list = String::new();
    for (at, it) in all.iter().enumerate() {
        let file = folder.join(format!("{at:04}.wav"));
        write_wav(&file, RATE, &it.sound)?;
        writeln!(list, "{}", file.display())?;
    }
    let list_file = folder.join("list.txt");
    std::fs::write(&list_file, list)?;
    let out = PathBuf::from(format!("out/bench/same/{engine}.jsonl"));
    let script = "examples/bench_hearing/engines.py";
    let mut command = Command::new(super::python());
    let status = command
        .arg(script)
        .arg(engine)
        .arg(&list_file)
        .arg(&out)
        .status()?;
    if !status.success() {
        return Err(format!("{engine} failed; `make bench-engines` installs it").into());
    }
    let mut ran = Ran {
        judged: Vec::new(),
        real_time: 0.0,
        last: 0.0,
        memory: 0.0,
    };
    let (mut all_busy, mut lasts) = (0.0, Vec::new());
    let mut items = all.iter();
    for line in std::fs::read_to_string(&out)?.lines() {
        match serde_json::from_str(line)? {
            Line::Memory { memory } => ran.memory = memory,
            Line::Text { text, busy, last } => {
                let it = items.next().ok_or("more results than recordings")?;
                all_busy += busy;
                lasts.push(last);
                let raw = if text.is_empty() {
                    Vec::new()
                } else {
                    vec![Heard::from_text(&text)]
                };
                ran.judged
                    .push(row(engine, it, &raw, judge(&it.text, &raw)));
            }
        }
    }
    let sound: f64 = all.iter().map(|it| seconds(it.sound.len())).sum();
    ran.real_time = all_busy / sound;
    ran.last = median(&mut lasts);
    Ok(ran)
}

/// The same by Sayback: `hear` gives what is heard and the seconds of the last
/// block.
pub fn ours(
    all: &[Same],
    mut hear: impl FnMut(&[i16]) -> (Vec<Heard>, f64),
    judge: impl Fn(&str, &[Heard]) -> Outcome,
) -> Anything<Ran> {
    let (mut judged, mut lasts) = (Vec::new(), Vec::new());
    let started = Instant::now();
    for it in all {
        let (heard, last) = hear(&it.sound);
        lasts.push(last);
        judged.push(row("sayback", it, &heard, judge(&it.text, &heard)));
    }
    let busy = started.elapsed().as_secs_f64();
    let sound: f64 = all.iter().map(|it| seconds(it.sound.len())).sum();
    Ok(Ran {
        judged,
        real_time: busy / sound,
        last: median(&mut lasts),
        memory: peak_memory()?,
    })
}

fn row(engine: &str, it: &Same, raw: &[Heard], outcome: Outcome) -> Judged {
    Judged {
        set: "same sound".to_owned(),
        way: it.way.clone(),
        engine: engine.to_owned(),
        voice: String::new(),
        sign: String::new(),
        text: it.text.clone(),
        heard: super::listen::texts(raw),
        raw: raw.to_vec(),
        outcome,
        seconds: seconds(it.sound.len()),
    }
}

fn median(all: &mut [f64]) -> f64 {
    all.sort_by(f64::total_cmp);
    all.get(all.len() / 2).copied().unwrap_or_default()
}

/// The most memory this process has had, in MB.
fn peak_memory() -> Anything<f64> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let line = status.lines().find_map(|it| it.strip_prefix("VmHWM:"));
    let number = line.and_then(|it| it.split_whitespace().next());
    let kilobytes: f64 = number
        .ok_or("the system does not tell the peak memory")?
        .parse()?;
    Ok(kilobytes / 1_024.0)
}
