//! What stands in the lists of the worklist and of the rounds.

use std::collections::BTreeSet;

use axum::http::StatusCode;
use chrono::TimeDelta;
use sayback::facts::Body;
use sayback::residents::ResidentId;
use sayback::review::accounts::Role;
use sayback::vitals::{NotTakenReason, VitalSign};
use uuid::Uuid;

use super::made;
use super::site::{Site, Visitor};

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

#[tokio::test]
async fn the_files_of_two_rounds_have_two_names() {
    let site = Site::of(2, 2);
    let nurse = site.visitor(Role::Nurse).await;
    let rounds: BTreeSet<Uuid> = site.facts().iter().map(|it| it.round).collect();
    let mut names = Vec::new();
    for round in rounds {
        let request = nurse.request("GET", &format!("/rounds/{round}/csv"), String::new());
        let answer = site.send(request).await;
        let name = &answer.headers()["content-disposition"];
        names.push(name.to_str().unwrap().to_owned());
    }
    let of_day = |day: u32| format!("attachment; filename=\"round-2026-03-{day}-0730.csv\"");
    assert_eq!(names, [11, 12].map(of_day));
}

/// The rounds that a part of a page links to.
fn linked(page: &str) -> BTreeSet<Uuid> {
    let links = page.split("href=\"/rounds/").skip(1);
    links.map(|it| it[..36].parse().unwrap()).collect()
}

/// Where a link of this kind leads to, if there is one.
fn leads(page: &str, rel: &str) -> Option<String> {
    let (_, link) = page.split_once(&format!("rel=\"{rel}\" href=\""))?;
    Some(link.split('"').next().unwrap().replace("&amp;", "&"))
}

/// All that is listed from a part of the first page on, and how many pages that is.
async fn followed(nurse: &mut Visitor<'_>, first: &str) -> (BTreeSet<Uuid>, usize) {
    let (mut all, mut pages, mut next) = (linked(first), 1, leads(first, "next"));
    while let Some(path) = next {
        let (status, page) = nurse.get(&path).await;
        assert_eq!(status, StatusCode::OK, "{path}");
        let new = linked(&page);
        assert!(all.is_disjoint(&new), "{path} lists one again");
        all.extend(new);
        pages += 1;
        next = leads(&page, "next");
    }
    (all, pages)
}

/// A section of a page, by the identifier of its heading.
fn section<'a>(page: &'a str, id: &str) -> &'a str {
    let from = page.split_once(&format!("<h2 id=\"{id}\"")).expect(id).1;
    from.split("</section>").next().unwrap()
}

#[tokio::test]
async fn every_round_can_be_reached_signed_or_not() {
    let site = Site::of(1, 370);
    let mut nurse = site.visitor(Role::Nurse).await;
    let facts = site.facts();
    let opened = |it: &&sayback::facts::Fact| matches!(it.body, Body::RoundOpened { .. });
    let mut rounds: BTreeSet<Uuid> = facts.iter().filter(opened).map(|it| it.round).collect();
    let signed = *rounds.first().unwrap();
    nurse.does(&format!("/rounds/{signed}/sign"), "").await;

    let (_, front) = nurse.get("/rounds").await;
    let (all, pages) = followed(&mut nurse, section(&front, "latest")).await;
    assert_eq!((all, pages), (rounds.clone(), 7));
    let unsigned = section(&front, "unsigned");
    assert!(unsigned.contains("The latest 300 of 369."), "{unsigned}");
    let (all, pages) = followed(&mut nurse, unsigned).await;
    rounds.remove(&signed);
    assert_eq!((all, pages), (rounds, 3));
}

#[tokio::test]
async fn pages_of_rounds_lead_back_and_bad_ones_are_named() {
    let site = Site::of(1, 200);
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, front) = nurse.get("/rounds").await;
    let second = leads(section(&front, "latest"), "next").unwrap();
    let (_, page) = nurse.get(&second).await;
    assert_eq!(leads(&page, "prev").as_deref(), Some("/rounds"));
    let third = leads(&page, "next").unwrap();
    let (_, page) = nurse.get(&third).await;
    assert_eq!(leads(&page, "prev"), Some(second));
    let oldest = linked(&leads(&page, "next").map_or(String::new(), |_| page.clone()));
    let oldest = oldest.first().unwrap();
    let (_, page) = nurse.get(&format!("/rounds?before={}", Uuid::nil())).await;
    assert!(page.contains("none that are older"), "{page}");
    for bad in ["before=zzz".to_owned(), format!("list=all&before={oldest}")] {
        let (status, page) = nurse.get(&format!("/rounds?{bad}")).await;
        assert_eq!(status, StatusCode::NOT_FOUND, "{bad}");
        assert!(page.contains("There is no such page of rounds"), "{bad}");
    }
}

