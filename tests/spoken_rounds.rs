//! Short rounds spoken aloud: synthetic voices, the true recogniser, the whole
//! dialogue, and a record that is read back from the disk at the end.
//!
//! Each round is a script as `sayback rehearse` takes them, with one more kind
//! of line: `say WORDS` is spoken by the round's voice and becomes a recording.
//! `fixture NAME` is a recording of audio-fixtures/speech.

mod sound;

use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;
use std::sync::LazyLock;

use sayback::dialogue::Dialogue;
use sayback::facts::Body;
use sayback::grammar::{Expect, Grammar};
use sayback::hearing::{Ear, Model};
use sayback::residents::Home;
use sayback::round::{Mouth, Rehearsal, Script, Silent, listen_for, model_for, shown};
use sayback::store::Store;

/// Speaks a sentence into a WAV file, at the voice's own rate.
fn speak(voice: &str, words: &str, file: &Path) {
    let (program, name) = voice.split_once(':').unwrap();
    let mut command = Command::new(program);
    match program {
        "flite" => command.args(["-voice", name, "-t", words, "-o"]),
        _ => command.args(["-v", name, "-s", "150", words, "-w"]),
    };
    let output = command.arg(file).output();
    let output = output.unwrap_or_else(|error| panic!("{program}: {error}; run `make setup-test`"));
    assert!(output.status.success(), "{program}: {output:?}");
}

static HOME: LazyLock<Home> = LazyLock::new(|| {
    let text = include_str!("../audio-fixtures/demo-home.toml");
    Home::from_toml(text).unwrap()
});
/// Opened once: that takes longer than many a round.
static MODEL: LazyLock<(Model, Grammar)> = LazyLock::new(|| {
    let grammar = Grammar::standard().for_home(&HOME).unwrap();
    model_for(&sound::model_folder(), grammar).unwrap()
});

fn ear() -> Ear<Expect> {
    let (model, grammar) = &*MODEL;
    let mut ear = Ear::new(model.clone());
    for expect in Expect::ALL {
        listen_for(&mut ear, expect, grammar).unwrap();
    }
    ear
}

/// Plays a round and gives what it stored, a line each.
fn stored(voice: &str, round: &str) -> Vec<String> {
    let folder = tempfile::tempdir().unwrap();
    let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures");
    let mut script = format!(
        "home {}\nat 2026-03-02T07:30:00-05:00\n",
        fixtures.join("demo-home.toml").display()
    );
    for (number, line) in round.lines().map(str::trim).enumerate() {
        match line.split_once(' ') {
            Some(("say", words)) => {
                let file = folder.path().join(format!("{number}.wav"));
                speak(voice, words, &file);
                writeln!(script, "wav {}", file.display())
            }
            Some(("fixture", name)) => {
                let file = fixtures.join("speech").join(format!("{name}.wav"));
                writeln!(script, "wav {}", file.display())
            }
            _ => writeln!(script, "{line}"),
        }
        .unwrap();
    }
    let script = Script::parse(&folder.path().join("round.script"), &script).unwrap();
    let aide = HOME.aides[0].clone();
    let dialogue = Dialogue::new(HOME.clone(), aide, &Grammar::standard()).unwrap();
    let path = folder.path().join("record.db");
    let mut store = Store::open(&path).unwrap();
    let rehearsal = Rehearsal {
        script: &script,
        dialogue: &dialogue,
        store: &mut store,
        ear: Some(ear()),
        mouth: Mouth::default(),
        screen: &mut Silent,
        pace: std::time::Duration::ZERO,
        touches: None,
    };
    let outcome = rehearsal.run().unwrap();
    let unmet = outcome.unmet.iter().map(|(line, said)| {
        // Two lines of the script stand before the round.
        let line = round.lines().nth(line - 3).unwrap_or_default();
        format!("\"{}\" and said \"{said}\"", line.trim())
    });
    assert_eq!(unmet.collect::<Vec<_>>(), [""; 0], "{voice}");
    drop(store);
    let facts = Store::open_to_read(&path).unwrap().facts().unwrap();
    facts.iter().filter_map(|it| show(&it.body)).collect()
}

