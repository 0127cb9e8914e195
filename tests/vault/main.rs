//! The commands that keep the record whole and closed.

#![cfg(unix)]

mod certificate;
mod doctor;
#[path = "../mounts/mod.rs"]
mod mounts;
mod private;

use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use rusqlite::Connection;
use sayback::facts::{Body, Fact, NO_ROUND, VERSION};
use sayback::residents::{ResidentId, Staff};
use sayback::review::Station;
use sayback::round::Pins;
use sayback::store::{self, Key, Store};
use serde_json::Value;
use tempfile::TempDir;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");
const HOME: &str = "audio-fixtures/demo-home.toml";

/// A folder in which everything happens that one test does.
struct Place(TempDir);

struct Ran {
    code: i32,
    out: String,
    err: String,
}

impl Ran {
    fn well(self) -> String {
        assert_eq!((self.code, &*self.err), (0, ""), "{}", self.out);
        self.out
    }

    fn with(self, code: i32) -> String {
        assert_eq!(self.code, code, "{}{}", self.out, self.err);
        format!("{}{}", self.out, self.err)
    }
}

impl Place {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn name(&self, name: &str) -> String {
        self.path(name).to_string_lossy().into_owned()
    }

    fn key(&self) -> Key {
        Key::File(self.path("keys/record.key"))
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
        command.args(arguments).current_dir(ROOT);
        for name in ["SAYBACK_MODEL", "SAYBACK_LOG", "SAYBACK_FHIR"] {
            command.env_remove(name);
        }
        command.env("SAYBACK_KEY_FILE", self.path("keys/record.key"));
        command.stdin(Stdio::null());
        command
    }

    fn sayback(&self, arguments: &[&str]) -> Ran {
        ran(&mut self.command(arguments))
    }

    /// A rehearsal of these lines, into `record.db`.
    fn rehearse(&self, lines: &str, more: &[&str]) -> Ran {
        let script = self.name("round.script");
        let home = format!("{ROOT}/{HOME}");
        let text = format!("home {home}\nat 2026-03-02T07:30:00-05:00\n{lines}");
        std::fs::write(&script, text).unwrap();
        let record = self.name("record.db");
        let all = ["rehearse", &script, "--silent", "--store", &record];
        self.sayback(&[&all[..], more].concat())
    }

    /// A record with one reading.
    fn with_record() -> Self {
        let place = Self::new();
        let lines = "text room nine\ntext yes\ntext pulse seventy two regular\ntext yes\n";
        place.rehearse(lines, &["--voice", "none"]).well();
        place
    }
}

fn ran(command: &mut Command) -> Ran {
    let output = command.output().unwrap();
    Ran {
        code: output.status.code().expect("it was not killed"),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

fn head_in(text: &str) -> String {
    let line = text.lines().find_map(|it| it.strip_prefix("Head: "));
    line.unwrap().to_owned()
}

fn note(at: &str) -> Fact<sayback::facts::KeptReading> {
    Fact {
        id: uuid::Uuid::new_v4(),
        version: VERSION,
        at: at.parse().unwrap(),
        by: Staff {
            name: "Ines Marlow".to_owned(),
            title: "registered nurse".to_owned(),
        },
        round: NO_ROUND,
        body: Body::Noted {
            resident: ResidentId("AR-090".to_owned()),
            about: None,
            text: "a remark".to_owned(),
        },
    }
}

#[test]
fn a_check_names_what_is_wrong_and_says_so_in_its_exit_code() {
    let place = Place::with_record();
    let record = place.name("record.db");
    let well = place.sayback(&["check", &record]).well();
    assert!(
        well.contains("encrypted") && !well.contains("NOT"),
        "{well}"
    );
    assert!(well.contains("Nothing was changed, removed, moved or added."));
    let head = head_in(&well);
    place
        .sayback(&["check", &record, "--against", &head])
        .well();
    let json = place.sayback(&["check", &record, "--json"]).well();
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["sound"], true);
    assert_eq!(json["report"]["findings"], serde_json::json!([]));

    // Whoever has the key can open it with another program.
    let text = std::fs::read_to_string(place.path("keys/record.key")).unwrap();
    let key = text.lines().find(|it| !it.starts_with('#')).unwrap();
    let other = Connection::open(&record).unwrap();
    let change = format!(
        "PRAGMA key = \"x'{key}'\"; DROP TRIGGER facts_never_change;
         UPDATE facts SET fact = replace(fact, '\"72\"', '\"27\"') WHERE kind = 'read';"
    );
    other.execute_batch(&change).unwrap();
    let id: String = other
        .query_row("SELECT id FROM facts WHERE kind = 'read'", [], |it| {
            it.get(0)
        })
        .unwrap();
    drop(other);
    let found = place.sayback(&["check", &record]).with(4);
    assert!(
        found.contains(&format!("({id}): changed since it was appended")),
        "{found}"
    );
    assert!(
        found.contains("the guard facts_never_change is gone"),
        "{found}"
    );
    let json = place.sayback(&["check", &record, "--json"]).with(4);
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["sound"], false);
    let first = &json["report"]["findings"][0];
    assert_eq!(
        (&first["what"], &first["id"]),
        (&"changed".into(), &id.into())
    );
    place
        .sayback(&["check", &record, "--against", &head])
        .with(4);
    place
        .sayback(&["check", &record, "--against", "12"])
        .with(2);
    let none = place.sayback(&["check", &place.name("none.db")]).with(1);
    assert!(none.contains("none.db"), "{none}");
}

