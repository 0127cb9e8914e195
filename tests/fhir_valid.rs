//! What leaves as FHIR is valid by a validator that this project did not write:
//! HAPI FHIR's, against the vital-signs profiles of the R4 specification.
//!
//! No terminology server is asked: that a LOINC or SNOMED CT code exists is not
//! checked here, nor what it means.

mod chart;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;

use chart::{everything, home};
use sayback::review::export::fhir::{
    Links, PatientSystem, collection, left_out, ndjson, observations, patients, transactions,
};
use sayback::review::export::{Chart, Selection};
use sayback::store::Unread;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// What the validator may say without being an error: a code of a system that
/// it has no list of, and that "{score}", LOINC's own unit for pain, is not to be
/// reckoned with.
const EXPECTED: [&str; 4] = [
    "CodeSystem is unknown and can't be validated: http://loinc.org",
    "CodeSystem is unknown and can't be validated: http://snomed.info/sct",
    "a coding should come from this value set unless it has no suitable code",
    "UCUM Codes that contain human readable annotations like {score} can be misleading",
];

/// What the validator says, as (file, severity, message).
fn validate(files: &[PathBuf]) -> Vec<(String, String, String)> {
    let jars = Path::new(ROOT).join("assets/fhir-validator");
    assert!(
        jars.is_dir(),
        "the FHIR validator is missing; run: make setup-test"
    );
    let output = Command::new("java")
        .args(["-XX:TieredStopAtLevel=1", "-XX:+UseSerialGC", "-cp"])
        .arg(jars.join("*"))
        .arg(Path::new(ROOT).join("tests/fhir-validator/Validate.java"))
        .args(files)
        .output()
        .expect("java runs; make setup-test installs it");
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let problem = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{problem}");
    let last = said.lines().last().unwrap_or_default();
    assert!(last.starts_with("checked "), "{said}\n{problem}");
    let message = |line: &str| {
        let mut parts = line.splitn(5, '\t');
        let mut next = || parts.next().unwrap_or_default().to_owned();
        let (file, at, severity, place, text) = (next(), next(), next(), next(), next());
        let name = Path::new(&file).file_name().unwrap_or_default();
        let file = format!("{}:{at} {place}", name.to_string_lossy());
        (!severity.is_empty()).then_some((file, severity, text))
    };
    said.lines().filter_map(message).collect()
}

/// One run for all, since most of its time goes into reading the specification.
#[test]
fn every_kind_of_fact_is_valid_fhir_and_a_broken_one_is_found() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut files = Vec::new();
    let mut write = |name: &str, text: String| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).expect("written");
        files.push(path);
    };

    let (home, facts) = (home(), everything());
    let mut chart = Chart::of(&facts);
    let unread = [Unread {
        id: uuid::Uuid::now_v7(),
        at: facts[0].at,
        round: facts[0].round,
        resident: None,
        problem: "it is of no known form, at character 12".to_owned(),
    }];
    chart.unread = &unread;
    let system = PatientSystem::of_home(&home);
    let everyone: BTreeSet<_> = chart
        .readings
        .iter()
        .map(|it| &it.record.resident)
        .collect();
    let people = patients(&chart, &home, &system, &everyone);
    let of = |links| observations(&chart, &home, &system, links, &Selection::default());
    let head = format!("24:{}", "0f".repeat(32)).parse().expect("a head");
    let bundle = collection(people.clone(), of(Links::Bundle)).of_record_at(Some(&head));
    let outcome = left_out(&chart, &Selection::default());
    let bundle = bundle.lacking(outcome.clone());
    let json = |it| serde_json::to_string(it).expect("JSON");
    write("collection.json", json(&bundle));
    let parts = transactions(people.clone(), of(Links::Bundle), 40);
    write("transaction.json", json(&parts[0]));
    let outcome: Vec<_> = outcome.into_iter().collect();
    write("OperationOutcome.ndjson", ndjson(&outcome).expect("JSON"));
    write("Patient.ndjson", ndjson(&people).expect("JSON"));
    let lines = ndjson(&of(Links::Relative)).expect("JSON");
    write("Observation.ndjson", lines.clone());

    // The validator must see what is wrong, or its silence proves nothing.
    let pulse = lines
        .lines()
        .find(|it| it.contains("\"8867-4\"") && it.contains("valueQuantity"));
    let pulse = pulse.expect("a pulse");
    let pressure = lines
        .lines()
        .find(|it| it.contains("\"8462-4\""))
        .expect("a pressure");
    let broken = [
        (
            "unit",
            pulse.replace("\"code\":\"/min\"", "\"code\":\"Hz\""),
        ),
        ("category", pulse.replace("\"vital-signs\"", "\"survey\"")),
        ("profile", pulse.replace("/heartrate", "/heart-rate")),
        ("status", pulse.replace("\"final\"", "\"finished\"")),
        ("component", pressure.replace("8462-4", "8480-6")),
        ("time", pulse.replace("T08:", "T8:")),
    ];
    for (name, text) in &broken {
        assert!(text != pulse && text != pressure, "{name} is broken");
        write(&format!("broken-{name}.json"), text.clone());
    }

    let messages = validate(&files);
    let (broken_ones, ours): (Vec<_>, Vec<_>) = messages
        .into_iter()
        .partition(|it| it.0.starts_with("broken-"));
    for (name, _) in &broken {
        let found = broken_ones.iter().any(|(file, severity, _)| {
            file.starts_with(&format!("broken-{name}.")) && severity == "ERROR"
        });
        assert!(found, "{name} passed: {broken_ones:#?}");
    }
    let unexpected: Vec<_> = ours
        .iter()
        .filter(|it| it.1 != "WARNING" || !EXPECTED.iter().any(|known| it.2.contains(known)))
        .collect();
    assert!(
        unexpected.is_empty(),
        "{} of {}: {:#?}",
        unexpected.len(),
        ours.len(),
        &unexpected[..unexpected.len().min(12)]
    );
}
