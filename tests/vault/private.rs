//! Nothing of a resident leaves the record by the way: in a log, a temporary file
//! or a file's name.

use std::path::{Path, PathBuf};

use sayback::review::Station;
use sayback::store::Store;
use serde_json::Value;

use super::{HOME, Place, ROOT, ran};

/// Words, numbers, names and identifiers of this round.
const PRIVATE: [&str; 12] = [
    "Rosa", "Delgado", "AR-090", "1945", "Whitlock", "seventy", "152", "88", "kept the", "pulse",
    "Pulse", "left arm",
];

/// A round with everything logged that can be. That private words would be
/// found: they are in what the round shows.
fn nothing_private_is_logged(place: &Place, script: &str, format: &str) {
    let record = place.name(&format!("{format}.db"));
    let said = place.name(&format!("{format}.wav"));
    let arguments = [
        "rehearse",
        script,
        "--silent",
        "--store",
        &record,
        "--said",
        &said,
        "--log-format",
        format,
    ];
    let mut command = place.command(&arguments);
    command.env("SAYBACK_LOG", "trace").env("RUST_LOG", "trace");
    command
        .env("RUST_BACKTRACE", "full")
        .env("TMPDIR", place.path("tmp"));
    let round = ran(&mut command);
    assert_eq!(round.code, 0, "{}", round.err);
    for words in ["Delgado", "152", "88", "Whitlock", "left arm"] {
        assert!(
            round.out.contains(words),
            "{words} is not even shown: {}",
            round.out
        );
    }
    // A number as such: any two digits stand in some time to the microsecond.
    let logged: Vec<&str> = round.err.split(|it: char| !it.is_alphanumeric()).collect();
    for words in PRIVATE {
        let number = words.parse::<u32>().is_ok();
        let there = if number {
            logged.contains(&words)
        } else {
            round.err.contains(words)
        };
        assert!(!there, "{words} is logged: {}", round.err);
    }
    if format == "json" {
        assert!(!round.err.is_empty(), "nothing was logged");
        for line in round.err.lines() {
            assert!(serde_json::from_str::<Value>(line).is_ok(), "{line}");
        }
    }
}

#[test]
fn no_reading_and_no_name_is_in_a_log_a_temporary_file_or_a_files_name() {
    let place = Place::new();
    std::fs::create_dir(place.path("tmp")).unwrap();
    let script = place.name("round.script");
    let speech = format!("{ROOT}/audio-fixtures/speech");
    let lines = format!(
        "home {ROOT}/{HOME}\nat 2026-03-02T07:30:00-05:00\nwav {speech}/room-nine.wav\ntext yes\n\
         text pulse seventy two regular\ntext yes\nwav {speech}/pressure-152-88.wav\ntext yes\n"
    );
    std::fs::write(&script, lines).unwrap();
    for format in ["human", "json"] {
        nothing_private_is_logged(&place, &script, format);
    }
    let mut looked_at = 0;
    let mut folders = vec![place.0.path().to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            assert!(PRIVATE.iter().all(|it| !name.contains(it)), "{name}");
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            looked_at += 1;
            if name == "round.script" {
                continue;
            }
            let bytes = std::fs::read(&path).unwrap();
            // Two digits stand by chance in any noise.
            for words in PRIVATE.iter().filter(|it| it.len() > 4) {
                let there = bytes.windows(words.len()).any(|it| it == words.as_bytes());
                assert!(!there, "{words} is in {name}");
            }
        }
    }
    assert!(looked_at >= 4, "{looked_at}");
}

/// What the program logs is fixed words, counts and errors: no line of a log is
/// given what was heard or said, a resident, or who signed in.
#[test]
fn no_log_line_is_given_what_is_private() {
    let mut looked_at = 0;
    for (path, code) in sources() {
        let code = code.replace("use tracing::", "");
        for (at, _) in code.match_indices("tracing::") {
            let end = [");", "),"].map(|it| code[at..].find(it).unwrap_or(usize::MAX));
            let end = end[0].min(end[1]).min(code.len() - at);
            let line = &code[at..at + end];
            let given = given(line);
            for private in [
                "heard", "resident", "name", "login", "who", "words", "fact", "pin",
            ] {
                let there = given.split(|it: char| !it.is_alphanumeric() && it != '_');
                let there = there.into_iter().any(|it| it == private);
                assert!(!there, "{}: {line}", path.display());
            }
            looked_at += 1;
        }
    }
    assert!(looked_at > 8, "{looked_at}");
}

