//! `sayback export` and `sayback import-patients`, as a user runs them.

use std::path::Path;
use std::process::{Command, Output};

use sayback::facts::Body;
use sayback::store::{Key, RawFact, Store};

const HOME: &str = "audio-fixtures/demo-home.toml";
const SCRIPT: &str = "\
home HOME
at 2026-03-02T07:30:00-05:00
text room four bed two
text yes
text blood pressure one fifty two over eighty eight left arm sitting
text yes
text weight refused
text yes
text end of round
";

fn sayback(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sayback"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env_remove("SAYBACK_FHIR_TOKEN")
        .args(arguments)
        .output()
        .expect("the program runs")
}

fn said(output: &Output) -> String {
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn complaint(output: &Output) -> String {
    assert!(!output.status.success());
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A record of a rehearsal that needs neither ear nor voice.
fn record(folder: &Path) -> String {
    let home = Path::new(env!("CARGO_MANIFEST_DIR")).join(HOME);
    let script = folder.join("round.script");
    let text = SCRIPT.replace("HOME", &home.to_string_lossy());
    std::fs::write(&script, text).expect("written");
    let store = folder.join("record.db").to_string_lossy().into_owned();
    let script = script.to_string_lossy();
    let arguments = [
        "rehearse", &script, "--voice", "none", "--silent", "--quiet",
    ];
    said(&sayback(&[&arguments[..], &["--store", &store]].concat()));
    store
}

#[test]
fn a_record_leaves_in_every_form_and_its_residents_come_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = record(folder.path());
    let export = |more: &[&str]| {
        let all = ["export", "--store", &store, "--home", HOME];
        sayback(&[&all[..], more].concat())
    };

    let bundle = said(&export(&["--format", "fhir-bundle"]));
    let bundle: serde_json::Value = serde_json::from_str(&bundle).expect("JSON");
    let kinds: Vec<_> = bundle["entry"]
        .as_array()
        .expect("entries")
        .iter()
        .map(|it| it["resource"]["resourceType"].as_str().expect("a kind"))
        .collect();
    assert_eq!(kinds, ["Patient", "Observation", "Observation"]);

    assert_eq!(said(&export(&["--format", "csv"])).lines().count(), 3);
    let later = said(&export(&["--format", "csv", "--since", "2026-03-03"]));
    assert_eq!(later.lines().count(), 1, "the header alone");
    for format in ["round-sheet", "summary"] {
        let page = said(&export(&["--format", format]));
        assert!(page.contains("152/88 mmHg"), "{format}");
    }

    let out = folder.path().join("out");
    let out = out.to_string_lossy();
    said(&export(&["--format", "fhir-ndjson", "--out", &out]));
    let patients = format!("{out}/Patient.ndjson");
    let back = said(&sayback(&["import-patients", &patients, "--home", HOME]));
    assert!(back.starts_with("0 added, 0 changed, 1 the same"), "{back}");

    let nobody = complaint(&export(&["--format", "csv", "--resident", "X"]));
    assert!(nobody.contains("no resident \"X\""), "{nobody}");
    let unsafe_address = complaint(&export(&["--post", "http://chart.example/fhir"]));
    assert!(unsafe_address.contains("use https"), "{unsafe_address}");
    let moved = complaint(&export(&["--format", "fhir-ndjson"]));
    assert!(moved.contains("--out"), "{moved}");
}

/// What only a newer version can read is left out, and that is said: it may be the
/// correction of what is there.
#[test]
fn what_came_from_a_home_and_cannot_be_read_is_left_out_and_said() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = record(folder.path());
    let of_this = ["--store", &store];
    let key = Key::File(std::env::var_os("SAYBACK_KEY_FILE").expect("a key").into());
    let mut opened = Store::open_with(Path::new(&store), &key).expect("a record");
    let facts = opened.facts().expect("facts");
    let read = facts.iter().find(|it| matches!(it.body, Body::Read(_)));
    let mut newer = serde_json::to_value(read.expect("a reading")).expect("JSON");
    newer["kind"] = "struck_out".into();
    let id = uuid::Uuid::now_v7();
    newer["id"] = id.to_string().into();
    let text = newer.to_string();
    let fetched = opened.append_fetched(&[RawFact { id, text }]);
    assert_eq!(fetched.expect("stored"), 1);
    drop(opened);

    let lacking = |output: Output, with: &str| {
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(5), "{said}");
        assert!(said.contains("1 entry that came from the home is left out"));
        assert!(said.contains(&format!("fact {id} of 2026-03-02")), "{said}");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(text.contains(with), "{with} not in {text}");
        text
    };
    let export = |more: &[&str]| {
        let all = [&["export", "--home", HOME], &of_this[..], more].concat();
        sayback(&all)
    };
    let sentence = "corrected or retracted by that";
    for format in ["round-sheet", "summary"] {
        let page = lacking(export(&["--format", format]), sentence);
        assert!(page.contains("152/88 mmHg"), "the rest is there: {page}");
    }
    let bundle = lacking(export(&["--format", "fhir-bundle"]), sentence);
    let bundle: serde_json::Value = serde_json::from_str(&bundle).expect("JSON");
    let last = &bundle["entry"].as_array().expect("entries")[3]["resource"];
    assert_eq!(last["resourceType"], "OperationOutcome");
    assert_eq!(last["issue"].as_array().expect("issues").len(), 1);
    let table = lacking(export(&["--format", "csv"]), "unreadable");
    assert_eq!(table.lines().count(), 4);
    let out = folder.path().join("out");
    let to = ["--format", "fhir-ndjson", "--out", &out.to_string_lossy()];
    lacking(export(&to), "");
    let outcome = std::fs::read_to_string(out.join("OperationOutcome.ndjson"));
    assert!(outcome.expect("a file").contains(&id.to_string()));
    lacking(sayback(&[&["record"], &of_this[..]].concat()), "152/88");

    // Of another it takes nothing away, and rounds and copies go on.
    let other = export(&["--format", "csv", "--resident", "AR-090"]);
    assert_eq!(said(&other).lines().count(), 1);
    let copy = folder.path().join("copy.db").to_string_lossy().into_owned();
    said(&sayback(&["backup", &store, &copy]));
    record(folder.path());
    let checked = said(&sayback(&["check", &store]));
    assert!(
        checked.contains("not to be read by this version: 1"),
        "{checked}"
    );
}

