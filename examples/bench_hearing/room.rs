//! The room: noise, echo, distance and a bad microphone, made from a seed.

use std::f32::consts::TAU;

use fastrand::Rng;
use sayback::hearing::RATE;

/// What happens to the sound on its way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Way {
    /// A quiet room: noise 50 dB below the speech, as no room is silent.
    Clean,
    /// A noise at a signal-to-noise ratio in dB, over the parts with speech.
    Noise(Noise, f32),
    /// A room with hard walls, reverberation time 0.5 s.
    Echo,
    /// Two metres away in such a room, and 20 dB softer.
    Far,
    /// Recorded far too loud: peaks cut at a quarter of their height.
    Clipped,
    /// 30 dB softer.
    Quiet,
    /// A headset that passes 300 to 3400 Hz.
    Narrow,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Noise {
    Babble,
    Ventilation,
    Cart,
    Alarm,
    Television,
}

impl Way {
    /// Every condition of the table.
    pub fn all() -> Vec<Self> {
        use Noise::{Alarm, Babble, Cart, Television, Ventilation};
        let mut all = vec![Self::Clean];
        for noise in [Babble, Ventilation, Cart, Alarm, Television] {
            all.extend([20.0, 10.0, 5.0, 0.0].map(|snr| Self::Noise(noise, snr)));
        }
        all.extend([
            Self::Echo,
            Self::Far,
            Self::Clipped,
            Self::Quiet,
            Self::Narrow,
        ]);
        all
    }

    /// Three that stand for all, where all would take too long.
    pub fn three() -> [Self; 3] {
        let noise = |noise| Self::Noise(noise, 10.0);
        [Self::Clean, noise(Noise::Ventilation), noise(Noise::Babble)]
    }

    pub fn name(self) -> String {
        match self {
            Self::Noise(noise, snr) => format!("{noise:?} {snr} dB").to_lowercase(),
            other => format!("{other:?}").to_lowercase(),
        }
        .replace("db", "dB")
    }
}

/// A microphone other than one that takes in all sides half a metre from the mouth, where
/// the ratios of the ways are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Microphone {
    /// The one that the ways are for.
    HalfAMetre,
    /// 5 cm from the mouth, all sides.
    Near,
    /// As near, a cardioid that points to the mouth.
    NearCardioid,
    /// The same, pointing away from the mouth by a right angle.
    NearCardioidAside,
}

impl Microphone {
    pub const ALL: [Self; 4] = [
        Self::HalfAMetre,
        Self::Near,
        Self::NearCardioid,
        Self::NearCardioidAside,
    ];

    pub const fn name(self) -> &'static str {
        match self {
            Self::HalfAMetre => "microphones: half a metre away",
            Self::Near => "microphones: 5 cm away",
            Self::NearCardioid => "microphones: 5 cm away, cardioid",
            Self::NearCardioidAside => "microphones: 5 cm away, cardioid, turned aside",
        }
    }

    /// How much more speech stands out with it of a noise that comes from all sides, in
    /// dB. A tenth of the way makes speech 20 dB louder, as in open air. A cardioid
    /// weighs sound from the angle a by (1 + cos a) / 2: a third of the power from all
    /// sides, and half the pressure from a right angle.
    pub fn gain(self) -> f32 {
        let (near, cardioid, aside) = (20.0, 10.0 * 3.0_f32.log10(), 20.0 * 0.5_f32.log10());
        let gain = match self {
            Self::HalfAMetre => 0.0,
            Self::Near => near,
            Self::NearCardioid => near + cardioid,
            Self::NearCardioidAside => near + cardioid + aside,
        };
        (gain * 10.0_f32).round() / 10.0
    }
}

/// Makes the noises. Babble and television need speech, given once.
pub struct Room {
    babble: Vec<f32>,
    television: Vec<f32>,
}