#[test]
fn an_old_record_says_from_where_on_it_is_chained() {
    let place = Place::new();
    let record = place.name("record.db");
    std::fs::copy(format!("{ROOT}/tests/data/records/form-1.db"), &record).unwrap();
    let first = place.sayback(&["check", &record]).well();
    assert!(first.contains("Upgraded just now: 46 facts"), "{first}");
    let again = place.sayback(&["check", &record]).well();
    assert!(
        !again.contains("just now") && again.contains("before row 47"),
        "{again}"
    );
    assert!(again.contains("NOT encrypted"), "{again}");
}

#[test]
fn a_backup_is_made_tried_and_put_back() {
    let place = Place::with_record();
    let (record, copy, new) = (
        place.name("record.db"),
        place.name("copy.db"),
        place.name("new.db"),
    );
    let made = place.sayback(&["backup", &record, &copy]).well();
    let tried = place
        .sayback(&["backup", &record, &copy, "--verify"])
        .well();
    assert_eq!(head_in(&made), head_in(&tried));
    let over = place.sayback(&["backup", &record, &copy]).with(1);
    assert!(over.contains("not written over"), "{over}");
    place.sayback(&["restore", &copy, &new]).well();
    let facts = place
        .sayback(&["record", "--json", "--store", &record])
        .well();
    assert_eq!(
        place.sayback(&["record", "--json", "--store", &new]).well(),
        facts
    );

    // One that is damaged is not restored, nor taken for good.
    let mut bytes = std::fs::read(&copy).unwrap();
    let at = bytes.len() / 2;
    bytes[at] ^= 1;
    std::fs::write(&copy, bytes).unwrap();
    place
        .sayback(&["backup", &record, &copy, "--verify"])
        .with(1);
    let other = place.name("other.db");
    place.sayback(&["restore", &copy, &other]).with(1);
    assert!(!Path::new(&other).exists());
}

/// Every file in a folder and those in it, but the script that the test wrote.
fn files(folder: &Path) -> Vec<PathBuf> {
    let all = std::fs::read_dir(folder).unwrap();
    let all = all.map(|it| it.unwrap().path());
    all.flat_map(|it| if it.is_dir() { files(&it) } else { vec![it] })
        .filter(|it| !it.ends_with("round.script"))
        .collect()
}

