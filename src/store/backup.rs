//! Copies of a record: made while it is in use, looked through, put back, and
//! encrypted with another key.

use std::fs::File;
use std::path::{Path, PathBuf};

use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags};

use super::Store;
use super::connect::{Look, connect, look, private_file, unlock};
use super::error::{StoreError, plain};
use super::key::{Key, Secret};
use super::report::Report;
use super::wal::beside;
use crate::facts::ChainHead;

/// A copy that was looked through and found right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Copied {
    /// How many facts it holds.
    pub facts: i64,
    /// Where it stands.
    pub head: Option<ChainHead>,
}

/// A file that is removed unless it is put in its place.
struct Part(PathBuf);

impl Part {
    /// An empty file beside `to`, with nothing left of an earlier try.
    fn beside(to: &Path) -> Result<Self, StoreError> {
        let part = Self(beside(to, ".part"));
        part.clear();
        private_file(&part.0).map_err(|error| cannot_write(&part.0, &error))?;
        Ok(part)
    }

    fn clear(&self) {
        for ending in ["", "-wal", "-shm", "-journal"] {
            let _ = std::fs::remove_file(beside(&self.0, ending));
        }
    }

    /// Puts it in its place, whole and on the disk.
    fn put(self, to: &Path) -> Result<(), StoreError> {
        let put = || {
            File::open(&self.0)?.sync_all()?;
            std::fs::rename(&self.0, to)?;
            let folder = to.parent().filter(|it| !it.as_os_str().is_empty());
            File::open(folder.unwrap_or(Path::new(".")))?.sync_all()
        };
        put().map_err(|error| cannot_write(to, &error))
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        self.clear();
    }
}

fn cannot_write(path: &Path, error: &std::io::Error) -> StoreError {
    StoreError::Copy(format!("cannot write {}: {error}", path.display()))
}

fn copying(error: &rusqlite::Error) -> StoreError {
    StoreError::Copy(format!("the copy could not be made: {}", plain(error)))
}

impl Store {
    /// Copies the record as it stands to a new file, encrypted with the same
    /// key, while others read and append. The copy is walked through before it
    /// gets its name.
    ///
    /// # Errors
    /// [`StoreError::Copy`]; there is no copy then.
    pub fn backup(&self, to: &Path, key: &Key) -> Result<Copied, StoreError> {
        free(to)?;
        let part = Part::beside(to)?;
        let secret = self.secret(key)?;
        copy(&self.connection, &part.0, secret.as_ref())?;
        let copied = compare(&Self::open_to_read_with(&part.0, key)?, self)?;
        part.put(to)?;
        Ok(copied)
    }

    /// What this record is encrypted with.
    fn secret(&self, key: &Key) -> Result<Option<Secret>, StoreError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        connect(&self.path, flags, key).map(|it| it.secret)
    }
}

/// Nothing is written over, and no log of an older record may be taken for one
/// of the new one.
fn free(to: &Path) -> Result<(), StoreError> {
    for ending in ["", "-wal", "-journal"] {
        let there = beside(to, ending);
        if there.exists() {
            return Err(StoreError::Copy(format!(
                "{} is there already and is not written over; move it away first",
                there.display()
            )));
        }
    }
    Ok(())
}

/// All pages in one step: readers don't hold up those who append.
fn copy(from: &Connection, to: &Path, secret: Option<&Secret>) -> Result<(), StoreError> {
    let steps = || -> rusqlite::Result<StepResult> {
        let mut to = Connection::open(to)?;
        if let Some(secret) = secret {
            unlock(&to, secret)?;
        }
        let step = Backup::new(from, &mut to)?.step(-1)?;
        // One file, with no log beside it.
        to.execute_batch("PRAGMA journal_mode = DELETE;")?;
        Ok(step)
    };
    match steps().map_err(|it| copying(&it))? {
        StepResult::Done => Ok(()),
        _ => Err(StoreError::Copy(
            "the copy could not be made: another program is using the record; try again".to_owned(),
        )),
    }
}

/// Walks through a copy, and looks whether the record it was made of holds
/// everything in it.
fn compare(copy: &Store, of: &Store) -> Result<Copied, StoreError> {
    let report = sound(copy)?;
    if let Some(head) = &report.head {
        let of = of.check(std::slice::from_ref(head))?;
        let known = of.findings.iter().map(ToString::to_string);
        let known: Vec<String> = known.collect();
        if !known.is_empty() {
            return Err(StoreError::Copy(format!(
                "the copy is whole, but the record it was made of is not:\n  {}",
                known.join("\n  ")
            )));
        }
        if of.facts < report.facts {
            return Err(StoreError::Copy(format!(
                "the copy has {} facts, and the record only {}: facts of the record are lost",
                report.facts, of.facts
            )));
        }
    }
    Ok(Copied {
        facts: report.facts,
        head: report.head,
    })
}

fn sound(copy: &Store) -> Result<Report, StoreError> {
    let report = copy.check(&[])?;
    if report.sound() {
        return Ok(report);
    }
    let findings: Vec<String> = report.findings.iter().map(ToString::to_string).collect();
    Err(StoreError::Copy(format!(
        "{} is not sound:\n  {}",
        copy.path.display(),
        findings.join("\n  ")
    )))
}

