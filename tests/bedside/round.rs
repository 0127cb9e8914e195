//! A round that is watched and answered on the page, in a real browser.

use sayback::facts::{Body, ReadingRecord};
use sayback::hearing::By;

use super::browser::{Browser, DESK};
use super::rig::{Going, Open};

/// Longer than the page takes a touch for an accident.
const SETTLED: std::time::Duration = std::time::Duration::from_millis(700);

fn visit(open: &Open) -> Browser {
    let browser = Browser::open(DESK);
    browser.go(&open.address());
    browser.wait(|it| it.run("return events.readyState") == 1);
    browser
}

fn shows(browser: &Browser, css: &str, text: &str) {
    browser.wait(|it| it.text(css).contains(text));
}

fn touch(browser: &Browser, css: &str) {
    std::thread::sleep(SETTLED);
    browser.click(css);
}

fn readings(going: &Going) -> Vec<ReadingRecord> {
    let facts = going.facts().into_iter();
    let reading = |it: sayback::facts::Fact| match it.body {
        Body::Read(reading) => Some(reading),
        _ => None,
    };
    facts.filter_map(reading).collect()
}

#[test]
fn the_card_is_one_sheet() {
    let going = Going::new(&[]);
    let open = Open::anywhere(&going.link);
    let browser = visit(&open);
    browser.click("#more summary");
    browser.click("#more a");
    shows(&browser, "h1", "What you can say");
    if let Some(folder) = std::env::var_os("SAYBACK_PICTURES") {
        browser.size(794, 1123);
        browser.snap(&std::path::Path::new(&folder).join("card.png"));
    }
    for (paper, width, height) in [("A4", 21.0, 29.7), ("Letter", 21.59, 27.94)] {
        assert_eq!(browser.sheets(width, height), 1, "{paper}");
    }
    assert!(browser.complaints().is_empty());
}

#[test]
fn a_round_is_shown_as_it_goes_and_a_touched_yes_keeps() {
    let going = Going::new(&[]);
    let open = Open::anywhere(&going.link);
    let browser = visit(&open);
    shows(&browser, "#middle", "Which room?");
    going.hear("room four bed two");
    shows(&browser, "#middle", "Walter Brandt");
    shows(&browser, "#middle", "November 19, 1941");
    touch(&browser, "#answers .yes");
    shows(&browser, "h1", "Walter Brandt");
    going.hear("blood pressure one fifty two over eighty eight left arm sitting");
    shows(&browser, "#middle", "152/88");
    assert!(readings(&going).is_empty(), "nothing is kept without a yes");
    touch(&browser, "#answers .yes");
    shows(&browser, ".kept", "152/88");
    shows(&browser, ".reports", "above 100\u{2060}\u{2013}\u{2060}150");
    let [reading] = readings(&going).try_into().unwrap();
    assert_eq!(
        (reading.given_by, reading.confirmed_by),
        (By::Voice, By::Touch)
    );

    // The report, by hand too.
    touch(&browser, "#reported summary");
    touch(&browser, "#reported button");
    shows(&browser, "#middle", "Reported to Ines Marlow");
    touch(&browser, "#answers .yes");
    browser.wait(|it| it.run("return !document.querySelector('.reports')") == true);
    assert!(browser.complaints().is_empty());
}

#[test]
fn a_value_is_put_right_by_typing_and_by_the_number_pad() {
    let going = Going::new(&["room nine", "yes", "respiration forty"]);
    let open = Open::anywhere(&going.link);
    let browser = visit(&open);
    shows(&browser, "#middle", "40");
    touch(&browser, "#typing summary");
    for digit in ["1", "4"] {
        browser.click(&format!(".pad [data-type='{digit}']"));
    }
    browser.click(".line button");
    shows(&browser, "#middle .reading", "14");
    shows(&browser, ".heard", "Typed");
    touch(&browser, "#answers .yes");
    shows(&browser, ".kept", "14");
    touch(&browser, "#typing summary");
    browser.fill("#words", "pulse 72 regular");
    browser.press("\u{e007}");
    shows(&browser, "#middle .reading", "72");
    touch(&browser, "#answers .yes");
    shows(&browser, ".kept", "72");
    for reading in readings(&going) {
        assert_eq!(
            (reading.given_by, reading.confirmed_by),
            (By::Touch, By::Touch)
        );
    }
    // A question is answered by its choices.
    going.hear("temperature ninety nine point two");
    shows(&browser, "#answers", "Tympanic");
    touch(&browser, "#answers [value=tympanic]");
    shows(&browser, "#middle .reading", "tympanic");
}

#[test]
fn a_touch_on_a_screen_that_is_old_keeps_nothing() {
    let going = Going::new(&["room nine", "yes", "pulse seventy two regular"]);
    let open = Open::anywhere(&going.link);
    let browser = visit(&open);
    shows(&browser, "#middle", "72");
    // This screen hears no more, and the aide puts the value right by voice.
    browser.run("events.close()");
    going.hear("no eighty two");
    assert!(browser.text("#middle").contains("72"), "the screen is old");
    touch(&browser, "#answers .yes");
    shows(&browser, "#note", "This is no longer what waits.");
    shows(&browser, "#middle", "82");
    assert!(readings(&going).is_empty());
}

#[test]
fn a_touch_right_after_a_change_is_not_taken() {
    let going = Going::new(&["room nine", "yes", "pulse seventy two regular"]);
    let open = Open::anywhere(&going.link);
    let browser = visit(&open);
    shows(&browser, "#middle", "72");
    // The very moment that another question comes up under the finger.
    browser.run(
        "const was = asked();
         new MutationObserver((_, it) => { if (asked() === was) return;
           it.disconnect(); document.querySelector('#answers .yes').click(); })
           .observe(document.getElementById('screen'), { childList: true })",
    );
    going.hear("no eighty two");
    shows(&browser, "#note", "had just changed");
    shows(&browser, "#middle", "82");
    assert!(readings(&going).is_empty());
}

#[test]
fn a_screen_that_was_away_shows_the_present() {
    let going = Going::new(&["room nine", "yes"]);
    let open = Open::anywhere(&going.link);
    let (browser, at) = (visit(&open), open.at);
    shows(&browser, "h1", "Rosa Delgado");
    drop(open);
    shows(&browser, "#live", "Not live");
    going.hear("pulse seventy two regular");
    let _open = Open::new(&going.link, at);
    shows(&browser, "#middle", "72");
    shows(&browser, "#live", "");
    touch(&browser, "#answers .yes");
    shows(&browser, ".kept", "72");
    assert_eq!(readings(&going).len(), 1);
}
