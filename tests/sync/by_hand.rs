//! What a nurse enters, moves and puts right at the station, and the recorders.

use sayback::facts::{ByHand, MovedFrom, ReadBack, Ready, Record, TimeChange};
use sayback::store::Store;
use sayback::sync::Exchange;
use sayback::vitals::{Measurement, Numbers, Qualifiers, Unit, VitalSign};

use super::*;

fn pulse(value: u32) -> Measurement {
    let (numbers, how) = (Numbers::One(value.into()), Qualifiers::default());
    Measurement::new(VitalSign::Pulse, numbers, Unit::PerMinute, how).unwrap()
}

fn of(resident: &str) -> ResidentId {
    ResidentId(resident.to_owned())
}

/// A reading that was on paper, as a station stores it.
fn entered(number: u128) -> Fact<KeptReading> {
    let now = time("2026-03-02T07:30:00-05:00");
    let whose = ByHand {
        taken_by: "Dana Whitlock".to_owned(),
        entered_by: nurse(),
    };
    let at = time("2026-03-02T06:10:00-05:00");
    let ready = Ready::by_hand(pulse(74), at, now, Vec::new(), whose).unwrap();
    let read_back = ReadBack::of(Uuid::from_u128(number + 100), of("AR-090"), vec![ready]);
    let shown = read_back.text().to_owned();
    let kept = read_back
        .confirm_shown(&shown, now, false)
        .unwrap()
        .remove(0);
    fact(number, Body::Read(kept))
}

fn recorder(link: &Link) -> (tempfile::TempDir, Store, Exchange) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("record.db")).unwrap();
    (folder, store, Exchange::new(link))
}

#[test]
fn what_a_nurse_enters_reaches_the_recorders_as_history() {
    let aspen = Aspen::new();
    let mut station = open(&aspen.station);
    station.append(&[&entered(1)]).unwrap();
    let corrected = Body::Corrected {
        reading: Uuid::from_u128(1),
        resident: of("AR-090"),
        old: pulse(74),
        new: pulse(74),
        reason: "misread".to_owned(),
        stands: Vec::new(),
        over: vec![Uuid::from_u128(1)],
        by_nurse: true,
        time: Some(TimeChange {
            old: time("2026-03-02T06:10:00-05:00"),
            new: time("2026-03-02T05:10:00-05:00"),
        }),
    };
    station.append(&[&fact(2, corrected)]).unwrap();
    let (_folder, mut cart, mut exchange) = recorder(&aspen.recorder);
    let moved = exchange.run(&mut cart).unwrap();
    assert_eq!((moved.sent, moved.fetched), (0, 2));
    let known = Record::of(&cart.facts().unwrap());
    let last = known.last(&of("AR-090"), VitalSign::Pulse).unwrap();
    assert_eq!(
        last.record.by_hand.as_ref().unwrap().taken_by,
        "Dana Whitlock"
    );
    assert_eq!(last.measured_at, time("2026-03-02T05:10:00-05:00"));
    assert!(known.histories().contains_key(&of("AR-090")));
    assert!(cart.check(&[]).unwrap().sound() && station.check(&[]).unwrap().sound());
}

/// A recorder hears what it stores; only a station may say otherwise.
#[test]
fn a_recorder_cannot_pass_off_what_it_sends_as_a_nurses() {
    let aspen = Aspen::new();
    let mut cart = open(&aspen.recorder);
    let mut text = serde_json::to_value(entered(1)).unwrap();
    let as_sent = |json: &serde_json::Value| Sent {
        id: Uuid::from_u128(1),
        fact: json.to_string(),
        seq: None,
        hash: None,
    };
    let refused = cart.put(&[as_sent(&text)]).unwrap_err().to_string();
    assert!(
        refused.contains("a reading that a nurse stored"),
        "{refused}"
    );
    // Nor by half.
    text.as_object_mut().unwrap().remove("by_nurse");
    let refused = cart.put(&[as_sent(&text)]).unwrap_err().to_string();
    assert!(
        refused.contains("a reading that a nurse stored"),
        "{refused}"
    );
    // Nor a time.
    let time = time("2026-03-02T06:10:00-05:00");
    let corrected = Body::Corrected {
        reading: Uuid::from_u128(77),
        resident: of("AR-090"),
        old: pulse(74),
        new: pulse(74),
        reason: MovedFrom::WHY.to_owned(),
        stands: Vec::new(),
        over: Vec::new(),
        by_nurse: false,
        time: Some(TimeChange {
            old: time,
            new: time,
        }),
    };
    let refused = cart.put(&[sent(&fact(3, corrected))]).unwrap_err();
    assert!(
        refused.to_string().contains("a nurse's correction"),
        "{refused}"
    );
    assert_eq!(ids(&mut open(&aspen.station)), [0; 0]);
    text.as_object_mut().unwrap().remove("by_hand");
    cart.put(&[as_sent(&text)]).unwrap();
}
