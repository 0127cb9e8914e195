//! The program as others use it: what it prints, its exit codes, and whether its
//! errors say what to do.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use sayback::facts::{Body, Fact, NO_ROUND, Time, VERSION};
use sayback::residents::{ResidentId, Staff};
use sayback::store::Store;
use sayback::vitals::{Bounds, Component, Unit, VitalSign};
use serde_json::{Value, json};
use tempfile::TempDir;

#[path = "cli/bedside.rs"]
mod bedside;
#[path = "cli/help.rs"]
mod help;
#[path = "cli/limits.rs"]
mod limits;
#[path = "cli/roster.rs"]
mod roster;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// How one run ended.
struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn sayback<S: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = S>) -> Ran {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
    command.args(arguments).current_dir(ROOT);
    command
        .env_remove("SAYBACK_MODEL")
        .env_remove("SAYBACK_LOG");
    command.stdin(Stdio::null());
    ended(command.output().unwrap())
}

fn ended(output: Output) -> Ran {
    let Output {
        status,
        stdout,
        stderr,
    } = output;
    Ran {
        code: status.code().expect("it was not killed"),
        out: String::from_utf8(stdout).unwrap(),
        err: String::from_utf8(stderr).unwrap(),
    }
}

impl Ran {
    fn succeeded(self) -> Self {
        assert_eq!((self.code, self.err.as_str()), (0, ""), "{}", self.out);
        self
    }

    fn lines(&self) -> Vec<Value> {
        let line = |it: &str| serde_json::from_str(it).unwrap_or_else(|_| panic!("{it}"));
        self.out.lines().map(line).collect()
    }
}

fn recording(name: &str) -> String {
    format!("audio-fixtures/speech/{name}.wav")
}

/// A folder with files in it.
fn folder(files: &[(&str, &str)]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

fn script(body: &str) -> (TempDir, PathBuf) {
    let home = Path::new(ROOT).join("audio-fixtures/demo-home.toml");
    let home = std::fs::read_to_string(home).unwrap();
    let text = format!("home home.toml\nat 2026-03-02T07:30:00-05:00\n{body}");
    let folder = folder(&[("home.toml", &home), ("round.script", &text)]);
    let path = folder.path().join("round.script");
    (folder, path)
}

/// Rehearses without a voice, into a record beside the script.
fn rehearse(script: &Path, more: &[&str]) -> (Ran, PathBuf) {
    let store = script.with_file_name("record.db");
    let mut arguments = vec!["rehearse", script.to_str().unwrap(), "--voice", "none"];
    arguments.extend(["--silent", "--store", store.to_str().unwrap()]);
    arguments.extend(more);
    (sayback(arguments), store)
}

fn record(store: &Path) -> Ran {
    sayback(["record", "--json", "--store", store.to_str().unwrap()])
}

#[test]
fn hear_tells_what_was_said_and_what_it_means() {
    let said = recording("temperature-98-6");
    let talk = recording("side-talk");
    let ran = sayback(["hear", &said, &talk, "--json"]).succeeded();
    let lines = ran.lines();
    let (found, others): (Vec<&Value>, Vec<&Value>) =
        lines.iter().partition(|it| it["file"] == said.as_str());
    assert_eq!(found.len(), 1, "{}", ran.out);
    assert_eq!(found[0]["text"], "temperature ninety eight point six oral");
    let claim = &found[0]["meaning"]["readings"]["claims"][0]["measurement"];
    assert_eq!(claim["sign"], "temperature");
    assert_eq!(
        claim["value"]["one"],
        json!({"value": "98.6", "unit": "fahrenheit"})
    );
    let words = found[0]["words"].as_array().unwrap();
    assert_eq!(words.len(), 6);
    let mut end = 0.0;
    for word in words {
        let number = |name: &str| word[name].as_f64().unwrap();
        assert!(number("start") >= end && number("end") > number("start"));
        assert!((0.0..=1.0).contains(&number("confidence")), "{word}");
        end = number("end");
    }
    assert!(found[0]["alternatives"].is_array());

    // Talk between people has a reason and no meaning.
    for line in others {
        assert_eq!(line["file"], talk);
        assert_eq!(line["reason"], "side_talk", "{line}");
        assert!(line.get("meaning").is_none(), "{line}");
    }
}

/// `OpenBLAS`, which is in the recogniser's library, says what it chose where it is asked to.
#[test]
fn the_best_routines_for_this_processor_are_used() {
    // What it chose at each start of the program: of what decodes there are two.
    let chosen = |arguments: &[&str], given: Option<&str>| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
        command.args(arguments).env("OPENBLAS_VERBOSE", "2");
        command.env_remove("OPENBLAS_CORETYPE");
        command.envs(given.map(|it| ("OPENBLAS_CORETYPE", it)));
        let said = ended(command.output().unwrap());
        let chosen = said.err.lines().filter_map(|it| it.strip_prefix("Core: "));
        chosen.map(str::to_owned).collect::<Vec<_>>()
    };
    let hears: [&[&str]; 3] = [
        &["hear", "nothing.wav"],
        &["rehearse", "nothing.script"],
        &["listen", "--home", "nothing.toml", "--aide", "Nobody"],
    ];
    for arguments in hears {
        let started = chosen(arguments, None);
        if is_x86_feature_detected!("avx512vl") {
            assert_eq!(started.len(), 2, "{arguments:?}: {started:?}");
            assert_eq!(started[1], "SkylakeX", "{arguments:?}");
        } else if is_x86_feature_detected!("avx2") {
            assert_eq!(started.len(), 2, "{arguments:?}: {started:?}");
            assert_eq!(started[1], "Haswell", "{arguments:?}");
        }
        assert_eq!(chosen(arguments, Some("Nehalem")), ["Nehalem"]);
    }
    // Nothing else waits for a second start.
    for arguments in [&["--version"][..], &["check", "nothing.db"]] {
        let started = chosen(arguments, None);
        assert_eq!(started.len(), 1, "{arguments:?}: {started:?}");
    }
}

