//! What the tests with real sound share.

#![allow(dead_code, reason = "each test file uses some of it")]

#[cfg(target_os = "linux")]
pub mod server;

use std::path::PathBuf;

use sayback::dialogue::Dialogue;
use sayback::grammar::Grammar;
use sayback::hearing::{Model, RATE, resample, to_f32, to_i16};
use sayback::residents::Home;
use sayback::round::model_for;
use sayback::speaking::{Audio, Espeak, EspeakSettings, Voice};

/// The folder of the speech model.
pub fn model_folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("assets/model-en-us")
}

/// The speech model.
pub fn model() -> Model {
    Model::open(&model_folder()).unwrap_or_else(|error| panic!("{error}"))
}

/// The speech model ready to listen for the grammar, and the dialogue of the demo home.
pub fn demo() -> (Model, Grammar, Dialogue) {
    let (model, grammar) = model_for(&model_folder(), Grammar::standard()).unwrap();
    let home = include_str!("../../audio-fixtures/demo-home.toml");
    let home = Home::from_toml(home).unwrap();
    let aide = home.aides[0].clone();
    let dialogue = Dialogue::new(home, aide, &grammar).unwrap();
    (model, grammar, dialogue)
}

/// A sentence as the default voice says it.
pub fn speak(text: &str) -> Audio {
    let mut voice =
        Espeak::new(EspeakSettings::default()).unwrap_or_else(|error| panic!("{error}"));
    voice.synthesize(text).unwrap()
}

/// The same as 16 kHz samples with silence around them.
pub fn spoken_frames(text: &str) -> Vec<i16> {
    with_silence(&speak(text))
}

/// Sound as 16 kHz samples with silence around them.
pub fn with_silence(audio: &Audio) -> Vec<i16> {
    let mut frames = vec![0; RATE as usize / 3];
    frames.extend(at(audio, RATE));
    frames.extend(vec![0; RATE as usize]);
    frames
}

/// The samples at another rate.
pub fn at(audio: &Audio, rate: u32) -> Vec<i16> {
    let samples: Vec<f32> = audio.samples.iter().copied().map(to_f32).collect();
    resample(&samples, audio.rate, rate)
        .unwrap()
        .into_iter()
        .map(to_i16)
        .collect()
}

/// A list of phrases from words with commas between.
pub fn phrases(list: &str) -> Vec<String> {
    list.split(',')
        .map(|phrase| phrase.trim().to_owned())
        .collect()
}

/// Root mean square of samples, full scale being 1.
#[allow(clippy::cast_precision_loss)]
pub fn rms(samples: &[i16]) -> f64 {
    let power: f64 = samples
        .iter()
        .map(|s| (f64::from(*s) / 32_768.0).powi(2))
        .sum();
    (power / samples.len().max(1) as f64).sqrt()
}

/// The strength of one frequency, as the amplitude of a sine, full scale 1.
#[allow(clippy::cast_precision_loss)]
pub fn amplitude_at(samples: &[i16], rate: u32, hertz: f64) -> f64 {
    let step = std::f64::consts::TAU * hertz / f64::from(rate);
    let (mut re, mut im) = (0.0, 0.0);
    for (i, sample) in samples.iter().enumerate() {
        let angle = step * i as f64;
        re += f64::from(*sample) / 32_768.0 * angle.cos();
        im += f64::from(*sample) / 32_768.0 * angle.sin();
    }
    2.0 * re.hypot(im) / samples.len().max(1) as f64
}
