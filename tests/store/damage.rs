//! Loss of power and damage to the files: what was stored is there, or it is
//! said that it may not be.

use std::path::{Path, PathBuf};

use fastrand::Rng;
use sayback::facts::Fact;
use sayback::store::{Key, LogFault, Store};
use tempfile::TempDir;

use super::{note, record};

/// So many facts are in the database, and as many again only in the log.
const EACH: u128 = 5;

struct Files {
    folder: TempDir,
    database: Vec<u8>,
    log: Vec<u8>,
    facts: Vec<Fact>,
    key: Key,
}

fn key(folder: &Path, encrypted: bool) -> Key {
    if encrypted {
        Key::File(folder.join("record.key"))
    } else {
        Key::None
    }
}

/// The files as a loss of power leaves them.
fn files(encrypted: bool) -> Files {
    let (folder, path) = record();
    let key = key(folder.path(), encrypted);
    let append = |store: &mut Store, from: u128| {
        for number in from..from + EACH {
            store.append(&[&note(number, "a remark")]).unwrap();
        }
    };
    let mut store = Store::open_with(&path, &key).unwrap();
    append(&mut store, 0);
    // The last to close it puts everything into the database.
    drop(store);
    let mut store = Store::open_with(&path, &key).unwrap();
    append(&mut store, EACH);
    let database = std::fs::read(&path).unwrap();
    let log = std::fs::read(path.with_file_name("record.db-wal")).unwrap();
    let facts = store.facts().unwrap();
    Files {
        folder,
        database,
        log,
        facts,
        key,
    }
}

/// What comes of opening files.
#[derive(Debug)]
enum Opened {
    /// It is refused, in words.
    Refused,
    /// So many of the first facts are there, unchanged.
    Facts {
        there: usize,
        said: Option<LogFault>,
        sound: bool,
    },
    /// Something else than what was stored, and the check says so.
    Found,
}

impl Files {
    fn open(&self, database: &[u8], log: &[u8]) -> Opened {
        let path: PathBuf = self.folder.path().join("copy.db");
        for ending in ["-wal", "-shm", "-journal"] {
            let _ = std::fs::remove_file(format!("{}{ending}", path.display()));
        }
        std::fs::write(&path, database).unwrap();
        if !log.is_empty() {
            std::fs::write(format!("{}-wal", path.display()), log).unwrap();
        }
        let Ok(store) = Store::open_with(&path, &self.key) else {
            return Opened::Refused;
        };
        let sound = store.check(&[]).is_ok_and(|it| it.sound());
        match store.facts() {
            Ok(facts) if self.facts.starts_with(&facts) => Opened::Facts {
                there: facts.len(),
                said: store.log_fault(),
                sound,
            },
            Ok(_) | Err(_) => {
                assert!(!sound, "other facts, and nothing is said");
                Opened::Found
            }
        }
    }
}

/// Every byte of the log's header, one in six of a frame's, and of the rest one
/// in so many.
fn offsets(log: &[u8], rng: &mut Rng) -> Vec<usize> {
    let one_in = |at: usize| -> u32 {
        match at.checked_sub(32) {
            None => 1,
            Some(at) if at % (24 + 4096) < 24 => 6,
            Some(_) => 900,
        }
    };
    let all = 0..log.len();
    all.filter(|at| rng.u32(0..one_in(*at)) == 0).collect()
}

#[test]
fn the_files_as_they_are_lose_nothing_and_nothing_is_said() {
    for encrypted in [false, true] {
        let files = files(encrypted);
        let opened = files.open(&files.database, &files.log);
        let all = usize::try_from(2 * EACH).unwrap();
        assert!(
            matches!(opened, Opened::Facts { there, said: None, sound: true } if there == all),
            "{opened:?}"
        );
    }
}

/// Facts in the database are there; those in the log are there up to the damage,
/// and that some may be missing is said.
#[test]
fn a_changed_byte_in_the_log_is_said() {
    for encrypted in [false, true] {
        let files = files(encrypted);
        let mut rng = Rng::with_seed(1);
        let mut lost = 0;
        for at in offsets(&files.log, &mut rng) {
            let mut log = files.log.clone();
            log[at] ^= 1 << rng.u8(0..8);
            let opened = files.open(&files.database, &log);
            let Opened::Facts { there, said, sound } = opened else {
                panic!("byte {at}: {opened:?}");
            };
            let each = usize::try_from(EACH).unwrap();
            assert!(there >= each && sound, "byte {at}: {there}");
            assert!(
                said.is_some() || there == 2 * each,
                "byte {at}: {there}, and nothing said"
            );
            lost += usize::from(there < 2 * each);
        }
        assert!(lost > 40, "{lost}");
        println!("figure: {lost} changed bytes in the log that lost facts: all said");
    }
}

