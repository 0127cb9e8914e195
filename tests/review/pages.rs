//! Each page for each role in a real browser, by light, by dark, and on a small
//! screen, each checked by axe-core too. With `SAYBACK_PICTURES` set to a folder,
//! every page is pictured there, to be looked at.

use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use sayback::facts::Body;
use sayback::residents::ResidentId;
use sayback::review::accounts::Role;
use sayback::review::{Certificate, MOST_CONNECTIONS, serve};

use super::browser::{Browser, DESK, HAND, Look, NIGHT};
use super::crowd::takes_every_place;
use super::made;
use super::open::{Open, in_order};
use super::site::Site;

/// The longest that a connection may stay open without a request, and some more.
const WAIT: Duration = Duration::from_secs(40);

fn all_pages(role: Role, look: Look, name: &str) {
    let days = if role == Role::Administrator { 2 } else { 200 };
    let open = Open::new(12, days);
    let browser = open.visit(role, look);
    let reading = open.fact(|it| {
        matches!(it, Body::Read(it) if it.measurement.sign() == sayback::vitals::VitalSign::BloodPressure)
    });
    let flagged = open.fact(|it| matches!(it, Body::Flagged { .. }));
    let flagged = open.site.station.index().flag(flagged).unwrap().reading;
    let round = open.site.facts().last().unwrap().round;
    let pages = match role {
        Role::Administrator => vec![
            ("people", "/people".to_owned()),
            ("log", "/log".into()),
            ("password", "/password".into()),
        ],
        _ => vec![
            ("worklist", "/worklist".to_owned()),
            ("residents", "/residents".into()),
            ("resident", "/residents/AR-001".into()),
            ("years", "/residents/AR-001?days=1095".into()),
            (
                "pressure",
                "/residents/AR-001/blood_pressure?days=30".into(),
            ),
            (
                "pressure-180",
                "/residents/AR-001/blood_pressure?days=180".into(),
            ),
            ("weight", "/residents/AR-001/weight?days=180".into()),
            ("reading", format!("/readings/{reading}")),
            ("flagged", format!("/readings/{flagged}")),
            ("rounds", "/rounds".into()),
            ("rounds-older", format!("/rounds?before={round}")),
            ("round", format!("/rounds/{round}")),
            ("find", "/find?who=hollin&flagged=on".into()),
            ("find-not-taken", "/find?what=not-taken".into()),
            ("idle", "/idle".into()),
        ],
    };
    for (page, path) in pages {
        browser.go(&open.address(&path));
        in_order(&browser, page);
        let acting =
            browser.run("return document.querySelectorAll('main form[method=post]').length");
        let acting = acting.as_u64().unwrap();
        if role == Role::Aide {
            assert_eq!(acting, 0, "an aide is offered nothing to do on {page}");
        }
        browser.pictured(&format!("{name}-{page}"));
        let folded = "const all = [...document.querySelectorAll('main details')];
             all.forEach(it => it.open = true); return all.length > 0";
        if acting > 0 && browser.run(folded) == true {
            in_order(&browser, page);
            browser.pictured(&format!("{name}-{page}-open"));
        }
    }
}

#[test]
fn a_nurse_by_day() {
    all_pages(Role::Nurse, DESK, "nurse");
}

#[test]
fn a_nurse_by_night() {
    all_pages(Role::Nurse, NIGHT, "night");
}

#[test]
fn an_aide_with_a_small_screen() {
    all_pages(Role::Aide, HAND, "aide");
}

#[test]
fn a_nurse_with_a_small_screen() {
    all_pages(Role::Nurse, HAND, "nurse-hand");
}

#[test]
fn an_administrator() {
    all_pages(Role::Administrator, DESK, "admin");
}

#[test]
fn an_administrator_with_a_small_screen() {
    all_pages(Role::Administrator, HAND, "admin-hand");
}

/// A browser has six connections to a station, and keeps pages that were left.
#[test]
fn pages_that_nobody_sees_keep_none_from_coming() {
    let open = Open::new(4, 10);
    let browser = open.visit(Role::Nurse, DESK);
    let look = |days: u64| {
        let started = Instant::now();
        browser.go(&open.address(&format!("/residents/AR-001?days={days}")));
        let took = started.elapsed();
        assert!(took < Duration::from_secs(10), "{days}: {took:?}");
    };
    (10..20).for_each(look);
    for days in 20..30 {
        browser.another_tab();
        look(days);
    }
}

