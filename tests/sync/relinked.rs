//! A record is one recorder's: with the link file of another its readings would be shown
//! as from there.

use std::path::Path;
use std::process::Command;

use sayback::store::{Key, Store};
use sayback::sync::{Files, Linked};

use super::station::ROUND;
use super::*;

fn sayback(folder: &Path, arguments: &[&str]) -> (i32, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
    let ran = command.args(arguments).current_dir(folder).output();
    let ran = ran.unwrap();
    let text = |it: Vec<u8>| String::from_utf8(it).unwrap();
    let all = text(ran.stdout) + &text(ran.stderr);
    (ran.status.code().unwrap(), all)
}

fn sends(folder: &Path, more: &[&str], says: &str) -> String {
    let (code, all) = sayback(folder, &[&["send"], more].concat());
    assert_eq!(code, 0, "{more:?}: {all}");
    assert!(
        all.contains(says),
        "{more:?} does not say \"{says}\": {all}"
    );
    all
}

fn link_line(folder: &Path, link: &str) -> String {
    let (_, all) = sayback(folder, &["doctor", "--link", link]);
    let found = all.lines().find(|it| it.contains("link "));
    found.unwrap().to_owned()
}

#[test]
fn a_record_is_not_sent_as_another_recorder_unless_that_is_said() {
    let aspen = Aspen::new();
    let other = enrol(&aspen.keeper, MemberKind::Recorder, "the spare");
    let temporary = tempfile::tempdir().unwrap();
    let folder = temporary.path();
    aspen.recorder.write(&folder.join("cart.toml")).unwrap();
    other.write(&folder.join("spare.toml")).unwrap();
    let mut store = Store::open(&folder.join("record.db")).unwrap();
    let mut record = |number| store.append(&[&note(number, "of the cart")]).unwrap();
    record(1);
    sends(folder, &["--link", "cart.toml"], "Sent 1 entries");

    record(2);
    let (code, all) = sayback(folder, &["send", "--link", "spare.toml"]);
    assert_eq!(code, 1, "{all}");
    for said in [
        "sent as \"the cart\" of the home aspen before",
        "of \"the spare\" of the home aspen",
        "nothing is sent",
        "--relinked",
    ] {
        assert!(all.contains(said), "no {said:?} in {all}");
    }
    assert_eq!(ids(&mut open(&aspen.station)), [1], "nothing went there");
    let line = link_line(folder, "spare.toml");
    assert!(
        line.starts_with("fail") && line.contains("the cart"),
        "{line}"
    );
    assert!(link_line(folder, "cart.toml").starts_with("ok"));

    // Enrolled anew, with another login and the same label, it is the same recorder.
    open(&aspen.keeper).revoke("the cart").unwrap();
    let anew = enrol(&aspen.keeper, MemberKind::Recorder, "the cart");
    anew.write(&folder.join("anew.toml")).unwrap();
    sends(folder, &["--link", "anew.toml"], "Sent 1 entries");

    record(3);
    let relinked = ["--link", "spare.toml", "--relinked"];
    sends(folder, &relinked, "Sent 1 entries");
    record(4);
    sends(folder, &["--link", "spare.toml"], "Sent 1 entries");
    assert_eq!(sayback(folder, &["send", "--link", "anew.toml"]).0, 1);
    assert_eq!(ids(&mut open(&aspen.station)), [1, 2, 3, 4]);
}

/// The record of a machine, with a round in it.
fn machine(link: &Link, minute: i64) -> tempfile::TempDir {
    let temporary = tempfile::tempdir().unwrap();
    link.write(&temporary.path().join("cart.toml")).unwrap();
    Store::open(&temporary.path().join("record.db")).unwrap();
    round(temporary.path(), minute);
    temporary
}

fn round(folder: &Path, minute: i64) {
    let mut store = Store::open(&folder.join("record.db")).unwrap();
    let begins = made::now() + chrono::TimeDelta::minutes(minute);
    let facts = conversation::facts(&HOME, begins, &ROUND);
    store.append(&facts.iter().collect::<Vec<_>>()).unwrap();
}

