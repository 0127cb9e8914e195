//! What a nurse enters, moves and puts right, in a real browser, step by step.

use sayback::facts::Body;
use sayback::review::accounts::Role;
use sayback::vitals::VitalSign;

use super::browser::{Browser, DESK, HAND, Look};
use super::open::{Open, in_order};

/// Chooses or types, whatever the field and the browser's language.
pub fn set(browser: &Browser, field: &str, value: &str) {
    browser.run(&format!(
        "document.querySelector(\"{field}\").value = '{value}'; return true"
    ));
}

/// Opens what is folded away under a heading.
fn unfold(browser: &Browser, heading: &str) {
    browser.run(&format!(
        "const all = [...document.querySelectorAll('summary')];
         all.find(it => it.textContent == '{heading}').click(); return true"
    ));
}

fn enters(look: Look, name: &str) {
    let open = Open::new(4, 10);
    let browser = open.visit(Role::Nurse, look);
    browser.go(&open.address("/residents/AR-001"));
    unfold(&browser, "Enter a reading from paper");
    set(&browser, "form[action$=enter] select", "blood_pressure");
    browser.click("form[action$=enter] button");
    browser.wait(|it| it.text("h1").contains("Enter blood pressure"));
    in_order(&browser, "enter");
    browser.pictured(&format!("{name}-enter"));
    for (field, value) in [
        ("[name=value]", "238"),
        ("[name=over]", "96"),
        ("[name=arm]", "left_arm"),
        ("[name=position]", "sitting"),
        ("[name=day]", "2026-03-12"),
        ("[name=clock]", "12:05"),
        ("[name=taken_by]", "Dana Whitlock, nursing aide"),
        ("[name=remark]", "the cart was broken"),
    ] {
        set(&browser, field, value);
    }
    browser.click("form[action$=read-back] button");
    browser.wait(|it| it.text("body").contains("have been taken at 12:05"));
    in_order(&browser, "enter, refused");
    browser.pictured(&format!("{name}-enter-refused"));
    set(&browser, "[name=clock]", "09:05");
    browser.click("form[action$=read-back] button");
    browser.wait(|it| it.text("h1").contains("Is this right?"));
    in_order(&browser, "read back");
    browser.pictured(&format!("{name}-read-back"));
    browser.click("form[action$=enter] button");
    browser.wait(|it| it.text("body").contains("Look again"));
    in_order(&browser, "read back, refused");
    browser.click("form[action$=enter] [name=looked_again]");
    browser.click("form[action$=enter] button");
    browser.wait(|it| it.text("body").contains("marked as entered by hand"));
    in_order(&browser, "entered");
    browser.pictured(&format!("{name}-entered"));
    let read = open.fact(|it| matches!(it, Body::Read(it) if it.by_hand.is_some()));
    browser.go(&open.address(&format!("/readings/{read}")));
    in_order(&browser, "reading entered by hand");
    browser.pictured(&format!("{name}-by-hand"));
}

#[test]
fn a_nurse_enters_a_reading_from_paper() {
    enters(DESK, "nurse");
}

#[test]
fn a_nurse_enters_a_reading_on_a_small_screen() {
    enters(HAND, "nurse-hand");
}

#[test]
fn a_nurse_moves_a_reading_and_puts_its_time_right() {
    let open = Open::new(4, 10);
    let browser = open.visit(Role::Nurse, DESK);
    let pulse =
        open.fact(|it| matches!(it, Body::Read(it) if it.measurement.sign() == VitalSign::Pulse));
    let page = open.address(&format!("/readings/{pulse}"));
    browser.go(&page);
    unfold(&browser, "Correct the time");
    set(&browser, "[name=clock]", "06:10");
    browser.fill("form[action$=time] [name=reason]", "the clock was wrong");
    in_order(&browser, "time");
    browser.pictured("nurse-time");
    browser.click("form[action$=time] button");
    browser.wait(|it| it.text("body").contains("The time is corrected"));
    in_order(&browser, "time corrected");
    browser.pictured("nurse-time-corrected");
    unfold(&browser, "Wrong resident");
    in_order(&browser, "wrong resident");
    browser.pictured("nurse-wrong-resident");
    set(&browser, "[name=to]", "AR-001");
    browser.click("form[action$=move] button");
    browser.wait(|it| it.text("h1").contains("Is this right?"));
    in_order(&browser, "move");
    browser.pictured("nurse-move");
    browser.click("form[action$=move] button");
    browser.wait(|it| it.text("body").contains("no longer counts here"));
    in_order(&browser, "moved");
    browser.pictured("nurse-moved");
    let right = open.fact(|it| matches!(it, Body::Read(it) if it.moved_from.is_some()));
    browser.go(&open.address(&format!("/readings/{right}")));
    in_order(&browser, "where it was moved to");
    browser.pictured("nurse-moved-to");
}
