//! Pages of a round that was changed since it was signed, and of what was entered from
//! paper, in a real browser.

use axum::http::StatusCode;
use sayback::review::accounts::Role;
use sayback::vitals::VitalSign;

use super::browser::{DESK, HAND, Look};
use super::by_hand::enters;
use super::open::{Open, in_order};
use super::shown::set;
use super::signed::signed;
use super::site::Site;

#[test]
fn what_was_changed_and_what_is_from_paper() {
    let site = Site::of(12, 10);
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let round = runtime.block_on(async {
        let (mut nurse, round) = signed(&site).await;
        let pulse = super::signed::pulse(&site, round);
        let fields = "seen=0&value=77&unit=per_minute&rhythm=regular&reason=misread";
        nurse
            .does(&format!("/readings/{pulse}/correct"), fields)
            .await;
        for (sign, clock) in [
            ("pain&value=2&unit=score", "07:31"),
            ("pulse&value=128&unit=per_minute", "09:05"),
        ] {
            let fields = format!("sign={sign}&day=2026-03-12&clock={clock}&taken_by=Dana+Whitlock");
            let (status, page) = enters(&mut nurse, &fields, "").await;
            assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
        }
        round
    });
    let open = Open::serve(site, None);
    for (look, name) in [(DESK, "nurse"), (HAND, "nurse-hand")] {
        let browser = open.visit(Role::Nurse, look);
        for (page, path) in [
            ("rounds-changed", "/rounds".to_owned()),
            ("round-changed", format!("/rounds/{round}")),
        ] {
            browser.go(&open.address(&path));
            in_order(&browser, page);
            browser.pictured(&format!("{name}-{page}"));
        }
        browser.go(&open.address("/residents/AR-001/enter?sign=pulse"));
        set(&browser, "[name=value]", "74");
        set(&browser, "[name=clock]", "07:32");
        set(&browser, "[name=taken_by]", "Dana Whitlock");
        browser.click("form[action$=read-back] button.main");
        browser.wait(|it| it.text("h1").contains("Is this right?"));
        assert!(
            browser
                .text("main")
                .contains("which is then to be signed again")
        );
        in_order(&browser, "read-back");
        browser.pictured(&format!("{name}-read-back-of-round"));
        browser.go(&open.address(&format!("/rounds/{round}/sheet")));
        let wide = browser.run("return document.documentElement.scrollWidth");
        assert_eq!(wide, look.width, "the sheet is wider than the screen");
        browser.pictured(&format!("{name}-sheet-changed"));
    }
}

/// Whatever people typed, nothing is wider than the screen, nor cut off on paper.
#[test]
fn a_word_longer_than_its_line_goes_on_in_the_next() {
    let site = Site::of(4, 2);
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let word = "x".repeat(200);
    let reading = super::acting::reading(&site, VitalSign::Pulse);
    let resident = runtime.block_on(async {
        let mut nurse = site.visitor(Role::Nurse).await;
        let resident = {
            let index = site.station.index();
            index.resident_of(index.reading(reading).unwrap()).0.clone()
        };
        let note = format!("text={word}");
        nurse
            .does(&format!("/residents/{resident}/note"), &note)
            .await;
        let wrong = format!("seen=0&value=77&unit=per_minute&reason={word}");
        nurse
            .does(&format!("/readings/{reading}/correct"), &wrong)
            .await;
        resident
    });
    let open = Open::serve(site, None);
    let small = Look { width: 320, ..HAND };
    for look in [DESK, HAND, small] {
        let browser = open.visit(Role::Nurse, look);
        for path in [
            format!("/residents/{resident}"),
            format!("/residents/{resident}/summary"),
            format!("/readings/{reading}"),
        ] {
            browser.go(&open.address(&path));
            browser.wait(|it| it.text("body").contains(&word));
            let wide = browser.run("return document.documentElement.scrollWidth");
            assert_eq!(wide, look.width, "{path}");
        }
    }
}
