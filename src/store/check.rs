//! The check of a record: does every fact follow from the one before, and is
//! the last one there?

use std::fmt;

use rusqlite::{Transaction, TransactionBehavior};
use serde::{Deserialize, Serialize};

use super::chain::{Columns, Hash, Head, beginning, link};
use super::damage::damage;
use super::error::StoreError;
use super::schema::{CHAINED, SCHEMA, missing_guards};
use super::{Store, exchange, parsed};
use crate::facts::{Body, ChainHead, Time};

/// No more rows than this are looked through for where each belongs.
const MOVED: usize = 40;

/// What a check found out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Report {
    /// How many facts there are.
    pub facts: i64,
    /// Where the record stands; none in one of an older form.
    pub head: Option<ChainHead>,
    /// From this fact on, hashes were made as the facts were appended. Those
    /// before were hashed when the record was upgraded: what happened to them
    /// before that can't be told.
    pub chained_from: i64,
    /// Whether the file is encrypted; none where that can't be told.
    pub encrypted: Option<bool>,
    /// Signatures made here whose head agrees with the record.
    pub signatures: usize,
    /// What is wrong, in order of the record.
    pub findings: Vec<Finding>,
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// The row, from 1; none where it is about the whole.
    pub row: Option<i64>,
    /// The fact's identifier, as it stands there.
    pub id: Option<String>,
    /// What is wrong.
    #[serde(flatten)]
    pub what: What,
}

/// What is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum What {
    /// A column differs from what was appended.
    Changed,
    /// The fact is as appended, and its hash is not.
    HashChanged,
    /// The fact was appended in another place.
    Moved {
        /// Its place.
        from: i64,
    },
    /// Facts from this row to `to` are gone.
    Removed {
        /// The last one.
        to: i64,
    },
    /// Not appended by Sayback: it has no hash.
    Added,
    /// A column and the fact beside it say different things.
    Contradicts {
        /// The column.
        column: &'static str,
    },
    /// It can't be read.
    Unreadable {
        /// Why.
        problem: String,
    },
    /// The last facts are gone.
    CutOff {
        /// The first one that is gone.
        from: i64,
        /// The last one.
        to: i64,
    },
    /// What the record keeps as its last hash is gone or another.
    HeadChanged,
    /// A nurse signed another record than the one that stands before.
    SignedAnother {
        /// What was signed.
        signed: ChainHead,
    },
    /// The head that was asked for is not in the record.
    Unknown {
        /// The head.
        head: ChainHead,
    },
    /// One of the guards against changes is gone or another.
    GuardGone {
        /// Its name.
        guard: &'static str,
    },
    /// The database itself is damaged.
    File {
        /// What the database says.
        problem: String,
    },
    /// The record is of an older form, without a chain, and may not be written.
    NoChain,
}

impl Report {
    /// Whether nothing is wrong.
    #[must_use]
    pub fn sound(&self) -> bool {
        self.findings.is_empty()
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.row, &self.id) {
            (Some(row), Some(id)) => write!(f, "row {row} ({id}): ")?,
            (Some(row), None) => write!(f, "row {row}: ")?,
            _ => {}
        }
        match &self.what {
            What::Changed => f.write_str("changed since it was appended"),
            What::HashChanged => f.write_str("its hash was changed"),
            What::Moved { from } => write!(f, "moved: it was appended as row {from}"),
            What::Removed { to } if Some(*to) == self.row => {
                f.write_str("removed; whether the next row was changed can't be told")
            }
            What::Removed { to } => write!(
                f,
                "removed, and all up to row {to}; whether the next row was changed can't be told"
            ),
            What::Added => f.write_str("added by something other than Sayback"),
            What::Contradicts { column } => {
                write!(f, "the column {column} and the fact say different things")
            }
            What::Unreadable { problem } => write!(f, "can't be read: {problem}"),
            What::CutOff { from, to } if from == to => {
                write!(f, "row {from}, the last, is cut off")
            }
            What::CutOff { from, to } => write!(f, "rows {from} to {to}, the last, are cut off"),
            What::HeadChanged => f.write_str("what the record keeps as its last hash was changed"),
            What::SignedAnother { signed } => {
                write!(
                    f,
                    "signed when the record stood at {signed}, and it now differs from that"
                )
            }
            What::Unknown { head } => write!(
                f,
                "the record does not hold {head}: facts up to there were changed or cut off, or it \
                 is of another record"
            ),
            What::GuardGone { guard } => {
                write!(
                    f,
                    "the guard {guard} is gone or changed: facts could be changed unseen"
                )
            }
            What::File { problem } => write!(f, "the file is damaged: {problem}"),
            What::NoChain => f.write_str(
                "the record is of an older form, without a chain, and may not be written; copy it \
                 to where it may be and check it there",
            ),
        }
    }
}

