//! Every state of the screen in a real browser, on a phone, a tablet and a cart, and by
//! dark too, and checked by axe-core. With `SAYBACK_PICTURES` set to a folder, each is
//! pictured there.

use std::path::PathBuf;

use sayback::bedside::Tablet;
use sayback::residents::Speech;
use sayback::store::Waiting;
use sayback::sync::{LinkStatus, SyncError};

use super::browser::{Browser, DESK, NIGHT};
use super::rig::{Going, Open, now};

/// The height of a cart's screen. A phone is held in the hand, and scrolled.
const CART: u32 = 800;
const SIZES: [(&str, u32, u32); 3] = [
    ("phone", 390, 844),
    ("tablet", 1024, 768),
    ("cart", 1280, CART),
];

const WHO: &[&str] = &["room four bed two", "yes"];
const PRESSURE: &str = "blood pressure one fifty two over eighty eight left arm sitting";

/// More than the side of the screen holds.
const FULL: &[&str] = &[
    "pulse seventy two regular",
    "yes keep it",
    "temperature ninety eight oral",
    "yes correct",
    "respiration sixteen",
    "yes keep it",
    PRESSURE,
    "yes correct",
    "weight one hundred and fifty pounds",
    "yes keep it",
    "pain two",
];

/// A report that was said again and again.
const INSISTS: &[&str] = &[
    PRESSURE,
    "yes correct",
    "done",
    "room four bed two",
    "yes",
    "all done",
    "go to room four bed two",
    "yes keep it",
    "finished",
];

/// The states, each with what was said until then.
fn states() -> Vec<(&'static str, Vec<&'static str>)> {
    let and = |more: &[&'static str]| [WHO, more].concat();
    vec![
        ("nobody", vec![]),
        ("which", vec![]),
        ("room", vec![]),
        ("tablet", vec![]),
        ("tablet-waits", and(&[PRESSURE])),
        ("who", vec!["room four bed two"]),
        ("ready", and(&["what a lovely morning"])),
        ("keep", and(&[PRESSURE])),
        (
            "breath",
            and(&[
                "pulse eighty four regular respiration sixteen oxygen saturation ninety two on oxygen two liters",
            ]),
        ),
        ("question", and(&["temperature ninety nine point two"])),
        (
            "unlikely",
            and(&["pulse two hundred and ten regular", "yes"]),
        ),
        (
            "report",
            and(&[
                "pulse seventy two regular",
                "yes keep it",
                PRESSURE,
                "yes correct",
            ]),
        ),
        (
            "reported",
            and(&[PRESSURE, "yes correct", "reported to nurse marlow"]),
        ),
        ("standing", and(&["standing pressures"])),
        ("count", and(&["time three minutes", "count pulse"])),
        ("waits", and(&["time the thermometer three minutes"])),
        (
            "change",
            and(&[
                PRESSURE,
                "yes correct",
                "change the pressure to one forty two over eighty eight",
            ]),
        ),
        (
            "take-back",
            and(&["pulse seventy two", "yes keep it", "scratch the pulse"]),
        ),
        (
            "which-kept",
            and(&[
                "pulse seventy two",
                "yes keep it",
                "pulse eighty",
                "yes correct",
                "change the pulse to eighty four",
            ]),
        ),
        (
            "changed",
            and(&[
                PRESSURE,
                "yes correct",
                "change the pressure to one forty two over eighty eight",
                "yes keep it",
            ]),
        ),
        (
            "moving",
            and(&["pulse seventy two", "yes keep it", "wrong resident"]),
        ),
        (
            "move",
            and(&[
                "pulse seventy two temperature ninety eight oral",
                "yes keep it",
                "wrong resident",
                "room twelve",
                "yes correct",
            ]),
        ),
        ("insists", and(INSISTS)),
        ("tones", and(&[PRESSURE])),
        ("speaker", and(&["pulse seventy two regular"])),
        ("asleep", and(&["stop listening"])),
        ("lost", and(&[PRESSURE])),
        ("lost-rests", and(&[])),
        ("full", and(FULL)),
        ("home", and(&[PRESSURE])),
    ]
}

/// A recorder that has not reached its home since yesterday.
fn away() -> LinkStatus {
    let why = "nothing answers at station.home.lan:5432. Is PostgreSQL running there, on that \
        port, and listening to the network? The place is from the link file";
    LinkStatus {
        waiting: Waiting {
            facts: 310,
            readings: 128,
        },
        last: Some(now() - chrono::TimeDelta::days(1)),
        trouble: Some(SyncError::Unreachable(why.to_owned()).to_string()),
        refused: 2,
        ..LinkStatus::default()
    }
}

/// The contrast of an element's text with what is behind it, as WCAG 2 counts
/// it, for a background of one colour.
const CONTRAST: &str = "
  const parts = it => it.match(/[\\d.]+/g).map(Number);
  const light = it => { const [r, g, b] = parts(it).slice(0, 3).map(it => it / 255)
    .map(it => it <= .04045 ? it / 12.92 : ((it + .055) / 1.055) ** 2.4);
    return .2126 * r + .7152 * g + .0722 * b; };
  const behind = it => { for (; it; it = it.parentElement) {
    const colour = getComputedStyle(it).backgroundColor;
    if (!/, 0\\)$/.test(colour) && colour !== 'transparent') return colour; } return 'rgb(255,255,255)'; };
  const contrast = it => { const [a, b] = [light(getComputedStyle(it).color), light(behind(it))].sort((a, b) => b - a);
    return (a + .05) / (b + .05); };
  const seen = it => it.checkVisibility();
  const texts = [...document.querySelectorAll('body *')].filter(it => seen(it)
    && [...it.childNodes].some(it => it.nodeType === 3 && it.textContent.trim()));
  return texts.filter(it => contrast(it) < 7).map(it => contrast(it).toFixed(1) + ' ' + it.outerHTML.slice(0, 120));