impl Room {
    /// `talk` are recordings of sentences, of any voices.
    pub fn new(talk: &[Vec<i16>]) -> Self {
        let mut rng = Rng::with_seed(11);
        // Six people at once, each going on without end.
        let length = 60 * RATE as usize;
        let mut babble = vec![0.0; length];
        for person in 0..6 {
            let mut at = rng.usize(0..2 * RATE as usize);
            let mut next = person * 2;
            while at < length {
                let sound = &talk[next % talk.len()];
                for (place, sample) in babble[at..].iter_mut().zip(sound) {
                    *place += f32::from(*sample);
                }
                at += sound.len() + rng.usize(0..RATE as usize / 2);
                next += 5;
            }
        }
        let mut television = vec![0.0; length];
        let mut at = 0;
        let mut next = 3;
        while at < length {
            let sound = &talk[next % talk.len()];
            for (place, sample) in television[at..].iter_mut().zip(sound) {
                *place += f32::from(*sample);
            }
            at += sound.len() + RATE as usize / 10;
            next += 7;
        }
        // Music below the speaker: slowly changing chords.
        for (at, place) in television.iter_mut().enumerate() {
            let time = seconds(at);
            let root = [220.0, 174.6, 196.0, 164.8][at / samples(1.5) % 4];
            let chord = [1.0, 1.26, 1.5, 2.0].map(|it| (TAU * root * it * time).sin());
            *place += 400.0 * chord.iter().sum::<f32>();
        }
        Self { babble, television }
    }

    /// The speech as it arrives, with `before` and `after` seconds around it.
    pub fn record(
        &self,
        speech: &[i16],
        way: Way,
        seed: u64,
        (before, after): (f32, f32),
    ) -> Vec<i16> {
        let mut rng = Rng::with_seed(seed);
        let mut sound = vec![0.0; samples(before)];
        sound.extend(speech.iter().map(|it| f32::from(*it)));
        sound.resize(sound.len() + samples(after), 0.0);
        let level = level(speech);
        match way {
            Way::Clean => add(&mut sound, &pink(speech.len(), &mut rng), level, 50.0),
            Way::Noise(noise, snr) => {
                let noise = self.noise(noise, sound.len(), &mut rng);
                add(&mut sound, &noise, level, snr);
                add(&mut sound, &pink(speech.len(), &mut rng), level, 50.0);
            }
            Way::Echo => {
                sound = echoed(&sound, 0.5, &mut rng);
                add(&mut sound, &pink(speech.len(), &mut rng), level, 50.0);
            }
            Way::Far => {
                sound = echoed(&sound, 1.5, &mut rng);
                add(&mut sound, &pink(speech.len(), &mut rng), level, 30.0);
                scale(&mut sound, -20.0);
            }
            Way::Clipped => {
                add(&mut sound, &pink(speech.len(), &mut rng), level, 50.0);
                let high = sound.iter().fold(0.0_f32, |a, b| a.max(b.abs())) / 4.0;
                let gain = 32_767.0 / high;
                amplify(&mut sound, gain);
            }
            Way::Quiet => {
                add(&mut sound, &pink(speech.len(), &mut rng), level, 40.0);
                scale(&mut sound, -30.0);
            }
            Way::Narrow => {
                add(&mut sound, &pink(speech.len(), &mut rng), level, 50.0);
                sound = band(&sound, 300.0, 3_400.0);
            }
        }
        sound.iter().map(|it| clip(*it)).collect()
    }

    fn noise(&self, noise: Noise, length: usize, rng: &mut Rng) -> Vec<f32> {
        let piece = |long: &[f32], rng: &mut Rng| {
            let from = rng.usize(0..long.len());
            long.iter()
                .cycle()
                .skip(from)
                .take(length)
                .copied()
                .collect()
        };
        match noise {
            Noise::Babble => piece(&self.babble, rng),
            Noise::Television => piece(&self.television, rng),
            Noise::Ventilation => ventilation(length, rng),
            Noise::Cart => cart(length, rng),
            Noise::Alarm => alarm(length, rng),
        }
    }
}