/// A restore on trial: opens a copy, walks through it, and compares it with the
/// record it was made of, if that is there.
///
/// # Errors
/// [`StoreError`] says what is wrong with the copy, or how the two differ.
pub fn verify(copy: &Path, of: Option<&Path>, key: &Key) -> Result<Copied, StoreError> {
    let opened = Store::open_to_read_with(copy, key)?;
    match of {
        Some(of) => compare(&opened, &Store::open_to_read_with(of, key)?),
        None => sound(&opened).map(|it| Copied {
            facts: it.facts,
            head: it.head,
        }),
    }
}

/// Puts a copy back as a record. Nothing is written over.
///
/// # Errors
/// [`StoreError`] says what is wrong; there is no new record then.
pub fn restore(copy: &Path, to: &Path, key: &Key) -> Result<Copied, StoreError> {
    Store::open_to_read_with(copy, key)?.backup(to, key)
}

/// Whether a database opens with this key: a record or the accounts.
///
/// # Errors
/// [`StoreError`] says why not.
pub fn opens(path: &Path, key: &Key) -> Result<(), StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    connect(path, flags, key).map(drop)
}

/// Whether a database opens with a key, and no other program uses it.
///
/// # Errors
/// [`StoreError`] says why not.
pub fn is_free(path: &Path, key: &Key) -> Result<(), StoreError> {
    alone(path, key).map(drop)
}

/// Whether a file is a database that is not encrypted.
#[must_use]
pub fn is_plain(path: &Path) -> bool {
    look(path).is_ok_and(|it| it == Look::Plain)
}

/// Encrypts a database that is not: a record or the accounts. Nobody else may
/// have it open.
///
/// # Errors
/// [`StoreError`] says why; the file is then as before.
pub fn encrypt(path: &Path, key: &Key) -> Result<(), StoreError> {
    match look(path).map_err(|error| cannot_write(path, &error))? {
        Look::Plain => {}
        Look::Noise => {
            let path = path.display();
            return Err(StoreError::Copy(format!("{path} is encrypted already")));
        }
        Look::Empty | Look::Text => {
            let path = path.to_owned();
            return Err(StoreError::Foreign { path });
        }
    }
    let secret = key.for_new()?;
    let secret = secret.ok_or_else(|| StoreError::Copy("there is no key".to_owned()))?;
    let record = match Store::open_to_read(path) {
        Ok(record) => Some(record.head()?),
        Err(StoreError::Foreign { .. }) => None,
        Err(other) => return Err(other),
    };
    let plain = alone(path, &Key::None)?;
    let part = Part::beside(path)?;
    let counted = rows(&plain)?;
    export(&plain, &part.0, &secret).map_err(|it| copying(&it))?;
    let encrypted = alone(&part.0, key)?;
    let mut same = rows(&encrypted)? == counted;
    drop(encrypted);
    if let Some(head) = record {
        same &= sound(&Store::open_to_read_with(&part.0, key)?)?.head == head;
    }
    if !same {
        return Err(StoreError::Copy("the encrypted copy differs".to_owned()));
    }
    // Still held, so that nobody appends to what is about to be replaced.
    part.put(path)?;
    drop(plain);
    Ok(())
}

/// Encrypts a database with the newest key instead of the one it has. Nobody
/// else may have it open. A stop in the middle leaves it with one or the other.
///
/// # Errors
/// [`StoreError`] says why; the file is then as before.
pub fn reencrypt(path: &Path, old: &Key, new: &Key) -> Result<(), StoreError> {
    let secret = new.for_new()?;
    let secret = secret.ok_or_else(|| StoreError::Copy("there is no key".to_owned()))?;
    let connection = alone(path, old)?;
    let change = format!("PRAGMA rekey = {};", secret.sql());
    connection.execute_batch(&change).map_err(|it| copying(&it))
}

/// Opens a database that no other program has open, nor can until it is closed.
fn alone(path: &Path, key: &Key) -> Result<Connection, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = connect(path, flags, key)?.connection;
    let hold = "PRAGMA locking_mode = EXCLUSIVE; PRAGMA journal_mode = DELETE;
                BEGIN EXCLUSIVE; COMMIT;";
    connection.execute_batch(hold).map_err(|error| {
        let (path, why) = (path.display(), plain(&error));
        StoreError::Copy(format!("{path} must not be in use for this: {why}"))
    })?;
    Ok(connection)
}

fn export(from: &Connection, to: &Path, secret: &Secret) -> rusqlite::Result<()> {
    let pragma = |name| from.pragma_query_value(None, name, |row| row.get::<_, i32>(0));
    let attach = format!("ATTACH DATABASE ?1 AS encrypted KEY {}", secret.sql());
    from.execute(&attach, [to.display().to_string()])?;
    from.query_row("SELECT sqlcipher_export('encrypted')", [], |_| Ok(()))?;
    for name in ["application_id", "user_version"] {
        from.pragma_update(Some("encrypted"), name, pragma(name)?)?;
    }
    from.execute_batch("DETACH DATABASE encrypted")
}

/// What kind of database it is, and how many rows each of its tables has.
fn rows(connection: &Connection) -> Result<Vec<(String, i64)>, StoreError> {
    let pragma = |name| connection.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let read = || {
        let mut rows = Vec::new();
        for name in ["application_id", "user_version"] {
            rows.push((name.to_owned(), pragma(name)?));
        }
        let tables = "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name";
        let mut tables = connection.prepare(tables)?;
        let names = tables.query_map([], |row| row.get::<_, String>(0))?;
        for name in names {
            let name = name?;
            let count = format!("SELECT count(*) FROM \"{name}\"");
            rows.push((name, connection.query_row(&count, [], |row| row.get(0))?));
        }
        Ok(rows)
    };
    read().map_err(|it| copying(&it))
}
