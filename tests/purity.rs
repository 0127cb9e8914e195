//! The core is pure: what is understood, asked and judged depends on nothing but
//! its inputs. And files stay short enough to be read in one sitting.

use std::path::{Path, PathBuf};

const PURE: [&str; 6] = [
    "src/understanding",
    "src/dialogue",
    "src/vitals",
    "src/facts",
    "src/grammar",
    "src/speaking/wording.rs",
];

/// Files, the network, the clock, other processes, devices, the recogniser, the
/// database, and the modules that hold them.
const IMPURE: [&str; 24] = [
    "std::fs",
    "std::io",
    "std::net",
    "std::time",
    "std::process",
    "std::thread",
    "std::env",
    "Local::now",
    "Utc::now",
    "SystemTime",
    "Instant",
    "rusqlite",
    "vosk",
    "cpal",
    "hound",
    "tokio",
    "println!",
    "crate::store",
    "crate::round",
    "crate::review",
    "crate::devices",
    "hearing::Ear",
    "hearing::Microphone",
    "speaking::Espeak",
];

/// About 500 lines; a few over are not worth a cut in the wrong place.
const LONGEST: usize = 520;

fn rust_files(under: &str) -> Vec<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(under);
    if path.is_file() {
        return vec![path];
    }
    let mut found = Vec::new();
    for entry in std::fs::read_dir(&path).unwrap() {
        let entry = entry.unwrap().path();
        let name = entry.strip_prefix(env!("CARGO_MANIFEST_DIR")).unwrap();
        if entry.is_dir() {
            found.extend(rust_files(name.to_str().unwrap()));
        } else if entry.extension().is_some_and(|it| it == "rs") {
            found.push(entry);
        }
    }
    found
}

#[test]
fn the_core_touches_nothing_outside_itself() {
    for part in PURE {
        assert!(!rust_files(part).is_empty(), "{part} has no Rust files");
    }
    for file in PURE.into_iter().flat_map(rust_files) {
        let text = std::fs::read_to_string(&file).unwrap();
        for (number, line) in text.lines().enumerate() {
            let found = IMPURE.into_iter().find(|it| line.contains(it));
            assert_eq!(found, None, "{}:{}: {line}", file.display(), number + 1);
        }
    }
}

#[test]
fn no_file_is_longer_than_can_be_read_in_one_sitting() {
    for file in ["src", "tests", "benches", "examples"]
        .into_iter()
        .flat_map(rust_files)
    {
        let lines = std::fs::read_to_string(&file).unwrap().lines().count();
        assert!(lines <= LONGEST, "{} has {lines} lines", file.display());
    }
}
