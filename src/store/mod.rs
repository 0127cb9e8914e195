//! The record on disk: one SQLite file to which facts are only ever appended.
//!
//! An append returns when the facts are on the disk: write-ahead logging with
//! `synchronous = FULL` syncs the log at every commit. The file itself refuses
//! updates and deletions, whoever asks.

mod backup;
mod chain;
mod check;
mod connect;
mod damage;
mod error;
mod exchange;
mod key;
mod own_file;
mod read;
mod report;
mod schema;
mod sound;
#[cfg(test)]
mod tests;
mod wal;

use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::time::Instant;

use rusqlite::{
    Connection, ErrorCode, OpenFlags, OptionalExtension as _, Transaction, TransactionBehavior,
    params,
};
use uuid::Uuid;

use self::connect::BUSY;
use self::error::plain;
use self::schema::{APPLICATION, CHAINED, SCHEMA};
use self::sound::Sounding;
use crate::facts::{Body, ChainHead, Fact, KeptReading};
use crate::metrics;

pub use self::backup::{Copied, encrypt, is_free, is_plain, opens, reencrypt, restore, verify};
pub use self::chain::hex;
pub use self::error::StoreError;
pub use self::exchange::{RawFact, RawStored, Waiting};
pub use self::key::{Key, KeyError, SHORTEST_PASSPHRASE, add_key, forget_older};
pub use self::read::{Readable, Stored, Unread};
pub use self::report::{Finding, Report, What};
pub use self::sound::{
    Keeping, SoundError, SoundPart, SoundReport, Stands, WhyGone, sound_beside, sound_report,
};
pub use self::wal::LogFault;

pub(crate) use self::chain::{Columns, Head};
pub(crate) use self::check::{Walk, about};
pub(crate) use self::connect::{connect, in_memory, private_file};
pub(crate) use self::exchange::link_state;
pub(crate) use self::key::{Put, open_to_others, put_private};
pub(crate) use self::own_file::{Found, OwnFile};
pub(crate) use self::read::{parsed, read_all};

/// An open record.
pub struct Store {
    connection: Connection,
    path: PathBuf,
    encrypted: bool,
    upgraded: Option<i64>,
    log_fault: Option<LogFault>,
    sounding: Sounding,
}

