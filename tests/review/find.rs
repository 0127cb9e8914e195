//! A search finds what looking at every reading finds.

use axum::http::StatusCode;
use chrono::Days;
use sayback::facts::Body;
use sayback::residents::ResidentId;
use sayback::review::accounts::Role;
use sayback::review::index::{Entry, Index, Query};
use sayback::store::Store;
use sayback::vitals::{NotTakenReason, VitalSign};
use uuid::Uuid;

use super::site::Site;
use super::{acting, made};

/// One by one, newest first.
fn looked_through<'a>(index: &'a Index, query: &Query) -> Vec<&'a Entry> {
    let of = |it: &Entry| {
        let id = index.resident_of(it);
        let resident = index.home().resident(id).unwrap();
        let (who, name) = (&query.who, resident.name.to_lowercase());
        let wing = resident.wing.as_ref().unwrap().to_lowercase();
        let all = [&resident.room, &wing, &id.0.to_lowercase()];
        who.is_empty() || name.contains(who) || all.contains(&who)
    };
    let day = |it: &Entry| it.measured_at.date_naive();
    let all = index
        .since(made::now() - chrono::TimeDelta::days(1_000))
        .rev();
    all.filter(|it| of(it))
        .filter(|it| query.sign.is_none_or(|sign| it.measurement.sign() == sign))
        .filter(|it| !query.flagged || it.flagged)
        .filter(|it| query.from.is_none_or(|from| day(it) >= from))
        .filter(|it| query.to.is_none_or(|to| day(it) <= to))
        .collect()
}

#[test]
fn a_search_finds_what_looking_at_every_reading_finds() {
    let site = Site::of(30, 20);
    let index = site.station.index();
    let today = made::now().date_naive();
    let ago = |days| Some(today - Days::new(days));
    let mut some = 0;
    for who in ["", "hollin", "ar-004", "east", "3", "nobody"] {
        for sign in [None, Some(VitalSign::Pulse), Some(VitalSign::Height)] {
            for (from, to) in [(None, None), (ago(9), ago(4)), (None, ago(30))] {
                for flagged in [false, true] {
                    let query = Query {
                        who: who.to_owned(),
                        from,
                        to,
                        sign,
                        flagged,
                    };
                    let all = looked_through(&index, &query);
                    let ids = |it: &[&Entry]| it.iter().map(|it| it.id).collect::<Vec<_>>();
                    for (skip, take) in [(0, 7), (5, 7), (0, 100_000)] {
                        let found = index.find(&query, skip, take);
                        let page = all.iter().skip(skip).take(take).copied();
                        let page: Vec<_> = page.collect();
                        assert_eq!(found.total, all.len(), "{query:?}");
                        assert_eq!(ids(&found.page), ids(&page), "{query:?}");
                    }
                    some += usize::from(!all.is_empty() && all.len() < index.len());
                }
            }
        }
    }
    assert!(some > 20, "most searches say something: {some}");
}

/// A page with nothing on it says so, and does not look broken.
#[tokio::test]
async fn what_was_never_measured_is_said_to_be_nothing() {
    let site = Site::of(2, 0);
    let mut nurse = site.visitor(Role::Nurse).await;
    for (path, said) in [
        ("/residents/AR-000", ["recorded yet", "Nothing to draw"]),
        (
            "/residents/AR-000/pulse",
            ["Nothing to draw", "None in this time"],
        ),
        ("/rounds", ["No round", "recorded yet"]),
    ] {
        let (_, page) = nurse.get(path).await;
        for said in said {
            assert!(page.contains(said), "{path}: {said}: {page}");
        }
    }
}

#[tokio::test]
async fn one_is_said_as_one() {
    let site = Site::of(1, 1);
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/rounds").await;
    assert!(page.contains("readings of 1 resident<"), "{page}");
}

#[tokio::test]
async fn one_who_is_not_in_the_homes_file_is_known_from_the_record() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let mut home = made::home(4);
    made::record(&path, &home, 3);
    let left = home.residents.remove(0);
    let site = Site::on(folder, home, Store::open(&path).unwrap(), false);
    let mut nurse = site.visitor(Role::Nurse).await;
    let name = left.name.replace(' ', "+");
    let (_, found) = nurse.get(&format!("/find?who={name}")).await;
    assert!(found.contains(&left.name) && !found.contains("Nothing matches"));
    let path = format!("/residents/{}", left.id.0);
    let (_, page) = nurse.get(&path).await;
    assert!(page.contains(&left.name) && page.contains("not in the home"));
    assert!(!page.contains(&format!("{path}/range")), "to be read only");
    let (status, page) = nurse.get("/rounds/zzz/sheet").await;
    assert_eq!(status, StatusCode::NOT_FOUND);
    assert!(page.contains("There is no such round"), "{page}");
    for beside in ["pulse", "summary", "csv"] {
        let (status, text) = nurse.get(&format!("{path}/{beside}")).await;
        assert_eq!(status, StatusCode::OK, "{beside}");
        assert!(text.contains(&left.name), "{beside}");
    }
}

