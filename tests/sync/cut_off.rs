//! A station that the home has cut off shows nothing of it any more, and says why; one
//! that has only lost its connection goes on showing what it has.

use std::sync::Arc;

use axum::http::StatusCode;
use sayback::review::accounts::Role;

use super::station::{after_a_round, until};
use super::*;

#[tokio::test(flavor = "multi_thread")]
async fn a_station_that_is_cut_off_puts_everything_away() {
    let (server, aspen, _, site) = tokio::task::block_in_place(after_a_round);
    let mut nurse = site.visitor(Role::Nurse).await;
    let mut administrator = site.visitor(Role::Administrator).await;
    let id = site.station.index().open_reports().next().unwrap().reading;
    let pages = ["/worklist", "/residents", "/rounds", "/find", "/here", "/"];
    let reading = format!("/readings/{id}");
    let keeping_up = tokio::spawn(Arc::clone(&site.station).keep_up(None));

    // A lost connection is no revocation.
    tokio::task::block_in_place(|| server.down());
    until(|| site.station.away().is_some()).await;
    let (status, page) = nurse.get("/worklist").await;
    assert_eq!(status, StatusCode::OK);
    assert!(page.contains("Rosa Delgado"), "{page}");
    tokio::task::block_in_place(|| server.up());
    until(|| site.station.away().is_none()).await;

    // Marked alone, on a connection that nobody ends: no statement of it fails.
    let mark = |what: &'static str| {
        tokio::task::block_in_place(|| {
            let mut superuser = server.superuser(&aspen.database).unwrap();
            let mark = format!("UPDATE sayback.member SET revoked_at = {what} WHERE role = $1");
            superuser.execute(&mark, &[&aspen.station.role]).unwrap();
        });
    };
    mark("now()");
    until(|| site.station.cut_off().is_some()).await;
    assert!(site.station.index().is_empty(), "nor is it in memory");
    assert!(site.station.index().home().residents.is_empty());
    for path in pages.iter().copied().chain([reading.as_str()]) {
        let (status, page) = nurse.get(path).await;
        assert_eq!(status, StatusCode::GONE, "{path}");
        assert!(page.contains("the home refuses this link"), "{page}");
        assert!(page.contains("makes a new link file"), "{page}");
        for name in ["Rosa", "Delgado", "130", "Edith"] {
            assert!(!page.contains(name), "{path}: {page}");
        }
    }
    let answer = nurse.post(&format!("{reading}/note"), "text=seen").await;
    assert_eq!(answer.status(), StatusCode::GONE);
    assert_eq!(administrator.get("/log").await.0, StatusCode::OK);
    // It was a mistake, and all comes back by itself.
    mark("NULL");
    until(|| site.station.away().is_none()).await;
    let (status, page) = nurse.get("/worklist").await;
    assert_eq!(status, StatusCode::OK);
    assert!(
        page.contains("Rosa Delgado") && page.contains("130"),
        "{page}"
    );

    // As a keeper does it.
    tokio::task::block_in_place(|| open(&aspen.keeper).revoke("the desk").unwrap());
    until(|| site.station.cut_off().is_some()).await;
    let (status, page) = nurse.get(&reading).await;
    assert_eq!(status, StatusCode::GONE);
    assert!(!page.contains("Delgado"), "{page}");
    assert!(site.station.index().is_empty());
    nurse.does("/sign-out", "").await;
    keeping_up.abort();
}
