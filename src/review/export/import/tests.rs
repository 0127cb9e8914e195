use serde_json::json;

use super::*;

const HOME: &str = r#"
name = "Larkfield House"
aides = [{ name = "Tomas Reed", title = "nursing aide" }]

[[residents]]
id = "r1"
room = 12
bed = "window"
name = "Ada Quillfeather"
alias = "Ada Quill"
birth_date = "1938-04-21"
ranges.pulse = { low = 50, high = 95, nurse = "Ines Marlow", on = "2026-01-05" }

[[residents]]
id = "r2"
room = 14
name = "Rose Pelham"
birth_date = "1941-12-30"
"#;

fn home() -> Home {
    Home::from_toml(HOME).unwrap()
}

fn patient(id: &str, name: &str, born: &str) -> Value {
    json!({
        "resourceType": "Patient",
        "id": format!("p-{id}"),
        "identifier": [{ "system": "urn:oid:1.2.3", "value": id }],
        "name": [{ "text": name }],
        "birthDate": born,
    })
}

fn bundle(patients: &[Value]) -> String {
    let entry: Vec<Value> = patients
        .iter()
        .map(|it| json!({ "resource": it }))
        .collect();
    json!({ "resourceType": "Bundle", "type": "collection", "entry": entry }).to_string()
}

fn rooms(text: &str) -> Rooms {
    read_rooms(text).unwrap()
}

fn errors(patients: &[Value], places: &str, system: Option<&str>) -> Vec<String> {
    let errors = plan(&bundle(patients), &home(), &rooms(places), system).unwrap_err();
    errors.iter().map(ToString::to_string).collect()
}

#[test]
fn residents_are_added_changed_or_left_as_they_are() {
    let all = [
        patient("r1", "Ada  Quillfeather-Moss", "1938-04-21"),
        patient("r2", "Rose Pelham", "1941-12-30"),
        patient("r3", "Jo Finch", "1940-02-29"),
        json!({ "resourceType": "Organization" }),
    ];
    let places = rooms("id,room,bed\nr3,15,\nr1,12,door\n");
    let plan = plan(&bundle(&all), &home(), &places, None).unwrap();
    assert_eq!(plan.same, [ResidentId("r2".to_owned())]);
    let (changed, differences) = &plan.changed[0];
    let differences: Vec<_> = differences
        .iter()
        .map(|it| (it.field, &*it.before, &*it.after))
        .collect();
    assert_eq!(
        differences,
        [
            ("name", "Ada Quillfeather", "Ada Quillfeather-Moss"),
            ("bed", "window", "door")
        ]
    );
    assert_eq!(changed.care.alias.as_deref(), Some("Ada Quill"));
    let mut after = home();
    plan.apply(&mut after);
    assert_eq!(after.residents.len(), 3);
    assert_eq!(after.residents[0].limits, home().residents[0].limits);
    let written = after.to_toml().unwrap();
    assert_eq!(Home::from_toml(&written).unwrap(), after);
}

#[test]
fn one_patient_a_bundle_or_lines_come_to_the_same() {
    let one = patient("r1", "Ada Moss", "1938-04-21");
    let by = |text: &str| plan(text, &home(), &Rooms::new(), None).unwrap();
    let expected = by(&one.to_string());
    assert_eq!(expected.changed.len(), 1);
    assert_eq!(expected.unmentioned, [ResidentId("r2".to_owned())]);
    assert_eq!(by(&bundle(std::slice::from_ref(&one))), expected);
    let lines = format!("\u{feff}{one}\n\n{}\n", json!({ "resourceType": "Device" }));
    assert_eq!(by(&lines), expected);
}

/// FHIR R4, Patient example "example": several names, of which the official one
/// counts, and a maiden name that ended.
#[test]
fn the_official_name_counts_and_an_old_one_never() {
    let named = |names: Value| {
        let mut it = patient("r1", "", "1938-04-21");
        it["name"] = names;
        let plan = plan(&it.to_string(), &home(), &Rooms::new(), None).unwrap();
        plan.changed[0].0.name.clone()
    };
    let example = json!([
        { "use": "usual", "given": ["Jim"] },
        { "use": "maiden", "family": "Windsor", "given": ["Peter", "James"] },
        { "use": "official", "family": "Chalmers", "given": ["Peter", "James"] },
    ]);
    assert_eq!(named(example), "Peter James Chalmers");
    assert_eq!(named(json!([{ "family": "Chalmers" }])), "Chalmers");
    let turned = json!([{ "text": "Chalmers, Peter", "family": "Chalmers", "given": ["Peter"] }]);
    assert_eq!(named(turned), "Peter Chalmers");
}

