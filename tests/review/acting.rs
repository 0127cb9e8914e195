//! What a nurse does, from the form to the fact and back on the page.

use axum::http::StatusCode;
use sayback::facts::{Body, Fact, residents_with_ranges};
use sayback::residents::ResidentId;
use sayback::review::accounts::Role;
use sayback::vitals::{Component, VitalSign};
use uuid::Uuid;

use super::made;
use super::site::{Site, Visitor, text};

fn last(site: &Site, wanted: impl Fn(&Body) -> bool) -> Fact {
    let found = site.facts().into_iter().rev().find(|it| wanted(&it.body));
    found.expect("a fact of that kind")
}

pub fn reading(site: &Site, sign: VitalSign) -> Uuid {
    last(
        site,
        |it| matches!(it, Body::Read(it) if it.measurement.sign() == sign),
    )
    .id
}

pub async fn refused(nurse: &mut Visitor<'_>, path: &str, fields: &str, why: &str) {
    let answer = nurse.post(path, fields).await;
    assert_eq!(
        answer.status(),
        StatusCode::UNPROCESSABLE_ENTITY,
        "{fields}"
    );
    let page = text(answer).await;
    assert!(page.contains("Nothing was stored."), "{fields}");
    assert!(page.contains(why), "{fields}: {why} not in {page}");
}

pub const PRESSURE: &str = "unit=mm_hg&arm=left_arm&position=sitting";

#[tokio::test]
async fn a_correction_keeps_what_was_recorded() {
    let site = Site::new();
    let id = reading(&site, VitalSign::BloodPressure);
    let mut nurse = site.visitor(Role::Nurse).await;
    let path = format!("/readings/{id}/correct");
    let fields = format!("seen=0&value=131&over=77&{PRESSURE}&reason=read+off+the+wrong+line");
    nurse.does(&path, &fields).await;
    let Body::Corrected {
        reading,
        old,
        new,
        reason,
        ..
    } = last(&site, |it| matches!(it, Body::Corrected { .. })).body
    else {
        unreachable!()
    };
    assert_eq!((reading, reason.as_str()), (id, "read off the wrong line"));
    let (_, page) = nurse.get(&format!("/readings/{id}")).await;
    let shown = |it: &sayback::vitals::Measurement| {
        let parts = it.components();
        format!("{}/{}\u{a0}mmHg", parts[0].1.value(), parts[1].1.value())
    };
    assert!(page.contains(&format!("<s>{}</s>", shown(&old))), "before");
    assert!(page.contains(&format!("<b>{}</b>", shown(&new))), "after");
    assert!(page.contains("Ines Marlow, registered nurse"));
    // The same form again was filled in on the older state.
    refused(&mut nurse, &path, &fields, "meanwhile").await;
}

#[tokio::test]
async fn bad_input_stores_nothing_and_says_why() {
    let site = Site::new();
    let before = site.facts().len();
    let mut nurse = site.visitor(Role::Nurse).await;
    let pressure = format!(
        "/readings/{}/correct",
        reading(&site, VitalSign::BloodPressure)
    );
    let pulse = format!("/readings/{}/correct", reading(&site, VitalSign::Pulse));
    let temperature = format!(
        "/readings/{}/correct",
        reading(&site, VitalSign::Temperature)
    );
    let reason = "reason=typed+wrong";
    let cases = [
        (
            &pressure,
            format!("seen=0&value=131&over=&{PRESSURE}&{reason}"),
            "Diastolic is missing",
        ),
        (
            &pressure,
            format!("seen=0&value=70&over=120&{PRESSURE}&{reason}"),
            "must be more than diastolic",
        ),
        (
            &pressure,
            format!("seen=0&value=131&over=77&unit=mm_hg&{reason}"),
            "Which arm?",
        ),
        (
            &pressure,
            format!("seen=0&value=131&over=77&{PRESSURE}&reason="),
            "The reason is missing",
        ),
        (
            &pulse,
            format!("seen=0&value=700&unit=per_minute&{reason}"),
            "is not possible",
        ),
        (
            &pulse,
            format!("seen=0&value=72.5&unit=per_minute&{reason}"),
            "whole number",
        ),
        (
            &pulse,
            format!("seen=0&value=72&unit=percent&{reason}"),
            "not measured in",
        ),
        (
            &pulse,
            format!("seen=0&value=72&unit=per_minute&rhythm=left_arm&{reason}"),
            "none of the choices",
        ),
        (
            &pulse,
            format!("seen=9&value=72&unit=per_minute&{reason}"),
            "meanwhile",
        ),
        (
            &temperature,
            format!("seen=0&value=98.6&unit=celsius&method=oral&{reason}"),
            "is not possible",
        ),
    ];
    for (path, fields, why) in &cases {
        refused(&mut nurse, path, fields, why).await;
    }
    let cases = [
        ("range", "of=pulse&low=90&high=60", "Low must be less"),
        ("range", "of=pulse&low=ten&high=60", "is not a number"),
        ("range", "of=pulse&low=50&high=900", "is not possible"),
        ("range", "of=pulse&low=50.123&high=90", "at most 2 decimals"),
        ("range", "of=diastolic&low=60&high=160", "must be less than"),
        ("range", "of=height&low=50&high=90", "Choose a vital sign"),
        ("recheck", "sign=pulse&reason=", "The reason is missing"),
        (
            "recheck",
            "sign=mood&reason=please+look",
            "Choose a vital sign",
        ),
        ("note", "text=+", "The note is missing"),
    ];
    for (what, fields, why) in cases {
        refused(
            &mut nurse,
            &format!("/residents/AR-001/{what}"),
            fields,
            why,
        )
        .await;
    }
    assert_eq!(site.facts().len(), before);
}

