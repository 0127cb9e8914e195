//! From stored texts to facts.

use rusqlite::Params;
use serde::Deserialize;
use uuid::Uuid;

use super::Store;
use super::error::{StoreError, plain};
use super::schema::{FOUND, RESIDENT};
use crate::facts::{Fact, Time};
use crate::residents::ResidentId;

/// So few texts are not worth a thread.
const FEW: usize = 500;

/// A fact with its place in the record. One that cannot be read does not hide
/// those after it.
#[derive(Debug)]
pub struct Stored {
    /// The place: later facts have greater ones.
    pub seq: i64,
    /// The fact, or why it cannot be read.
    pub fact: Result<Fact, StoreError>,
}

/// What every fact says of itself, whatever its kind: one of a newer version
/// can be stored too.
#[derive(Deserialize)]
pub(super) struct Envelope {
    pub(super) id: Uuid,
    pub(super) at: Time,
    pub(super) round: Uuid,
    pub(super) kind: String,
    #[serde(default)]
    resident: serde_json::Value,
}

/// A fact that was recorded elsewhere and that this version cannot read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// Its identifier.
    pub id: Uuid,
    /// When it was recorded.
    pub at: Time,
    /// The round it belongs to.
    pub round: Uuid,
    /// Whom it is about, where it says that as this version does.
    pub resident: Option<ResidentId>,
    /// Why it cannot be read.
    pub problem: String,
}

impl Unread {
    /// Whether it may be about this resident.
    #[must_use]
    pub fn concerns(&self, resident: &ResidentId) -> bool {
        self.resident.as_ref().is_none_or(|it| it == resident)
    }

    fn of(text: &str, problem: &str) -> Option<Self> {
        let it: Envelope = serde_json::from_str(text).ok()?;
        Some(Self {
            id: it.id,
            at: it.at,
            round: it.round,
            resident: it.resident.as_str().map(|id| ResidentId(id.to_owned())),
            problem: problem.to_owned(),
        })
    }
}

/// Facts, and what is among them that cannot be read: it may correct or retract
/// some of them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Readable {
    /// What can be read, in the order of the record.
    pub facts: Vec<Fact>,
    /// What was recorded elsewhere and only a newer version can read.
    pub unread: Vec<Unread>,
}

impl Readable {
    /// Takes one in. What can't be read and is not from `elsewhere` is damage, and
    /// an error.
    pub(crate) fn take(
        &mut self,
        (id, text): (String, &str),
        elsewhere: impl FnOnce() -> Result<bool, StoreError>,
    ) -> Result<(), StoreError> {
        let error = match parsed(id, text) {
            Ok(fact) => {
                self.facts.push(fact);
                return Ok(());
            }
            Err(error) => error,
        };
        let StoreError::Damaged { problem, .. } = &error else {
            return Err(error);
        };
        match Unread::of(text, problem) {
            Some(unread) if elsewhere()? => self.unread.push(unread),
            _ => return Err(error),
        }
        Ok(())
    }
}

pub(super) const OF_ROUND: &str = "round = ?";
pub(super) const ABOUT: &str = "resident = ?";

pub(super) fn selection(which: &str) -> String {
    format!("SELECT seq, id, fact FROM facts WHERE {which} ORDER BY seq")
}

impl Store {
    /// All facts, in the order in which they were appended.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] names the fact that cannot be read, wherever it was
    /// recorded.
    pub fn facts(&self) -> Result<Vec<Fact>, StoreError> {
        let Readable { facts, unread } = self.readable()?;
        match unread.into_iter().next() {
            Some(Unread { id, problem, .. }) => Err(StoreError::Damaged {
                id: id.to_string(),
                problem,
            }),
            None => Ok(facts),
        }
    }

    /// The same, with what came from the home and cannot be read apart.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] names a fact that was recorded here and cannot be
    /// read.
    pub fn readable(&self) -> Result<Readable, StoreError> {
        self.select("1", [])
    }

    /// Everything that belongs to a round.
    ///
    /// # Errors
    /// As [`Store::readable`].
    pub fn facts_of_round(&self, round: Uuid) -> Result<Readable, StoreError> {
        self.select(OF_ROUND, [round.to_string()])
    }

    /// Everything about a resident.
    ///
    /// # Errors
    /// As [`Store::readable`].
    pub fn facts_about(&self, resident: &ResidentId) -> Result<Readable, StoreError> {
        // One of an older form that may not be written has no such column.
        let unknown = format!("{RESIDENT} = ?");
        let known = self.finds()?;
        self.select(if known { ABOUT } else { &unknown }, [&resident.0])
    }

    /// One of an older form that may not be written has nothing of that.
    fn finds(&self) -> Result<bool, StoreError> {
        Ok(self.pragma("user_version")? >= FOUND)
    }

    fn select(&self, which: &str, with: impl Params) -> Result<Readable, StoreError> {
        let failed = |error: rusqlite::Error| StoreError::Read(plain(&error));
        let mut select = self
            .connection
            .prepare_cached(&selection(which))
            .map_err(failed)?;
        let rows = select
            .query_map(with, |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
            .map_err(failed)?;
        let mut all = Readable::default();
        for row in rows {
            let (seq, id, json): (i64, String, String) = row.map_err(failed)?;
            all.take((id, &json), || Ok(self.finds()? && self.came(seq)?))?;
        }
        Ok(all)
    }
}

/// The error says where, and not what stands there: it goes to the log too.
pub(crate) fn parsed(id: String, json: &str) -> Result<Fact, StoreError> {
    serde_json::from_str(json).map_err(|error| {
        let what = match error.classify() {
            serde_json::error::Category::Data => "it is of no known form",
            _ => "it is no whole JSON",
        };
        let problem = format!("{what}, at character {}", error.column());
        StoreError::Damaged { id, problem }
    })
}

/// Reads texts, each with its place and identifier, on as many threads as the
/// machine has: a station that starts has a million to read.
pub(crate) fn read_all(texts: Vec<(i64, String, String)>) -> Vec<Stored> {
    let one = |(seq, id, text): (i64, String, String)| Stored {
        seq,
        fact: parsed(id, &text),
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let each = texts.len().div_ceil(threads);
    if each < FEW {
        return texts.into_iter().map(one).collect();
    }
    let mut parts = Vec::new();
    let mut rest = texts;
    while rest.len() > each {
        let after = rest.split_off(each);
        parts.push(std::mem::replace(&mut rest, after));
    }
    let mut all = Vec::with_capacity(parts.len() * each + rest.len());
    std::thread::scope(|scope| {
        let part = |texts: Vec<_>| scope.spawn(move || texts.into_iter().map(one).collect());
        let threads: Vec<_> = parts.into_iter().map(part).collect();
        let last: Vec<Stored> = rest.into_iter().map(one).collect();
        for thread in threads {
            let part: std::thread::Result<Vec<Stored>> = thread.join();
            all.extend(part.unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        }
        all.extend(last);
    });
    all
}