#[allow(clippy::cast_possible_truncation, reason = "clamped")]
fn clip(sample: f32) -> i16 {
    sample.round().clamp(-32_768.0, 32_767.0) as i16
}

#[allow(clippy::cast_precision_loss, reason = "minutes at most")]
fn seconds(samples: usize) -> f32 {
    samples as f32 / RATE as f32
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a few seconds"
)]
pub fn samples(seconds: f32) -> usize {
    (seconds * RATE as f32) as usize
}

fn scale(sound: &mut [f32], db: f32) {
    amplify(sound, 10_f32.powf(db / 20.0));
}

fn amplify(sound: &mut [f32], gain: f32) {
    for sample in sound {
        *sample *= gain;
    }
}

/// The loudest sample at half of full scale.
pub fn at_half(sound: &[i16]) -> Vec<i16> {
    let loudest = sound.iter().map(|it| it.unsigned_abs()).max();
    let loudest = f32::from(loudest.unwrap_or(1).max(1));
    #[allow(clippy::cast_possible_truncation, reason = "half of full scale")]
    let scaled = |it: &i16| (f32::from(*it) / loudest * 16_384.0) as i16;
    sound.iter().map(scaled).collect()
}

/// Root mean square over the frames of 20 ms within 25 dB of the loudest: the
/// level of the speech without its pauses.
#[allow(clippy::cast_precision_loss, reason = "a frame's samples")]
pub fn level(speech: &[i16]) -> f32 {
    let power = |frame: &[i16]| {
        frame.iter().map(|it| f32::from(*it).powi(2)).sum::<f32>() / frame.len() as f32
    };
    let powers: Vec<f32> = speech.chunks_exact(RATE as usize / 50).map(power).collect();
    let loudest = powers.iter().fold(0.0_f32, |a, b| a.max(*b));
    let active: Vec<f32> = powers
        .into_iter()
        .filter(|it| *it > loudest * 0.003)
        .collect();
    (active.iter().sum::<f32>() / active.len().max(1) as f32)
        .sqrt()
        .max(1.0)
}

/// Adds a noise, repeated as needed, so that the speech is `snr` dB above it.
#[allow(clippy::cast_precision_loss, reason = "a few seconds of samples")]
fn add(sound: &mut [f32], noise: &[f32], level: f32, snr: f32) {
    let power = noise.iter().map(|it| it * it).sum::<f32>() / noise.len().max(1) as f32;
    let gain = level / power.sqrt().max(1e-6) * 10_f32.powf(-snr / 20.0);
    for (place, it) in sound.iter_mut().zip(noise.iter().cycle()) {
        *place += gain * it;
    }
}

fn white(rng: &mut Rng) -> f32 {
    rng.f32() + rng.f32() + rng.f32() - 1.5
}

/// Noise that falls with frequency, as that of rooms does.
fn pink(length: usize, rng: &mut Rng) -> Vec<f32> {
    let (mut slow, mut slower) = (0.0, 0.0);
    let next = |_| {
        let it = white(rng);
        slow += 0.1 * (it - slow);
        slower += 0.01 * (it - slower);
        0.2 * it + slow + 3.0 * slower
    };
    (0..length.max(1)).map(next).collect()
}

/// Air: broad low noise, with the hum of the fan.
fn ventilation(length: usize, rng: &mut Rng) -> Vec<f32> {
    let mut sound = pink(length, rng);
    let hum = 90.0 + 40.0 * rng.f32();
    for (at, place) in sound.iter_mut().enumerate() {
        let time = seconds(at);
        *place += 0.3 * (TAU * hum * time).sin() + 0.15 * (TAU * 2.0 * hum * time).sin();
    }
    sound
}