#[test]
fn whatever_it_writes_is_its_owners_alone() {
    let place = Place::with_record();
    let (record, home) = (place.name("record.db"), format!("{ROOT}/{HOME}"));
    let (heard, copy) = (place.name("said.wav"), place.name("copy.db"));
    place
        .rehearse("text room nine\ntext yes\n", &["--said", &heard])
        .well();
    place.sayback(&["backup", &record, &copy]).well();
    place
        .sayback(&["restore", &copy, &place.name("new.db")])
        .well();
    let export = ["export", "--store", &record, "--home", &home, "--out"];
    for (out, format) in [
        ("table.csv", "csv"),
        ("chart.json", "fhir-bundle"),
        ("lines", "fhir-ndjson"),
    ] {
        let out = place.name(out);
        let all = [&export[..], &[&out, "--format", format]].concat();
        assert_eq!(place.sayback(&all).code, 0, "{format}");
    }
    let pins = Pins::open_with(&place.path("record.pins.db"), &place.key()).unwrap();
    let door = Station::accounts_with(Path::new(&record), &place.key()).unwrap();
    let store = Store::open_with(Path::new(&record), &place.key()).unwrap();
    let found = files(place.0.path());
    let names: Vec<_> = found
        .iter()
        .map(|it| it.file_name().unwrap().to_string_lossy())
        .collect();
    for name in [
        "record.db",
        "record.db-wal",
        "record.db-shm",
        "record.key",
        "record.pins.db",
        "accounts.db",
        "said.wav",
        "copy.db",
        "new.db",
        "table.csv",
        "chart.json",
        "Observation.ndjson",
    ] {
        assert!(names.iter().any(|it| it == name), "no {name} in {names:?}");
    }
    for file in &found {
        let mode = file.metadata().unwrap().permissions().mode() & 0o777;
        assert_eq!(mode & 0o077, 0, "{}: {mode:o}", file.display());
    }
    drop((pins, door, store));
}

#[test]
fn a_key_is_changed_and_a_record_encrypted_by_command() {
    let place = Place::with_record();
    let record = place.name("record.db");
    let path = place.sayback(&["key", "path"]).well();
    assert_eq!(path.trim(), place.name("keys/record.key"));
    let facts = place
        .sayback(&["record", "--json", "--store", &record])
        .well();
    std::fs::copy(place.path("keys/record.key"), place.path("old.key")).unwrap();
    place
        .sayback(&["key", "rotate", &record, "--forget-old"])
        .well();
    assert_eq!(
        place
            .sayback(&["record", "--json", "--store", &record])
            .well(),
        facts
    );
    let old = place.name("old.key");
    let locked = place.sayback(&["record", "--store", &record, "--key-file", &old]);
    assert!(locked.with(1).contains("another key"));

    // While a station has it open nothing is changed: not the accounts either, which come
    // before it by name, and which the station would not be able to read any more.
    drop(Station::accounts_with(Path::new(&record), &place.key()).unwrap());
    let key = || std::fs::read(place.path("keys/record.key")).unwrap();
    let (before, held) = (
        key(),
        Store::open_with(Path::new(&record), &place.key()).unwrap(),
    );
    held.facts().unwrap();
    let said = place.sayback(&["key", "rotate", &record]).with(1);
    assert!(said.contains("record.db must not be in use"), "{said}");
    assert!(!said.contains("is encrypted with the new key"), "{said}");
    assert_eq!(key(), before, "nor is there a new key");
    drop(held);
    let said = place.sayback(&["key", "rotate", &record]).well();
    assert!(
        said.contains("accounts.db is encrypted with the new key"),
        "{said}"
    );

    std::fs::remove_file(place.path("accounts.db")).unwrap();

    std::fs::create_dir(place.path("old")).unwrap();
    let plain = place.name("old/plain.db");
    let pins = place.path("old/plain.pins.db");
    drop(Pins::open(&pins).unwrap());
    drop(Station::accounts_beside(Path::new(&plain)).unwrap());
    std::fs::copy(format!("{ROOT}/tests/data/records/form-1.db"), &plain).unwrap();
    let said = place.sayback(&["key", "encrypt", &plain]).well();
    assert!(said.contains("is not wiped"), "{said}");
    let said = place.sayback(&["check", &plain]).well();
    assert!(said.contains("46 facts, encrypted"), "{said}");
    for beside in [&pins, &place.path("old/accounts.db")] {
        assert!(!store::is_plain(beside), "{}", beside.display());
    }
    place
        .sayback(&["key", "rotate", &plain, "--forget-old"])
        .well();
    Pins::open_with(&pins, &place.key()).unwrap();
    Station::accounts_with(Path::new(&plain), &place.key()).unwrap();

    let words = place.name("words.db");
    let script = place.name("round.script");
    let with = |first: &str, arguments: &[&str]| {
        let mut command = place.command(arguments);
        command.env("SAYBACK_PASSPHRASE", first);
        command.env("SAYBACK_NEW_PASSPHRASE", "and five other words here");
        ran(&mut command)
    };
    let rehearse = [
        "rehearse", &script, "--silent", "--voice", "none", "--store", &words,
    ];
    let first = "teal kettle sings at noon";
    with(first, &rehearse).well();
    with(first, &["check", &words]).well();
    // Typed, and not seen: the second time it differs.
    let typed = place.path("typed");
    std::fs::write(
        &typed,
        "and five other words here\nand five otter words here\n",
    )
    .unwrap();
    let mut command = place.command(&["key", "rotate", &words]);
    command.env("SAYBACK_PASSPHRASE", first);
    command.stdin(std::fs::File::open(&typed).unwrap());
    let differ = ran(&mut command).with(1);
    assert!(differ.contains("nothing is changed"), "{differ}");
    with(first, &["key", "rotate", &words]).well();
    with(first, &["check", &words]).with(1);
    with("and five other words here", &["check", &words]).well();
    // One file had the new passphrase when a run was stopped; another has neither.
    let other = place.name("other.db");
    let mut more = rehearse;
    more[6] = &other;
    with(first, &more).well();
    let lost = with(first, &["key", "rotate", &words, &other, &record]).with(1);
    assert!(lost.contains("another"), "{lost}");
    with(first, &["check", &other]).well();
    let again = with(first, &["key", "rotate", &words, &other]).well();
    assert!(again.contains(&other) && !again.contains(&words), "{again}");
    with("and five other words here", &["check", &other]).well();
    let lost = place.sayback(&["check", &words]).with(1);
    assert!(lost.contains("SAYBACK_PASSPHRASE"), "{lost}");
}

