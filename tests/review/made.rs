//! A made-up home and a made-up record of any length. Every name is invented.

use std::fmt::Write as _;
use std::path::Path;

use chrono::{DateTime, Days, FixedOffset, NaiveDate, TimeDelta};
use fastrand::Rng;
use rusqlite::{Connection, params};
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive as _;
use sayback::facts::{Body, Fact, ReadingRecord, Time, VERSION};
use sayback::residents::{Home, ResidentId, Staff};
use sayback::round::shown;
use sayback::store::Store;
use sayback::understanding::Rival;
use sayback::vitals::{
    Arm, Layer, Measurement, Method, NotTakenReason, Numbers, Position, Qualifier, Qualifiers,
    Rhythm, Supply, Unit, VitalSign,
};
use uuid::Uuid;

pub use kept::reading;

#[path = "../kept/mod.rs"]
mod kept;

const FIRST: [&str; 24] = [
    "Edith",
    "Walter",
    "Rosa",
    "Henry",
    "Agnes",
    "Leopold",
    "Miriam",
    "Otis",
    "Pearl",
    "Ivan",
    "Nora",
    "Cyril",
    "Beatriz",
    "Amos",
    "Hedwig",
    "Samuel",
    "Opal",
    "Ferdinand",
    "Lucille",
    "Tomas",
    "Winifred",
    "Gustav",
    "Dolores",
    "Emil",
];
const LAST: [&str; 20] = [
    "Hollin",
    "Brandt",
    "Delgado",
    "Okafor",
    "Farrow",
    "Lindqvist",
    "Moreau",
    "Tansley",
    "Ibarra",
    "Whitcomb",
    "Sorrel",
    "Kowalczyk",
    "Penrose",
    "Achterberg",
    "Yarrow",
    "Castell",
    "Dunmore",
    "Vasko",
    "Eberly",
    "Quill",
];
const AIDES: [&str; 3] = ["Dana Whitlock", "Marcus Bell", "Lena Fjord"];

/// A home with so many residents, two to a room.
pub fn home(residents: usize) -> Home {
    let mut text = String::from(
        "name = \"Alder Ridge House\"\nshifts = [\"06:00:00\", \"14:00:00\", \"22:00:00\"]\n\
         [[nurses]]\nname = \"Ines Marlow\"\ntitle = \"registered nurse\"\n",
    );
    for aide in AIDES {
        let _ = write!(
            text,
            "[[aides]]\nname = \"{aide}\"\ntitle = \"nursing aide\"\n"
        );
    }
    for at in 0..residents {
        let (first, last) = (
            FIRST[at % FIRST.len()],
            LAST[(at * 7 + at / 24) % LAST.len()],
        );
        let (room, bed) = (at / 2 + 1, at % 2 + 1);
        let wing = if at % 4 < 2 { "East" } else { "West" };
        let year = 1930 + at % 22;
        let _ = write!(
            text,
            "[[residents]]\nid = \"AR-{at:03}\"\nwing = \"{wing}\"\nroom = {room}\nbed = \"{bed}\"\n\
             name = \"{first} {last}\"\nbirth_date = \"{year}-05-02\"\n"
        );
        if at % 3 == 1 {
            text += "[residents.ranges.systolic]\nlow = 100\nhigh = 160\n\
                     nurse = \"Ines Marlow\"\non = \"2026-02-12\"\n";
        }
    }
    Home::from_toml(&text).expect("the made-up home")
}

/// Now, in the made-up record.
pub fn now() -> Time {
    DateTime::parse_from_rfc3339("2026-03-12T11:40:00-05:00").expect("a time")
}

/// What is written: facts in a transaction, past the recorder.
pub struct Writer {
    connection: Connection,
    pub facts: usize,
}

impl Writer {
    /// A new record at this path.
    pub fn new(path: &Path) -> Self {
        drop(Store::open(path).expect("a record"));
        let connection = Connection::open(path).expect("a record");
        connection
            .execute_batch("PRAGMA synchronous = OFF; BEGIN")
            .expect("a transaction");
        Self {
            connection,
            facts: 0,
        }
    }

    /// Another program's connection to a record that is there.
    pub fn join(path: &Path) -> Self {
        let connection = Connection::open(path).expect("a record");
        connection.execute_batch("BEGIN").expect("a transaction");
        Self {
            connection,
            facts: 0,
        }
    }

