//! A round that was signed, and what was changed of it since.

use axum::http::StatusCode;
use chrono::TimeDelta;
use sayback::facts::{Body, Fact};
use sayback::residents::{Offsets, ResidentId};
use sayback::review::accounts::Role;
use sayback::review::export::sheet::round_sheet;
use sayback::review::export::{Chart, Style};
use sayback::vitals::VitalSign;
use uuid::Uuid;

use super::acting::refused;
use super::by_hand::{encoded, enters};
use super::made;
use super::moved::moves;
use super::site::{Site, Visitor};

const CHANGED: &str = "changed since it was signed";

/// A station with a signed round: its last, with all its reports closed.
pub async fn signed(site: &Site) -> (Visitor<'_>, Uuid) {
    let mut nurse = site.visitor(Role::Nurse).await;
    acknowledges_all(site, &mut nurse).await;
    let round = site.station.index().rounds().next().unwrap().id;
    nurse.does(&format!("/rounds/{round}/sign"), "").await;
    (nurse, round)
}

async fn acknowledges_all(site: &Site, nurse: &mut Visitor<'_>) {
    let open: Vec<Uuid> = {
        let index = site.station.index();
        index.open_reports().map(|it| it.id).collect()
    };
    for flag in open {
        let path = format!("/reports/{flag}/acknowledge");
        nurse.does(&path, "").await;
    }
}

/// A pulse of the first resident in that round.
pub fn pulse(site: &Site, round: Uuid) -> Uuid {
    let first = ResidentId("AR-000".to_owned());
    let index = site.station.index();
    let own = index.readings_of(&first).filter(|it| it.round == round);
    let mut own = own.filter(|it| it.measurement.sign() == VitalSign::Pulse);
    own.next().unwrap().id
}

fn sheet(facts: &[Fact], round: Uuid) -> String {
    let offsets = Offsets::fixed(*made::now().offset());
    let (chart, home) = (Chart::of(facts), made::home(4));
    round_sheet(&chart, &home, Some(round), Style::Inside, &offsets).unwrap()
}

/// It says so wherever it is shown, keeps the signature, and waits to be signed again.
async fn asks_again(site: &Site, nurse: &mut Visitor<'_>, round: Uuid, how: &str) {
    let (_, page) = nurse.get(&format!("/rounds/{round}")).await;
    assert!(page.contains(CHANGED) && page.contains("Sign it again"));
    let (_, list) = page.split_once("id=\"changed\"").expect(&page);
    let list = list.split("</section>").next().unwrap();
    assert!(list.contains(how), "{how}: {list}");
    let before = "Signed by Ines Marlow, registered nurse, ";
    assert!(page.contains(before) && page.contains(", as it was then."));
    let (_, page) = nurse.get("/rounds").await;
    let waits = page.split_once("id=\"unsigned\"").unwrap().1;
    let row = waits.split_once(&round.to_string()).expect(waits).1;
    let row = row.split("</tr>").next().unwrap();
    assert!(
        row.contains(CHANGED) && row.contains("to be signed again"),
        "{row}"
    );
    let (_, paper) = nurse.get(&format!("/rounds/{round}/sheet")).await;
    for paper in [paper, sheet(&site.facts(), round)] {
        assert!(paper.contains("Changed since it was signed: "), "{paper}");
        assert!(paper.contains(before) && paper.contains("as it was then"));
        assert!(paper.contains("class=\"lines\""), "to sign again: {paper}");
    }
    let sign = format!("/rounds/{round}/sign");
    nurse.does(&sign, "").await;
    refused(nurse, &sign, "", "already").await;
    let (_, page) = nurse.get(&format!("/rounds/{round}")).await;
    assert!(!page.contains(CHANGED) && !page.contains("as it was then"));
    assert_eq!(page.matches("Signed by ").count(), 2, "both stay: {page}");
    let (_, paper) = nurse.get(&format!("/rounds/{round}/sheet")).await;
    for paper in [paper, sheet(&site.facts(), round)] {
        assert!(!paper.to_lowercase().contains(CHANGED), "{paper}");
        assert!(!paper.contains("class=\"lines\""));
    }
}

#[tokio::test]
async fn a_corrected_value_or_time_is_to_be_signed() {
    let site = Site::new();
    let (mut nurse, round) = signed(&site).await;
    let id = pulse(&site, round);
    let fields = "seen=0&value=77&unit=per_minute&rhythm=regular&reason=misread";
    nurse.does(&format!("/readings/{id}/correct"), fields).await;
    asks_again(&site, &mut nurse, round, "corrected").await;
    let site = Site::new();
    let (mut nurse, round) = signed(&site).await;
    let id = pulse(&site, round);
    let fields = "seen=0&day=2026-03-12&clock=06:10&reason=the+clock+was+wrong";
    nurse.does(&format!("/readings/{id}/time"), fields).await;
    asks_again(&site, &mut nurse, round, "corrected").await;
}

