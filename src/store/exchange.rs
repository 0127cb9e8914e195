//! What goes from this record to the home's, and what comes from there.
//!
//! A fact travels as its exact text, so that it is the same fact everywhere. Its
//! place and its link are each record's own.

use std::path::{Path, PathBuf};

use rusqlite::{Connection, OptionalExtension as _};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::chain::Hash;
use super::error::StoreError;
use super::read::Envelope;
use super::{Row, Store, parsed, writable_head};

/// A fact as its exact text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RawFact {
    /// Its identifier, as it stands in the text too.
    pub id: Uuid,
    /// The text: one JSON object.
    pub text: String,
}

/// A fact of this record as its exact text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RawStored {
    /// Its place here.
    pub seq: i64,
    /// The text: one JSON object.
    pub text: String,
    /// Its link in the chain here.
    pub hash: Hash,
}

impl Store {
    /// Appends facts that were fetched from the home, all or none, and returns
    /// how many of them were new. They are not among [`Store::unsent`].
    ///
    /// # Errors
    /// [`StoreError::Write`]: none of them is stored. [`StoreError::Refused`], and
    /// none either: a text that is no fact, or is another than the one stored with
    /// its identifier.
    pub fn append_fetched(&mut self, facts: &[RawFact]) -> Result<usize, StoreError> {
        let failed = |error: rusqlite::Error| StoreError::write(&error);
        let transaction = self.immediate().map_err(failed)?;
        let mut head = writable_head(&transaction)?;
        let mut new = 0;
        for fact in facts {
            let id = fact.id.to_string();
            let there: Option<String> = transaction
                .prepare_cached("SELECT fact FROM facts WHERE id = ?")
                .and_then(|mut it| it.query_row([&id], |row| row.get(0)).optional())
                .map_err(failed)?;
            match there {
                Some(text) if text == fact.text => continue,
                Some(_) => {
                    let problem = "it is another in this record; see `sayback check`";
                    return Err(refused(fact.id, problem));
                }
                None => {}
            }
            row(fact)?.put(&transaction, &mut head).map_err(failed)?;
            transaction
                .prepare_cached("INSERT INTO came (seq) VALUES (?)")
                .and_then(|mut it| it.execute([head.seq]))
                .map_err(failed)?;
            new += 1;
        }
        head.write(&transaction).map_err(failed)?;
        transaction.commit().map_err(failed)?;
        Ok(new)
    }

    /// At most `most` facts of this record after the one at `seq`, in its
    /// order, without those that came from the home. Rows that Sayback did not
    /// append have no link and are left out: [`Store::check`] names them.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn unsent(&self, seq: i64, most: usize) -> Result<Vec<RawStored>, StoreError> {
        let failed = |error: rusqlite::Error| StoreError::read(&error);
        let mut select = self
            .connection
            .prepare_cached(
                "SELECT seq, fact, chain FROM facts
                 WHERE seq > ? AND length(chain) = 32
                     AND NOT EXISTS (SELECT 1 FROM came WHERE came.seq = facts.seq)
                 ORDER BY seq LIMIT ?",
            )
            .map_err(failed)?;
        let most = i64::try_from(most).unwrap_or(i64::MAX);
        let rows = select.query_map([seq, most], |row| {
            Ok(RawStored {
                seq: row.get(0)?,
                text: row.get(1)?,
                hash: row.get(2)?,
            })
        });
        rows.and_then(Iterator::collect).map_err(failed)
    }
}

/// A fact that did not come from the home, as far as it is compared with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Own {
    /// Its place here.
    pub seq: i64,
    /// Its identifier.
    pub id: Uuid,
    /// Whether it is a reading.
    pub reading: bool,
}

