//! The time of a stored reading, corrected by a nurse.

use axum::http::StatusCode;
use sayback::facts::{Body, Fact, Record};
use sayback::residents::ResidentId;
use sayback::review::accounts::Role;
use sayback::review::index::Index;
use sayback::vitals::VitalSign;
use uuid::Uuid;

use super::acting::{reading, refused};
use super::made;
use super::site::{Site, Visitor};

async fn corrects(nurse: &mut Visitor<'_>, id: Uuid, seen: usize, when: &str) {
    let fields = format!("seen={seen}&{when}&reason=the+clock+was+wrong");
    nurse.does(&format!("/readings/{id}/time"), &fields).await;
}

/// When a reading was measured, the same at the station, on a recorder, and in whichever
/// order the facts came.
fn measured(site: &Site, id: Uuid) -> String {
    let here = site.station.index().reading(id).unwrap().measured_at;
    let facts = site.facts();
    assert_eq!(Record::of(&facts).reading(id).unwrap().measured_at, here);
    let mut index = Index::new(made::home(4));
    for fact in facts.into_iter().rev() {
        index.add(fact);
    }
    assert_eq!(index.reading(id).unwrap().measured_at, here);
    let resident = index.resident_of(index.reading(id).unwrap()).clone();
    let times = |index: &Index| {
        let all: Vec<_> = index
            .readings_of(&resident)
            .map(|it| (it.measured_at, it.id))
            .collect();
        assert!(all.is_sorted(), "{all:?}");
        assert_eq!(index.since(here).filter(|it| it.id == id).count(), 1);
        all
    };
    assert_eq!(times(&index), times(&site.station.index()));
    here.to_rfc3339()
}

