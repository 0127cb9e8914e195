//! An hour of a round: 20 residents, six readings each, spoken aloud over
//! ventilation by an aide who says yes only to what is true, with all that goes
//! wrong in an hour. The clock is simulated; everything else is the true program:
//! the recogniser hears sound, and the record is read back from the disk. Every
//! fact in it is the truth: none is missing and none is there that should not be.
//!
//! With `--nocapture` it prints what docs/figures.md holds of it:
//! `cargo test --release --test hour -- --nocapture`.

mod aide;
mod plan;
mod sound;
#[path = "../truthful/truth.rs"]
#[allow(dead_code, reason = "another proof draws its truths there")]
mod truth;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use fastrand::Rng;
use sayback::dialogue::Dialogue;
use sayback::facts::{Body, Fact, Time};
use sayback::grammar::Grammar;
use sayback::residents::Staff;
use sayback::round::ear_for;
use sayback::store::Store;
use sayback::vitals::{Measurement, NotTakenReason, VitalSign};
use uuid::Uuid;

use aide::{Aide, Seen, Spoken, World, as_left_by_a_killed_program};
use plan::{Incident, Visit};
use sound::{CHAT, Ventilation, Voices};

const DANA: &str = "flite:slt";
const MARCUS: &str = "espeak-ng:en-us";
/// Whoever else speaks in the room.
const OTHERS: [&str; 2] = ["flite:kal", "espeak-ng:en-gb+f2"];

/// One visit, up to "done". Gives the record as it was left when the program was
/// killed, if it was.
fn visit(aide: &mut Aide<'_, '_>, of: &Visit, all: &[Visit], record: &Path) -> Option<PathBuf> {
    let never = |_: &str| false;
    let waits = |question: &str| question.ends_with("Yes?") && !question.contains("wristband");
    let mut truths = of.readings.clone();
    match of.incident {
        Some(Incident::WrongRoom) => aide.say("room twelve"),
        Some(Incident::Talk) => {
            aide.record(of, &truths[..2], never);
            for (at, words) in CHAT[..6].iter().enumerate() {
                aide.talk(OTHERS[at % 2], words);
            }
        }
        Some(Incident::Refusal) => {
            aide.record(of, &truths[..3], never);
            truths.retain(|it| it.sign() != VitalSign::Weight);
            aide.refuse_weight();
        }
        Some(Incident::Slip) => {
            aide.record(of, &[], never);
            aide.identify(of);
            aide.say_readings(&[plan::slipped(&truths[1])]);
        }
        Some(Incident::Afterthought) => {
            let slip = plan::slipped(&truths[1]);
            aide.record(of, std::slice::from_ref(&slip), never);
            aide.change_pulse(&truths[1]);
        }
        Some(Incident::Mistaken) => {
            let neighbour = &all[all.len() - 1];
            aide.record(neighbour, &truths[..2], never);
            aide.move_to(of);
        }
        Some(Incident::DeadMicrophone) => {
            aide.record(of, &truths[..1], waits);
            aide.dead = 2;
            aide.say("yes");
            aide.say("yes");
            assert!(
                aide.said().contains("Held as unconfirmed"),
                "{}",
                aide.said()
            );
        }
        Some(Incident::Killed) => {
            aide.record(of, &truths[..1], waits);
            let copy = record.with_file_name("after.db");
            return Some(as_left_by_a_killed_program(record, &copy));
        }
        Some(Incident::Asleep) => {
            aide.record(of, &truths[..2], never);
            aide.until(&["stop listening"], "Not listening");
            for words in ["pulse ninety two regular", "yes", CHAT[0]] {
                aide.talk(aide.world.voice, words);
            }
            aide.until(&["start listening"], "Listening");
        }
        Some(Incident::Handover | Incident::Report | Incident::LateReport) | None => {}
    }
    aide.record(of, &truths, never);
    if of.incident != Some(Incident::LateReport) {
        aide.report(Some(&of.resident));
    }
    aide.until(&["done", "finished", "all done"], "Done with");
    None
}

