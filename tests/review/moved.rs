//! A reading that was stored with the wrong resident, moved to the right one by a nurse.

use axum::http::StatusCode;
use sayback::facts::{Body, Fact, MovedFrom, Record};
use sayback::hearing::By;
use sayback::residents::ResidentId;
use sayback::review::accounts::Role;
use sayback::store::Store;
use sayback::vitals::VitalSign;
use uuid::Uuid;

use super::by_hand::encoded;
use super::made;
use super::site::{Site, Visitor, text};

/// A fast pulse of room one, bed one, that a nurse was not told of yet.
const FAST: [&str; 4] = ["room one bed one", "yes", "pulse one thirty", "yes"];

fn read(site: &Site) -> Vec<Fact> {
    let mut all = site.facts();
    all.retain(|it| matches!(it.body, Body::Read(_)));
    all
}

/// Shows the move and says yes to it, with `more` fields.
pub async fn moves(
    nurse: &mut Visitor<'_>,
    id: Uuid,
    to: &str,
    more: &str,
) -> (StatusCode, String) {
    let path = format!("/readings/{id}/move");
    let (status, page) = nurse.get(&format!("{path}?seen=0&to={to}")).await;
    assert_eq!(status, StatusCode::OK, "{page}");
    let (_, rest) = page.split_once("name=\"shown\" value=\"").expect(&page);
    let shown = encoded(rest.split('"').next().unwrap());
    let fields = format!("seen=0&to={to}&shown={shown}{more}");
    let answer = nurse.post(&path, &fields).await;
    (answer.status(), text(answer).await)
}

