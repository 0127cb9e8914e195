//! Whatever is done to the stored facts behind the program's back is found, and
//! the row is named.

use std::path::{Path, PathBuf};

use fastrand::Rng;
use rusqlite::Connection;
use rusqlite::types::Value;
use sayback::facts::{Body, ChainHead, Fact, KeptReading};
use sayback::store::{Finding, Report, Store, StoreError, What};
use sha2::{Digest as _, Sha256};
use tempfile::TempDir;
use uuid::Uuid;

use super::{note, record};

/// How many random tampers of each kind.
const TRIES: usize = 60;
const FACTS: i64 = 24;

fn signed(number: u128) -> Fact<KeptReading> {
    let mut fact = note(number, "");
    let round = Uuid::from_u128(77);
    fact.body = Body::Signed {
        signed: round,
        head: None,
    };
    fact
}

/// Remarks, and two signatures among them.
fn sample() -> (TempDir, PathBuf) {
    let (folder, path) = record();
    let mut store = Store::open(&path).unwrap();
    for number in 1..=u128::try_from(FACTS).unwrap() {
        let fact = match number {
            9 | 20 => signed(number),
            _ => note(number, &format!("remark {number} of some length")),
        };
        store.append(&[&fact]).unwrap();
    }
    (folder, path)
}

fn check(path: &Path) -> Report {
    Store::open_to_read(path).unwrap().check(&[]).unwrap()
}

/// Changes the file as another program would, with the guards out of the way
/// and put back as they were.
fn tamper(path: &Path, change: impl FnOnce(&Connection)) {
    let other = Connection::open(path).unwrap();
    other.execute_batch("PRAGMA synchronous = OFF").unwrap();
    let select = "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'";
    let guards: Vec<(String, String)> = {
        let mut select = other.prepare(select).unwrap();
        let rows = select.query_map([], |it| Ok((it.get(0)?, it.get(1)?)));
        rows.unwrap().map(Result::unwrap).collect()
    };
    assert_eq!(guards.len(), 3);
    for (name, _) in &guards {
        other
            .execute_batch(&format!("DROP TRIGGER {name}"))
            .unwrap();
    }
    change(&other);
    for (_, sql) in &guards {
        other.execute_batch(sql).unwrap();
    }
}

/// Runs one kind of tampering many times on copies, and says of each what the
/// check found.
fn tampered(change: impl Fn(&Connection, &mut Rng) -> String) -> Vec<(String, Report)> {
    let (folder, path) = sample();
    let mut rng = Rng::with_seed(5);
    let mut all = Vec::new();
    for at in 0..TRIES {
        let copy = folder.path().join(format!("copy-{at}.db"));
        std::fs::copy(&path, &copy).unwrap();
        let mut what = String::new();
        tamper(&copy, |it| what = change(it, &mut rng));
        let report = check(&copy);
        assert!(!report.sound(), "{what} was not found");
        all.push((what, report));
    }
    println!("figure: {TRIES} tampers of one kind: all found");
    all
}

fn names(report: &Report, row: i64) -> bool {
    report.findings.iter().any(|it| it.row == Some(row))
}

fn row(rng: &mut Rng) -> i64 {
    rng.i64(1..=FACTS)
}

#[test]
fn an_untouched_record_is_sound() {
    let (_folder, path) = sample();
    let report = check(&path);
    assert_eq!(report.findings, []);
    assert_eq!((report.facts, report.chained_from), (FACTS, 1));
    assert_eq!(report.signatures, 2);
    assert_eq!(report.head.unwrap().seq, FACTS);
    let (_folder, path) = record();
    drop(Store::open(&path).unwrap());
    assert!(check(&path).sound(), "an empty one");
}

