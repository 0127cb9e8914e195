//! The record at rest: nobody reads it without the key, and the key can be
//! changed, lost with a word, and is nobody else's.

use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};

use sayback::facts::Body;
use sayback::review::Station;
use sayback::store::{self, Key, KeyError, Store, StoreError};

use super::{ids, note, record};

/// Stands in every fact of these tests.
const NAME: &str = "Cordelia Featherstonehaugh";

fn key_in(folder: &Path) -> Key {
    Key::File(folder.join("keys/record.key"))
}

fn fill(path: &Path, key: &Key) -> Store {
    let mut store = Store::open_with(path, key).unwrap();
    for number in 1..60 {
        store.append(&[&note(number, NAME)]).unwrap();
    }
    store
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let all = std::fs::read_dir(folder)
        .unwrap()
        .map(|it| it.unwrap().path());
    all.filter(|it| it.is_file()).collect()
}

fn holds(path: &Path, words: &str) -> bool {
    let bytes = std::fs::read(path).unwrap();
    bytes.windows(words.len()).any(|it| it == words.as_bytes())
}

/// The same words are found in the files of a record that is not encrypted, so
/// they would be found here.
#[test]
fn nothing_of_a_fact_stands_in_any_file_of_an_encrypted_record() {
    let (folder, path) = record();
    let plain = fill(&path, &Key::None);
    let found = |words| files(folder.path()).iter().any(|it| holds(it, words));
    let log = folder.path().join("record.db-wal");
    assert!(holds(&log, NAME) && found("AR-090") && found("CREATE TABLE"));
    drop(plain);
    assert!(holds(&path, NAME));

    let (folder, path) = record();
    let key = key_in(folder.path());
    let store = fill(&path, &key);
    store.backup(&folder.path().join("copy.db"), &key).unwrap();
    let log = folder.path().join("record.db-wal");
    assert!(log.metadata().unwrap().len() > 10_000);
    let mut looked_at = 0;
    for file in files(folder.path()) {
        for words in [
            NAME,
            "AR-090",
            "noted",
            "CREATE TABLE",
            "SQLite format",
            "Dana",
        ] {
            assert!(!holds(&file, words), "{words} stands in {}", file.display());
        }
        looked_at += 1;
    }
    assert_eq!(looked_at, 4, "the record, its log, its index, the copy");
    assert!(store.encrypted() && store.check(&[]).unwrap().sound());
    drop(store);
    assert!(!holds(&path, NAME));
    let copy = Store::open_to_read_with(&folder.path().join("copy.db"), &key).unwrap();
    assert!(
        copy.facts()
            .unwrap()
            .iter()
            .all(|it| matches!(&it.body, Body::Noted { text, .. } if text == NAME))
    );
}

#[test]
fn the_accounts_are_encrypted_too() {
    let (folder, path) = record();
    let key = key_in(folder.path());
    drop(fill(&path, &key));
    let (accounts, code) = Station::accounts_with(&path, &key).unwrap();
    assert!(code.is_some());
    drop(accounts);
    let file = folder.path().join("accounts.db");
    assert!(!holds(&file, "Administrator") && !store::is_plain(&file));
    assert!(Station::accounts_with(&path, &key).is_ok());
    assert!(Station::accounts_beside(&path).is_err());
}

