//! The nights in which the clocks are put forward and back.

use std::io::{BufRead as _, BufReader};
use std::process::{Command, Stdio};

use chrono::{DateTime, Datelike as _, FixedOffset, TimeDelta, Utc};
use sayback::facts::{Body, Time};
use sayback::residents::{Offsets, ResidentId, Staff};
use sayback::review::Station;
use sayback::review::accounts::Role;
use sayback::store::Store;
use sayback::vitals::{Measurement, Numbers, Unit, VitalSign};
use uuid::Uuid;

use super::browser::{Browser, DESK};
use super::made::{self, Writer};
use super::site::{PASSWORD, Site};

/// A zone of five hours behind, four in summer, in 2026.
pub fn changing() -> Offsets {
    let utc = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
    let (forward, back) = (utc("2026-03-08T07:00:00Z"), utc("2026-11-01T06:00:00Z"));
    let (from, to) = (utc("2026-01-01T00:00:00Z"), utc("2026-12-31T00:00:00Z"));
    Offsets::between(from, to, |at| {
        let hours = if (forward..back).contains(&at) { 4 } else { 5 };
        FixedOffset::west_opt(hours * 3600).unwrap()
    })
}

fn at(text: &str) -> Time {
    DateTime::parse_from_rfc3339(text).unwrap()
}

/// A quarter past three, after the clocks were put forward.
fn after_forward() -> Time {
    at("2026-03-08T03:15:00-04:00")
}

/// A quarter past one for the second time.
fn after_back() -> Time {
    at("2026-11-01T01:15:00-05:00")
}

fn pulse() -> Measurement {
    let rate = Numbers::One(74.into());
    made::measure(VitalSign::Pulse, rate, Unit::PerMinute, &[])
}

/// A round in which this was measured of a resident at a moment.
pub fn put(out: &mut Writer, resident: &str, measurement: Measurement, when: Time) -> Uuid {
    let (by, round) = (made::aide(0), Uuid::now_v7());
    let record = made::reading(ResidentId(resident.to_owned()), measurement, when);
    let opened = Body::RoundOpened {
        home: "Alder Ridge House".to_owned(),
    };
    out.put(when - TimeDelta::minutes(1), &by, round, opened);
    out.put(when, &by, round, Body::Read(record))
}

/// A home of one whose pulse was measured at a moment, and its station.
fn measured(when: Time, clock: fn() -> Time) -> (Site, Uuid) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let mut out = Writer::new(&path);
    let id = put(&mut out, "AR-000", pulse(), when);
    out.end();
    let record = Store::open(&path).unwrap();
    let clock = (clock, Some(changing()));
    (Site::at(folder, (made::home(1), record), false, clock), id)
}

/// The row of the list that says what is due.
async fn row(site: &Site) -> String {
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/worklist").await;
    let (_, row) = page.split_once("id=\"round\"").unwrap();
    row.split_once("Edith Hollin").expect(row).1.to_owned()
}

fn due(row: &str) -> bool {
    let (_, due) = row.split_once("data-of=\"Due now\">").unwrap();
    due.split('<').next().unwrap().contains("pulse")
}

/// Shifts begin at 06:00, 14:00 and 22:00 by the clock of then.
#[tokio::test]
async fn what_is_due_goes_by_when_the_shift_began() {
    // Half an hour before the shift, which began an hour "later" by the offset of now.
    let (site, _) = measured(at("2026-03-07T21:30:00-05:00"), after_forward);
    assert!(due(&row(&site).await));
    let (site, _) = measured(at("2026-03-07T22:00:00-05:00"), after_forward);
    assert!(!due(&row(&site).await));
    // Half an hour into the shift, which began an hour "earlier".
    let (site, _) = measured(at("2026-10-31T22:30:00-04:00"), after_back);
    assert!(!due(&row(&site).await));
    let (site, _) = measured(at("2026-10-31T21:59:00-04:00"), after_back);
    assert!(due(&row(&site).await));
}

/// Also what is shown of a time is what the clock showed, so that it is the time that was
/// read back, and the one in the form that corrects it.
#[tokio::test]
async fn a_time_of_before_is_shown_as_it_was_then() {
    let (site, id) = measured(at("2026-03-07T23:30:00-05:00"), after_forward);
    let row = row(&site).await;
    let shown = "datetime=\"2026-03-07T23:30-05:00\">yesterday 23:30<";
    assert!(row.contains(shown), "{row}");
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get(&format!("/readings/{id}")).await;
    assert!(page.contains("yesterday 23:30"), "{page}");
    assert!(page.contains("name=\"day\"") && page.contains("value=\"23:30\""));
    // One that was recorded with another offset is shown by the clock of the home too.
    let (site, _) = measured(at("2026-03-08T06:30:00Z"), after_forward);
    let row = self::row(&site).await;
    assert!(row.contains("today 01:30"), "{row}");
    let mut nurse = site.visitor(Role::Nurse).await;
    let fields = "sign=pulse&value=75&unit=per_minute&day=2026-03-08&clock=01:40\
                  &taken_by=Dana+Whitlock";
    let answer = nurse.post("/residents/AR-000/read-back", fields).await;
    let page = super::site::text(answer).await;
    assert!(page.contains("today 01:40") && page.contains("on March 8, 2026 at 01:40"));
}

