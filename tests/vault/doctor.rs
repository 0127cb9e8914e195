//! `sayback doctor`, and the services that run Sayback.

use std::io::{Read as _, Write as _};
use std::os::unix::fs::PermissionsExt as _;
use std::process::Command;

use sayback::store::Store;
use serde_json::Value;

use super::mounts::can_mount;
use super::{HOME, Place, ROOT, note, ran};

fn doctor(place: &Place, more: &[&str]) -> (i32, Vec<Value>) {
    let record = place.name("record.db");
    let all = ["doctor", "--json", "--store", &record];
    let ran = place.sayback(&[&all[..], more].concat());
    assert_eq!(ran.err, "", "{}", ran.out);
    (ran.code, parsed(&ran.out))
}

fn parsed(out: &str) -> Vec<Value> {
    let lines = out.lines();
    lines.map(|it| serde_json::from_str(it).unwrap()).collect()
}

fn outcome<'a>(lines: &'a [Value], check: &str) -> (&'a str, &'a str) {
    let line = lines.iter().find(|it| it["check"] == check);
    let line = line.unwrap_or_else(|| panic!("no line for {check}"));
    (
        line["outcome"].as_str().unwrap(),
        line["text"].as_str().unwrap(),
    )
}

#[test]
fn the_doctor_examines_everything_and_fails_with_what_fails() {
    let place = Place::new();
    let (_, lines) = doctor(&place, &["--home", HOME]);
    for check in [
        "microphone",
        "loudspeaker",
        "voice",
        "model",
        "disk",
        "key",
        "record",
        "clock",
        "accounts",
        "home",
    ] {
        outcome(&lines, check);
    }
    for (check, expected) in [
        ("model", "ok"),
        ("clock", "ok"),
        ("record", "warn"),
        ("home", "ok"),
    ] {
        let (found, text) = outcome(&lines, check);
        assert_eq!(found, expected, "{check}: {text}");
    }
    assert!(!place.path("keys").exists(), "examining makes no key");

    let place = Place::with_record();
    assert_eq!(outcome(&doctor(&place, &[]).1, "record").0, "ok");
    let mut store = Store::open_with(&place.path("record.db"), &place.key()).unwrap();
    store.append(&[&note("2200-01-01T00:00:00-05:00")]).unwrap();
    drop(store);
    let (code, lines) = doctor(&place, &[]);
    let (found, text) = outcome(&lines, "clock");
    assert!(found == "fail" && text.contains("set the clock"), "{text}");
    assert_eq!(code, 4);

    let other = place.path("other-model");
    std::fs::create_dir(&other).unwrap();
    let (_, lines) = doctor(&place, &["--model", &place.name("other-model")]);
    assert_eq!(outcome(&lines, "model").0, "fail");
    for file in ["README", "am", "conf", "graph", "ivector", "uuid"] {
        let target = format!("{ROOT}/assets/model-en-us/{file}");
        std::os::unix::fs::symlink(target, other.join(file)).unwrap();
    }
    assert_eq!(
        outcome(
            &doctor(&place, &["--model", &place.name("other-model")]).1,
            "model"
        )
        .0,
        "ok"
    );
    std::fs::remove_file(other.join("README")).unwrap();
    std::fs::write(other.join("README"), "another").unwrap();
    let (_, lines) = doctor(&place, &["--model", &place.name("other-model")]);
    assert_eq!(outcome(&lines, "model").0, "warn");

    let open = std::fs::Permissions::from_mode(0o644);
    std::fs::set_permissions(place.path("keys/record.key"), open).unwrap();
    let (code, lines) = doctor(&place, &[]);
    assert_eq!(outcome(&lines, "key").0, "fail");
    assert_eq!(outcome(&lines, "record").0, "fail");
    assert_eq!(code, 4);
}

#[test]
fn a_record_that_was_begun_in_vain_and_a_folder_that_is_only_read_are_told_apart() {
    let place = Place::new();
    std::fs::write(place.path("record.db"), "").unwrap();
    let (_, lines) = doctor(&place, &[]);
    let (found, text) = outcome(&lines, "record");
    assert!(found == "warn" && text.contains("is empty"), "{text}");

    if !can_mount() {
        return;
    }
    let read_only = "mount -t tmpfs -o size=2g tmpfs \"$0\" && mount -o remount,ro \"$0\" && \
                     exec \"$@\"";
    let folder = place.name("there");
    std::fs::create_dir(&folder).unwrap();
    let record = format!("{folder}/record.db");
    let program = env!("CARGO_BIN_EXE_sayback");
    let mut command = Command::new("unshare");
    command.args([
        "--map-root-user",
        "--mount",
        "sh",
        "-c",
        read_only,
        &folder,
        program,
    ]);
    command
        .args(["doctor", "--json", "--store", &record])
        .current_dir(ROOT);
    command.env("SAYBACK_KEY_FILE", place.path("keys/record.key"));
    let ran = ran(&mut command);
    assert!(!ran.out.is_empty(), "{}", ran.err);
    let lines = parsed(&ran.out);
    let (found, text) = outcome(&lines, "disk");
    assert!(
        found == "fail" && text.contains("can't be written to"),
        "{text}"
    );
}

/// Answers one request with this body.
fn stand_in(body: &'static str) -> String {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("http://{}/fhir", listener.local_addr().unwrap());
    std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().unwrap();
        let mut asked = [0; 2048];
        let read = stream.read(&mut asked).unwrap();
        assert!(asked[..read].starts_with(b"GET /fhir/metadata "));
        let length = body.len();
        let head = "HTTP/1.1 200 OK\r\nContent-Type: application/fhir+json\r\nContent-Length";
        write!(stream, "{head}: {length}\r\n\r\n{body}").unwrap();
    });
    address
}

