//! A round by words that each have a sound of their own.

use std::path::{Path, PathBuf};

use chrono::TimeDelta;
use sayback::dialogue::{Dialogue, Event};
use sayback::facts::{Body, Fact, KeptReading, NO_ROUND, Time, VERSION};
use sayback::grammar::Grammar;
use sayback::hearing::{Heard, RATE, Sound};
use sayback::residents::{Home, KeptSound, Staff};
use sayback::round::Round;
use sayback::store::{Keeping, Key, SoundError, Store};
use tempfile::TempDir;
use uuid::Uuid;

use super::noticed::Noticed;

/// The demo home, which keeps no sound.
pub const HOME: &str = include_str!("../../audio-fixtures/demo-home.toml");

pub fn start() -> Time {
    Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap()
}

/// Sound that is like no other: the same for the same seed.
pub fn noise(seed: u64, seconds: f64) -> Sound {
    let mut rng = fastrand::Rng::with_seed(seed);
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "some seconds"
    )]
    let length = (seconds * f64::from(RATE)) as usize;
    let samples: Vec<i16> = (0..length).map(|_| rng.i16(..)).collect();
    Sound::new(&samples)
}

/// A folder with a record, its key, and what is kept beside it.
pub struct Place {
    folder: PathBuf,
    /// None where another process sees to it.
    _own: Option<TempDir>,
}

impl Place {
    pub fn new() -> Self {
        let own = tempfile::tempdir().unwrap();
        Self {
            folder: own.path().to_owned(),
            _own: Some(own),
        }
    }

    /// One that is there.
    pub fn at(folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
            _own: None,
        }
    }

    pub fn folder(&self) -> &Path {
        &self.folder
    }

    pub fn record(&self) -> PathBuf {
        self.folder().join("record.db")
    }

    pub fn key_file(&self) -> PathBuf {
        self.folder().join("record.key")
    }

    pub fn key(&self) -> Key {
        Key::File(self.key_file())
    }

    pub fn store(&self) -> Store {
        Store::open_with(&self.record(), &self.key()).unwrap()
    }

    /// A record that keeps sound for so many days.
    pub fn keeping(&self, days: u16) -> Store {
        let mut store = self.store();
        let kept = self.keep(&mut store, Some(days), start()).unwrap();
        assert_eq!(kept, Keeping::For(days));
        store
    }

    pub fn keep(
        &self,
        store: &mut Store,
        days: Option<u16>,
        now: Time,
    ) -> Result<Keeping, SoundError> {
        let settings = days.map(|days| KeptSound {
            days,
            megabytes: 100,
        });
        store.keep_sound(settings, &self.key(), now)
    }
}

fn round<'a>(
    store: &mut Store,
    at: Time,
    lines: impl Iterator<Item = (&'a str, Option<Sound>)>,
) -> Vec<String> {
    let home = Home::from_toml(HOME).unwrap();
    let aide = home.aides[0].clone();
    let dialogue = Dialogue::new(home, aide, &Grammar::standard()).unwrap();
    let mut notes = Noticed::default();
    let mut now = at;
    let (mut round, _) = Round::open(&dialogue, store, now, &mut notes).unwrap();
    for (words, sound) in lines {
        now += TimeDelta::seconds(3);
        let event = match words {
            "" => Event::Silence,
            words => Event::Heard(Heard {
                sound,
                ..Heard::from_text(words)
            }),
        };
        round.take(&event, now, &mut notes);
    }
    notes.0
}

/// A round with Rosa Delgado in which this is said, each with its sound; no
/// words are a silence. Returns what was noted on the screen.
pub fn talk(store: &mut Store, at: Time, said: &[(&str, &Sound)]) -> Vec<String> {
    let who = noise(99, 0.5);
    let who = [("room nine", &who), ("yes", &who)];
    let lines = who.into_iter().chain(said.iter().copied());
    let lines = lines.map(|(words, sound)| (words, Some(sound.clone())));
    round(store, at, lines)
}

/// A pulse that is read back and confirmed at the start.
pub fn pulse_kept(store: &mut Store, sound: &Sound, yes: &Sound) -> Vec<String> {
    let said = [("pulse seventy two regular", sound), ("yes", yes)];
    talk(store, start(), &said)
}

/// A round as [`talk`] holds it, without any sound: as from a keyboard.
pub fn talk_on(store: &mut Store, at: Time, said: &[&str]) {
    let lines = ["room nine", "yes"].into_iter().chain(said.iter().copied());
    round(store, at, lines.map(|words| (words, None)));
}

/// A nurse retracts a reading.
pub fn retract(store: &mut Store, reading: Uuid, at: Time) {
    let facts = store.facts().unwrap();
    let record = facts.into_iter().find_map(|it| match it.body {
        Body::Read(record) if it.id == reading => Some(record),
        _ => None,
    });
    let fact: Fact<KeptReading> = Fact {
        id: Uuid::new_v4(),
        version: VERSION,
        at,
        by: Staff {
            name: "Ines Marlow".to_owned(),
            title: "registered nurse".to_owned(),
        },
        round: NO_ROUND,
        body: Body::Retracted {
            reading,
            resident: record.unwrap().resident,
            reason: "a wrong cuff".to_owned(),
            over: Vec::new(),
        },
    };
    store.append(&[&fact]).unwrap();
}

/// The readings in the record, in order.
pub fn readings(store: &Store) -> Vec<Uuid> {
    let facts = store.facts().unwrap().into_iter();
    let readings = facts.filter(|it| matches!(it.body, Body::Read(_)));
    readings.map(|it| it.id).collect()
}

/// The one there is.
pub fn only_reading(store: &Store) -> Uuid {
    let [id] = readings(store)[..] else {
        panic!("not one reading");
    };
    id
}
