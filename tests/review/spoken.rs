//! What an aide changed by voice, on the nurse's pages.

use chrono::TimeDelta;
use sayback::facts::{Body, Dropped, Fact};
use sayback::residents::ResidentId;
use sayback::review::accounts::Role;
use sayback::store::Store;
use sayback::vitals::{Numbers, Unit, VitalSign};
use uuid::Uuid;

use super::clocks::put;
use super::made::{self, Writer};
use super::site::Site;

fn readings(site: &Site) -> Vec<(Uuid, String)> {
    let read = |it: Fact| match it.body {
        Body::Read(record) => Some((it.id, record.resident.0)),
        _ => None,
    };
    let facts = site.facts().into_iter();
    facts.filter_map(read).collect()
}

#[tokio::test]
async fn a_moved_reading_is_retracted_in_one_record_and_stands_in_the_other() {
    let site = Site::after(&[
        "room one bed one",
        "yes",
        "pulse one thirty",
        "yes",
        "wrong resident",
        "room one bed two",
        "yes",
        "yes",
    ]);
    let all = readings(&site);
    let [(wrong, edith), (right, walter)] = all.as_slice() else {
        panic!("{all:?}")
    };
    assert_eq!((edith.as_str(), walter.as_str()), ("AR-000", "AR-001"));
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get(&format!("/readings/{wrong}")).await;
    assert!(page.contains("no longer counts"), "{page}");
    assert!(page.contains("moved to another resident"), "{page}");
    assert!(
        page.contains(&format!("href=\"/readings/{right}\"")),
        "{page}"
    );
    assert!(page.contains("withdrawn by Dana Whitlock"), "{page}");
    let (_, page) = nurse.get(&format!("/readings/{right}")).await;
    assert!(page.contains("moved from that record"), "{page}");
    assert!(page.contains("Edith Hollin"), "{page}");
    assert!(
        page.contains(&format!("href=\"/readings/{wrong}\"")),
        "{page}"
    );
    assert!(page.contains("Nothing: it stands as it was recorded."));
    let (_, worklist) = nurse.get("/worklist").await;
    let open = |id: &Uuid| worklist.contains(&format!("/readings/{id}"));
    assert!(open(right) && !open(wrong), "{worklist}");
}

#[tokio::test]
async fn a_correction_by_voice_shows_both_values_who_and_why() {
    let site = Site::after(&[
        "room one bed one",
        "yes",
        "pulse one thirty regular",
        "yes",
        "reported to nurse marlow",
        "yes",
        "change the pulse to eighty",
        "yes",
    ]);
    let (id, _) = readings(&site)[0].clone();
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get(&format!("/readings/{id}")).await;
    assert!(page.contains("<s>130"), "{page}");
    assert!(page.contains("<b>80"), "{page}");
    assert!(
        page.contains("by voice: “change the pulse to eighty”"),
        "{page}"
    );
    assert!(page.contains("Dana Whitlock, nursing aide"), "{page}");
    let (_, worklist) = nurse.get("/worklist").await;
    assert!(
        worklist.contains(
            "Ines Marlow was told of pulse 130, regular. It is corrected to 80, regular."
        ),
        "{worklist}"
    );
}

/// What waited for a yes when the recorder stopped is said to whoever goes on, who may never
/// take it again. The nurse sees it as she sees what was left unanswered, until she signs.
#[tokio::test]
async fn what_a_stop_left_is_on_the_worklist_after_the_next_round_began() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let mut out = Writer::new(&path);
    let stopped = made::now() - TimeDelta::hours(3);
    let rate = Numbers::One(72.into());
    let pulse = made::measure(VitalSign::Pulse, rate, Unit::PerMinute, &[]);
    put(&mut out, "AR-001", pulse, stopped);
    let offers = |read_back: &str| Body::Offered {
        resident: ResidentId("AR-000".to_owned()),
        read_back: read_back.to_owned(),
        readings: Vec::new(),
        moves: Vec::new(),
        unfinished: None,
    };
    let (aide, next) = (made::aide(0), made::aide(1));
    let round = Uuid::now_v7();
    let home = "Alder Ridge House".to_owned();
    out.put(stopped, &aide, round, Body::RoundOpened { home });
    let waits = out.put(stopped, &aide, round, offers("Respiration one six."));
    let scratched = out.put(stopped, &aide, round, offers("Pulse nine nine."));
    let went_on = stopped + TimeDelta::hours(2);
    for (offer, why) in [(waits, Dropped::Stopped), (scratched, Dropped::Scratched)] {
        let unfinished = false;
        let dropped = Body::Dropped {
            offer,
            why,
            unfinished,
        };
        out.put(went_on, &next, Uuid::now_v7(), dropped);
    }
    out.end();
    let record = Store::open(&path).unwrap();
    let site = Site::on(folder, made::home(4), record, false);
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/worklist").await;
    let (_, held) = page.split_once("id=\"held\"").expect(&page);
    let (held, _) = held.split_once("</section>").unwrap();
    for part in [
        "Respiration one six.",
        "Edith Hollin",
        "recorder stopped",
        "today 08:40",
    ] {
        assert!(held.contains(part), "{part}: {held}");
    }
    assert!(!page.contains("Pulse nine nine."), "{page}");
    nurse.does(&format!("/rounds/{round}/sign"), "").await;
    let (_, page) = nurse.get("/worklist").await;
    assert!(!page.contains("Respiration one six."), "{page}");
}