/// Everything from one start of the program to its end.
fn shift(
    world: &mut World<'_>,
    dialogue: &Dialogue,
    record: &Path,
    seen: &mut Seen,
    (from, all): (usize, &[Visit]),
) -> Option<(usize, PathBuf)> {
    let mut store = Store::open(record).expect("a record");
    let marcus = dialogue.home().aides[1].clone();
    let mut aide = Aide::begin(world, dialogue, &mut store, seen);
    if from > 0 {
        let said = aide.said();
        assert!(
            said.contains("waiting for a yes and was not kept"),
            "{said}"
        );
    }
    for (at, of) in all.iter().enumerate().skip(from) {
        let mut of = of.clone();
        if at == from && of.incident == Some(Incident::Killed) {
            of.incident = None;
        }
        if of.incident == Some(Incident::Handover) {
            aide.hand_over(&marcus, MARCUS, "this is badge three five seven");
        }
        if let Some(copy) = visit(&mut aide, &of, all, record) {
            return Some((at, copy));
        }
    }
    aide.until(
        &["end of round", "round finished"],
        "The round is not closed",
    );
    aide.report(None);
    aide.until(&["end of round", "round finished"], "Round closed");
    assert!(aide.ended());
    None
}

/// What stands in the record, by resident: what was corrected as it is now, what
/// was retracted not at all. Folded here anew, apart from the program's own fold.
fn standing(facts: &[Fact]) -> BTreeMap<String, Vec<(Measurement, String)>> {
    let mut readings: BTreeMap<Uuid, (String, Measurement, String)> = BTreeMap::new();
    for fact in facts {
        match &fact.body {
            Body::Read(it) => {
                let reading = (
                    it.resident.0.clone(),
                    it.measurement.clone(),
                    fact.by.name.clone(),
                );
                readings.insert(fact.id, reading);
            }
            Body::Corrected { reading, new, .. } => {
                readings.get_mut(reading).expect("a reading").1 = new.clone();
            }
            Body::Retracted { reading, .. } => {
                readings.remove(reading).expect("a reading");
            }
            _ => {}
        }
    }
    let mut by_resident: BTreeMap<String, Vec<_>> = BTreeMap::new();
    for (resident, measurement, by) in readings.into_values() {
        by_resident
            .entry(resident)
            .or_default()
            .push((measurement, by));
    }
    for all in by_resident.values_mut() {
        all.sort_by_key(|it| it.0.sign());
    }
    by_resident
}

fn truth_of(all: &[Visit], aides: &[Staff]) -> BTreeMap<String, Vec<(Measurement, String)>> {
    let mut by = &aides[0].name;
    let mut truth = BTreeMap::new();
    for visit in all {
        if visit.incident == Some(Incident::Handover) {
            by = &aides[1].name;
        }
        let refused = visit.incident == Some(Incident::Refusal);
        let taken = visit.readings.iter();
        let taken = taken.filter(|it| !refused || it.sign() != VitalSign::Weight);
        let mut taken: Vec<_> = taken
            .map(|it| (it.measurement.clone(), by.clone()))
            .collect();
        taken.sort_by_key(|it| it.0.sign());
        truth.insert(visit.resident.0.clone(), taken);
    }
    truth
}

fn count(facts: &[Fact], is: impl Fn(&Body) -> bool) -> usize {
    facts.iter().filter(|it| is(&it.body)).count()
}

