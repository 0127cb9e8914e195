//! What an aide changed by voice, as it leaves for the chart.

use sayback::facts::Fact;
use sayback::review::export::fhir::{Links, PatientSystem, observations};
use sayback::review::export::{Chart, Selection, csv};
use serde_json::Value;

use crate::chart::{home, time};
use crate::conversation;

fn record(words: &[&str]) -> Vec<Fact> {
    let facts = conversation::facts(&home(), time("02T07:30"), words);
    let plain = |it| serde_json::from_value(serde_json::to_value(it).unwrap()).unwrap();
    facts.iter().map(plain).collect()
}

fn written(facts: &[Fact]) -> Vec<Value> {
    let (home, chart) = (home(), Chart::of(facts));
    let system = PatientSystem::of_home(&home);
    let selection = Selection::default();
    let all = observations(&chart, &home, &system, Links::Bundle, &selection);
    all.iter()
        .map(|it| serde_json::to_value(it).unwrap())
        .collect()
}

#[test]
fn a_moved_reading_is_in_error_in_one_record_and_final_in_the_other() {
    let facts = record(&[
        "room twelve",
        "yes",
        "pulse one thirty",
        "yes",
        "wrong resident",
        "room fourteen",
        "yes",
        "yes",
    ]);
    let all = written(&facts);
    let [wrong, right] = all.as_slice() else {
        panic!("{all:#?}")
    };
    assert_eq!(wrong["status"], "entered-in-error");
    assert_eq!(right["status"], "final");
    assert_ne!(wrong["subject"], right["subject"]);
    assert_eq!(wrong["effectiveDateTime"], right["effectiveDateTime"]);
    // Each record leaves with its own resident, and names no other.
    for (one, other) in [(wrong, "Pelham"), (right, "Quillfeather")] {
        let text = one.to_string();
        assert!(text.contains("another resident's record"), "{text}");
        assert!(!text.contains(other), "{text}");
    }
    let csv = csv::table(&Chart::of(&facts), &home(), &Selection::default()).unwrap();
    assert!(csv.contains("entered in error: wrong resident"), "{csv}");
    assert!(
        csv.contains("moved here from another resident's record"),
        "{csv}"
    );
}

#[test]
fn a_correction_by_voice_is_amended() {
    let facts = record(&[
        "room twelve",
        "yes",
        "pulse one thirty",
        "yes",
        "change the pulse to eighty",
        "yes",
    ]);
    let all = written(&facts);
    assert_eq!(all[0]["status"], "amended");
    assert_eq!(all[0]["valueQuantity"]["value"], 80);
    let text = all[0].to_string();
    assert!(text.contains("before: Pulse 130"), "{text}");
    assert!(text.contains("Report withdrawn with the change"), "{text}");
}
