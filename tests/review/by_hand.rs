//! A reading that was written on paper, entered by a nurse at the station.

use axum::http::StatusCode;
use sayback::facts::{Body, Fact, ReadingRecord, Record};
use sayback::residents::ResidentId;
use sayback::review::Station;
use sayback::review::accounts::Role;
use sayback::review::acts::{Acting, proposed};
use sayback::review::fields::Fields;
use sayback::store::Store;
use sayback::vitals::VitalSign;
use uuid::Uuid;

use super::acting::PRESSURE;
use super::clocks::changing;
use super::made;
use super::site::{Site, Visitor, text};

const PATH: &str = "/residents/AR-000";
/// When and by whom, as a form says it. Now is 11:40 on that day.
const WHEN: &str = "day=2026-03-12&clock=09:05&taken_by=Dana+Whitlock";

/// What a page wants stored: the words that it shows, and what was typed.
fn shown(page: &str) -> String {
    let (_, rest) = page.split_once("name=\"shown\" value=\"").expect(page);
    rest.split('"').next().unwrap().replace("&amp;", "&")
}

pub fn encoded(text: &str) -> String {
    form_urlencoded::byte_serialize(text.as_bytes()).collect()
}

/// Reads it back, and stores it with `more` fields on the second form.
pub async fn enters(nurse: &mut Visitor<'_>, fields: &str, more: &str) -> (StatusCode, String) {
    let answer = nurse.post(&format!("{PATH}/read-back"), fields).await;
    let (status, page) = (answer.status(), text(answer).await);
    assert_eq!(status, StatusCode::OK, "{fields}: {page}");
    assert!(page.contains("Nothing is stored yet."), "{page}");
    let fields = format!("{fields}&shown={}{more}", encoded(&shown(&page)));
    let answer = nurse.post(&format!("{PATH}/enter"), &fields).await;
    (answer.status(), text(answer).await)
}

pub fn entered(site: &Site) -> (Fact, ReadingRecord) {
    let found = site
        .facts()
        .into_iter()
        .rev()
        .find_map(|it| match &it.body {
            Body::Read(record) if record.by_hand.is_some() => Some((it.clone(), record.clone())),
            _ => None,
        });
    found.expect("a reading entered by hand")
}

fn kinds(site: &Site, from: usize) -> Vec<String> {
    let kind = |it: &Fact| serde_json::to_value(it).unwrap()["kind"].to_string();
    site.facts()[from..].iter().map(kind).collect()
}

