//! Certificates that end: whoever looks after the machines is told before, by the doctor
//! and by a station that runs for months.

use std::net::SocketAddr;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, mpsc};
use std::time::{Duration, Instant};

use chrono::{TimeDelta, Utc};
use sayback::facts::Time;
use sayback::review::accounts::Role;
use sayback::review::{Certificate, serve};
use sayback::sync::HomeLedger;

use super::postgres_server::{certificates_for, shown};
use super::site::Site;
use super::station::{ROSTER, put_roster};
use super::*;

/// What the doctor says of the certificate of a home's server that ends in so many days.
fn doctor(days: i64) -> String {
    let server = Server::certified(certificates_for(days));
    let aspen = Aspen::on(&server);
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("link.toml");
    aspen.recorder.write(&link).unwrap();
    let done = std::process::Command::new(env!("CARGO_BIN_EXE_sayback"))
        .args(["doctor", "--tablet", "--link", "link.toml"])
        .current_dir(folder.path())
        .env("SAYBACK_KEY_FILE", folder.path().join("record.key"))
        .output()
        .unwrap();
    let said = String::from_utf8(done.stdout).unwrap();
    let found = said.lines().find(|it| it.contains("the home's server"));
    found.expect(&said).to_owned()
}

#[test]
fn the_doctor_warns_before_the_certificate_of_the_homes_server_ends() {
    let said = doctor(12);
    assert!(said.starts_with("warn server "), "{said}");
    assert!(said.contains("localhost:") && said.contains(", in 11 days: make a new one"));
    let said = doctor(40);
    assert!(
        said.starts_with("ok   server ") && said.contains("valid until"),
        "{said}"
    );
}

/// Days that have gone by since the tests began.
static DAYS: AtomicI64 = AtomicI64::new(0);

fn clock() -> Time {
    Utc::now().fixed_offset() + TimeDelta::days(DAYS.load(Ordering::Relaxed))
}

async fn until(what: &str, mut done: impl AsyncFnMut() -> bool) {
    let began = Instant::now();
    while !done().await {
        assert!(began.elapsed() < Duration::from_secs(60), "never: {what}");
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_station_that_runs_for_months_looks_at_certificates_once_a_day() {
    let (_server, aspen) = tokio::task::block_in_place(|| {
        let server = Server::certified(certificates_for(60));
        let aspen = Aspen::on(&server);
        put_roster(&aspen.keeper, ROSTER);
        (server, aspen)
    });
    let folder = tempfile::tempdir().unwrap();
    let certificate = Certificate {
        chain: folder.path().join("home.pem"),
        key: folder.path().join("home.key"),
    };
    let put = |days: i64| {
        let [ca, pem, key] = certificates_for(days);
        std::fs::write(&certificate.chain, pem).unwrap();
        std::fs::write(&certificate.key, key).unwrap();
        ca
    };
    let first = put(50);
    let site = tokio::task::block_in_place(|| {
        let (ledger, home) = HomeLedger::open(&aspen.station).unwrap();
        let folder = tempfile::tempdir().unwrap();
        Site::at(folder, (home, ledger), true, (clock, None))
    });
    let (tell, told) = mpsc::channel();
    let (station, of_pages) = (Arc::clone(&site.station), certificate.clone());
    tokio::spawn(async move {
        let any = SocketAddr::from(([127, 0, 0, 1], 0));
        let ready = |at| tell.send(at).unwrap();
        serve(station, any, Some(of_pages), ready).await.unwrap();
    });
    let at = tokio::task::block_in_place(|| told.recv().unwrap());
    let people = async || {
        let mut administrator = site.visitor(Role::Administrator).await;
        administrator.get("/people").await.1
    };
    let first = tokio::task::block_in_place(|| shown(at, &first)).unwrap();
    assert!(!people().await.contains("expires on"), "both are good");

    // Three weeks on, that of the pages has 29 days left, and the server's 39.
    DAYS.store(21, Ordering::Relaxed);
    until("a word on the pages' certificate", async || {
        people().await.contains("home.pem expires on")
    })
    .await;
    let page = people().await;
    assert!(page.contains("role=\"alert\">The certificate "), "{page}");
    assert!(!page.contains("The certificate of the home"), "{page}");
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/worklist").await;
    assert!(!page.contains("expires on"), "no nurse makes certificates");

    // One that can't be used is said, and the pages go out as before.
    std::fs::write(&certificate.key, "no key").unwrap();
    DAYS.store(22, Ordering::Relaxed);
    until("that it can't be used", async || {
        people().await.contains("go out with the one before")
    })
    .await;

    // A new one is taken without a new start; the server's has 29 days left by now.
    let second = put(500);
    DAYS.store(31, Ordering::Relaxed);
    until("a word on the server's certificate", async || {
        people()
            .await
            .contains("The certificate of the home's server")
    })
    .await;
    assert!(!people().await.contains("home.pem"));
    let now = tokio::task::block_in_place(|| shown(at, &second)).unwrap();
    assert_ne!(first, now);
    tokio::task::block_in_place(|| drop(site));
}
