//! The record on disk: one SQLite file to which facts are only ever appended.
//!
//! An append returns when the facts are on the disk: write-ahead logging with
//! `synchronous = FULL` syncs the log at every commit. The file itself refuses
//! updates and deletions, whoever asks.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rusqlite::{
    Connection, ErrorCode, OpenFlags, OptionalExtension as _, Params, Transaction,
    TransactionBehavior, params,
};
use thiserror::Error;
use uuid::Uuid;

use crate::facts::{Fact, KeptReading};
use crate::residents::ResidentId;

/// Marks the file as a Sayback record (SQLite's `application_id`; "Sayb").
const APPLICATION: i32 = 0x5361_7962;
/// The version of the tables.
const SCHEMA: i32 = 1;
/// How long to wait for another process that is writing.
const BUSY: Duration = Duration::from_secs(5);

const TABLES: &str = "
    CREATE TABLE facts (
        seq   INTEGER PRIMARY KEY AUTOINCREMENT,
        id    TEXT NOT NULL UNIQUE,
        round TEXT NOT NULL,
        at    TEXT NOT NULL,
        kind  TEXT NOT NULL,
        fact  TEXT NOT NULL
    ) STRICT;
    CREATE TRIGGER facts_never_change BEFORE UPDATE ON facts
    BEGIN SELECT RAISE(ABORT, 'facts are never changed; append a correction'); END;
    CREATE TRIGGER facts_never_replaced BEFORE INSERT ON facts
    WHEN EXISTS (SELECT 1 FROM facts WHERE id = NEW.id OR seq = NEW.seq)
    BEGIN SELECT RAISE(ABORT, 'facts are never changed; append a correction'); END;
    CREATE TRIGGER facts_never_go BEFORE DELETE ON facts
    BEGIN SELECT RAISE(ABORT, 'facts are never deleted; append a retraction'); END;
";

/// What went wrong with the record. Nothing already stored is lost or changed
/// by any of these.
#[derive(Debug, Error)]
pub enum StoreError {
    /// The file or its folder cannot be opened or made.
    #[error("cannot open the record {}: {problem}", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// Why.
        problem: String,
    },
    /// An SQLite file of some other program, or no SQLite file at all.
    #[error("{} is not a Sayback record; give another file with --store", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// Written by a newer version.
    #[error(
        "the record {} was written by a newer Sayback (form {found}, this one knows {SCHEMA}); \
         update this one to open it",
        path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its form.
        found: i32,
    },
    /// A fact that cannot be read.
    #[error("fact {id} in the record cannot be read: {problem}; the others are not affected")]
    Damaged {
        /// The fact.
        id: String,
        /// Why.
        problem: String,
    },
    /// Facts could not be written.
    #[error("{0}")]
    Write(String),
    /// Facts could not be read.
    #[error("the record cannot be read: {0}")]
    Read(String),
}

/// An open record.
pub struct Store {
    connection: Connection,
    path: PathBuf,
}

