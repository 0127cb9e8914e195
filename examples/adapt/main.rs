//! What the network is adapted with: texts to be spoken, and speech in noise beside the
//! same speech in the quiet. `make adapt` runs it; docs/hearing-adapted.md says how.
//!
//! ```text
//! adapt texts COUNT                      one text in a line; TALK where any talk will do
//! adapt mix SPEECH TALK SEED COPIES TO   each folder in SPEECH is one voice's stream
//! ```
//!
//! A stream is written to TO as samples of 16 bits, once in the quiet (`NAME.clean`) and
//! in COPIES rooms (`NAME.0` and on), sample for sample the same length.

#[path = "../bench_hearing/room.rs"]
#[allow(dead_code, reason = "the bench uses the rest")]
mod room;
#[path = "../../tests/truthful/truth.rs"]
#[allow(dead_code, reason = "the test uses the rest")]
mod truth;

use std::path::{Path, PathBuf};

use fastrand::Rng;
use room::{Noise, Room, Way, at_half, samples};
use sayback::grammar::{Grammar, spoken_forms};
use sayback::hearing::{Steady, read_wav};
use sayback::vitals::Units;
use truth::Truth;

type Anything<T> = Result<T, Box<dyn std::error::Error>>;

fn main() -> Anything<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match arguments[..] {
        ["texts", count] => texts(count.parse()?),
        ["mix", speech, talk, seed, copies, to] => {
            let sounds = files(Path::new(talk))?;
            let sounds: Result<Vec<_>, _> = sounds.iter().map(|it| read_wav(it)).collect();
            let mut mixer = Mixer {
                room: Room::new(&sounds?),
                rng: Rng::with_seed(seed.parse()?),
                to: to.into(),
            };
            for stream in files(Path::new(speech))? {
                mixer.mix(&stream, copies.parse()?)?;
            }
        }
        _ => return Err("adapt texts COUNT | adapt mix SPEECH TALK SEED COPIES TO".into()),
    }
    Ok(())
}

/// Half of these are readings, from the generator of the truthful-aide test. The seed is
/// neither that of the bench's tune half nor that of its test half.
fn texts(count: usize) {
    const ANSWERS: [&str; 10] = [
        "yes",
        "yes",
        "yes",
        "no",
        "no",
        "keep it",
        "that's wrong",
        "yes keep it",
        "yes correct",
        "that's correct",
    ];
    let grammar = Grammar::standard();
    let mut rng = Rng::with_seed(0xada9);
    for at in 0..count {
        let text = match at % 8 {
            0..=3 => {
                let mut truths = Truth::draw_several(&mut rng);
                truths.truncate(if rng.u8(0..3) == 0 { 2 } else { 1 });
                let alone = truths.len() == 1;
                let say = |it: &Truth| it.said(Units::UsCustomary, false, alone, &mut rng);
                let said: Vec<String> = truths.iter().map(say).collect();
                said.join(" ")
            }
            4 => grammar.draw("place.where", &mut rng),
            5 => ANSWERS[rng.usize(0..ANSWERS.len())].to_owned(),
            6 => {
                let forms = spoken_forms(rng.u16(0..=260));
                forms[rng.usize(0..forms.len())].clone()
            }
            _ => "TALK".to_owned(),
        };
        println!("{text}");
    }
}

/// What is in a folder, in order.
fn files(folder: &Path) -> Anything<Vec<PathBuf>> {
    let entries =
        std::fs::read_dir(folder).map_err(|error| format!("{}: {error}", folder.display()))?;
    let files: Result<Vec<_>, _> = entries.map(|it| it.map(|it| it.path())).collect();
    let mut files = files?;
    files.sort();
    Ok(files)
}

struct Mixer {
    room: Room,
    rng: Rng,
    to: PathBuf,
}

