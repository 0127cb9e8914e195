//! What is true on this round: who lives here, what each would be measured at,
//! and what goes wrong on the way. Everyone is invented.

use std::fmt::Write as _;

use fastrand::Rng;
use rust_decimal::Decimal;
use sayback::residents::{Home, ResidentId};
use sayback::vitals::{
    Arm, Measurement, Method, Numbers, Position, Qualifier, Qualifiers, Rhythm, Scale, Supply,
    Unit, VitalSign,
};

use super::truth::Truth;

pub const RESIDENTS: usize = 20;

const NAMES: [&str; RESIDENTS] = [
    "Agnes Farrow",
    "Otis Lindqvist",
    "Pearl Moreau",
    "Ivan Tansley",
    "Nora Ibarra",
    "Cyril Whitcomb",
    "Beatriz Sorrel",
    "Amos Kowalczyk",
    "Hedwig Penrose",
    "Samuel Achterberg",
    "Opal Yarrow",
    "Leopold Castell",
    "Lucille Dunmore",
    "Tomas Vasko",
    "Winifred Eberly",
    "Gustav Quill",
    "Dolores Hollin",
    "Emil Brandt",
    "Miriam Delgado",
    "Walter Okafor",
];

/// What happens on a visit beside the measuring.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Incident {
    /// The wrong room is heard or said first.
    WrongRoom,
    /// The resident and the television are talked to and talk.
    Talk,
    /// The resident refuses to be weighed.
    Refusal,
    /// A value is said wrong and noticed in the read-back.
    Slip,
    /// A value is said wrong, kept, and noticed then.
    Afterthought,
    /// The readings were begun of the neighbour: they are moved.
    Mistaken,
    /// The microphone gives nothing while a yes is waited for.
    DeadMicrophone,
    /// The program is killed while a yes is waited for.
    Killed,
    /// Sayback is told not to listen while readings are talked about.
    Asleep,
    /// Another aide goes on.
    Handover,
    /// A value out of range, reported.
    Report,
    /// A value out of range, reported at the end of the round only.
    LateReport,
}

impl Incident {
    /// By the number of the visit: each of them at least once.
    const fn on(visit: usize) -> Option<Self> {
        Some(match visit {
            1 | 13 => Self::Talk,
            2 => Self::WrongRoom,
            3 | 15 => Self::Slip,
            4 => Self::Refusal,
            6 => Self::Report,
            7 => Self::Afterthought,
            8 => Self::DeadMicrophone,
            9 => Self::Mistaken,
            10 => Self::Killed,
            11 => Self::Handover,
            12 => Self::Asleep,
            17 => Self::LateReport,
            _ => return None,
        })
    }
}

/// One resident's part of the round.
#[derive(Debug, Clone)]
pub struct Visit {
    pub resident: ResidentId,
    pub name: String,
    pub room: usize,
    pub readings: Vec<Truth>,
    pub incident: Option<Incident>,
}

pub fn home() -> Home {
    let mut text = String::from(
        "name = \"Alder Ridge House\"\n\
         [[nurses]]\nname = \"Ines Marlow\"\ntitle = \"registered nurse\"\n\
         [[aides]]\nname = \"Dana Whitlock\"\ntitle = \"nursing aide\"\nbadge = \"214\"\n\
         [[aides]]\nname = \"Marcus Bell\"\ntitle = \"nursing aide\"\nbadge = \"357\"\n",
    );
    for (at, name) in NAMES.iter().enumerate() {
        let (room, year, day) = (at + 1, 1930 + at % 19, 1 + at % 28);
        let _ = write!(
            text,
            "[[residents]]\nid = \"AR-{room:03}\"\nroom = {room}\nname = \"{name}\"\n\
             birth_date = \"{year}-05-{day:02}\"\n"
        );
    }
    Home::from_toml(&text).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

pub fn visits(rng: &mut Rng) -> Vec<Visit> {
    let visit = |at: usize| {
        let incident = Incident::on(at);
        let high = matches!(incident, Some(Incident::Report | Incident::LateReport));
        Visit {
            resident: ResidentId(format!("AR-{:03}", at + 1)),
            name: NAMES[at].to_owned(),
            room: at + 1,
            readings: readings(high, rng),
            incident,
        }
    };
    (0..RESIDENTS).map(visit).collect()
}

/// Six readings of someone well, or with a high pressure.
fn readings(high: bool, rng: &mut Rng) -> Vec<Truth> {
    let mut number = |low: u32, high: u32| Decimal::from(rng.u32(low..=high));
    let tenths = |value: Decimal| value / Decimal::TEN;
    let diastolic = number(62, 84);
    let systolic = if high {
        number(164, 178)
    } else {
        diastolic + number(38, 50)
    };
    let one = |value| Numbers::One(value);
    [
        (
            VitalSign::Temperature,
            one(tenths(number(972, 993))),
            Unit::Fahrenheit,
            vec![Qualifier::Method(Method::Oral)],
        ),
        (
            VitalSign::Pulse,
            one(number(62, 96)),
            Unit::PerMinute,
            vec![Qualifier::Rhythm(Rhythm::Regular)],
        ),
        (
            VitalSign::Respiration,
            one(number(13, 19)),
            Unit::PerMinute,
            Vec::new(),
        ),
        (
            VitalSign::BloodPressure,
            Numbers::Over(systolic, diastolic),
            Unit::MmHg,
            vec![
                Qualifier::Arm(Arm::Left),
                Qualifier::Position(Position::Sitting),
            ],
        ),
        (
            VitalSign::OxygenSaturation,
            one(number(94, 99)),
            Unit::Percent,
            vec![Qualifier::Supply(Supply::RoomAir)],
        ),
        (
            VitalSign::Weight,
            one(tenths(number(1100, 2100))),
            Unit::Pound,
            vec![Qualifier::Scale(Scale::Standing)],
        ),
    ]
    .map(|(sign, numbers, unit, how)| truth(sign, numbers, unit, &how))
    .into()
}

fn truth(sign: VitalSign, numbers: Numbers, unit: Unit, how: &[Qualifier]) -> Truth {
    let mut qualifiers = Qualifiers::default();
    for it in how {
        qualifiers.set(*it);
    }
    let measurement = Measurement::new(sign, numbers, unit, qualifiers);
    Truth {
        measurement: measurement.unwrap_or_else(|error| panic!("{sign:?}: {error}")),
    }
}

/// The same reading with another value, as a tongue slips.
pub fn slipped(of: &Truth) -> Truth {
    let wrong = Numbers::One(Decimal::from(88));
    let how: Vec<Qualifier> = of.measurement.qualifiers().iter().collect();
    assert_eq!(of.sign(), VitalSign::Pulse);
    let slip = truth(VitalSign::Pulse, wrong, Unit::PerMinute, &how);
    if slip == *of {
        return truth(
            VitalSign::Pulse,
            Numbers::One(Decimal::from(64)),
            Unit::PerMinute,
            &how,
        );
    }
    slip
}
