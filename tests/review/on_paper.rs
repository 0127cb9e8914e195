//! Where a reading from paper is found again: with its round, or with its shift.

use axum::http::StatusCode;
use chrono::{DateTime, TimeDelta};
use sayback::facts::{Body, Fact, NO_ROUND, Time};
use sayback::residents::{Offsets, ResidentId};
use sayback::review::accounts::Role;
use sayback::review::export::sheet::round_sheet;
use sayback::review::export::{Chart, Style};
use sayback::review::index::Index;
use sayback::store::Stored;
use sayback::vitals::{NotTakenReason, VitalSign};
use uuid::Uuid;

use super::by_hand::{entered, enters};
use super::made;
use super::site::{Site, Visitor, text};

/// A pulse of AR-000, of today at a time.
fn pulse(clock: &str) -> String {
    format!(
        "sign=pulse&value=83&unit=per_minute&rhythm=regular&day=2026-03-12&clock={clock}\
         &taken_by=Marcus+Bell"
    )
}

async fn stores(nurse: &mut Visitor<'_>, clock: &str) {
    let (status, page) = enters(nurse, &pulse(clock), "").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
}

fn last_round(site: &Site) -> Uuid {
    let index = site.station.index();
    index.rounds().next().unwrap().id
}

fn offsets() -> Offsets {
    Offsets::fixed(*made::now().offset())
}

#[tokio::test]
async fn one_taken_while_a_round_went_on_is_of_that_round() {
    let site = Site::new();
    let round = last_round(&site);
    let before = site.station.index().round(round).unwrap().clone();
    let mut nurse = site.visitor(Role::Nurse).await;
    let answer = nurse
        .post("/residents/AR-000/read-back", &pulse("07:32"))
        .await;
    let page = text(answer).await;
    assert!(
        page.contains("Kept with</dt><dd>the round of <time"),
        "{page}"
    );
    stores(&mut nurse, "07:32").await;
    let (fact, _) = entered(&site);
    assert_eq!(fact.round, round);
    // It is no longer for it.
    let after = site.station.index().round(round).unwrap().clone();
    assert_eq!(
        (after.opened, after.closed, after.last, after.readings),
        (
            before.opened,
            before.closed,
            before.last,
            before.readings + 1
        )
    );
    // On its page, on its sheet, and in what leaves by round, marked.
    let path = format!("/rounds/{round}");
    let (_, page) = nurse.get(&path).await;
    let row = page.split_once(&fact.id.to_string()).expect(&page).1;
    let row = row.split("</tr>").next().unwrap();
    assert!(
        row.contains("83") && row.contains("entered by hand"),
        "{row}"
    );
    assert!(!page.contains("id=\"outside\""));
    let marked = "ntered by hand by Ines Marlow, registered nurse; taken by Marcus Bell";
    let (_, sheet) = nurse.get(&format!("{path}/sheet")).await;
    assert!(
        sheet.contains("83 /min") && sheet.contains(marked),
        "{sheet}"
    );
    let (_, fhir) = nurse.get(&format!("{path}/fhir")).await;
    assert!(fhir.contains(&fact.id.to_string()) && fhir.contains(marked));
    let (_, csv) = nurse.get(&format!("{path}/csv")).await;
    let id = fact.id.to_string();
    let line = csv.lines().find(|it| it.starts_with(&id)).expect(&csv);
    assert!(line.contains("Marcus Bell") && line.contains(&round.to_string()));
    let (_, page) = nurse.get(&format!("/readings/{id}")).await;
    assert!(
        page.contains(&format!("<dd><a href=\"{path}\">of <time")),
        "{page}"
    );
    let (_, page) = nurse.get("/rounds").await;
    assert!(!page.contains("outside a round"));
}

