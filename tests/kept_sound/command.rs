//! What the commands do with kept sound, and say of it.

use std::io::{BufRead as _, BufReader};
use std::process::{Command, Output, Stdio};

use sayback::hearing::Sound;
use sayback::store::sound_beside;
use serde_json::Value;

use super::disk::{is_in_a_file, is_in_the_pages};
use super::heard::{recording, samples};
use super::talk::{HOME, Place};

fn command(place: &Place, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
    command
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"));
    command.env("SAYBACK_KEY_FILE", place.key_file());
    command.env("SAYBACK_LOG", "trace");
    command.env("TMPDIR", place.folder().join("tmp"));
    command.stdin(Stdio::null());
    command
}

fn sayback(place: &Place, arguments: &[&str], code: i32) -> String {
    let Output {
        status,
        stdout,
        stderr,
    } = command(place, arguments).output().unwrap();
    let said = [stdout, stderr].concat();
    let said = String::from_utf8(said).unwrap();
    assert_eq!(status.code(), Some(code), "{arguments:?}: {said}");
    said
}

/// The home's file in a place, with this added.
fn home(place: &Place, name: &str, more: &str) -> String {
    let path = place.folder().join(name);
    std::fs::write(&path, format!("{HOME}\n{more}")).unwrap();
    path.display().to_string()
}

/// A round with a blood pressure, spoken by recordings, now.
fn rehearse(place: &Place, home: &str) -> String {
    std::fs::create_dir_all(place.folder().join("tmp")).unwrap();
    let wav = |name| format!("wav {}\n", recording(name).display());
    let now = chrono::Local::now().to_rfc3339();
    let steps = ["room-four-bed-two", "yes-slt", "pressure-152-88", "yes-awb"].map(wav);
    let script = place.folder().join("round.script");
    std::fs::write(
        &script,
        format!("home {home}\nat {now}\n{}", steps.concat()),
    )
    .unwrap();
    let (script, record) = (script.display().to_string(), place.record());
    let record = record.display().to_string();
    let said = place.folder().join("said.wav").display().to_string();
    let arguments = [
        "rehearse", &script, "--silent", "--store", &record, "--said", &said,
    ];
    sayback(place, &arguments, 0)
}

#[test]
fn a_home_that_says_nothing_keeps_nothing() {
    let place = Place::new();
    let said = rehearse(&place, &home(&place, "home.toml", ""));
    assert!(said.contains("152/88") && !said.contains("sound"), "{said}");
    for name in ["pressure-152-88", "yes-awb", "room-four-bed-two"] {
        let sound = Sound::new(&samples(name));
        assert!(
            !is_in_a_file(place.folder(), &sound),
            "{name} is on the disk"
        );
    }
    assert!(!sound_beside(&place.record()).exists());
    let record = place.record().display().to_string();
    let check = sayback(&place, &["check", &record], 0);
    assert!(!check.contains("sound"), "{check}");
}

#[test]
fn a_home_that_keeps_sound_is_told_so_everywhere_and_may_end_it() {
    let place = Place::new();
    let on = home(&place, "on.toml", "[kept_sound]\ndays = 14\n");
    let said = rehearse(&place, &on);
    let told = "The sound of confirmed readings is kept for 14 days.";
    assert!(said.contains(told), "{said}");
    let sound = Sound::new(&samples("pressure-152-88"));
    assert!(!is_in_a_file(place.folder(), &sound));
    assert!(is_in_the_pages(&place, &sound));

    let record = place.record().display().to_string();
    let file = sound_beside(&place.record());
    let check = sayback(&place, &["check", &record], 0);
    assert!(
        check.contains("Kept sound: of 1 readings, 1 MB, encrypted."),
        "{check}"
    );
    let json = sayback(&place, &["check", &record, "--json"], 0);
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["kept_sound"]["readings"], 1);

    let copy = place.folder().join("copy.db");
    let text = copy.display().to_string();
    let backup = sayback(&place, &["backup", &record, &text], 0);
    assert!(backup.contains("Kept sound is not in the copy"), "{backup}");
    assert!(!sound_beside(&copy).exists());

    let rotated = sayback(&place, &["key", "rotate", &record, "--forget-old"], 0);
    assert!(rotated.contains("record.sound.db is encrypted with the new key"));
    assert!(is_in_the_pages(&place, &sound), "with the new key");
    sayback(&place, &["check", &record], 0);

    // Microphone and loudspeaker may not be there where this is tested.
    let off = home(&place, "off.toml", "");
    let doctor = |home: &str| {
        let arguments = ["doctor", "--store", &record, "--home", home];
        let output = command(&place, &arguments).output().unwrap();
        let said = String::from_utf8(output.stdout).unwrap();
        let line = said.lines().find(|it| it.contains("sound  "));
        line.unwrap_or_else(|| panic!("{said}")).to_owned()
    };
    let line = doctor(&on);
    assert!(
        line.starts_with("ok") && line.contains("for 14 days"),
        "{line}"
    );
    let line = doctor(&off);
    assert!(
        line.starts_with("warn") && line.contains("keeps none"),
        "{line}"
    );

    let arguments = [
        "serve",
        "--store",
        &record,
        "--home",
        &off,
        "--listen",
        "127.0.0.1:0",
    ];
    let mut serve = command(&place, &arguments)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let lines = BufReader::new(serve.stdout.take().unwrap()).lines();
    let line = lines.map_while(Result::ok).find(|it| it.contains("sound"));
    serve.kill().unwrap();
    serve.wait().unwrap();
    let expected = "The home keeps no sound any more: all that was kept is deleted, that of 1 \
                    readings.";
    assert_eq!(line.as_deref(), Some(expected));
    assert!(!file.exists());
}

#[test]
fn a_damaged_file_is_named_by_check_and_keeps_nobody_from_recording() {
    let place = Place::new();
    let on = home(&place, "on.toml", "[kept_sound]\ndays = 14\n");
    rehearse(&place, &on);
    std::fs::write(sound_beside(&place.record()), [0x5a; 8_192]).unwrap();
    let record = place.record().display().to_string();
    let check = sayback(&place, &["check", &record], 4);
    assert!(check.contains("WRONG: the kept sound in"), "{check}");
    let said = rehearse(&place, &on);
    assert!(
        said.contains("WARNING: no sound is kept") && said.contains("152/88"),
        "{said}"
    );
    let bad = home(&place, "bad.toml", "[kept_sound]\ndays = 400\n");
    let arguments = ["serve", "--store", &record, "--home", &bad];
    let refused = sayback(&place, &arguments, 1);
    assert!(refused.contains("expected 1 to 90 days"), "{refused}");
}
