//! Who may sign on at the bedside: a PIN for each of the staff, hashed, in a
//! file of the recorder's own. It is typed and never spoken, since the whole
//! room would hear it.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use rusqlite::{Connection, OptionalExtension as _, params};
use thiserror::Error;

use crate::facts::Time;
use crate::residents::{Home, Staff};
use crate::review::accounts::{TRIES, Tries, hash, minutes, normal, verify};
use crate::store::{Found, Key, OwnFile, in_memory};

const FILE: OwnFile = OwnFile {
    application: 0x5361_7950,
    form: 1,
    tables: &[TABLES, TRIES],
};
const TABLES: &str = "CREATE TABLE pins (name TEXT PRIMARY KEY, pin TEXT NOT NULL) STRICT;";

/// The fewest digits of a PIN. With the growing wait after wrong tries, six are
/// not found by trying. Common practice, no source.
pub const SHORTEST_PIN: usize = 6;
const LONGEST_PIN: usize = 12;

/// Why someone was not signed on.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum Refused {
    /// Nobody of that name or badge, or a wrong PIN: one answer for both.
    #[error("that name or badge number and PIN don't belong together")]
    Wrong,
    /// Someone of the staff for whom no PIN was set.
    #[error("{name} has no PIN yet; set one with `sayback staff set-pin`")]
    NoPin {
        /// Who.
        name: String,
    },
    /// Too many wrong tries.
    #[error("too many wrong tries; try again in {}", minutes(*.seconds))]
    Locked {
        /// Seconds left.
        seconds: i64,
    },
    /// The file cannot be read.
    #[error("the PINs can't be read: {0}")]
    Broken(String),
}

