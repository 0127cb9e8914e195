//! The home's record in `PostgreSQL`, seen by one of its members: the same things
//! that a [`Store`](crate::store::Store) does.

use chrono::{DateTime, Utc};
use postgres::{Client, GenericClient, Row};
use uuid::Uuid;

use super::{Link, SyncError, connect};
use crate::facts::{Body, ChainHead, Fact, KeptReading};
use crate::residents::ResidentId;
use crate::review::{Arrival, Arrivals};
use crate::store::{self, Readable, StoreError, Stored, hex, read_all};

/// The home's record. It is connected when it is needed, and again when the
/// connection is lost.
///
/// Its methods wait for the network: call them from a thread of its own, or where
/// the runtime knows that it blocks.
pub struct HomeRecord {
    link: Link,
    client: Option<Client>,
}

/// A fact as text, to be sent, with its place and link in the record it comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sent {
    /// Its identifier.
    pub id: Uuid,
    /// The text, as stored.
    pub fact: String,
    /// Its place there.
    pub seq: Option<i64>,
    /// Its link there.
    pub hash: Option<Vec<u8>>,
}

/// A connection says goodbye as it is closed, and waits for that, which no thread may
/// that also drives others.
impl Drop for HomeRecord {
    fn drop(&mut self) {
        if let Some(client) = self.client.take()
            && tokio::runtime::Handle::try_current().is_ok()
        {
            let _ = std::thread::spawn(move || drop(client)).join();
        }
    }
}

impl HomeRecord {
    /// Connects to a home.
    ///
    /// # Errors
    /// [`SyncError`] says why it can't.
    pub fn open(link: &Link) -> Result<Self, SyncError> {
        let mut record = Self::later(link);
        record.client()?;
        Ok(record)
    }

    /// As [`open`](Self::open), but connects when it is first used.
    #[must_use]
    pub fn later(link: &Link) -> Self {
        Self {
            link: link.clone(),
            client: None,
        }
    }

    /// The link it uses.
    #[must_use]
    pub const fn link(&self) -> &Link {
        &self.link
    }

    pub(super) fn client(&mut self) -> Result<&mut Client, SyncError> {
        if self.client.as_ref().is_none_or(Client::is_closed) {
            self.client = None;
            let mut client = connect::member(&self.link)?;
            let home = "SELECT sayback.my_home(), (SELECT version FROM sayback.form)";
            let home = client.query_one(home, &[])?;
            let (home, form): (Option<String>, i32) = (home.get(0), home.get(1));
            match home {
                None => return Err(SyncError::CutOff("it was cut off".to_owned())),
                Some(home) if home != self.link.home => {
                    return Err(SyncError::CutOff(format!(
                        "it is of the home {home}, and the link file says {}",
                        self.link.home
                    )));
                }
                Some(_) if form > super::FORM => {
                    return Err(SyncError::Database(format!(
                        "it has tables of form {form}, and this Sayback knows {}; update it",
                        super::FORM
                    )));
                }
                Some(_) => {}
            }
            self.client = Some(client);
        }
        self.client
            .as_mut()
            .ok_or_else(|| SyncError::Unreachable("no connection".to_owned()))
    }

    /// Does something that may be done twice, once more when the connection turns
    /// out to be lost: it may have been lost long ago.
    pub(super) fn twice<T>(
        &mut self,
        mut act: impl FnMut(&mut Client, &Link) -> Result<T, SyncError>,
    ) -> Result<T, SyncError> {
        let link = self.link.clone();
        let was_open = self.client.is_some();
        match self.client().and_then(|client| act(client, &link)) {
            Err(SyncError::Unreachable(_)) if was_open => {
                self.client = None;
                act(self.client()?, &link)
            }
            done => done,
        }
    }