    pub fn put(&mut self, at: Time, by: &Staff, round: Uuid, body: Body) -> Uuid {
        let id = id_at(at, self.facts);
        let fact = Fact {
            id,
            version: VERSION,
            at,
            by: by.clone(),
            round,
            body,
        };
        let json = serde_json::to_value(&fact).expect("a fact");
        let kind = json["kind"].as_str().expect("a kind");
        self.connection
            .prepare_cached("INSERT INTO facts (id, round, at, kind, fact) VALUES (?,?,?,?,?)")
            .and_then(|mut it| {
                it.execute(params![
                    id.to_string(),
                    round.to_string(),
                    at.to_rfc3339(),
                    kind,
                    json.to_string()
                ])
            })
            .expect("a row");
        self.facts += 1;
        id
    }

    pub fn end(self) {
        self.connection.execute_batch("COMMIT").expect("a commit");
    }
}

fn id_at(at: Time, count: usize) -> Uuid {
    let millis = u64::try_from(at.timestamp_millis()).expect("after 1970");
    let mut random = [0x5a; 10];
    random[2..].copy_from_slice(&(count as u64).to_be_bytes());
    uuid::Builder::from_unix_timestamp_millis(millis, &random).into_uuid()
}

pub fn nurse() -> Staff {
    Staff {
        name: "Ines Marlow".into(),
        title: "registered nurse".into(),
    }
}

pub fn aide(at: usize) -> Staff {
    Staff {
        name: AIDES[at % AIDES.len()].into(),
        title: "nursing aide".into(),
    }
}

pub fn measure(sign: VitalSign, numbers: Numbers, unit: Unit, how: &[Qualifier]) -> Measurement {
    let mut qualifiers = Qualifiers::default();
    for it in how {
        qualifiers.set(*it);
    }
    Measurement::new(sign, numbers, unit, qualifiers).expect("a possible value")
}

/// What one resident is like, so that a trend has a shape.
struct Body0 {
    systolic: f64,
    pulse: f64,
    weight: f64,
    drift: f64,
}

/// A record of one round a day over so many days, up to [`now`].
pub fn record(path: &Path, home: &Home, days: u64) -> usize {
    let mut rng = Rng::with_seed(20_260_312);
    let mut out = Writer::new(path);
    let people: Vec<Body0> = home
        .residents
        .iter()
        .map(|_| Body0 {
            systolic: 112.0 + rng.f64() * 34.0,
            pulse: 64.0 + rng.f64() * 22.0,
            weight: 118.0 + rng.f64() * 80.0,
            drift: (rng.f64() - 0.6) * 0.02,
        })
        .collect();
    for back in (0..days).rev() {
        let day = now().date_naive() - Days::new(back);
        let age = u32::try_from(days - back).expect("few");
        one_round(&mut out, &mut rng, home, &people, day, age);
    }
    let facts = out.facts;
    out.end();
    facts
}

fn local(day: NaiveDate, hour: u32, minute: u32) -> Time {
    let offset = FixedOffset::west_opt(5 * 3600).expect("an offset");
    let time = day.and_hms_opt(hour, minute, 0).expect("a time");
    time.and_local_timezone(offset).single().expect("a time")
}

fn one_round(
    out: &mut Writer,
    rng: &mut Rng,
    home: &Home,
    people: &[Body0],
    day: NaiveDate,
    age: u32,
) {
    let by = aide(rng.usize(..3));
    let mut at = local(day, 7, 30);
    let round = id_at(at, usize::MAX);
    let opened = Body::RoundOpened {
        home: home.name.clone(),
    };
    out.put(at, &by, round, opened);
    let mut left_open = 0;
    for (resident, body) in home.residents.iter().zip(people) {
        at += TimeDelta::seconds(70);
        let id = resident.id.clone();
        out.put(
            at,
            &by,
            round,
            Body::Identified {
                resident: id.clone(),
                name: resident.name.clone(),
                birth_date: resident.birth_date,
            },
        );
        if rng.u8(..) < 5 {
            let signs = vec![VitalSign::Weight];
            let reason = NotTakenReason::Refused;
            out.put(
                at,
                &by,
                round,
                Body::NotTaken {
                    resident: id.clone(),
                    signs,
                    reason,
                    retry_at: None,
                },
            );
        }
        let readings = readings(rng, body, age, day);
        let read_back = readings.iter().map(sayback::speaking::wording::measurement);
        let read_back = read_back.collect::<Vec<_>>().join(". ");
        let offered = Body::Offered {
            resident: id.clone(),
            read_back: read_back.clone(),
            readings: readings.clone(),
            moves: Vec::new(),
            unfinished: None,
        };
        let offer = out.put(at, &by, round, offered);
        if rng.u16(..) < 200 {
            let unconfirmed = Body::Unconfirmed {
                offer,
                resident: id.clone(),
                readings,
            };
            out.put(at + TimeDelta::seconds(16), &by, round, unconfirmed);
            continue;
        }
        for measurement in readings {
            let confidence = if rng.u8(..) < 8 { 0.78 } else { 0.97 };
            keep(
                out,
                rng,
                &by,
                round,
                at,
                (&id, resident),
                (offer, measurement, confidence, &read_back),
                &mut left_open,
            );
        }
    }
    let open_reports = left_open;
    out.put(at, &by, round, Body::RoundClosed { open_reports });
}

