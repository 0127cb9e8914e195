//! The certificate of the pages: who starts with one that browsers refuse is told, and the
//! doctor looks at it.

use std::io::{BufRead as _, BufReader, Read as _};
use std::process::Stdio;
use std::time::Duration;

use chrono::{Datelike as _, NaiveDate, TimeDelta, Utc};
use rcgen::{CertificateParams, CertifiedIssuer, KeyPair, date_time_ymd};

use super::{HOME, Place};

/// A certificate from midnight UTC of one day to that of another, from an authority.
fn certificate(place: &Place, from: NaiveDate, until: NaiveDate) -> [String; 2] {
    let day = |it: NaiveDate| {
        let (month, day) = (it.month(), it.day());
        let small = |it: u32| u8::try_from(it).unwrap();
        date_time_ymd(it.year(), small(month), small(day))
    };
    let authority = CertificateParams::new(Vec::new()).unwrap();
    let authority = CertifiedIssuer::self_signed(authority, KeyPair::generate().unwrap()).unwrap();
    let key = KeyPair::generate().unwrap();
    let mut made = CertificateParams::new(vec!["localhost".to_owned()]).unwrap();
    (made.not_before, made.not_after) = (day(from), day(until));
    let made = made.signed_by(&key, &authority).unwrap();
    let (pem, key_file) = (place.name("home.pem"), place.name("home.key"));
    // What comes after it in the chain counts too, and is good.
    std::fs::write(&pem, made.pem() + &authority.pem()).unwrap();
    std::fs::write(&key_file, key.serialize_pem()).unwrap();
    [pem, key_file]
}

/// What `serve` says on standard error until it serves.
fn serves(place: &Place, tls: &[&str]) -> String {
    let (store, home) = (place.name("record.db"), HOME);
    let all = ["serve", "--listen", "127.0.0.1:0", "--home", home];
    let all = [&all[..], &["--store", &store], tls].concat();
    let mut command = place.command(&all);
    command.stdout(Stdio::piped()).stderr(Stdio::piped());
    command.env("SAYBACK_LOG", "warn");
    let mut child = command.spawn().unwrap();
    let lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let served = lines
        .map_while(Result::ok)
        .any(|it| it.contains("https://"));
    // Time for a look at the certificate, which is the first thing that it does then.
    std::thread::sleep(Duration::from_millis(700));
    child.kill().unwrap();
    let mut said = String::new();
    let mut stderr = child.stderr.take().unwrap();
    stderr.read_to_string(&mut said).unwrap();
    child.wait().unwrap();
    assert!(served, "{said}");
    said
}

#[test]
fn a_certificate_that_browsers_refuse_is_said_at_the_start_and_by_the_doctor() {
    let place = Place::new();
    let today = Utc::now().date_naive();
    let days = |it: i64| today + TimeDelta::days(it);
    for (from, until, outcome, said) in [
        (-400, -1, "fail", "has expired, on "),
        (2, 400, "fail", "is not valid before "),
        (-400, 12, "warn", ", in 11 days: make a new one"),
        (-400, 1, "warn", ", within a day: make a new one"),
        (-400, 40, "ok", "valid until "),
    ] {
        let [pem, key] = certificate(&place, days(from), days(until));
        let tls = ["--tls-cert", &pem, "--tls-key", &key];
        let all = ["doctor", "--store", &place.name("record.db")];
        let found = place.sayback(&[&all[..], &tls].concat());
        let line = found.out.lines().find(|it| it.contains("certificate"));
        let line = line.expect(&found.out);
        assert!(
            line.starts_with(outcome) && line.contains(said) && line.contains("home.pem"),
            "{line}"
        );
        if outcome == "fail" {
            assert_eq!(found.code, 4, "{}", found.out);
        }
        let warned = serves(&place, &tls);
        let wanted = outcome != "ok";
        assert_eq!(
            warned.contains("WARNING: the certificate"),
            wanted,
            "{warned}"
        );
        // Said once, though the log warns too.
        assert_eq!(
            warned.matches(said).count(),
            usize::from(wanted),
            "{warned}"
        );
    }
    // With the key of another it can't be used at all.
    let [pem, key] = certificate(&place, days(-1), days(400));
    let other = KeyPair::generate().unwrap().serialize_pem();
    std::fs::write(&key, other).unwrap();
    let all = ["doctor", "--store", &place.name("record.db")];
    let found = place.sayback(&[&all[..], &["--tls-cert", &pem, "--tls-key", &key]].concat());
    let line = found.out.lines().find(|it| it.contains("certificate"));
    assert!(line.expect(&found.out).starts_with("fail"), "{line:?}");
}