#[cfg(unix)]
#[test]
fn only_its_owner_can_read_what_was_exported() {
    use std::os::unix::fs::PermissionsExt as _;

    let folder = tempfile::tempdir().expect("a folder");
    let store = record(folder.path());
    let out = folder.path().join("table.csv");
    // There already, and open to all.
    std::fs::write(&out, "old").expect("written");
    let name = out.to_string_lossy();
    let all = ["export", "--store", &store, "--home", HOME];
    said(&sayback(
        &[&all[..], &["--format", "csv", "--out", &name]].concat(),
    ));
    let mode = out.metadata().expect("a file").permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
}

#[test]
fn an_import_shows_first_and_writes_when_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let of = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    let (home, patients, rooms) = (of("home.toml"), of("patient.json"), of("rooms.csv"));
    std::fs::copy(HOME, &home).expect("copied");
    let patient = |born: &str| {
        format!(
            r#"{{"resourceType":"Patient","identifier":[{{"system":"urn:x:y","value":"AR-200"}}],
                "name":[{{"given":["Jo"],"family":"Finch"}}],"birthDate":"{born}"}}"#
        )
    };
    std::fs::write(&patients, patient("1940-02-29")).expect("written");
    let import = |more: &[&str]| {
        let all = ["import-patients", &patients, "--home", &home];
        sayback(&[&all[..], more].concat())
    };
    let before = std::fs::read_to_string(&home).expect("the home");

    let refused = complaint(&import(&["--write"]));
    assert!(
        refused.contains("a new resident without a room"),
        "{refused}"
    );
    std::fs::write(&rooms, "id,room\nAR-200,20\n").expect("written");
    let shown = said(&import(&["--rooms", &rooms]));
    assert!(
        shown.starts_with("added: AR-200 (Jo Finch, born 1940-02-29, room 20)"),
        "{shown}"
    );
    assert_eq!(std::fs::read_to_string(&home).expect("the home"), before);
    said(&import(&["--rooms", &rooms, "--write"]));
    let after = std::fs::read_to_string(&home).expect("the home");
    assert!(after.contains("Jo Finch"));
    let again = said(&import(&["--write"]));
    assert!(again.contains("1 the same") && again.contains("Nothing to write"));

    std::fs::write(&patients, patient("1940")).expect("written");
    let wrong = complaint(&import(&["--write"]));
    assert!(wrong.contains("a whole date such as"), "{wrong}");
    assert_eq!(std::fs::read_to_string(&home).expect("the home"), after);
}

#[test]
fn a_filter_that_a_form_cannot_heed_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = record(folder.path());
    let round = uuid::Uuid::now_v7().to_string();
    let cases = [
        ["round-sheet", "--resident", "AR-042"],
        ["round-sheet", "--since", "2026-03-02"],
        ["csv", "--round", &round],
        ["summary", "--round", &round],
    ];
    for case in cases {
        let all = ["export", "--home", HOME, "--store", &store, "--format"];
        let output = sayback(&[&all[..], &case].concat());
        assert_eq!(output.status.code(), Some(2), "{case:?}");
        assert!(output.stdout.is_empty(), "{case:?}");
        assert!(String::from_utf8_lossy(&output.stderr).contains(case[1]));
    }
}