#[test]
fn who_is_gone_is_named_and_stays() {
    let mut gone = patient("r1", "Ada Quillfeather", "1938-04-21");
    gone["active"] = json!(false);
    let mut died = patient("r2", "Rose Pelham", "1941-12-30");
    died["deceasedDateTime"] = json!("2026-03-01");
    // Never was here, and does not come.
    let mut other = patient("r9", "Jo Finch", "1940-02-29");
    other["deceasedBoolean"] = json!(true);
    let plan = plan(&bundle(&[gone, died, other]), &home(), &Rooms::new(), None).unwrap();
    assert!(plan.is_empty());
    let ids = ["r1", "r2"].map(|it| ResidentId(it.to_owned()));
    assert_eq!(plan.inactive, ids);
    let mut after = home();
    plan.apply(&mut after);
    assert_eq!(after, home());
}

#[test]
fn the_right_identifier_is_asked_for() {
    let mut several = patient("r1", "Ada Quillfeather", "1938-04-21");
    several["identifier"] = json!([
        { "system": "urn:oid:1.2.3", "value": "r1" },
        { "system": "urn:oid:4.5.6", "value": "900-1" },
        { "use": "old", "system": "urn:oid:1.2.3", "value": "r0" },
    ]);
    let all = [several];
    assert_eq!(
        errors(&all, "", None),
        [
            "entry 1, Patient/p-r1, identifier: several (urn:oid:1.2.3, urn:oid:4.5.6); expected \
          one, or the right system given with --identifier-system"
        ]
    );
    let right = plan(&bundle(&all), &home(), &Rooms::new(), Some("urn:oid:1.2.3"));
    assert_eq!(right.unwrap().same.len(), 1);
    assert_eq!(
        errors(&all, "", Some("urn:oid:7")),
        ["entry 1, Patient/p-r1, identifier: none of urn:oid:7; expected one of it"]
    );
}

#[test]
fn every_mistake_is_named_with_its_entry_and_what_was_expected() {
    let bad = [
        json!({ "resourceType": "Patient" }),
        patient("r1", "Ada Quillfeather", "1938"),
        patient("r2", " ", "1941-12-30"),
        patient("r3", "Jo Finch", "1940-02-30"),
        patient("r4", "Cay Lund", "1944-05-06"),
        patient("r5", "Lund, Cay", "1944-05-06"),
        patient("r6", "=1+1", "1944-05-06"),
    ];
    let found = errors(&bad, "id,room\nr8,1\n", None);
    let expected = [
        ("entry 1, identifier", "the home's identifier"),
        ("entry 1, name", "an official or usual name"),
        ("entry 1, birthDate", "a whole date"),
        ("entry 2, Patient/p-r1, birthDate: \"1938\"", "a whole date"),
        ("entry 3, Patient/p-r2, name", "an official or usual name"),
        ("entry 4, Patient/p-r3, birthDate", "a whole date"),
        (
            "entry 6, Patient/p-r5, name: \"Lund, Cay\"",
            "without a comma",
        ),
        ("entry 7, Patient/p-r6, name: \"=1+1\"", "like a formula"),
        ("rooms, line 2, id: \"r8\"", "a Patient's or resident's"),
        ("entry 5, \"r4\"", "--rooms"),
    ];
    assert_eq!(found.len(), expected.len(), "{found:#?}");
    for (said, (at, right)) in found.iter().zip(expected) {
        assert!(said.starts_with(at) && said.contains(right), "{said}");
    }
}

#[test]
fn two_of_one_identifier_or_in_one_bed_are_refused() {
    let ada = patient("r1", "Ada Quillfeather", "1938-04-21");
    let found = errors(&[ada.clone(), ada], "", None);
    assert!(found[0].contains("each Patient once"), "{found:?}");
    let new = patient("r3", "Jo Finch", "1940-02-29");
    let found = errors(&[new], "id,room,bed\nr3,12,window\n", None);
    assert_eq!(
        found,
        ["resident \"r3\": room 12, bed window, which is taken; expected one resident to a bed"]
    );
}

#[test]
fn what_is_no_fhir_or_no_table_is_refused() {
    let refused = |text: &str| {
        let errors = plan(text, &home(), &Rooms::new(), None).unwrap_err();
        errors[0].to_string()
    };
    assert!(refused("").contains("no Patient"));
    assert!(refused("{\"resourceType\":\"Bundle\"}").contains("no Patient"));
    let line = patient("r1", "Ada Moss", "1938-04-21");
    assert!(refused(&format!("{line}\nnothing\n")).starts_with("line 2: no JSON"));
    for (table, right) in [
        ("id,bed\nr1,door\n", "the columns id, room"),
        ("id,room\nr1,B\n", "a room number"),
        ("id,room\nr1,1\nr1,2\n", "each resident once"),
        ("id,room\nr1\n", "the columns id, room"),
    ] {
        let errors = read_rooms(table).unwrap_err();
        assert!(errors[0].to_string().contains(right), "{errors:?}");
    }
}
