//! A record is one recorder's: with the link file of another its readings would be shown
//! as from there.

use std::path::Path;
use std::process::Command;

use sayback::store::Store;

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

/// What two machines send with one file can't be told apart afterwards.
#[test]
fn a_second_machine_with_a_copy_of_a_link_file_is_warned() {
    let aspen = Aspen::new();
    let record = |minute| {
        let temporary = tempfile::tempdir().unwrap();
        let link = temporary.path().join("cart.toml");
        aspen.recorder.write(&link).unwrap();
        let mut store = Store::open(&temporary.path().join("record.db")).unwrap();
        let begins = made::now() + chrono::TimeDelta::minutes(minute);
        let facts = conversation::facts(&HOME, begins, &ROUND);
        store.append(&facts.iter().collect::<Vec<_>>()).unwrap();
        temporary
    };
    let (first, second) = (record(0), record(1));
    let send = |at: &tempfile::TempDir| sends(at.path(), &["--link", "cart.toml"], "Sent");
    let warning = "\"the cart\" sent entries before that were not in this record";
    for _ in 0..2 {
        let said = send(&first);
        assert!(!said.contains("WARNING"), "{said}");
    }
    let said = send(&second);
    assert!(said.contains(warning), "{said}");
}
