//! The program is killed between the yes and the sound, or anywhere.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use chrono::TimeDelta;
use rusqlite::Connection;
use sayback::store::{SoundPart, Stands, sound_beside, sound_report};

use super::disk::is_in_the_pages;
use super::talk::{Place, noise, readings, start, talk};

const RECORD: &str = "SAYBACK_TEST_SOUND_RECORD";
const PATIENCE: Duration = Duration::from_secs(20);

/// A child that keeps one reading after another in a place, for ever.
fn child(place: &Place) -> std::process::Child {
    Command::new(std::env::current_exe().unwrap())
        .args(["kill::in_a_process_of_its_own", "--exact", "--nocapture"])
        .env(RECORD, place.folder())
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .spawn()
        .unwrap()
}

#[test]
fn in_a_process_of_its_own() {
    let Some(folder) = std::env::var_os(RECORD) else {
        return;
    };
    let place = Place::at(Path::new(&folder));
    let mut store = place.keeping(14);
    for number in 0.. {
        let at = start() + TimeDelta::minutes(number);
        let sound = noise(u64::try_from(number).unwrap() + 100, 2.0);
        let lines = [("pulse seventy two regular", &sound), ("yes", &sound)];
        talk(&mut store, at, &lines);
    }
}

/// The file of sound is held, so that the child waits there with its reading
/// already in the record.
#[test]
fn killed_between_yes_and_sound_the_reading_is_there_and_no_half_of_a_sound() {
    let place = Place::new();
    drop(place.keeping(14));
    let text = std::fs::read_to_string(place.key_file()).unwrap();
    let key = text.lines().find(|it| !it.starts_with('#')).unwrap();
    let mut child = child(&place);
    let file = Connection::open(sound_beside(&place.record())).unwrap();
    file.busy_timeout(Duration::from_secs(3)).unwrap();
    file.execute_batch(&format!("PRAGMA key = \"x'{key}'\";"))
        .unwrap();
    // It has the file open once something is in it.
    let began = Instant::now();
    let mut before = 0;
    while before == 0 {
        assert!(began.elapsed() < PATIENCE, "nothing is kept");
        std::thread::sleep(Duration::from_millis(20));
        before = readings(&place.store()).len();
    }
    file.execute_batch("BEGIN EXCLUSIVE").unwrap();
    let count = "SELECT count(*) FROM sounds WHERE part = 'reading' AND gone IS NULL";
    let sounds = || {
        let count: i64 = file.query_row(count, [], |row| row.get(0)).unwrap();
        usize::try_from(count).unwrap()
    };
    let began = Instant::now();
    while readings(&place.store()).len() <= sounds() {
        assert!(began.elapsed() < PATIENCE, "it does not come to the sound");
        std::thread::sleep(Duration::from_millis(20));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    file.execute_batch("ROLLBACK").unwrap();
    let kept = sounds();
    drop(file);

    let mut store = place.keeping(14);
    let there = readings(&store);
    assert_eq!(there.len(), kept + 1, "one sound is lost, and no reading");
    let now = start() + TimeDelta::hours(1);
    let last = *there.last().unwrap();
    assert_eq!(
        store.sound_stands(last, SoundPart::Reading, now).unwrap(),
        None
    );
    assert!(store.check(&[]).unwrap().sound());
    let unheard = noise(100 + kept as u64, 2.0);
    assert!(!is_in_the_pages(&place, &unheard));
}

/// Whatever moment the process ends at: every reading that is there is whole, no
/// sound is there without its reading, and each sound is whole.
#[test]
fn killed_anywhere_no_sound_is_there_without_its_reading() {
    let place = Place::new();
    drop(place.keeping(14));
    let mut rng = fastrand::Rng::with_seed(7);
    let mut with_sound = 0;
    for _ in 0..8 {
        let before = readings(&place.store()).len();
        let mut child = child(&place);
        let began = Instant::now();
        while readings(&place.store()).len() < before + 1 {
            assert!(began.elapsed() < PATIENCE, "nothing is kept");
            std::thread::sleep(Duration::from_millis(5));
        }
        std::thread::sleep(Duration::from_millis(rng.u64(0..150)));
        child.kill().unwrap();
        child.wait().unwrap();

        let mut store = place.keeping(14);
        let now = start() + TimeDelta::hours(1);
        let mut whole = 0;
        for id in readings(&store) {
            if let Some(Stands::There { .. }) =
                store.sound_stands(id, SoundPart::Reading, now).unwrap()
            {
                let samples = store.sound(id, SoundPart::Reading, now).unwrap().unwrap();
                assert_eq!(samples.len(), 32_000);
                whole += 1;
            }
        }
        let report = sound_report(&place.record(), &place.key(), now).unwrap();
        assert_eq!(report.unwrap().readings, whole, "a sound without a reading");
        with_sound = whole;
    }
    assert!(with_sound > 0, "none ever came to its sound");
}