#[tokio::test]
async fn what_is_on_paper_is_read_back_and_then_stored() {
    let site = Site::new();
    let before = site.facts().len();
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get(PATH).await;
    assert!(page.contains("Enter a reading from paper"), "{page}");
    let (status, page) = nurse
        .get(&format!("{PATH}/enter?sign=blood_pressure"))
        .await;
    assert_eq!(status, StatusCode::OK);
    for field in [
        "name=\"value\"",
        "name=\"over\"",
        "name=\"arm\"",
        "name=\"position\"",
        "name=\"day\"",
    ] {
        assert!(page.contains(field), "{field}: {page}");
    }
    let fields =
        format!("sign=blood_pressure&value=128&over=76&{PRESSURE}&{WHEN}&remark=cart+was+broken");
    let answer = nurse.post(&format!("{PATH}/read-back"), &fields).await;
    let page = text(answer).await;
    for part in [
        "128/76\u{a0}mmHg",
        "left arm, sitting",
        "today 09:05",
        "Dana Whitlock",
        "Edith Hollin",
        "born May 2, 1930",
        "cart was broken",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let said = "Blood pressure one two eight over seven six, left arm, sitting, taken by Dana \
                Whitlock on March 12, 2026 at 09:05.";
    assert_eq!(shown(&page), said);
    assert_eq!(site.facts().len(), before, "the first form stores nothing");

    let (status, page) = enters(&mut nurse, &fields, "").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    assert_eq!(
        kinds(&site, before),
        ["\"offered\"", "\"read\"", "\"noted\""]
    );
    let (fact, record) = entered(&site);
    assert_eq!(fact.by, made::nurse());
    assert_eq!(record.measured_at.to_rfc3339(), "2026-03-12T09:05:00-05:00");
    assert_eq!(
        (record.spoken_at, record.confirmed_at),
        (made::now(), made::now())
    );
    assert_eq!(
        (record.heard.as_str(), record.read_back.as_str()),
        ("", said)
    );
    assert!(record.by_nurse && !record.second_look);
    let whose = record.by_hand.unwrap();
    assert_eq!(
        (whose.taken_by.as_str(), &whose.entered_by),
        ("Dana Whitlock", &made::nurse())
    );
    let (_, page) = nurse.get(&format!("/readings/{}", fact.id)).await;
    for part in [
        "Entered by hand",
        "Ines Marlow, registered nurse",
        "Taken by",
        "cart was broken",
        "yes, at the station",
        "entered by hand</span>",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("speech recognition"), "{page}");
    let (_, page) = nurse.get(&format!("{PATH}?done=entered")).await;
    assert!(page.contains("marked as entered by hand"));
    assert!(
        page.contains("128/76") && page.contains("entered by hand</span>"),
        "{page}"
    );
}

/// 100 °F are 37.78 °C: 37.8 lies above, and is never said to lie above 37.8.
#[tokio::test]
async fn a_value_just_past_an_end_of_another_unit_is_not_shown_at_it() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let range = "of=temperature&low=97&high=100";
    nurse.does(&format!("{PATH}/range"), range).await;
    let fields = "sign=temperature&value=37.8&unit=celsius&method=oral&day=2026-03-12&clock=11:40\
                  &taken_by=Dana+Whitlock";
    assert_eq!(
        enters(&mut nurse, fields, "").await.0,
        StatusCode::SEE_OTHER
    );
    let (fact, _) = entered(&site);
    let (_, list) = nurse.get("/worklist").await;
    assert!(list.contains("0.02 °C above 37.78"), "{list}");
    let (_, page) = nurse.get(&format!("/readings/{}", fact.id)).await;
    assert!(page.contains("36.11\u{2013}37.78 °C"), "{page}");
    assert!(page.contains("0.02 °C above 37.78"), "{page}");
    let (_, csv) = nurse.get(&format!("{PATH}/csv")).await;
    assert!(csv.contains("37.8 °C is above 36.11–37.78"), "{csv}");
    let (_, fhir) = nurse.get(&format!("{PATH}/fhir")).await;
    assert!(fhir.contains("36.11 to 37.78 °C"), "{fhir}");
}

#[tokio::test]
async fn it_is_marked_in_all_that_leaves() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let fields = format!("sign=pulse&value=74&unit=per_minute&rhythm=regular&{WHEN}");
    assert_eq!(
        enters(&mut nurse, &fields, "").await.0,
        StatusCode::SEE_OTHER
    );
    let (fact, _) = entered(&site);
    let (_, csv) = nurse.get(&format!("{PATH}/csv")).await;
    let mut reader = csv::Reader::from_reader(csv.trim_start_matches('\u{feff}').as_bytes());
    let mut lines = reader.deserialize::<std::collections::HashMap<String, String>>();
    let own = |it: &Result<std::collections::HashMap<String, String>, csv::Error>| {
        it.as_ref().unwrap()["id"] == fact.id.to_string()
    };
    let line = lines.find(own).unwrap().unwrap();
    assert_eq!(
        (&*line["entered_by"], &*line["taken_by"]),
        ("Ines Marlow", "Dana Whitlock")
    );
    assert_eq!((&*line["heard"], &*line["confidence"]), ("", ""));
    assert_eq!(line["measured_at"], "2026-03-12T09:05:00-05:00");
    assert_eq!(line["round"], "", "it is of none");
    let marked = "ntered by hand by Ines Marlow, registered nurse; taken by Dana Whitlock";
    let (_, fhir) = nurse.get(&format!("{PATH}/fhir")).await;
    assert!(
        fhir.contains(marked) && fhir.contains(&fact.id.to_string()),
        "{fhir}"
    );
    let (_, summary) = nurse.get(&format!("{PATH}/summary")).await;
    assert!(summary.contains(marked), "{summary}");
}

