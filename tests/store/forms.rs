//! Records of every older form stay readable, and become records of this form
//! when they are opened. Each file in tests/data/records was made by the
//! version that wrote that form, with `sayback record --json` beside it.

use std::path::{Path, PathBuf};

use rusqlite::Connection;
use sayback::facts::{Fact, Record};
use sayback::store::{Store, What};
use tempfile::TempDir;

fn form_1() -> (TempDir, PathBuf) {
    let (folder, path) = super::record();
    let made = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/records/form-1.db");
    std::fs::copy(made, &path).unwrap();
    (folder, path)
}

fn expected() -> Vec<Fact> {
    let lines = include_str!("../data/records/form-1.jsonl").lines();
    lines.map(|it| serde_json::from_str(it).unwrap()).collect()
}

fn user_version(path: &Path) -> i32 {
    let other = Connection::open(path).unwrap();
    other
        .pragma_query_value(None, "user_version", |it| it.get(0))
        .unwrap()
}

#[test]
fn a_record_of_form_1_is_upgraded_once_and_reads_as_before() {
    let (_folder, path) = form_1();
    let expected = expected();
    let kinds: std::collections::BTreeSet<_> = expected
        .iter()
        .map(|it| serde_json::to_value(it).unwrap()["kind"].to_string())
        .collect();
    assert!(kinds.len() >= 18, "every kind but one: {kinds:?}");
    assert_eq!(user_version(&path), 1);
    let mut store = Store::open(&path).unwrap();
    assert_eq!(store.upgraded(), Some(46));
    assert_eq!(store.facts().unwrap(), expected);
    assert_eq!(user_version(&path), 2);
    let report = store.check(&[]).unwrap();
    assert_eq!(report.findings, []);
    assert_eq!(
        report.chained_from, 47,
        "nothing of before was chained then"
    );
    store
        .append(&[&super::note(1, "the first of form 2")])
        .unwrap();
    drop(store);

    let store = Store::open(&path).unwrap();
    assert_eq!(store.upgraded(), None, "once");
    let report = store.check(&[]).unwrap();
    assert!(report.sound());
    assert_eq!((report.facts, report.chained_from), (47, 47));
    assert_eq!(Record::of(&store.facts().unwrap()), Record::of(&expected));
}

#[test]
fn reading_upgrades_too() {
    let (_folder, path) = form_1();
    let store = Store::open_to_read(&path).unwrap();
    assert_eq!(store.upgraded(), Some(46));
    assert!(store.check(&[]).unwrap().sound());
}

/// One of two programs that start at the same time does it.
#[test]
fn several_can_open_an_old_record_at_once() {
    for _ in 0..5 {
        let (_folder, path) = form_1();
        let upgraded: i64 = std::thread::scope(|scope| {
            let open = || Store::open(&path).unwrap().upgraded().is_some();
            let threads: Vec<_> = (0..4).map(|_| scope.spawn(open)).collect();
            let done = threads.into_iter().map(|it| i64::from(it.join().unwrap()));
            done.sum()
        });
        assert_eq!(upgraded, 1);
        assert!(Store::open(&path).unwrap().check(&[]).unwrap().sound());
    }
}

/// A stop in the middle of an upgrade leaves the older form: the upgrade is cut
/// off by a file that may not grow.
#[test]
fn an_upgrade_that_fails_changes_nothing() {
    let (_folder, path) = form_1();
    let other = Connection::open(&path).unwrap();
    // The hashes no longer fit; the record says why it can't be opened.
    other.execute_batch("CREATE TABLE head (x)").unwrap();
    drop(other);
    let error = Store::open(&path).err().unwrap().to_string();
    assert!(error.contains("head"), "{error}");
    assert_eq!(user_version(&path), 1);
    let other = Connection::open(&path).unwrap();
    other.execute_batch("DROP TABLE head").unwrap();
    drop(other);
    let store = Store::open(&path).unwrap();
    assert_eq!(store.facts().unwrap(), expected());
    assert!(store.check(&[]).unwrap().sound());
}

#[test]
fn a_change_after_the_upgrade_is_found_in_what_was_before_it() {
    let (_folder, path) = form_1();
    drop(Store::open(&path).unwrap());
    let other = Connection::open(&path).unwrap();
    other
        .execute_batch(
            "DROP TRIGGER facts_never_change;
             UPDATE facts SET fact = replace(fact, '151', '115') WHERE kind = 'corrected';",
        )
        .unwrap();
    drop(other);
    let found = Store::open(&path).unwrap().check(&[]).unwrap().findings;
    let changed = found
        .iter()
        .any(|it| it.what == What::Changed && it.row == Some(40));
    assert!(changed, "{found:?}");
}