/// What is to be printed is looked at before, also on a phone.
#[test]
fn what_is_printed_fits_a_small_screen() {
    let open = Open::new(6, 30);
    let browser = open.visit(Role::Nurse, HAND);
    let round = open.site.facts().last().unwrap().round;
    for (page, path) in [
        ("sheet", format!("/rounds/{round}/sheet")),
        ("summary", "/residents/AR-001/summary".to_owned()),
    ] {
        browser.go(&open.address(&path));
        let wide = browser.run("return document.documentElement.scrollWidth");
        assert_eq!(wide, 390, "{page} is wider than the screen");
        browser.pictured(&format!("nurse-hand-{page}"));
    }
}

#[test]
fn a_nurse_corrects_a_reading() {
    let open = Open::new(4, 10);
    let browser = open.visit(Role::Nurse, DESK);
    let reading = open.fact(|it| {
        matches!(it, Body::Read(it) if it.measurement.sign() == sayback::vitals::VitalSign::BloodPressure)
    });
    browser.go(&open.address(&format!("/readings/{reading}")));
    // From the head of the page to the forms by key: past what lies between.
    browser.run("document.querySelector('.to-act').focus()");
    browser.press("\u{e007}");
    browser.press("\u{e004}");
    let there = browser.run("return document.activeElement.innerText");
    assert_eq!(there, "Correct");
    browser.press("\u{e007}");
    browser.fill("[name=value]", "70");
    browser.fill("[name=over]", "120");
    browser.fill("form[action$=correct] [name=reason]", "misread");
    browser.click("form[action$=correct] button");
    browser.wait(|it| {
        it.text("details .problem")
            .contains("must be more than diastolic")
    });
    let there = browser.run("return document.activeElement.name");
    assert_eq!(there, "value", "what is wrong can be typed on at once");
    in_order(&browser, "refused");
    browser.pictured("nurse-refused");
    browser.fill("[name=value]", "133");
    browser.fill("[name=over]", "71");
    browser.click("form[action$=correct] button");
    browser.wait(|it| it.text(".told").contains("The correction is recorded"));
    assert!(browser.text("h1").contains("133/71"));
    in_order(&browser, "corrected");
    browser.pictured("nurse-corrected");
}

#[test]
fn the_worklist_is_live_and_walked_by_key() {
    let open = Open::new(30, 3);
    let browser = open.visit(Role::Nurse, DESK);
    browser.wait(|it| it.text("#live-state").contains("live"));
    let count = |it: &Browser| it.text("#reports .count").parse().unwrap_or(0);
    let before: usize = count(&browser);
    assert!(before > 0);
    browser.press("j");
    browser.press("j");
    let focused = browser.run("return document.activeElement.matches('.item a.name')");
    assert_eq!(focused, true);
    let flag = open
        .site
        .station
        .index()
        .open_reports()
        .last()
        .unwrap()
        .clone();
    let mut other = made::Writer::join(&open.site.record());
    other.put(
        made::now(),
        &made::aide(0),
        flag.round,
        Body::ReportedToNurse {
            resident: flag.resident,
            flags: vec![flag.id],
            to: "Ines Marlow".into(),
            read_back: String::new(),
        },
    );
    other.put(
        made::now(),
        &made::aide(0),
        flag.round,
        Body::RecheckAsked {
            resident: ResidentId("AR-005".into()),
            sign: sayback::vitals::VitalSign::Pulse,
            reason: "came in live".into(),
        },
    );
    other.end();
    browser.wait(|it| it.text("#live").contains("came in live"));
    assert_eq!(count(&browser), before - 1);
    let focused = browser.run("return document.activeElement.matches('.item a.name')");
    assert_eq!(focused, true, "the focus stays");
    in_order(&browser, "live");
    browser.pictured("nurse-live");
    browser.go(&open.address("/residents/AR-005"));
    in_order(&browser, "recheck");
    browser.pictured("nurse-recheck");
    browser.click("form[action$='recheck/withdraw'] button");
    browser.wait(|it| it.text(".told").contains("The recheck is withdrawn"));
    in_order(&browser, "recheck withdrawn");
}

#[test]
fn someone_new_signs_in_with_a_code() {
    let open = Open::new(4, 3);
    let browser = open.visit(Role::Administrator, DESK);
    browser.fill("[name=login]", "pquist");
    browser.fill("[name=name]", "Peter Quist");
    browser.fill("[name=title]", "licensed practical nurse");
    browser.fill("[name=role]", "nurse");
    browser.click("form.grid button.main");
    browser.wait(|it| !it.text(".code").is_empty());
    let code = browser.text(".code");
    in_order(&browser, "code");
    browser.pictured("admin-code");
    browser.click(".who button");
    browser.wait(|it| it.address().contains("sign-in"));
    browser.fill("[name=login]", "pquist");
    browser.fill("[name=password]", "wrong");
    browser.click("button.main");
    browser.wait(|it| !it.text(".problem").is_empty());
    in_order(&browser, "wrong");
    browser.pictured("sign-in");
    let typed =
        "return [document.querySelector('[name=login]').value, document.activeElement.name]";
    assert_eq!(
        browser.run(typed),
        serde_json::json!(["pquist", "password"])
    );
    browser.fill("[name=login]", "pquist");
    browser.fill("[name=password]", &code);
    browser.click("button.main");
    browser.wait(|it| it.address().contains("/password"));
    in_order(&browser, "choose");
    browser.fill("[name=password]", "seven slow herons");
    browser.fill("[name=again]", "seven slow herons");
    browser.click("button.main");
    browser.wait(|it| it.address().contains("/worklist"));
}

