//! The record against what can happen to a file: other programs, other
//! versions, damage, no room, no right to write, and the end of the process at
//! any moment.

#![cfg(unix)]

mod clock;
mod crash;
mod damage;
mod exchange;
mod forms;
mod kept;
#[path = "../mounts/mod.rs"]
mod mounts;
#[path = "../noticed/mod.rs"]
mod noticed;
mod process;
mod tamper;

use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use rusqlite::Connection;
use sayback::dialogue::Dialogue;
use sayback::facts::{Body, Fact, KeptReading, NO_ROUND, Time, VERSION};
use sayback::grammar::Grammar;
use sayback::residents::{Home, ResidentId};
use sayback::store::{Store, StoreError};
use tempfile::TempDir;
use uuid::Uuid;

static DIALOGUE: LazyLock<Dialogue> = LazyLock::new(|| {
    let home = Home::from_toml(include_str!("../../audio-fixtures/demo-home.toml")).unwrap();
    let aide = home.aides[0].clone();
    Dialogue::new(home, aide, &Grammar::standard()).unwrap()
});

fn now() -> Time {
    Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap()
}

/// A remark, told from others by its number, and as long as its text.
fn note(number: u128, text: &str) -> Fact<KeptReading> {
    Fact {
        id: Uuid::from_u128(number),
        version: VERSION,
        at: now(),
        by: DIALOGUE.home().aides[0].clone(),
        round: NO_ROUND,
        body: Body::Noted {
            resident: ResidentId("AR-090".to_owned()),
            about: None,
            text: text.to_owned(),
        },
    }
}

fn ids(store: &Store) -> Vec<Uuid> {
    store.facts().unwrap().iter().map(|it| it.id).collect()
}

fn record() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    (folder, path)
}

/// A record with three remarks, closed.
fn three() -> (TempDir, PathBuf) {
    let (folder, path) = record();
    let mut store = Store::open(&path).unwrap();
    let notes: Vec<_> = (1..=3).map(|it| note(it, "as before")).collect();
    store.append(&notes.iter().collect::<Vec<_>>()).unwrap();
    (folder, path)
}

#[test]
fn what_was_stored_is_there_after_reopening() {
    let (_folder, path) = three();
    let mut store = Store::open(&path).unwrap();
    let expected = note(1, "as before");
    let stored = store.facts().unwrap().remove(0);
    assert_eq!(
        serde_json::to_value(stored).unwrap(),
        serde_json::to_value(expected).unwrap()
    );
    store.append(&[&note(4, "and one more")]).unwrap();
    drop(store);
    let store = Store::open_to_read(&path).unwrap();
    assert_eq!(ids(&store), [1, 2, 3, 4].map(Uuid::from_u128));
}

#[test]
fn the_file_is_its_owners_alone() {
    use std::os::unix::fs::PermissionsExt as _;
    let (_folder, path) = three();
    let mode = std::fs::metadata(&path).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
}

/// All of an append or none: a fact that is there already takes the others of
/// its append with it.
#[test]
fn an_append_is_whole_or_not_at_all() {
    let (_folder, path) = three();
    let mut store = Store::open(&path).unwrap();
    let failed = store.append(&[&note(4, "new"), &note(2, "there already")]);
    assert!(matches!(failed, Err(StoreError::Write(_))), "{failed:?}");
    assert_eq!(ids(&store), [1, 2, 3].map(Uuid::from_u128));
}

/// Whoever asks, with whatever program.
#[test]
fn the_file_itself_refuses_changes() {
    let (_folder, path) = three();
    let other = Connection::open(&path).unwrap();
    for (change, why) in [
        ("UPDATE facts SET fact = '{}'", "never changed"),
        (
            "UPDATE facts SET at = 'later' WHERE seq = 2",
            "never changed",
        ),
        ("DELETE FROM facts", "never deleted"),
        ("DELETE FROM facts WHERE seq = 3", "never deleted"),
        (
            "REPLACE INTO facts SELECT seq, id, round, at, kind, '{}', chain FROM facts WHERE seq = 1",
            "never changed",
        ),
        (
            "INSERT OR REPLACE INTO facts (id, round, at, kind, fact)
             SELECT id, round, at, kind, '{}' FROM facts WHERE seq = 1",
            "never changed",
        ),
    ] {
        let error = other.execute(change, []).unwrap_err().to_string();
        assert!(error.contains(why), "{change}: {error}");
    }
    drop(other);
    let store = Store::open(&path).unwrap();
    assert_eq!(ids(&store), [1, 2, 3].map(Uuid::from_u128));
}

