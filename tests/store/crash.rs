//! The end of a process at any moment, and two of them at once, with an
//! encrypted record.

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

use fastrand::Rng;
use rusqlite::Connection;
use sayback::facts::Record;
use sayback::store::{self, Key, Store, StoreError};
use uuid::Uuid;

use super::process::{again, told};
use super::{ids, note, record};

/// How many ends of each kind. More find rarer moments: `SAYBACK_TEST_KILLS`.
fn kills(usual: usize) -> usize {
    let more = std::env::var("SAYBACK_TEST_KILLS");
    more.map_or(usual, |it| it.parse().expect("a number"))
}

fn key(folder: &Path) -> Key {
    Key::File(folder.join("record.key"))
}

/// What the process of its own does.
pub fn role(role: &str, folder: &Path) {
    let path = folder.join("record.db");
    let key = key(folder);
    println!("ready");
    match role {
        "acknowledge" => acknowledge(&path, &key, Duration::ZERO),
        "acknowledge-slowly" => acknowledge(&path, &key, Duration::from_millis(10)),
        "upgrade" => drop(Store::open(&path).unwrap()),
        "encrypt" => store::encrypt(&path, &key).unwrap(),
        "rekey" => store::reencrypt(&path, &key, &key).unwrap(),
        "copy" => {
            let store = Store::open_to_read_with(&path, &key).unwrap();
            store.backup(&folder.join("copy.db"), &key).unwrap();
        }
        "copy-full" => {
            let store = Store::open_to_read_with(&path, &key).unwrap();
            let error = store.backup(&folder.join("copy.db"), &key).unwrap_err();
            println!("refused {error}");
        }
        other => panic!("{other} is no role"),
    }
    println!("done");
}

/// Appends for ever, one fact or several at a time, and says of each what the
/// store said is on the disk.
fn acknowledge(path: &Path, key: &Key, pause: Duration) {
    let mut store = Store::open_with(path, key).unwrap();
    let mut number = store.facts().unwrap().len() as u128;
    for many in (1..=3).cycle() {
        let new: Vec<_> = (0..many).map(|it| note(number + it, "kept")).collect();
        number += many;
        store.append(&new.iter().collect::<Vec<_>>()).unwrap();
        let ids: Vec<String> = new.iter().map(|it| it.id.to_string()).collect();
        println!("stored {}", ids.join(" "));
        std::thread::sleep(pause);
    }
}