/// Refusals, omissions and notes are found too, and stand on the resident's page.
#[tokio::test]
async fn what_was_not_taken_and_what_was_noted_is_shown_and_found() {
    let site = Site::of(4, 3);
    let (refuser, other) = ("AR-002", "AR-003");
    let missed = |resident: &str, signs: Vec<VitalSign>, reason, days| {
        let mut out = made::Writer::join(&site.record());
        let at = made::now() - chrono::TimeDelta::days(days);
        let body = Body::NotTaken {
            resident: ResidentId(resident.to_owned()),
            signs,
            reason,
            retry_at: None,
        };
        out.put(at, &made::aide(1), Uuid::now_v7(), body);
        out.end();
    };
    missed(refuser, vec![VitalSign::Weight], NotTakenReason::Refused, 0);
    let why = NotTakenReason::Other("at a concert".to_owned());
    missed(other, Vec::new(), why, 9);
    site.station.refresh().unwrap();
    let mut nurse = site.visitor(Role::Nurse).await;
    let reading = acting::reading(&site, VitalSign::Pulse);
    let whose = {
        let index = site.station.index();
        index.resident_of(index.reading(reading).unwrap()).0.clone()
    };
    nurse
        .does(
            &format!("/residents/{refuser}/note"),
            "text=prefers+mornings",
        )
        .await;
    nurse
        .does(&format!("/readings/{reading}/note"), "text=after+a+walk")
        .await;

    let (_, page) = nurse.get(&format!("/residents/{refuser}")).await;
    let listed = page.split_once("id=\"missed\"").unwrap().1;
    assert!(
        listed.contains("Weight") && listed.contains("refused"),
        "{listed}"
    );
    assert!(listed.contains("Marcus Bell") && listed.contains("prefers mornings"));
    assert!(!listed.contains("at a concert"), "of another");
    let (_, page) = nurse.get(&format!("/residents/{whose}")).await;
    let noted = page.split_once("id=\"notes\"").unwrap().1;
    assert!(noted.contains("after a walk") && noted.contains(&format!("/readings/{reading}")));

    for (query, has, has_not) in [
        (
            "what=not-taken&who=AR-002",
            vec!["refused"],
            vec!["at a concert"],
        ),
        (
            "what=not-taken&who=AR-003",
            vec!["at a concert", "All that was due"],
            vec![],
        ),
        (
            "what=not-taken&who=AR-003&sign=pulse",
            vec!["at a concert"],
            vec![],
        ),
        (
            "what=not-taken&who=AR-002&sign=pulse",
            vec![],
            vec!["Weight</td>"],
        ),
        (
            "what=not-taken&from=2026-03-10",
            vec!["refused"],
            vec!["at a concert"],
        ),
        (
            "what=notes",
            vec!["prefers mornings", "after a walk"],
            vec![],
        ),
        (
            "what=notes&sign=pulse",
            vec!["after a walk"],
            vec!["prefers mornings"],
        ),
        (
            "what=notes&who=AR-002&to=2026-03-11",
            vec!["Nothing matches"],
            vec!["prefers"],
        ),
    ] {
        let (_, page) = nurse.get(&format!("/find?{query}")).await;
        let found = page.split_once("id=\"found\"").unwrap().1;
        for it in has {
            assert!(found.contains(it), "{query}: {it}: {found}");
        }
        for it in has_not {
            assert!(!found.contains(it), "{query}: {it}: {found}");
        }
    }
}

#[tokio::test]
async fn many_refusals_are_found_page_by_page() {
    let site = Site::of(2, 1);
    let mut out = made::Writer::join(&site.record());
    for hours in 0..60 {
        let body = Body::NotTaken {
            resident: ResidentId("AR-001".to_owned()),
            signs: vec![VitalSign::Weight],
            reason: NotTakenReason::Other(format!("reason {hours},")),
            retry_at: None,
        };
        let at = made::now() - chrono::TimeDelta::hours(hours);
        out.put(at, &made::aide(1), Uuid::now_v7(), body);
    }
    out.end();
    site.station.refresh().unwrap();
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/residents/AR-001").await;
    assert!(page.contains("The latest 12 of 6") && page.contains("reason 11,"));
    assert!(!page.contains("reason 13,"));
    let (_, first) = nurse.get("/find?what=not-taken&who=AR-001").await;
    let (_, second) = nurse.get("/find?what=not-taken&who=AR-001&page=2").await;
    assert!(first.contains("reason 0,") && !first.contains("reason 59,"));
    assert!(second.contains("reason 59,") && !second.contains("reason 0,"));
}

/// What can find nothing is told from what finds nothing.
#[tokio::test]
async fn a_search_that_can_find_nothing_says_so() {
    let site = Site::of(2, 3);
    let mut nurse = site.visitor(Role::Nurse).await;
    for (query, says) in [
        ("from=2026-03-12&to=2026-03-11", "is after the one in"),
        ("page=9", "There is no page 9."),
    ] {
        let (_, page) = nurse.get(&format!("/find?{query}")).await;
        assert!(
            page.contains(says) && !page.contains("Nothing matches"),
            "{page}"
        );
    }
}