/// One byte, in any column of any row.
#[test]
fn a_changed_byte_is_found_in_every_column() {
    let mut columns = std::collections::BTreeSet::new();
    let all = tampered(|other, rng| {
        let row = row(rng);
        let column = rng.choice(["id", "round", "at", "kind", "fact", "chain"]);
        let column = column.unwrap();
        let read = format!("SELECT CAST({column} AS BLOB) FROM facts WHERE seq = ?");
        let mut bytes: Vec<u8> = other.query_row(&read, [row], |it| it.get(0)).unwrap();
        let cast = if column == "chain" {
            "?"
        } else {
            "CAST(? AS TEXT)"
        };
        let write = format!("UPDATE facts SET {column} = {cast} WHERE seq = ?");
        loop {
            let (at, bit) = (rng.usize(0..bytes.len()), 1 << rng.u8(0..8));
            bytes[at] ^= bit;
            // The database itself refuses the identifier of another fact.
            if other.execute(&write, rusqlite::params![bytes, row]).is_ok() {
                return format!("{row} {column} byte {at}");
            }
            bytes[at] ^= bit;
        }
    });
    for (what, report) in &all {
        let mut words = what.split(' ');
        let row = words.next().unwrap().parse().unwrap();
        let column = words.next().unwrap();
        columns.insert(column.to_owned());
        assert!(names(report, row), "{what}: {:?}", report.findings);
        let changed = |it: &&Finding| matches!(it.what, What::Changed | What::HashChanged);
        let rows: Vec<_> = report.findings.iter().filter(changed).collect();
        assert!(
            rows.iter().all(|it| it.row == Some(row)),
            "{what}: {rows:?}"
        );
        if column != "chain" {
            assert!(rows.iter().any(|it| it.what == What::Changed), "{what}");
        }
    }
    assert_eq!(columns.len(), 6, "{columns:?}");
}

#[test]
fn a_deleted_row_is_found() {
    for (what, report) in tampered(|other, rng| {
        let row = row(rng);
        other
            .execute("DELETE FROM facts WHERE seq = ?", [row])
            .unwrap();
        row.to_string()
    }) {
        let row: i64 = what.parse().unwrap();
        let removed = |it: &Finding| match it.what {
            What::Removed { to } => it.row == Some(row) && to == row,
            What::CutOff { from, to } => (from, to) == (row, row),
            _ => false,
        };
        assert!(
            report.findings.iter().any(removed),
            "{what}: {:?}",
            report.findings
        );
    }
}

/// Deleted, and those after it moved up, so that no number is missing.
#[test]
fn a_deleted_row_is_found_when_the_gap_is_closed() {
    for (what, report) in tampered(|other, rng| {
        let row = row(rng);
        other
            .execute("DELETE FROM facts WHERE seq = ?", [row])
            .unwrap();
        other
            .execute("UPDATE facts SET seq = seq - 1 WHERE seq > ?", [row])
            .unwrap();
        row.to_string()
    }) {
        let row: i64 = what.parse().unwrap();
        let there = names(&report, row) || row == FACTS;
        assert!(there, "{what}: {:?}", report.findings);
    }
}

#[test]
fn rows_that_changed_places_are_found() {
    for (what, report) in tampered(|other, rng| {
        let (a, b) = (row(rng), row(rng));
        let b = if a == b { a % FACTS + 1 } else { b };
        for (from, to) in [(a, -1), (b, a), (-1, b)] {
            other
                .execute("UPDATE facts SET seq = ? WHERE seq = ?", [to, from])
                .unwrap();
        }
        format!("{a} {b}")
    }) {
        let rows: Vec<i64> = what.split(' ').map(|it| it.parse().unwrap()).collect();
        for (row, from) in [(rows[0], rows[1]), (rows[1], rows[0])] {
            let moved = |it: &Finding| it.row == Some(row) && it.what == What::Moved { from };
            assert!(
                report.findings.iter().any(moved),
                "{what}: {:?}",
                report.findings
            );
        }
    }
}