#[test]
fn a_record_opens_with_its_key_and_no_other() {
    let (folder, path) = record();
    let key = key_in(folder.path());
    drop(fill(&path, &key));
    assert_eq!(ids(&Store::open_with(&path, &key).unwrap()).len(), 59);
    let before = std::fs::read(&path).unwrap();

    let other = Key::File(folder.path().join("other.key"));
    drop(Store::open_with(&folder.path().join("b.db"), &other).unwrap());
    for wrong in [
        &other,
        &Key::None,
        &Key::Passphrase("five words of no use here".into()),
    ] {
        let error = Store::open_with(&path, wrong).err().unwrap();
        assert!(matches!(error, StoreError::Locked { .. }), "{error:?}");
        let text = error.to_string();
        assert!(
            text.contains("another key") && text.contains("record.db"),
            "{text}"
        );
        assert!(!text.contains("five words"), "{text}");
    }
    let lost = Key::File(folder.path().join("lost.key"));
    let error = Store::open_with(&path, &lost).err().unwrap();
    assert!(
        matches!(error, StoreError::Key(KeyError::Missing(_))),
        "{error:?}"
    );
    assert!(
        error.to_string().contains("Put the copy you keep"),
        "{error}"
    );
    assert!(
        !folder.path().join("lost.key").exists(),
        "a new one is of no use"
    );
    assert_eq!(std::fs::read(&path).unwrap(), before, "it was touched");
}

#[test]
fn a_key_file_is_its_owners_alone_or_not_used() {
    let (folder, path) = record();
    let key = key_in(folder.path());
    drop(fill(&path, &key));
    let file = folder.path().join("keys/record.key");
    let mode = |it: u32| {
        let mode = std::fs::Permissions::from_mode(it);
        std::fs::set_permissions(&file, mode).unwrap();
    };
    assert_eq!(file.metadata().unwrap().permissions().mode() & 0o777, 0o600);
    for open in [0o640, 0o604, 0o620, 0o660, 0o644, 0o601] {
        mode(open);
        let error = Store::open_with(&path, &key).err().unwrap();
        assert!(
            matches!(error, StoreError::Key(KeyError::Open(_))),
            "{open:o}: {error:?}"
        );
        let new = Store::open_with(&folder.path().join("new.db"), &key);
        assert!(new.is_err(), "{open:o}");
    }
    for closed in [0o600, 0o400] {
        mode(closed);
        assert!(Store::open_with(&path, &key).is_ok(), "{closed:o}");
    }
    mode(0o600);
    for (text, line) in [
        ("", 0),
        ("# only a remark\n", 0),
        ("# a\nabc\n", 2),
        ("ü", 1),
    ] {
        std::fs::write(&file, text).unwrap();
        let error = Store::open_with(&path, &key).err().unwrap();
        let there =
            matches!(&error, StoreError::Key(KeyError::Damaged { line: it, .. }) if *it == line);
        assert!(there, "{error:?}");
    }
}

/// Several programs may start at the same time on a new machine.
#[test]
fn one_key_is_made_by_several_at_once() {
    for _ in 0..10 {
        let (folder, path) = record();
        let key = key_in(folder.path());
        std::thread::scope(|scope| {
            let open = |number| {
                let (path, key) = (&path, &key);
                move || {
                    Store::open_with(path, key)
                        .unwrap()
                        .append(&[&note(number, "")])
                }
            };
            let threads: Vec<_> = (0..4).map(|it| scope.spawn(open(it))).collect();
            for thread in threads {
                thread.join().unwrap().unwrap();
            }
        });
        assert_eq!(key.check().unwrap(), 1);
        let store = Store::open_with(&path, &key).unwrap();
        assert_eq!(ids(&store).len(), 4);
        assert!(store.encrypted() && store.check(&[]).unwrap().sound());
    }
}

#[test]
fn a_passphrase_opens_and_a_short_one_makes_nothing() {
    let (_folder, path) = record();
    let words = Key::Passphrase("it's five o'clock \"tea\" \u{fc}".into());
    drop(fill(&path, &words));
    assert_eq!(ids(&Store::open_with(&path, &words).unwrap()).len(), 59);
    let other = Key::Passphrase("it's five o'clock \"tea\" u".into());
    assert!(Store::open_with(&path, &other).is_err());
    let (folder, path) = record();
    let error = Store::open_with(&path, &Key::Passphrase("short".into()))
        .err()
        .unwrap();
    assert!(
        matches!(error, StoreError::Key(KeyError::Short)),
        "{error:?}"
    );
    assert!(
        files(folder.path())
            .iter()
            .all(|it| it.metadata().unwrap().len() == 0)
    );
}