impl Store {
    /// At most `most` facts before the one at `seq` that did not come from the home, the
    /// newest first. Those that [`Store::unsent`] leaves out are not among them.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn own_before(&self, seq: i64, most: usize) -> Result<Vec<Own>, StoreError> {
        const OWN: &str = "SELECT seq, id, kind = 'read' FROM facts
             WHERE seq < ? AND length(chain) = 32
                 AND NOT EXISTS (SELECT 1 FROM came WHERE came.seq = facts.seq)
             ORDER BY seq DESC LIMIT ?";
        let failed = |error: rusqlite::Error| StoreError::read(&error);
        let mut select = self.connection.prepare_cached(OWN).map_err(failed)?;
        let most = i64::try_from(most).unwrap_or(i64::MAX);
        let rows = select.query_map([seq, most], |row| {
            let id: String = row.get(1)?;
            // One that is none is none of the home's either, and the check names it.
            let id = id.parse().unwrap_or_default();
            Ok(Own {
                seq: row.get(0)?,
                id,
                reading: row.get(2)?,
            })
        });
        rows.and_then(Iterator::collect).map_err(failed)
    }

    /// Whether a fact with this identifier is here.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn has(&self, id: Uuid) -> Result<bool, StoreError> {
        const HAS: &str = "SELECT EXISTS (SELECT 1 FROM facts WHERE id = ?)";
        let has = self.connection.prepare_cached(HAS);
        let has = has.and_then(|mut it| it.query_row([id.to_string()], |row| row.get(0)));
        has.map_err(|error| StoreError::read(&error))
    }

    /// The link in the chain of the fact at a place, if there is one.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn link_at(&self, seq: i64) -> Result<Option<String>, StoreError> {
        const LINK: &str = "SELECT lower(hex(chain)) FROM facts WHERE seq = ?";
        let link = self
            .connection
            .query_row(LINK, [seq], |row| row.get(0))
            .optional();
        link.map_err(|error| StoreError::read(&error))
    }

    /// The last fact that came from the home.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn last_came(&self) -> Result<Option<Uuid>, StoreError> {
        const LAST: &str = "SELECT id FROM facts WHERE seq = (SELECT max(seq) FROM came)";
        let id: Option<String> = self
            .connection
            .query_row(LAST, [], |row| row.get(0))
            .optional()
            .map_err(|error| StoreError::read(&error))?;
        Ok(id.and_then(|it| it.parse().ok()))
    }

    /// Whether this is the record of a recorder that is linked to a home: how it
    /// stands with the home is beside it, or something came from there.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn linked(&self) -> Result<bool, StoreError> {
        let beside = link_state(&self.path).try_exists();
        Ok(beside.unwrap_or(true) || self.last_came()?.is_some())
    }

    /// Whether the fact at this place came from the home.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn came(&self, seq: i64) -> Result<bool, StoreError> {
        came(&self.connection, seq).map_err(|error| StoreError::read(&error))
    }

    /// How many facts after the one at `seq` did not come from the home, and how
    /// many of them are readings.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn waiting(&self, seq: i64) -> Result<Waiting, StoreError> {
        const WAITING: &str = "SELECT count(*), count(*) FILTER (WHERE kind = 'read') FROM facts
             WHERE seq > ? AND NOT EXISTS (SELECT 1 FROM came WHERE came.seq = facts.seq)";
        let read = |row: &rusqlite::Row<'_>| {
            Ok(Waiting {
                facts: row.get(0)?,
                readings: row.get(1)?,
            })
        };
        let waiting = self.connection.query_row(WAITING, [seq], read);
        waiting.map_err(|error| StoreError::read(&error))
    }
}

/// What is not at the home yet.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Waiting {
    /// Facts of every kind.
    pub facts: i64,
    /// Readings among them.
    pub readings: i64,
}

impl Waiting {
    /// One more.
    pub fn add(&mut self, reading: bool) {
        self.facts += 1;
        self.readings += i64::from(reading);
    }
}

/// Where it is written how a record stands with its home.
pub(crate) fn link_state(record: &Path) -> PathBuf {
    record.with_extension("link.json")
}

/// Whether the fact at this place came from the home.
pub(super) fn came(connection: &Connection, seq: i64) -> rusqlite::Result<bool> {
    connection
        .prepare_cached("SELECT EXISTS (SELECT 1 FROM came WHERE seq = ?)")?
        .query_row([seq], |row| row.get(0))
}

fn refused(id: Uuid, problem: &str) -> StoreError {
    let problem = problem.to_owned();
    StoreError::Refused { id, problem }
}

/// The columns of a fact that was fetched, as they would be of one made here.
fn row(fact: &RawFact) -> Result<Row, StoreError> {
    let id = fact.id.to_string();
    let about: Envelope = serde_json::from_str(&fact.text).map_err(|_| {
        let problem = "it does not say what it is, when it was and in which round";
        refused(fact.id, problem)
    })?;
    if about.id != fact.id {
        return Err(refused(fact.id, "its text has another identifier"));
    }
    if let Err(error) = parsed(id.clone(), &fact.text) {
        tracing::warn!("{error}; it is kept for a newer version");
    }
    Ok(Row {
        id,
        round: about.round.to_string(),
        at: about.at.to_rfc3339(),
        kind: about.kind,
        fact: fact.text.clone(),
    })
}