#[test]
fn hear_listens_for_what_is_expected() {
    let file = recording("room-four-bed-two");
    let ran = sayback(["hear", &file, "--expect", "place", "--json"]).succeeded();
    let place = &ran.lines()[0]["meaning"]["place"];
    assert_eq!(*place, json!({"room": "4", "bed": "2"}));
    let ran = sayback(["hear", &file, "--expect", "place"]).succeeded();
    assert!(ran.out.contains("room four bed two"), "{}", ran.out);
}

#[test]
fn understand_tells_the_same_from_text() {
    let words = "pulse seventy two regular respiration [unk] six";
    let ran = sayback(["understand", words, "--json"]).succeeded();
    let lines = ran.lines();
    assert_eq!(lines.len(), 1);
    let readings = &lines[0]["meaning"]["readings"];
    let claim = &readings["claims"][0];
    assert_eq!(claim["measurement"]["sign"], "pulse");
    assert_eq!(claim["measurement"]["value"]["one"]["value"], "72");
    assert_eq!(claim["words"], "pulse seventy two regular");
    assert_eq!(readings["unclear"][0]["sign"], "respiration");
    assert_eq!(readings["unclear"][0]["why"], "gap");

    let ran = sayback(["understand", "lovely weather", "--json"]).succeeded();
    assert_eq!(ran.lines()[0]["reason"], "side_talk");
    let ran = sayback(["understand", "pulse seventy two"]).succeeded();
    assert!(ran.out.contains("72"), "{}", ran.out);
}

#[test]
fn understand_takes_units_and_what_is_pending() {
    let value = |arguments: &[&str], at: &str| {
        let mut all = vec!["understand", "--json"];
        all.extend(arguments);
        sayback(all).succeeded().lines()[0].pointer(at).cloned()
    };
    let unit = "/meaning/readings/claims/0/measurement/value/one/unit";
    let weight = "weight seventy";
    assert_eq!(value(&[weight], unit), Some(json!("pound")));
    assert_eq!(value(&[weight, "--metric"], unit), Some(json!("kilogram")));
    let part = "/meaning/part/value/measurement/sign";
    assert_eq!(value(&["eighty four"], part), None);
    assert_eq!(
        value(&["eighty four", "--pending", "pulse"], part),
        Some(json!("pulse"))
    );
    let home = ["--home", "audio-fixtures/demo-home.toml"];
    let reported = ["reported to nurse quist", home[0], home[1]];
    assert_eq!(value(&reported, "/meaning/reported/to"), Some(json!("1")));
}

const ROUND: &str = "\
text room nine
expect Rosa Delgado
text yes
text pulse seventy two regular
expect Pulse seven two, regular. Yes?
text yes
expect Kept.
text respiration twenty six
silence
text yes
expect Report to the nurse
text reported to nurse marlow
text yes
text end of round
expect Round closed. 2 readings of 1 resident kept.
";