/// With no hash, a made-up one, or another row's; at the end or in the middle.
#[test]
fn an_added_row_is_found() {
    for (what, report) in tampered(|other, rng| {
        let at = rng.i64(2..=FACTS + 1);
        let mut after: Vec<i64> = (at..=FACTS).collect();
        after.reverse();
        for row in after {
            other
                .execute("UPDATE facts SET seq = seq + 1 WHERE seq = ?", [row])
                .unwrap();
        }
        let chain = match rng.u8(0..3) {
            0 => Value::Null,
            1 => Value::Blob((0..32).map(|_| rng.u8(..)).collect()),
            _ => other
                .query_row("SELECT chain FROM facts WHERE seq = 1", [], |it| it.get(0))
                .unwrap(),
        };
        let id = Uuid::from_u128(999);
        let copy = "INSERT INTO facts
            SELECT ?1, ?2, round, at, kind, replace(fact, id, ?2), ?3 FROM facts WHERE seq = 1";
        other
            .execute(copy, rusqlite::params![at, id.to_string(), chain])
            .unwrap();
        at.to_string()
    }) {
        let row = what.parse().unwrap();
        assert!(names(&report, row), "{what}: {:?}", report.findings);
    }
}

#[test]
fn a_cut_off_end_is_found() {
    for (what, report) in tampered(|other, rng| {
        let from = rng.i64(1..=FACTS);
        other
            .execute("DELETE FROM facts WHERE seq >= ?", [from])
            .unwrap();
        from.to_string()
    }) {
        let from: i64 = what.parse().unwrap();
        let cut = What::CutOff { from, to: FACTS };
        assert!(report.findings.iter().any(|it| it.what == cut), "{what}");
    }
}

#[test]
fn what_the_record_keeps_of_itself_is_checked_too() {
    for change in [
        "DELETE FROM head",
        "UPDATE head SET seq = seq + 1",
        "UPDATE head SET seq = seq - 1",
        "UPDATE head SET hash = randomblob(32)",
        "UPDATE head SET hash = randomblob(31)",
        "UPDATE head SET chained_from = 7",
    ] {
        let (_folder, path) = sample();
        tamper(&path, |it| it.execute_batch(change).unwrap());
        assert!(!check(&path).sound(), "{change}");
    }
    for name in [
        "facts_never_change",
        "facts_never_replaced",
        "facts_never_go",
    ] {
        let (_folder, path) = sample();
        let other = Connection::open(&path).unwrap();
        other
            .execute_batch(&format!("DROP TRIGGER {name}"))
            .unwrap();
        let found = check(&path).findings;
        assert!(
            matches!(&found[..], [Finding { what: What::GuardGone { guard }, .. }] if *guard == name),
            "{found:?}"
        );
    }
}

/// The chain as the documentation describes it, written down a second time.
fn forge(other: &Connection) {
    let mut select = other
        .prepare("SELECT seq, id, round, at, kind, fact FROM facts ORDER BY seq")
        .unwrap();
    let rows = select.query_map([], |row| {
        let texts: Vec<String> = (1..6).map(|it| row.get(it).unwrap()).collect();
        Ok((row.get::<_, i64>(0)?, texts))
    });
    let mut hash = Sha256::new();
    hash.update(b"sayback record, chain 1");
    hash.update(1_i64.to_be_bytes());
    let mut before = hash.finalize();
    let mut last = 0;
    for row in rows.unwrap() {
        let (seq, texts) = row.unwrap();
        let mut hash = Sha256::new();
        hash.update(before);
        hash.update(seq.to_be_bytes());
        for text in texts {
            hash.update((text.len() as u64).to_be_bytes());
            hash.update(text);
        }
        before = hash.finalize();
        last = seq;
        other
            .execute(
                "UPDATE facts SET chain = ? WHERE seq = ?",
                rusqlite::params![before.as_slice(), seq],
            )
            .unwrap();
    }
    other
        .execute(
            "UPDATE head SET hash = ?, seq = ?",
            rusqlite::params![before.as_slice(), last],
        )
        .unwrap();
}