/// Cut off inside a frame it is said; at the end of one nothing can tell it from
/// a log that was never longer. `SQLite` has synced every one of these frames, so
/// a loss of power does not do this.
#[test]
fn a_log_that_is_cut_off_loses_only_its_end() {
    let files = files(true);
    let mut rng = Rng::with_seed(2);
    let each = usize::try_from(EACH).unwrap();
    let mut unsaid = 0;
    for at in offsets(&files.log, &mut rng) {
        let opened = files.open(&files.database, &files.log[..at]);
        let Opened::Facts { there, said, sound } = opened else {
            panic!("cut at {at}: {opened:?}");
        };
        assert!(there >= each && sound, "cut at {at}");
        let whole_frames = at <= 32 || (at - 32).is_multiple_of(24 + 4096);
        assert!(said.is_some() || whole_frames, "cut at {at}");
        unsaid += usize::from(said.is_none());
    }
    assert!(unsaid > 0);
}

/// What is left of an earlier log behind this one is no damage.
#[test]
fn a_log_that_was_begun_anew_is_whole() {
    let (folder, path) = record();
    let key = key(folder.path(), true);
    let mut store = Store::open_with(&path, &key).unwrap();
    let long = "x".repeat(4000);
    for number in 0..500 {
        store.append(&[&note(number, &long)]).unwrap();
    }
    let log_file = path.with_file_name("record.db-wal");
    let size = log_file.metadata().unwrap().len();
    assert!(size < 8_000_000, "it was begun anew at least once: {size}");
    let other = Store::open_with(&path, &key).unwrap();
    assert_eq!(other.log_fault(), None);
    assert_eq!(other.facts().unwrap().len(), 500);
}

/// Every page of the database, changed, emptied or cut off.
#[test]
fn damage_to_the_database_is_said() {
    for encrypted in [true, false] {
        let files = files(encrypted);
        // All in the database, nothing in the log.
        let opened = files.open(&files.database, &files.log);
        assert!(matches!(opened, Opened::Facts { .. }));
        let path = files.folder.path().join("copy.db");
        drop(Store::open_with(&path, &files.key).unwrap());
        let whole = std::fs::read(&path).unwrap();
        let mut rng = Rng::with_seed(4);
        let mut said = 0;
        for page in 0..whole.len() / 4096 {
            let here = page * 4096..(page + 1) * 4096;
            let mut zeroed = whole.clone();
            zeroed[here.clone()].fill(0);
            let mut noise = whole.clone();
            noise[here.clone()].fill_with(|| rng.u8(..));
            let mut tries = vec![zeroed, noise, whole[..here.start].to_vec()];
            for _ in 0..8 {
                let mut one = whole.clone();
                one[rng.usize(here.clone())] ^= 1 << rng.u8(0..8);
                tries.push(one);
            }
            for bytes in tries {
                // A file that is empty is a record that was never begun.
                if bytes.is_empty() {
                    continue;
                }
                match files.open(&bytes, &[]) {
                    Opened::Refused | Opened::Found => said += 1,
                    Opened::Facts { there, sound, .. } => {
                        let all = there == files.facts.len();
                        assert!(all || !sound, "page {page}: {there} facts");
                        assert!(
                            !(encrypted && sound),
                            "page {page}: found by its authentication"
                        );
                        said += usize::from(!sound);
                    }
                }
            }
        }
        assert!(said > 20, "{said}");
        let form = if encrypted { "an encrypted" } else { "a plain" };
        println!("figure: {said} times {form} database was damaged and it mattered: all said");
    }
}

#[test]
fn noise_is_told_from_text() {
    let (_folder, path) = record();
    std::fs::write(&path, [7; 4096]).unwrap();
    let error = Store::open(&path).err().unwrap().to_string();
    assert!(error.contains("damaged at its beginning"), "{error}");
    assert_eq!(std::fs::read(&path).unwrap(), [7; 4096]);
}