#[test]
fn a_rehearsal_of_texts_stores_a_round_that_record_shows() {
    let (_folder, path) = script(ROUND);
    let (ran, store) = rehearse(&path, &[]);
    let ran = ran.succeeded();
    for shown in ["Rosa Delgado", "Pulse seven two, regular", "Kept.", "72"] {
        assert!(ran.out.contains(shown), "no {shown} in {}", ran.out);
    }
    assert!(ran.out.contains(store.to_str().unwrap()), "says where");
    let home = path.with_file_name("home.toml");
    let (home, record_at) = (home.display(), store.display());
    let next = format!(" serve --home {home} --store {record_at}\n");
    assert!(ran.out.contains(&next), "says what next: {}", ran.out);

    let facts = record(&store).succeeded().lines();
    let kinds: Vec<&str> = facts
        .iter()
        .map(|it| it["kind"].as_str().unwrap())
        .collect();
    let expected = [
        "round_opened",
        "identified",
        "offered",
        "read",
        "offered",
        "read",
        "flagged",
        "reported_to_nurse",
        "round_closed",
    ];
    assert_eq!(kinds, expected);
    let reading = &facts[3];
    assert_eq!(reading["by"]["name"], "Dana Whitlock");
    assert_eq!(reading["resident"], "AR-090");
    assert_eq!(reading["measurement"]["value"]["one"]["value"], "72");
    assert_eq!(reading["heard"], "pulse seventy two regular");
    assert_eq!(reading["read_back"], "Pulse seven two, regular.");
    assert!(
        reading["at"]
            .as_str()
            .unwrap()
            .starts_with("2026-03-02T07:3")
    );

    let table = sayback(["record", "--store", store.to_str().unwrap()]).succeeded();
    assert!(table.out.contains("72"), "{}", table.out);
    // A second rehearsal appends to the same record.
    rehearse(&path, &["--quiet"]).0.succeeded();
    assert_eq!(record(&store).lines().len(), 2 * expected.len());
}

#[test]
fn quiet_is_quiet() {
    let (_folder, path) = script(ROUND);
    assert_eq!(rehearse(&path, &["--quiet"]).0.succeeded().out, "");
}

#[test]
fn an_expectation_that_is_not_met_is_exit_code_3() {
    let (_folder, path) = script("text room nine\nexpect Edith Hollin\ntext yes\nexpect Ready");
    let (ran, store) = rehearse(&path, &["--quiet"]);
    assert_eq!(ran.code, 3, "{}", ran.err);
    assert!(ran.err.contains("line 4: not said"), "{}", ran.err);
    assert!(ran.err.contains("Rosa Delgado"), "{}", ran.err);
    assert_eq!(ran.err.lines().count(), 1, "{}", ran.err);
    assert_eq!(record(&store).succeeded().lines().len(), 2, "it went on");
}

#[test]
fn the_aide_of_the_script_records() {
    let (_folder, path) = script("aide Dana Whitlock\ntext room nine");
    rehearse(&path, &["--quiet"]).0.succeeded();
    let (_folder, path) = script("aide Nobody Known\ntext room nine");
    let (ran, store) = rehearse(&path, &[]);
    assert_eq!(ran.code, 1);
    assert!(ran.err.contains("Nobody Known"), "{}", ran.err);
    assert!(
        ran.err.contains("the home has Dana Whitlock"),
        "{}",
        ran.err
    );
    assert!(!store.exists());
}

/// Exit code 1, one line on standard error that holds all these, and nothing
/// on standard output.
fn fails(arguments: &[&str], says: &[&str]) {
    let ran = sayback(arguments);
    assert_eq!(ran.code, 1, "{arguments:?}: {}{}", ran.out, ran.err);
    assert_eq!(ran.out, "", "{arguments:?}");
    assert!(ran.err.starts_with("sayback: "), "{}", ran.err);
    assert!(!ran.err.contains("panicked"), "{}", ran.err);
    for part in says {
        assert!(ran.err.contains(part), "{part:?} is not in {}", ran.err);
    }
}

#[test]
fn errors_say_what_to_do() {
    let files = folder(&[
        ("letter.wav", "Dear Ms Marlow, this is no sound."),
        ("bad.toml", "name = \"Alder Ridge House\"\nrooms = 4\n"),
        ("not.toml", "name = Alder Ridge"),
        ("no-home.script", "text room nine\n"),
        ("bad-line.script", "home bad.toml\nspeak yes\n"),
        ("bad-time.script", "home bad.toml\nat noon\n"),
        ("bad-home.script", "home bad.toml\ntext yes\n"),
        ("lost-home.script", "home none.toml\ntext yes\n"),
        ("letter.db", "Dear Ms Marlow, this is no record."),
    ]);
    let at = |name: &str| files.path().join(name).to_str().unwrap().to_owned();
    let yes = recording("yes-slt");
    let empty = at("");

    // Sound, and the model.
    fails(&["hear", &at("none.wav")], &["cannot read", "none.wav"]);
    let bad_wav = ["letter.wav", "not a WAV file", "record or convert"];
    fails(&["hear", &yes, &at("letter.wav")], &bad_wav);
    let no_model = ["model", "make setup", "--model"];
    fails(&["hear", &yes, "--model", &empty], &no_model);
    fails(&["hear", &yes, "--model", &at("none")], &no_model);

    // The home.
    let home = |name: &str| ["understand", "yes", "--home", name].map(str::to_owned);
    for (name, says) in [
        ("none.toml", "cannot read"),
        ("bad.toml", "rooms"),
        ("not.toml", "line 1"),
    ] {
        let arguments = home(&at(name));
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        fails(&arguments, &[name, says]);
    }

    // Scripts.
    fails(&["rehearse", &at("none.script")], &["none.script"]);
    let expected = ["no-home.script", "names no home", "\"home FILE\""];
    fails(&["rehearse", &at("no-home.script")], &expected);
    let expected = [
        "bad-line.script, line 2",
        "\"speak\"",
        "expected home, aide",
    ];
    fails(&["rehearse", &at("bad-line.script")], &expected);
    let expected = ["bad-time.script, line 2", "expected a time like"];
    fails(&["rehearse", &at("bad-time.script")], &expected);
    fails(
        &["rehearse", &at("bad-home.script")],
        &["bad.toml", "rooms"],
    );
    fails(&["rehearse", &at("lost-home.script")], &["none.toml"]);

    // Records.
    let expected = ["letter.db", "not a Sayback record", "give the file of one"];
    fails(&["record", "--store", &at("letter.db")], &expected);
    fails(&["record", "--store", &at("none.db")], &["none.db"]);
}

