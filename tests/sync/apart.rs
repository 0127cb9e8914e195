//! One reading corrected by the aide on a recorder that is cut off, and by a nurse at
//! the home: what holds is the same in both, from when they have met.

use sayback::facts::Record;
use sayback::review::acts::{self, Acting, NotDone};
use sayback::review::export::Chart;
use sayback::review::fields::Fields;
use sayback::store::Store;
use sayback::sync::Exchange;
use sayback::vitals::VitalSign;

use super::round::{Cart, record};
use super::site::Site;
use super::station::{aspen, desk};
use super::*;

/// What the pulse is, by the record of a recorder and by the station of the home.
fn pulses(store: &Store, site: &Site, id: Uuid) -> (String, String) {
    site.station.refresh().unwrap();
    let shown = sayback::round::shown;
    let facts = store.facts().unwrap();
    let record = Record::of(&facts);
    let here = shown(&record.reading(id).unwrap().measurement);
    let chart = Chart::of(&facts);
    let charted = chart.readings.iter().find(|it| it.id == id).unwrap();
    assert_eq!(shown(charted.measurement), here, "what is exported here");
    let index = site.station.index();
    (here, shown(&index.reading(id).unwrap().measurement))
}

fn nurse_corrects(site: &Site, id: Uuid, seen: usize, value: u32) -> Result<(), NotDone> {
    let typed = format!("seen={seen}&value={value}&unit=per_minute&reason=misread");
    let acting = Acting {
        by: nurse(),
        at: time("2026-03-02T07:40:00-05:00"),
    };
    let fields = Fields::parse(typed.as_bytes());
    site.station
        .act(|index| acts::correct(index, id, &fields, &acting))
}

#[test]
fn a_nurses_correction_and_an_aides_made_apart_end_the_same_everywhere() {
    let aspen = aspen();
    let (_folder, mut store, mut link_store) = record();
    let mut exchange = Exchange::new(&aspen.recorder);
    let site = desk(&aspen.station);
    let mut cart = Cart::on(&mut store, "2026-03-02T07:30:00-05:00");
    cart.all(&["room nine", "yes", "pulse one thirty", "yes"]);
    let facts = link_store.facts().unwrap();
    let read = facts.iter().find(|it| matches!(it.body, Body::Read(_)));
    let id = read.unwrap().id;
    exchange.run(&mut link_store).unwrap();
    site.station.refresh().unwrap();

    // Apart: the nurse first, the aide later, who has not heard of it.
    nurse_corrects(&site, id, 0, 103).unwrap();
    cart.now += chrono::TimeDelta::minutes(15);
    let changed = cart.all(&["change the pulse to one thirteen", "yes"]);
    assert!(changed.contains("Changed"), "{changed}");
    let (here, home) = pulses(&link_store, &site, id);
    assert!(
        here.contains("113") && home.contains("103"),
        "{here} {home}"
    );

    exchange.run(&mut link_store).unwrap();
    let (here, home) = pulses(&link_store, &site, id);
    assert_eq!(here, home, "they have met");
    assert!(home.contains("103"), "the nurse's holds: {home}");
    {
        let index = site.station.index();
        assert!(index.is_apart(index.reading(id).unwrap()));
    }
    // The round hears of it at the next resident: what is last, and what is kept.
    cart.all(&["done", "room nine", "yes"]);
    let last = cart.hears("last pulse");
    assert!(last.contains("one zero three"), "{last}");
    // Now the aide knows of both, and what is said next is over the nurse's.
    let again = cart.all(&["change the pulse to one zero four", "yes"]);
    assert!(
        again.contains("one zero three, to Pulse one zero four"),
        "{again}"
    );
    exchange.run(&mut link_store).unwrap();
    let (here, home) = pulses(&link_store, &site, id);
    assert_eq!(here, home);
    assert!(home.contains("104"), "{home}");

    // A new recorder gets all in the home's order, and has the same.
    let (_other, mut fresh, _) = record();
    Exchange::new(&enrol(&aspen.keeper, MemberKind::Recorder, "another cart"))
        .run(&mut fresh)
        .unwrap();
    assert_eq!(pulses(&fresh, &site, id).0, home);
    let record = Record::of(&fresh.facts().unwrap());
    let last = record.last(&ResidentId("AR-090".to_owned()), VitalSign::Pulse);
    assert_eq!(last.unwrap().id, id);
}

/// Only a station may say that a correction is a nurse's.
#[test]
fn a_recorder_cannot_pass_its_correction_off_as_a_nurses() {
    let aspen = Aspen::new();
    let corrected = |number, by_nurse| {
        let pulse = |value: u32| {
            let numbers = sayback::vitals::Numbers::One(value.into());
            let how = sayback::vitals::Qualifiers::default();
            let unit = sayback::vitals::Unit::PerMinute;
            sayback::vitals::Measurement::new(VitalSign::Pulse, numbers, unit, how).unwrap()
        };
        let body = Body::Corrected {
            reading: Uuid::from_u128(77),
            resident: ResidentId("AR-090".to_owned()),
            old: pulse(70),
            new: pulse(80),
            reason: "misread".to_owned(),
            stands: Vec::new(),
            over: vec![Uuid::from_u128(77)],
            by_nurse,
            time: None,
        };
        fact(number, body)
    };
    let mut recorder = open(&aspen.recorder);
    let refused = recorder.put(&[sent(&corrected(1, true))]).unwrap_err();
    assert!(
        refused.to_string().contains("a nurse's correction"),
        "{refused}"
    );
    recorder.put(&[sent(&corrected(2, false))]).unwrap();
    let mut station = open(&aspen.station);
    station.append(&[&corrected(3, true)]).unwrap();
    assert_eq!(ids(&mut station), [2, 3]);
}
