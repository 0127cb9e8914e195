//! Signing on, and what is heard.

use std::io::Write as _;

use super::*;

/// A run in which these lines are typed.
fn typing(arguments: &[&str], lines: &str) -> Ran {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
    command.args(arguments).current_dir(ROOT);
    command.stdin(Stdio::piped());
    command.stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    // It may end without reading.
    let _ = child.stdin.take().unwrap().write_all(lines.as_bytes());
    ended(child.wait_with_output().unwrap())
}

/// Once PINs are set, a name on the command line is not enough.
#[test]
fn nobody_records_without_the_pin_once_there_is_one() {
    let folder = folder(&[]);
    let record = folder.path().join("record.db");
    let record = record.to_str().unwrap();
    let home = ["--home", "audio-fixtures/demo-home.toml", "--store", record];
    let set = |name, typed| {
        let command = [&["staff", "set-pin", name][..], &home].concat();
        typing(&command, typed)
    };
    let refused = |ran: Ran, why: &str| {
        assert_eq!(ran.code, 1, "{}", ran.err);
        assert!(ran.err.contains(why), "{}", ran.err);
    };
    let listen = |typed, named: &[&str]| {
        // A microphone that is not there ends it once someone is signed on.
        let device = ["--microphone", "no such microphone", "--voice", "none"];
        typing(&[&["listen"][..], &home, &device, named].concat(), typed)
    };
    let dana = ["--signed-on", "Dana Whitlock"];
    refused(listen("", &dana), "no PINs are set");
    refused(listen("", &dana), "no such microphone");

    refused(
        set("Dana Whitlock", "123456\n123456\n"),
        "too easily guessed",
    );
    refused(set("Dana Whitlock", "739155\n739156\n"), "differ");
    refused(set("Nobody Here", "739155\n739155\n"), "Dana Whitlock");
    set("Dana Whitlock", "739155\n739155\n").succeeded();
    let list = sayback([&["staff", "list"][..], &home].concat()).succeeded();
    assert!(
        list.out
            .contains("Dana Whitlock, nursing aide: no badge number, PIN set"),
        "{}",
        list.out
    );
    assert!(
        list.out
            .contains("Ines Marlow, registered nurse: no badge number, no PIN")
    );

    refused(listen("", &dana), "don't belong together");
    refused(listen("111111\n", &dana), "don't belong together");
    refused(listen("739155\n", &dana), "no such microphone");
    refused(
        listen("739155\n", &["--signed-on", "Ines Marlow"]),
        "has no PIN yet",
    );
    refused(listen("\n", &[]), "nobody is signed on");
    refused(
        listen("dana whitlock\n739155\n\n", &[]),
        "no such microphone",
    );
    // A browser would not give its sound there.
    let tablet = [
        "--signed-on",
        "Dana Whitlock",
        "--tablet",
        "--screen",
        "0.0.0.0:0",
    ];
    let command = [&["listen"][..], &home, &tablet].concat();
    refused(
        typing(&command, "739155\n"),
        "give --tls-cert and --tls-key",
    );
    // Nor does a rehearsal write into that record.
    let rehearsal = [
        "rehearse",
        "audio-fixtures/demo-round.script",
        "--store",
        record,
    ];
    refused(sayback(rehearsal), "recorder with PINs");
}

/// What is heard is the home's choice, and the screen says which it is.
#[test]
fn the_screen_says_what_is_heard() {
    let (folder, path) = script("text room nine\nexpect Rosa Delgado, born\ntext yes");
    let home = folder.path().join("home.toml");
    let text = std::fs::read_to_string(&home).unwrap();
    for (speech, said) in [
        ("room", "names are shown here and not spoken"),
        ("tones", "read the screen before every yes"),
    ] {
        let chosen = text.replace(
            "units = \"us_customary\"",
            &format!("units = \"us_customary\"\nbedside.speech = \"{speech}\""),
        );
        std::fs::write(&home, chosen).unwrap();
        let ran = rehearse(&path, &[]).0.succeeded();
        assert!(ran.out.contains(said), "{}", ran.out);
    }
    std::fs::write(&home, format!("bedside.speech = \"loud\"\n{text}")).unwrap();
    let ran = rehearse(&path, &[]).0;
    assert!(
        ran.code == 1 && ran.err.contains("`earpiece`"),
        "{}",
        ran.err
    );
}