fn show(body: &Body) -> Option<String> {
    Some(match body {
        Body::Read(reading) => {
            let late = reading.measured_at != reading.spoken_at;
            let late = late.then(|| reading.measured_at.format(" at %H:%M").to_string());
            format!(
                "{}{}",
                shown(&reading.measurement),
                late.unwrap_or_default()
            )
        }
        Body::Identified { name, .. } => name.clone(),
        Body::NotTaken { signs, reason, .. } => format!("{signs:?}: {}", reason.spoken()),
        Body::Flagged { .. } | Body::RuleMet { .. } => "to report".to_owned(),
        Body::ReportedToNurse { to, .. } => format!("reported to {to}"),
        Body::Unconfirmed { readings, .. } => {
            let readings: Vec<String> = readings.iter().map(shown).collect();
            format!("unconfirmed: {}", readings.join("; "))
        }
        Body::RoundClosed { .. } => "closed".to_owned(),
        _ => return None,
    })
}

const SLT: &str = "flite:slt";
const AWB: &str = "flite:awb";
const KAL: &str = "flite:kal16";
const US: &str = "espeak-ng:en-us";

#[test]
fn one_reading_is_kept() {
    let round = "say room nine
        expect Rosa Delgado, born
        say yes
        expect Ready for Rosa Delgado
        say pulse eighty four
        expect Pulse eight four. Yes?
        say yes
        expect Kept.";
    for voice in [SLT, AWB, KAL] {
        let kept = ["Rosa Delgado", "Pulse 84 /min"];
        assert_eq!(stored(voice, round), kept, "{voice}");
    }
}

#[test]
fn no_and_the_right_value() {
    let round = "fixture room-nine
        fixture yes-slt
        say respiration eighteen
        expect Respiration one eight. Yes?
        say no
        expect What is the respiration?
        say nineteen
        expect Respiration one nine. Yes?
        say yes
        expect Kept.";
    assert_eq!(stored(SLT, round), ["Rosa Delgado", "Respiration 19 /min"]);
}

#[test]
fn a_value_instead_of_a_yes_is_read_back_too() {
    let round = "fixture room-nine
        fixture yes-slt
        say pulse seventy two
        expect Pulse seven two. Yes?
        say no pulse eighty four
        expect Pulse eight four. Yes?
        say yes";
    assert_eq!(stored(AWB, round), ["Rosa Delgado", "Pulse 84 /min"]);
}

#[test]
fn several_readings_in_one_breath() {
    let round = "fixture room-twelve
        fixture yes-awb
        say pulse sixty eight regular, respiration sixteen
        expect Pulse six eight, regular. Respiration one six. Yes?
        say yes
        say blood pressure one eighteen over seventy, right arm, sitting
        expect Blood pressure one one eight over seven zero, right arm, sitting. Yes?
        say yes";
    let kept = [
        "Henry Okafor",
        "Pulse 68 /min · regular",
        "Respiration 16 /min",
        "Blood pressure 118/70 mmHg · right arm · sitting",
    ];
    assert_eq!(stored(SLT, round), kept);
}

#[test]
fn what_is_missing_is_asked_for() {
    let round = "fixture room-nine
        fixture yes-slt
        say temperature ninety eight point four
        expect Temperature: Which method?
        say oral
        expect Temperature nine eight point four Fahrenheit, oral. Yes?
        say yes
        say blood pressure one twenty six over seventy four
        expect Blood pressure: Which arm?
        say left arm
        expect Sitting, lying, or standing?
        say sitting
        expect Blood pressure one two six over seven four, left arm, sitting. Yes?
        say yes";
    let kept = [
        "Rosa Delgado",
        "Temperature 98.4 °F · oral",
        "Blood pressure 126/74 mmHg · left arm · sitting",
    ];
    assert_eq!(stored(SLT, round), kept);
}

#[test]
fn outside_the_range_is_reported() {
    let round = "fixture room-four-bed-two
        fixture yes-slt
        fixture pressure-152-88
        expect one five two over eight eight
        fixture yes-slt
        expect Report to the nurse now
        fixture reported-marlow
        expect Reported to Ines Marlow
        fixture yes-slt
        expect Noted
        say done
        expect Done with Walter Brandt
        fixture end-of-round
        expect Round closed.";
    let kept = [
        "Walter Brandt",
        "Blood pressure 152/88 mmHg · left arm · sitting",
        "to report",
        "reported to Ines Marlow",
        "closed",
    ];
    assert_eq!(stored(SLT, round), kept);
}

#[test]
fn a_late_entry_keeps_both_times() {
    let round = "fixture room-nine
        fixture yes-slt
        say pulse seventy six taken twenty minutes ago
        expect Pulse seven six, taken at seven, one zero. Yes?
        say yes";
    assert_eq!(
        stored(SLT, round),
        ["Rosa Delgado", "Pulse 76 /min at 07:10"]
    );
}

