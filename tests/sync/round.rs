//! What others recorded, in a round that goes on: at the next identification of a
//! resident at the latest.

use sayback::dialogue::{Dialogue, Event};
use sayback::facts::Body;
use sayback::grammar::Grammar;
use sayback::hearing::Heard;
use sayback::round::{Round, Silent};
use sayback::store::Store;
use sayback::sync::Exchange;
use sayback::vitals::{Bounds, Component, Unit, VitalSign};

use super::*;

/// A recorder with a round under way.
pub struct Cart<'a> {
    pub round: Round<'a>,
    pub now: Time,
}

impl<'a> Cart<'a> {
    pub fn on(store: &'a mut Store, at: &str) -> Self {
        let dialogue =
            Dialogue::new(HOME.clone(), HOME.aides[0].clone(), &Grammar::standard()).unwrap();
        let now = time(at);
        let (round, _) = Round::open(&dialogue, store, now, &mut Silent).unwrap();
        Self { round, now }
    }

    /// What is said to these words.
    pub fn hears(&mut self, words: &str) -> String {
        self.now += chrono::TimeDelta::seconds(5);
        let event = Event::Heard(Heard::from_text(words));
        let turn = self.round.take(&event, self.now, &mut Silent);
        turn.say.map_or_else(String::new, |it| it.shown)
    }

    pub fn all(&mut self, words: &[&str]) -> String {
        words.iter().map(|it| self.hears(it) + "\n").collect()
    }
}

const PRESSURE: &str = "blood pressure one twenty eight over seventy six left arm sitting";

/// Two connections to a record, as the round and the link have them.
pub fn record() -> (tempfile::TempDir, Store, Store) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let round = Store::open(&path).unwrap();
    (folder, round, Store::open(&path).unwrap())
}

/// A range of the systolic pressure from 100 on, set or withdrawn.
fn systolic(resident: &ResidentId, high: u32, withdrawn: bool) -> Body<KeptReading> {
    Body::RangeSet {
        resident: resident.clone(),
        sign: VitalSign::BloodPressure,
        component: Component::Systolic,
        bounds: Bounds {
            low: rust_decimal::dec!(100),
            high: high.into(),
            unit: Unit::MmHg,
        },
        withdrawn,
    }
}

fn pulse_again(resident: &ResidentId) -> Body<KeptReading> {
    Body::RecheckAsked {
        resident: resident.clone(),
        sign: VitalSign::Pulse,
        reason: "it was high at noon".to_owned(),
    }
}

#[test]
fn what_the_nurse_asked_for_and_set_is_heard_at_the_next_resident() {
    let aspen = Aspen::new();
    let (_folder, mut store, mut link_store) = record();
    let mut exchange = Exchange::new(&aspen.recorder);
    let mut station = open(&aspen.station);
    let mut cart = Cart::on(&mut store, "2026-03-02T07:30:00-05:00");
    let walter = ResidentId("AR-042".to_owned());
    let first = cart.all(&["room four bed one", "yes"]);
    assert!(first.contains("Ready for Edith Hollin"), "{first}");
    let (range, recheck) = (systolic(&walter, 120, false), pulse_again(&walter));
    station
        .append(&[&fact(1, range), &fact(2, recheck)])
        .unwrap();
    assert_eq!(exchange.run(&mut link_store).unwrap().fetched, 2);
    cart.hears("done");
    let walter = cart.all(&["room four bed two", "yes"]);
    assert!(walter.contains("it was high at noon"), "{walter}");
    let kept = cart.all(&[PRESSURE, "yes"]);
    // 128 is within what the home's file says, and above what the nurse has set.
    assert!(kept.contains("above the range"), "{kept}");
    assert!(kept.contains("one two zero"), "{kept}");
}

