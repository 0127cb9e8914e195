//! The shape of the source: the core touches nothing of the world, and no file
//! grows too long to be read in one sitting.

use std::fs;
use std::path::{Path, PathBuf};

/// Folders that get everything as a value, time included.
const PURE: [&str; 5] = [
    "src/understanding",
    "src/dialogue",
    "src/vitals",
    "src/facts",
    "src/grammar",
];

/// What would touch the clock, the disk, the network, a device, the terminal or
/// the database.
const WORLDLY: [&str; 20] = [
    "std::fs",
    "std::net",
    "std::io",
    "std::process",
    "std::thread",
    "std::time",
    "SystemTime",
    "Instant",
    "Local::now",
    "Utc::now",
    "now_v7",
    "new_v4",
    "rusqlite",
    "vosk",
    "cpal",
    "hound",
    "tokio",
    "reqwest",
    "println!",
    "crate::store",
];

const LONGEST: usize = 500;

fn rust_files(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut found = Vec::new();
    let mut folders = vec![folder];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|it| it == "rs") {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

/// The lines of code that use something worldly: comments may speak of it.
fn worldly(text: &str) -> Vec<(usize, &'static str)> {
    let code = |line: &str| line.split("//").next().unwrap_or_default().to_owned();
    let lines = text.lines().map(code).enumerate();
    let used = |(number, line): (usize, String)| {
        let uses = WORLDLY.into_iter().filter(move |it| line.contains(it));
        uses.map(move |it| (number + 1, it)).collect::<Vec<_>>()
    };
    lines.flat_map(used).collect()
}

#[test]
fn the_core_touches_nothing_of_the_world() {
    let mut broken = Vec::new();
    for folder in PURE {
        let files = rust_files(folder);
        assert!(files.len() > 2, "{folder} is not where it was");
        for path in files {
            for (line, used) in worldly(&fs::read_to_string(&path).unwrap()) {
                broken.push(format!("{}:{line} uses {used}", path.display()));
            }
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn the_check_itself_sees_what_it_should() {
    assert_eq!(
        worldly("let now = chrono::Local::now();"),
        [(1, "Local::now")]
    );
    assert_eq!(
        worldly("a\nuse std::fs; // why"),
        [(2, "std::fs")],
        "code before a comment counts"
    );
    assert_eq!(worldly("// as Instant would"), []);
}

#[test]
fn no_file_is_too_long_to_read() {
    let folders = ["src", "tests", "benches", "examples"];
    let files: Vec<PathBuf> = folders.into_iter().flat_map(rust_files).collect();
    assert!(files.len() > 60, "only {} files were found", files.len());
    let mut long = Vec::new();
    for path in files {
        let lines = fs::read_to_string(&path).unwrap().lines().count();
        if lines > LONGEST {
            long.push(format!("{} has {lines} lines", path.display()));
        }
    }
    assert!(
        long.is_empty(),
        "more than {LONGEST} lines; split by what the parts are about:\n{}",
        long.join("\n")
    );
}
