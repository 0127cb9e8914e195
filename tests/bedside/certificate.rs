//! The certificate of a screen that is open for months.

use std::net::SocketAddr;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{Duration, Instant};

use chrono::{TimeDelta, Utc};
use sayback::bedside::{Place, open};
use sayback::facts::Time;
use sayback::review::Certificate;

use super::certified::{certificates_for, shown};
use super::rig::dialogue;

/// Days that have gone by since the test began.
static DAYS: AtomicI64 = AtomicI64::new(0);

fn clock() -> Time {
    Utc::now().fixed_offset() + TimeDelta::days(DAYS.load(Ordering::Relaxed))
}

#[test]
fn a_renewed_certificate_is_taken_within_a_day_and_without_a_new_start() {
    let folder = tempfile::tempdir().unwrap();
    let certificate = Certificate {
        chain: folder.path().join("home.pem"),
        key: folder.path().join("home.key"),
    };
    let put = || {
        let [ca, pem, key] = certificates_for(50);
        std::fs::write(&certificate.chain, pem).unwrap();
        std::fs::write(&certificate.key, key).unwrap();
        ca
    };
    let first = put();
    let place = Place {
        certificate: Some(certificate.clone()),
        clock,
        ..Place::at(SocketAddr::from(([127, 0, 0, 1], 0)))
    };
    let (_screen, _given, url) = open(place, &dialogue(), clock(), None).unwrap();
    let at = url.trim_start_matches("https://").trim_end_matches('/');
    let at: SocketAddr = at.parse().unwrap();
    let before = shown(at, &first);
    assert!(before.is_some());

    // While the same day lasts the one that was read at the start goes out.
    let second = put();
    std::thread::sleep(Duration::from_millis(2_500));
    assert_eq!(shown(at, &first), before);

    // A key that is of another is left alone.
    std::fs::write(&certificate.key, "no key").unwrap();
    DAYS.store(1, Ordering::Relaxed);
    std::thread::sleep(Duration::from_millis(2_500));
    assert_eq!(shown(at, &first), before);

    let third = put();
    assert_ne!(second, third);
    DAYS.store(2, Ordering::Relaxed);
    let began = Instant::now();
    while shown(at, &third).is_none() {
        assert!(began.elapsed() < Duration::from_secs(60), "never taken");
        std::thread::sleep(Duration::from_millis(200));
    }
}