#[tokio::test]
async fn it_is_retracted_with_the_one_and_stored_with_the_other() {
    let site = Site::after(&FAST);
    let wrong = read(&site)[0].clone();
    let before = site.facts().len();
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get(&format!("/readings/{}", wrong.id)).await;
    assert!(
        page.contains("Wrong resident") && page.contains("Walter"),
        "{page}"
    );
    assert!(
        !page.contains("<option value=\"AR-000\""),
        "not to where it is: {page}"
    );
    let (_, page) = nurse
        .get(&format!("/readings/{}/move?seen=0&to=AR-001", wrong.id))
        .await;
    for part in [
        "Moved from",
        "Edith Hollin",
        "Moved to",
        "Walter",
        "born May 2, 1931",
        "130\u{a0}/min",
        "open report: pulse",
        "Nothing is stored yet.",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert_eq!(site.facts().len(), before, "the first page stores nothing");
    let (status, page) = moves(&mut nurse, wrong.id, "AR-001", "").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    let new = &site.facts()[before..];
    let kind = |it: &Fact| {
        serde_json::to_value(it).unwrap()["kind"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    let kinds: Vec<String> = new.iter().map(kind).collect();
    assert_eq!(
        kinds,
        ["offered", "retracted", "withdrawn", "read", "flagged"]
    );
    let all = read(&site);
    let (Body::Read(was), Body::Read(is)) = (&all[0].body, &all[1].body) else {
        unreachable!()
    };
    let right = &all[1];
    assert_eq!(is.resident.0, "AR-001");
    let from = is.moved_from.clone().unwrap();
    assert_eq!(
        (from.resident.0.as_str(), from.reading),
        ("AR-000", wrong.id)
    );
    assert!(is.by_nurse && is.by_hand.is_none() && is.confirmed_by == By::Touch);
    assert_eq!((is.measured_at, &is.heard), (was.measured_at, &was.heard));
    assert_eq!((right.round, &right.by), (wrong.round, &made::nurse()));
    let reasons = new.iter().filter_map(|it| match &it.body {
        Body::Retracted {
            reason, resident, ..
        } => Some((reason.as_str(), resident.0.as_str())),
        _ => None,
    });
    let reasons: Vec<_> = reasons.collect();
    assert_eq!(reasons, [(MovedFrom::WHY, "AR-000")]);
    let record = Store::open(&site.record()).unwrap();
    assert!(record.check(&[]).unwrap().sound());
}

#[tokio::test]
async fn both_pages_and_both_charts_say_so() {
    let site = Site::after(&FAST);
    let wrong = read(&site)[0].clone();
    let mut nurse = site.visitor(Role::Nurse).await;
    let (status, page) = moves(&mut nurse, wrong.id, "AR-001", "").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    let right = read(&site)[1].clone();
    let (_, page) = nurse.get(&format!("/readings/{}", wrong.id)).await;
    for part in [
        "no longer counts",
        "To the record of",
        &format!("/readings/{}", right.id),
        "withdrawn by Ines Marlow",
    ] {
        assert!(
            page.to_lowercase().contains(&part.to_lowercase()),
            "{part}: {page}"
        );
    }
    let (_, page) = nurse.get(&format!("/readings/{}", right.id)).await;
    for part in [
        "moved from that record",
        "by Ines Marlow",
        "first stored by Dana Whitlock",
        "Edith Hollin",
        "yes, at the station",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    // The same on a recorder: one counts, with one report.
    let known = Record::of(&site.facts());
    let open: Vec<_> = known
        .open_reports()
        .map(|it| it.resident.0.clone())
        .collect();
    assert_eq!(open, ["AR-001"]);
    let last = |id: &str| {
        known
            .last(&ResidentId(id.to_owned()), VitalSign::Pulse)
            .map(|it| it.id)
    };
    assert_eq!((last("AR-000"), last("AR-001")), (None, Some(right.id)));
    // Neither chart names the other resident.
    for (of, other) in [("AR-000", "AR-001"), ("AR-001", "AR-000")] {
        for what in ["csv", "fhir", "summary"] {
            let (_, file) = nurse.get(&format!("/residents/{of}/{what}")).await;
            assert!(
                file.contains("moved") && !file.contains(other),
                "{of} {what}: {file}"
            );
        }
    }
}

#[tokio::test]
async fn a_round_is_not_made_longer_by_it() {
    let mut words = FAST.to_vec();
    words.extend(["reported to nurse marlow", "yes", "end of round"]);
    let site = Site::after(&words);
    let wrong = read(&site)[0].clone();
    let round = || site.station.index().round(wrong.round).unwrap().clone();
    let before = round();
    let mut nurse = site.visitor(Role::Nurse).await;
    assert_eq!(
        moves(&mut nurse, wrong.id, "AR-001", "").await.0,
        StatusCode::SEE_OTHER
    );
    let after = round();
    assert_eq!(
        (after.last, after.closed, after.readings),
        (before.last, before.closed, 2)
    );
    let (_, page) = nurse.get(&format!("/rounds/{}", wrong.round)).await;
    assert!(
        page.contains("retracted") && page.contains("Walter"),
        "{page}"
    );
}

#[tokio::test]
async fn bad_input_moves_nothing_and_says_why() {
    let site = Site::after(&FAST);
    let id = read(&site)[0].id;
    let before = site.facts().len();
    let mut nurse = site.visitor(Role::Nurse).await;
    let path = format!("/readings/{id}/move");
    let cases = [
        ("seen=0&to=", "Choose the right resident."),
        ("seen=0&to=AR-999", "There is no such resident"),
        ("seen=0&to=AR-000", "stored already"),
        ("seen=7&to=AR-001", "meanwhile"),
        ("seen=0&to=AR-001", "is not what was shown"),
        (
            "seen=0&to=AR-001&shown=Pulse+one+three+one.",
            "is not what was shown",
        ),
    ];
    for (fields, why) in cases {
        let answer = nurse.post(&path, fields).await;
        assert_eq!(
            answer.status(),
            StatusCode::UNPROCESSABLE_ENTITY,
            "{fields}"
        );
        let page = text(answer).await;
        assert!(
            page.contains("Nothing was stored.") && page.contains(why),
            "{fields}: {page}"
        );
    }
    let (status, _) = nurse
        .get(&format!("/readings/{}/move?to=AR-001", Uuid::nil()))
        .await;
    assert_eq!(status, StatusCode::NOT_FOUND);
    assert_eq!(site.facts().len(), before);
    // Moved once, it can't be moved again from there.
    assert_eq!(
        moves(&mut nurse, id, "AR-001", "").await.0,
        StatusCode::SEE_OTHER
    );
    let answer = nurse.post(&path, "seen=1&to=AR-002").await;
    assert!(text(answer).await.contains("was retracted"));
}

#[tokio::test]
async fn one_far_from_the_usual_is_looked_at_again() {
    let site = Site::after(&[
        "room one bed one",
        "yes",
        "pulse one eight eight",
        "yes",
        "yes",
    ]);
    let id = read(&site)[0].id;
    let mut nurse = site.visitor(Role::Nurse).await;
    let (status, page) = moves(&mut nurse, id, "AR-001", "").await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        page.contains("far from the usual") && page.contains("name=\"looked_again\""),
        "{page}"
    );
    assert_eq!(
        moves(&mut nurse, id, "AR-001", "&looked_again=on").await.0,
        StatusCode::SEE_OTHER
    );
}