impl Store {
    /// As [`open_with`](Self::open_with), without a key: a new record is not
    /// encrypted.
    ///
    /// # Errors
    /// [`StoreError`] says what is wrong with the file.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        Self::open_with(path, &Key::None)
    }

    /// Opens a record, or makes one where there is none, encrypted with the key
    /// unless there is none. The file is readable by its owner only. A record of
    /// an older form becomes one of this form.
    ///
    /// # Errors
    /// [`StoreError`] says what is wrong with the file.
    pub fn open_with(path: &Path, key: &Key) -> Result<Self, StoreError> {
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
        let mut store = Self::connected(path, OpenFlags::default(), key)?;
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
        let connection = in_memory().map_err(|error| StoreError::Open {
            path: path.clone(),
            problem: error.to_string(),
        })?;
        let mut store = Self {
            connection,
            path,
            encrypted: false,
            upgraded: None,
            log_fault: None,
            sounding: Sounding::default(),
        };
        store.prepare()?;
        Ok(store)
    }

    /// As [`open_to_read_with`](Self::open_to_read_with), without a key.
    ///
    /// # Errors
    /// [`StoreError`] says what is wrong with the file.
    pub fn open_to_read(path: &Path) -> Result<Self, StoreError> {
        Self::open_to_read_with(path, &Key::None)
    }

    /// Opens a record that must exist, to read it. One of an older form becomes
    /// one of this form if it may be written, and is read as it is if not.
    ///
    /// # Errors
    /// [`StoreError`] says what is wrong with the file.
    pub fn open_to_read_with(path: &Path, key: &Key) -> Result<Self, StoreError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let missing = |error: std::io::Error| StoreError::Open {
            path: path.to_owned(),
            problem: error.to_string(),
        };
        if std::fs::metadata(path).map_err(missing)?.len() == 0 {
            let path = path.to_owned();
            return Err(StoreError::Foreign { path });
        }
        let mut store = Self::connected(path, flags, key)?;
        match store.check_form()? {
            SCHEMA => {}
            _ => match store.upgrade() {
                Err(error) if error.sqlite_error_code() == Some(ErrorCode::ReadOnly) => {}
                done => done.map_err(|error| store.not_opened(&error))?,
            },
        }
        Ok(store)
    }

    fn connected(path: &Path, flags: OpenFlags, key: &Key) -> Result<Self, StoreError> {
        // Before the database is opened, which mends its log without a word.
        let log_fault = wal::fault(path);
        let connected = connect(path, flags, key)?;
        Ok(Self {
            connection: connected.connection,
            path: path.to_owned(),
            encrypted: connected.secret.is_some(),
            upgraded: None,
            log_fault,
            sounding: Sounding::default(),
        })
    }

    fn prepare(&mut self) -> Result<(), StoreError> {
        if self.is_empty()? {
            let failed = |error: rusqlite::Error| self.not_opened(&error);
            // Another process may be making the tables: only one of them does.
            let making = self.immediate().map_err(failed)?;
            if self.is_empty()? {
                schema::make(&making).map_err(failed)?;
            }
            making.commit().map_err(failed)?;
        }
        if self.check_form()? != SCHEMA {
            self.upgrade().map_err(|error| self.not_opened(&error))?;
        }
        let failed = |error: rusqlite::Error| self.not_opened(&error);
        self.write_ahead().map_err(failed)?;
        let durable = "PRAGMA synchronous = FULL;";
        self.connection.execute_batch(durable).map_err(failed)
    }

    fn immediate(&self) -> rusqlite::Result<Transaction<'_>> {
        Transaction::new_unchecked(&self.connection, TransactionBehavior::Immediate)
    }

    /// All in one transaction: a stop in the middle leaves the older form.
    fn upgrade(&mut self) -> rusqlite::Result<()> {
        let upgrade = self.immediate()?;
        // Another process may have done it meanwhile.
        let form: i32 = upgrade.pragma_query_value(None, "user_version", |it| it.get(0))?;
        let mut facts = None;
        if form < CHAINED {
            let count = "SELECT count(*) FROM facts";
            facts = Some(upgrade.query_row(count, [], |it| it.get(0))?);
        }
        if form < SCHEMA {
            schema::raise(&upgrade, form)?;
        }
        upgrade.commit()?;
        self.upgraded = facts;
        Ok(())
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

    /// The form of the record's tables: this one's or an older one.
    fn check_form(&self) -> Result<i32, StoreError> {
        let path = self.path.clone();
        if self.pragma("application_id")? != APPLICATION {
            return Err(StoreError::Foreign { path });
        }
        match self.pragma("user_version")? {
            found @ 1..=SCHEMA => Ok(found),
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
        StoreError::open(&self.path, error)
    }

    /// Where the record is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether the file is encrypted.
    #[must_use]
    pub const fn encrypted(&self) -> bool {
        self.encrypted
    }

    /// How many facts got their place in the chain when this was opened, if it
    /// was of a form that had none.
    #[must_use]
    pub const fn upgraded(&self) -> Option<i64> {
        self.upgraded
    }

    /// What the last stop damaged, seen when this was opened.
    #[must_use]
    pub const fn log_fault(&self) -> Option<LogFault> {
        self.log_fault
    }

    /// Where the record stands. None in one without a chain that may not be
    /// written.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn head(&self) -> Result<Option<ChainHead>, StoreError> {
        if self.pragma("user_version")? < CHAINED {
            return Ok(None);
        }
        let head = Head::read(&self.connection).map_err(|it| StoreError::read(&it))?;
        Ok(head.map(|it| it.public()))
    }

    /// Appends facts, all or none, and returns when they are on the disk.
    ///
    /// # Errors
    /// [`StoreError::Write`]: none of them is stored.
    pub fn append(&mut self, facts: &[&Fact<KeptReading>]) -> Result<(), StoreError> {
        self.timed(None, facts)?;
        self.sounding.follow(facts);
        Ok(())
    }

    /// The same, unless something was appended after the fact at `seq`: nothing
    /// is appended then, and the answer is false.
    ///
    /// # Errors
    /// [`StoreError::Write`]: none of them is stored.
    pub fn append_at(
        &mut self,
        seq: i64,
        facts: &[&Fact<KeptReading>],
    ) -> Result<bool, StoreError> {
        let put = self.timed(Some(seq), facts)?;
        if put {
            self.sounding.follow(facts);
        }
        Ok(put)
    }

    fn timed(&self, at: Option<i64>, facts: &[&Fact<KeptReading>]) -> Result<bool, StoreError> {
        let started = Instant::now();
        let put = self.put(at, facts);
        if !matches!(put, Ok(false)) {
            metrics::appended(facts, started.elapsed(), put.is_ok());
        }
        put
    }

    fn put(&self, at: Option<i64>, facts: &[&Fact<KeptReading>]) -> Result<bool, StoreError> {
        let failed = |error: rusqlite::Error| StoreError::write(&error);
        let transaction = self.immediate().map_err(failed)?;
        if let Some(seq) = at {
            let later = "SELECT EXISTS (SELECT 1 FROM facts WHERE seq > ?)";
            let later = transaction.prepare_cached(later);
            let later = later.and_then(|mut it| it.query_row([seq], |row| row.get(0)));
            if later.map_err(failed)? {
                return Ok(false);
            }
        }
        let mut head = writable_head(&transaction)?;
        for fact in facts {
            insert(&transaction, &mut head, fact)?;
        }
        head.write(&transaction).map_err(failed)?;
        transaction.commit().map_err(failed)?;
        Ok(true)
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
        let rows = select.query_map([seq, most], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        });
        let texts = rows.and_then(Iterator::collect).map_err(failed)?;
        Ok(read_all(texts))
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

/// A fact as it is stored: keys in order, nothing between, one text for one fact. A
/// signature holds the head of what is before it.
pub(crate) fn text(
    fact: &Fact<KeptReading>,
    head: Option<&ChainHead>,
) -> Result<serde_json::Value, StoreError> {
    let unwritable = |error: serde_json::Error| StoreError::Write(error.to_string());
    let mut json = serde_json::to_value(fact).map_err(unwritable)?;
    if matches!(fact.body, Body::Signed { .. }) {
        json["head"] = serde_json::to_value(head).map_err(unwritable)?;
    }
    Ok(json)
}

fn writable_head(transaction: &Transaction<'_>) -> Result<Head, StoreError> {
    let head = Head::read(transaction).map_err(|it| StoreError::write(&it))?;
    head.ok_or_else(|| {
        StoreError::Write("the record has lost its head; see `sayback check`".to_owned())
    })
}

fn insert(
    transaction: &Transaction<'_>,
    head: &mut Head,
    fact: &Fact<KeptReading>,
) -> Result<(), StoreError> {
    let json = text(fact, Some(&head.public()))?;
    let kind = json.get("kind").and_then(serde_json::Value::as_str);
    let row = Row {
        id: fact.id.to_string(),
        round: fact.round.to_string(),
        at: fact.at.to_rfc3339(),
        kind: kind.unwrap_or_default().to_owned(),
        fact: json.to_string(),
    };
    row.put(transaction, head)
        .map_err(|it| StoreError::write(&it))
}

/// A fact as it is stored.
struct Row {
    id: String,
    round: String,
    at: String,
    kind: String,
    fact: String,
}

impl Row {
    /// Puts it after the last one, and the head there.
    fn put(&self, transaction: &Transaction<'_>, head: &mut Head) -> rusqlite::Result<()> {
        let next = "SELECT coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'facts'), 0) + 1";
        let mut next = transaction.prepare_cached(next)?;
        head.follow(&Columns {
            seq: next.query_row([], |row| row.get(0))?,
            id: self.id.as_bytes(),
            round: self.round.as_bytes(),
            at: self.at.as_bytes(),
            kind: self.kind.as_bytes(),
            fact: self.fact.as_bytes(),
        });
        let Self {
            id,
            round,
            at,
            kind,
            fact,
        } = self;
        transaction
            .prepare_cached(
                "INSERT INTO facts (seq, id, round, at, kind, fact, chain) VALUES (?,?,?,?,?,?,?)",
            )?
            .execute(params![head.seq, id, round, at, kind, fact, head.hash])
            .map(drop)
    }
}
