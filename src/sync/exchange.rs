//! One exchange between a recorder's record and its home: sends what is not there
//! yet, and fetches what the recorder needs. It can be cut off anywhere and begun
//! again.

use std::collections::BTreeMap;

use postgres::types::ToSql;
use serde::Deserialize;
use uuid::Uuid;

use super::{HomeRecord, Link, LinkStatus, Sent, SyncError};
use crate::facts::ChainHead;
use crate::store::{RawFact, RawStored, Store, StoreError, Waiting};

/// So many facts go at once: a batch is a second or less on a slow link, and what
/// is lost with it is soon sent again.
const BATCH: usize = 200;
/// Identifiers are compared in larger ones.
const COMPARED: usize = 2_000;

/// What a recorder has use for: what readings are, what became of them and of their
/// reports, and what nurses asked for. What another recorder only read back, or
/// where its round is, is that one's own.
const WANTED: [&str; 11] = [
    "read",
    "not_taken",
    "retaken",
    "flagged",
    "rule_met",
    "reported_to_nurse",
    "corrected",
    "retracted",
    "withdrawn",
    "acknowledged",
    "recheck_asked",
];
/// The longest rule looks back half a year (weight loss over 180 days); a year is
/// for "last reading". Ranges hold for as long as no other is set.
const FETCH: &str = "SELECT seq, id, fact FROM sayback.fact \
    WHERE home = $1 AND seq > $2 AND seq <= $3 AND (sender <> $4::text::name OR $5) \
    AND (kind = 'range_set' OR (kind = ANY($6) AND received_at > now() - interval '400 days')) \
    ORDER BY seq LIMIT $7";

/// A recorder's side of its link. It remembers, while the program runs, how far it
/// has come; at the start it compares identifiers with the home.
pub struct Exchange {
    home: HomeRecord,
    /// All of this record up to here is at the home, or was refused by it.
    sent: i64,
    /// Up to here it may be there already.
    compare: Option<i64>,
    /// All of the home up to here is in this record as far as it is needed.
    fetched: Option<i64>,
    /// Whether the home has something of this recorder that is not in the record.
    refill: bool,
    /// Whether that is of another record than this one, as far as can be told, since that
    /// was asked last.
    another: bool,
    /// All that the home has of this link up to here is in the record, or is being fetched.
    looked: i64,
    /// Whether this record is known to be sent with this link.
    known: bool,
    /// The home's head when it was seen last.
    head: Option<ChainHead>,
    /// What the home refuses, by place, and why.
    refused: BTreeMap<i64, String>,
    /// What of the home can't be stored here, by its place there, and why.
    not_taken: BTreeMap<i64, String>,
}

/// What one exchange moved.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Moved {
    /// Facts that were new to the home.
    pub sent: u64,
    /// Facts that were new here.
    pub fetched: usize,
}

#[derive(Deserialize)]
struct Identified {
    id: Uuid,
}

impl Exchange {
    /// A link that connects when it is used.
    #[must_use]
    pub fn new(link: &Link) -> Self {
        Self {
            home: HomeRecord::later(link),
            sent: 0,
            compare: None,
            fetched: None,
            refill: false,
            another: false,
            looked: 0,
            known: false,
            head: None,
            refused: BTreeMap::new(),
            not_taken: BTreeMap::new(),
        }
    }

    /// Whether another record was sent with this link since this was asked last, as far as
    /// can be told: the home has of it what this one does not have, and this one has
    /// something of its own.
    pub fn saw_another(&mut self) -> bool {
        std::mem::take(&mut self.another)
    }

    /// That this record is sent with this link is known: the home is not asked.
    pub const fn is_known(&mut self) {
        self.known = true;
    }

    /// The home at the other end.
    pub fn home(&mut self) -> &mut HomeRecord {
        &mut self.home
    }

    /// Up to which place all of the record is at the home.
    #[must_use]
    pub const fn sent(&self) -> i64 {
        self.sent
    }

    /// What the home refuses, and what of the home can't be stored here, and why:
    /// one line each.
    pub fn refused(&self) -> impl Iterator<Item = &str> {
        let both = self.refused.values().chain(self.not_taken.values());
        both.map(String::as_str)
    }