impl Store {
    /// Walks the whole record and finds facts that were changed, removed, moved
    /// or added, and `known` heads (from an export, a backup or a signed sheet)
    /// that it does not hold. Others may append meanwhile.
    ///
    /// # Errors
    /// [`StoreError::Read`] when the file cannot be read at all.
    pub fn check(&self, known: &[ChainHead]) -> Result<Report, StoreError> {
        let failed = |error: rusqlite::Error| StoreError::read(&error);
        // One state of the record, whoever appends meanwhile.
        let reading = Transaction::new_unchecked(&self.connection, TransactionBehavior::Deferred);
        let reading = reading.map_err(failed)?;
        let form = self.pragma("user_version")?;
        let count = reading.query_row("SELECT count(*) FROM facts", [], |row| row.get(0));
        let mut report = Report {
            facts: count.map_err(failed)?,
            head: None,
            chained_from: 0,
            encrypted: Some(self.encrypted),
            signatures: 0,
            findings: damage(&reading, self.encrypted).map_err(failed)?,
        };
        if form < CHAINED {
            report.findings.push(about(None, None, What::NoChain));
            return Ok(report);
        }
        let head = Head::read(&reading).map_err(failed)?;
        report.chained_from = head.as_ref().map_or(1, |it| it.chained_from);
        report.head = head.as_ref().map(Head::public);
        let mut walk = Walk::new(report.chained_from, known);
        let mut select = reading
            .prepare("SELECT seq, id, round, at, kind, fact, chain FROM facts ORDER BY seq")
            .map_err(failed)?;
        let mut rows = select.query([]).map_err(failed)?;
        while let Some(row) = rows.next().map_err(failed)? {
            let chain: Option<Vec<u8>> = row.get(6).map_err(failed)?;
            let row = Columns::of(row).map_err(failed)?;
            // What came from the home was signed there: its head is the home's.
            let came = form == SCHEMA && row.kind == b"signed";
            let came = came && exchange::came(&reading, row.seq).map_err(failed)?;
            walk.step(&row, chain, came);
        }
        report.signatures = walk.signatures;
        report.findings.extend(walk.end(head.as_ref()));
        let guards = missing_guards(&reading).map_err(failed)?;
        let gone = guards.into_iter().map(|guard| What::GuardGone { guard });
        report.findings.extend(gone.map(|it| about(None, None, it)));
        Ok(report)
    }
}

pub(crate) fn about(row: Option<i64>, id: Option<&[u8]>, what: What) -> Finding {
    let id = id.map(|it| String::from_utf8_lossy(it).into_owned());
    Finding { row, id, what }
}

/// What a fact says it is. Not borrowed: an escape in it is no other kind.
#[derive(Deserialize)]
struct Kind {
    kind: String,
}

/// A row whose hash does not follow.
struct Broken {
    before: Hash,
    there: Hash,
    seq: i64,
    columns: [Vec<u8>; 5],
}

impl Broken {
    fn at(&self, seq: i64) -> Columns<'_> {
        let [id, round, at, kind, fact] = &self.columns;
        Columns {
            seq,
            id,
            round,
            at,
            kind,
            fact,
        }
    }
}

/// A walk along a chain.
pub(crate) struct Walk<'a> {
    before: Hash,
    last: i64,
    next: i64,
    broken: Vec<Broken>,
    findings: Vec<Finding>,
    pub(crate) signatures: usize,
    known: Vec<&'a ChainHead>,
}

impl<'a> Walk<'a> {
    pub(crate) fn new(chained_from: i64, known: &'a [ChainHead]) -> Self {
        let before = beginning(chained_from);
        let mut walk = Self {
            before,
            last: 0,
            next: 1,
            broken: Vec::new(),
            findings: Vec::new(),
            signatures: 0,
            known: known.iter().collect(),
        };
        walk.meet(&before, 0);
        walk
    }

    /// Crosses off the known heads that are met.
    fn meet(&mut self, hash: &Hash, seq: i64) {
        if self.known.is_empty() {
            return;
        }
        let met = Head {
            seq,
            hash: *hash,
            chained_from: 0,
        };
        let met = met.public();
        self.known.retain(|it| **it != met);
    }

    fn find(&mut self, row: &Columns<'_>, what: What) {
        self.findings.push(about(Some(row.seq), Some(row.id), what));
    }

    /// Takes the next row; `came` says that it was fetched from the home.
    pub(crate) fn step(&mut self, row: &Columns<'_>, chain: Option<Vec<u8>>, came: bool) {
        let gap = row.seq > self.next;
        if gap {
            let what = What::Removed { to: row.seq - 1 };
            self.findings.push(about(Some(self.next), None, what));
        }
        self.next = row.seq + 1;
        match chain.map(<Hash>::try_from) {
            None => self.find(row, What::Added),
            Some(Err(_)) => self.find(row, What::HashChanged),
            Some(Ok(there)) => {
                let follows = link(&self.before, row) == there;
                if follows {
                    self.meet(&there, row.seq);
                } else if !gap {
                    let columns = [row.id, row.round, row.at, row.kind, row.fact];
                    self.broken.push(Broken {
                        before: self.before,
                        there,
                        seq: row.seq,
                        columns: columns.map(<[u8]>::to_vec),
                    });
                }
                if !came {
                    self.signed(row);
                }
                self.before = there;
                self.last = row.seq;
            }
        }
        self.reads(row);
    }

