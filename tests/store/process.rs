//! Parts that need a process of their own run this test program again, with a
//! role in the environment.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Barrier, mpsc};
use std::time::Duration;

use rusqlite::Connection;
use sayback::dialogue::Event;
use sayback::facts::{Body, Fact, KeptReading, Record, Time};
use sayback::grammar::spoken_forms;
use sayback::hearing::Heard;
use sayback::round::{Round, Screen, Silent};
use sayback::store::{Key, Store, StoreError};
use uuid::Uuid;

use super::mounts::can_mount;
use super::{DIALOGUE, ids, note, now, record, three};

const ROLE: &str = "SAYBACK_TEST_STORE_ROLE";
const FOLDER: &str = "SAYBACK_TEST_STORE_FOLDER";

/// Runs this program again in a role. `before` is a shell command that runs
/// first and must end in `exec "$@"`.
pub fn again(role: &str, folder: &Path, before: &str) -> Command {
    let mut command = Command::new("sh");
    command.args(["-c", before, "sh"]);
    command.arg(std::env::current_exe().unwrap());
    command.args(["process::in_a_process_of_its_own", "--exact", "--nocapture"]);
    command.env(ROLE, role).env(FOLDER, folder);
    command.stdin(Stdio::null()).stderr(Stdio::inherit());
    command
}

/// Runs a role to its end and returns what followed `word` on its lines.
pub fn told(mut command: Command, word: &str) -> Vec<String> {
    let output = command.output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{text}");
    let lines = text.lines().filter_map(|it| it.strip_prefix(word));
    lines.map(|it| it.trim().to_owned()).collect()
}

#[test]
fn in_a_process_of_its_own() {
    let Ok(role) = std::env::var(ROLE) else {
        return;
    };
    let folder = PathBuf::from(std::env::var_os(FOLDER).unwrap());
    let path = folder.join("record.db");
    // The test program has written the name of the test without an end of line.
    println!();
    match role.as_str() {
        "append" => append(&path),
        "fill" => fill(&path),
        "full" => full(&folder),
        "read-only" => read_only(&path),
        "round" => endless_round(&path),
        "at-once" => at_once(&folder),
        other => super::crash::role(other, &folder),
    }
}

fn append(path: &Path) {
    let mut store = Store::open(path).unwrap();
    for number in 1000..1100 {
        store.append(&[&note(number, "of the child")]).unwrap();
    }
}