/// A battery that ran down, and an aide who went home: what was kept waits for the nurse
/// all the same.
#[tokio::test]
async fn a_round_that_nobody_ended_is_not_lost() {
    let site = Site::of(2, 2);
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/worklist").await;
    assert!(!page.contains("never ended"));
    let open = |hours| {
        let round = Uuid::now_v7();
        let mut out = made::Writer::join(&site.record());
        let at = made::now() - TimeDelta::hours(hours);
        let home = "Alder Ridge House".to_owned();
        out.put(at, &made::aide(1), round, Body::RoundOpened { home });
        out.end();
        round
    };
    let (left, lately) = (open(5), open(3));
    site.station.refresh().unwrap();
    let (_, page) = nurse.get("/worklist").await;
    assert!(page.contains("1 round was never ended"), "{page}");
    let (_, page) = nurse.get("/rounds").await;
    assert_eq!(linked(section(&page, "not-ended")), [left].into());
    assert!(section(&page, "latest").contains(&lately.to_string()));
    assert!(section(&page, "latest").contains("going on"));
    nurse.does(&format!("/rounds/{left}/sign"), "").await;
    let (_, page) = nurse.get("/rounds").await;
    assert!(!page.contains("id=\"not-ended\""), "signed and done with");
    let (_, page) = nurse.get("/worklist").await;
    assert!(!page.contains("never ended"));
}

/// A recorder that was cut off sends what it has when it can, and a nurse may have signed
/// what had come until then.
#[tokio::test]
async fn what_comes_after_a_signature_is_to_be_signed_too() {
    let site = Site::of(2, 2);
    let mut nurse = site.visitor(Role::Nurse).await;
    let round = {
        let index = site.station.index();
        index.rounds().last().unwrap().id
    };
    let began = site.station.index().round(round).unwrap().opened;
    let sign = format!("/rounds/{round}/sign");
    nurse.does(&sign, "").await;
    let waits = |page: &str| {
        let unsigned = page.contains("id=\"unsigned\"");
        unsigned && linked(section(page, "unsigned")).contains(&round)
    };
    let (_, page) = nurse.get("/rounds").await;
    assert!(!waits(&page));
    let mut out = made::Writer::join(&site.record());
    let body = Body::NotTaken {
        resident: ResidentId("AR-001".to_owned()),
        signs: vec![VitalSign::Weight],
        reason: NotTakenReason::Other("at a concert".to_owned()),
        retry_at: None,
    };
    out.put(began + TimeDelta::minutes(9), &made::aide(0), round, body);
    out.end();
    site.station.refresh().unwrap();
    let (_, page) = nurse.get("/rounds").await;
    assert!(waits(&page) && page.contains("more came since it was signed"));
    let (_, page) = nurse.get("/worklist?hours=72").await;
    assert!(page.contains("at a concert"), "nobody has seen it");
    nurse.does(&sign, "").await;
    let (_, page) = nurse.get("/rounds").await;
    assert!(!waits(&page));
    let (_, page) = nurse.get("/worklist?hours=72").await;
    assert!(!page.contains("at a concert"));
}

/// What the filters leave out is not said to be closed.
#[tokio::test]
async fn a_filter_that_hides_every_report_says_how_many_are_open() {
    let site = Site::of(30, 3);
    let mut nurse = site.visitor(Role::Nurse).await;
    let index = || site.station.index();
    let open: Vec<Uuid> = index().open_reports().map(|it| it.id).collect();
    let reported: BTreeSet<String> = index()
        .open_reports()
        .map(|it| it.resident.0.clone())
        .collect();
    let home = made::home(30);
    let room = |it: &&sayback::residents::Resident| it.room.clone();
    let rooms = home
        .residents
        .iter()
        .filter(|it| reported.contains(&it.id.0));
    let rooms: BTreeSet<String> = rooms.map(|it| room(&it)).collect();
    let free = home.residents.iter().find(|it| !rooms.contains(&it.room));
    let free = free.expect("a room without reports").room.clone();
    let said = format!("{} open in all", open.len());

    let (_, page) = nurse.get(&format!("/worklist?room={free}")).await;
    let none = section(&page, "reports");
    assert!(
        none.contains("None among these; ") && none.contains(&said),
        "{none}"
    );
    assert!(!none.contains("No report is open"));
    let some = rooms.first().unwrap();
    let (_, page) = nurse.get(&format!("/worklist?room={some}")).await;
    assert!(section(&page, "reports").contains(&said), "some of them");
    let (_, page) = nurse.get("/worklist").await;
    assert!(!page.contains("open in all"));
    for flag in open {
        nurse
            .does(&format!("/reports/{flag}/acknowledge"), "")
            .await;
    }
    let (_, page) = nurse.get(&format!("/worklist?room={free}")).await;
    assert!(section(&page, "reports").contains("No report is open."));
}