    /// Where the record stands.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn head(&mut self) -> Result<ChainHead, StoreError> {
        self.stands_at().map_err(reading)
    }

    pub(super) fn stands_at(&mut self) -> Result<ChainHead, SyncError> {
        self.twice(|client, link| Ok(head(client, link)?))
    }

    /// Appends facts, all or none, and returns when they are on the home's disk.
    /// Those that are there already are passed over.
    ///
    /// # Errors
    /// [`StoreError::Write`]: none of them is stored, or, when the connection was
    /// lost at the wrong moment, all of them: append them again.
    pub fn append(&mut self, facts: &[&Fact<KeptReading>]) -> Result<(), StoreError> {
        let appended = self.twice(|client, _| append(client, None, facts));
        let appended = appended.map(drop);
        appended.map_err(|error| StoreError::Write(error.to_string()))
    }

    /// The same, unless something was appended after the fact at `seq`: nothing is
    /// appended then, and the answer is false.
    ///
    /// # Errors
    /// [`StoreError::Write`]: none of them is stored. [`StoreError::Unsure`]: all or
    /// none of them.
    pub fn append_at(
        &mut self,
        seq: i64,
        facts: &[&Fact<KeptReading>],
    ) -> Result<bool, StoreError> {
        let appended = self.twice(|client, _| append(client, Some(seq), facts));
        appended.map_err(|error| match error {
            SyncError::Unreachable(why) => StoreError::Unsure(why),
            SyncError::CutOff(_) => StoreError::CutOff(error.to_string()),
            error => StoreError::Write(error.to_string()),
        })
    }

    /// Appends facts that are texts. Returns how many were new.
    ///
    /// # Errors
    /// [`SyncError::Refused`] names the fact; none of them is stored.
    pub fn put(&mut self, facts: &[Sent]) -> Result<u64, SyncError> {
        self.twice(|client, _| put(client, facts))
    }

    /// Which of these facts the home does not have.
    ///
    /// # Errors
    /// [`SyncError`].
    pub fn lacking(&mut self, ids: &[Uuid]) -> Result<Vec<Uuid>, SyncError> {
        self.twice(|client, _| lacking(client, ids))
    }

    /// At most `most` facts that were appended after the one at `seq`. Nothing that
    /// comes later gets a place before one that was read.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn facts_after(&mut self, seq: i64, most: usize) -> Result<Vec<Stored>, StoreError> {
        const AFTER: &str = "SELECT seq, id, fact FROM sayback.fact \
            WHERE home = $1 AND seq > $2 ORDER BY seq LIMIT $3";
        let most = i64::try_from(most).unwrap_or(i64::MAX);
        let rows = self.twice(|client, link| Ok(client.query(AFTER, &[&link.home, &seq, &most])?));
        let texts = rows.map_err(reading)?;
        let texts = texts.iter().map(|row| {
            let id: Uuid = row.get(1);
            (row.get(0), id.to_string(), row.get(2))
        });
        Ok(read_all(texts.collect()))
    }

    /// The fact with this identifier.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] when it is there and can't be read.
    pub fn fact(&mut self, id: Uuid) -> Result<Option<Fact>, StoreError> {
        const ONE: &str = "SELECT seq, id, fact FROM sayback.fact WHERE home = $1 AND id = $2";
        let row = self.twice(|client, link| Ok(client.query_opt(ONE, &[&link.home, &id])?));
        let row = row.map_err(reading)?;
        row.map(|row| stored(&row).fact).transpose()
    }

    /// Which recorder sent each of these facts, and when it arrived; none of what a
    /// station stored.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn arrivals(&mut self, ids: &[Uuid]) -> Result<Arrivals, StoreError> {
        const ARRIVED: &str = "SELECT f.id, m.label, f.received_at \
            FROM sayback.fact f JOIN sayback.member m ON m.role = f.sender \
            WHERE f.home = $1 AND f.id = ANY($2) AND m.kind = 'recorder'";
        let rows = self.twice(|client, link| Ok(client.query(ARRIVED, &[&link.home, &ids])?));
        let arrival = |row: Row| {
            let at: DateTime<Utc> = row.get(2);
            let arrival = Arrival {
                recorder: row.get(1),
                at: at.fixed_offset(),
            };
            (row.get(0), arrival)
        };
        Ok(rows.map_err(reading)?.into_iter().map(arrival).collect())
    }

    /// Everything that belongs to a round, in the order of the record.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn facts_of_round(&mut self, round: Uuid) -> Result<Readable, StoreError> {
        const OF_ROUND: &str =
            "SELECT seq, id, fact FROM sayback.fact WHERE home = $1 AND round = $2 ORDER BY seq";
        let rows = self.twice(|client, link| Ok(client.query(OF_ROUND, &[&link.home, &round])?));
        readable(&rows.map_err(reading)?)
    }

    /// Everything about a resident, in the order of the record.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn facts_about(&mut self, resident: &ResidentId) -> Result<Readable, StoreError> {
        const ABOUT: &str =
            "SELECT seq, id, fact FROM sayback.fact WHERE home = $1 AND resident = $2 ORDER BY seq";
        let rows = self.twice(|client, link| Ok(client.query(ABOUT, &[&link.home, &resident.0])?));
        readable(&rows.map_err(reading)?)
    }
}