/// Wheels on joints and things on a tray: irregular blows, each ringing on
/// several tones, over a rumble.
fn cart(length: usize, rng: &mut Rng) -> Vec<f32> {
    let mut sound = pink(length, rng);
    amplify(&mut sound, 0.3);
    let mut at = 0;
    while at < length {
        let tones = [0; 4].map(|_| 400.0 + 4_600.0 * rng.f32().powi(2));
        let strength = 0.5 + 2.0 * rng.f32();
        let decay = 15.0 + 60.0 * rng.f32();
        for (after, place) in sound[at..].iter_mut().take(samples(0.2)).enumerate() {
            let time = seconds(after);
            let tone: f32 = tones.iter().map(|it| (TAU * it * time).sin()).sum();
            *place += strength * (-decay * time).exp() * (tone / 2.0 + 0.5 * white(rng));
        }
        at += samples(0.04 + 0.25 * rng.f32());
    }
    sound
}

/// A call bell or monitor: two tones in turn, on and off.
fn alarm(length: usize, rng: &mut Rng) -> Vec<f32> {
    let base = 700.0 + 1_300.0 * rng.f32();
    let offset = rng.f32();
    let tone = |at| {
        let time = seconds(at) + offset;
        let beat = time % 0.8;
        let pitch = if beat < 0.25 { base } else { base * 1.25 };
        let on = beat < 0.25 || (0.35..0.6).contains(&beat);
        let wave = (TAU * pitch * time).sin() + 0.4 * (TAU * 3.0 * pitch * time).sin();
        if on { wave } else { 0.0 }
    };
    (0..length).map(tone).collect()
}

/// The sound with the reflections of a room: noise that fades by 60 dB within
/// half a second, `wet` times as strong as the direct sound.
fn echoed(sound: &[f32], wet: f32, rng: &mut Rng) -> Vec<f32> {
    // Sparse reflections, a thousand a second, are quick and sound alike.
    let reflections: Vec<(usize, f32)> = (0..500)
        .map(|_| {
            let time = 0.005 + 0.45 * rng.f32();
            let strength = (-6.9 * time / 0.5).exp() * white(rng);
            (samples(time), strength)
        })
        .collect();
    let power: f32 = reflections.iter().map(|(_, it)| it * it).sum();
    let gain = wet / power.sqrt();
    let mut out = sound.to_vec();
    for (delay, strength) in reflections {
        for (place, it) in out[delay.min(sound.len())..].iter_mut().zip(sound) {
            *place += gain * strength * it;
        }
    }
    out
}

/// Second-order filters, twice each, at both ends of a band.
fn band(sound: &[f32], low: f32, high: f32) -> Vec<f32> {
    let mut out = sound.to_vec();
    for _ in 0..3 {
        out = biquad(&out, low, true);
        out = biquad(&out, high, false);
    }
    out
}

/// A Butterworth filter of the second order, by the bilinear transform.
fn biquad(sound: &[f32], hertz: f32, pass_high: bool) -> Vec<f32> {
    #[allow(clippy::cast_precision_loss, reason = "16000 is exact")]
    let k = (std::f32::consts::PI * hertz / RATE as f32).tan();
    let norm = 1.0 / (1.0 + std::f32::consts::SQRT_2 * k + k * k);
    let (b0, b1) = if pass_high {
        (norm, -2.0 * norm)
    } else {
        (k * k * norm, 2.0 * k * k * norm)
    };
    let a1 = 2.0 * (k * k - 1.0) * norm;
    let a2 = (1.0 - std::f32::consts::SQRT_2 * k + k * k) * norm;
    let (mut x1, mut x2, mut y1, mut y2) = (0.0, 0.0, 0.0, 0.0);
    let next = |x: &f32| {
        let y = b0 * x + b1 * x1 + b0 * x2 - a1 * y1 - a2 * y2;
        (x2, x1, y2, y1) = (x1, *x, y1, y);
        y
    };
    sound.iter().map(next).collect()
}
