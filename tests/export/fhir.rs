//! What leaves for the chart as FHIR, fact by fact.

use std::collections::BTreeSet;

use sayback::facts::{Body, Fact};
use sayback::residents::ResidentId;
use sayback::review::export::fhir::{
    Links, PatientSystem, collection, observations, patients, transactions,
};
use sayback::review::export::{Chart, Selection};
use sayback::vitals::{
    Alertness, Arm, Bounds, Component, Layer, Measurement, Method, NotTakenReason, Pain, Position,
    Qualifier, Rhythm, Side, Supply, Unit, VitalSign,
};
use serde_json::{Value, json};

use crate::chart::{self, Round, everything, home, number, one, pressure, pulse, time};

pub fn written(facts: &[Fact]) -> Vec<Value> {
    selected(facts, &Selection::default())
}

fn selected(facts: &[Fact], selection: &Selection) -> Vec<Value> {
    let (home, chart) = (home(), Chart::of(facts));
    let system = PatientSystem::of_home(&home);
    let all = observations(&chart, &home, &system, Links::Bundle, selection);
    let value = |it| serde_json::to_value(it).expect("JSON");
    all.iter().map(value).collect()
}

pub fn of(measurement: Measurement) -> Value {
    let mut round = Round::new();
    round.read(measurement);
    let mut all = written(&round.facts);
    assert_eq!(all.len(), 1);
    all.remove(0)
}

pub fn texts(observation: &Value) -> String {
    let notes = observation["note"].as_array().cloned().unwrap_or_default();
    let text = |it: &Value| it["text"].as_str().unwrap_or_default().to_owned();
    notes.iter().map(text).collect::<Vec<_>>().join("\n")
}

/// FHIR R4, Observation example "blood-pressure": panel code, two components,
/// site; there 107/60 at the right arm.
#[test]
fn a_blood_pressure_is_a_panel_of_two_components() {
    let how = [
        Qualifier::Arm(Arm::Right),
        Qualifier::Position(Position::Sitting),
    ];
    let it = of(pressure(107, 60, &how));
    assert_eq!(
        it["meta"]["profile"],
        json!(["http://hl7.org/fhir/StructureDefinition/bp"])
    );
    assert_eq!(it["code"]["coding"][0]["code"], "85354-9");
    assert_eq!(it["bodySite"]["coding"][0]["code"], "368209003");
    assert_eq!(
        it["extension"][0]["valueCodeableConcept"]["coding"][0]["code"],
        "33586001"
    );
    let value = |at: usize| &it["component"][at]["valueQuantity"];
    assert_eq!(
        *value(0),
        json!({ "value": 107, "unit": "mmHg", "system": "http://unitsofmeasure.org", "code": "mm[Hg]" })
    );
    assert_eq!(value(1)["value"], 60);
    assert_eq!(it["component"][0]["code"]["coding"][0]["code"], "8480-6");
    assert_eq!(it["component"][1]["code"]["coding"][0]["code"], "8462-4");
    assert!(it.get("valueQuantity").is_none());
}

/// FHIR R4, Observation examples "heart-rate" (44 /min), "body-temperature"
/// (36.5 Cel), "respiratory-rate" (26 /min), "satO2" (95 %), "example" (185
/// [`lb_av`]) and "body-height" (66.899999999999991 [`in_i`]).
#[test]
fn single_values_are_as_in_the_published_examples() {
    let oral = [Qualifier::Method(Method::Oral)];
    for (measurement, code, value, unit) in [
        (
            one(VitalSign::Pulse, "44", Unit::PerMinute, &[]),
            "8867-4",
            json!(44),
            "/min",
        ),
        (
            one(VitalSign::Temperature, "36.5", Unit::Celsius, &oral),
            "8310-5",
            json!(36.5),
            "Cel",
        ),
        (
            one(VitalSign::Temperature, "97.7", Unit::Fahrenheit, &oral),
            "8310-5",
            json!(97.7),
            "[degF]",
        ),
        (
            one(VitalSign::Respiration, "26", Unit::PerMinute, &[]),
            "9279-1",
            json!(26),
            "/min",
        ),
        (
            one(VitalSign::Weight, "185", Unit::Pound, &[]),
            "29463-7",
            json!(185),
            "[lb_av]",
        ),
        (
            one(VitalSign::Height, "66.9", Unit::Inch, &[]),
            "8302-2",
            json!(66.9),
            "[in_i]",
        ),
        (
            one(VitalSign::OxygenFlow, "2", Unit::LitreAMinute, &[]),
            "3151-8",
            json!(2),
            "L/min",
        ),
    ] {
        let it = of(measurement);
        assert_eq!(it["code"]["coding"][0]["code"], code);
        assert_eq!(it["valueQuantity"]["value"], value);
        assert_eq!(it["valueQuantity"]["code"], unit);
        assert_eq!(it["status"], "final");
        assert_eq!(it["category"][0]["coding"][0]["code"], "vital-signs");
    }
}