impl Store {
    /// Opens a record, or makes one where there is none. The file is readable
    /// by its owner only.
    ///
    /// # Errors
    /// [`StoreError`] says what is wrong with the file.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        let wrong = |problem: String| StoreError::Open {
            path: path.to_owned(),
            problem,
        };
        if let Some(folder) = path.parent().filter(|it| !it.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder).map_err(|error| wrong(error.to_string()))?;
        }
        match private_file(path) {
            Err(error) if error.kind() != ErrorKind::AlreadyExists => {
                return Err(wrong(error.to_string()));
            }
            _ => {}
        }
        let connection = Connection::open(path).map_err(|error| wrong(error.to_string()))?;
        let store = Self {
            connection,
            path: path.to_owned(),
        };
        store.prepare()?;
        Ok(store)
    }

    /// A record that is nowhere but in memory, and gone with the program: for
    /// practice.
    ///
    /// # Errors
    /// [`StoreError`] when there is no memory for it.
    pub fn in_memory() -> Result<Self, StoreError> {
        let path = PathBuf::from("(practice, kept nowhere)");
        let connection = Connection::open_in_memory().map_err(|error| StoreError::Open {
            path: path.clone(),
            problem: error.to_string(),
        })?;
        let store = Self { connection, path };
        store.prepare()?;
        Ok(store)
    }

    /// Opens a record that must exist, to read it.
    ///
    /// # Errors
    /// [`StoreError`] says what is wrong with the file.
    pub fn open_to_read(path: &Path) -> Result<Self, StoreError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags).map_err(|error| {
            let (path, problem) = (path.to_owned(), error.to_string());
            StoreError::Open { path, problem }
        })?;
        let store = Self {
            connection,
            path: path.to_owned(),
        };
        store.check()?;
        Ok(store)
    }

    fn prepare(&self) -> Result<(), StoreError> {
        let failed = |error: rusqlite::Error| self.not_opened(&error);
        self.connection.busy_timeout(BUSY).map_err(failed)?;
        if self.is_empty()? {
            // Another process may be making the tables: only one of them does.
            let making =
                Transaction::new_unchecked(&self.connection, TransactionBehavior::Immediate);
            let making = making.map_err(failed)?;
            if self.is_empty()? {
                making.execute_batch(TABLES).map_err(failed)?;
                for (name, value) in [("application_id", APPLICATION), ("user_version", SCHEMA)] {
                    making.pragma_update(None, name, value).map_err(failed)?;
                }
            }
            making.commit().map_err(failed)?;
        }
        self.check()?;
        self.write_ahead().map_err(failed)?;
        let durable = "PRAGMA synchronous = FULL;";
        self.connection.execute_batch(durable).map_err(failed)
    }

    /// Changes to write-ahead logging. SQLite does not wait by itself for another
    /// process that is doing the same.
    fn write_ahead(&self) -> rusqlite::Result<()> {
        let started = Instant::now();
        loop {
            let changed = self.connection.execute_batch("PRAGMA journal_mode = WAL;");
            let busy = |it: &rusqlite::Error| {
                it.sqlite_error_code() == Some(ErrorCode::DatabaseBusy) && started.elapsed() < BUSY
            };
            match changed {
                Err(error) if busy(&error) => std::thread::sleep(BUSY / 500),
                done => return done,
            }
        }
    }

    /// Whether nothing was ever put into the file.
    fn is_empty(&self) -> Result<bool, StoreError> {
        let tables = "SELECT count(*) FROM sqlite_schema";
        let tables = self.connection.query_row(tables, [], |row| row.get(0));
        let tables: i32 = tables.map_err(|error| self.not_opened(&error))?;
        Ok(tables == 0 && self.pragma("user_version")? == 0)
    }

    fn check(&self) -> Result<(), StoreError> {
        let path = self.path.clone();
        if self.pragma("application_id")? != APPLICATION {
            return Err(StoreError::Foreign { path });
        }
        match self.pragma("user_version")? {
            SCHEMA => Ok(()),
            found => Err(StoreError::Newer { path, found }),
        }
    }

    fn pragma(&self, name: &str) -> Result<i32, StoreError> {
        let value = self
            .connection
            .pragma_query_value(None, name, |row| row.get(0));
        value.map_err(|error| self.not_opened(&error))
    }

    fn not_opened(&self, error: &rusqlite::Error) -> StoreError {
        let path = self.path.clone();
        match error.sqlite_error_code() {
            Some(ErrorCode::NotADatabase) => StoreError::Foreign { path },
            _ => StoreError::Open {
                path,
                problem: plain(error),
            },
        }
    }

    /// Where the record is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Appends facts, all or none, and returns when they are on the disk.
    ///
    /// # Errors
    /// [`StoreError::Write`]: none of them is stored.
    pub fn append(&mut self, facts: &[&Fact<KeptReading>]) -> Result<(), StoreError> {
        let failed = |error: rusqlite::Error| StoreError::Write(plain(&error));
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(failed)?;
        for fact in facts {
            let json = serde_json::to_value(fact);
            let json = json.map_err(|error| StoreError::Write(error.to_string()))?;
            let kind = json.get("kind").and_then(serde_json::Value::as_str);
            transaction
                .prepare_cached("INSERT INTO facts (id, round, at, kind, fact) VALUES (?,?,?,?,?)")
                .and_then(|mut insert| {
                    insert.execute(params![
                        fact.id.to_string(),
                        fact.round.to_string(),
                        fact.at.to_rfc3339(),
                        kind.unwrap_or_default(),
                        json.to_string(),
                    ])
                })
                .map_err(failed)?;
        }
        transaction.commit().map_err(failed)
    }

    /// All facts, in the order in which they were appended.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] names the fact that cannot be read.
    pub fn facts(&self) -> Result<Vec<Fact>, StoreError> {
        self.select("1", [])
    }

    /// Everything that belongs to a round, in the order of [`Store::facts`].
    ///
    /// # Errors
    /// As [`Store::facts`].
    pub fn facts_of_round(&self, round: Uuid) -> Result<Vec<Fact>, StoreError> {
        self.select("json_extract(fact, '$.round') = ?", [round.to_string()])
    }

    /// Everything about a resident, in the order of [`Store::facts`].
    ///
    /// # Errors
    /// As [`Store::facts`].
    pub fn facts_about(&self, resident: &ResidentId) -> Result<Vec<Fact>, StoreError> {
        self.select("json_extract(fact, '$.resident') = ?", [&resident.0])
    }

    fn select(&self, which: &str, with: impl Params) -> Result<Vec<Fact>, StoreError> {
        let failed = |error: rusqlite::Error| StoreError::Read(plain(&error));
        let mut select = self
            .connection
            .prepare_cached(&format!(
                "SELECT id, fact FROM facts WHERE {which} ORDER BY seq"
            ))
            .map_err(failed)?;
        let rows = select
            .query_map(with, |row| Ok((row.get(0)?, row.get(1)?)))
            .map_err(failed)?;
        let mut facts = Vec::new();
        for row in rows {
            let (id, json): (String, String) = row.map_err(failed)?;
            facts.push(parsed(id, &json)?);
        }
        Ok(facts)
    }

    /// At most `most` facts that were appended after the one at `seq`, for
    /// whoever keeps up with the record without reading it anew.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn facts_after(&self, seq: i64, most: usize) -> Result<Vec<Stored>, StoreError> {
        let failed = |error: rusqlite::Error| StoreError::Read(plain(&error));
        let mut select = self
            .connection
            .prepare_cached("SELECT seq, id, fact FROM facts WHERE seq > ? ORDER BY seq LIMIT ?")
            .map_err(failed)?;
        let most = i64::try_from(most).unwrap_or(i64::MAX);
        let rows = select
            .query_map([seq, most], |row| {
                Ok((row.get(0)?, row.get(1)?, row.get(2)?))
            })
            .map_err(failed)?;
        rows.map(|row| {
            let (seq, id, json): (i64, String, String) = row.map_err(failed)?;
            let fact = parsed(id, &json);
            Ok(Stored { seq, fact })
        })
        .collect()
    }

    /// The fact with this identifier.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] when it is there and cannot be read.
    pub fn fact(&self, id: Uuid) -> Result<Option<Fact>, StoreError> {
        let failed = |error: rusqlite::Error| StoreError::Read(plain(&error));
        let id = id.to_string();
        let json: Option<String> = self
            .connection
            .prepare_cached("SELECT fact FROM facts WHERE id = ?")
            .and_then(|mut select| select.query_row([&id], |row| row.get(0)).optional())
            .map_err(failed)?;
        json.map(|json| parsed(id, &json)).transpose()
    }
}