#[tokio::test]
async fn all_that_looks_at_the_time_follows_and_the_old_one_stays_visible() {
    let site = Site::new();
    let id = reading(&site, VitalSign::Pulse);
    let mut nurse = site.visitor(Role::Nurse).await;
    let before = measured(&site, id);
    assert!(before.starts_with("2026-03-12T07:3"), "{before}");
    let (_, page) = nurse.get(&format!("/readings/{id}")).await;
    assert!(page.contains("Correct the time"), "{page}");
    corrects(&mut nurse, id, 0, "day=2026-03-12&clock=06:10").await;
    assert_eq!(measured(&site, id), "2026-03-12T06:10:00-05:00");
    let all = site.facts();
    let Body::Corrected {
        old,
        new,
        time,
        by_nurse,
        ..
    } = &all
        .iter()
        .rev()
        .find(|it| matches!(it.body, Body::Corrected { .. }))
        .unwrap()
        .body
    else {
        unreachable!()
    };
    assert!(*by_nurse && old == new);
    assert_eq!(time.unwrap().old.to_rfc3339(), before);
    let (_, page) = nurse.get(&format!("/readings/{id}")).await;
    for part in [
        "today 06:10",
        "corrected; recorded as",
        "<s><time",
        "the clock was wrong",
        "Ines Marlow",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let resident = site
        .station
        .index()
        .resident_of(site.station.index().reading(id).unwrap())
        .0
        .clone();
    let (_, csv) = nurse.get(&format!("/residents/{resident}/csv")).await;
    let line = csv
        .lines()
        .find(|it| it.starts_with(&id.to_string()))
        .unwrap();
    assert!(
        line.contains("2026-03-12T06:10:00-05:00") && line.contains("amended"),
        "{line}"
    );
    assert!(line.contains(", measured at 07:3"), "{line}");
    let (_, fhir) = nurse.get(&format!("/residents/{resident}/fhir")).await;
    assert!(fhir.contains("\"2026-03-12T06:10:00-05:00\""), "{fhir}");
    let (_, summary) = nurse.get(&format!("/residents/{resident}/summary")).await;
    assert!(summary.contains("2026-03-12 06:10"), "{summary}");
    // A value corrected after that leaves the time as it is.
    let fields = "seen=1&value=77&unit=per_minute&rhythm=regular&reason=misread";
    nurse.does(&format!("/readings/{id}/correct"), fields).await;
    assert_eq!(measured(&site, id), "2026-03-12T06:10:00-05:00");
    // And it can be put back.
    let clock = &before[11..16];
    corrects(&mut nurse, id, 2, &format!("day=2026-03-12&clock={clock}")).await;
    assert_eq!(measured(&site, id)[..16], before[..16]);
}

#[tokio::test]
async fn the_last_reading_is_the_last_by_the_right_time() {
    let site = Site::new();
    let id = reading(&site, VitalSign::Pulse);
    let resident: ResidentId = {
        let index = site.station.index();
        let resident = index.resident_of(index.reading(id).unwrap()).clone();
        assert_eq!(index.last(&resident, VitalSign::Pulse).unwrap().id, id);
        resident
    };
    let mut nurse = site.visitor(Role::Nurse).await;
    // To before yesterday's.
    corrects(&mut nurse, id, 0, "day=2026-03-10&clock=06:10").await;
    let last = site
        .station
        .index()
        .last(&resident, VitalSign::Pulse)
        .unwrap()
        .id;
    assert_ne!(last, id);
    let known = Record::of(&site.facts());
    assert_eq!(known.last(&resident, VitalSign::Pulse).unwrap().id, last);
    assert_eq!(measured(&site, id), "2026-03-10T06:10:00-05:00");
}

#[tokio::test]
async fn bad_input_stores_nothing_and_says_why() {
    let site = Site::new();
    let id = reading(&site, VitalSign::Pulse);
    let is = measured(&site, id);
    let before = site.facts().len();
    let mut nurse = site.visitor(Role::Nurse).await;
    let path = format!("/readings/{id}/time");
    let reason = "reason=clock";
    let same = format!("seen=0&day=2026-03-12&clock={}&{reason}", &is[11..16]);
    for (fields, why) in [
        (same.as_str(), "recorded already"),
        (
            "seen=0&day=&clock=06:10&reason=clock",
            "The day on which it was taken is missing",
        ),
        (
            "seen=0&day=2026-03-12&clock=6&reason=clock",
            "such as 14:05",
        ),
        (
            "seen=0&day=2026-03-12&clock=11:41&reason=clock",
            "have been taken at",
        ),
        (
            "seen=0&day=2026-01-12&clock=06:10&reason=clock",
            "last 31 days",
        ),
        (
            "seen=0&day=2026-03-12&clock=06:10&reason=",
            "The reason is missing",
        ),
        (
            "seen=3&day=2026-03-12&clock=06:10&reason=clock",
            "meanwhile",
        ),
    ] {
        refused(&mut nurse, &path, fields, why).await;
    }
    let gone = format!("/readings/{}/time", Uuid::nil());
    let answer = nurse.post(&gone, &same).await;
    assert_eq!(answer.status(), StatusCode::NOT_FOUND);
    assert_eq!(site.facts().len(), before);
}

/// What an earlier version of the program reads of it is a correction that changes nothing.
#[test]
fn an_earlier_version_can_read_it() {
    let text = r#"{"id":"00000000-0000-0000-0000-000000000001","version":1,
        "at":"2026-03-02T07:30:00-05:00","by":{"name":"A","title":"nurse"},
        "round":"00000000-0000-0000-0000-000000000000","kind":"corrected",
        "reading":"00000000-0000-0000-0000-000000000002","resident":"r",
        "old":{"sign":"weight","value":{"one":{"value":"70","unit":"kilogram"}}},
        "new":{"sign":"weight","value":{"one":{"value":"70","unit":"kilogram"}}},
        "reason":"clock","by_nurse":true,
        "time":{"old":"2026-03-02T07:30:00-05:00","new":"2026-03-02T06:30:00-05:00"}}"#;
    let fact: Fact = serde_json::from_str(text).unwrap();
    let Body::Corrected { old, new, time, .. } = &fact.body else {
        unreachable!()
    };
    assert_eq!((old == new, time.is_some()), (true, true));
    let written = serde_json::to_value(&fact).unwrap();
    assert_eq!(written["time"]["new"], "2026-03-02T06:30:00-05:00");
    let late = text.replace(
        "\"2026-03-02T06:30:00-05:00\"",
        "\"+262142-12-31T23:59:59Z\"",
    );
    serde_json::from_str::<Fact>(&late).unwrap_err();
}

/// A sheet names its day once, above: what was measured on another says so.
#[tokio::test]
async fn a_time_of_another_day_has_its_day_on_the_sheet() {
    let site = Site::new();
    let id = reading(&site, VitalSign::Pulse);
    let mut nurse = site.visitor(Role::Nurse).await;
    let round = site.station.index().reading(id).unwrap().round;
    let sheet = format!("/rounds/{round}/sheet");
    let (_, page) = nurse.get(&sheet).await;
    assert!(
        page.contains(">07:3") && !page.contains(">03-12 "),
        "{page}"
    );
    corrects(&mut nurse, id, 0, "day=2026-03-11&clock=21:50").await;
    let (_, page) = nurse.get(&sheet).await;
    assert!(page.contains(">03-11 21:50"), "{page}");
}