pub(super) fn reading(error: SyncError) -> StoreError {
    match error {
        SyncError::Store(error) => error,
        SyncError::CutOff(_) => StoreError::CutOff(error.to_string()),
        error => StoreError::Read(error.to_string()),
    }
}

fn stored(row: &Row) -> Stored {
    let (seq, id, text): (i64, Uuid, &str) = (row.get(0), row.get(1), row.get(2));
    let fact = store::parsed(id.to_string(), text);
    Stored { seq, fact }
}

/// All of it was recorded elsewhere, and may be a newer version's.
fn readable(rows: &[Row]) -> Result<Readable, StoreError> {
    let mut all = Readable::default();
    for row in rows {
        let id: Uuid = row.get(1);
        all.take((id.to_string(), row.get(2)), || Ok(true))?;
    }
    Ok(all)
}

fn head(client: &mut impl GenericClient, link: &Link) -> Result<ChainHead, postgres::Error> {
    let head = "SELECT seq, hash FROM sayback.home WHERE id = $1";
    let head = client.query_one(head, &[&link.home])?;
    Ok(ChainHead {
        seq: head.get(0),
        hash: hex(head.get(1)),
    })
}

fn lacking(client: &mut impl GenericClient, ids: &[Uuid]) -> Result<Vec<Uuid>, SyncError> {
    let rows = client.query("SELECT sayback.lacking($1)", &[&ids])?;
    Ok(rows.iter().map(|it| it.get(0)).collect())
}

/// A signature holds the head of all that is before it, so the head is held while
/// the facts up to it are put.
fn append(
    client: &mut Client,
    at: Option<i64>,
    facts: &[&Fact<KeptReading>],
) -> Result<bool, SyncError> {
    let ids: Vec<Uuid> = facts.iter().map(|it| it.id).collect();
    let mut transaction = client.transaction()?;
    // After a lost connection some may be there, and a signature would be made anew
    // with another head.
    let lacking = lacking(&mut transaction, &ids)?;
    if let Some(at) = at.filter(|_| !lacking.is_empty()) {
        let head = "SELECT seq FROM sayback.head_for_append()";
        let head: i64 = transaction.query_one(head, &[])?.get(0);
        if head != at {
            return Ok(false);
        }
    }
    let mut ready = Vec::new();
    for fact in facts.iter().filter(|it| lacking.contains(&it.id)) {
        let mut head = None;
        if matches!(fact.body, Body::Signed { .. }) {
            put(&mut transaction, &ready)?;
            ready.clear();
            let row = transaction.query_one("SELECT * FROM sayback.head_for_append()", &[])?;
            head = Some(ChainHead {
                seq: row.get(0),
                hash: hex(row.get(1)),
            });
        }
        ready.push(Sent {
            id: fact.id,
            fact: store::text(fact, head.as_ref())?.to_string(),
            seq: None,
            hash: None,
        });
    }
    put(&mut transaction, &ready)?;
    transaction.commit()?;
    Ok(true)
}

fn put(client: &mut impl GenericClient, facts: &[Sent]) -> Result<u64, SyncError> {
    if facts.is_empty() {
        return Ok(0);
    }
    let ids: Vec<Uuid> = facts.iter().map(|it| it.id).collect();
    let texts: Vec<&str> = facts.iter().map(|it| it.fact.as_str()).collect();
    let seqs: Vec<Option<i64>> = facts.iter().map(|it| it.seq).collect();
    let hashes: Vec<Option<&[u8]>> = facts.iter().map(|it| it.hash.as_deref()).collect();
    let put = "SELECT sayback.put($1, $2, $3, $4)";
    let row = client.query_one(put, &[&ids, &texts, &seqs, &hashes])?;
    Ok(row.get::<_, i64>(0).unsigned_abs())
}