#[test]
fn an_hour_of_a_round_is_the_truth_and_nothing_else() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut rng = Rng::with_seed(20_260_302);
    let home = plan::home();
    let all = plan::visits(&mut rng);
    let grammar = Grammar::standard();
    let dialogue = Dialogue::new(home.clone(), home.aides[0].clone(), &grammar).expect("a home");
    let model = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/model-en-us");
    let mut ear = ear_for(&model, &grammar, &home).unwrap_or_else(|error| panic!("{error}"));
    let begun = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").expect("a time");
    let mut world = World {
        ear: &mut ear,
        voices: Voices::new(folder.path()),
        ventilation: Ventilation::new(1),
        voice: DANA,
        now: begun,
        rng,
        spoken: Spoken::default(),
        log: Vec::new(),
    };
    let clock = std::time::Instant::now();
    let mut seen = Seen::default();
    let first = folder.path().join("record.db");
    let killed = shift(&mut world, &dialogue, &first, &mut seen, (0, &all));
    let (at, record) = killed.expect("the program is killed once");
    let killed = shift(&mut world, &dialogue, &record, &mut seen, (at, &all));
    assert_eq!(killed, None);

    let facts = Store::open_to_read(&record)
        .expect("a record")
        .facts()
        .expect("facts");
    assert_eq!(standing(&facts), truth_of(&all, &home.aides));
    let refused = |it: &Body| {
        matches!(it, Body::NotTaken { signs, reason: NotTakenReason::Refused, .. }
            if *signs == [VitalSign::Weight])
    };
    assert_eq!(count(&facts, |it| matches!(it, Body::NotTaken { .. })), 1);
    assert_eq!(count(&facts, refused), 1);
    // One for certain, where the microphone was dead; more where a yes was not
    // heard twice. None is a reading, or there would be more than are true.
    assert!(count(&facts, |it| matches!(it, Body::Unconfirmed { .. })) >= 1);
    assert_eq!(count(&facts, |it| matches!(it, Body::Corrected { .. })), 1);
    assert_eq!(count(&facts, |it| matches!(it, Body::Retracted { .. })), 2);
    assert_eq!(
        count(&facts, |it| matches!(
            it,
            Body::RoundClosed { open_reports: 0 }
        )),
        1
    );
    let record = sayback::facts::Record::of(&facts);
    assert_eq!(
        (record.pending().count(), record.open_reports().count()),
        (0, 0)
    );

    figures(&world, begun, clock.elapsed().as_secs_f64(), &facts, &all);
}

/// An hour of work, and what it took of the two voices. Handwriting: 22 words a
/// minute when copying and 31 when known, for a word of five letters and a space
/// (C. M. Brown, Human-Computer Interface Design Guidelines, 1988; from memory).
#[allow(clippy::cast_precision_loss)]
fn figures(world: &World<'_>, begun: Time, wall: f64, facts: &[Fact], all: &[Visit]) {
    let residents = all.len() as f64;
    let simulated = (world.now - begun).num_seconds() as f64;
    assert!(simulated > 3_000.0, "an hour, not {simulated} s");
    let letters: usize = facts.iter().map(written).sum();
    let by_hand = |words: f64| letters as f64 / 6.0 / words * 60.0 / residents;
    println!("simulated: {:.0} min in {wall:.0} s", simulated / 60.0);
    println!(
        "readings: {}",
        count(facts, |it| matches!(it, Body::Read(_)))
    );
    println!("for each resident, in seconds:");
    println!("  the aide speaks {:.1}", world.spoken.aide / residents);
    println!("  Sayback speaks {:.1}", world.spoken.sayback / residents);
    println!(
        "  on paper: written down {:.1}, copied {:.1}",
        by_hand(31.0),
        by_hand(22.0)
    );
}

/// How many letters a paper list takes for a fact: "BP 128/76 LA SI 07:41", with
/// two letters for each qualifier.
fn written(fact: &Fact) -> usize {
    match &fact.body {
        Body::Read(it) => {
            let how = it.measurement.qualifiers().iter().count() * " LA".len();
            let value = sayback::round::shown(&it.measurement);
            let value = value.split(" \u{b7} ").next().unwrap_or_default();
            let number = value.chars().filter(|it| !it.is_alphabetic()).count();
            "BP ".len() + number + how + " 07:41".len()
        }
        Body::Identified { name, .. } => name.len() + " 12".len(),
        _ => 0,
    }
}
