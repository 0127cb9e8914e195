//! What stands in the lists of the worklist and of the rounds.

use sayback::facts::Body;
use sayback::residents::ResidentId;
use sayback::review::accounts::Role;
use sayback::vitals::VitalSign;

use super::site::Site;

#[tokio::test]
async fn every_round_that_waits_to_be_signed_is_listed() {
    let site = Site::of(4, 100);
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/rounds").await;
    let facts = site.facts();
    let ended = facts
        .iter()
        .filter(|it| matches!(it.body, Body::RoundClosed { .. }));
    let ended: Vec<_> = ended.map(|it| it.round).collect();
    assert!(ended.len() > 60, "more than the latest");
    for round in &ended {
        assert!(page.contains(&format!("/rounds/{round}\"")), "{round}");
    }
    assert!(page.contains(&format!("The latest 60 of {}.", ended.len())));
}

#[tokio::test]
async fn a_value_of_another_day_has_its_own_time_in_the_row() {
    let site = Site::of(4, 30);
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/worklist?hours=720").await;
    let table = page.split_once("id=\"round\"").unwrap().1;
    let id = ResidentId("AR-001".to_owned());
    let index = site.station.index();
    let times = [VitalSign::Weight, VitalSign::Pulse].map(|sign| {
        let at = index.last(&id, sign).unwrap().measured_at;
        at.format("%Y-%m-%dT%H:%M").to_string()
    });
    assert_ne!(times[0], times[1]);
    for time in times {
        assert!(table.contains(&format!("datetime=\"{time}")), "{time}");
    }
}

#[tokio::test]
async fn an_open_report_is_marked_in_the_row_too() {
    let site = Site::of(30, 3);
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/worklist").await;
    let table = page.split_once("id=\"round\"").unwrap().1;
    assert!(table.contains("<span class=\"unseen\"> open report</span>"));
    assert!(table.contains("\u{25c6} open report \u{b7} \u{25c7} outside the range"));
}
