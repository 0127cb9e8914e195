//! Digits spoken by people, joined into readings: a name of a vital sign by a
//! synthetic voice, then digits, or the digits alone as an answer.
//!
//! The clips were cut close, at a person's own level, some with a constant
//! offset. A microphone that hears one clip after the other would hear the room
//! between them, so the join has no steps, and a floor of noise as loud as the
//! quietest tenth of that person's recordings.

use std::path::{Path, PathBuf};
use std::process::Command;

use fastrand::Rng;
use sayback::hearing::read_wav;
use sayback::vitals::VitalSign;

use super::Anything;
use super::room::{level, samples};
use super::texts::Split;

const DIGITS: [&str; 10] = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
];

/// The persons of one half. The third is never tuned on.
const fn persons(split: Split) -> &'static [u8] {
    match split {
        Split::Tune => &[1, 2],
        Split::Test => &[3],
    }
}

/// A reading to be joined.
pub struct Joined {
    pub person: u8,
    pub sign: VitalSign,
    pub digits: String,
    pub sound: Vec<i16>,
}

/// Clips of one person, in the order of the digits.
struct Person {
    number: u8,
    clips: Vec<Vec<Vec<i16>>>,
    floor: f32,
}

impl Person {
    fn read(folder: &Path, number: u8) -> Anything<Self> {
        let mut clips = Vec::new();
        for digit in 0..10 {
            let mut takes = Vec::new();
            for take in 0..12 {
                let name = format!("p{number}-{digit}-{take:02}");
                takes.push(smooth(&clip(folder, &name)?));
            }
            clips.push(takes);
        }
        let floor = floor(&clips);
        Ok(Self {
            number,
            clips,
            floor,
        })
    }
}

fn clip(folder: &Path, name: &str) -> Anything<Vec<i16>> {
    let wav = PathBuf::from("out/bench/people").join(format!("{name}.wav"));
    if !wav.exists() {
        std::fs::create_dir_all("out/bench/people")?;
        let flac = folder.join(format!("{name}.flac"));
        let mut command = Command::new("flac");
        let output = command
            .args(["-d", "-s", "-f", "-o"])
            .arg(&wav)
            .arg(&flac)
            .output()?;
        if !output.status.success() {
            let why = String::from_utf8_lossy(&output.stderr);
            return Err(format!("{}: {why}", flac.display()).into());
        }
    }
    Ok(read_wav(&wav)?)
}

/// Without its constant offset, and with edges that begin and end at nought.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    reason = "samples"
)]
fn smooth(clip: &[i16]) -> Vec<i16> {
    let mean = clip.iter().map(|it| f32::from(*it)).sum::<f32>() / clip.len().max(1) as f32;
    let edge = samples(0.01).min(clip.len() / 4).max(1);
    let fade = |at: usize| {
        let nearest = at.min(clip.len() - 1 - at);
        (nearest as f32 / edge as f32).min(1.0)
    };
    let sample = |(at, it): (usize, &i16)| ((f32::from(*it) - mean) * fade(at)) as i16;
    clip.iter().enumerate().map(sample).collect()
}

/// Root mean square of the frame of 10 ms at the first tenth by loudness.
#[allow(clippy::cast_precision_loss, reason = "a frame's samples")]
fn floor(clips: &[Vec<Vec<i16>>]) -> f32 {
    let frames = clips.iter().flatten().flat_map(|it| it.chunks_exact(160));
    let power = |it: &[i16]| (it.iter().map(|s| f32::from(*s).powi(2)).sum::<f32>() / 160.0).sqrt();
    let mut all: Vec<f32> = frames.map(power).collect();
    all.sort_by(f32::total_cmp);
    all[all.len() / 10]
}

/// Readings of the people of one half; `None` when the folder isn't there.
/// `names` are recordings of the vital signs' names, one list each.
pub fn readings(
    folder: &Path,
    split: Split,
    count: usize,
    names: &[(VitalSign, Vec<Vec<i16>>)],
    with_name: bool,
) -> Anything<Option<Vec<Joined>>> {
    if !folder.join("p1-0-00.flac").exists() {
        return Ok(None);
    }
    let people = persons(split).iter().map(|it| Person::read(folder, *it));
    let people: Vec<Person> = people.collect::<Anything<_>>()?;
    let mut rng = Rng::with_seed(if split == Split::Tune { 71 } else { 72 });
    let mut all = Vec::new();
    for at in 0..count {
        let person = &people[at % people.len()];
        let (sign, recordings) = &names[rng.usize(0..names.len())];
        let value = match sign {
            VitalSign::Pulse if rng.bool() => rng.u16(100..=199),
            VitalSign::Pulse => rng.u16(41..=99),
            _ => rng.u16(11..=39),
        };
        let value = value.to_string();
        let digits = value.bytes().map(|it| usize::from(it - b'0'));
        let words: Vec<&str> = digits.clone().map(|it| DIGITS[it]).collect();
        let spoken: Vec<&Vec<i16>> = digits
            .map(|it| &person.clips[it][rng.usize(0..12)])
            .collect();
        let name = &recordings[rng.usize(0..recordings.len())];
        let sound = join(person, with_name.then_some(name), &spoken, &mut rng);
        all.push(Joined {
            person: person.number,
            sign: *sign,
            digits: words.join(" "),
            sound,
        });
    }
    Ok(Some(all))
}

fn join(person: &Person, name: Option<&Vec<i16>>, digits: &[&Vec<i16>], rng: &mut Rng) -> Vec<i16> {
    let all: Vec<i16> = digits.iter().flat_map(|it| it.iter().copied()).collect();
    let mut sound = vec![0.0; samples(0.3)];
    if let Some(name) = name {
        let gain = level(&all) / level(name);
        sound.extend(name.iter().map(|it| gain * f32::from(*it)));
    }
    for digit in digits {
        sound.resize(sound.len() + samples(0.05 + 0.1 * rng.f32()), 0.0);
        sound.extend(digit.iter().map(|it| f32::from(*it)));
    }
    sound.resize(sound.len() + samples(1.2), 0.0);
    #[allow(clippy::cast_possible_truncation, reason = "clamped")]
    let sample = |it: f32| it.round().clamp(-32_768.0, 32_767.0) as i16;
    let mut noise = || 2.0 * person.floor * (rng.f32() + rng.f32() + rng.f32() - 1.5);
    sound.into_iter().map(|it| sample(it + noise())).collect()
}

/// Without the silence at both ends, which some voices give.
pub fn trimmed(sound: &[i16]) -> Vec<i16> {
    let loud = |it: &i16| it.unsigned_abs() > 200;
    let from = sound.iter().position(loud).unwrap_or(0);
    let to = sound.iter().rposition(loud).unwrap_or(0);
    sound[from..=to.max(from)].to_vec()
}
