//! The documents that the code writes are up to date. To write them anew:
//! `UPDATE_DOCS=1 cargo test docs`.

use std::path::Path;

use sayback::residents::{Home, columns_table};
use sayback::review::export::csv::dictionary;
use sayback::review::export::fhir::codes_table;
use sayback::vitals::{HomeLimits, Units, rules_table};

fn assert_up_to_date(name: &str, written: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("docs")
        .join(name);
    if std::env::var_os("UPDATE_DOCS").is_some() {
        std::fs::write(&path, written).expect("the document can be written");
    }
    let documented = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        documented == written,
        "docs/{name} is out of date: run UPDATE_DOCS=1 cargo test docs"
    );
}

#[test]
fn docs_rules_are_up_to_date() {
    assert_up_to_date("rules.md", &rules_table());
}

#[test]
fn docs_roster_columns_are_up_to_date() {
    assert_up_to_date("roster.md", &columns_table());
}

#[test]
fn docs_csv_columns_are_up_to_date() {
    assert_up_to_date("csv.md", &dictionary());
}

#[test]
fn docs_fhir_codes_are_up_to_date() {
    assert_up_to_date("fhir-codes.md", &codes_table());
}

#[test]
fn docs_limits_can_be_read() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = |name: &str| std::fs::read_to_string(folder.join(name)).expect("a file");
    let text = read("docs/limits.md");
    let mut blocks = text.split("```toml\n").skip(1);
    let mut next = || blocks.next().and_then(|it| it.split("```").next());
    let limits = HomeLimits::parse(next().expect("limits"), Units::UsCustomary);
    assert!(limits.expect("limits").early_warning_score());
    let shifts = next().expect("shifts");
    let home = read("audio-fixtures/demo-home.toml");
    let lines = home.lines().filter(|it| !it.starts_with("shifts"));
    let home = format!("{shifts}{}", lines.collect::<Vec<_>>().join("\n"));
    assert_eq!(Home::from_toml(&home).expect("a home").shifts.len(), 3);
}
