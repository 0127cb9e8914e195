//! The record of a recorder that is linked to a home: the home would refuse what
//! nurses do here, so the station does, at once.

use axum::http::StatusCode;
use sayback::review::Station;
use sayback::review::accounts::{Accounts, Role};
use sayback::review::acts::{Acting, acknowledge};
use sayback::store::{RawFact, Store};
use sayback::vitals::VitalSign;

use super::acting::{PRESSURE, reading, refused};
use super::made;
use super::site::{Site, Visitor, text};

const WHY: &str = "linked to the home\u{2019}s database";

/// Every act there is, on what the made-up record holds.
fn acts(site: &Site) -> [(String, String); 7] {
    let id = reading(site, VitalSign::BloodPressure);
    let index = site.station.index();
    let rounds = index.rounds().filter(|it| it.closed.is_some());
    let mut unsigned = rounds.filter(|it| index.open_of_round(it.id).next().is_none());
    let round = unsigned.next().unwrap().id;
    let correction = format!("seen=0&value=131&over=77&{PRESSURE}&reason=read+off+wrong");
    let resident = |what: &str| format!("/residents/AR-001/{what}");
    [
        (format!("/readings/{id}/correct"), correction),
        (
            format!("/readings/{id}/retract"),
            "seen=0&reason=wrong+one".into(),
        ),
        (format!("/readings/{id}/note"), "text=looked+at".into()),
        (resident("note"), "text=looked+at".into()),
        (resident("range"), "of=systolic&low=105&high=155".into()),
        (resident("recheck"), "sign=pulse&reason=please+look".into()),
        (format!("/rounds/{round}/sign"), String::new()),
    ]
}

async fn only_shows(site: &Site, nurse: &mut Visitor<'_>) {
    let before = site.facts().len();
    for (path, fields) in acts(site) {
        refused(nurse, &path, &fields, WHY).await;
        let (page, _) = path.rsplit_once('/').unwrap();
        let (status, page) = nurse.get(page).await;
        assert_eq!(status, StatusCode::OK, "{path}");
        let forms = page.matches("method=\"post\"").count();
        assert_eq!(forms, 1, "nothing but to sign out: {path}");
        assert!(page.contains(WHY), "{path}");
    }
    let flag = site.station.index().open_reports().next().unwrap().id;
    let path = format!("/reports/{flag}/acknowledge");
    let answer = nurse.post(&path, "back=/worklist").await;
    assert_eq!(answer.status(), StatusCode::CONFLICT);
    assert!(text(answer).await.contains(WHY));
    let (_, list) = nurse.get("/worklist").await;
    assert!(list.contains(WHY) && !list.contains("/acknowledge"));
    assert_eq!(site.facts().len(), before);
}

/// It is known by the file beside the record, also when that comes while the
/// station runs, before anything else is noticed; and reading goes on.
#[tokio::test]
async fn nothing_is_done_on_a_linked_recorders_record_and_it_is_said() {
    let site = Site::of(30, 3);
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, list) = nurse.get("/worklist").await;
    assert!(!list.contains(WHY) && list.contains("/acknowledge"));
    std::fs::write(site.record().with_file_name("record.link.json"), "{}").unwrap();
    let mut changes = site.station.changes();
    changes.mark_unchanged();
    let (path, fields) = &acts(&site)[0];
    refused(&mut nurse, path, fields, WHY).await;
    assert!(changes.has_changed().unwrap(), "open pages are told");
    only_shows(&site, &mut nurse).await;
    let id = reading(&site, VitalSign::Pulse);
    let round = site.station.index().reading(id).unwrap().round;
    let (_, page) = nurse.get(&format!("/rounds/{round}")).await;
    assert!(page.contains("Readings as CSV"), "taking along is no act");
    let mut aide = site.visitor(Role::Aide).await;
    let (_, list) = aide.get("/worklist").await;
    assert!(!list.contains(WHY), "an aide does none of it anyway");
}

/// A record that was put back elsewhere has no such file, but what came is in it.
#[tokio::test]
async fn what_came_from_a_home_tells_too() {
    let site = Site::of(30, 3);
    let mut nurse = site.visitor(Role::Nurse).await;
    let mut came = site.facts().pop().unwrap();
    came.id = uuid::Uuid::now_v7();
    let text = serde_json::to_string(&came).unwrap();
    let mut store = Store::open(&site.record()).unwrap();
    let fact = RawFact { id: came.id, text };
    assert_eq!(store.append_fetched(&[fact]).unwrap(), 1);
    site.station.refresh().unwrap();
    only_shows(&site, &mut nurse).await;
}

/// A home may give its database up.
#[test]
fn nurses_act_again_where_it_is_said_to_be_linked_no_more() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let home = made::home(30);
    made::record(&path, &home, 3);
    std::fs::write(folder.path().join("record.link.json"), "{}").unwrap();
    let (accounts, _) = Accounts::in_memory().unwrap();
    let store = Store::open(&path).unwrap();
    let station = Station::new(home, store, accounts, made::now, false).unwrap();
    let who = Acting {
        by: made::nurse(),
        at: made::now(),
    };
    let flag = station.index().open_reports().next().unwrap().id;
    let act = |it: &Station| it.act(|index| acknowledge(index, flag, &who));
    assert!(station.linked() && act(&station).is_err());
    let station = station.no_longer_linked();
    station.refresh().unwrap();
    assert!(!station.linked());
    assert_eq!(act(&station), Ok(()));
}

/// What another's newer version recorded is left out of a nurse's pages and files,
/// and that is said there.
#[tokio::test]
async fn what_came_and_cannot_be_read_is_said_on_what_is_taken_along() {
    let site = Site::new();
    let id = reading(&site, VitalSign::Pulse);
    let facts = site.facts();
    let read = facts.iter().find(|it| it.id == id).unwrap();
    let mut newer = serde_json::to_value(read).unwrap();
    let id = uuid::Uuid::now_v7();
    newer["id"] = id.to_string().into();
    newer["kind"] = "struck_out".into();
    let resident = newer["resident"].as_str().unwrap().to_owned();
    let text = newer.to_string();
    let mut store = Store::open(&site.record()).unwrap();
    store.append_fetched(&[RawFact { id, text }]).unwrap();
    let mut nurse = site.visitor(Role::Nurse).await;
    for (what, said) in [
        (
            format!("rounds/{}/sheet", read.round),
            "corrected or retracted",
        ),
        (
            format!("residents/{resident}/summary"),
            "corrected or retracted",
        ),
        (format!("residents/{resident}/csv"), "unreadable"),
        (format!("residents/{resident}/fhir"), "OperationOutcome"),
    ] {
        let (status, page) = nurse.get(&format!("/{what}")).await;
        assert_eq!(status, StatusCode::OK, "{what}: {page}");
        assert!(page.contains(said), "{what}: {page}");
    }
}