/// What a resident is said to feel is no reading and raises no report: only a nurse who is
/// shown it knows of it.
#[tokio::test]
async fn how_a_resident_feels_is_shown_until_the_round_is_signed() {
    let site = Site::after(&[
        "room one bed one",
        "yes",
        "she is dizzy",
        "yes",
        "end of round",
        "end of round",
    ]);
    let round = site.facts().last().unwrap().round;
    let mut nurse = site.visitor(Role::Nurse).await;
    nurse
        .does("/residents/AR-001/note", "text=prefers+the+window")
        .await;
    let (_, page) = nurse.get("/worklist").await;
    let (_, noted) = page.split_once("id=\"remarks\"").expect(&page);
    let (noted, _) = noted.split_once("</section>").unwrap();
    for part in ["Edith Hollin", "<p>dizzy</p>", "Dana Whitlock"] {
        assert!(noted.contains(part), "{part}: {noted}");
    }
    assert!(!noted.contains("prefers the window"), "{noted}");
    for path in [format!("/rounds/{round}"), format!("/rounds/{round}/sheet")] {
        let (_, page) = nurse.get(&path).await;
        assert!(
            page.to_lowercase().contains("noted for the nurse"),
            "{page}"
        );
        assert!(page.contains("dizzy"), "{page}");
        assert!(!page.contains("prefers the window"), "{page}");
        assert!(!page.contains("Nothing recorded of: Edith"), "{page}");
    }
    nurse.does(&format!("/rounds/{round}/sign"), "").await;
    let (_, page) = nurse.get("/worklist").await;
    assert!(!page.contains("id=\"remarks\""), "{page}");
}

/// Of two reports of one reading each says what it is of, and the value is beside it.
#[tokio::test]
async fn a_report_says_its_value_and_what_it_is_of() {
    let site = Site::after(&[
        "room one bed one",
        "yes",
        "pain six",
        "yes",
        "pulse one thirty regular",
        "yes",
        "blood pressure one sixty over eighty left arm sitting",
        "yes",
    ]);
    let all = readings(&site);
    let [(pain, _), (pulse, _), _] = all.as_slice() else {
        panic!("{all:?}")
    };
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/worklist").await;
    let (_, reports) = page.split_once("id=\"reports\"").unwrap();
    let (reports, _) = reports.split_once("</section>").unwrap();
    for part in [
        "Pain <b>6\u{a0}points</b>",
        "\"Acknowledge: Edith Hollin, Pain rated 6 of 10\"",
        "\"Acknowledge: Edith Hollin, pulse above range\"",
        ">regular, measured <time",
        ">of 160/80\u{a0}mmHg, left arm, sitting, measured <time",
    ] {
        assert!(reports.contains(part), "{part}: {reports}");
    }
    let (_, page) = nurse.get("/residents/AR-000/summary").await;
    let (_, open) = page.split_once("Not yet reported").unwrap();
    let (open, _) = open.split_once("</ul>").unwrap();
    let dated = open.matches("<span class=\"how\">2026-03-12 11:2").count();
    assert_eq!(dated, open.matches("<li>").count(), "{open}");
    assert!(open.contains("<li>Pulse 130 /min is above"), "{open}");
    for (reading, states) in [
        (pain, ["open report", "raised by a rule"]),
        (pulse, ["open report", "above range"]),
    ] {
        let (_, page) = nurse.get(&format!("/readings/{reading}")).await;
        let (head, _) = page.split_once("How it was recorded").unwrap();
        for state in states {
            assert!(head.contains(state), "{state}: {head}");
        }
    }
}
