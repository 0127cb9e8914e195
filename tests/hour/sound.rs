//! How the room sounds: whoever speaks, and the ventilation.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use fastrand::Rng;
use sayback::hearing::{RATE, read_wav};

/// Ventilation, in dB below full scale: some 20 dB below speech.
const VENTILATION: f64 = -44.0;
/// Speech is brought to this level.
const SPEECH: f64 = -24.0;

/// What is said to others: numbers, names of vital signs and a yes are in it.
pub const CHAT: [&str; 16] = [
    "i was born in nineteen thirty two on a farm by the river",
    "would you like a little water before lunch",
    "and now the weather for the weekend with rain in the north",
    "my daughter comes on sunday at two thirty with the children",
    "no dear that is the blue one the other is in the wash",
    "yes i remember the summer of sixty eight it was very hot",
    "my blood pressure was always too high the doctor said",
    "they took my temperature this morning and again at noon",
    "there were a hundred and twenty people at the wedding",
    "her husband had a weak pulse and they sent him to the city",
    "the bus is number fourteen and it leaves at ten past five",
    "can you help me with my left arm it is stiff today",
    "we will be done in a minute and then it is time for tea",
    "he weighed over two hundred pounds when he was forty",
    "breathing is easier when the window is open isn't it",
    "next room is hers and the one after that is empty",
];

/// Voices by name, `program:voice`.
pub struct Voices {
    folder: PathBuf,
    spoken: HashMap<(String, String), Vec<i16>>,
}

impl Voices {
    pub fn new(folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
            spoken: HashMap::new(),
        }
    }

    /// What a voice says, as 16 kHz samples.
    pub fn say(&mut self, voice: &str, words: &str) -> Vec<i16> {
        let key = (voice.to_owned(), words.to_owned());
        if let Some(sound) = self.spoken.get(&key) {
            return sound.clone();
        }
        let file = self.folder.join("speech.wav");
        let (program, name) = voice.split_once(':').expect("program:voice");
        let mut command = Command::new(program);
        match program {
            "flite" => command.args(["-voice", name, "-t", words, "-o"]),
            _ => command.args(["-v", name, "-s", "150", words, "-w"]),
        };
        let output = command.arg(&file).output();
        let output =
            output.unwrap_or_else(|error| panic!("{program}: {error}; run `make setup-test`"));
        assert!(output.status.success(), "{program}: {output:?}");
        let sound = levelled(&read_wav(&file).expect("a recording"));
        self.spoken.insert(key, sound.clone());
        sound
    }
}

#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)]
fn levelled(sound: &[i16]) -> Vec<i16> {
    let power: f64 = sound.iter().map(|it| f64::from(*it).powi(2)).sum();
    let rms = (power / sound.len().max(1) as f64).sqrt().max(1.0);
    let gain = 32_768.0 * 10_f64.powf(SPEECH / 20.0) / rms;
    let louder = |it: &i16| (f64::from(*it) * gain).clamp(-32_000.0, 32_000.0) as i16;
    sound.iter().map(louder).collect()
}

/// Ventilation: noise that falls off towards the high notes.
pub struct Ventilation {
    rng: Rng,
    last: f64,
}

impl Ventilation {
    pub fn new(seed: u64) -> Self {
        let (rng, last) = (Rng::with_seed(seed), 0.0);
        Self { rng, last }
    }

    /// The sound with the ventilation under it.
    #[allow(clippy::cast_possible_truncation)]
    pub fn under(&mut self, sound: &[i16]) -> Vec<i16> {
        // A one-pole filter at 0.9 leaves 0.23 of white noise's level.
        let level = 32_768.0 * 10_f64.powf(VENTILATION / 20.0) * 3.0_f64.sqrt() / 0.23;
        let add = |it: &i16| {
            self.last = 0.9 * self.last + 0.1 * (self.rng.f64() * 2.0 - 1.0) * level;
            (f64::from(*it) + self.last).clamp(-32_767.0, 32_767.0) as i16
        };
        sound.iter().map(add).collect()
    }
}

/// So many milliseconds of nothing.
pub fn silence(ms: usize) -> Vec<i16> {
    vec![0; ms * RATE as usize / 1_000]
}
