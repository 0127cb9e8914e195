//! What the station asks of the record that it shows and appends to, wherever
//! that is kept: in a file on this machine, or in the home's database.

use std::collections::HashMap;

use chrono::TimeDelta;
use uuid::Uuid;

use super::acts::NewFact;
use super::certificate::Validity;
use crate::facts::{ChainHead, Fact, Time};
use crate::residents::{Home, ResidentId};
use crate::store::{Readable, Store, StoreError, Stored};

/// A recorder that sends what it records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Recorder {
    /// What people call it.
    pub label: String,
    /// When something of it arrived last, if anything did.
    pub arrived: Option<Time>,
}

/// How a fact came to this record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Arrival {
    /// What people call the recorder that sent it.
    pub recorder: String,
    /// When it arrived.
    pub at: Time,
}

impl Arrival {
    /// From so long on it is said that something was not here when it happened: nobody
    /// could act on it until then. Common practice, no source.
    const LATE: TimeDelta = TimeDelta::hours(1);

    /// How long after something happened it arrived, where that is long.
    #[must_use]
    pub fn late(&self, happened: Time) -> Option<TimeDelta> {
        Some(self.at - happened).filter(|it| *it >= Self::LATE)
    }
}

/// How facts came to this record.
pub type Arrivals = HashMap<Uuid, Arrival>;

/// A record, as the station uses it. Any of these may wait for a disk or a
/// network.
pub trait Ledger: Send {
    /// At most `most` facts that were appended after the one at `seq`. None that
    /// is appended later gets a place before one that was read.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    fn facts_after(&mut self, seq: i64, most: usize) -> Result<Vec<Stored>, StoreError>;

    /// Appends facts that were made from the record as it stood at `seq`, all or
    /// none, and returns when they are on the disk. Where others appended
    /// meanwhile, nothing is appended, and the answer is false.
    ///
    /// # Errors
    /// [`StoreError::Write`]: none of them is stored. [`StoreError::Unsure`]: all
    /// or none of them.
    fn append_at(&mut self, seq: i64, facts: &[&NewFact]) -> Result<bool, StoreError>;

    /// The fact with this identifier.
    ///
    /// # Errors
    /// [`StoreError`] when it can't be read.
    fn fact(&mut self, id: Uuid) -> Result<Option<Fact>, StoreError>;

    /// Everything that belongs to a round, in the order of the record.
    ///
    /// # Errors
    /// [`StoreError`] when it can't be read.
    fn facts_of_round(&mut self, round: Uuid) -> Result<Readable, StoreError>;

    /// Everything about a resident, in the order of the record.
    ///
    /// # Errors
    /// [`StoreError`] when it can't be read.
    fn facts_about(&mut self, resident: &ResidentId) -> Result<Readable, StoreError>;

    /// Where the record stands.
    ///
    /// # Errors
    /// [`StoreError`] when it can't be read.
    fn head(&mut self) -> Result<Option<ChainHead>, StoreError>;

    /// The home as it is now, where this record keeps that and it has changed
    /// since this was last asked.
    ///
    /// # Errors
    /// [`StoreError`] when it can't be read.
    fn changed_home(&mut self) -> Result<Option<Home>, StoreError> {
        Ok(None)
    }

    /// The recorders that send to this record, where it is time to look at them again; of a
    /// record on this machine there are none.
    ///
    /// # Errors
    /// [`StoreError`] when it can't be read.
    fn recorders(&mut self) -> Result<Option<Vec<Recorder>>, StoreError> {
        Ok(None)
    }

    /// Which recorder sent each of these facts, and when that arrived; none of one that no
    /// recorder sent, and of a record on this machine.
    ///
    /// # Errors
    /// [`StoreError`] when it can't be read.
    fn arrivals(&mut self, _ids: &[Uuid]) -> Result<Arrivals, StoreError> {
        Ok(Arrivals::new())
    }

    /// How the certificate of the server that keeps this record stands at a moment; of a
    /// record on this machine there is none.
    ///
    /// # Errors
    /// Why that can't be told, in words.
    fn certificate(&mut self, _now: Time) -> Result<Option<Validity>, String> {
        Ok(None)
    }

    /// Whether this is a recorder's record, and that recorder is linked to a home:
    /// the home takes what nurses do from its stations only.
    ///
    /// # Errors
    /// [`StoreError`] when that can't be read.
    fn linked(&mut self) -> Result<bool, StoreError> {
        Ok(false)
    }

    /// The record itself where it is a file of this machine: kept sound is beside
    /// it, and nowhere else.
    fn file(&mut self) -> Option<&mut Store> {
        None
    }
}

impl Ledger for Store {
    fn facts_after(&mut self, seq: i64, most: usize) -> Result<Vec<Stored>, StoreError> {
        Self::facts_after(self, seq, most)
    }

    fn append_at(&mut self, seq: i64, facts: &[&NewFact]) -> Result<bool, StoreError> {
        Self::append_at(self, seq, facts)
    }

    fn fact(&mut self, id: Uuid) -> Result<Option<Fact>, StoreError> {
        Self::fact(self, id)
    }

    fn facts_of_round(&mut self, round: Uuid) -> Result<Readable, StoreError> {
        Self::facts_of_round(self, round)
    }

    fn facts_about(&mut self, resident: &ResidentId) -> Result<Readable, StoreError> {
        Self::facts_about(self, resident)
    }

    fn head(&mut self) -> Result<Option<ChainHead>, StoreError> {
        Self::head(self)
    }

    fn linked(&mut self) -> Result<bool, StoreError> {
        Self::linked(self)
    }

    fn file(&mut self) -> Option<&mut Store> {
        Some(self)
    }
}