#[tokio::test]
async fn what_is_far_from_the_usual_is_taken_once_looked_at_again() {
    let site = Site::new();
    let id = reading(&site, VitalSign::Pulse);
    let mut nurse = site.visitor(Role::Nurse).await;
    let pressure = reading(&site, VitalSign::BloodPressure);
    let fields = format!("seen=0&value=160&over=159&{PRESSURE}&reason=typed+wrong");
    let path = format!("/readings/{pressure}/correct");
    refused(&mut nurse, &path, &fields, "far from the usual").await;
    let path = format!("/readings/{id}/correct");
    let fields = "seen=0&value=190&unit=per_minute&reason=typed+wrong";
    refused(&mut nurse, &path, fields, "I looked again").await;
    let fields = format!("{fields}&looked_again=on");
    nurse.does(&path, &fields).await;
    let corrected = last(&site, |it| matches!(it, Body::Corrected { .. }));
    assert!(matches!(corrected.body, Body::Corrected { reading, .. } if reading == id));
}

#[tokio::test]
async fn a_retraction_stays_visible_and_ends_there() {
    let site = Site::new();
    let id = reading(&site, VitalSign::Pulse);
    let mut nurse = site.visitor(Role::Nurse).await;
    let path = format!("/readings/{id}/retract");
    nurse
        .does(&path, "seen=0&reason=taken+of+the+neighbor")
        .await;
    let (_, page) = nurse.get(&format!("/readings/{id}")).await;
    assert!(page.contains("no longer counts") && page.contains("taken of the neighbor"));
    refused(
        &mut nurse,
        &path,
        "seen=1&reason=once+more",
        "was retracted",
    )
    .await;
}

#[tokio::test]
async fn acknowledging_closes_the_report_once() {
    let site = Site::of(30, 3);
    let index_open = || {
        site.station
            .index()
            .open_reports()
            .map(|it| it.id)
            .collect::<Vec<_>>()
    };
    let open = index_open();
    assert!(!open.is_empty(), "the made-up record leaves some open");
    let mut nurse = site.visitor(Role::Nurse).await;
    let path = format!("/reports/{}/acknowledge", open[0]);
    let answer = nurse.post(&path, "back=%2Fworklist%3Froom%3D").await;
    let to = answer.headers()["location"].to_str().unwrap();
    assert_eq!(to, "/worklist?room=&done=acknowledged");
    assert_eq!(index_open(), open[1..]);
    let again = nurse.post(&path, "").await;
    assert_eq!(again.status(), StatusCode::CONFLICT);
}

#[tokio::test]
async fn a_range_is_in_force_from_today_for_pages_and_recorder() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    nurse
        .does("/residents/AR-001/range", "of=systolic&low=105&high=155")
        .await;
    let (_, page) = nurse.get("/residents/AR-001").await;
    assert!(page.contains("105\u{2013}155 mmHg"));
    assert!(page.contains("<s>100\u{2013}160</s>"), "before");
    let home = residents_with_ranges(&made::home(4), &site.facts());
    let limits = &home.resident(&ResidentId("AR-001".into())).unwrap().limits;
    let on = |day: &str| {
        let range = limits.range_on(
            VitalSign::BloodPressure,
            Component::Systolic,
            day.parse::<chrono::NaiveDate>().unwrap(),
        );
        range.unwrap().bounds.high.to_string()
    };
    assert_eq!(
        (on("2026-03-11"), on("2026-03-12")),
        ("160".into(), "155".into())
    );
    refused(
        &mut nurse,
        "/residents/AR-001/range",
        "of=systolic&low=105&high=155",
        "in force already",
    )
    .await;
}