/// Why the PINs can't be used or changed.
#[derive(Debug, Error)]
pub enum PinError {
    /// The file.
    #[error("the PINs {path} can't be used: {problem}")]
    File {
        /// The file.
        path: String,
        /// Why.
        problem: String,
    },
    /// Reading or writing.
    #[error("the PINs can't be used: {0}")]
    Broken(#[from] rusqlite::Error),
    /// A PIN that is too easily guessed.
    #[error("{0}")]
    Weak(&'static str),
    /// The hash failed.
    #[error("no PIN can be set: {0}")]
    Crypto(String),
}

/// The PINs.
pub struct Pins {
    connection: Connection,
}

impl Pins {
    /// Where the PINs of the recorder with this record are.
    #[must_use]
    pub fn beside(record: &Path) -> PathBuf {
        record.with_extension("pins.db")
    }

    /// Opens the PINs, or makes an empty file for them.
    ///
    /// # Errors
    /// [`PinError`] when the file cannot be used.
    pub fn open(path: &Path) -> Result<Self, PinError> {
        Self::open_with(path, &Key::None)
    }

    /// The same, encrypted with the key that also encrypts the record: so few
    /// digits are soon guessed by whoever can read even their hashes.
    ///
    /// # Errors
    /// [`PinError`] when the file cannot be used.
    pub fn open_with(path: &Path, key: &Key) -> Result<Self, PinError> {
        let wrong = |problem: String| PinError::File {
            path: path.display().to_string(),
            problem,
        };
        Self::on(OwnFile::open(path, key).map_err(wrong)?)
            .map_err(|it| wrong(it.to_string()))?
            .ok_or_else(|| wrong("it is no file of PINs, or a newer Sayback wrote it".to_owned()))
    }

    /// PINs that are forgotten when dropped, for tests.
    ///
    /// # Errors
    /// As [`open`](Self::open).
    pub fn in_memory() -> Result<Self, PinError> {
        let pins = Self::on(in_memory()?)?;
        pins.ok_or(PinError::Broken(rusqlite::Error::InvalidQuery))
    }

    fn on(connection: Connection) -> rusqlite::Result<Option<Self>> {
        let own = matches!(FILE.prepare(&connection)?, Found::Own | Found::Nothing);
        Ok(own.then_some(Self { connection }))
    }

    /// Sets someone's PIN, in place of an earlier one, and ends a wait.
    ///
    /// # Errors
    /// [`PinError::Weak`] says what a PIN needs.
    pub fn set(&mut self, home: &Home, staff: &Staff, pin: &str) -> Result<(), PinError> {
        check(pin, home.badges.get(&staff.name).map(String::as_str))?;
        let pin = hash(pin).map_err(|it| PinError::Crypto(it.to_string()))?;
        self.connection.execute(
            "INSERT INTO pins (name, pin) VALUES (?1, ?2)
             ON CONFLICT (name) DO UPDATE SET pin = ?2",
            params![staff.name, pin],
        )?;
        Ok(Tries(&self.connection).forget(&staff.name)?)
    }

    /// The names of those who have a PIN. Once there is one, nobody records
    /// without signing on.
    ///
    /// # Errors
    /// [`PinError::Broken`].
    pub fn names(&self) -> Result<BTreeSet<String>, PinError> {
        let mut select = self.connection.prepare_cached("SELECT name FROM pins")?;
        let names = select.query_map([], |row| row.get(0))?;
        Ok(names.collect::<Result<_, _>>()?)
    }

    /// Checks a PIN: who it is, by full name in any case or by badge number.
    /// Wrong tries are counted for what was typed, and slow further tries down.
    ///
    /// # Errors
    /// [`Refused`] says why, and what to do.
    pub fn check(
        &mut self,
        home: &Home,
        badge_or_name: &str,
        pin: &str,
        now: Time,
    ) -> Result<Staff, Refused> {
        let broken = |error: rusqlite::Error| Refused::Broken(error.to_string());
        let typed = badge_or_name.trim();
        let is = |it: &&Staff| {
            it.name.to_lowercase() == typed.to_lowercase()
                || home
                    .badges
                    .get(&it.name)
                    .is_some_and(|badge| badge == typed)
        };
        let found = home.staff().find(is);
        // One count for a person, however called.
        let counted = found.map_or_else(|| normal(typed), |it| it.name.clone());
        let tries = Tries(&self.connection);
        if let Some(seconds) = tries.left(&counted, now).map_err(broken)? {
            return Err(Refused::Locked { seconds });
        }
        let stored: Option<String> = self
            .connection
            .query_row("SELECT pin FROM pins WHERE name = ?", [&counted], |row| {
                row.get(0)
            })
            .optional()
            .map_err(broken)?;
        if let (Some(staff), None) = (found, &stored) {
            let name = staff.name.clone();
            return Err(Refused::NoPin { name });
        }
        let right = verify(pin, stored.as_deref());
        if let (true, Some(staff)) = (right, found) {
            tries.forget(&counted).map_err(broken)?;
            return Ok(staff.clone());
        }
        let lock = tries.wrong(&counted, now).map_err(broken)?;
        if lock.is_zero() {
            return Err(Refused::Wrong);
        }
        let seconds = i64::try_from(lock.as_secs()).unwrap_or(i64::MAX);
        Err(Refused::Locked { seconds })
    }
}

/// Whether a PIN will do.
fn check(pin: &str, badge: Option<&str>) -> Result<(), PinError> {
    let digits: Vec<i16> = pin.bytes().map(i16::from).collect();
    let right = pin.bytes().all(|it| it.is_ascii_digit())
        && (SHORTEST_PIN..=LONGEST_PIN).contains(&digits.len());
    if !right {
        return Err(PinError::Weak(
            "a PIN needs 6 to 12 digits, and nothing else",
        ));
    }
    let steps: BTreeSet<i16> = digits.windows(2).map(|it| it[1] - it[0]).collect();
    let straight = steps.len() == 1 && steps.iter().all(|it| it.abs() <= 1);
    if straight || badge.is_some_and(|it| pin.contains(it)) {
        return Err(PinError::Weak(
            "that PIN is too easily guessed: no row of digits, and not the badge number",
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn home() -> Home {
        let text = "name = \"H\"\nresidents = []\naides = [\
            { name = \"Dana Whitlock\", title = \"nursing aide\" },\
            { name = \"Rosa Beck\", title = \"nursing aide\", badge = \"1204\" }]";
        Home::from_toml(text).unwrap()
    }

    fn at(seconds: i64) -> Time {
        let start = Time::parse_from_rfc3339("2026-03-02T07:00:00-05:00").unwrap();
        start + chrono::Duration::seconds(seconds)
    }

    #[test]
    fn a_pin_signs_on_by_name_or_badge() {
        let (home, mut pins) = (home(), Pins::in_memory().unwrap());
        let rosa = home.aides[1].clone();
        pins.set(&home, &rosa, "739155").unwrap();
        assert_eq!(
            pins.check(&home, "rosa beck", "739155", at(0)),
            Ok(rosa.clone())
        );
        assert_eq!(
            pins.check(&home, " 1204 ", "739155", at(0)),
            Ok(rosa.clone())
        );
        assert_eq!(
            pins.check(&home, "1204", "739156", at(0)),
            Err(Refused::Wrong)
        );
        assert_eq!(
            pins.check(&home, "nobody", "739155", at(0)),
            Err(Refused::Wrong)
        );
        assert_eq!(pins.check(&home, "", "", at(0)), Err(Refused::Wrong));
        let none = pins.check(&home, "Dana Whitlock", "739155", at(0));
        assert!(matches!(none, Err(Refused::NoPin { .. })), "{none:?}");
        pins.set(&home, &rosa, "201873").unwrap();
        assert_eq!(
            pins.check(&home, "1204", "739155", at(0)),
            Err(Refused::Wrong)
        );
        assert_eq!(pins.check(&home, "1204", "201873", at(0)), Ok(rosa));
    }

    #[test]
    fn wrong_pins_wait_however_the_person_is_called() {
        let (home, mut pins) = (home(), Pins::in_memory().unwrap());
        pins.set(&home, &home.aides[1], "739155").unwrap();
        for who in ["1204", "Rosa Beck", "rosa beck", "1204"] {
            assert_eq!(pins.check(&home, who, "000000", at(0)), Err(Refused::Wrong));
        }
        let locked = |seconds| Err(Refused::Locked { seconds });
        assert_eq!(pins.check(&home, "1204", "000000", at(0)), locked(60));
        // The right one has to wait too.
        assert_eq!(pins.check(&home, "Rosa Beck", "739155", at(20)), locked(40));
        assert!(pins.check(&home, "Rosa Beck", "739155", at(61)).is_ok());
    }

    #[test]
    fn weak_pins_are_refused() {
        for pin in [
            "1234",
            "123456",
            "987654",
            "777777",
            "12a456",
            "120455",
            "1234567890123",
        ] {
            assert!(check(pin, Some("1204")).is_err(), "{pin}");
        }
        for pin in ["739155", "135790", "120455"] {
            assert!(check(pin, None).is_ok(), "{pin}");
        }
    }

    #[test]
    fn the_file_is_private_keeps_no_pin_and_no_other_file_will_do() {
        let folder = tempfile::tempdir().unwrap();
        let path = Pins::beside(&folder.path().join("record.db"));
        let home = home();
        let mut pins = Pins::open(&path).unwrap();
        assert!(pins.names().unwrap().is_empty());
        pins.set(&home, &home.aides[1], "739155").unwrap();
        drop(pins);
        let bytes = std::fs::read(&path).unwrap();
        assert!(!bytes.windows(6).any(|it| it == b"739155"));
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            let mode = std::fs::metadata(&path).unwrap().permissions().mode();
            assert_eq!(mode & 0o077, 0);
        }
        let pins = Pins::open(&path).unwrap();
        assert!(pins.names().unwrap().contains("Rosa Beck"));
        let other = folder.path().join("other.db");
        crate::store::Store::open(&other).unwrap();
        assert!(matches!(Pins::open(&other), Err(PinError::File { .. })));
    }
}
