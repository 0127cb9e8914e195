//! How the record finds what it is asked for.

use std::path::Path;

use rusqlite::OpenFlags;

use super::read::{ABOUT, OF_ROUND, selection};
use super::{Key, Store};
use crate::residents::ResidentId;

/// How SQLite says that it will find what a statement selects.
fn plan(store: &Store, statement: &str) -> String {
    let explain = format!("EXPLAIN QUERY PLAN {statement}");
    let mut explain = store.connection.prepare(&explain).unwrap();
    let with = rusqlite::params_from_iter(vec!["x"; explain.parameter_count()]);
    let steps = explain.query_map(with, |row| row.get::<_, String>(3));
    let steps: Vec<String> = steps.unwrap().map(Result::unwrap).collect();
    steps.join("; ")
}

#[test]
fn a_round_and_a_resident_are_found_without_reading_the_others() {
    let store = Store::in_memory().unwrap();
    for (which, index) in [(OF_ROUND, "facts_of_round"), (ABOUT, "facts_about")] {
        let plan = plan(&store, &selection(which));
        let sought = format!("SEARCH facts USING INDEX {index}");
        assert!(plan.starts_with(&sought), "{plan}");
        assert!(!plan.contains("TEMP B-TREE"), "sorted anew: {plan}");
    }
    let all = plan(&store, &selection("kind = ?"));
    assert!(all.starts_with("SCAN"), "a plan can say otherwise: {all}");
}

/// Where an older form may not be written it is read, found in and checked as it
/// is.
#[test]
fn an_older_form_is_read_as_it_is() {
    let records = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/records");
    for (form, facts, chained) in [("form-1.db", 46, false), ("form-2.db", 54, true)] {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(form);
        std::fs::copy(records.join(form), &path).unwrap();
        let read_only = OpenFlags::SQLITE_OPEN_READ_ONLY;
        let store = Store::connected(&path, read_only, &Key::None).unwrap();
        let all = store.facts().unwrap();
        assert_eq!(all.len(), facts);
        let last = all.last().unwrap();
        let of = all.iter().filter(|it| it.round == last.round).count();
        assert_eq!(store.facts_of_round(last.round).unwrap().facts.len(), of);
        let about = |it: &&crate::facts::Fact| {
            serde_json::to_value(it).unwrap()["resident"] == serde_json::json!("AR-090")
        };
        let of = all.iter().filter(about).count();
        let found = store.facts_about(&ResidentId("AR-090".to_owned()));
        assert!(of > 0);
        assert_eq!(found.unwrap().facts.len(), of);
        assert_eq!(store.head().unwrap().is_some(), chained);
        assert_eq!(store.check(&[]).unwrap().sound(), chained);
    }
}
