//! What goes to the home's record and comes from there.

use fastrand::Rng;
use rusqlite::Connection;
use sayback::facts::{Body, Fact, KeptReading};
use sayback::residents::ResidentId;
use sayback::round::{Round, Silent};
use sayback::store::{Key, RawFact, RawStored, Store, StoreError, What};
use uuid::Uuid;

use super::noticed::Noticed;
use super::{DIALOGUE, ids, note, now, record, three};

fn raw(fact: &Fact<KeptReading>) -> RawFact {
    RawFact {
        id: fact.id,
        text: serde_json::to_value(fact).unwrap().to_string(),
    }
}

fn numbers(store: &Store) -> Vec<u128> {
    ids(store).iter().map(Uuid::as_u128).collect()
}

fn handed(stored: &[RawStored]) -> Vec<RawFact> {
    let id = |text: &str| serde_json::from_str::<Fact>(text).unwrap().id;
    let one = |it: &RawStored| RawFact {
        id: id(&it.text),
        text: it.text.clone(),
    };
    stored.iter().map(one).collect()
}

/// Two records that hand each other what the other has not hold the same facts
/// in the end, each once, and nothing is handed back.
#[test]
fn two_records_that_exchange_hold_the_same() {
    let (_here, path) = record();
    let (_there, other) = record();
    let mut pair = [Store::open(&path).unwrap(), Store::open(&other).unwrap()];
    let mut sent = [0, 0];
    let mut rng = Rng::with_seed(3);
    let mut made = 0;
    for turn in 0..60 {
        let from = rng.usize(0..2);
        if turn < 50 {
            made += 1;
            pair[from].append(&[&note(made, "made here")]).unwrap();
        }
        let most = rng.usize(1..4);
        let batch = pair[from].unsent(sent[from], most).unwrap();
        let facts = handed(&batch);
        assert_eq!(pair[1 - from].append_fetched(&facts).unwrap(), facts.len());
        // As after a lost answer: the same again is no error and no fact more.
        assert_eq!(pair[1 - from].append_fetched(&facts).unwrap(), 0);
        sent[from] = batch.last().map_or(sent[from], |it| it.seq);
    }
    for from in [0, 1] {
        let rest = pair[from].unsent(sent[from], usize::MAX).unwrap();
        pair[1 - from].append_fetched(&handed(&rest)).unwrap();
    }
    let all: std::collections::BTreeSet<u128> = (1..=made).collect();
    for store in &pair {
        assert!(store.check(&[]).unwrap().sound());
        let there = numbers(store);
        assert_eq!(there.len(), all.len());
        assert_eq!(
            there.into_iter().collect::<std::collections::BTreeSet<_>>(),
            all
        );
    }
    let own: usize = pair.iter().map(|it| it.unsent(0, 999).unwrap().len()).sum();
    assert_eq!(own, all.len(), "each is one record's own");
}