/// FHIR R4, Observation example "satO2": both codes, the profile's own first.
#[test]
fn a_saturation_has_both_codes_and_its_flow_is_an_observation_of_its_own() {
    let how = [Qualifier::Supply(Supply::Oxygen(Some(number("2.5"))))];
    let mut round = Round::new();
    let id = round.read(one(VitalSign::OxygenSaturation, "95", Unit::Percent, &how));
    let all = written(&round.facts);
    assert_eq!(all.len(), 2);
    let saturation = &all[0];
    assert_eq!(
        saturation["identifier"][0]["value"],
        format!("urn:uuid:{id}")
    );
    let codes = saturation["code"]["coding"].as_array().expect("codes");
    let codes: Vec<&str> = codes.iter().filter_map(|it| it["code"].as_str()).collect();
    assert_eq!(codes, ["2708-6", "59408-5"]);
    assert_eq!(texts(saturation), "On oxygen, 2.5 L/min");
    assert_eq!(all[1]["code"]["coding"][0]["code"], "3151-8");
    assert_eq!(all[1]["valueQuantity"]["value"], 2.5);
    assert_eq!(all[1]["effectiveDateTime"], saturation["effectiveDateTime"]);
}

#[test]
fn who_when_and_of_whom_are_there() {
    let it = of(pulse("72"));
    assert_eq!(it["effectiveDateTime"], "2026-03-09T08:00:00-05:00");
    assert_eq!(it["issued"], "2026-03-09T08:01:00-05:00");
    assert_eq!(it["performer"][0]["reference"], "#performer");
    assert_eq!(it["contained"][0]["name"][0]["text"], "Tomas Reed");
    assert_eq!(
        it["contained"][0]["qualification"][0]["code"]["text"],
        "nursing aide"
    );
    assert_eq!(it["subject"]["display"], "Ada Quillfeather");
}

#[test]
fn words_and_what_could_not_be_rated_have_their_own_forms() {
    let alert = of(Measurement::alertness(Alertness::Voice));
    assert_eq!(
        alert["valueCodeableConcept"]["coding"][0]["code"],
        "300202002"
    );
    let pain = of(Measurement::pain(Pain::CannotSay));
    assert_eq!(
        pain["dataAbsentReason"]["coding"][0]["code"],
        "asked-unknown"
    );
    assert!(pain.get("valueQuantity").is_none());
    let how = [Qualifier::Rhythm(Rhythm::Irregular)];
    let irregular = of(one(VitalSign::Pulse, "88", Unit::PerMinute, &how));
    assert_eq!(texts(&irregular), "Rhythm irregular");
}

#[test]
fn a_correction_amends_and_shows_what_stood_there() {
    let mut round = Round::new();
    let id = round.read(pulse("27"));
    round.correct(id, pulse("27"), pulse("72"));
    let it = &written(&round.facts)[0];
    assert_eq!(it["status"], "amended");
    assert_eq!(it["valueQuantity"]["value"], 72);
    assert_eq!(it["identifier"][0]["value"], format!("urn:uuid:{id}"));
    assert_eq!(it["issued"], "2026-03-09T08:02:00-05:00");
    assert_eq!(it["performer"][0]["display"], "Tomas Reed");
    let note = &it["note"][0];
    assert_eq!(note["authorString"], "Ines Marlow, registered nurse");
    assert_eq!(
        note["text"],
        "Corrected; before: Pulse 27 /min. Reason: written down as 72"
    );
}

/// In whichever order they stand in the record.
#[test]
fn a_correction_made_apart_is_told_and_does_not_hold() {
    let mut round = Round::new();
    let id = round.read(pulse("27"));
    round.correct(id, pulse("27"), pulse("72"));
    round.correct(id, pulse("27"), pulse("74"));
    let mut facts = round.facts.clone();
    for _ in 0..2 {
        facts.reverse();
        let it = &written(&facts)[0];
        assert_eq!(it["valueQuantity"]["value"], 74);
        let notes = it["note"].to_string();
        let apart = "Corrected apart to: Pulse 72 /min, which does not hold.";
        assert!(notes.contains(apart), "{notes}");
    }
}