/// A certificate that nobody but its maker vouches for, as a home would make.
fn certificate(folder: &Path) -> Certificate {
    let made = rcgen::generate_simple_self_signed(["localhost".to_owned()]).unwrap();
    let certificate = Certificate {
        chain: folder.join("station.pem"),
        key: folder.join("station.key"),
    };
    std::fs::write(&certificate.chain, made.cert.pem()).unwrap();
    std::fs::write(&certificate.key, made.signing_key.serialize_pem()).unwrap();
    certificate
}

#[test]
fn over_tls_the_cookie_is_bound_to_the_station() {
    let site = Site::secure();
    let certificate = certificate(site.folder.path());
    let open = Open::serve(site, Some(certificate));
    let browser = open.visit(Role::Nurse, DESK);
    in_order(&browser, "worklist over TLS");
    let cookies = browser.cookies();
    let session = cookies.iter().find(|it| it["name"] == "__Host-sayback");
    let session = session.expect("a cookie that no other site can set");
    assert_eq!(session["secure"], true);
    assert_eq!(session["httpOnly"], true);
    assert_eq!(session["sameSite"], "Strict");
    let seen = browser.run("return document.cookie");
    assert_eq!(seen, "", "no script sees a cookie");
}

/// Who sends nothing, or half of something, does not hold a connection for ever.
#[test]
fn who_is_slow_is_not_waited_for() {
    let open = Open::new(1, 0);
    let half = "POST /sign-in HTTP/1.1\r\nHost: it\r\nContent-Length: 90\r\n\r\nlogin=";
    let then_nothing = "GET /style.css HTTP/1.1\r\nHost: it\r\n\r\n";
    let begun = "GET / HTTP/1.1\r\nHost: it\r\n";
    let sent = ["", "GET / HTT", begun, half, then_nothing];
    let mut all = sent.map(|it| {
        let mut stream = TcpStream::connect(open.at).unwrap();
        stream.set_read_timeout(Some(WAIT)).unwrap();
        stream.write_all(it.as_bytes()).unwrap();
        stream
    });
    for (stream, sent) in all.iter_mut().zip(sent) {
        let mut answer = String::new();
        let ended = stream.read_to_string(&mut answer);
        assert!(ended.is_ok(), "{sent:?} is waited for: {ended:?}");
        assert_eq!(
            answer.contains("did not come whole"),
            sent == half,
            "{answer}"
        );
    }
}

#[test]
fn who_finds_no_place_is_refused() {
    takes_every_place(Open::new(1, 0).at);
}

/// A place is taken before hands are shaken. Who comes at once is let in by no order.
#[test]
fn who_finds_no_place_over_tls_is_refused() {
    let site = Site::secure();
    let certificate = certificate(site.folder.path());
    let open = Open::serve(site, Some(certificate));
    let all: Vec<_> = (0..=MOST_CONNECTIONS)
        .map(|_| {
            let stream = TcpStream::connect(open.at).unwrap();
            stream.set_nonblocking(true).unwrap();
            stream
        })
        .collect();
    let is_ended = |mut it: &TcpStream| it.read(&mut [0]).is_ok_and(|it| it == 0);
    // Before they have been waited for in vain.
    let until = Instant::now() + Duration::from_secs(8);
    while !all.iter().any(is_ended) {
        assert!(Instant::now() < until, "one too many is let in");
        std::thread::sleep(Duration::from_millis(20));
    }
    assert_eq!(all.iter().filter(|it| is_ended(it)).count(), 1);
}

#[tokio::test]
async fn a_certificate_that_is_none_is_named() {
    let site = Site::secure();
    let certificate = certificate(site.folder.path());
    std::fs::write(&certificate.key, "nothing").unwrap();
    let any = SocketAddr::from(([127, 0, 0, 1], 0));
    let station = Arc::clone(&site.station);
    let error = serve(station, any, Some(certificate), |_| ()).await;
    let error = error.unwrap_err();
    assert!(
        error.contains("station.key") && error.contains("can't be used"),
        "{error}"
    );
}