impl Mixer {
    fn mix(&mut self, stream: &Path, copies: u32) -> Anything<()> {
        let mut said = Vec::new();
        let (pace, tilt) = (self.pace(), -0.7 + 1.1 * self.rng.f32());
        for file in files(stream)? {
            said.resize(said.len() + self.pause(), 0);
            said.extend(at_half(&turned(&read_wav(&file)?, pace, tilt)));
            said.resize(said.len() + self.pause(), 0);
        }
        let name = stream.file_name().ok_or("a stream with no name")?;
        let name = name.to_string_lossy();
        let seed = self.rng.u64(..);
        let clean = self.room.record(&said, Way::Clean, seed, (0.0, 0.0));
        self.write(&format!("{name}.clean"), &clean)?;
        for copy in 0..copies {
            let way = self.way();
            let seed = self.rng.u64(..);
            let mut sound = self.room.record(&said, way, seed, (0.0, 0.0));
            let gain = 10_f32.powf(self.decibels() / 20.0);
            for it in &mut sound {
                *it = scaled(*it, gain);
            }
            // As the ear hears it: with a steady noise made softer.
            let mut steady = Steady::default();
            let mut heard = steady.pass(&sound);
            heard.extend(steady.rest());
            self.write(&format!("{name}.{copy}"), &heard)?;
        }
        Ok(())
    }

    fn pause(&mut self) -> usize {
        samples(0.3 + 0.6 * self.rng.f32())
    }

    /// Half of the streams are slower and deeper or quicker and higher than they were, so
    /// that there are more voices than were spoken with.
    fn pace(&mut self) -> f32 {
        if self.rng.bool() {
            0.85 + 0.33 * self.rng.f32()
        } else {
            1.0
        }
    }

    /// The alarm is not among them, so that the bench can tell what was learned of noise
    /// from what was learned of these noises.
    fn way(&mut self) -> Way {
        let ratio = -1.0 + 21.0 * self.rng.f32();
        match self.rng.u8(0..20) {
            0..=4 => Way::Clean,
            5..=7 => Way::Noise(Noise::Babble, ratio),
            8..=10 => Way::Noise(Noise::Ventilation, ratio),
            11..=13 => Way::Noise(Noise::Cart, ratio),
            14..=16 => Way::Noise(Noise::Television, ratio + 4.0),
            17 => Way::Echo,
            18 => Way::Far,
            _ => Way::Narrow,
        }
    }

    /// Half are as loud as the bench's; the others softer, some much.
    fn decibels(&mut self) -> f32 {
        match self.rng.u8(0..4) {
            0 | 1 => 0.0,
            2 => -30.0 * self.rng.f32(),
            _ => 6.0 - 16.0 * self.rng.f32(),
        }
    }

    fn write(&self, file: &str, sound: &[i16]) -> Anything<()> {
        let bytes: Vec<u8> = sound.iter().flat_map(|it| it.to_le_bytes()).collect();
        Ok(std::fs::write(self.to.join(file), bytes)?)
    }
}

/// The sound at another speed, through a microphone that favours high or low notes.
#[allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a few seconds of samples"
)]
fn turned(sound: &[i16], pace: f32, tilt: f32) -> Vec<i16> {
    let at = |place: usize| sound.get(place).copied().map_or(0.0, f32::from);
    let length = (sound.len() as f32 / pace) as usize;
    let mut before = 0.0;
    let next = |count: usize| {
        let exact = count as f32 * pace;
        let (whole, part) = (exact as usize, exact.fract());
        let now = at(whole) + part * (at(whole + 1) - at(whole));
        let out = now + tilt * before;
        before = now;
        (out / 2.0).clamp(-32_768.0, 32_767.0) as i16
    };
    (0..length).map(next).collect()
}

#[allow(clippy::cast_possible_truncation, reason = "clamped")]
fn scaled(sample: i16, gain: f32) -> i16 {
    (f32::from(sample) * gain)
        .round()
        .clamp(-32_768.0, 32_767.0) as i16
}