#[test]
fn a_retraction_is_entered_in_error_and_keeps_the_value() {
    let mut round = Round::new();
    let id = round.read(pulse("72"));
    round.retract(id);
    let it = &written(&round.facts)[0];
    assert_eq!(it["status"], "entered-in-error");
    assert_eq!(it["valueQuantity"]["value"], 72);
    assert_eq!(texts(it), "Entered in error: taken of another resident");
}

#[test]
fn what_was_not_taken_says_why() {
    let mut round = Round::new();
    let signs = [VitalSign::BloodPressure, VitalSign::Weight];
    round.missed(&signs, NotTakenReason::Refused);
    round.missed(&[], NotTakenReason::Asleep);
    let all = written(&round.facts);
    let reasons: Vec<_> = all
        .iter()
        .map(|it| {
            let code = it["code"]["coding"][0]["code"].as_str().expect("a code");
            let reason = &it["dataAbsentReason"]["coding"][0]["code"];
            assert_eq!(it["status"], "cancelled");
            (code, reason.as_str().expect("a reason"))
        })
        .collect();
    assert_eq!(
        reasons,
        [
            ("85354-9", "asked-declined"),
            ("29463-7", "asked-declined"),
            ("85353-1", "not-performed"),
        ]
    );
    assert_eq!(all[0]["component"].as_array().map(Vec::len), Some(2));
    assert_eq!(all[2]["dataAbsentReason"]["text"], "asleep");
    let ids: BTreeSet<_> = all.iter().map(|it| it["id"].to_string()).collect();
    assert_eq!(ids.len(), 3, "each has an identifier of its own");
}

#[test]
fn a_flag_carries_its_range_its_source_and_its_report() {
    let mut round = Round::new();
    let high = pressure(162, 84, &[]);
    let id = round.read(high.clone());
    let flag = round.flag(id, &high, Layer::OutsideRange, Side::Above);
    round.reported(flag);
    let it = &written(&round.facts)[0];
    let systolic = &it["component"][0];
    assert_eq!(systolic["interpretation"][0]["coding"][0]["code"], "H");
    let range = &systolic["referenceRange"][0];
    assert_eq!(
        (&range["low"]["value"], &range["high"]["value"]),
        (&json!(105), &json!(155))
    );
    assert_eq!(range["text"], "105 to 155 mmHg (Ines Marlow, 2026-01-05)");
    let diastolic = &it["component"][1];
    assert!(diastolic.get("interpretation").is_none());
    assert!(
        texts(it).ends_with("\nReported to Ines Marlow"),
        "{}",
        texts(it)
    );
}

#[test]
fn a_range_that_a_nurse_set_later_is_not_held_against_earlier_readings() {
    let mut round = Round::new();
    round.read(pulse("58"));
    round.fact(
        chart::nurse(),
        Body::RangeSet {
            resident: ResidentId("LH 1".to_owned()),
            sign: VitalSign::Pulse,
            component: Component::Whole,
            bounds: Bounds {
                low: number("50"),
                high: number("95"),
                unit: Unit::PerMinute,
            },
            withdrawn: false,
        },
    );
    round.at("10T08:00");
    round.read(pulse("58"));
    let all = written(&round.facts);
    let code = |at: usize| &all[at]["interpretation"][0]["coding"][0]["code"];
    // The range holds from the moment it was set, and that one was before.
    assert_eq!(*code(0), "L");
    assert_eq!(*code(1), Value::Null);
    assert_eq!(
        all[1]["referenceRange"][0]["text"],
        "50 to 95 /min (Ines Marlow, 2026-03-09)"
    );
    round.at("08T08:00");
    round.read(pulse("58"));
    let all = written(&round.facts);
    assert_eq!(all[0]["interpretation"][0]["coding"][0]["code"], "L");
}

/// FHIR R4, Observation example "bmi" (16.2 kg/m2); the value worked by hand as
/// in `vitals::derived`: 154 lb at 69 in is 22.7.
#[test]
fn a_weight_after_a_height_has_a_mass_index() {
    let mut round = Round::new();
    let weight = |pounds| one(VitalSign::Weight, pounds, Unit::Pound, &[]);
    round.read(weight("154"));
    let tall = round.read(one(VitalSign::Height, "69", Unit::Inch, &[]));
    let weighed = round.read(weight("154"));
    let index = |facts: &[Fact]| {
        let all = written(facts);
        let mut found = all
            .into_iter()
            .filter(|it| it["code"]["coding"][0]["code"] == "39156-5");
        let index = found.next();
        assert!(found.next().is_none(), "one index");
        index.expect("an index")
    };
    let it = index(&round.facts);
    assert_eq!(it["valueQuantity"]["value"], 22.7);
    assert_eq!(it["valueQuantity"]["code"], "kg/m2");
    assert_eq!(it["status"], "final");
    assert_eq!(
        it["derivedFrom"][0]["identifier"]["value"],
        format!("urn:uuid:{weighed}")
    );
    let id = it["id"].clone();
    round.retract(tall);
    let withdrawn = index(&round.facts);
    assert_eq!(withdrawn["status"], "entered-in-error");
    assert_eq!(withdrawn["id"], id);
}

