//! The documented table of rules is the one that the code writes.

use sayback::vitals::rules_table;

const DOCUMENT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/rules.md");

#[test]
fn rules_table_in_the_docs_is_up_to_date() {
    let written = rules_table();
    if std::env::var_os("UPDATE_DOCS").is_some() {
        std::fs::write(DOCUMENT, &written).expect("docs/rules.md can be written");
    }
    let documented = std::fs::read_to_string(DOCUMENT).unwrap_or_default();
    assert!(
        documented == written,
        "docs/rules.md is out of date: run UPDATE_DOCS=1 cargo test rules_table"
    );
}