fn refused(path: &Path) -> StoreError {
    let before = std::fs::read(path).unwrap();
    let error = Store::open(path).err().expect("it must not open");
    Store::open_to_read(path).err().expect("nor to be read");
    assert!(error.to_string().contains(&path.display().to_string()));
    assert_eq!(std::fs::read(path).unwrap(), before, "it was touched");
    error
}

#[test]
fn a_file_of_another_program_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let text = folder.path().join("letter.txt");
    std::fs::write(&text, "Dear Ms Marlow, this is no database at all.").unwrap();
    let error = refused(&text);
    assert!(matches!(error, StoreError::Foreign { .. }), "{error:?}");

    let recipes = folder.path().join("recipes.db");
    let other = Connection::open(&recipes).unwrap();
    other
        .execute("CREATE TABLE recipes (name TEXT)", [])
        .unwrap();
    drop(other);
    let error = refused(&recipes);
    assert!(matches!(error, StoreError::Foreign { .. }), "{error:?}");
    assert!(
        error.to_string().contains("give the file of one"),
        "{error}"
    );
}

#[test]
fn a_record_of_a_newer_version_is_left_alone() {
    let (_folder, path) = three();
    let other = Connection::open(&path).unwrap();
    other.pragma_update(None, "user_version", 7).unwrap();
    drop(other);
    let error = Store::open(&path).err().unwrap();
    assert!(
        matches!(error, StoreError::Newer { found: 7, .. }),
        "{error:?}"
    );
    assert!(error.to_string().contains("update"), "{error}");
}

#[test]
fn a_damaged_fact_is_named_and_hides_no_other() {
    let (_folder, path) = three();
    let other = Connection::open(&path).unwrap();
    let insert = "INSERT INTO facts (id, round, at, kind, fact) VALUES (?, '', '', '', ?)";
    other.execute(insert, ["half", r#"{"id": "0000"#]).unwrap();
    drop(other);
    let mut store = Store::open(&path).unwrap();
    store.append(&[&note(4, "after it")]).unwrap();
    let error = store.facts().unwrap_err();
    assert!(matches!(&error, StoreError::Damaged { id, .. } if id == "half"));
    assert!(error.to_string().contains("fact half"), "{error}");
    let each = store.facts_after(0, 10).unwrap();
    let good: Vec<bool> = each.iter().map(|it| it.fact.is_ok()).collect();
    assert_eq!(good, [true, true, true, false, true]);
    assert!(store.fact(Uuid::from_u128(4)).unwrap().is_some());
}

#[test]
fn a_folder_that_cannot_be_made_is_named() {
    let (folder, path) = three();
    let error = Store::open(&path.join("below/a/file.db")).err().unwrap();
    let named = folder.path().display().to_string();
    assert!(error.to_string().contains(&named), "{error}");
    let error = Store::open_to_read(&folder.path().join("none.db"));
    let error = error.err().unwrap().to_string();
    assert!(error.contains("none.db"), "{error}");
    assert!(!folder.path().join("none.db").exists(), "reading made it");
}

/// Neither that one of several makes the tables nor that another has just made
/// them is an error.
#[test]
fn a_new_record_can_be_opened_by_several_at_once() {
    for _ in 0..10 {
        let (_folder, path) = record();
        std::thread::scope(|scope| {
            let open = |number| {
                let path = &path;
                move || Store::open(path).unwrap().append(&[&note(number, "")])
            };
            let threads: Vec<_> = (0..4).map(|it| scope.spawn(open(it))).collect();
            for thread in threads {
                thread.join().unwrap().unwrap();
            }
        });
        assert_eq!(ids(&Store::open(&path).unwrap()).len(), 4);
    }
}

/// Five seconds long: as long as the store waits for another program.
#[test]
fn a_record_that_another_program_holds_is_said_to_be_so() {
    let (_folder, path) = three();
    let mut store = Store::open(&path).unwrap();
    let other = Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let error = store.append(&[&note(4, "")]).unwrap_err().to_string();
    assert!(error.contains("another program"), "{error}");
    other.execute_batch("ROLLBACK").unwrap();
    store.append(&[&note(4, "")]).unwrap();
    assert_eq!(ids(&store).len(), 4);
}