#[test]
fn two_processes_can_append() {
    let (folder, path) = record();
    let mut store = Store::open(&path).unwrap();
    let mut child = again("append", folder.path(), r#"exec "$@""#)
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    for number in 0..100 {
        store.append(&[&note(number, "of the parent")]).unwrap();
    }
    assert!(child.wait().unwrap().success());
    let all = ids(&store);
    let of = |numbers: std::ops::Range<u128>| {
        let wanted: Vec<Uuid> = numbers.map(Uuid::from_u128).collect();
        let in_order = all.iter().filter(|it| wanted.contains(it));
        assert!(in_order.eq(&wanted));
    };
    of(0..100);
    of(1000..1100);
    assert_eq!(all.len(), 200);
}

/// Opens encrypted records, each in a thread of its own, before any was.
fn at_once(folder: &Path) {
    let key = Key::File(folder.join("record.key"));
    let ready = Barrier::new(8);
    std::thread::scope(|scope| {
        for number in 0..8 {
            let (path, key, ready) = (folder.join(format!("{number}.db")), &key, &ready);
            scope.spawn(move || {
                ready.wait();
                Store::open_with(&path, key).unwrap();
            });
        }
    });
}

#[test]
fn the_first_records_that_a_process_opens_can_be_opened_at_once() {
    let (folder, _) = record();
    for time in 0..20 {
        let mut child = again("at-once", folder.path(), r#"exec "$@""#);
        let ended = child.stdout(Stdio::null()).status().unwrap();
        assert!(ended.success(), "time {time}");
    }
}

/// Appends until it fails, telling what was stored.
fn fill(path: &Path) {
    let mut store = Store::open(path).unwrap();
    let text = "x".repeat(700);
    for number in 0..10_000 {
        let note = note(number, &text);
        match store.append(&[&note]) {
            Ok(()) => println!("stored {}", note.id),
            Err(StoreError::Write(why)) => {
                let there = ids(&store).len() as u128;
                assert_eq!(there, number, "half of it is there");
                return println!("failed {why}");
            }
            Err(other) => panic!("{other}"),
        }
    }
    panic!("it was never full");
}

/// A limit on the size of a file, which every user can set.
#[test]
fn a_write_that_fails_loses_nothing_that_was_stored() {
    let (folder, path) = record();
    let limited = r#"trap "" XFSZ; ulimit -f 400; exec "$@""#;
    let stored = told(again("fill", folder.path(), limited), "stored ");
    assert!(stored.len() > 5, "{} facts", stored.len());
    let mut store = Store::open(&path).unwrap();
    let there: Vec<String> = ids(&store).iter().map(Uuid::to_string).collect();
    assert_eq!(there, stored);
    store
        .append(&[&note(99_999, "there is room again")])
        .unwrap();
}

/// A round on a full disk says so, keeps nothing half, and goes on when there is
/// room.
fn full(folder: &Path) {
    let ballast = folder.join("ballast");
    std::fs::write(&ballast, vec![1; 200_000]).unwrap();
    let path = folder.join("record.db");
    let mut store = Store::open(&path).unwrap();
    let (mut round, _) = Round::open(&DIALOGUE, &mut store, now(), &mut Silent).unwrap();
    let mut hear = |text: &str| {
        let event = Event::Heard(Heard::from_text(text));
        let turn = round.take(&event, now(), &mut Silent);
        turn.say.map(|it| it.shown).unwrap_or_default()
    };
    hear("room nine");
    hear("yes");
    let mut kept = 0;
    let failed = loop {
        assert!(kept < 10_000, "it was never full");
        let offered = hear("pulse seventy two");
        if offered.contains("could not be stored") {
            break offered;
        }
        let answer = hear("yes");
        if answer.contains("could not be stored") {
            break answer;
        }
        kept += 1;
    };
    assert!(failed.contains("the disk is full; make room"), "{failed}");
    assert!(failed.contains("It is not kept."), "{failed}");
    std::fs::remove_file(ballast).unwrap();
    hear("scratch that");
    assert!(hear("pulse seventy four").contains("Pulse seven four."));
    assert!(hear("yes").starts_with("Kept."));
    kept += 1;
    let facts = Store::open_to_read(&path).unwrap().facts().unwrap();
    let readings = facts.iter().filter(|it| matches!(it.body, Body::Read(_)));
    assert_eq!(readings.count(), kept);
    println!("kept {kept}");
}

#[test]
fn a_full_disk_is_said_and_the_round_goes_on() {
    if !can_mount() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let small = format!(
        r#"exec unshare --map-root-user --mount sh -c \
           'mount -t tmpfs -o size=1m tmpfs "${FOLDER}" && exec "$@"' sh "$@""#
    );
    let kept = told(again("full", folder.path(), &small), "kept ");
    assert_eq!(kept.len(), 1);
}

fn read_only(path: &Path) {
    let error = match Store::open(path) {
        Err(error) => error,
        Ok(mut store) => store.append(&[&note(9, "")]).unwrap_err(),
    };
    println!("refused {error}");
}

#[test]
fn a_record_that_may_not_be_written_is_refused() {
    if !can_mount() {
        return;
    }
    let (folder, path) = three();
    let locked = format!(
        r#"exec unshare --map-root-user --mount sh -c \
           'mount --bind "${FOLDER}" "${FOLDER}" && mount -o remount,bind,ro "${FOLDER}" \
            && exec "$@"' sh "$@""#
    );
    let why = told(again("read-only", folder.path(), &locked), "refused ");
    assert!(
        matches!(why.as_slice(), [why] if why.contains("may not be written") || why.contains("record.db")),
        "{why:?}"
    );
    assert_eq!(ids(&Store::open(&path).unwrap()).len(), 3);
}

/// Tells each fact when the store has said that it is on the disk.
struct Tell;

impl Screen for Tell {
    fn heard(&mut self, _: Time, _: &Heard, _: bool) {}
    fn said(&mut self, _: Time, _: &str) {}
    fn stored(&mut self, fact: &Fact<KeptReading>) {
        println!("stored {}", fact.id);
    }
    fn notice(&mut self, text: &str) {
        panic!("{text}");
    }
}

/// Two readings in one breath and a yes, and one that is asked about and let go, for ever.
fn endless_round(path: &Path) {
    let mut store = Store::open(path).unwrap();
    let (mut round, _) = Round::open(&DIALOGUE, &mut store, now(), &mut Tell).unwrap();
    let mut hear = |text: &str| {
        let event = Event::Heard(Heard::from_text(text));
        round.take(&event, now(), &mut Tell)
    };
    hear("room nine");
    hear("yes");
    for number in (60..100).cycle() {
        let pulse = &spoken_forms(number)[0];
        hear(&format!("pulse {pulse} respiration sixteen"));
        hear("yes");
        hear("blood pressure one twenty over eighty");
        hear("scratch that");
    }
}

/// Starts an endless round, kills it at some moment after `least` facts, and
/// returns the facts that it had said were stored.
fn killed(folder: &Path, least: usize, then: Duration) -> Vec<String> {
    let mut child = again("round", folder, r#"exec "$@""#)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let output = BufReader::new(child.stdout.take().unwrap());
    let (send, receive) = mpsc::channel();
    let reader = std::thread::spawn(move || {
        for line in output.lines().map_while(Result::ok) {
            if let Some(id) = line.strip_prefix("stored ")
                && send.send(id.to_owned()).is_err()
            {
                return;
            }
        }
    });
    let first = receive.iter().take(least);
    let mut reported: Vec<String> = first.collect();
    assert_eq!(reported.len(), least, "the child ended by itself");
    std::thread::sleep(then);
    child.kill().unwrap();
    child.wait().unwrap();
    reader.join().unwrap();
    reported.extend(receive.try_iter());
    reported
}

/// Whatever moment the process ends at: what it had said is stored is there,
/// nothing is half there, and what waited for a yes, or was asked about, is said at the next
/// start.
#[test]
fn a_killed_round_loses_nothing_that_was_stored() {
    let (folder, path) = record();
    let mut rng = fastrand::Rng::with_seed(11);
    let (mut with_pending, mut with_unfinished) = (0, 0);
    let mut before = 0;
    for _ in 0..KILLS {
        let then = Duration::from_micros(rng.u64(0..6000));
        let reported = killed(folder.path(), rng.usize(1..14), then);

        let mut store = Store::open(&path).unwrap();
        let facts = store.facts().unwrap();
        let new: Vec<String> = facts[before..].iter().map(|it| it.id.to_string()).collect();
        assert!(
            new.starts_with(&reported),
            "stored {new:?}, of what was reported {reported:?}"
        );
        let mut readings: BTreeMap<Uuid, usize> = BTreeMap::new();
        for fact in &facts {
            if let Body::Read(reading) = &fact.body {
                *readings.entry(reading.offer).or_default() += 1;
            }
        }
        assert!(readings.values().all(|it| *it == 2), "half of an answer");

        let record = Record::of(&facts);
        let (unfinished, pending): (Vec<_>, Vec<_>) =
            record.pending().partition(|it| it.unfinished.is_some());
        let (_, turn) = Round::open(&DIALOGUE, &mut store, now(), &mut Silent).unwrap();
        let said = turn.say.unwrap();
        let waited = said
            .shown
            .contains("was waiting for a yes and was not kept");
        assert_eq!(waited, !pending.is_empty(), "{said:?}");
        for it in &pending {
            let text = &it.read_back;
            assert!(said.shown.contains(text), "{said:?} does not say {text}");
        }
        let begun = "blood pressure of Rosa Delgado was not finished";
        assert_eq!(
            said.shown.contains(begun),
            !unfinished.is_empty(),
            "{said:?}"
        );
        with_pending += pending.len();
        with_unfinished += unfinished.len();
        let facts = store.facts().unwrap();
        assert_eq!(Record::of(&facts).pending().count(), 0, "it was closed");
        before = facts.len();
    }
    assert!(with_pending > 0, "no kill came between offer and answer");
    assert!(
        with_unfinished > 0,
        "no kill came while something was asked"
    );
    let whole: String = Connection::open(&path)
        .unwrap()
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .unwrap();
    assert_eq!(whole, "ok");
}

/// More finds rarer moments; this many take about as long as waiting for
/// another program, which is tested beside it.
const KILLS: usize = 30;
