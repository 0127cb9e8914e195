//! Records of every older form stay readable, and become records of this form
//! when they are opened. Each file in tests/data/records was made by the
//! version that wrote that form, with `sayback record --json` beside it.

use std::path::{Path, PathBuf};

use rusqlite::Connection;
use sayback::facts::{Body, Fact, Record};
use sayback::residents::ResidentId;
use sayback::store::{Key, Store, What, encrypt};
use sayback::vitals::{Arm, Measurement, Numbers, Qualifier, Qualifiers, Unit, VitalSign};
use tempfile::TempDir;
use uuid::Uuid;

/// The form of this version.
const SCHEMA: i32 = 5;

fn form(number: u8) -> (TempDir, PathBuf) {
    let (folder, path) = super::record();
    let made = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/records");
    std::fs::copy(made.join(format!("form-{number}.db")), &path).unwrap();
    (folder, path)
}

fn form_1() -> (TempDir, PathBuf) {
    form(1)
}

fn lines(text: &str) -> Vec<Fact> {
    let lines = text.lines();
    lines.map(|it| serde_json::from_str(it).unwrap()).collect()
}

fn expected() -> Vec<Fact> {
    lines(include_str!("../data/records/form-1.jsonl"))
}

/// Form 1 in its beginning, upgraded to form 2, then a round recorded and signed
/// in form 2.
fn expected_2() -> Vec<Fact> {
    lines(include_str!("../data/records/form-2.jsonl"))
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
    assert_eq!(user_version(&path), SCHEMA);
    let report = store.check(&[]).unwrap();
    assert_eq!(report.findings, []);
    assert_eq!(
        report.chained_from, 47,
        "nothing of before was chained then"
    );
    store
        .append(&[&super::note(1, "the first of this form")])
        .unwrap();
    drop(store);

    let store = Store::open(&path).unwrap();
    assert_eq!(store.upgraded(), None, "once");
    let report = store.check(&[]).unwrap();
    assert!(report.sound());
    assert_eq!((report.facts, report.chained_from), (47, 47));
    assert_eq!(Record::of(&store.facts().unwrap()), Record::of(&expected));
}

/// The chain, the signature and what was said of the chain's beginning are those
/// of before.
#[test]
fn a_record_of_form_2_is_upgraded_once_and_its_chain_is_as_before() {
    let (_folder, path) = form(2);
    let expected = expected_2();
    assert_eq!(user_version(&path), 2);
    let head: Vec<u8> = Connection::open(&path)
        .unwrap()
        .query_row("SELECT hash FROM head", [], |it| it.get(0))
        .unwrap();
    let mut store = Store::open(&path).unwrap();
    assert_eq!(store.upgraded(), None, "nothing was chained anew");
    assert_eq!(user_version(&path), SCHEMA);
    assert_eq!(store.facts().unwrap(), expected);
    let report = store.check(&[]).unwrap();
    assert_eq!(report.findings, []);
    let told = (report.facts, report.chained_from, report.signatures);
    assert_eq!(told, (54, 47, 1));
    let same = sayback::store::hex(&head);
    assert_eq!(store.head().unwrap().unwrap().hash, same);
    finds(&store, &expected);
    store.append(&[&super::note(9, "of this form")]).unwrap();
    assert!(store.check(&[]).unwrap().sound());
}

/// The tables are those of before; what may stand in them is more.
#[test]
fn records_of_forms_3_and_4_are_upgraded_once_and_may_hold_what_they_could_not() {
    let made = [
        (3, include_str!("../data/records/form-3.jsonl")),
        (4, include_str!("../data/records/form-4.jsonl")),
    ];
    for (number, made) in made {
        let (_folder, path) = form(number);
        let expected = lines(made);
        assert_eq!(user_version(&path), i32::from(number));
        let mut store = Store::open(&path).unwrap();
        assert_eq!(store.upgraded(), None, "nothing was chained anew");
        assert_eq!(user_version(&path), SCHEMA);
        assert_eq!(store.facts().unwrap(), expected);
        finds(&store, &expected);
        // Form 3 knew no pressure without a diastolic, form 4 none at a wrist.
        let numbers = Numbers::Palpated(110.into());
        let mut how = Qualifiers::default();
        how.set(Qualifier::Arm(Arm::LeftWrist));
        let palpated =
            Measurement::new(VitalSign::BloodPressure, numbers, Unit::MmHg, how).unwrap();
        let mut unconfirmed = super::note(9, "");
        unconfirmed.body = Body::Unconfirmed {
            offer: Uuid::from_u128(99),
            resident: ResidentId("AR-042".to_owned()),
            readings: vec![palpated],
        };
        store.append(&[&unconfirmed]).unwrap();
        let kept = serde_json::to_value(store.facts().unwrap().last()).unwrap();
        assert_eq!(kept, serde_json::to_value(&unconfirmed).unwrap());
        assert!(store.check(&[]).unwrap().sound());
    }
}

/// The index finds what looking through all facts finds.
fn finds(store: &Store, all: &[Fact]) {
    let about = |it: &Fact| serde_json::to_value(it).unwrap()["resident"].clone();
    let rounds: std::collections::BTreeSet<_> = all.iter().map(|it| it.round).collect();
    let residents: std::collections::BTreeSet<_> = all
        .iter()
        .filter_map(|it| about(it).as_str().map(str::to_owned))
        .collect();
    assert!(rounds.len() > 1 && residents.len() > 1);
    for round in rounds {
        let of: Vec<_> = all.iter().filter(|it| it.round == round).cloned().collect();
        assert_eq!(store.facts_of_round(round).unwrap().facts, of);
    }
    for id in residents {
        let of = all.iter().filter(|it| about(it) == *id).cloned();
        let of: Vec<_> = of.collect();
        assert_eq!(store.facts_about(&ResidentId(id)).unwrap().facts, of);
    }
    let nobody = ResidentId("AR-000".to_owned());
    assert!(store.facts_about(&nobody).unwrap().facts.is_empty());
}

/// What was put in by something else, and is no JSON, does not keep the record
/// from being opened.
#[test]
fn a_foreign_row_does_not_stop_an_upgrade() {
    let (_folder, path) = form(2);
    let other = Connection::open(&path).unwrap();
    let insert = "INSERT INTO facts (id, round, at, kind, fact) VALUES (?, '', '', '', ?)";
    for (id, text) in [("half", r#"{"resident": "AR"#), ("list", "[1]")] {
        other.execute(insert, [id, text]).unwrap();
    }
    let odd = r#"{"resident": {"of": 7}}"#;
    other.execute(insert, ["odd", odd]).unwrap();
    drop(other);
    let store = Store::open(&path).unwrap();
    assert_eq!(user_version(&path), SCHEMA);
    let found = store.check(&[]).unwrap().findings;
    let added = found.iter().filter(|it| it.what == What::Added).count();
    assert_eq!(added, 3, "{found:?}");
}

/// Copied, encrypted and put back, it is found in as before.
#[test]
fn what_facts_are_found_by_goes_with_every_copy() {
    let (folder, path) = form(2);
    drop(Store::open(&path).unwrap());
    let key = Key::File(folder.path().join("record.key"));
    encrypt(&path, &key).unwrap();
    let store = Store::open_with(&path, &key).unwrap();
    assert!(store.encrypted());
    finds(&store, &expected_2());
    let copy = folder.path().join("copy.db");
    store.backup(&copy, &key).unwrap();
    let back = folder.path().join("back.db");
    sayback::store::restore(&copy, &back, &key).unwrap();
    finds(&Store::open_with(&back, &key).unwrap(), &expected_2());
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