#[tokio::test]
async fn one_that_no_round_covers_is_with_its_shift() {
    let site = Site::new();
    let (round, before) = {
        let index = site.station.index();
        let mut rounds = index.rounds();
        (rounds.next().unwrap().id, rounds.next().unwrap().id)
    };
    let mut nurse = site.visitor(Role::Nurse).await;
    let answer = nurse
        .post("/residents/AR-000/read-back", &pulse("09:05"))
        .await;
    let page = text(answer).await;
    assert!(
        page.contains("its shift: no round that is known here went on then"),
        "{page}"
    );
    stores(&mut nurse, "09:05").await;
    let (fact, _) = entered(&site);
    assert_eq!(fact.round, NO_ROUND);
    let id = fact.id.to_string();
    let section = |page: &str, heading: &str| {
        let (_, part) = page.split_once("id=\"outside\"").expect(page);
        let part = part.split("</section>").next().unwrap().to_owned();
        assert!(part.contains(heading), "{part}");
        assert!(part.contains(&id) && part.contains("entered by hand"));
        part
    };
    let (_, page) = nurse.get("/rounds").await;
    let part = section(&page, "Entered from paper, outside a round");
    assert!(part.contains("The shift that began <time") && part.contains("today 06:00"));
    let (_, page) = nurse.get(&format!("/rounds/{round}")).await;
    section(&page, "Entered from paper in this shift, outside a round");
    // Of another shift's round it is not.
    let (_, page) = nurse.get(&format!("/rounds/{before}")).await;
    assert!(!page.contains("id=\"outside\""));

    // Its correction and its answered report are on the sheet with it.
    let fields = "seen=0&value=131&unit=per_minute&rhythm=regular&reason=misread";
    nurse.does(&format!("/readings/{id}/correct"), fields).await;
    let heading = "Entered from paper in this shift, outside a round";
    let (_, sheet) = nurse.get(&format!("/rounds/{round}/sheet")).await;
    let printed = round_sheet(
        &Chart::of(&site.facts()),
        &made::home(4),
        Some(round),
        Style::Inside,
        &offsets(),
    );
    for sheet in [sheet, printed.unwrap()] {
        let part = sheet.split_once(heading).expect(&sheet).1;
        for it in [
            "131 /min",
            "83 /min",
            "03-12 09:05",
            "corrected by",
            "taken by Marcus Bell",
        ] {
            assert!(part.contains(it), "{it}: {part}");
        }
        // What the right value raises, whoever corrected it has seen.
        assert!(!sheet.contains("<strong>Edith Hollin</strong>: pulse"));
    }
    let (_, sheet) = nurse.get(&format!("/rounds/{before}/sheet")).await;
    assert!(!sheet.contains(heading));
    // What is of the round alone does not have it.
    let (_, csv) = nurse.get(&format!("/rounds/{round}/csv")).await;
    assert!(!csv.contains(&id));
}

/// A recorder was offline, and its round comes in after the paper was entered.
#[tokio::test]
async fn one_that_was_entered_before_its_round_came_in_is_shown_with_it() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    stores(&mut nurse, "09:05").await;
    let id = entered(&site).0.id.to_string();
    let (late, aide) = (Uuid::now_v7(), made::aide(1));
    let mut out = made::Writer::join(&site.record());
    let home = "Alder Ridge House".to_owned();
    out.put(at("09:00"), &aide, late, Body::RoundOpened { home });
    let resident = ResidentId("AR-000".to_owned());
    let missed = Body::NotTaken {
        resident,
        signs: vec![VitalSign::Weight],
        reason: NotTakenReason::Refused,
        retry_at: None,
    };
    out.put(at("09:06"), &aide, late, missed);
    let closed = Body::RoundClosed { open_reports: 0 };
    out.put(at("09:10"), &aide, late, closed);
    out.end();
    site.station.refresh().unwrap();
    for path in [format!("/rounds/{late}"), format!("/rounds/{late}/sheet")] {
        let (_, page) = nurse.get(&path).await;
        let heading = "Entered from paper in this shift, outside a round";
        let part = page.split_once(heading).expect(&page).1;
        assert!(part.contains("83") && part.contains("09:05"), "{part}");
    }
    let (_, page) = nurse.get("/rounds").await;
    let part = page.split_once("id=\"outside\"").expect(&page).1;
    assert!(part.contains(&id) && part.contains("one that comes in later"));
    // Not a claim that there was none.
    assert!(!part.contains("No round went on"), "{part}");
}