";

const SMALL: &str = "
  return [...document.querySelectorAll('button, summary, a, input')].filter(it => it.checkVisibility())
    .map(it => [it.getBoundingClientRect(), it.outerHTML.slice(0, 120)])
    .filter(([it]) => it.height < 48 || it.width < 48).map(it => it[1]);
";

/// What is not in order, each as a line.
fn problems(browser: &Browser, height: u32) -> Vec<String> {
    let lines = |found: serde_json::Value, what: &str| -> Vec<String> {
        let found = found.as_array().cloned();
        let found = found.unwrap_or_else(|| panic!("{what}: the check itself failed"));
        found.iter().map(|it| format!("{what}: {it}")).collect()
    };
    let mut problems = browser.complaints();
    problems.extend(lines(browser.run(CONTRAST), "too pale"));
    problems.extend(lines(browser.run(SMALL), "hard to touch"));
    let mut must = |script: &str, what: &str| {
        if browser.run(script) != true {
            problems.push(what.to_owned());
        }
    };
    must(
        "return document.documentElement.scrollWidth <= document.documentElement.clientWidth",
        "wider than the screen",
    );
    must(
        "return document.getElementById('answers').getBoundingClientRect().bottom <= innerHeight + 1",
        "the answers are not on the screen",
    );
    if height <= CART {
        must(
            "const it = document.getElementById('middle'); return it.scrollHeight <= it.clientHeight + 1",
            "what waits is not whole on the screen",
        );
        must(
            "const it = document.querySelector('.due'); return !it || !!document.querySelector('.reports') || it.getBoundingClientRect().bottom <= innerHeight",
            "what is due is not on the screen",
        );
    }
    if height == CART {
        must(
            "const it = document.querySelector('.home'); return !it || it.getBoundingClientRect().bottom <= innerHeight",
            "how it stands with the home is not on the screen",
        );
    }
    if height <= CART {
        // To be read at two metres: six hundredths of the height.
        must(
            "return [...document.querySelectorAll('.reading')].every(it =>
               parseFloat(getComputedStyle(it).fontSize) >= .06 * innerHeight)",
            "what waits is too small",
        );
    }
    problems
}

/// What a large button opens must be whole on a phone, and so must the button.
fn opened(browser: &Browser, state: &str) -> Option<String> {
    let (button, sheet) = match state {
        "nobody" => ("#answers .opens", "sign-on"),
        "report" => (".reports .opens", "reported"),
        _ => return None,
    };
    let at = |css: &str| format!("document.querySelector('{css}').getBoundingClientRect()");
    let seen = |css: &str| {
        let at = at(css);
        browser.run(&format!(
            "return {at}.top >= 0 && {at}.bottom <= innerHeight"
        )) == true
    };
    if !seen(button) {
        return Some(format!("{button} is not on the screen"));
    }
    browser.click(button);
    let whole = seen(&format!("#{sheet} form"));
    snap(browser, &format!("{state}-opened"));
    browser.press("\u{e00c}");
    (!whole).then(|| format!("#{sheet} is not whole on the screen"))
}

fn snap(browser: &Browser, name: &str) {
    if let Some(folder) = std::env::var_os("SAYBACK_PICTURES") {
        let folder = PathBuf::from(folder);
        std::fs::create_dir_all(&folder).unwrap();
        browser.snap(&folder.join(format!("{name}.png")));
    }
}

fn looked_at(look: super::browser::Look, light: &str, sizes: &[(&str, u32, u32)]) {
    let browser = Browser::open(look);
    let mut found = Vec::new();
    for (state, spoken) in states() {
        let mut going = match state {
            "nobody" => Going::unknown(0),
            "which" => Going::unknown(2),
            "tones" => Going::heard_as(Speech::Tones, &spoken),
            "speaker" => Going::heard_as(Speech::Room, &spoken),
            _ => Going::new(&spoken),
        };
        if state.starts_with("lost") {
            going.microphone_lost(true);
        }
        if state.starts_with("tablet") {
            going.link.tablet = Some(Tablet::new().0);
        }
        if state == "home" {
            going.home(away());
        }
        let open = Open::anywhere(&going.link);
        for &(size, width, height) in sizes {
            browser.size(width, height);
            browser.go(&open.address());
            browser.wait(|it| it.run("return events.readyState") == 1);
            let name = format!("{state}-{size}-{light}");
            snap(&browser, &name);
            let problems = problems(&browser, height).into_iter();
            found.extend(problems.map(|it| format!("{name}: {it}")));
            if state == "keep" {
                browser.click("#typing summary");
                snap(&browser, &format!("typing-{size}-{light}"));
                assert!(browser.text("#brief").contains("152/88"), "{size}");
                let whole = browser.run(
                    "const it = document.querySelector('#typing form'); const at = it.getBoundingClientRect();
                     return it.scrollHeight <= it.clientHeight + 1 && at.top >= 0 && at.bottom <= innerHeight",
                );
                assert_eq!(whole, true, "{size}: the sheet is cut off");
            }
            if size == "phone" {
                found.extend(opened(&browser, state));
                // It does not look at sizes.
                let barriers = browser.barriers().into_iter();
                found.extend(barriers.map(|it| format!("{name}: {it}")));
            }
        }
        browser.go("about:blank");
    }
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn every_state_is_readable_by_light() {
    looked_at(DESK, "light", &SIZES);
}

#[test]
fn every_state_is_readable_by_dark() {
    // Colours alone differ, and they are the same at every size.
    looked_at(NIGHT, "dark", &SIZES[..1]);
}
