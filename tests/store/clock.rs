//! A clock that is set back: facts keep the order in which they were appended,
//! and what was said last is what holds, everywhere.

use sayback::dialogue::Event;
use sayback::facts::{Body, Fact, Record, Time, VERSION};
use sayback::hearing::Heard;
use sayback::residents::Staff;
use sayback::review::export::Chart;
use sayback::round::{Round, Silent};
use sayback::store::Store;
use sayback::vitals::VitalSign;
use uuid::Uuid;

use super::{DIALOGUE, record};

fn at(text: &str) -> Time {
    Time::parse_from_rfc3339(text).unwrap()
}

/// A pulse of `value` is read and kept at this time by the clock.
fn keep(store: &mut Store, value: &str, now: Time) -> Fact {
    let (mut round, _) = Round::open(&DIALOGUE, store, now, &mut Silent).unwrap();
    for words in ["room nine", "yes", &format!("pulse {value}"), "yes"] {
        round.take(&Event::Heard(Heard::from_text(words)), now, &mut Silent);
    }
    store.facts().unwrap().pop().unwrap()
}

#[test]
fn facts_keep_their_order_and_the_last_correction_holds() {
    let (_folder, path) = record();
    let mut store = Store::open(&path).unwrap();
    let first = keep(&mut store, "seventy", at("2026-03-02T09:00:00-05:00"));
    let second = keep(&mut store, "eighty", at("2026-03-02T07:00:00-05:00"));
    assert!(second.id < first.id, "identifiers go back with the clock");
    let (Body::Read(a), Body::Read(b)) = (&first.body, &second.body) else {
        panic!("{first:?} {second:?}");
    };

    // Corrected twice, the second time by a clock that was set back.
    assert_ne!(a.measurement, b.measurement);
    let values = [&a.measurement, &b.measurement, &a.measurement];
    for (old, new, time) in [
        (0, 1, "2026-03-02T10:00:00-05:00"),
        (1, 2, "2026-03-02T08:00:00-05:00"),
    ] {
        let number = u128::from(time.contains("T10")) + 1;
        let fact = Fact {
            id: Uuid::from_u128(number),
            version: VERSION,
            at: at(time),
            by: Staff {
                name: "Ines Marlow".to_owned(),
                title: "registered nurse".to_owned(),
            },
            round: first.round,
            body: Body::Corrected {
                reading: first.id,
                resident: a.resident.clone(),
                old: values[old].clone(),
                new: values[new].clone(),
                reason: "misread".to_owned(),
                stands: Vec::new(),
                over: Vec::new(),
                by_nurse: false,
                time: None,
            },
        };
        store.append(&[&fact]).unwrap();
    }

    let facts = store.facts().unwrap();
    let record = Record::of(&facts);
    let order: Vec<Uuid> = record.readings().map(|it| it.id).collect();
    assert_eq!(order, [first.id, second.id], "the order of the record");
    let holds = record.readings().next().unwrap();
    assert_eq!(holds.measurement, a.measurement);
    let chart = Chart::of(&facts);
    let entry = chart.readings.iter().find(|it| it.id == first.id).unwrap();
    assert_eq!(*entry.measurement, a.measurement);
    assert_eq!(entry.corrections.len(), 2);
    // By when it was measured, the first is the last.
    let last = record.last(&a.resident, VitalSign::Pulse).unwrap();
    assert_eq!(last.id, first.id);
    assert!(store.check(&[]).unwrap().sound());
}