#[test]
fn facts_may_arrive_in_any_order() {
    let facts = everything();
    let mut reversed = facts.clone();
    reversed.reverse();
    assert_eq!(written(&facts), written(&reversed));
}

#[test]
fn what_is_no_reading_does_not_leave() {
    let mut round = Round::new();
    round.fact(
        chart::aide(),
        Body::Unconfirmed {
            offer: uuid::Uuid::nil(),
            resident: ResidentId("LH 1".to_owned()),
            readings: vec![pulse("72")],
        },
    );
    assert_eq!(written(&round.facts), Vec::<Value>::new());
}

#[test]
fn a_correction_is_new_though_its_reading_is_old() {
    let mut round = Round::new();
    round.at("01T08:00");
    let id = round.read(pulse("27"));
    round.read(pulse("70"));
    round.at("05T08:00");
    round.correct(id, pulse("27"), pulse("72"));
    let since = |text: &str| {
        let selection = Selection {
            since: Some(time(text).date_naive()),
            resident: None,
        };
        selected(&round.facts, &selection).len()
    };
    assert_eq!(since("01T00:00"), 2);
    assert_eq!(since("02T00:00"), 1);
    assert_eq!(since("05T00:00"), 1);
    assert_eq!(since("06T00:00"), 0);
    let other = Selection {
        since: None,
        resident: Some(ResidentId("LH-2".to_owned())),
    };
    assert_eq!(selected(&round.facts, &other), Vec::<Value>::new());
}

#[test]
fn bundles_refer_within_themselves_and_repeat_without_doubling() {
    let (home, facts) = (home(), everything());
    let chart = Chart::of(&facts);
    let system = PatientSystem::new("urn:oid:2.16.840.1.113883.19.5").expect("a URI");
    let all = observations(&chart, &home, &system, Links::Bundle, &Selection::default());
    let residents: BTreeSet<_> = chart
        .readings
        .iter()
        .map(|it| &it.record.resident)
        .collect();
    let people = patients(&chart, &home, &system, &residents);
    assert_eq!(people.len(), 3);
    let whole = serde_json::to_value(collection(people.clone(), all.clone())).expect("JSON");
    assert_eq!(whole["type"], "collection");
    assert!(whole["entry"][0].get("request").is_none());
    let parts = transactions(people, all.clone(), 50);
    assert_eq!(parts.len(), all.len().div_ceil(50));
    for part in &parts {
        let part = serde_json::to_value(part).expect("JSON");
        let entries = part["entry"].as_array().expect("entries");
        let urls: BTreeSet<_> = entries.iter().map(|it| it["fullUrl"].as_str()).collect();
        assert_eq!(urls.len(), entries.len(), "no two of one name");
        for entry in entries {
            let (resource, request) = (&entry["resource"], &entry["request"]);
            assert!(resource.get("id").is_none());
            if resource["resourceType"] == "Patient" {
                assert_eq!(request["method"], "POST");
                let query = request["ifNoneExist"].as_str().expect("a query");
                assert!(query.starts_with("identifier=urn:oid:2.16.840.1.113883.19.5%7CLH"));
            } else {
                assert_eq!(request["method"], "PUT");
                let url = request["url"].as_str().expect("a URL");
                let of = "Observation?identifier=urn:ietf:rfc:3986%7Curn:uuid:";
                assert!(url.starts_with(of), "{url}");
                let subject = resource["subject"]["reference"].as_str();
                assert!(urls.contains(&subject), "{subject:?} is in the bundle");
            }
        }
    }
}

/// Whoever compares the numbers alone must not find 37.2 below 95.
#[test]
fn a_range_is_in_the_unit_of_its_value() {
    let oral = [Qualifier::Method(Method::Oral)];
    for (value, unit, ends, code) in [
        ("37.2", Unit::Celsius, [35.0, 37.8], "Cel"),
        ("98.6", Unit::Fahrenheit, [95.0, 100.0], "[degF]"),
    ] {
        let observation = of(one(VitalSign::Temperature, value, unit, &oral));
        let range = &observation["referenceRange"][0];
        for (end, wanted) in ["low", "high"].into_iter().zip(ends) {
            assert_eq!(range[end]["value"].as_f64(), Some(wanted), "{range}");
            assert_eq!(range[end]["code"], code);
        }
    }
}
