//! Open reports that compare with what was retracted or corrected since, and the order in
//! which open reports are listed.

use chrono::{Days, TimeDelta};
use rust_decimal::{Decimal, dec};
use sayback::facts::{Body, Raised, Time};
use sayback::residents::ResidentId;
use sayback::review::accounts::Role;
use sayback::store::Store;
use sayback::vitals::{History, Measurement, Numbers, Qualifier, Reading, Rhythm, Unit, VitalSign};
use uuid::Uuid;

use super::clocks::put;
use super::made::{self, Writer};
use super::site::Site;

fn weight(pounds: Decimal) -> Measurement {
    let pounds = Numbers::One(pounds);
    made::measure(VitalSign::Weight, pounds, Unit::Pound, &[])
}

/// Writes weights of so many days ago and what the last of them raises; gives their facts.
fn weighed(out: &mut Writer, weights: &[(u64, Decimal)]) -> Vec<Uuid> {
    let home = made::home(1);
    let resident = &home.residents[0];
    let mut history = History::default();
    let mut ids = Vec::new();
    for (nth, (ago, pounds)) in weights.iter().enumerate() {
        let at: Time = made::now() - Days::new(*ago) - TimeDelta::minutes(5);
        let measurement = weight(*pounds);
        let id = put(out, &resident.id.0, measurement.clone(), at);
        ids.push(id);
        let reading = Reading { at, measurement };
        history.push(reading.clone());
        if nth + 1 < weights.len() {
            continue;
        }
        for raised in Raised::by(resident.known(&history), &reading) {
            let body = raised.into_body(id, resident.id.clone(), id);
            out.put(at, &made::aide(0), Uuid::now_v7(), body);
        }
    }
    ids
}

fn site(write: impl FnOnce(&mut Writer) -> Vec<Uuid>) -> (Site, Vec<Uuid>) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let mut out = Writer::new(&path);
    let ids = write(&mut out);
    out.end();
    let record = Store::open(&path).unwrap();
    (Site::on(folder, made::home(1), record, false), ids)
}

const GONE: &str = "compares with what was changed since";

#[tokio::test]
async fn a_report_says_that_the_weight_it_compares_with_was_retracted() {
    let weights = [(40, dec!(172)), (30, dec!(200)), (0, dec!(170))];
    let (site, ids) = site(|out| weighed(out, &weights));
    let mut nurse = site.visitor(Role::Nurse).await;
    let reading = format!("/readings/{}", ids[2]);
    let (_, list) = nurse.get("/worklist").await;
    assert!(
        list.contains("15 percent less") && !list.contains(GONE),
        "{list}"
    );
    // Another weight that is retracted has nothing to do with it.
    let path = format!("/readings/{}/retract", ids[0]);
    nurse.does(&path, "seen=0&reason=shoes+on").await;
    let (_, list) = nurse.get("/worklist").await;
    assert!(
        list.contains("15 percent less") && !list.contains(GONE),
        "{list}"
    );
    let path = format!("/readings/{}/retract", ids[1]);
    nurse
        .does(&path, "seen=0&reason=weighed+in+the+chair")
        .await;
    for page in ["/worklist", &reading] {
        let (_, page) = nurse.get(page).await;
        assert!(page.contains("15 percent less"), "it stays open: {page}");
        assert_eq!(page.matches(GONE).count(), 1, "{page}");
        let (_, line) = page.split_once(GONE).unwrap();
        let (line, _) = line.split_once("</p>").unwrap();
        assert!(
            line.contains("200\u{a0}lb") && line.contains("retracted by Ines Marlow"),
            "{line}"
        );
        assert!(line.contains("weighed in the chair"), "{line}");
    }
}

#[tokio::test]
async fn a_report_says_to_what_the_weight_it_compares_with_was_corrected() {
    let (site, ids) = site(|out| weighed(out, &[(30, dec!(200)), (0, dec!(170))]));
    let mut nurse = site.visitor(Role::Nurse).await;
    let path = format!("/readings/{}/correct", ids[0]);
    nurse
        .does(&path, "seen=0&value=172&unit=pound&reason=misread")
        .await;
    let (_, list) = nurse.get("/worklist").await;
    let (_, line) = list.split_once(GONE).expect(&list);
    let (line, _) = line.split_once("</p>").unwrap();
    assert!(
        line.contains("200\u{a0}lb") && line.contains("corrected to <b>172"),
        "{line}"
    );
}

/// Two pulses out of range; the later one is so far from the usual that it was confirmed
/// twice.
#[tokio::test]
async fn what_is_far_from_the_usual_is_listed_before_what_is_older() {
    let (site, _) = site(|out| {
        let resident = ResidentId("AR-000".to_owned());
        let home = made::home(1);
        for (ago, rate, looked) in [(40, 110, false), (30, 112, false), (20, 190, true)] {
            let at: Time = made::now() - TimeDelta::minutes(ago);
            let rate = Numbers::One(rate.into());
            let how = [Qualifier::Rhythm(Rhythm::Regular)];
            let pulse = made::measure(VitalSign::Pulse, rate, Unit::PerMinute, &how);
            let mut record = made::reading(resident.clone(), pulse, at);
            record.second_look = looked;
            let reading = record.reading();
            let (by, round) = (made::aide(0), Uuid::now_v7());
            let id = out.put(at, &by, round, Body::Read(record));
            let history = History::default();
            for raised in Raised::by(home.residents[0].known(&history), &reading) {
                out.put(at, &by, round, raised.into_body(id, resident.clone(), id));
            }
        }
        Vec::new()
    });
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, list) = nurse.get("/worklist").await;
    let (_, reports) = list.split_once("id=\"reports\"").unwrap();
    let at = |value: &str| {
        reports
            .find(value)
            .unwrap_or_else(|| panic!("{value}: {list}"))
    };
    assert!(
        at("190 ") < at("110 ") && at("110 ") < at("112 "),
        "{reports}"
    );
}
