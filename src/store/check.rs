//! The check of a record: does every fact follow from the one before, and is
//! the last one there?

use rusqlite::{Transaction, TransactionBehavior};
use serde::Deserialize;

use super::chain::{Columns, Hash, Head, beginning, link};
use super::damage::damage;
use super::error::StoreError;
use super::report::{Finding, Report, What};
use super::schema::{CHAINED, FOUND, missing_guards};
use super::{Store, exchange, parsed};
use crate::facts::{Body, ChainHead, Time};

/// No more rows than this are looked through for where each belongs.
const MOVED: usize = 40;

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
            unread: 0,
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
            let came = form >= FOUND && row.kind == b"signed";
            let came = came && exchange::came(&reading, row.seq).map_err(failed)?;
            walk.step(&row, chain, came);
        }
        report.signatures = walk.signatures;
        report.findings.extend(walk.end(head.as_ref()));
        report.put_by_unread(|seq| match form {
            FOUND.. => exchange::came(&reading, seq).map_err(failed),
            _ => Ok(false),
        })?;
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