#[test]
fn a_refusal_and_a_weight_in_kilograms() {
    let round = "fixture room-twelve
        fixture yes-awb
        fixture weight-refused
        expect Weight: refused
        fixture yes-awb
        expect Noted.
        say weight seventy two kilograms
        expect Weight seven two kilograms. Yes?
        say yes";
    let kept = ["Henry Okafor", "[Weight]: refused", "Weight 72 kg"];
    assert_eq!(stored(SLT, round), kept);
}

#[test]
fn silence_holds_a_reading_unconfirmed() {
    let round = "fixture room-nine
        fixture yes-slt
        say pulse seventy two
        expect Yes?
        silence
        expect Pulse seven two. Yes?
        silence
        expect Held as unconfirmed";
    let kept = ["Rosa Delgado", "unconfirmed: Pulse 72 /min"];
    assert_eq!(stored(SLT, round), kept);
}

#[test]
fn talk_between_the_read_back_and_the_yes_changes_nothing() {
    let round = "fixture room-nine
        fixture yes-slt
        say pulse seventy two
        expect Pulse seven two. Yes?
        say we were married for fifty three years you know
        fixture side-talk
        say the weather will be lovely on thursday
        say yes
        expect Kept.";
    assert_eq!(stored(SLT, round), ["Rosa Delgado", "Pulse 72 /min"]);
}

#[test]
fn scratched_and_done_keep_nothing() {
    let round = "fixture room-nine
        fixture yes-slt
        say pulse seventy two
        expect Yes?
        say scratch that
        expect Scratched.
        say done
        expect Done with Rosa Delgado";
    assert_eq!(stored(SLT, round), ["Rosa Delgado"]);
}

#[test]
fn another_voice_takes_a_whole_visit() {
    let round = "fixture room-twelve
        expect Henry Okafor
        fixture yes-us
        say temperature ninety seven point nine oral
        expect Temperature nine seven point nine Fahrenheit, oral. Yes?
        fixture yes-us
        say oxygen saturation ninety six percent on room air
        expect Oxygen saturation nine six percent, on room air. Yes?
        fixture yes-us
        say pain three
        expect Pain three
        fixture yes-us
        expect Kept.";
    let kept = [
        "Henry Okafor",
        "Temperature 97.9 °F · oral",
        "Oxygen saturation 96 % · on room air",
        "Pain 3 of 10",
    ];
    assert_eq!(stored(US, round), kept);
}

#[test]
fn a_resident_is_called_by_name_and_the_round_goes_on_in_order() {
    let round = "say walter brandt
        expect Walter Brandt, born
        say yes
        expect Ready for Walter Brandt
        say next
        expect Rosa Delgado, born
        say skip asleep
        expect Skip Rosa Delgado, asleep
        say yes
        expect Noted. Next is room one two
        say go back
        expect Walter Brandt, born
        say yes
        say lead me
        expect Temperature?
        say ninety seven point nine oral
        expect Temperature nine seven point nine Fahrenheit, oral. Yes?
        say yes
        expect Kept.
        say this is dana whitlock
        expect Dana Whitlock is recording.";
    let kept = stored(SLT, round);
    let expected = [
        "Walter Brandt",
        "[Temperature, Pulse, Respiration, BloodPressure, OxygenSaturation, Weight, Height, Pain]: asleep",
        "Walter Brandt",
        "Temperature 97.9 °F · oral",
    ];
    assert_eq!(kept, expected);
}

/// What `make demo` runs, recordings and all.
#[test]
fn the_round_of_the_demo_goes_as_written() {
    let folder = tempfile::tempdir().unwrap();
    let ran = Command::new(env!("CARGO_BIN_EXE_sayback"))
        .args(["rehearse", "audio-fixtures/demo-round.script"])
        .args(["--voice", "none", "--silent", "--store"])
        .arg(folder.path().join("demo.db"))
        .arg("--key-file")
        .arg(folder.path().join("demo.key"))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&ran.stderr);
    assert!(ran.status.success(), "{said}");
    // Nobody speaks between a question and the yes to it.
    let shown = String::from_utf8_lossy(&ran.stdout);
    let lines: Vec<&str> = shown.lines().collect();
    let yes = |it: &&[&str]| it[1].contains("“yes”");
    let before: Vec<_> = lines.windows(2).filter(yes).map(|it| it[0]).collect();
    assert!(before.len() > 5, "{shown}");
    assert!(before.iter().all(|it| it.contains("Yes?")), "{before:#?}");
}