#[tokio::test]
async fn it_raises_what_a_spoken_one_does_and_settles_a_recheck() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let reports = site.station.index().open_reports().count();
    let fields = format!("sign=pulse&value=121&unit=per_minute&{WHEN}");
    let answer = nurse.post(&format!("{PATH}/read-back"), &fields).await;
    let page = text(answer).await;
    assert!(page.contains("open report: pulse"), "{page}");
    assert_eq!(
        enters(&mut nurse, &fields, "").await.0,
        StatusCode::SEE_OTHER
    );
    let (fact, record) = entered(&site);
    let index = site.station.index();
    assert!(index.open_reports().count() > reports);
    let flag = index.flags_of(fact.id).next().unwrap();
    assert_eq!(
        (flag.of, index.closed(flag.id).is_some()),
        (Some(fact.id), false)
    );
    assert!(index.reading(fact.id).unwrap().flagged);
    drop(index);
    // A recorder takes it for history, and for the last one where it is.
    let known = Record::of(&site.facts());
    let id = ResidentId("AR-000".to_owned());
    assert!(known.histories().contains_key(&id));
    assert_eq!(known.reading(fact.id).unwrap().record, record);
    assert_eq!(known.last(&id, VitalSign::Pulse).unwrap().id, fact.id);
}

#[tokio::test]
async fn one_far_from_the_usual_is_looked_at_again() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let fields = format!("sign=pulse&value=188&unit=per_minute&{WHEN}");
    let before = site.facts().len();
    let (status, page) = enters(&mut nurse, &fields, "").await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("far from the usual. Look again"), "{page}");
    // The page that comes back is the one with the box.
    assert!(page.contains("name=\"looked_again\"") && page.contains("Yes, store it"));
    assert_eq!(site.facts().len(), before);
    let (status, page) = enters(&mut nurse, &fields, "&looked_again=on").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    assert!(entered(&site).1.second_look);
}

/// Pounds written as kilograms are within what is likely of anybody.
#[tokio::test]
async fn a_weight_far_from_the_last_one_is_looked_at_again() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let pounds = format!("sign=weight&value=142&unit=pound&{WHEN}");
    let (status, page) = enters(&mut nurse, &pounds, "").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    let kilograms = pounds
        .replace("pound", "kilogram")
        .replace("09:05", "09:06");
    let (status, page) = enters(&mut nurse, &kilograms, "").await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("far from the usual. Look again"), "{page}");
}

#[tokio::test]
async fn what_the_care_plan_speaks_against_needs_a_reason() {
    let site = Site::new();
    let mut home = made::home(4);
    home.residents[0].care.precautions.no_rectal = true;
    let store = Store::open(&site.record()).unwrap();
    let strict = Site::on(tempfile::tempdir().unwrap(), home, store, false);
    let mut nurse = strict.visitor(Role::Nurse).await;
    let fields = format!("sign=temperature&value=98.6&unit=fahrenheit&method=rectal&{WHEN}");
    let (status, page) = enters(&mut nurse, &fields, "").await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("no rectal temperature") && page.contains("taken so all the same"));
    let (status, page) = enters(&mut nurse, &fields, "&went_on=the+doctor+asked").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    let (_, record) = entered(&site);
    assert_eq!(record.went_on[0].reason, "the doctor asked");
}

