//! What a nurse asked for or set, and withdraws: it stays visible and holds no more, here
//! and on recorders.

use sayback::facts::{Body, Record, residents_with_ranges};
use sayback::residents::ResidentId;
use sayback::review::accounts::Role;
use sayback::review::export::Chart;
use sayback::vitals::{Component, Source, VitalSign};

use super::acting::refused;
use super::made;
use super::site::Site;

const RESIDENT: &str = "/residents/AR-001";

/// Nobody of the made-up home measures pain.
const PAIN: &str = "sign=pain&reason=after+resting";

#[tokio::test]
async fn a_recheck_is_withdrawn_for_pages_and_recorder_and_asked_for_anew() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let back = format!("{RESIDENT}/recheck/withdraw");
    let asked = || {
        let facts = site.facts().into_iter().rev();
        let mut asked = facts.filter(|it| matches!(it.body, Body::RecheckAsked { .. }));
        asked.next().unwrap().id
    };
    let heard_of = || Record::of(&site.facts()).rechecks().count();
    nurse.does(&format!("{RESIDENT}/recheck"), PAIN).await;
    assert_eq!(heard_of(), 1);
    let (_, page) = nurse.get(RESIDENT).await;
    assert!(page.contains("Withdraw the recheck of pain"), "{page}");
    let first = asked();
    refused(&mut nurse, &back, "recheck=zzz", "no such recheck").await;
    let elsewhere = "/residents/AR-002/recheck/withdraw";
    let fields = format!("recheck={first}");
    refused(&mut nurse, elsewhere, &fields, "no such recheck").await;
    nurse.does(&back, &fields).await;
    assert_eq!(heard_of(), 0, "an aide is not told any more");
    let (_, list) = nurse.get("/worklist").await;
    assert!(!list.contains("after resting"));
    let (_, page) = nurse.get(RESIDENT).await;
    assert!(
        page.contains("<s>pain after resting</s>"),
        "it stays visible"
    );
    assert!(page.contains("; withdrawn by Ines Marlow, registered nurse"));
    let why = "Ines Marlow has withdrawn it already";
    refused(&mut nurse, &back, &fields, why).await;

    nurse.does(&format!("{RESIDENT}/recheck"), PAIN).await;
    assert_eq!(heard_of(), 1, "the newest word holds");
    let (_, list) = nurse.get("/worklist").await;
    assert!(list.contains("after resting"));
    nurse.does(&back, &format!("recheck={}", asked())).await;
    assert_eq!(heard_of(), 0);
}

#[tokio::test]
async fn what_was_measured_since_can_be_withdrawn_no_more() {
    let site = Site::new();
    let mut other = made::Writer::join(&site.record());
    let before = made::now() - chrono::TimeDelta::days(2);
    let body = Body::RecheckAsked {
        resident: ResidentId("AR-001".to_owned()),
        sign: VitalSign::Pulse,
        reason: "it was high".to_owned(),
    };
    let asked = other.put(before, &made::nurse(), uuid::Uuid::nil(), body);
    other.end();
    site.station.refresh().unwrap();
    let mut nurse = site.visitor(Role::Nurse).await;
    let path = format!("{RESIDENT}/recheck/withdraw");
    let fields = format!("recheck={asked}");
    refused(&mut nurse, &path, &fields, "measured since").await;
}

/// The made-up home's file has a range of systolic pressure for AR-001.
#[tokio::test]
async fn a_range_is_withdrawn_and_the_homes_is_in_force_again() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let own = ResidentId("AR-001".to_owned());
    let pressure = (VitalSign::BloodPressure, Component::Systolic);
    let of_recorder = |at: &str| {
        let home = residents_with_ranges(&made::home(4), &site.facts());
        let day: chrono::NaiveDate = at.parse().unwrap();
        let limits = &home.resident(&own).unwrap().limits;
        let range = limits.range_on(pressure.0, pressure.1, day).unwrap();
        (
            range.bounds.high.to_string(),
            matches!(range.source, Source::Nurse { .. }),
        )
    };
    let back = format!("{RESIDENT}/range/withdraw");
    let range = "of=systolic&low=105&high=155";
    nurse.does(&format!("{RESIDENT}/range"), range).await;
    let (_, page) = nurse.get(RESIDENT).await;
    assert!(page.contains("Withdraw a range"));
    nurse.does(&back, "of=systolic").await;
    let (_, page) = nurse.get(RESIDENT).await;
    assert!(
        page.contains("<s>105\u{2013}155</s>"),
        "it stays visible: {page}"
    );
    assert!(page.contains("<b>withdrawn</b>: the home\u{2019}s again"));
    assert!(page.contains("100\u{2013}140 mmHg"), "the usual one");
    assert!(!page.contains("Withdraw a range"), "there is none left");
    assert_eq!(of_recorder("2026-03-12"), ("140".to_owned(), false));
    assert_eq!(
        of_recorder("2026-03-11"),
        ("160".to_owned(), true),
        "of before"
    );

    // What leaves for the chart is judged by it too, with the home's file and without.
    let facts = site.facts();
    let chart = Chart::of(&facts);
    let file = made::home(4);
    for home in [&file, site.station.index().home()] {
        let range = chart.range_on(home, &own, pressure, made::now()).unwrap();
        assert_eq!(range.bounds.high.to_string(), "140");
        let before = made::now() - chrono::TimeDelta::days(1);
        let range = chart.range_on(home, &own, pressure, before).unwrap();
        assert_eq!(range.bounds.high.to_string(), "160");
    }
    let why = "own is in force for systolic";
    refused(&mut nurse, &back, "of=systolic", why).await;
    nurse.does(&format!("{RESIDENT}/range"), range).await;
    assert_eq!(of_recorder("2026-03-12").0, "155", "the newest word holds");
}

/// An older recorder knows of ranges that are set and of none that are withdrawn: it goes
/// on by the home's, or by the widest where the home has none.
#[tokio::test]
async fn an_older_recorder_goes_on_with_the_homes_range() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let of_old = || {
        let fact = site.facts().pop().unwrap();
        let mut text = serde_json::to_value(fact).unwrap();
        assert_eq!(text["kind"], "range_set");
        assert_eq!(
            text.as_object_mut().unwrap().remove("withdrawn"),
            Some(true.into())
        );
        let bounds = text["bounds"].clone();
        (bounds["low"].to_string(), bounds["high"].to_string())
    };
    let widest = ("\"15\"".to_owned(), "\"350\"".to_owned());
    for (set, of, left) in [
        (
            "of=pulse&low=50&high=90",
            "of=pulse",
            ("\"60\"".into(), "\"100\"".into()),
        ),
        ("of=weight&low=120&high=140", "of=weight", widest),
    ] {
        nurse.does(&format!("{RESIDENT}/range"), set).await;
        nurse.does(&format!("{RESIDENT}/range/withdraw"), of).await;
        assert_eq!(of_old(), left, "{of}");
    }
}

/// The home's systolic range must not end up below a diastolic one of the resident's own.
#[tokio::test]
async fn ranges_that_would_cross_are_not_withdrawn() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let set = format!("{RESIDENT}/range");
    nurse.does(&set, "of=systolic&low=150&high=190").await;
    nurse.does(&set, "of=diastolic&low=110&high=145").await;
    let back = format!("{RESIDENT}/range/withdraw");
    refused(
        &mut nurse,
        &back,
        "of=systolic",
        "does not go with the other",
    )
    .await;
    refused(&mut nurse, &back, "of=mood", "Choose a vital sign").await;
    nurse.does(&back, "of=diastolic").await;
    nurse.does(&back, "of=systolic").await;
}