#[tokio::test]
async fn a_recheck_waits_until_the_sign_is_measured() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    nurse
        .post(
            "/residents/AR-002/recheck",
            "sign=pulse&reason=after+resting",
        )
        .await;
    let (_, page) = nurse.get("/worklist").await;
    assert!(page.contains("after resting"));
    refused(
        &mut nurse,
        "/residents/AR-002/recheck",
        "sign=pulse&reason=again",
        "asked for already",
    )
    .await;
}

#[tokio::test]
async fn notes_are_shown_where_they_belong_and_escaped() {
    let site = Site::new();
    let id = reading(&site, VitalSign::Pulse);
    let mut nurse = site.visitor(Role::Nurse).await;
    let text = "text=%3Cscript%3Ealert(1)%3C%2Fscript%3E";
    nurse.post(&format!("/readings/{id}/note"), text).await;
    nurse.post("/residents/AR-000/note", text).await;
    for path in [format!("/readings/{id}"), "/residents/AR-000".into()] {
        let (_, page) = nurse.get(&path).await;
        assert!(page.contains("&lt;script&gt;alert(1)"), "{path}");
        assert!(!page.contains("<script>alert"), "{path}");
    }
}

#[tokio::test]
async fn a_round_is_signed_when_its_reports_are_closed() {
    let site = Site::of(30, 3);
    let mut nurse = site.visitor(Role::Nurse).await;
    let round = site.facts().last().unwrap().round;
    let path = format!("/rounds/{round}/sign");
    refused(&mut nurse, &path, "", "still open in this round").await;
    let page = format!("/rounds/{round}");
    let (_, before) = nurse.get(&page).await;
    let to_reports = format!("/worklist?round={round}");
    assert!(
        before.contains(&to_reports) && !before.contains("Sign this round"),
        "{before}"
    );
    let open: Vec<_> = site
        .station
        .index()
        .open_reports()
        .map(|it| it.id)
        .collect();
    for flag in open {
        nurse
            .post(&format!("/reports/{flag}/acknowledge"), "")
            .await;
    }
    nurse.does(&path, "").await;
    assert!(
        matches!(site.facts().last().unwrap().body, Body::Signed { signed, head: Some(_) } if signed == round)
    );
    refused(&mut nurse, &path, "", "already").await;

    let of_round = |it: &Fact| it.round == round && matches!(it.body, Body::Read(_));
    let corrected = site.facts().into_iter().rfind(of_round).unwrap().id;
    let acts = site.station.index().acts(corrected).len();
    let retract = format!("/readings/{corrected}/retract");
    nurse
        .does(&retract, &format!("seen={acts}&reason=of+another"))
        .await;
    nurse.does(&path, "").await;
    refused(&mut nurse, &path, "", "already").await;
}

#[tokio::test]
async fn what_another_program_appends_is_seen() {
    let site = Site::new();
    let mut changes = site.station.changes();
    changes.mark_unchanged();
    tokio::spawn(std::sync::Arc::clone(&site.station).keep_up(None));
    let mut other = made::Writer::join(&site.record());
    let (at, by) = (made::now(), made::aide(0));
    other.put(
        at,
        &by,
        Uuid::nil(),
        Body::Noted {
            resident: ResidentId("AR-003".into()),
            about: None,
            text: "seen from elsewhere".into(),
        },
    );
    other.end();
    let told = tokio::time::timeout(std::time::Duration::from_secs(4), changes.changed());
    told.await.expect("within seconds").unwrap();
    let (_, page) = site
        .visitor(Role::Aide)
        .await
        .get("/residents/AR-003")
        .await;
    assert!(page.contains("seen from elsewhere"));
}

#[tokio::test]
async fn a_wing_narrows_the_worklist() {
    let site = Site::of(8, 3);
    let mut nurse = site.visitor(Role::Nurse).await;
    let rooms = |page: &str| -> Vec<bool> {
        let home = made::home(8);
        let shown = home.residents.iter();
        let (_, list) = page.split_once("id=\"live\"").unwrap();
        shown
            .map(|it| list.contains(&format!("/residents/{}\"", it.id.0)))
            .collect()
    };
    let (_, all) = nurse.get("/worklist").await;
    assert_eq!(rooms(&all), [true; 8]);
    let (_, east) = nurse.get("/worklist?wing=East").await;
    let expected = [true, true, false, false, true, true, false, false];
    assert_eq!(rooms(&east), expected);
    let (_, found) = nurse.get("/find?who=west").await;
    assert_eq!(
        rooms_found(&found),
        ["AR-002", "AR-003", "AR-006", "AR-007"]
    );
}