/// A fact with its place in the record. One that cannot be read does not hide
/// those after it.
#[derive(Debug)]
pub struct Stored {
    /// The place: later facts have greater ones.
    pub seq: i64,
    /// The fact, or why it cannot be read.
    pub fact: Result<Fact, StoreError>,
}

fn parsed(id: String, json: &str) -> Result<Fact, StoreError> {
    serde_json::from_str(json).map_err(|error| StoreError::Damaged {
        id,
        problem: error.to_string(),
    })
}

/// What the database says, in words that help.
fn plain(error: &rusqlite::Error) -> String {
    match error.sqlite_error_code() {
        Some(ErrorCode::DiskFull) => "the disk is full; make room and say it again".to_owned(),
        Some(ErrorCode::ReadOnly) => "the record may not be written".to_owned(),
        Some(ErrorCode::DatabaseBusy) => "another program is using the record".to_owned(),
        Some(ErrorCode::CannotOpen) => "the file or its folder can't be opened".to_owned(),
        _ => error.to_string(),
    }
}

#[cfg(unix)]
pub(crate) fn private_file(path: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::OpenOptionsExt as _;
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true).mode(0o600);
    options.open(path).map(drop)
}

#[cfg(not(unix))]
pub(crate) fn private_file(path: &Path) -> std::io::Result<()> {
    std::fs::File::create_new(path).map(drop)
}