#[expect(clippy::too_many_arguments, reason = "one step of the made-up round")]
fn keep(
    out: &mut Writer,
    rng: &mut Rng,
    by: &Staff,
    round: Uuid,
    at: Time,
    (id, resident): (&ResidentId, &sayback::residents::Resident),
    (offer, measurement, confidence, read_back): (Uuid, Measurement, f32, &str),
    left_open: &mut usize,
) {
    let findings = resident.limits.judge_on(&measurement, at.date_naive());
    let second_look = findings.iter().any(|it| it.layer == Layer::Unlikely);
    let fifteen = Numbers::One(Decimal::from(15));
    let fifteen = Measurement::new(
        VitalSign::Respiration,
        fifteen,
        Unit::PerMinute,
        Qualifiers::default(),
    );
    let rivals =
        (confidence < 0.9 && measurement.sign() == VitalSign::Respiration).then(|| Rival {
            measurement: fifteen.expect("possible"),
            share: 1.0 - confidence,
        });
    let read = Body::Read(ReadingRecord {
        offer,
        heard: shown(&measurement).to_lowercase(),
        confidence,
        read_back: read_back.to_owned(),
        confirmed_at: at + TimeDelta::seconds(9),
        second_look,
        rivals: rivals.into_iter().collect(),
        ..reading(id.clone(), measurement, at)
    });
    let reading = out.put(at + TimeDelta::seconds(9), by, round, read);
    for finding in findings {
        if finding.layer != Layer::OutsideRange {
            continue;
        }
        let flagged = Body::Flagged {
            reading,
            resident: id.clone(),
            finding,
            of: Some(reading),
        };
        let flag = out.put(at + TimeDelta::seconds(10), by, round, flagged);
        let today = at.date_naive() == now().date_naive();
        if today && rng.bool() {
            *left_open += 1;
            continue;
        }
        let told = Body::ReportedToNurse {
            resident: id.clone(),
            flags: vec![flag],
            to: "Ines Marlow".into(),
            read_back: "Reported to Ines Marlow".into(),
        };
        out.put(at + TimeDelta::seconds(40), by, round, told);
    }
}

fn readings(rng: &mut Rng, body: &Body0, age: u32, day: NaiveDate) -> Vec<Measurement> {
    let mut near = |middle: f64, spread: f64| {
        let around = (rng.f64() + rng.f64() + rng.f64() - 1.5) * spread;
        Decimal::from_f64((middle + around).round()).expect("a number")
    };
    let age = f64::from(age);
    let systolic = near(body.systolic + 5.0 * (age / 40.0).sin(), 14.0);
    let diastolic = near(body.systolic * 0.58, 8.0);
    let pulse = near(body.pulse, 9.0);
    let breaths = near(16.0, 2.0);
    let saturation = near(95.0, 2.4).min(Decimal::ONE_HUNDRED);
    let tenths = near(982.0, 9.0);
    let weight = near(
        (body.weight + body.drift * age * 10.0).clamp(90.0, 260.0) * 10.0,
        8.0,
    );
    let ten = Decimal::TEN;
    let mut all = vec![
        measure(
            VitalSign::Temperature,
            Numbers::One(tenths / ten),
            Unit::Fahrenheit,
            &[Qualifier::Method(Method::Oral)],
        ),
        measure(
            VitalSign::Pulse,
            Numbers::One(pulse),
            Unit::PerMinute,
            &[Qualifier::Rhythm(Rhythm::Regular)],
        ),
        measure(
            VitalSign::Respiration,
            Numbers::One(breaths),
            Unit::PerMinute,
            &[],
        ),
        measure(
            VitalSign::BloodPressure,
            Numbers::Over(systolic, diastolic),
            Unit::MmHg,
            &[
                Qualifier::Arm(Arm::Left),
                Qualifier::Position(Position::Sitting),
            ],
        ),
        measure(
            VitalSign::OxygenSaturation,
            Numbers::One(saturation),
            Unit::Percent,
            &[Qualifier::Supply(Supply::RoomAir)],
        ),
    ];
    if chrono::Datelike::weekday(&day) == chrono::Weekday::Mon {
        let weight = Numbers::One(weight / ten);
        all.push(measure(VitalSign::Weight, weight, Unit::Pound, &[]));
    }
    all
}