#[test]
fn a_key_is_never_shown() {
    let key = Key::Passphrase("the secret of all secrets".into());
    assert!(!format!("{key:?}").contains("secret of"));
}

#[test]
fn a_plain_record_can_be_encrypted_and_stays_the_same() {
    let (folder, path) = record();
    let store = fill(&path, &Key::None);
    let head = store.head().unwrap();
    let facts = store.facts().unwrap();
    let key = key_in(folder.path());
    let error = store::encrypt(&path, &key).unwrap_err().to_string();
    assert!(error.contains("must not be in use"), "{error}");
    drop(store);
    assert!(holds(&path, NAME), "as before");

    store::encrypt(&path, &key).unwrap();
    let mut store = Store::open_with(&path, &key).unwrap();
    assert!(store.encrypted());
    assert_eq!(store.facts().unwrap(), facts);
    let report = store.check(&[]).unwrap();
    assert_eq!((report.findings, report.head), (vec![], head));
    store.append(&[&note(900, "after it")]).unwrap();
    assert_eq!(path.metadata().unwrap().permissions().mode() & 0o777, 0o600);
    drop(store);
    assert!(files(folder.path()).iter().all(|it| !holds(it, NAME)));
    let again = store::encrypt(&path, &key).unwrap_err().to_string();
    assert!(again.contains("encrypted already"), "{again}");

    let (accounts, _) = Station::accounts_beside(&path).unwrap();
    drop(accounts);
    let file = folder.path().join("accounts.db");
    assert!(holds(&file, "Administrator"));
    store::encrypt(&file, &key).unwrap();
    assert!(!holds(&file, "Administrator"));
    let (_, code) = Station::accounts_with(&path, &key).unwrap();
    assert_eq!(code, None, "the accounts that were there");
}

#[test]
fn a_new_key_takes_the_place_of_the_old_one() {
    let (folder, path) = record();
    let key = key_in(folder.path());
    let file = folder.path().join("keys/record.key");
    let store = fill(&path, &key);
    let copy = folder.path().join("copy.db");
    store.backup(&copy, &key).unwrap();
    let facts = store.facts().unwrap();
    let old = folder.path().join("old.key");
    std::fs::copy(&file, &old).unwrap();
    store::add_key(&file).unwrap();
    let busy = store::reencrypt(&path, &key, &key).unwrap_err().to_string();
    assert!(busy.contains("must not be in use"), "{busy}");
    drop(store);
    store::reencrypt(&path, &key, &key).unwrap();
    assert_eq!(
        Store::open_with(&path, &key).unwrap().facts().unwrap(),
        facts
    );
    assert!(
        Store::open_with(&path, &Key::File(old)).is_err(),
        "the old key alone"
    );
    assert_eq!(key.check().unwrap(), 2);
    store::verify(&copy, Some(&path), &key).unwrap();
    assert_eq!(store::forget_older(&file).unwrap(), 1);
    assert!(
        Store::open_with(&path, &key)
            .unwrap()
            .check(&[])
            .unwrap()
            .sound()
    );
    assert!(
        store::verify(&copy, None, &key).is_err(),
        "its key is forgotten"
    );
}

#[test]
fn a_changed_byte_in_an_encrypted_file_is_found() {
    let (folder, path) = record();
    let key = key_in(folder.path());
    drop(fill(&path, &key));
    let whole = std::fs::read(&path).unwrap();
    let copy = folder.path().join("copy.db");
    let mut rng = fastrand::Rng::with_seed(3);
    for _ in 0..150 {
        let mut bytes = whole.clone();
        let at = rng.usize(0..bytes.len());
        bytes[at] ^= 1 << rng.u8(0..8);
        std::fs::write(&copy, bytes).unwrap();
        let sound = Store::open_to_read_with(&copy, &key)
            .and_then(|it| it.check(&[]))
            .is_ok_and(|it| it.sound());
        assert!(!sound, "byte {at}");
    }
    println!("figure: 150 changed bytes in an encrypted file: all found");
}