    /// Sends all that is not there, then fetches all that is needed.
    ///
    /// # Errors
    /// [`SyncError`]: what was moved until then stays moved.
    pub fn run(&mut self, store: &mut Store) -> Result<Moved, SyncError> {
        self.look(store)?;
        Ok(Moved {
            sent: self.send(store)?,
            fetched: self.fetch(store)?,
        })
    }

    /// Whether the home is the one it was: one that was put back from a backup may
    /// lack what it had.
    fn look(&mut self, store: &Store) -> Result<(), SyncError> {
        let head = self.home.stands_at()?;
        // Kept where the home can't be asked: else the next look compared nothing.
        if let Some(last) = &self.head
            && !self.home.holds(last)?
        {
            tracing::warn!("the home was put back to an earlier state; all is compared anew");
            (self.compare, self.fetched, self.sent) = (None, None, 0);
        }
        let seq = head.seq;
        self.head = Some(head);
        if !self.known {
            self.is_not_anothers(store)?;
            self.known = true;
        }
        if self.compare.is_none() {
            let last = store.head()?.map_or(0, |it| it.seq);
            self.refused.clear();
            self.sent = 0;
            self.compare = Some(last);
        }
        if self.fetched.is_none() {
            self.not_taken.clear();
            self.refill = self.has_more_of_mine(store)?;
            if self.refill && !store.unsent(0, 1)?.is_empty() {
                self.see_another();
            }
            self.looked = seq;
            let last = match store.last_came()? {
                Some(id) if !self.refill => self.home.place_of(id)?,
                _ => None,
            };
            self.fetched = Some(last.unwrap_or(0));
        }
        self.look_for_another(store, seq)
    }

    /// Whether something was sent with this link meanwhile, and not from here. It is fetched
    /// as what others sent is.
    fn look_for_another(&mut self, store: &Store, until: i64) -> Result<(), SyncError> {
        while self.looked < until {
            let mine = self.home.mine_after(self.looked, until)?;
            let full = mine.len() >= COMPARED;
            let end = mine.last().filter(|_| full).map_or(until, |it| it.0);
            for (_, id) in mine {
                if !store.has(id)? {
                    self.see_another();
                    self.refill = true;
                    self.fetched = self.fetched.map(|it| it.min(self.looked));
                }
            }
            self.looked = end;
        }
        Ok(())
    }

    fn see_another(&mut self) {
        if !self.another {
            tracing::warn!("the home has entries of this link that are not in this record");
        }
        self.another = true;
    }

    fn has_more_of_mine(&mut self, store: &Store) -> Result<bool, SyncError> {
        let last = self.home.last_of_mine()?;
        Ok(last.map(|it| store.has(it)).transpose()? == Some(false))
    }

    /// What says with which link a record was sent is a file beside it, which may be gone,
    /// or not of this record. The home knows who sent the newest of what is here.
    fn is_not_anothers(&mut self, store: &Store) -> Result<(), SyncError> {
        let mut before = i64::MAX;
        loop {
            let own = store.own_before(before, COMPARED)?;
            let Some(last) = own.last() else {
                return Ok(());
            };
            before = last.seq;
            let ids: Vec<Uuid> = own.iter().map(|it| it.id).collect();
            match self.home.newest_is_mine(&ids)? {
                Some(true) => return Ok(()),
                Some(false) => {
                    let label = &self.home.link().label;
                    return Err(SyncError::Setup(format!(
                        "this record was sent with another link file before, and this one is of \
                         \"{label}\": its readings would be shown as from there, so nothing is \
                         sent. Give the link file that it was sent with; if it is \"{label}\" \
                         from now on, or was enrolled anew, say so once with `sayback send \
                         --relinked`"
                    )));
                }
                None => {}
            }
        }
    }