#[tokio::test]
async fn bad_input_stores_nothing_and_says_why() {
    let site = Site::new();
    let before = site.facts().len();
    let mut nurse = site.visitor(Role::Nurse).await;
    let pulse = "sign=pulse&value=74&unit=per_minute";
    let at =
        |day: &str, clock: &str| format!("{pulse}&day={day}&clock={clock}&taken_by=Dana+Whitlock");
    let cases = [
        (format!("value=74&{WHEN}"), "Choose a vital sign."),
        (format!("sign=mood&value=74&{WHEN}"), "Choose a vital sign."),
        (
            format!("sign=pulse&value=&unit=per_minute&{WHEN}"),
            "Pulse is missing.",
        ),
        (
            format!("sign=pulse&value=seventy&unit=per_minute&{WHEN}"),
            "is not a number.",
        ),
        (
            format!("sign=pulse&value=700&unit=per_minute&{WHEN}"),
            "is not possible",
        ),
        (
            format!("sign=pulse&value=74&unit=percent&{WHEN}"),
            "not measured in",
        ),
        (
            format!("sign=temperature&value=98.6&unit=fahrenheit&{WHEN}"),
            "Choose one.",
        ),
        (
            format!("sign=alertness&{WHEN}"),
            "Choose a level of alertness.",
        ),
        (at("", "09:05"), "The day on which it was taken is missing"),
        (
            at("yesterday", "09:05"),
            "The day on which it was taken is missing",
        ),
        (
            at("2026-03-12", ""),
            "The time at which it was taken is missing",
        ),
        (
            at("2026-03-12", "25:00"),
            "The time at which it was taken is missing",
        ),
        (
            at("2026-03-12", "11:41"),
            "have been taken at 11:41 on March 12, 2026",
        ),
        (at("2027-03-12", "09:05"), "have been taken at"),
        (at("2026-02-08", "09:05"), "Only times of the last 31 days"),
        (at("-9999-01-01", "09:05"), "Only times of the last 31 days"),
        (
            format!("{pulse}&day=2026-03-12&clock=09:05&taken_by=D"),
            "Who took it is missing",
        ),
        (
            format!(
                "{pulse}&day=2026-03-12&clock=09:05&taken_by={}",
                "d".repeat(101)
            ),
            "100 characters at most",
        ),
        (format!("{pulse}&{WHEN}&remark=x"), "The remark is missing"),
        (
            format!("{pulse}&{WHEN}&remark={}", "x".repeat(501)),
            "The remark is too long",
        ),
    ];
    for (fields, why) in &cases {
        for path in ["read-back", "enter"] {
            let answer = nurse.post(&format!("{PATH}/{path}"), fields).await;
            assert_eq!(
                answer.status(),
                StatusCode::UNPROCESSABLE_ENTITY,
                "{fields}"
            );
            let page = text(answer).await;
            assert!(page.contains("Nothing was stored."), "{fields}: {page}");
            assert!(page.contains(why), "{fields}: {why} not in {page}");
        }
    }
    // What was typed is still there.
    let answer = nurse
        .post(&format!("{PATH}/read-back"), &at("2026-03-12", "11:41"))
        .await;
    let page = text(answer).await;
    assert!(
        page.contains("value=\"74\"") && page.contains("value=\"11:41\""),
        "{page}"
    );
    let answer = nurse
        .post("/residents/AR-999/read-back", &at("2026-03-12", "09:05"))
        .await;
    assert_eq!(answer.status(), StatusCode::NOT_FOUND);
    assert_eq!(site.facts().len(), before);
}