/// The residents whose readings a search shows.
fn rooms_found(page: &str) -> Vec<String> {
    let links = page.split("/residents/").skip(1);
    let ids: std::collections::BTreeSet<String> = links
        .filter(|it| it.starts_with("AR-"))
        .map(|it| it[..6].to_owned())
        .collect();
    ids.into_iter().collect()
}

#[tokio::test]
async fn a_round_and_a_resident_are_printed_and_taken_away() {
    let site = Site::of(6, 3);
    let mut nurse = site.visitor(Role::Nurse).await;
    let round = site.facts().last().unwrap().round;
    let kept = |of: &dyn Fn(&Fact) -> bool| {
        let facts = site.facts();
        let read = facts.iter().filter(|it| matches!(it.body, Body::Read(_)));
        read.filter(|it| of(it)).count()
    };
    let of_round = kept(&|it| it.round == round);
    let about = kept(&|it| matches!(&it.body, Body::Read(it) if it.resident.0 == "AR-001"));
    assert!(of_round > 0 && about > of_round / 6, "{of_round} {about}");

    let (_, sheet) = nurse.get(&format!("/rounds/{round}/sheet")).await;
    assert!(sheet.contains("Round of") && sheet.contains("/print.css"));
    let (_, page) = nurse.get("/residents/AR-001/summary").await;
    let name = &made::home(6).residents[1].name;
    assert!(page.contains(name.as_str()));
    let (_, other) = nurse.get("/residents/AR-002/summary").await;
    assert!(!other.contains(name.as_str()));

    for (path, readings) in [
        (format!("/rounds/{round}"), of_round),
        ("/residents/AR-001".to_owned(), about),
    ] {
        let (_, table) = nurse.get(&format!("{path}/csv")).await;
        let read = table
            .lines()
            .filter(|it| it.contains(",final,") || it.contains(",amended,"));
        assert_eq!(read.count(), readings, "{table}");
        let (_, bundle) = nurse.get(&format!("{path}/fhir")).await;
        let bundle: serde_json::Value = serde_json::from_str(&bundle).unwrap();
        let entries = bundle["entry"].as_array().unwrap();
        let values = entries.iter().filter(|it| {
            let resource = &it["resource"];
            resource["resourceType"] == "Observation" && resource["dataAbsentReason"].is_null()
        });
        assert_eq!(values.count(), readings);
    }
    let unknown = uuid::Uuid::nil();
    for path in [
        format!("/rounds/{unknown}/csv"),
        "/residents/nobody/fhir".to_owned(),
    ] {
        assert_eq!(nurse.get(&path).await.0, StatusCode::NOT_FOUND, "{path}");
    }
    let head = nurse.request("HEAD", "/residents/AR-002/csv", String::new());
    assert_eq!(site.send(head).await.status(), StatusCode::OK);
    let lines = site.station.accounts().log_lines(10).unwrap();
    let taken = lines.iter().filter(|it| it.what.starts_with("took "));
    let mut taken: Vec<&str> = taken.map(|it| it.what.as_str()).collect();
    taken.sort_unstable();
    let expected = [
        "took resident AR-001 as CSV",
        "took resident AR-001 as FHIR",
        &format!("took round {round} as CSV"),
        &format!("took round {round} as FHIR"),
    ];
    assert_eq!(taken, expected, "and nothing that was not there");
}

#[tokio::test]
async fn what_else_was_heard_is_on_the_page_of_a_reading() {
    let site = Site::of(12, 30);
    let mut nurse = site.visitor(Role::Nurse).await;
    let doubtful = last(
        &site,
        |it| matches!(it, Body::Read(it) if !it.rivals.is_empty()),
    );
    let (_, page) = nurse.get(&format!("/readings/{}", doubtful.id)).await;
    let Body::Read(record) = &doubtful.body else {
        unreachable!()
    };
    let share = format!("{:.0}\u{a0}% likely", record.rivals[0].share * 100.0);
    assert!(
        page.contains("May have been") && page.contains(&share),
        "{page}"
    );
    let plain = last(
        &site,
        |it| matches!(it, Body::Read(it) if it.rivals.is_empty()),
    );
    let (_, page) = nurse.get(&format!("/readings/{}", plain.id)).await;
    assert!(!page.contains("May have been"));
}