#[tokio::test]
async fn so_is_one_that_was_retracted() {
    let site = Site::new();
    let (mut nurse, round) = signed(&site).await;
    let id = pulse(&site, round);
    let path = format!("/readings/{id}/retract");
    nurse.does(&path, "seen=0&reason=of+another").await;
    asks_again(&site, &mut nurse, round, "retracted").await;
}

#[tokio::test]
async fn so_is_one_that_was_moved_out_and_in() {
    let site = Site::new();
    let (mut nurse, round) = signed(&site).await;
    let id = pulse(&site, round);
    let (status, page) = moves(&mut nurse, id, "AR-001", "&looked_again=on").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    acknowledges_all(&site, &mut nurse).await;
    let (_, page) = nurse.get(&format!("/rounds/{round}")).await;
    let (_, list) = page.split_once("id=\"changed\"").unwrap();
    let list = list.split("</section>").next().unwrap();
    assert!(list.contains("moved here") && list.contains("Walter"));
    asks_again(&site, &mut nurse, round, "moved to another resident").await;
}

#[tokio::test]
async fn so_is_one_that_was_entered_from_paper() {
    let site = Site::new();
    let (mut nurse, round) = signed(&site).await;
    let fields = "sign=pain&value=2&unit=score&day=2026-03-12&clock=07:31&taken_by=Dana+Whitlock";
    let answer = nurse.post("/residents/AR-000/read-back", fields).await;
    let page = super::site::text(answer).await;
    assert!(page.contains("which is then to be signed again"), "{page}");
    let (status, page) = enters(&mut nurse, fields, "").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    asks_again(&site, &mut nurse, round, "entered by hand").await;
}

/// Whoever recorded may correct by voice while a nurse signs, and be cut off then.
#[tokio::test]
async fn what_an_aide_changed_and_came_later_is_to_be_signed_too() {
    let site = Site::new();
    let (mut nurse, round) = signed(&site).await;
    let id = pulse(&site, round);
    let mut out = made::Writer::join(&site.record());
    let body = Body::Retracted {
        reading: id,
        resident: ResidentId("AR-000".to_owned()),
        reason: "scratched".to_owned(),
        over: vec![id],
    };
    // By its time before the signature, and said in another round.
    let at = made::now() - TimeDelta::hours(3);
    out.put(at, &made::aide(0), Uuid::now_v7(), body);
    out.end();
    site.station.refresh().unwrap();
    asks_again(&site, &mut nurse, round, "retracted").await;
}

/// A remark or an answer to a report changes no reading, and what was signed has been
/// seen: it does not come back to the worklist with a change of something else.
#[tokio::test]
async fn what_changes_no_reading_asks_for_nothing() {
    let site = Site::of(8, 30);
    let (mut nurse, round) = signed(&site).await;
    let id = pulse(&site, round);
    let remark = format!("text={}", encoded("seen with the aide"));
    nurse.does(&format!("/readings/{id}/note"), &remark).await;
    let (_, page) = nurse.get(&format!("/rounds/{round}")).await;
    assert!(!page.contains(CHANGED), "{page}");
    let of_list = |page: &str| {
        let parts = ["held", "unsure", "unlikely", "missed"];
        parts.map(|it| page.contains(&format!("id=\"{it}\"")))
    };
    let (_, before) = nurse.get("/worklist").await;
    let fields = "seen=1&value=77&unit=per_minute&rhythm=regular&reason=misread";
    nurse.does(&format!("/readings/{id}/correct"), fields).await;
    let (_, after) = nurse.get("/worklist").await;
    assert_eq!(of_list(&before), of_list(&after));
    assert!(after.contains("not signed"));
}

/// A round that nobody ended, and that was signed all the same, waits like the others.
#[tokio::test]
async fn one_that_was_never_ended_waits_too() {
    let site = Site::after(&["room one bed one", "yes", "pulse seventy four", "yes"]);
    let (round, id) = {
        let facts = site.facts();
        let read = facts.iter().find(|it| matches!(it.body, Body::Read(_)));
        read.map(|it| (it.round, it.id)).unwrap()
    };
    let mut out = made::Writer::join(&site.record());
    let signed = Body::Signed {
        signed: round,
        head: None,
    };
    let later = made::now() + TimeDelta::hours(2);
    out.put(later, &made::nurse(), round, signed);
    out.end();
    site.station.refresh().unwrap();
    let mut nurse = site.visitor(Role::Nurse).await;
    let path = format!("/readings/{id}/retract");
    nurse.does(&path, "seen=0&reason=of+another").await;
    let (_, page) = nurse.get("/rounds").await;
    let waits = page.split_once("id=\"unsigned\"").unwrap().1;
    assert!(waits.contains(&round.to_string()) && waits.contains(CHANGED));
}
