//! A blood pressure by palpation at the station: entered, corrected, shown.

use axum::http::StatusCode;
use sayback::facts::Body;
use sayback::review::accounts::Role;
use sayback::vitals::VitalSign;

use super::acting::{PRESSURE, reading, refused};
use super::by_hand::{entered, enters};
use super::site::{Site, text};

const WHEN: &str = "day=2026-03-12&clock=09:05&taken_by=Dana+Whitlock";

#[tokio::test]
async fn one_from_paper_has_no_diastolic_and_is_shown_as_palpated() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let path = "/residents/AR-000";
    let (_, page) = nurse
        .get(&format!("{path}/enter?sign=blood_pressure"))
        .await;
    let box_of = "<input type=\"checkbox\" name=\"palpated\">Systolic only, by palpation";
    assert!(page.contains(box_of), "{page}");
    let fields = format!("sign=blood_pressure&value=112&over=&palpated=on&{PRESSURE}&{WHEN}");
    let answer = nurse.post(&format!("{path}/read-back"), &fields).await;
    let page = text(answer).await;
    let said = "Blood pressure one one two systolic, by palpation, left arm, sitting, taken by";
    assert!(page.contains(said), "{page}");
    assert!(page.contains("112/P\u{a0}mmHg"), "{page}");
    let (status, page) = enters(&mut nurse, &fields, "").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    let (fact, record) = entered(&site);
    assert!(record.measurement.is_palpated());
    assert_eq!(record.measurement.components().len(), 1);
    for page in [format!("/readings/{}", fact.id), path.to_owned()] {
        let (_, shown) = nurse.get(&page).await;
        assert!(shown.contains("112/P"), "{page}: {shown}");
        assert!(
            shown.contains("by palpation, left arm, sitting"),
            "{page}: {shown}"
        );
    }
    // Nothing is worked out that needs both.
    let (_, page) = nurse.get(&format!("/readings/{}", fact.id)).await;
    assert!(!page.contains("ulse pressure"), "{page}");
}

/// Whoever is told of it is told how it was taken.
#[tokio::test]
async fn a_low_one_is_on_the_worklist_as_palpated() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let fields = format!("sign=blood_pressure&value=84&over=&palpated=on&{PRESSURE}&{WHEN}");
    let (status, page) = enters(&mut nurse, &fields, "").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    let (fact, _) = entered(&site);
    let (_, page) = nurse.get("/worklist").await;
    let row = page
        .split_once(&format!("/readings/{}", fact.id))
        .expect(&page)
        .1;
    let row = row.split("</a>").next().unwrap();
    assert!(row.contains("Systolic by palpation <b>84 mmHg"), "{row}");
    let (_, page) = nurse.get(&format!("/readings/{}", fact.id)).await;
    assert!(
        page.contains("Systolic by palpation 84: 16 mmHg below 100"),
        "{page}"
    );
}

#[tokio::test]
async fn a_missing_diastolic_without_the_box_is_refused_and_so_is_one_too_many() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let id = reading(&site, VitalSign::BloodPressure);
    let path = format!("/readings/{id}/correct");
    for (fields, why) in [
        ("value=112&over=", "Diastolic"),
        (
            "value=112&over=70&palpated=on",
            "Palpation gives no diastolic",
        ),
        ("value=&over=&palpated=on", "Systolic"),
        ("value=30&over=&palpated=on", "40"),
    ] {
        let fields = format!("seen=0&{fields}&{PRESSURE}&reason=misread");
        refused(&mut nurse, &path, &fields, why).await;
    }
    // What was ticked is still ticked on the page that refuses.
    let fields = format!("seen=0&value=112&over=70&palpated=on&{PRESSURE}&reason=misread");
    let page = text(nurse.post(&path, &fields).await).await;
    assert!(page.contains("name=\"palpated\" checked"), "{page}");
}

#[tokio::test]
async fn a_correction_may_make_it_palpated_and_heard_again() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let id = reading(&site, VitalSign::BloodPressure);
    let path = format!("/readings/{id}/correct");
    let page = format!("/readings/{id}");
    let corrected = || {
        let of_it = |body: &Body| match body {
            Body::Corrected { reading, new, .. } if *reading == id => Some(new.clone()),
            _ => None,
        };
        site.facts().iter().rev().find_map(|it| of_it(&it.body))
    };
    let fields = format!("seen=0&value=114&over=&palpated=on&{PRESSURE}&reason=was+felt");
    nurse.does(&path, &fields).await;
    assert!(corrected().unwrap().is_palpated());
    let (_, shown) = nurse.get(&page).await;
    assert!(shown.contains("114/P\u{a0}mmHg"), "{shown}");
    assert!(shown.contains("by palpation, left arm, sitting"), "{shown}");
    // The form begins with what it is now.
    assert!(shown.contains("name=\"palpated\" checked"), "{shown}");
    assert!(shown.contains("name=\"over\""), "{shown}");
    let fields = format!("seen=1&value=114&over=72&{PRESSURE}&reason=heard+after+all");
    nurse.does(&path, &fields).await;
    assert_eq!(corrected().unwrap().components().len(), 2);
    let (_, shown) = nurse.get(&page).await;
    assert!(shown.contains("114/72\u{a0}mmHg"), "{shown}");
    assert!(!shown.contains("name=\"palpated\" checked"), "{shown}");
}

/// The drawing and its table say which have no diastolic.
#[tokio::test]
async fn the_trend_says_which_mark_is_alone() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let path = "/residents/AR-000/blood_pressure?days=30";
    let alone = "alone: by palpation, which gives no diastolic";
    let (_, page) = nurse.get(path).await;
    assert!(!page.contains(alone), "{page}");
    // For whoever does not see the drawing.
    let in_words = |page: &str| page.contains(" readings, 1 by palpation, systolic ");
    assert!(!in_words(&page), "{page}");
    let fields = format!("sign=blood_pressure&value=112&over=&palpated=on&{PRESSURE}&{WHEN}");
    let (status, page) = enters(&mut nurse, &fields, "").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    let (_, page) = nurse.get(path).await;
    assert!(page.contains(alone), "{page}");
    assert!(in_words(&page), "{page}");
    assert!(page.contains("112/P"), "{page}");
}
