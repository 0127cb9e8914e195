//! The chain: each fact's hash covers the one before it, so that no fact can be
//! changed, taken out, moved or put in between without the rest no longer
//! following from it.
//!
//! The hash is SHA-256 over the hash before, the fact's place, and every column
//! as it is stored, each preceded by its length. The first fact follows from a
//! beginning that says from which fact on the hashes were made as facts were
//! appended: in a record from before there was a chain, older facts are hashed
//! once, when it is upgraded.

use rusqlite::{Connection, OptionalExtension as _, Row, params};
use sha2::{Digest as _, Sha256};

use crate::facts::ChainHead;

/// A link of the chain.
pub(crate) type Hash = [u8; 32];

/// A stored fact, column by column, as bytes: damage need not leave text.
pub(crate) struct Columns<'a> {
    pub seq: i64,
    pub id: &'a [u8],
    pub round: &'a [u8],
    pub at: &'a [u8],
    pub kind: &'a [u8],
    pub fact: &'a [u8],
}

impl<'a> Columns<'a> {
    /// From `SELECT seq, id, round, at, kind, fact`.
    pub(super) fn of(row: &'a Row<'_>) -> rusqlite::Result<Self> {
        let bytes = |at: usize| -> rusqlite::Result<&'a [u8]> {
            row.get_ref(at)?
                .as_bytes()
                .map_err(|_| rusqlite::Error::InvalidQuery)
        };
        Ok(Self {
            seq: row.get(0)?,
            id: bytes(1)?,
            round: bytes(2)?,
            at: bytes(3)?,
            kind: bytes(4)?,
            fact: bytes(5)?,
        })
    }
}

/// What the first fact follows from.
pub(super) fn beginning(chained_from: i64) -> Hash {
    let mut hash = Sha256::new();
    hash.update(b"sayback record, chain 1");
    hash.update(chained_from.to_be_bytes());
    hash.finalize().into()
}

/// The link of a fact that follows from `before`.
pub(super) fn link(before: &Hash, fact: &Columns<'_>) -> Hash {
    let mut hash = Sha256::new();
    hash.update(before);
    hash.update(fact.seq.to_be_bytes());
    for column in [fact.id, fact.round, fact.at, fact.kind, fact.fact] {
        hash.update((column.len() as u64).to_be_bytes());
        hash.update(column);
    }
    hash.finalize().into()
}

/// A hash as hexadecimal digits.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    let digits = String::with_capacity(bytes.len() * 2);
    bytes.iter().fold(digits, |mut digits, it| {
        let _ = write!(digits, "{it:02x}");
        digits
    })
}

/// The head as the record keeps it, and from which fact on the chain was made
/// at append time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Head {
    /// The place of the last fact; 0 where there is none.
    pub seq: i64,
    pub hash: Hash,
    pub chained_from: i64,
}

impl Head {
    /// The head of a record without facts.
    pub(super) fn new(chained_from: i64) -> Self {
        Self {
            seq: 0,
            hash: beginning(chained_from),
            chained_from,
        }
    }

    /// None where the record has none, or one of another size.
    pub(super) fn read(connection: &Connection) -> rusqlite::Result<Option<Self>> {
        connection
            .prepare_cached("SELECT seq, hash, chained_from FROM head")?
            .query_row([], |row| {
                let hash: Vec<u8> = row.get(1)?;
                let (seq, chained_from) = (row.get(0)?, row.get(2)?);
                Ok(hash.try_into().ok().map(|hash| Self {
                    seq,
                    hash,
                    chained_from,
                }))
            })
            .optional()
            .map(Option::flatten)
    }

    /// Goes on to the fact after the last one.
    pub(super) fn follow(&mut self, fact: &Columns<'_>) {
        self.hash = link(&self.hash, fact);
        self.seq = fact.seq;
    }

    pub(super) fn write(&self, connection: &Connection) -> rusqlite::Result<()> {
        let write = "INSERT OR REPLACE INTO head (one, seq, hash, chained_from) VALUES (1,?,?,?)";
        connection
            .prepare_cached(write)?
            .execute(params![self.seq, self.hash, self.chained_from])
            .map(drop)
    }

    pub(crate) fn public(&self) -> ChainHead {
        ChainHead {
            seq: self.seq,
            hash: hex(&self.hash),
        }
    }
}