#[test]
fn a_recording_that_a_script_names_in_vain_is_named() {
    let (_folder, path) = script("wav none.wav\n");
    let (ran, _) = rehearse(&path, &["--quiet"]);
    assert_eq!(ran.code, 1);
    assert!(ran.err.contains("none.wav"), "{}", ran.err);
}

/// What a nurse sets on her pages and asks there, the next round knows.
#[test]
fn a_round_knows_the_range_and_the_recheck_that_a_nurse_has_set() {
    let (folder, script) = script(
        "text room nine
         text yes
         expect Ines Marlow asks for the pulse again: it was fast.
         text pulse one oh five
         text yes
         expect Kept.",
    );
    let path = folder.path().join("record.db");
    let resident = ResidentId("AR-090".to_owned());
    let acts = [
        Body::RangeSet {
            resident: resident.clone(),
            sign: VitalSign::Pulse,
            component: Component::Whole,
            bounds: Bounds {
                low: 50.into(),
                high: 110.into(),
                unit: Unit::PerMinute,
            },
            withdrawn: false,
        },
        Body::RecheckAsked {
            resident,
            sign: VitalSign::Pulse,
            reason: "it was fast".to_owned(),
        },
    ];
    let facts = acts.map(|body| Fact {
        id: uuid::Uuid::new_v4(),
        version: VERSION,
        at: Time::parse_from_rfc3339("2026-03-01T15:00:00-05:00").unwrap(),
        by: Staff {
            name: "Ines Marlow".to_owned(),
            title: "registered nurse".to_owned(),
        },
        round: NO_ROUND,
        body,
    });
    let mut store = Store::open(&path).unwrap();
    store.append(&facts.each_ref()).unwrap();
    drop(store);

    let path = path.to_str().unwrap();
    let shown = sayback(["record", "--store", path]).succeeded().out;
    for words in [
        "range of pulse: 50 to 110",
        "to be taken again: pulse",
        "-05:00",
    ] {
        assert!(shown.contains(words), "{words} not in {shown}");
    }
    rehearse(&script, &[]).0.succeeded();
    let kinds: Vec<Value> = record(Path::new(path)).lines();
    let kinds: Vec<&str> = kinds
        .iter()
        .map(|it| it["kind"].as_str().unwrap())
        .collect();
    assert!(kinds.contains(&"read"), "{kinds:?}");
    assert!(
        !kinds.contains(&"flagged"),
        "105 is inside the new range: {kinds:?}"
    );
}

#[test]
fn an_imported_roster_says_each_change_and_keeps_a_copy() {
    let home = Path::new(ROOT).join("audio-fixtures/demo-home.toml");
    let before = std::fs::read_to_string(home).unwrap();
    let table = "id,room,name,birth_date,irregular_pulse\nAR-042,31,Walter Brandt,1941-11-19,\n";
    let folder = folder(&[("home.toml", &before), ("roster.csv", table)]);
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (home, table) = (path("home.toml"), path("roster.csv"));
    let ran = sayback(["roster", "import", &table, "--home", &home]).succeeded();
    assert!(ran.out.contains("changed: AR-042, room: "), "{}", ran.out);
    assert!(ran.out.contains("when it is started again"), "{}", ran.out);
    let after = std::fs::read_to_string(&home).unwrap();
    let ranges = |text: &str| text.matches("[residents.ranges.").count();
    assert_eq!(ranges(&after), ranges(&before));
    let names = std::fs::read_dir(folder.path()).unwrap();
    let copy = names
        .map(|it| it.unwrap().path())
        .find(|it| it.to_string_lossy().contains("home.toml.before-"));
    assert_eq!(std::fs::read_to_string(copy.unwrap()).unwrap(), before);
}