    /// Whether a signature is for the record that stands before it.
    fn signed(&mut self, row: &Columns<'_>) {
        if row.kind != b"signed" {
            return;
        }
        let text = String::from_utf8_lossy(row.fact);
        let fact = parsed(String::new(), &text).ok();
        let Some(Body::Signed {
            head: Some(signed), ..
        }) = fact.map(|it| it.body)
        else {
            return;
        };
        let stands = Head {
            seq: self.last,
            hash: self.before,
            chained_from: 0,
        };
        if stands.public() == signed {
            self.signatures += 1;
        } else {
            self.find(row, What::SignedAnother { signed });
        }
    }

    /// Whether the fact can be read, and is the one that the columns say.
    fn reads(&mut self, row: &Columns<'_>) {
        let id = String::from_utf8_lossy(row.id).into_owned();
        let fact = match std::str::from_utf8(row.fact) {
            Ok(text) => parsed(id, text).map(|it| (it, text)),
            Err(_) => Err(StoreError::Damaged {
                id,
                problem: "it is no text".to_owned(),
            }),
        };
        let (fact, text) = match fact {
            Ok(fact) => fact,
            Err(StoreError::Damaged { problem, .. }) => {
                return self.find(row, What::Unreadable { problem });
            }
            Err(_) => return,
        };
        let kind = serde_json::from_str::<Kind>(text).ok();
        let kind = kind.map(|it| it.kind);
        let same = [
            ("id", row.id, fact.id.to_string()),
            ("round", row.round, fact.round.to_string()),
            ("kind", row.kind, kind.unwrap_or_default()),
        ];
        for (column, there, said) in same {
            if there != said.as_bytes() {
                self.find(row, What::Contradicts { column });
            }
        }
        // A moment can be written in several ways, and the home has it as it came.
        let there = std::str::from_utf8(row.at).ok();
        let there = there.and_then(|it| Time::parse_from_rfc3339(it).ok());
        if there.is_none_or(|it| (it, it.offset()) != (fact.at, fact.at.offset())) {
            self.find(row, What::Contradicts { column: "at" });
        }
    }

    /// Whether the fact is about the resident that the column beside it says.
    pub(crate) fn resident(&mut self, row: &Columns<'_>, there: Option<&str>) {
        #[derive(Deserialize)]
        struct About {
            resident: Option<String>,
        }
        let said = serde_json::from_slice::<About>(row.fact);
        if said.is_ok_and(|it| it.resident.as_deref() != there) {
            let column = "resident";
            self.find(row, What::Contradicts { column });
        }
    }

    pub(crate) fn end(mut self, head: Option<&Head>) -> Vec<Finding> {
        match head {
            Some(head) if head.seq == self.last && head.hash == self.before => {}
            Some(head) if head.seq >= self.next => {
                let (from, to) = (self.next, head.seq);
                let what = What::CutOff { from, to };
                self.findings.push(about(None, None, what));
            }
            // The hash of the last fact, and not the head, may be what changed.
            Some(head) if head.seq == self.last && self.last_is_broken(&head.hash) => {}
            _ => self.findings.push(about(None, None, What::HeadChanged)),
        }
        let unknown = std::mem::take(&mut self.known);
        self.name_broken();
        self.findings.sort_by_key(|it| it.row.unwrap_or(i64::MAX));
        let unknown = unknown
            .into_iter()
            .map(|it| What::Unknown { head: it.clone() });
        self.findings
            .extend(unknown.map(|it| about(None, None, it)));
        self.findings
    }

    fn last_is_broken(&self, head: &Hash) -> bool {
        let last = self.broken.last().filter(|it| it.seq == self.last);
        last.is_some_and(|it| link(&it.before, &it.at(it.seq)) == *head)
    }

    /// Says of each broken row whether it, its hash, or its place was changed.
    fn name_broken(&mut self) {
        let broken = std::mem::take(&mut self.broken);
        let mut carried = false;
        for (at, row) in broken.iter().enumerate() {
            let right = link(&row.before, &row.at(row.seq));
            let next = broken.get(at + 1).filter(|it| it.seq == row.seq + 1);
            let hash_changed = next.is_some_and(|it| link(&right, &it.at(it.seq)) == it.there);
            let what = match home_of(row, &broken) {
                Some(from) => What::Moved { from },
                None if hash_changed => What::HashChanged,
                None => What::Changed,
            };
            let [id, ..] = &row.columns;
            // A row that only follows a changed hash is itself as it was.
            if !carried {
                self.findings
                    .push(about(Some(row.seq), Some(id), what.clone()));
            }
            carried = !carried && what == What::HashChanged;
        }
    }
}

/// The place in which a row would be right, among those that are not.
fn home_of(row: &Broken, broken: &[Broken]) -> Option<i64> {
    if broken.len() > MOVED {
        return None;
    }
    let places = broken.iter().map(|it| it.seq).filter(|it| *it != row.seq);
    let mut pairs = places.flat_map(|seq| {
        let befores = broken.iter().flat_map(|it| [it.before, it.there]);
        befores.map(move |before| (seq, before))
    });
    pairs.find_map(|(seq, before)| (link(&before, &row.at(seq)) == row.there).then_some(seq))
}