    /// How a record really stands with the home: what of it is not there, whatever is
    /// written beside it. Nothing is moved.
    ///
    /// # Errors
    /// [`SyncError`]; [`SyncError::Setup`] where it was sent with another link.
    pub fn survey(
        &mut self,
        store: &Store,
        mut status: LinkStatus,
    ) -> Result<LinkStatus, SyncError> {
        status.is_the_same(self.home.link())?;
        if status.sent_as.is_none() {
            self.is_not_anothers(store)?;
        }
        let (mut before, mut refused, mut own) = (i64::MAX, Waiting::default(), false);
        let sent = std::mem::take(&mut status.sent);
        status.waiting = Waiting::default();
        loop {
            let batch = store.own_before(before, COMPARED)?;
            let Some(last) = batch.last() else { break };
            (before, own) = (last.seq, true);
            let ids: Vec<Uuid> = batch.iter().map(|it| it.id).collect();
            let lacking = self.home.lacking(&ids)?;
            for it in batch {
                if !lacking.contains(&it.id) {
                    status.sent = status.sent.max(it.seq);
                } else if it.seq <= sent {
                    refused.add(it.reading);
                } else {
                    status.waiting.add(it.reading);
                }
            }
        }
        // What the home refused stays here, and waits for nothing.
        if usize::try_from(refused.facts).is_ok_and(|it| it > status.refused) {
            status.waiting.facts += refused.facts;
            status.waiting.readings += refused.readings;
        }
        if own && self.has_more_of_mine(store)? {
            status.another = Some(chrono::Local::now().fixed_offset());
        }
        Ok(status)
    }

    fn send(&mut self, store: &Store) -> Result<u64, SyncError> {
        let mut new = 0;
        loop {
            let comparing = self.compare.is_some_and(|until| self.sent < until);
            let most = if comparing { COMPARED } else { BATCH };
            let batch = store.unsent(self.sent, most)?;
            let Some(last) = batch.last().map(|it| it.seq) else {
                return Ok(new);
            };
            let mut batch = self.readable(batch);
            if comparing {
                let ids: Vec<Uuid> = batch.iter().map(|it| it.id).collect();
                let lacking = self.home.lacking(&ids)?;
                batch.retain(|it| lacking.contains(&it.id));
            }
            for part in batch.chunks(BATCH) {
                new += self.put(part)?;
            }
            self.sent = last;
        }
    }

    /// A row that can't be read must not keep back what comes after it.
    fn readable(&mut self, batch: Vec<RawStored>) -> Vec<Sent> {
        let mut readable = Vec::new();
        for stored in batch {
            let seq = stored.seq;
            if let Ok(Identified { id }) = serde_json::from_str(&stored.text) {
                readable.push(Sent {
                    id,
                    fact: stored.text,
                    seq: Some(seq),
                    hash: Some(stored.hash.to_vec()),
                });
            } else {
                let why = format!("row {seq} of the record can't be read; see `sayback check`");
                self.refused.insert(seq, why);
            }
        }
        readable
    }

    /// What the home refuses must not keep back what comes after it: then each goes
    /// alone.
    fn put(&mut self, batch: &[Sent]) -> Result<u64, SyncError> {
        match self.home.put(batch) {
            Err(SyncError::Refused { id: Some(_), .. }) => {}
            done => return done,
        }
        let mut new = 0;
        for fact in batch {
            match self.home.put(std::slice::from_ref(fact)) {
                Err(SyncError::Refused { id: Some(_), why }) => {
                    tracing::error!("{why}");
                    self.refused.insert(fact.seq.unwrap_or_default(), why);
                }
                done => new += done?,
            }
        }
        Ok(new)
    }

    fn fetch(&mut self, store: &mut Store) -> Result<usize, SyncError> {
        let mut new = 0;
        // Places are given in the order of commits, so up to this head nothing can
        // come any more.
        let until = self.home.stands_at()?;
        loop {
            let from = self.fetched.unwrap_or(0);
            let facts = self.home.wanted(from, until.seq, self.refill)?;
            let Some((last, _)) = facts.last() else { break };
            self.fetched = Some(*last);
            new += self
                .take(store, facts)
                .inspect_err(|_| self.fetched = Some(from))?;
        }
        self.fetched = Some(until.seq);
        self.refill = false;
        self.head = Some(until);
        Ok(new)
    }
}

impl Exchange {
    /// What can't be stored must not keep back what comes after it: then each goes
    /// alone.
    fn take(&mut self, store: &mut Store, facts: Vec<(i64, RawFact)>) -> Result<usize, SyncError> {
        let (places, raw): (Vec<i64>, Vec<RawFact>) = facts.into_iter().unzip();
        match store.append_fetched(&raw) {
            Err(StoreError::Refused { .. }) => {}
            done => return Ok(done?),
        }
        let mut new = 0;
        for (place, fact) in places.iter().zip(&raw) {
            match store.append_fetched(std::slice::from_ref(fact)) {
                Err(error @ StoreError::Refused { .. }) => {
                    tracing::error!("{error}");
                    self.not_taken.insert(*place, error.to_string());
                }
                done => new += done?,
            }
        }
        Ok(new)
    }
}