/// Ends a role at some moment after it has said `least` lines more than that it
/// is ready, and returns those lines and what came until the end.
fn ended(role: &str, folder: &Path, least: usize, after: Duration) -> Vec<String> {
    let mut child = again(role, folder, r#"exec "$@""#)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut lines = std::iter::from_fn(move || lines.next()?.ok());
    assert!(lines.by_ref().any(|it| it == "ready"));
    let mut said: Vec<String> = lines.by_ref().take(least).collect();
    assert_eq!(said.len(), least, "it ended by itself");
    let reader = std::thread::spawn(move || lines.collect::<Vec<_>>());
    std::thread::sleep(after);
    child.kill().unwrap();
    child.wait().unwrap();
    said.extend(reader.join().unwrap());
    said
}

/// How long a role takes from when it is ready to its end.
fn takes(role: &str, folder: &Path) -> Duration {
    let mut child = again(role, folder, r#"exec "$@""#)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut said = |word: &str| lines.by_ref().map_while(Result::ok).any(|it| it == word);
    assert!(said("ready"));
    let started = Instant::now();
    assert!(said("done"));
    child.wait().unwrap();
    started.elapsed()
}

/// What was acknowledged is there, all of an append or none, and the chain holds.
#[test]
fn nothing_acknowledged_is_lost_when_the_process_is_killed() {
    let (folder, path) = record();
    let key = key(folder.path());
    let mut rng = Rng::with_seed(21);
    let mut acknowledged: Vec<Uuid> = Vec::new();
    let mut unsaid = 0;
    let times = kills(40);
    for _ in 0..times {
        let (least, after) = (rng.usize(1..12), rng.u64(0..8_000));
        let mut groups: Vec<Vec<Uuid>> = Vec::new();
        for line in ended(
            "acknowledge",
            folder.path(),
            least,
            Duration::from_micros(after),
        ) {
            if let Some(ids) = line.strip_prefix("stored ") {
                // The last line may itself be cut off.
                let ids: Vec<_> = ids.split(' ').map_while(|it| it.parse().ok()).collect();
                groups.push(ids);
            }
        }
        let before = acknowledged.len();
        acknowledged.extend(groups.iter().flatten());
        let store = Store::open_with(&path, &key).unwrap();
        let there = ids(&store);
        assert!(
            there.starts_with(&acknowledged),
            "of {}",
            acknowledged.len()
        );
        // At most one append more than was said, and that one whole.
        let more = there.len() - acknowledged.len();
        assert!(more <= 3, "{more} facts more than were said to be stored");
        unsaid += usize::from(more > 0);
        let report = store.check(&[]).unwrap();
        assert!(report.sound(), "{:?}", report.findings);
        assert!(store.encrypted());
        assert!(there.len() >= before);
        acknowledged = there;
    }
    assert!(
        acknowledged.len() > times,
        "it was killed before it appended"
    );
    println!(
        "figure: {times} kills while appending: {} facts acknowledged or whole beyond that \
         ({unsaid} times), 0 lost",
        acknowledged.len()
    );
}

/// An upgrade, an encryption or a change of key that is cut off leaves the record
/// as it was or as it was to be, with every fact, and can be done again.
#[test]
fn a_change_of_form_or_key_that_is_killed_loses_nothing() {
    let records = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/records");
    let mut rng = Rng::with_seed(22);
    let mut whole = 0;
    let mut cut = 0;
    let prepare = |role: &str, form: &str| {
        let (folder, path) = record();
        let key = key(folder.path());
        std::fs::copy(records.join(form), &path).unwrap();
        if role == "rekey" {
            store::encrypt(&path, &key).unwrap();
            store::add_key(&folder.path().join("record.key")).unwrap();
        }
        (folder, path, key)
    };
    for (role, form, facts) in [
        ("upgrade", "form-1.db", 46),
        ("upgrade", "form-2.db", 54),
        ("encrypt", "form-2.db", 54),
        ("rekey", "form-1.db", 46),
    ] {
        let whole_time = takes(role, prepare(role, form).0.path());
        for _ in 0..kills(12) {
            let (folder, path, key) = prepare(role, form);
            let after = whole_time.mul_f64(rng.f64() * 1.3);
            let lines = ended(role, folder.path(), 0, after);
            if lines.iter().any(|it| it == "done") {
                whole += 1;
            } else {
                cut += 1;
            }
            let store = Store::open_with(&path, &key).unwrap();
            assert_eq!(
                store.facts().unwrap().len(),
                facts,
                "{role} after {after:?}"
            );
            assert!(store.check(&[]).unwrap().sound(), "{role} after {after:?}");
            let plain = !store.encrypted();
            drop(store);
            match role {
                "encrypt" if plain => store::encrypt(&path, &key).unwrap(),
                "rekey" => store::reencrypt(&path, &key, &key).unwrap(),
                _ => {}
            }
            let store = Store::open_with(&path, &key).unwrap();
            let readings = Record::of(&store.facts().unwrap()).readings().count();
            assert_eq!(readings, if facts == 46 { 8 } else { 9 });
        }
    }
    assert!(cut > 0 && whole > 0, "{cut} cut off, {whole} done");
    println!("figure: {cut} kills inside an upgrade, encryption or change of key: 0 facts lost");
}

/// A copy that is cut off has no name, and is no hindrance to the next.
#[test]
fn a_copy_that_is_killed_is_not_there() {
    let (folder, path) = record();
    let key = key(folder.path());
    let mut rng = Rng::with_seed(23);
    let notes: Vec<_> = (0..2000).map(|it| note(it, &"x".repeat(400))).collect();
    let mut store = Store::open_with(&path, &key).unwrap();
    store.append(&notes.iter().collect::<Vec<_>>()).unwrap();
    let copy = folder.path().join("copy.db");
    let whole_time = takes("copy", folder.path());
    std::fs::remove_file(&copy).unwrap();
    for _ in 0..kills(10) {
        let after = whole_time.mul_f64(rng.f64() * 1.3);
        ended("copy", folder.path(), 0, after);
        if copy.exists() {
            store::verify(&copy, Some(&path), &key).unwrap();
            std::fs::remove_file(&copy).unwrap();
        }
    }
    store.backup(&copy, &key).unwrap();
    assert_eq!(store::verify(&copy, Some(&path), &key).unwrap().facts, 2000);
    assert!(!folder.path().join("copy.db.part").exists());
}

#[test]
fn a_copy_for_which_there_is_no_room_is_not_there() {
    let (folder, path) = record();
    let key = key(folder.path());
    let notes: Vec<_> = (0..1000).map(|it| note(it, &"x".repeat(400))).collect();
    let mut store = Store::open_with(&path, &key).unwrap();
    store.append(&notes.iter().collect::<Vec<_>>()).unwrap();
    let limited = r#"trap "" XFSZ; ulimit -f 200; exec "$@""#;
    let why = told(again("copy-full", folder.path(), limited), "refused ");
    assert!(why[0].contains("the copy could not be made"), "{why:?}");
    assert!(!folder.path().join("copy.db").exists());
    assert!(!folder.path().join("copy.db.part").exists());
    assert!(store.check(&[]).unwrap().sound());
}

/// A process that goes on for ever, but not beyond a test that fails.
struct EndsWithTheTest(Child);

impl Drop for EndsWithTheTest {
    fn drop(&mut self) {
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }
}

/// While another process appends, as the recorder does beside the station.
#[test]
fn a_copy_made_while_others_append_is_whole() {
    let (folder, path) = record();
    let key = key(folder.path());
    drop(Store::open_with(&path, &key).unwrap());
    // A longer record takes longer to look through: one that grew as fast as it can
    // would be twice as long at each copy.
    let child = again("acknowledge-slowly", folder.path(), r#"exec "$@""#)
        .stdout(Stdio::null())
        .spawn();
    let child = EndsWithTheTest(child.unwrap());
    let store = Store::open_to_read_with(&path, &key).unwrap();
    let mut facts = Vec::new();
    for at in 0..12 {
        std::thread::sleep(Duration::from_millis(40));
        let copy = folder.path().join(format!("copy-{at}.db"));
        let copied = store.backup(&copy, &key).unwrap();
        let again = store::verify(&copy, Some(&path), &key).unwrap();
        assert_eq!(copied, again);
        facts.push(copied.facts);
    }
    drop(child);
    assert!(facts.is_sorted() && facts[11] > facts[0], "{facts:?}");
}

#[test]
fn a_restored_record_is_the_same_and_nothing_is_written_over() {
    let (folder, path) = record();
    let key = key(folder.path());
    let mut store = Store::open_with(&path, &key).unwrap();
    for number in 0..20 {
        store.append(&[&note(number, "as before")]).unwrap();
    }
    let copy = folder.path().join("copy.db");
    let copied = store.backup(&copy, &key).unwrap();
    let error = store.backup(&copy, &key).unwrap_err().to_string();
    assert!(error.contains("is not written over"), "{error}");
    let error = store::restore(&copy, &path, &key).unwrap_err().to_string();
    assert!(error.contains("is not written over"), "{error}");

    store.append(&[&note(99, "after the copy")]).unwrap();
    let facts = store.facts().unwrap();
    drop(store);
    // The log of the lost record must not be taken for the restored one's.
    std::fs::write(folder.path().join("new.db-wal"), "left over").unwrap();
    let new = folder.path().join("new.db");
    let error = store::restore(&copy, &new, &key).unwrap_err().to_string();
    assert!(error.contains("new.db-wal"), "{error}");
    std::fs::remove_file(folder.path().join("new.db-wal")).unwrap();
    assert_eq!(store::restore(&copy, &new, &key).unwrap(), copied);
    let mut restored = Store::open_with(&new, &key).unwrap();
    assert_eq!(restored.facts().unwrap(), facts[..20]);
    restored.append(&[&note(100, "and on")]).unwrap();
    assert!(restored.check(&[]).unwrap().sound());

    // The copy of another record, and one with more than the record has.
    let error = store::verify(&copy, Some(&new), &key);
    assert_eq!(error.unwrap().facts, 20);
    drop(restored);
    let error = store::verify(&new, Some(&path), &key).unwrap_err();
    assert!(
        matches!(&error, StoreError::Copy(why) if why.contains("does not hold")),
        "{error}"
    );
}

/// A reader keeps the log from being written back whole, and then the file has a hole
/// where a page changed again after the reader began.
#[test]
fn a_page_that_is_newer_in_the_log_is_no_damage() {
    let (folder, path) = record();
    let key = key(folder.path());
    let mut store = Store::open_with(&path, &key).unwrap();
    let mut append = |from: u128| {
        let notes: Vec<_> = (from..from + 600)
            .map(|it| note(it, &"x".repeat(400)))
            .collect();
        store.append(&notes.iter().collect::<Vec<_>>()).unwrap();
    };
    append(0);
    let text = std::fs::read_to_string(folder.path().join("record.key")).unwrap();
    let line = text.lines().find(|it| !it.starts_with('#')).unwrap();
    let other = || {
        let other = Connection::open(&path).unwrap();
        other
            .execute_batch(&format!("PRAGMA key = \"x'{line}'\";"))
            .unwrap();
        other
    };
    let reader = other();
    reader
        .execute_batch("BEGIN; SELECT count(*) FROM facts;")
        .unwrap();
    append(1000);
    let written_back: i64 = other()
        .query_row("PRAGMA wal_checkpoint(PASSIVE)", [], |row| row.get(2))
        .unwrap();
    assert!(written_back > 0);
    let problems: Vec<String> = other()
        .prepare("PRAGMA cipher_integrity_check")
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    assert!(!problems.is_empty(), "no hole to look at");
    let beside = Store::open_to_read_with(&path, &key).unwrap();
    let report = beside.check(&[]).unwrap();
    assert!(report.sound(), "{:?}", report.findings);
}
