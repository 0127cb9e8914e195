//! Kept sound, as the commands speak of it.

use std::fmt;
use std::path::Path;

use sayback::facts::Time;
use sayback::residents::Home;
use sayback::store::{self, Keeping, SoundReport, Store};

use super::commands::Message;
use super::vault::used;

fn now() -> Time {
    chrono::Local::now().fixed_offset()
}

/// Keeps the sound of confirmed readings from now on, or deletes what there is of
/// it, as the home has chosen, and says so. What goes wrong with that keeps
/// nobody from recording.
pub fn start(store: &mut Store, home: &Home) -> Result<(), Message> {
    match store.keep_sound(home.kept_sound, used()?, now()) {
        Ok(Keeping::Off) => {}
        Ok(Keeping::For(days)) => anstream::println!(
            "The sound of confirmed readings is kept for {days} days, as the home's file says."
        ),
        Ok(Keeping::Ended { readings }) => {
            let readings = readings.map(|it| format!(", that of {it} readings"));
            anstream::println!(
                "The home keeps no sound any more: all that was kept is deleted{}.",
                readings.unwrap_or_default()
            );
        }
        Err(error) => anstream::eprintln!("sayback: WARNING: no sound is kept: {error}."),
    }
    Ok(())
}

/// The kept sound beside a record.
pub enum Found {
    None,
    There(SoundReport),
    Wrong(String),
}

/// Looks at the kept sound beside a record.
pub fn look(record: &Path) -> Result<Found, Message> {
    Ok(match store::sound_report(record, used()?, now()) {
        Ok(None) => Found::None,
        Ok(Some(report)) => Found::There(report),
        Err(error) => Found::Wrong(error.to_string()),
    })
}

impl Found {
    /// Whether nothing is wrong.
    pub const fn is_right(&self) -> bool {
        !matches!(self, Self::Wrong(_))
    }

    /// For whoever reads JSON.
    pub fn as_json(&self) -> serde_json::Value {
        match self {
            Self::None => serde_json::Value::Null,
            Self::There(it) => serde_json::json!({
                "readings": it.readings, "bytes": it.bytes, "overdue": it.overdue,
            }),
            Self::Wrong(problem) => serde_json::json!({ "problem": problem }),
        }
    }

    /// In words, without the end of the line.
    pub fn in_words(&self) -> String {
        match self {
            Self::None => "none kept".to_owned(),
            Self::Wrong(problem) => problem.clone(),
            Self::There(it) => {
                let megabytes = (it.bytes + 999_999) / 1_000_000;
                let overdue = match it.overdue {
                    0 => String::new(),
                    it => format!(
                        "; {it} of them are over and go when `listen` or `serve` is next started"
                    ),
                };
                format!(
                    "of {} readings, {megabytes} MB, encrypted{overdue}",
                    it.readings
                )
            }
        }
    }
}

impl fmt::Display for Found {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::None => Ok(()),
            Self::There(_) => writeln!(f, "Kept sound: {}.", self.in_words()),
            Self::Wrong(problem) => writeln!(f, "WRONG: {problem}"),
        }
    }
}

/// Says after a backup that sound is not in it, where there is some.
pub fn not_copied(record: &Path) {
    if store::sound_beside(record).exists() {
        anstream::println!(
            "Kept sound is not in the copy: it has to be gone on time, and in a copy it would not be."
        );
    }
}

/// What `doctor` says: what the home has chosen, and what there is.
pub fn doctor(record: &Path, home: Option<&Home>) -> Result<(bool, String), Message> {
    let found = look(record)?;
    let there = !matches!(found, Found::None);
    let words = found.in_words();
    let chosen = home.map(|it| it.kept_sound);
    Ok(match chosen {
        Some(None) if there => (
            false,
            format!(
                "the home keeps none, and there is some: {words}; `listen` or `serve` deletes it"
            ),
        ),
        Some(Some(kept)) => (
            found.is_right(),
            format!("the home keeps it for {} days: {words}", kept.days),
        ),
        _ => (found.is_right(), words),
    })
}