/// Someone who knows how the chain is made can make it anew. What was signed, and
/// what left the house with the head on it, tells.
#[test]
fn a_forged_chain_is_found_by_a_signature_and_by_a_known_head() {
    let (_folder, path) = sample();
    let before = Store::open_to_read(&path).unwrap().head().unwrap().unwrap();
    tamper(&path, forge);
    assert!(check(&path).sound(), "the same chain, made by the test");

    tamper(&path, |other| {
        let change =
            "UPDATE facts SET fact = replace(fact, 'remark 4 ', 'remark 5 ') WHERE seq = 4";
        assert_eq!(other.execute(change, []).unwrap(), 1);
        forge(other);
    });
    let found = check(&path).findings;
    let rows: Vec<_> = found.iter().map(|it| it.row).collect();
    assert_eq!(rows, [Some(9), Some(20)], "{found:?}");
    assert!(matches!(found[0].what, What::SignedAnother { .. }));

    let store = Store::open_to_read(&path).unwrap();
    let report = store.check(std::slice::from_ref(&before)).unwrap();
    let unknown = What::Unknown { head: before };
    assert!(report.findings.iter().any(|it| it.what == unknown));
}

/// After the last signature there is nothing inside the file that a forger could
/// not make anew: only a head that was taken out of it tells.
#[test]
fn an_end_cut_off_by_a_forger_is_found_by_a_known_head() {
    let (_folder, path) = sample();
    let known = Store::open_to_read(&path).unwrap().head().unwrap().unwrap();
    tamper(&path, |other| {
        other
            .execute("DELETE FROM facts WHERE seq > 21", [])
            .unwrap();
        forge(other);
    });
    assert!(check(&path).sound(), "said so in docs/threats.md");
    let report = Store::open_to_read(&path).unwrap().check(&[known]).unwrap();
    assert_eq!(report.findings.len(), 1);
}

#[test]
fn every_earlier_head_is_known_and_no_other() {
    let (_folder, path) = record();
    let mut store = Store::open(&path).unwrap();
    let mut heads = vec![store.head().unwrap().unwrap()];
    for number in 1..8 {
        store.append(&[&note(number, "one")]).unwrap();
        heads.push(store.head().unwrap().unwrap());
    }
    assert!(store.check(&heads).unwrap().sound());
    let text = heads[3].to_string();
    assert_eq!(text.parse::<ChainHead>().unwrap(), heads[3]);
    let mut other = heads[3].clone();
    other.seq = 4;
    assert_eq!(store.check(&[other]).unwrap().findings.len(), 1);
    for wrong in ["", "3", "3:ab", "x:", &text[1..], &format!("{text}0")] {
        assert!(wrong.parse::<ChainHead>().is_err(), "{wrong}");
    }
}

/// What another program put in does not stop the recorder, and stays found.
#[test]
fn recording_goes_on_after_a_foreign_row() {
    let (_folder, path) = sample();
    let other = Connection::open(&path).unwrap();
    let insert = "INSERT INTO facts (id, round, at, kind, fact) VALUES ('x', '', '', '', '{}')";
    other.execute(insert, []).unwrap();
    let mut store = Store::open(&path).unwrap();
    store.append(&[&note(100, "after it")]).unwrap();
    let found = store.check(&[]).unwrap().findings;
    assert!(
        found.iter().all(|it| it.row == Some(FACTS + 1)),
        "{found:?}"
    );
    assert!(found.iter().any(|it| it.what == What::Added));
}

#[test]
fn a_record_without_its_head_takes_no_more() {
    let (_folder, path) = sample();
    tamper(&path, |it| it.execute_batch("DELETE FROM head").unwrap());
    let error = Store::open(&path).unwrap().append(&[&note(100, "")]);
    assert!(matches!(&error, Err(StoreError::Write(why)) if why.contains("sayback check")));
}