#[test]
fn what_leaves_says_where_the_record_stood() {
    let place = Place::with_record();
    let record = place.name("record.db");
    let head = head_in(&place.sayback(&["check", &record]).well());
    let export = |format: &str, out: &str| {
        let all = ["export", "--store", &record, "--home", HOME, "--format"];
        place
            .sayback(&[&all[..], &[format, "--out", out]].concat())
            .well();
        std::fs::read_to_string(out).unwrap_or_default()
    };
    let bundle: Value =
        serde_json::from_str(&export("fhir-bundle", &place.name("a.json"))).unwrap();
    assert_eq!(bundle["identifier"]["value"], head);
    assert!(export("round-sheet", &place.name("a.html")).contains(&head));
    for (format, out, beside) in [
        ("csv", "a.csv", "a.csv.head"),
        ("summary", "b.html", "b.html.head"),
        ("fhir-ndjson", "folder", "folder/record.head"),
    ] {
        export(format, &place.name(out));
        let beside = std::fs::read_to_string(place.path(beside)).unwrap();
        assert_eq!(beside.trim(), head, "{format}");
        place
            .sayback(&["check", &record, "--against", beside.trim()])
            .well();
    }
}

/// A record whose key is missing is not helped by another one.
#[test]
fn no_pin_is_set_with_a_new_key_beside_a_record_that_has_one() {
    let place = Place::with_record();
    let (key, away) = (place.path("keys/record.key"), place.path("away.key"));
    std::fs::rename(&key, &away).unwrap();
    let record = place.name("record.db");
    let set = || {
        std::fs::write(place.path("typed"), "739155\n739155\n").unwrap();
        let name = ["staff", "set-pin", "Dana Whitlock", "--home", HOME];
        let mut command = place.command(&[&name[..], &["--store", &record]].concat());
        command.stdin(std::fs::File::open(place.path("typed")).unwrap());
        ran(&mut command)
    };
    let refused = set().with(1);
    assert!(refused.contains("is missing"), "{refused}");
    assert!(!key.exists() && !Pins::beside(Path::new(&record)).exists());
    std::fs::rename(&away, &key).unwrap();
    set().well();
}
