//! What a recorder and two stations do to one reading, hearing of each other now and
//! then, comes everywhere in another order. What holds does not depend on it, and is
//! the same in every fold: the recorder's, the stations' and the exports'.

use std::collections::BTreeSet;

use fastrand::Rng;
use sayback::facts::{Body, Correction, Fact, Record, VERSION};
use sayback::residents::{Home, Staff};
use sayback::review::acts::{self, Acting, NewFact, state_of};
use sayback::review::export::Chart;
use sayback::review::fields::Fields;
use sayback::review::index::{Index, Query};
use sayback::vitals::{Layer, Measurement, Numbers, VitalSign};
use uuid::Uuid;

use super::{conversation, made};

fn plain(fact: &NewFact) -> Fact {
    serde_json::from_value(serde_json::to_value(fact).unwrap()).unwrap()
}

fn folded(home: &Home, facts: &[Fact]) -> Index {
    let mut index = Index::new(home.clone());
    for it in facts {
        index.add(it.clone());
    }
    index
}

/// All that must not depend on the order.
fn state(home: &Home, facts: &[Fact], reading: Uuid) -> String {
    let index = folded(home, facts);
    let record = Record::of(facts);
    let chart = Chart::of(facts);
    let entry = index.reading(reading).unwrap();
    let holds = record.reading(reading).unwrap();
    let charted = chart.readings.iter().find(|it| it.id == reading).unwrap();
    assert_eq!(*entry.measurement, holds.measurement);
    assert_eq!(*entry.measurement, *charted.measurement);
    assert_eq!(
        (entry.version, entry.retracted),
        (holds.version, holds.retracted)
    );
    assert_eq!(entry.retracted, charted.retracted.is_some());
    let resident = index.resident_of(entry);
    let last = index.last(resident, VitalSign::Pulse).map(|it| it.id);
    let same = record.last(resident, VitalSign::Pulse).map(|it| it.id);
    assert_eq!(last, same);
    let open: BTreeSet<Uuid> = index.open_reports().map(|it| it.id).collect();
    let same: BTreeSet<Uuid> = record.open_reports().map(|it| it.flag).collect();
    assert_eq!(open, same);
    let flags = index
        .flags_of(reading)
        .map(|it| (it.id, index.closed(it.id)));
    let flags: Vec<_> = flags.collect();
    let acts: Vec<Uuid> = index.acts(reading).iter().map(|it| it.id).collect();
    format!(
        "{entry:?} {} {last:?} {open:?} {flags:?} {acts:?} {:?} {charted:?}",
        index.is_apart(entry),
        index.standing(entry)
    )
}

/// One that has some of the facts, and adds some.
#[derive(Default)]
struct Device {
    facts: Vec<Fact>,
}

impl Device {
    fn hears(&mut self, from: &[Fact]) {
        for it in from {
            if self.facts.iter().all(|own| own.id != it.id) {
                self.facts.push(it.clone());
            }
        }
    }

    /// A nurse does something, or nothing where that is refused.
    fn act(&self, home: &Home, reading: Uuid, acting: &Acting, rng: &mut Rng) -> Vec<Fact> {
        let index = folded(home, &self.facts);
        let seen = state_of(&index, reading);
        let fields = |text: String| Fields::parse(format!("seen={seen}&{text}").as_bytes());
        let done = match rng.u8(0..10) {
            0 => acts::retract(&index, reading, &fields("reason=of+another".into()), acting),
            1 | 2 => {
                let standing = index.reading(reading).map(|it| index.standing(it));
                let standing = standing.unwrap();
                let right = rng.choice(&standing.apart).map(|it| it.id);
                let right = right.unwrap_or_default();
                acts::decide(&index, reading, &fields(format!("right={right}")), acting)
            }
            3 => match index.open_reports().next() {
                Some(flag) => acts::acknowledge(&index, flag.id, acting),
                None => Ok(Vec::new()),
            },
            _ => {
                let value = rng.choice([72, 74, 128, 131]).unwrap();
                let typed = format!("value={value}&unit=per_minute&reason=misread");
                acts::correct(&index, reading, &fields(typed), acting)
            }
        };
        done.unwrap_or_default().iter().map(plain).collect()
    }