/// All that the home has, each once, and from whom: nothing is doubled, and all of it is of
/// these.
fn at_home(aspen: &Aspen) -> (usize, usize) {
    let mut superuser = Server::shared().superuser(&aspen.database).unwrap();
    let counted = "SELECT count(*), count(DISTINCT id), count(DISTINCT sender) FROM sayback.fact";
    let row = superuser.query_one(counted, &[]).unwrap();
    let [all, distinct, senders] = [0, 1, 2].map(|it| usize::try_from(row.get::<_, i64>(it)));
    assert_eq!(all, distinct);
    (all.unwrap(), senders.unwrap())
}

/// The file that says as whom a record was sent is gone: the home knows it.
#[test]
fn a_record_that_forgot_as_whom_it_was_sent_is_not_sent_as_another() {
    let aspen = Aspen::new();
    let other = enrol(&aspen.keeper, MemberKind::Recorder, "the spare");
    let cart = machine(&aspen.recorder, 0);
    let folder = cart.path();
    other.write(&folder.join("spare.toml")).unwrap();
    sends(folder, &["--link", "cart.toml"], "Sent");
    round(folder, 1);
    let forget = || std::fs::remove_file(folder.join("record.link.json")).unwrap();
    forget();
    let (first, _) = at_home(&aspen);
    let (code, all) = sayback(folder, &["send", "--link", "spare.toml"]);
    assert_eq!(code, 1, "{all}");
    for said in ["another link file before", "nothing is sent", "--relinked"] {
        assert!(all.contains(said), "no {said:?} in {all}");
    }
    assert_eq!(at_home(&aspen), (first, 1));
    let line = link_line(folder, "spare.toml");
    assert!(
        line.starts_with("fail") && line.contains("another link file before"),
        "{line}"
    );
    // A round goes on, and sends nothing as from there either.
    forget();
    let roster = folder.join("home.toml");
    std::fs::write(&roster, super::station::ROSTER).unwrap();
    let record = folder.join("record.db");
    let linked = Linked::begin(&other, &record, &Key::None, Files::beside(&roster)).unwrap();
    let mut status = linked.status();
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let refused = runtime.block_on(status.wait_for(|it| it.trouble.is_some()));
    assert!(
        refused
            .unwrap()
            .line(made::now().date_naive())
            .contains("another link file before")
    );
    drop(linked);
    assert_eq!(at_home(&aspen), (first, 1));

    // With its own it goes on as it was; and what is not there is counted, not guessed.
    forget();
    let line = link_line(folder, "cart.toml");
    assert!(
        line.starts_with("ok") && line.contains(": 1 reading not at the station yet"),
        "{line}"
    );
    assert!(
        line.contains("when it was sent last is not known"),
        "{line}"
    );
    sends(folder, &["--link", "cart.toml"], "All is at the station");
    assert_eq!(at_home(&aspen), (2 * first, 1));
    // What is said once holds from then on.
    forget();
    round(folder, 2);
    sends(folder, &["--link", "spare.toml", "--relinked"], "Sent");
    forget();
    round(folder, 3);
    sends(folder, &["--link", "spare.toml"], "Sent");
    assert_eq!(at_home(&aspen), (4 * first, 2));
}

