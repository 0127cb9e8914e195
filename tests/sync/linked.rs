//! A recorder that keeps in touch by itself while a round goes on.

use std::path::Path;
use std::time::{Duration, Instant};

use sayback::store::{Key, Store};
use sayback::sync::{Files, LinkStatus, Linked, Setting, read_status};

use super::proxy::Proxy;
use super::*;

const ROSTER: &str = include_str!("../../audio-fixtures/demo-home.toml");

fn until(linked: &Linked, what: &str, is: impl Fn(&LinkStatus) -> bool) -> LinkStatus {
    let started = Instant::now();
    loop {
        let status = linked.status().borrow().clone();
        if is(&status) {
            return status;
        }
        assert!(
            started.elapsed() < Duration::from_secs(60),
            "{what}: {status:?}"
        );
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn all_sent(status: &LinkStatus) -> bool {
    status.waiting.facts == 0 && status.trouble.is_none() && status.last.is_some()
}

fn begin(link: &Link, folder: &Path) -> Linked {
    let roster = folder.join("home.toml");
    if !roster.exists() {
        std::fs::write(&roster, ROSTER).unwrap();
    }
    let record = folder.join("record.db");
    Linked::begin(link, &record, &Key::None, Files::beside(&roster)).unwrap()
}

#[test]
fn recording_goes_on_while_the_home_is_away_and_is_sent_when_it_is_back() {
    let aspen = Aspen::new();
    let proxy = Proxy::to(aspen.recorder.port);
    proxy.cut_after(0);
    let link = Link {
        port: proxy.port,
        ..aspen.recorder.clone()
    };
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(&folder.path().join("record.db")).unwrap();
    store
        .append(&notes(1..=3).iter().collect::<Vec<_>>())
        .unwrap();
    let linked = begin(&link, folder.path());
    let status = until(&linked, "away", |it| it.trouble.is_some());
    assert_eq!(status.waiting.facts, 3);
    // Nothing waits for the home: an append takes as long as without.
    let started = Instant::now();
    store.append(&[&note(4, "meanwhile")]).unwrap();
    assert!(started.elapsed() < Duration::from_secs(2));
    proxy.mend();
    until(&linked, "back", all_sent);
    assert_eq!(ids(&mut open(&aspen.station)), [1, 2, 3, 4]);
    // At the end of a round what is left goes too.
    store.append(&[&note(5, "the last")]).unwrap();
    drop(linked);
    assert_eq!(ids(&mut open(&aspen.station)), [1, 2, 3, 4, 5]);
    // How it stands is known while the home is away, also to another program.
    let status = read_status(&folder.path().join("record.db")).unwrap();
    assert_eq!(status.waiting.facts, 0);
    proxy.cut_after(0);
    store.append(&[&note(6, "later")]).unwrap();
    let linked = begin(&link, folder.path());
    let status = until(&linked, "away again", |it| it.trouble.is_some());
    assert_eq!(status.waiting.facts, 1, "{status:?}");
    assert!(status.last.is_some());
}

#[test]
fn a_recorder_that_is_cut_off_says_so_and_goes_on_recording() {
    let aspen = Aspen::new();
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(&folder.path().join("record.db")).unwrap();
    let linked = begin(&aspen.recorder, folder.path());
    until(&linked, "in touch", all_sent);
    open(&aspen.keeper).revoke("the cart").unwrap();
    store.append(&[&note(1, "kept here")]).unwrap();
    let status = until(&linked, "cut off", |it| {
        it.trouble.is_some() && it.waiting.facts == 1
    });
    assert!(status.trouble.unwrap().contains("refuses this link"));
    assert_eq!(ids(&mut open(&aspen.station)), [] as [u128; 0]);
}

/// The round goes on, and nothing goes out as from another.
#[test]
fn with_the_link_file_of_another_recorder_nothing_is_sent() {
    let aspen = Aspen::new();
    let other = enrol(&aspen.keeper, MemberKind::Recorder, "the spare");
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(&folder.path().join("record.db")).unwrap();
    drop(begin(&aspen.recorder, folder.path()));
    store.append(&[&note(1, "of the cart")]).unwrap();
    let linked = begin(&other, folder.path());
    let status = until(&linked, "refused", |it| it.trouble.is_some());
    let line = status.line(made::now().date_naive());
    assert!(
        line.contains("1 other entry not at the station yet") && line.contains("was sent as"),
        "{line}"
    );
    let brief = status.brief(made::now().date_naive());
    assert!(brief.contains("not set up right"), "{brief}");
    drop(linked);
    assert_eq!(ids(&mut open(&aspen.station)), [] as [u128; 0]);
    drop(begin(&aspen.recorder, folder.path()));
    assert_eq!(ids(&mut open(&aspen.station)), [1]);
}

#[test]
fn the_roster_and_limits_come_and_replace_only_what_can_be_read() {
    let aspen = Aspen::new();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("home.toml");
    let mut keeper = open(&aspen.keeper);
    let newer = ROSTER.replace("Edith Hollin", "Edith Hollin-Marsh");
    keeper
        .set(Setting::Roster, &newer, "Ines Marlow", None)
        .unwrap();
    let linked = begin(&aspen.recorder, folder.path());
    let status = until(&linked, "a roster", |it| it.settings.len() == 1);
    assert!(
        status.settings[0].contains("version 1, by Ines Marlow"),
        "{status:?}"
    );
    assert_eq!(std::fs::read_to_string(&file).unwrap(), newer);
    let before = folder.path().join("home.before.toml");
    assert_eq!(std::fs::read_to_string(before).unwrap(), ROSTER);
    keeper
        .set(Setting::Roster, "name = 1", "Peter Quist", Some(1))
        .unwrap();
    let status = until(&linked, "a bad roster", |it| it.settings.len() == 2);
    assert!(status.settings[1].contains("stays in force"), "{status:?}");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), newer);
    let limits = "[thresholds]\nnonsense = 1\n";
    keeper
        .set(Setting::Limits, limits, "Peter Quist", None)
        .unwrap();
    let status = until(&linked, "bad limits", |it| it.settings.len() == 3);
    assert!(status.settings[2].contains("stays in force"), "{status:?}");
    assert!(!folder.path().join("home.limits.toml").exists());
}