impl HomeRecord {
    /// Whether the home's record has this head in it.
    fn holds(&mut self, head: &ChainHead) -> Result<bool, SyncError> {
        const HASH: &str =
            "SELECT encode(hash, 'hex') = $3 FROM sayback.fact WHERE home = $1 AND seq = $2";
        if head.seq == 0 {
            return Ok(true);
        }
        self.twice(|client, link| {
            let row = client.query_opt(HASH, &[&link.home, &head.seq, &head.hash])?;
            Ok(row.is_some_and(|it| it.get(0)))
        })
    }

    fn last_of_mine(&mut self) -> Result<Option<Uuid>, SyncError> {
        const MINE: &str = "SELECT id FROM sayback.fact \
            WHERE home = $1 AND sender = $2::text::name AND kind = ANY($3) ORDER BY seq DESC LIMIT 1";
        self.twice(|client, link| {
            let row = client.query_opt(MINE, &[&link.home, &link.role, &WANTED.as_slice()])?;
            Ok(row.map(|it| it.get(0)))
        })
    }

    /// What was sent with this link, of what is fetched: places and identifiers.
    fn mine_after(&mut self, seq: i64, until: i64) -> Result<Vec<(i64, Uuid)>, SyncError> {
        const MINE: &str = "SELECT seq, id FROM sayback.fact WHERE home = $1 \
            AND sender = $2::text::name AND seq > $3 AND seq <= $4 AND kind = ANY($5) \
            ORDER BY seq LIMIT $6";
        let most = i64::try_from(COMPARED).unwrap_or(i64::MAX);
        self.twice(|client, link| {
            let with: [&(dyn ToSql + Sync); 6] = [
                &link.home,
                &link.role,
                &seq,
                &until,
                &WANTED.as_slice(),
                &most,
            ];
            let rows = client.query(MINE, &with)?;
            Ok(rows.iter().map(|it| (it.get(0), it.get(1))).collect())
        })
    }

    /// Whether the newest of these that a recorder sent was sent with this link; none where
    /// none of them was.
    fn newest_is_mine(&mut self, ids: &[Uuid]) -> Result<Option<bool>, SyncError> {
        // They are found by their identifiers, and not by walking through the home.
        const NEWEST: &str = "SELECT it.sender = $2::text::name FROM (SELECT sender, seq \
            FROM sayback.fact WHERE home = $1 AND id = ANY($3) AND sender_seq IS NOT NULL \
            OFFSET 0) it \
            ORDER BY it.seq DESC LIMIT 1";
        self.twice(|client, link| {
            let row = client.query_opt(NEWEST, &[&link.home, &link.role, &ids])?;
            Ok(row.map(|it| it.get(0)))
        })
    }

    fn place_of(&mut self, id: Uuid) -> Result<Option<i64>, SyncError> {
        const PLACE: &str = "SELECT seq FROM sayback.fact WHERE home = $1 AND id = $2";
        self.twice(|client, link| {
            let row = client.query_opt(PLACE, &[&link.home, &id])?;
            Ok(row.map(|it| it.get(0)))
        })
    }

    fn wanted(
        &mut self,
        from: i64,
        until: i64,
        also_mine: bool,
    ) -> Result<Vec<(i64, RawFact)>, SyncError> {
        let most = i64::try_from(BATCH).unwrap_or(i64::MAX);
        let rows = self.twice(|client, link| {
            let (home, role) = (&link.home, &link.role);
            let with: [&(dyn ToSql + Sync); 7] = [
                home,
                &from,
                &until,
                role,
                &also_mine,
                &WANTED.as_slice(),
                &most,
            ];
            Ok(client.query(FETCH, &with)?)
        })?;
        let facts = rows.iter().map(|row| {
            let (id, text) = (row.get(1), row.get(2));
            (row.get(0), RawFact { id, text })
        });
        Ok(facts.collect())
    }
}