/// What lies beside a record that was put back from a backup is of the one before it, which
/// was sent further than this one is.
#[test]
fn a_record_put_back_from_a_backup_is_not_said_to_be_sent() {
    let aspen = Aspen::new();
    let cart = machine(&aspen.recorder, 0);
    let folder = cart.path();
    sends(folder, &["--link", "cart.toml"], "Sent");
    let (one, _) = at_home(&aspen);
    let backup = |what: &[&str]| assert_eq!(sayback(folder, what).0, 0, "{what:?}");
    backup(&["backup", "record.db", "backup.db"]);
    round(folder, 1);
    sends(folder, &["--link", "cart.toml"], "Sent");
    for ending in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(folder.join(format!("record.db{ending}")));
    }
    backup(&["restore", "backup.db", "record.db"]);
    round(folder, 2);
    let line = link_line(folder, "cart.toml");
    assert!(
        line.contains(": 1 reading not at the station yet"),
        "{line}"
    );
    assert!(
        line.starts_with("warn") && line.contains("was put back from a backup"),
        "{line}"
    );
    // Nor is it while the home can't be asked.
    let away = Link {
        port: 1,
        ..aspen.recorder.clone()
    };
    away.write(&folder.join("away.toml")).unwrap();
    let line = link_line(folder, "away.toml");
    assert!(line.contains("2 readings not at the station yet"), "{line}");

    sends(folder, &["--link", "cart.toml"], "All is at the station");
    assert_eq!(at_home(&aspen), (3 * one, 1));
    let store = Store::open(&folder.join("record.db")).unwrap();
    let read = |it: &sayback::facts::Fact| matches!(it.body, Body::Read(_));
    let readings = store.facts().unwrap();
    assert_eq!(
        readings.iter().filter(|it| read(it)).count(),
        3,
        "none is lost"
    );
    drop(store);
    // Whoever has looked says so, and is told no more.
    assert!(link_line(folder, "cart.toml").starts_with("warn"));
    let said = sends(folder, &["--link", "cart.toml", "--relinked"], "Sent 0");
    assert!(!said.contains("WARNING"), "{said}");
    assert!(link_line(folder, "cart.toml").starts_with("ok"));
}

/// What two machines send with one file can't be told apart afterwards: both are told, also
/// while a round goes on, and each has what the other sent.
#[test]
fn a_copy_of_a_link_file_on_a_second_machine_is_told_to_both() {
    let aspen = Aspen::new();
    let [first, second] = [0, 1].map(|it| machine(&aspen.recorder, it));
    let send = |at: &tempfile::TempDir| sends(at.path(), &["--link", "cart.toml"], "Sent");
    for _ in 0..2 {
        let said = send(&first);
        assert!(!said.contains("WARNING"), "{said}");
    }
    assert!(link_line(first.path(), "cart.toml").starts_with("ok"));
    let roster = first.path().join("home.toml");
    std::fs::write(&roster, super::station::ROSTER).unwrap();
    let record = first.path().join("record.db");
    let files = Files::beside(&roster);
    let linked = Linked::begin(&aspen.recorder, &record, &Key::None, files).unwrap();
    let mut status = linked.status();
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let alone = runtime.block_on(status.wait_for(|it| it.last.is_some()));
    assert_eq!(alone.unwrap().another, None);

    // Before it has sent anything too.
    let line = link_line(second.path(), "cart.toml");
    assert!(
        line.starts_with("warn") && line.contains("another machine has a copy"),
        "{line}"
    );
    let said = send(&second);
    assert!(
        said.contains("\"the cart\" sent entries that were not in this record"),
        "{said}"
    );
    let told = runtime.block_on(async {
        let told = status.wait_for(|it| it.another.is_some());
        let told = tokio::time::timeout(std::time::Duration::from_secs(60), told).await;
        told.expect("the first is told too").unwrap().clone()
    });
    let brief = told.brief(made::now().date_naive());
    assert!(
        brief.contains("another machine may send as this one"),
        "{brief}"
    );
    drop(linked);
    assert!(link_line(first.path(), "cart.toml").starts_with("warn"));
    for at in [&first, &second] {
        let store = Store::open(&at.path().join("record.db")).unwrap();
        let facts = store.facts().unwrap();
        let readings = facts.iter().filter(|it| matches!(it.body, Body::Read(_)));
        assert_eq!(readings.count(), 2, "each has what the other sent");
    }
    assert_eq!(at_home(&aspen).1, 1);
}