/// What became of a reading in a later round is on the sheet of its own.
#[tokio::test]
async fn what_was_done_in_a_later_round_is_on_the_sheet() {
    let site = Site::of(30, 3);
    let mut nurse = site.visitor(Role::Nurse).await;
    let (flag, round, resident) = {
        let index = site.station.index();
        let flag = index.open_reports().next().unwrap();
        (flag.id, flag.round, flag.resident.clone())
    };
    let path = format!("/rounds/{round}/sheet");
    let count = |page: &str| page.matches("not yet reported").count();
    let (_, before) = nurse.get(&path).await;
    let mut out = made::Writer::join(&site.record());
    let told = Body::ReportedToNurse {
        resident,
        flags: vec![flag],
        to: "Ines Marlow".to_owned(),
        read_back: "Reported to Ines Marlow".to_owned(),
    };
    out.put(made::now(), &made::aide(1), Uuid::now_v7(), told);
    out.end();
    site.station.refresh().unwrap();
    let (_, after) = nurse.get(&path).await;
    assert_eq!(count(&after) + 1, count(&before));
}

fn at(clock: &str) -> Time {
    DateTime::parse_from_rfc3339(&format!("2026-03-12T{clock}:00-05:00")).unwrap()
}

/// A home with a round in each wing at the same time, each with one who was not taken.
fn two_rounds() -> (Index, Uuid, Uuid) {
    let mut index = Index::new(made::home(4));
    let (east, west) = (Uuid::from_u128(1), Uuid::from_u128(2));
    let mut seq = 0;
    let mut put = |round: Uuid, by: usize, at: Time, body: Body| {
        seq += 1;
        let fact = Fact {
            id: Uuid::now_v7(),
            version: 1,
            at,
            by: made::aide(by),
            round,
            body,
        };
        index.extend([Stored {
            seq,
            fact: Ok(fact),
        }]);
    };
    for (round, by, first) in [(east, 0, "AR-000"), (west, 1, "AR-002")] {
        let home = "Alder Ridge House".to_owned();
        put(round, by, at("07:30"), Body::RoundOpened { home });
        let missed = Body::NotTaken {
            resident: ResidentId(first.to_owned()),
            signs: vec![VitalSign::Pulse],
            reason: NotTakenReason::Asleep,
            retry_at: None,
        };
        put(round, by, at("07:40"), missed);
        put(
            round,
            by,
            at("08:10"),
            Body::RoundClosed { open_reports: 0 },
        );
    }
    (index, east, west)
}

#[test]
fn of_several_rounds_it_is_of_the_one_where_one_would_look() {
    let (index, east, west) = two_rounds();
    let found = |who: &str, clock: &str, by: &str| {
        let who = ResidentId(who.to_owned());
        let round = index.round_of_paper(&who, at(clock), by, made::now());
        round.map(|it| it.id)
    };
    // Where the resident was seen, whoever took it.
    assert_eq!(found("AR-000", "07:50", "Marcus Bell"), Some(east));
    assert_eq!(found("AR-002", "07:50", "Dana Whitlock"), Some(west));
    // Else the round of who took it, as the list of names has it too.
    assert_eq!(found("AR-001", "07:50", "Dana Whitlock"), Some(east));
    let titled = "marcus bell, nursing aide";
    assert_eq!(found("AR-001", "07:50", titled), Some(west));
    // A round in another wing, of somebody else, is none to look in.
    assert_eq!(found("AR-001", "07:50", "Ines Marlow"), None);
    // On paper there are no seconds, and a round has a beginning and an end.
    for (clock, is) in [
        ("07:29", None),
        ("07:30", Some(east)),
        ("08:10", Some(east)),
    ] {
        assert_eq!(found("AR-000", clock, "Ines Marlow"), is, "{clock}");
    }
    assert_eq!(found("AR-000", "08:11", "Dana Whitlock"), None);
}

#[test]
fn one_that_goes_on_goes_on_until_now() {
    let mut index = Index::new(made::home(4));
    let fact = Fact {
        id: Uuid::now_v7(),
        version: 1,
        at: at("07:30"),
        by: made::aide(0),
        round: Uuid::from_u128(1),
        body: Body::RoundOpened {
            home: "Alder Ridge House".to_owned(),
        },
    };
    index.add(fact);
    let who = ResidentId("AR-000".to_owned());
    let found = |clock: &str, now: Time| {
        let of = index.round_of_paper(&who, at(clock), "Dana Whitlock", now);
        of.is_some()
    };
    assert!(found("08:30", at("09:00")));
    // Nobody ended it, and nothing came for hours: it was over when the last came.
    assert!(!found("08:30", at("07:30") + TimeDelta::hours(5)));
}