#[test]
fn the_doctor_asks_the_fhir_server() {
    let place = Place::new();
    for (body, expected) in [
        (
            r#"{"resourceType":"CapabilityStatement","fhirVersion":"4.0.1"}"#,
            "ok",
        ),
        ("<html>hello", "fail"),
    ] {
        let (_, lines) = doctor(&place, &["--fhir", &stand_in(body)]);
        let (found, text) = outcome(&lines, "fhir");
        assert_eq!(found, expected, "{text}");
    }
    let (_, lines) = doctor(&place, &["--fhir", "http://127.0.0.1:9/fhir"]);
    assert_eq!(outcome(&lines, "fhir").0, "fail");
}

#[test]
fn the_doctor_looks_for_no_sound_where_a_tablet_has_it() {
    let (_, lines) = doctor(&Place::new(), &["--tablet"]);
    let checks: Vec<_> = lines.iter().map(|it| it["check"].clone()).collect();
    assert!(!checks.contains(&"microphone".into()), "{checks:?}");
    assert!(!checks.contains(&"loudspeaker".into()), "{checks:?}");
    assert_eq!(outcome(&lines, "voice").0, "ok");
}

/// Each unit is as systemd wants it, and closed to what the program needs not.
#[test]
fn the_services_are_hardened() {
    let alone = ["sayback-serve.service", "sayback-listen.service"].map(|it| (it, None));
    let with = [
        ("sayback-listen.service", Some("sayback-listen-home.conf")),
        ("sayback-listen.service", Some("sayback-listen-tablet.conf")),
        ("sayback-serve.service", Some("sayback-serve-home.conf")),
        ("sayback-serve.service", Some("sayback-serve-network.conf")),
    ];
    for (unit, dropped_in) in alone.into_iter().chain(with) {
        let path = format!("{ROOT}/dist/{unit}");
        // It must name a program that is there.
        let mut text = std::fs::read_to_string(&path).unwrap();
        if let Some(more) = dropped_in {
            text.push_str(&std::fs::read_to_string(format!("{ROOT}/dist/{more}")).unwrap());
        }
        let place = Place::new();
        let copy = place.path(unit);
        let text = text.replace(
            "/opt/sayback/current/sayback",
            env!("CARGO_BIN_EXE_sayback"),
        );
        std::fs::write(&copy, text).unwrap();
        let verified = ran(Command::new("systemd-analyze").arg("verify").arg(&copy));
        assert_eq!(
            (verified.code, &*verified.err),
            (0, ""),
            "{unit}: {}",
            verified.out
        );
        let mut security = Command::new("systemd-analyze");
        security.args(["security", "--offline=true", "--no-pager", "--threshold=25"]);
        let security = ran(security.arg(&copy));
        let last = security.out.lines().last().unwrap_or_default();
        assert_eq!(security.code, 0, "{unit}: {last}{}", security.err);
    }
}

/// What systemd hands over shows the group's bit where an access list guards it.
#[test]
fn a_key_that_systemd_hands_over_may_show_its_group() {
    let place = Place::with_record();
    let record = place.name("record.db");
    let mode = |it| {
        let mode = std::fs::Permissions::from_mode(it);
        std::fs::set_permissions(place.path("keys/record.key"), mode).unwrap();
    };
    let handed = |folder: &str| {
        let mut command = place.command(&["check", &record]);
        command.env("CREDENTIALS_DIRECTORY", place.path(folder));
        ran(&mut command)
    };
    mode(0o440);
    handed("keys").well();
    assert!(handed("others").with(1).contains("can be read by others"));
    mode(0o444);
    handed("keys").with(1);
}

#[test]
fn a_crash_leaves_no_dump() {
    let place = Place::new();
    // It waits for its input for ever.
    let mut waiting = place.command(&["roster", "import", "-", "--home", HOME]);
    let mut waiting = waiting.stdin(std::process::Stdio::piped()).spawn().unwrap();
    std::thread::sleep(std::time::Duration::from_millis(500));
    let limits = std::fs::read_to_string(format!("/proc/{}/limits", waiting.id())).unwrap();
    waiting.kill().unwrap();
    waiting.wait().unwrap();
    let core = limits
        .lines()
        .find(|it| it.starts_with("Max core file size"));
    let numbers: Vec<&str> = core.unwrap().split_whitespace().skip(4).take(2).collect();
    assert_eq!(numbers, ["0", "0"]);
}

#[test]
fn a_passphrase_is_asked_for() {
    let place = Place::with_record();
    let record = place.name("words.db");
    let script = place.name("round.script");
    let all = [
        "rehearse", &script, "--silent", "--voice", "none", "--store", &record,
    ];
    let with = |arguments: &[&str], typed: &str| {
        let mut command = place.command(arguments);
        command
            .arg("--passphrase")
            .stdin(std::process::Stdio::piped());
        command.stdout(std::process::Stdio::null());
        let mut child = command.spawn().unwrap();
        writeln!(child.stdin.take().unwrap(), "{typed}").unwrap();
        child.wait().unwrap().code()
    };
    assert_eq!(with(&all, "too short"), Some(1));
    assert_eq!(with(&all, "teal kettle sings at noon"), Some(0));
    assert_eq!(
        with(&["check", &record], "teal kettle sings at noon"),
        Some(0)
    );
    assert_eq!(
        with(&["check", &record], "teal kettle sings at night"),
        Some(1)
    );
}
