//! What leaves of a blood pressure by palpation: its systolic alone, and that it is so.

use std::collections::HashMap;

use sayback::facts::{Body, Fact};
use sayback::residents::Offsets;
use sayback::review::export::csv::table;
use sayback::review::export::sheet::round_sheet;
use sayback::review::export::summary::summary;
use sayback::review::export::{Chart, Selection, Style};
use sayback::vitals::{Arm, Layer, Position, Qualifier, Side};
use serde_json::json;

use crate::chart::{self, Round, home, palpated, pressure, time};
use crate::fhir::{of, texts, written};

const HOW: [Qualifier; 2] = [
    Qualifier::Arm(Arm::Left),
    Qualifier::Position(Position::Sitting),
];

/// One below the resident's own range, which is of the systolic, and reported.
fn low() -> Vec<Fact> {
    let mut round = Round::new();
    let home = "Larkfield House".to_owned();
    round.fact(chart::aide(), Body::RoundOpened { home });
    let low = palpated(96, &HOW);
    let id = round.read(low.clone());
    let flag = round.flag(id, &low, Layer::OutsideRange, Side::Below);
    round.reported(flag);
    round.facts
}

/// FHIR R4, profile "bp": both components, each with a value or with why it has none; its
/// example "blood-pressure-dar" has a diastolic that is absent as "not-performed". The method
/// is of HL7's value set for how a blood pressure is measured.
#[test]
fn in_fhir_the_diastolic_is_absent_and_says_why() {
    let it = of(palpated(110, &HOW));
    assert_eq!(
        it["meta"]["profile"],
        json!(["http://hl7.org/fhir/StructureDefinition/bp"])
    );
    let method = json!({
        "coding": [{ "system": "http://snomed.info/sct", "code": "113011001", "display": "Palpation" }],
        "text": "by palpation"
    });
    assert_eq!(it["method"], method);
    assert_eq!(it["component"].as_array().map(Vec::len), Some(2));
    let [systolic, diastolic] = [&it["component"][0], &it["component"][1]];
    assert_eq!(systolic["code"]["coding"][0]["code"], "8480-6");
    assert_eq!(systolic["valueQuantity"]["value"], 110);
    assert_eq!(systolic["valueQuantity"]["code"], "mm[Hg]");
    assert!(systolic.get("dataAbsentReason").is_none());
    assert_eq!(diastolic["code"]["coding"][0]["code"], "8462-4");
    assert!(diastolic.get("valueQuantity").is_none(), "{diastolic}");
    let reason = &diastolic["dataAbsentReason"];
    assert_eq!(reason["coding"][0]["code"], "not-performed");
    assert_eq!(reason["text"], "palpation gives no diastolic");
    assert!(diastolic.get("referenceRange").is_none());
    let by_ear = of(pressure(110, 70, &HOW));
    assert!(by_ear.get("method").is_none());
}

#[test]
fn in_fhir_its_systolic_is_judged_as_any() {
    let all = written(&low());
    let it = &all[0];
    let systolic = &it["component"][0];
    assert_eq!(systolic["interpretation"][0]["coding"][0]["code"], "L");
    assert_eq!(
        systolic["referenceRange"][0]["text"],
        "105 to 155 mmHg (Ines Marlow, 2026-01-05)"
    );
    assert!(texts(it).contains("Reported to Ines Marlow"), "{it}");
}

#[test]
fn in_fhir_a_correction_from_palpated_says_what_stood_there() {
    let mut round = Round::new();
    let id = round.read(palpated(110, &HOW));
    round.correct(id, palpated(110, &HOW), pressure(110, 70, &HOW));
    let it = &written(&round.facts)[0];
    assert_eq!(it["component"][1]["valueQuantity"]["value"], 70);
    assert!(it.get("method").is_none());
    let before = "before: Blood pressure 110/P mmHg · by palpation";
    assert!(texts(it).contains(before), "{}", texts(it));
}

#[test]
fn in_csv_there_is_no_diastolic_and_the_method_says_why() {
    let facts = low();
    let (home, chart) = (home(), Chart::of(&facts));
    let text = table(&chart, &home, &Selection::default()).expect("a table");
    let mut reader = csv::Reader::from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let lines: Vec<HashMap<String, String>> =
        reader.deserialize().map(|it| it.expect("a line")).collect();
    assert_eq!(lines.len(), 1);
    for (column, value) in [
        ("vital_sign", "blood_pressure"),
        ("value", "96"),
        ("diastolic", ""),
        ("unit", "mm[Hg]"),
        ("method", "by palpation"),
        ("limb", "left arm"),
        ("position", "sitting"),
        ("word", ""),
        (
            "flags",
            "systolic by palpation 96 mmHg is below 105–155 (Ines Marlow, 2026-01-05)",
        ),
    ] {
        assert_eq!(lines[0][column], value, "{column}");
    }
}

#[test]
fn printed_it_is_110_over_p_and_says_by_palpation() {
    let facts = low();
    let (home, chart) = (home(), Chart::of(&facts));
    let offsets = Offsets::fixed(*time("09T08:00").offset());
    let sheet = round_sheet(&chart, &home, None, Style::Inside, &offsets).expect("a round");
    let pages = summary(&chart, &home, &Selection::default(), Style::Inside);
    for page in [&sheet, &pages] {
        assert!(page.contains("96/P mmHg"), "{page}");
        assert!(page.contains("by palpation, left arm, sitting"), "{page}");
    }
}
