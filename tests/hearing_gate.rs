//! The gate that keeps silence from the recogniser costs no word: what is heard
//! without it is heard behind it, also where the first syllable is soft and the
//! room is not silent.

#[path = "hour/sound.rs"]
#[allow(dead_code, reason = "a round uses the rest")]
mod room;
mod sound;

use room::{Ventilation, Voices, silence};
use sayback::grammar::{Expect, Grammar};
use sayback::hearing::{Ear, Heard, Model, RATE, read_wav};
use sayback::round::model_for;

const VOICES: [&str; 5] = [
    "flite:slt",
    "flite:awb",
    "espeak-ng:en-us",
    "espeak-ng:en-gb+f2",
    "espeak-ng:en-us+m3",
];

/// They begin with an "s", a "p", an "r" …
const READINGS: [&str; 8] = [
    "saturation ninety four percent on room air",
    "pulse seventy two regular",
    "respiration sixteen",
    "temperature ninety eight point six oral",
    "weight one fifty pounds",
    "blood pressure one twenty eight over seventy six left arm sitting",
    "height sixty four inches",
    "pain level four out of ten",
];

/// How much softer the first syllable is than it was spoken, in dB.
const SOFTER: f64 = 15.0;

fn ear(model: &Model) -> Ear<Expect> {
    let mut ear = Ear::new(model.clone());
    ear.set_network(Expect::Readings).unwrap();
    ear.expect(Expect::Readings);
    ear
}

fn hear(ear: &mut Ear<Expect>, sound: &[i16]) -> Vec<Heard> {
    let blocks = sound.chunks(RATE as usize / 20);
    blocks.filter_map(|it| ear.accept(it)).collect()
}

fn texts(heard: &[Heard]) -> Vec<String> {
    heard.iter().map(Heard::text).collect()
}

/// The sound with its first 250 ms softened, rising to what it was over 100 ms.
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)]
fn soft_first(sound: &[i16]) -> Vec<i16> {
    let begins = sound.iter().position(|it| it.unsigned_abs() > 300);
    let begins = begins.unwrap_or(0);
    let ms = RATE as usize / 1_000;
    let softer = |(at, sample): (usize, &i16)| {
        let after = at.saturating_sub(begins + 250 * ms) as f64 / (100 * ms) as f64;
        let down = SOFTER * (1.0 - after.min(1.0));
        (f64::from(*sample) * 10_f64.powf(-down / 20.0)) as i16
    };
    sound.iter().enumerate().map(softer).collect()
}

/// How many of a sentence's words were heard, in their order.
fn heard_of(text: &str, heard: &[Heard]) -> usize {
    let said: Vec<&str> = text.split(' ').collect();
    let heard: Vec<&str> = heard
        .iter()
        .flat_map(|it| it.words.iter().map(|word| word.text.as_str()))
        .collect();
    // The longest common subsequence.
    let mut row = vec![0; heard.len() + 1];
    for word in said {
        let before = row.clone();
        for (at, it) in heard.iter().enumerate() {
            row[at + 1] = if *it == word {
                before[at] + 1
            } else {
                before[at + 1].max(row[at])
            };
        }
    }
    row[heard.len()]
}

/// Sentences with and without the gate, one after the other on two ears.
struct Compared {
    with: Ear<Expect>,
    without: Ear<Expect>,
    /// Right word for word, with the gate and without.
    right: [usize; 2],
    all: usize,
    /// Where the gate lost words that are heard without it.
    lost: Vec<String>,
}

impl Compared {
    fn new(model: &Model) -> Self {
        Self {
            with: ear(model),
            without: ear(model).without_gate(),
            right: [0; 2],
            all: 0,
            lost: Vec::new(),
        }
    }

    fn hear(&mut self, text: &str, sound: &[i16]) {
        let with = hear(&mut self.with, sound);
        let without = hear(&mut self.without, sound);
        self.all += 1;
        self.right[0] += usize::from(texts(&with) == [text]);
        self.right[1] += usize::from(texts(&without) == [text]);
        let both = format!(
            "{text}: {:?} and without the gate {:?}",
            texts(&with),
            texts(&without)
        );
        if heard_of(text, &with) < heard_of(text, &without) {
            self.lost.push(both);
        }
    }

    /// A word may be lost to chance in one of forty: what the two ears have
    /// learned of the room is not the same.
    fn judge(&self) {
        let (decoded, all) = (self.with.decoded(), self.without.decoded());
        let report = format!(
            "of {} sentences right with the gate {}, without {}; {decoded:.0} s of {all:.0} s decoded; words lost in {}:\n{}",
            self.all,
            self.right[0],
            self.right[1],
            self.lost.len(),
            self.lost.join("\n")
        );
        println!("{report}");
        assert!(self.lost.len() <= self.all.div_ceil(40), "{report}");
        assert!(self.right[0] >= self.right[1], "{report}");
        assert!(decoded < 0.8 * all, "{report}");
    }
}

#[test]
fn soft_first_syllables_over_a_low_noise_are_not_lost() {
    let (model, _) = model_for(&sound::model_folder(), Grammar::standard()).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let mut voices = Voices::new(folder.path());
    let mut compared = Compared::new(&model);
    let mut ventilation = Ventilation::new(7);
    for voice in VOICES {
        for (number, text) in READINGS.into_iter().enumerate() {
            let mut sound = silence(3_000 + 700 * number);
            sound.extend(soft_first(&voices.say(voice, text)));
            sound.extend(silence(2_500));
            // Speech is 12 dB louder here than over the ventilation of a round.
            let sound = ventilation.under(&louder(&sound, 12.0));
            compared.hear(text, &sound);
        }
    }
    compared.judge();
}

#[test]
fn the_recordings_over_ventilation_are_heard_no_worse_behind_it() {
    let (model, _) = model_for(&sound::model_folder(), Grammar::standard()).unwrap();
    let folder = std::path::Path::new("audio-fixtures");
    let list = std::fs::read_to_string(folder.join("texts.tsv")).unwrap();
    let mut compared = Compared::new(&model);
    let mut ventilation = Ventilation::new(3);
    for line in list.lines() {
        let parts: Vec<&str> = line.split('\t').collect();
        let [name, _, text] = parts[..] else {
            continue;
        };
        let text = text.replace(',', "").to_lowercase();
        let Ok(recording) = read_wav(&folder.join(format!("speech/{name}.wav"))) else {
            continue;
        };
        let mut sound = silence(3_000);
        sound.extend(recording);
        sound.extend(silence(2_500));
        compared.hear(&text, &ventilation.under(&sound));
    }
    assert!(compared.all > 10, "only {} recordings", compared.all);
    compared.judge();
}

fn louder(sound: &[i16], decibels: f64) -> Vec<i16> {
    let gain = 10_f64.powf(decibels / 20.0);
    #[allow(clippy::cast_possible_truncation, reason = "held at full scale")]
    let louder = |it: &i16| (f64::from(*it) * gain).clamp(-32_000.0, 32_000.0) as i16;
    sound.iter().map(louder).collect()
}