/// A week after the clocks were put back.
fn week_after_back() -> Time {
    at("2026-11-07T12:00:00-05:00")
}

/// The night of the change is a day of the drawing like another: what was measured as it
/// began stands over its name.
#[tokio::test]
async fn a_day_of_a_drawing_begins_when_the_clock_said_so() {
    let (site, _) = measured(at("2026-11-01T00:00:00-04:00"), week_after_back);
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/residents/AR-000/pulse?days=7").await;
    let (drawing, _) = page.split_once("</svg>").unwrap();
    let number = |of: &str, name: &str| {
        let (_, after) = of.rsplit_once(&format!(" {name}=\"")).expect(of);
        after.split('"').next().unwrap().parse::<i32>().unwrap()
    };
    let (before, _) = drawing.split_once("Nov 1</text>").expect(drawing);
    let reading = number(drawing, "cx");
    assert_eq!(number(before, "x"), reading, "{drawing}");
}

/// A weight is compared with the one of 30 days ago, whatever the hour: so is a trend of 30
/// days, drawing and numbers.
#[tokio::test]
async fn the_first_day_of_a_trend_is_a_whole_one() {
    let reads = async |when| {
        let (site, _) = measured(at(when), week_after_back);
        let mut nurse = site.visitor(Role::Nurse).await;
        let (_, page) = nurse.get("/residents/AR-000/pulse?days=30").await;
        let drawn = page.contains("Pulse of Edith Hollin, 30 days: 1 reading");
        assert_eq!(page.contains("Oct 8, 00:15"), drawn, "{page}");
        drawn
    };
    assert!(reads("2026-10-08T00:15:00-04:00").await);
    assert!(!reads("2026-10-07T23:45:00-04:00").await);
}

/// What was recorded years ago is shown as the clock showed it then, too.
#[test]
fn a_time_of_years_ago_is_shown_as_it_was_then() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let year = Utc::now().year() - 3;
    let mut out = Writer::new(&path);
    // Whatever the clock says today, it said otherwise on one of these.
    put(
        &mut out,
        "AR-042",
        pulse(),
        at(&format!("{year}-01-10T00:30:00-05:00")),
    );
    put(
        &mut out,
        "AR-042",
        pulse(),
        at(&format!("{year}-07-10T00:30:00-04:00")),
    );
    out.end();
    let (accounts, _) = Station::accounts_beside(&path).unwrap();
    let staff = Staff {
        name: "Ines Marlow".to_owned(),
        title: "registered nurse".to_owned(),
    };
    let now = Utc::now().fixed_offset();
    accounts
        .create("imarlow", &staff, Role::Nurse, now)
        .unwrap();
    accounts.choose("imarlow", PASSWORD).unwrap();
    drop(accounts);
    let mut station = Command::new(env!("CARGO_BIN_EXE_sayback"))
        .args(["serve", "--home", "audio-fixtures/demo-home.toml"])
        .args(["--listen", "127.0.0.1:0", "--store"])
        .arg(&path)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env("TZ", "EST5EDT,M3.2.0,M11.1.0")
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let said = BufReader::new(station.stdout.take().unwrap()).lines();
    let mut said = said.map_while(Result::ok);
    let page = said.find_map(|it| Some(it.split_once("http://")?.1.to_owned()));
    let page = page.expect("it says where it is");
    let page = format!("http://{}", page.split_whitespace().next().unwrap());
    let browser = Browser::open(DESK);
    browser.go(&format!("{page}/find?who=AR-042"));
    browser.fill("[name=login]", "imarlow");
    browser.fill("[name=password]", PASSWORD);
    browser.click("main button");
    browser.wait(|it| it.text("main").contains("2 readings"));
    let shown = browser.text("main");
    station.kill().unwrap();
    station.wait().unwrap();
    for day in ["Jan", "Jul"] {
        let day = format!("{day} 10, {year}, 00:30");
        assert!(shown.contains(&day), "{day}: {shown}");
    }
}