/// What a log line is given: its arguments, and what stands in braces.
fn given(line: &str) -> String {
    let mut given = String::new();
    for (at, part) in line.split('"').enumerate() {
        if at % 2 == 0 {
            given += part;
            continue;
        }
        for braced in part.split('{').skip(1) {
            given.push(' ');
            given += braced.split('}').next().unwrap_or_default();
        }
    }
    given
}

#[test]
fn what_a_log_line_is_given_is_found() {
    let line = r#"tracing::warn!(who, "the resident {name} was heard {at:?}""#;
    let given = given(line);
    assert!(given.contains("who") && given.contains("name") && given.contains("at:?"));
    assert!(
        !given.contains("resident") && !given.contains("heard"),
        "{given}"
    );
}

/// Every file of the program, without its tests.
fn sources() -> Vec<(PathBuf, String)> {
    let mut all = Vec::new();
    let mut folders = vec![PathBuf::from(format!("{ROOT}/src"))];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|it| it == "rs") {
                let text = std::fs::read_to_string(&path).unwrap();
                let code = text.split("#[cfg(test)]").next().unwrap();
                all.push((path, code.to_owned()));
            }
        }
    }
    all
}

/// What is heard is written nowhere but in the encrypted file of kept sound
/// (`tests/kept_sound`): nothing that hears makes a file, and nothing of the program
/// uses what tests write recordings with. What Sayback itself says may be written,
/// where that is asked for.
#[test]
fn no_code_that_hears_writes_a_file() {
    let mut looked_at = 0;
    for (path, code) in sources() {
        if path.ends_with("hearing/wav.rs") {
            assert_eq!(code.matches("WavWriter::create").count(), 1);
            continue;
        }
        assert!(!code.contains("write_wav("), "in {}", path.display());
        if !path.parent().unwrap().ends_with("hearing") {
            continue;
        }
        // One line writes: the model's settings, beside links to the model.
        let settings = "fs::write(conf.join(file), with_setting(&text, setting))?;";
        let code = code.replacen(settings, "", usize::from(path.ends_with("tuning.rs")));
        for word in ["File::create", "fs::write", "WavWriter", "OpenOptions"] {
            assert!(!code.contains(word), "{word} in {}", path.display());
        }
        looked_at += 1;
    }
    assert!(looked_at > 8, "{looked_at}");
}

#[test]
fn who_can_read_the_key_gives_an_administrator_a_new_code() {
    let place = Place::with_record();
    let record = place.name("record.db");
    let reset = |more: &[&str]| {
        let all = [&["accounts", "reset-admin", "--store", &record], more].concat();
        place.sayback(&all)
    };
    assert!(reset(&[]).with(1).contains("there are no accounts"));
    let open = || Station::accounts_with(Path::new(&record), &place.key()).unwrap();
    let (accounts, first) = open();
    drop(accounts);
    assert!(
        reset(&["--login", "imarlow"])
            .with(1)
            .contains("takes admin")
    );
    let said = reset(&[]).well();
    let code = said.lines().find_map(|it| it.strip_prefix("    ")).unwrap();
    let (accounts, _) = open();
    let now = chrono::Local::now().fixed_offset();
    assert!(accounts.sign_in("admin", &first.unwrap(), now).is_err());
    assert!(accounts.sign_in("admin", code, now).unwrap().must_choose);
    let lines = accounts.log_lines(9).unwrap();
    assert!(
        lines
            .iter()
            .any(|it| it.what.contains("on the machine itself"))
    );
}

#[test]
#[cfg(unix)]
fn an_empty_file_that_others_could_read_is_the_owners_once_it_is_a_record() {
    use std::os::unix::fs::PermissionsExt as _;
    let place = Place::new();
    let path = place.path("empty.db");
    std::fs::write(&path, "").unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o644)).unwrap();
    drop(Store::open_with(&path, &place.key()).unwrap());
    let mode = std::fs::metadata(&path).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
}
