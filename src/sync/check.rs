//! The check of the home's record, by the same code as a record in a file.

use postgres::fallible_iterator::FallibleIterator as _;
use postgres::types::ToSql;
use postgres::{Client, IsolationLevel};

use super::{HomeRecord, Link, SyncError};
use crate::facts::ChainHead;
use crate::store::{Columns, Head, Report, StoreError, Walk, What, about};

/// What keeps facts and settings from being changed, whoever asks.
const GUARDS: [&str; 2] = ["fact_never_changes", "setting_never_changes"];

impl HomeRecord {
    /// As [`Store::check`](crate::store::Store::check). Others may append
    /// meanwhile.
    ///
    /// # Errors
    /// [`StoreError::Read`] when it can't be read at all.
    pub fn check(&mut self, known: &[ChainHead]) -> Result<Report, StoreError> {
        let report = self.twice(|client, link| check(client, link, known));
        report.map_err(|error| StoreError::Read(error.to_string()))
    }
}

fn check(client: &mut Client, link: &Link, known: &[ChainHead]) -> Result<Report, SyncError> {
    let transaction = client.build_transaction();
    // One state of the record, whoever appends meanwhile.
    let transaction = transaction.isolation_level(IsolationLevel::RepeatableRead);
    let mut transaction = transaction.read_only(true).start()?;
    transaction.batch_execute("SET LOCAL statement_timeout = 0")?;
    let head = "SELECT seq, hash, chained_from FROM sayback.home WHERE id = $1";
    let row = transaction.query_one(head, &[&link.home])?;
    let hash: Vec<u8> = row.get(1);
    let (seq, chained_from) = (row.get(0), row.get(2));
    let head = hash.try_into().ok().map(|hash| Head {
        seq,
        hash,
        chained_from,
    });
    let mut walk = Walk::new(chained_from, known);
    let all = "SELECT seq, id::text, round::text, at, kind, fact, hash, resident \
        FROM sayback.fact WHERE home = $1 ORDER BY seq";
    let home: [&(dyn ToSql + Sync); 1] = [&link.home];
    let mut facts = 0;
    let mut rows = transaction.query_raw(all, home)?;
    while let Some(row) = rows.next()? {
        let text = |at: usize| row.get::<_, &str>(at).as_bytes();
        let columns = Columns {
            seq: row.get(0),
            id: text(1),
            round: text(2),
            at: text(3),
            kind: text(4),
            fact: text(5),
        };
        walk.step(&columns, row.get(6), false);
        walk.resident(&columns, row.get(7));
        facts += 1;
    }
    drop(rows);
    let signatures = walk.signatures;
    let mut findings = walk.end(head.as_ref());
    for guard in GUARDS {
        let there = "SELECT count(*) FROM pg_trigger \
            WHERE tgname = $1 AND tgenabled IN ('O', 'A') AND tgrelid::regclass::text LIKE 'sayback.%'";
        let there: i64 = transaction.query_one(there, &[&guard])?.get(0);
        if there == 0 {
            findings.push(about(None, None, What::GuardGone { guard }));
        }
    }
    let mut report = Report {
        facts,
        head: head.as_ref().map(Head::public),
        chained_from,
        encrypted: None,
        signatures,
        unread: 0,
        findings,
    };
    report.put_by_unread(|_| Ok(true))?;
    Ok(report)
}