/// The text and the link are those of the file, byte for byte.
#[test]
fn what_is_unsent_is_the_exact_text_with_its_link() {
    let (_folder, path) = three();
    let mut store = Store::open(&path).unwrap();
    store
        .append_fetched(&[raw(&note(7, "from the home"))])
        .unwrap();
    store.append(&[&note(8, "made here")]).unwrap();
    let unsent = store.unsent(1, 2).unwrap();
    assert_eq!(unsent.iter().map(|it| it.seq).collect::<Vec<_>>(), [2, 3]);
    let unsent = store.unsent(2, 9).unwrap();
    assert_eq!(unsent.iter().map(|it| it.seq).collect::<Vec<_>>(), [3, 5]);
    let other = Connection::open(&path).unwrap();
    let (text, hash): (String, Vec<u8>) = other
        .query_row("SELECT fact, chain FROM facts WHERE seq = 5", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .unwrap();
    assert_eq!((&unsent[1].text, unsent[1].hash.to_vec()), (&text, hash));
    let head = store.head().unwrap().unwrap();
    assert_eq!(head.hash, sayback::store::hex(&unsent[1].hash));
}

#[test]
fn what_something_else_put_in_is_not_sent() {
    let (_folder, path) = three();
    let other = Connection::open(&path).unwrap();
    let insert = "INSERT INTO facts (id, round, at, kind, fact) VALUES ('x', '', '', '', '{}')";
    other.execute(insert, []).unwrap();
    let store = Store::open(&path).unwrap();
    assert_eq!(store.unsent(0, 9).unwrap().len(), 3);
    let found = store.check(&[]).unwrap().findings;
    assert!(found.iter().any(|it| it.what == What::Added));
}

/// All of a batch or none, and why not in words.
#[test]
fn what_is_no_fact_or_another_one_is_refused_by_name() {
    let (_folder, path) = three();
    let mut store = Store::open(&path).unwrap();
    let good = raw(&note(4, "good"));
    let bad = [
        (raw(&note(2, "otherwise")), "another in this record"),
        (
            RawFact {
                id: Uuid::from_u128(5),
                text: good.text.clone(),
            },
            "another identifier",
        ),
        (
            RawFact {
                id: Uuid::from_u128(5),
                text: "{\"id\": 5".to_owned(),
            },
            "does not say what it is",
        ),
    ];
    for (bad, why) in bad {
        let error = store.append_fetched(&[good.clone(), bad.clone()]);
        let Err(error @ StoreError::Refused { .. }) = error else {
            panic!("{bad:?}: {error:?}");
        };
        let said = error.to_string();
        assert!(
            said.contains(why) && said.contains(&bad.id.to_string()),
            "{said}"
        );
        assert_eq!(numbers(&store), [1, 2, 3]);
    }
    assert_eq!(store.append_fetched(&[good]).unwrap(), 1);
    assert!(store.check(&[]).unwrap().sound());
}

/// JSON has several ways to write a letter: `\u006eoted` is `noted`.
#[test]
fn a_kind_written_with_an_escape_is_the_kind_it_says() {
    let (_folder, path) = three();
    let mut store = Store::open(&path).unwrap();
    let mut escaped = raw(&note(4, ""));
    escaped.text = escaped.text.replace("\"noted\"", "\"\\u006eoted\"");
    assert!(escaped.text.contains("u006e"), "{}", escaped.text);
    assert_eq!(store.append_fetched(&[escaped]).unwrap(), 1);
    let found = store.check(&[]).unwrap().findings;
    assert_eq!(found, vec![]);
}

/// Of a kind that this version does not know.
fn newer(number: u128) -> RawFact {
    let mut newer = raw(&note(number, ""));
    newer.text = newer.text.replace("\"noted\"", "\"sung\"");
    newer
}

/// A kind that this version does not know is kept for one that does, and is told
/// apart from what can be read.
#[test]
fn a_fact_of_a_newer_version_is_kept() {
    let (_folder, path) = three();
    let mut store = Store::open(&path).unwrap();
    assert_eq!(store.append_fetched(&[newer(4)]).unwrap(), 1);
    store.append(&[&note(5, "after it")]).unwrap();
    let read = store.facts_after(3, 9).unwrap();
    let read: Vec<bool> = read.iter().map(|it| it.fact.is_ok()).collect();
    assert_eq!(read, [false, true]);
    let resident = ResidentId("AR-090".into());
    for read in [store.readable(), store.facts_about(&resident)] {
        let read = read.unwrap();
        assert_eq!(read.facts.len(), 4);
        let [unread] = &read.unread[..] else {
            panic!("{:?}", read.unread);
        };
        assert_eq!(unread.id, Uuid::from_u128(4));
        assert_eq!(unread.resident.as_ref(), Some(&resident));
        assert!(unread.problem.contains("no known form"));
    }
    assert!(store.facts().is_err(), "where none may be lacking");
}

/// It is whole, and there is no backup of a record that is not. What was changed, or
/// was recorded here, is found all the same.
#[test]
fn what_only_a_newer_version_can_read_is_no_damage() {
    let (folder, path) = three();
    let mut store = Store::open(&path).unwrap();
    store.append_fetched(&[newer(4)]).unwrap();
    let report = store.check(&[]).unwrap();
    assert_eq!((report.findings, report.unread), (vec![], 1));
    let copy = folder.path().join("copy.db");
    assert_eq!(store.backup(&copy, &Key::None).unwrap().facts, 4);
    let found = |change: &str| {
        let other = Connection::open(&copy).unwrap();
        other.execute_batch(change).unwrap();
        let report = Store::open(&copy).unwrap().check(&[]).unwrap();
        let found = |what: fn(&What) -> bool| report.findings.iter().any(|it| what(&it.what));
        assert_eq!(report.unread, 0, "{change}");
        assert!(
            found(|it| matches!(it, What::Unreadable { .. })),
            "{change}"
        );
        found(|it| matches!(it, What::Changed))
    };
    let change = "UPDATE facts SET fact = replace(fact, 'sung', 'hummed') WHERE seq = 4";
    assert!(found(&format!(
        "DROP TRIGGER facts_never_change; {change};"
    )));
    let undone = change.replace("'sung', 'hummed'", "'hummed', 'sung'");
    assert!(!found(&format!("{undone}; DELETE FROM came")));
}

/// What another's newer version recorded must not keep this recorder from its
/// rounds. What was recorded here and can't be read still does.
#[test]
fn a_round_begins_on_what_came_and_can_not_be_read() {
    let (_folder, path) = three();
    let mut store = Store::open(&path).unwrap();
    store.append_fetched(&[newer(4)]).unwrap();
    let mut screen = Noticed::default();
    let opened = Round::open(&DIALOGUE, &mut store, now(), &mut screen);
    assert!(opened.is_ok());
    drop(opened);
    assert!(
        matches!(&screen.0[..], [it] if it.starts_with("1 of the entries")),
        "{:?}",
        screen.0
    );
    // The same not marked as come from there.
    let other = Connection::open(&path).unwrap();
    other.execute_batch("DELETE FROM came").unwrap();
    assert!(matches!(store.readable(), Err(StoreError::Damaged { .. })));
    let opened = Round::open(&DIALOGUE, &mut store, now(), &mut Silent);
    assert!(matches!(opened.err(), Some(StoreError::Damaged { .. })));
}

/// A signature made at the home holds the home's head, which is another than
/// this record's: that is no sign of tampering. One made here still is checked.
#[test]
fn a_signature_of_the_home_is_not_held_against_this_record() {
    let (_folder, path) = three();
    let mut store = Store::open(&path).unwrap();
    let signed = |number, head| {
        let mut fact = note(number, "");
        let signed = Uuid::from_u128(77);
        fact.body = Body::Signed { signed, head };
        fact
    };
    let head = format!("900:{}", "5a".repeat(32)).parse().unwrap();
    store
        .append_fetched(&[raw(&signed(4, Some(head)))])
        .unwrap();
    store.append(&[&signed(5, None)]).unwrap();
    let report = store.check(&[]).unwrap();
    assert_eq!((report.findings, report.signatures), (vec![], 1));
    // The same not marked as come from there is found.
    let other = Connection::open(&path).unwrap();
    other.execute_batch("DELETE FROM came").unwrap();
    let found = store.check(&[]).unwrap().findings;
    assert!(
        matches!(&found[..], [it] if matches!(it.what, What::SignedAnother { .. })),
        "{found:?}"
    );
}
