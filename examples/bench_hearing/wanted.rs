//! What the command line says.

use std::path::PathBuf;

use super::Anything;
use super::room::Way;
use super::texts::Split;
use super::voices::{Cast, Half};

/// Readings by the hundred, unless it says otherwise.
pub struct Wanted {
    pub half: Half,
    /// Readings in the quiet, and in each of the other ways.
    pub clean: usize,
    pub noisy: usize,
    pub people: Option<PathBuf>,
    /// Readings of people's digits, in each of the two ways.
    pub joined: usize,
    /// Readings that every engine is given, in each of three rooms.
    pub same: usize,
    /// Only ways whose names begin with one of these, by commas.
    pub ways: Option<String>,
    pub parts: String,
    /// Another model's folder, to compare settings.
    pub model: PathBuf,
}

impl Wanted {
    /// Whether readings are wanted in this way.
    pub fn has(&self, way: Way) -> bool {
        let begins = |it: &str| way.name().starts_with(it);
        self.ways
            .as_deref()
            .is_none_or(|it| it.split(',').any(begins))
    }

    pub fn from_arguments() -> Anything<Self> {
        let mut wanted = Self {
            half: Half::mixed(Split::Tune),
            clean: 300,
            noisy: 100,
            people: None,
            joined: 300,
            same: 60,
            ways: None,
            parts: "readings,answers,talk,people".to_owned(),
            model: "assets/model-en-us".into(),
        };
        let mut arguments = std::env::args().skip(1);
        while let Some(name) = arguments.next() {
            let value = arguments
                .next()
                .ok_or_else(|| format!("{name} needs a value"))?;
            match name.as_str() {
                "--split" if value == "test" => wanted.half.split = Split::Test,
                "--split" if value == "tune" => wanted.half.split = Split::Tune,
                "--cast" if value == "mixed" => wanted.half.cast = Cast::Mixed,
                "--cast" if value == "neural" => wanted.half.cast = Cast::Neural,
                "--clean" => wanted.clean = value.parse()?,
                "--noisy" => wanted.noisy = value.parse()?,
                "--people" => wanted.people = Some(value.into()),
                "--joined" => wanted.joined = value.parse()?,
                "--same" => wanted.same = value.parse()?,
                "--ways" => wanted.ways = Some(value),
                "--parts" => wanted.parts = value,
                "--model" => wanted.model = value.into(),
                _ => {
                    return Err(
                        format!("{name} {value} is not understood; see docs/hearing.md").into(),
                    );
                }
            }
        }
        Ok(wanted)
    }
}