    /// An aide corrects, as the dialogue does.
    fn correct(&self, home: &Home, reading: Uuid, acting: &Acting, rng: &mut Rng) -> Vec<Fact> {
        let record = Record::of(&self.facts);
        let now = record.reading(reading).unwrap();
        if now.retracted {
            return Vec::new();
        }
        let value = rng.choice([70_u32, 73, 129, 135]).unwrap();
        let unit = now.measurement.components()[0].1.unit();
        let how = now.measurement.qualifiers().clone();
        let new = Measurement::new(VitalSign::Pulse, Numbers::One(value.into()), unit, how);
        let new = new.unwrap();
        let resident = now.record.resident.clone();
        let fact = |body| Fact {
            id: Uuid::now_v7(),
            version: VERSION,
            at: acting.at,
            by: acting.by.clone(),
            round: self.facts[0].round,
            body,
        };
        let corrected = fact(Body::Corrected {
            reading,
            resident: resident.clone(),
            old: now.measurement.clone(),
            new: new.clone(),
            reason: "by voice: \u{201c}change the pulse\u{201d}".to_owned(),
            stands: Vec::new(),
            over: vec![now.version],
            by_nurse: false,
            time: None,
        });
        let of = Some(corrected.id);
        let open = record.open_reports().map(|it| it.flag).collect::<Vec<_>>();
        let mut all = vec![corrected];
        if !open.is_empty() {
            all.push(fact(Body::Withdrawn {
                flags: open,
                resident: resident.clone(),
                reading,
            }));
        }
        let limits = &home.resident(&resident).unwrap().limits;
        let found = limits.judge_on(&new, acting.at.date_naive()).into_iter();
        for finding in found.filter(|it| it.layer == Layer::OutsideRange) {
            all.push(fact(Body::Flagged {
                reading,
                resident: resident.clone(),
                finding,
                of,
            }));
        }
        all
    }
}

/// Whether a search for what lies outside finds it.
fn searched(index: &Index, reading: Uuid) -> bool {
    let outside = Query {
        flagged: true,
        ..Query::default()
    };
    let found = index.find(&outside, 0, 9).page;
    found.iter().any(|it| it.id == reading)
}

#[test]
fn what_holds_is_the_same_in_any_order_of_arrival_and_in_every_fold() {
    let home = made::home(4);
    let begins = made::now() - chrono::TimeDelta::minutes(20);
    let words = ["room one bed one", "yes", "pulse one thirty", "yes"];
    let first = conversation::facts(&home, begins, &words);
    let first: Vec<Fact> = first.iter().map(plain).collect();
    let read = first.iter().find(|it| matches!(it.body, Body::Read(_)));
    let reading = read.unwrap().id;
    assert!(
        first
            .iter()
            .any(|it| matches!(it.body, Body::Flagged { .. }))
    );
    let nurse = |name: &str| Staff {
        name: name.to_owned(),
        title: "registered nurse".to_owned(),
    };
    let who = [
        home.aides[0].clone(),
        nurse("Ines Marlow"),
        nurse("Ruth Abara"),
    ];
    let (mut apart, mut flagged) = (0, 0);
    for seed in 0..120 {
        let mut rng = Rng::with_seed(seed);
        let mut devices: [Device; 3] = Default::default();
        for it in &mut devices {
            it.hears(&first);
        }
        for _ in 0..rng.u8(2..16) {
            let at = rng.usize(0..3);
            if rng.u8(0..5) < 2 {
                let from = rng.usize(0..3);
                let heard = devices[from].facts.clone();
                devices[at].hears(&heard);
                continue;
            }
            // Clocks differ.
            let acting = Acting {
                by: who[at].clone(),
                at: begins + chrono::TimeDelta::seconds(rng.i64(60..1200)),
            };
            let new = if at == 0 {
                devices[at].correct(&home, reading, &acting, &mut rng)
            } else {
                devices[at].act(&home, reading, &acting, &mut rng)
            };
            devices[at].facts.extend(new);
        }
        // All meet, each in its own order.
        for _ in 0..2 {
            for (at, from) in [(0, 1), (1, 2), (2, 0)] {
                let heard = devices[from].facts.clone();
                devices[at].hears(&heard);
            }
        }
        let expected = state(&home, &devices[0].facts, reading);
        for device in &devices[1..] {
            assert_eq!(
                state(&home, &device.facts, reading),
                expected,
                "seed {seed}"
            );
        }
        let index = folded(&home, &devices[0].facts);
        let entry = index.reading(reading).unwrap();
        apart += usize::from(index.is_apart(entry));
        flagged += usize::from(entry.flagged && entry.corrected());
        assert_eq!(searched(&index, reading), entry.flagged, "seed {seed}");
        let mut all = devices[0].facts.clone();
        for _ in 0..10 {
            rng.shuffle(&mut all);
            assert_eq!(
                state(&home, &all, reading),
                expected,
                "seed {seed}, shuffled"
            );
        }
        // What is flagged is what lies outside.
        let limits = &home.resident(index.resident_of(entry)).unwrap().limits;
        let findings = limits.judge_on(&entry.measurement, begins.date_naive());
        let outside = findings.iter().any(|it| it.layer == Layer::OutsideRange);
        if entry.corrected() {
            assert_eq!(entry.flagged, outside, "seed {seed}: {entry:?}");
        }
        let corrections = all.iter().filter_map(Correction::of).count();
        assert_eq!(
            index
                .acts(reading)
                .iter()
                .filter_map(|it| it.correction())
                .count(),
            corrections
        );
    }
    assert!(apart > 20 && flagged > 20, "{apart} {flagged}");
}