/// The yes is to what was shown, and to nothing else.
#[tokio::test]
async fn nothing_is_stored_that_was_not_shown() {
    let site = Site::new();
    let before = site.facts().len();
    let mut nurse = site.visitor(Role::Nurse).await;
    let fields = |value: u32| format!("sign=pulse&value={value}&unit=per_minute&{WHEN}");
    let said = "Pulse seven four, taken by Dana Whitlock on March 12, 2026 at 09:05.";
    for (value, shown) in [(75, said), (74, ""), (74, "Pulse seven four.")] {
        let fields = format!("{}&shown={}", fields(value), encoded(shown));
        let answer = nurse.post(&format!("{PATH}/enter"), &fields).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
        let page = text(answer).await;
        assert!(page.contains("is not what was shown"), "{page}");
    }
    assert_eq!(site.facts().len(), before);
    let right = format!("{}&shown={}", fields(74), encoded(said));
    nurse.does(&format!("{PATH}/enter"), &right).await;
    // Sent twice, it is stored once.
    let answer = nurse.post(&format!("{PATH}/enter"), &right).await;
    let page = text(answer).await;
    assert!(
        page.contains("is in the record already, stored by Ines Marlow"),
        "{page}"
    );
    let read = |it: &&Fact| matches!(&it.body, Body::Read(it) if it.by_nurse);
    assert_eq!(site.facts().iter().filter(read).count(), 1);
    // "No, change it" gives back what was typed.
    let again = format!("{}&again=on", fields(79));
    let answer = nurse.post(&format!("{PATH}/read-back"), &again).await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert!(text(answer).await.contains("value=\"79\""));
}

#[tokio::test]
async fn what_is_typed_is_text_and_nothing_else() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    let name = encoded("\"><b>Dana</b> & Co");
    let fields =
        format!("sign=pulse&value=74&unit=per_minute&day=2026-03-12&clock=09:05&taken_by={name}");
    let answer = nurse.post(&format!("{PATH}/read-back"), &fields).await;
    let page = text(answer).await;
    assert!(!page.contains("<b>Dana"), "{page}");
    assert!(page.contains("&lt;b&gt;Dana"), "{page}");
}

/// Each fact of an act is there or none is, and old ones say nothing of it.
#[test]
fn a_spoken_reading_says_nothing_of_a_nurse() {
    let site = Site::new();
    let read = site
        .facts()
        .into_iter()
        .find(|it| matches!(it.body, Body::Read(_)));
    let json = serde_json::to_value(read.unwrap()).unwrap();
    assert_eq!((json.get("by_nurse"), json.get("by_hand")), (None, None));
    assert_ne!(json["id"], Uuid::nil().to_string());
}

/// In the night in which the clocks are put forward or back: as a zone of five hours
/// behind, four in summer, has it.
#[test]
fn a_time_is_taken_as_the_clock_on_the_wall_showed_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let (accounts, _) = Station::accounts_beside(&path).unwrap();
    let store = Store::open(&path).unwrap();
    let station = Station::new(made::home(4), store, accounts, made::now, false).unwrap();
    let moment = |station: &Station, shown: &str| {
        let found = station.moment(shown.parse().unwrap());
        found.map(|it| it.to_rfc3339())
    };
    let winter = "2026-03-07T09:05:00";
    assert_eq!(
        moment(&station, winter).unwrap(),
        "2026-03-07T09:05:00-05:00"
    );
    let station = station.with_offsets(changing());
    for (shown, is) in [
        (winter, Some("2026-03-07T09:05:00-05:00")),
        ("2026-03-08T02:30:00", None),
        ("2026-03-08T03:30:00", Some("2026-03-08T03:30:00-04:00")),
        ("2026-03-12T09:05:00", Some("2026-03-12T09:05:00-04:00")),
        // Shown twice.
        ("2026-11-01T01:30:00", Some("2026-11-01T01:30:00-04:00")),
    ] {
        assert_eq!(moment(&station, shown).as_deref(), is, "{shown}");
    }
    let fields = Fields::parse(
        b"sign=pulse&value=74&unit=per_minute&day=2026-03-08&clock=02:30&taken_by=Dana+Whitlock",
    );
    let acting = Acting {
        by: made::nurse(),
        at: made::now(),
    };
    let resident = ResidentId("AR-000".to_owned());
    let why = proposed(&station.index(), &resident, &fields, &acting, |it| {
        station.moment(it)
    });
    let why = why.unwrap_err();
    assert!(
        why.starts_with("No clock showed 02:30 on 2026-03-08"),
        "{why}"
    );
}