/// Both went to the recorder before they were withdrawn, and stay in its record.
#[test]
fn what_a_nurse_withdrew_is_heard_no_more() {
    let aspen = Aspen::new();
    let (_folder, mut store, mut link_store) = record();
    let mut exchange = Exchange::new(&aspen.recorder);
    let mut station = open(&aspen.station);
    let mut cart = Cart::on(&mut store, "2026-03-02T07:30:00-05:00");
    let walter = ResidentId("AR-042".to_owned());
    let asked = fact(2, pulse_again(&walter));
    station
        .append(&[&fact(1, systolic(&walter, 120, false)), &asked])
        .unwrap();
    assert_eq!(exchange.run(&mut link_store).unwrap().fetched, 2);
    let later = |mut it: Fact<KeptReading>| {
        it.at += chrono::TimeDelta::seconds(1);
        it
    };
    let withdrawn = Body::Acknowledged {
        flags: vec![asked.id],
        resident: walter.clone(),
    };
    let (range, recheck) = (
        later(fact(3, systolic(&walter, 140, true))),
        later(fact(4, withdrawn)),
    );
    station.append(&[&range, &recheck]).unwrap();
    assert_eq!(exchange.run(&mut link_store).unwrap().fetched, 2);
    let walter = cart.all(&["room four bed two", "yes"]);
    assert!(
        walter.contains("Walter") && !walter.contains("high at noon"),
        "{walter}"
    );
    let kept = cart.all(&[PRESSURE, "yes"]);
    assert!(kept.contains("Kept") && !kept.contains("above"), "{kept}");
}

#[test]
fn another_recorders_reading_is_the_last_one_and_its_report_is_heard_where_it_belongs() {
    let aspen = Aspen::new();
    let other = enrol(&aspen.keeper, MemberKind::Recorder, "the other cart");
    let (_one, mut store, mut link_store) = record();
    let (_two, mut other_store, mut other_link) = record();
    let mut cart = Cart::on(&mut store, "2026-03-02T07:30:00-05:00");
    let mut other_cart = Cart::on(&mut other_store, "2026-03-02T07:20:00-05:00");
    let high = "blood pressure one sixty two over eighty eight left arm sitting";
    let said = other_cart.all(&["room four bed two", "yes", high, "yes"]);
    assert!(said.contains("Report to the nurse"), "{said}");
    Exchange::new(&other).run(&mut other_link).unwrap();
    let mut exchange = Exchange::new(&aspen.recorder);
    exchange.run(&mut link_store).unwrap();
    // Of someone else nothing is said about it.
    let edith = cart.all(&["room four bed one", "yes"]);
    assert!(!edith.contains("one six two"), "{edith}");
    cart.hears("done");
    let walter = cart.all(&["room four bed two", "yes"]);
    assert!(
        walter.contains("one six two"),
        "its report is open: {walter}"
    );
    let last = cart.hears("last blood pressure");
    assert!(last.contains("one six two over eight eight"), "{last}");
    // The other tells the nurse; here it is closed too.
    let told = other_cart.all(&["reported to nurse marlow", "yes"]);
    assert!(told.to_lowercase().contains("reported"), "{told}");
    Exchange::new(&other).run(&mut other_link).unwrap();
    assert!(exchange.run(&mut link_store).unwrap().fetched > 0);
    assert_eq!(cart.round.state().open_reports().len(), 1);
    cart.all(&["done", "room nine", "yes"]);
    assert_eq!(cart.round.state().open_reports().len(), 0);
}

/// What another recorder only read back is not this one's to close.
#[test]
fn a_round_elsewhere_is_left_alone() {
    let aspen = Aspen::new();
    let other = enrol(&aspen.keeper, MemberKind::Recorder, "the other cart");
    let (_one, mut store, mut link_store) = record();
    let (_two, mut other_store, mut other_link) = record();
    let mut other_cart = Cart::on(&mut other_store, "2026-03-02T07:31:00-05:00");
    other_cart.all(&["room four bed two", "yes", PRESSURE]);
    Exchange::new(&other).run(&mut other_link).unwrap();
    let mut exchange = Exchange::new(&aspen.recorder);
    exchange.run(&mut link_store).unwrap();
    drop(Cart::on(&mut store, "2026-03-02T07:35:00-05:00"));
    exchange.run(&mut link_store).unwrap();
    let mut station = open(&aspen.station);
    let dropped = station.facts_after(0, usize::MAX).unwrap().into_iter();
    let dropped =
        dropped.filter(|it| matches!(it.fact.as_ref().unwrap().body, Body::Dropped { .. }));
    assert_eq!(dropped.count(), 0);
    let kept = other_cart.hears("yes");
    assert!(kept.contains("Kept"), "{kept}");
}
