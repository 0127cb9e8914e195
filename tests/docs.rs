//! The documents that the code writes are up to date. To write them anew:
//! `UPDATE_DOCS=1 cargo test docs`.

use std::path::Path;

use sayback::residents::columns_table;
use sayback::review::export::csv::dictionary;
use sayback::review::export::fhir::codes_table;
use sayback::vitals::rules_table;

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
