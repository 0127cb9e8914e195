//! An invented home and facts about it, of every kind that leaves for the chart.

#![allow(dead_code, reason = "each test uses a part of it")]

use chrono::TimeDelta;
use sayback::facts::{Body, Fact, ReadingRecord, Time, VERSION};
use sayback::residents::{Home, ResidentId, Staff};
use sayback::vitals::{
    Alertness, Arm, CautionKind, Decimal, Depth, Device, Finding, Layer, Measurement, Method,
    NotTakenReason, Numbers, Pain, PainScore, Position, PulseSite, Qualifier, Qualifiers, Retake,
    RetakeReason, Rhythm, Scale, Side, Source, Strength, Supply, Unit, VitalSign, WentOn, Working,
};
use uuid::Uuid;

use kept::reading;

#[path = "../kept/mod.rs"]
mod kept;

pub const HOME: &str = r#"
name = "Larkfield House"
nurses = [{ name = "Ines Marlow", title = "registered nurse" }]
aides = [{ name = "Tomas Reed", title = "nursing aide" }]

[[residents]]
id = "LH 1"
room = 12
bed = "window"
name = "Ada Quillfeather"
birth_date = "1938-04-21"
precautions.on_oxygen = true

[[residents.ranges.systolic]]
low = 105
high = 155
nurse = "Ines Marlow"
on = "2026-01-05"

[[residents]]
id = "LH-2"
room = 14
name = "Rose Pelham & <Finch>"
birth_date = "1941-12-30"
"#;

pub fn home() -> Home {
    Home::from_toml(HOME).expect("the home's file is right")
}

pub fn time(text: &str) -> Time {
    Time::parse_from_rfc3339(&format!("2026-03-{text}:00-05:00")).expect("a time")
}

pub fn number(text: &str) -> Decimal {
    text.parse().expect("a number")
}

/// A measurement of one number.
pub fn one(sign: VitalSign, value: &str, unit: Unit, how: &[Qualifier]) -> Measurement {
    measurement(sign, Numbers::One(number(value)), unit, how)
}

pub fn pressure(systolic: u16, diastolic: u16, how: &[Qualifier]) -> Measurement {
    let numbers = Numbers::Over(systolic.into(), diastolic.into());
    measurement(VitalSign::BloodPressure, numbers, Unit::MmHg, how)
}

pub fn palpated(systolic: u16, how: &[Qualifier]) -> Measurement {
    let numbers = Numbers::Palpated(systolic.into());
    measurement(VitalSign::BloodPressure, numbers, Unit::MmHg, how)
}

fn measurement(sign: VitalSign, numbers: Numbers, unit: Unit, how: &[Qualifier]) -> Measurement {
    let mut qualifiers = Qualifiers::default();
    for it in how {
        qualifiers.set(*it);
    }
    Measurement::new(sign, numbers, unit, qualifiers).expect("a possible measurement")
}

pub fn pulse(rate: &str) -> Measurement {
    one(VitalSign::Pulse, rate, Unit::PerMinute, &[])
}

/// Facts as a round makes them, one a minute.
pub struct Round {
    pub facts: Vec<Fact>,
    now: Time,
    resident: ResidentId,
    by: Staff,
}

impl Round {
    pub fn new() -> Self {
        Self {
            facts: Vec::new(),
            now: time("09T08:00"),
            resident: ResidentId("LH 1".to_owned()),
            by: aide(),
        }
    }

    pub fn of(mut self, resident: &str) -> Self {
        self.resident = ResidentId(resident.to_owned());
        self
    }

    pub fn at(&mut self, text: &str) {
        self.now = time(text);
    }

    pub fn fact(&mut self, by: Staff, body: Body) -> Uuid {
        self.now += TimeDelta::minutes(1);
        // Numbered, so that a failure reads the same every time.
        let id = Uuid::from_u128(0x0195_7a00_0000_7000_8000_0000_0000_0000 + self.number());
        self.facts.push(Fact {
            id,
            version: VERSION,
            at: self.now,
            by,
            round: Uuid::from_u128(7),
            body,
        });
        id
    }

    fn number(&self) -> u128 {
        self.facts.len() as u128 + 1
    }

    pub fn read(&mut self, measurement: Measurement) -> Uuid {
        let now = self.now;
        let record = ReadingRecord {
            offer: Uuid::nil(),
            heard: "as heard".to_owned(),
            confidence: 0.93,
            read_back: "As read back.".to_owned(),
            ..reading(self.resident.clone(), measurement, now)
        };
        self.fact(self.by.clone(), Body::Read(record))
    }

    pub fn correct(&mut self, reading: Uuid, old: Measurement, new: Measurement) -> Uuid {
        let resident = self.resident.clone();
        let reason = "written down as 72".to_owned();
        let body = Body::Corrected {
            reading,
            resident,
            old,
            new,
            reason,
            stands: Vec::new(),
            over: Vec::new(),
            by_nurse: true,
            time: None,
        };
        self.fact(nurse(), body)
    }

    pub fn retract(&mut self, reading: Uuid) -> Uuid {
        let resident = self.resident.clone();
        let reason = "taken of another resident".to_owned();
        let body = Body::Retracted {
            reading,
            resident,
            reason,
            over: Vec::new(),
        };
        self.fact(nurse(), body)
    }

    pub fn missed(&mut self, signs: &[VitalSign], reason: NotTakenReason) -> Uuid {
        let body = Body::NotTaken {
            resident: self.resident.clone(),
            signs: signs.to_vec(),
            reason,
            retry_at: Some(self.now + TimeDelta::minutes(30)),
        };
        self.fact(self.by.clone(), body)
    }

    /// Flags a reading against the resident's own range of systolic pressure, or
    /// against a range around a single number.
    pub fn flag(&mut self, reading: Uuid, of: &Measurement, layer: Layer, side: Side) -> Uuid {
        let (component, value) = of.components()[0];
        let limits = &home().residents[0].limits;
        let range = limits.range(of.sign(), component);
        let (bounds, source) = range.map_or_else(
            || {
                let ten = Decimal::from(10);
                let bounds = sayback::vitals::Bounds {
                    low: value.value() - ten,
                    high: value.value() - Decimal::ONE,
                    unit: value.unit(),
                };
                (bounds, Source::Default("an invented source".to_owned()))
            },
            |it| (it.bounds, it.source),
        );
        let finding = Finding {
            layer,
            sign: of.sign(),
            component,
            palpated: of.is_palpated(),
            side,
            value,
            bounds,
            source,
        };
        let resident = self.resident.clone();
        let body = Body::Flagged {
            reading,
            resident,
            finding,
            of: None,
        };
        self.fact(self.by.clone(), body)
    }

    pub fn reported(&mut self, flag: Uuid) -> Uuid {
        let body = Body::ReportedToNurse {
            resident: self.resident.clone(),
            flags: vec![flag],
            to: "Ines Marlow".to_owned(),
            read_back: "Reported to Ines Marlow.".to_owned(),
        };
        self.fact(self.by.clone(), body)
    }

    pub fn note(&mut self, about: Uuid, text: &str) -> Uuid {
        let body = Body::Noted {
            resident: self.resident.clone(),
            about: Some(about),
            text: text.to_owned(),
        };
        self.fact(nurse(), body)
    }
}

pub fn aide() -> Staff {
    Staff {
        name: "Tomas Reed".to_owned(),
        title: "nursing aide".to_owned(),
    }
}

pub fn nurse() -> Staff {
    Staff {
        name: "Ines Marlow".to_owned(),
        title: "registered nurse".to_owned(),
    }
}

/// Every kind of measurement in every unit, and with every qualifier.
pub fn every_measurement() -> Vec<Measurement> {
    let mut all = Vec::new();
    for method in Method::ALL {
        let how = [Qualifier::Method(*method)];
        all.push(one(VitalSign::Temperature, "98.6", Unit::Fahrenheit, &how));
        all.push(one(VitalSign::Temperature, "37.05", Unit::Celsius, &how));
    }
    for site in PulseSite::ALL {
        let how = [
            Qualifier::PulseSite(*site),
            Qualifier::Rhythm(Rhythm::Irregular),
            Qualifier::Strength(Strength::Weak),
        ];
        all.push(one(VitalSign::Pulse, "72", Unit::PerMinute, &how));
    }
    for depth in Depth::ALL {
        let how = [Qualifier::Depth(*depth), Qualifier::Rhythm(Rhythm::Regular)];
        all.push(one(VitalSign::Respiration, "16", Unit::PerMinute, &how));
    }
    for arm in Arm::ALL {
        for position in Position::ALL {
            let how = [Qualifier::Arm(*arm), Qualifier::Position(*position)];
            all.push(pressure(128, 76, &how));
            all.push(palpated(110, &how));
        }
    }
    for supply in [
        Supply::RoomAir,
        Supply::Oxygen(None),
        Supply::Oxygen(Some(number("2.5"))),
    ] {
        let how = [Qualifier::Supply(supply)];
        all.push(one(VitalSign::OxygenSaturation, "94", Unit::Percent, &how));
    }
    all.push(one(VitalSign::Height, "64.5", Unit::Inch, &[]));
    all.push(one(VitalSign::Height, "164", Unit::Centimetre, &[]));
    for scale in Scale::ALL {
        let how = [Qualifier::Scale(*scale)];
        all.push(one(VitalSign::Weight, "150.5", Unit::Pound, &how));
        all.push(one(VitalSign::Weight, "68.2", Unit::Kilogram, &how));
    }
    let seven = PainScore::new(7.into()).expect("a score");
    all.push(Measurement::pain(Pain::Rated(seven)));
    all.push(Measurement::pain(Pain::CannotSay));
    all.push(one(VitalSign::OxygenFlow, "2", Unit::LitreAMinute, &[]));
    all.extend(Alertness::ALL.map(Measurement::alertness));
    all
}

/// A record with every kind of measurement, and with every kind of fact about
/// each vital sign: corrected, retracted, flagged, reported, remarked on, and
/// not taken.
pub fn everything() -> Vec<Fact> {
    let mut round = Round::new();
    let mut seen = Vec::new();
    for measurement in every_measurement() {
        let sign = measurement.sign();
        round.read(measurement.clone());
        // The rest once for each vital sign is enough.
        if seen.contains(&sign) {
            continue;
        }
        seen.push(sign);
        let wrong = round.read(measurement.clone());
        round.correct(wrong, measurement.clone(), measurement.clone());
        let other = round.read(measurement.clone());
        round.retract(other);
        if !measurement.components().is_empty() {
            let reading = round.read(measurement.clone());
            let flag = round.flag(reading, &measurement, Layer::OutsideRange, Side::Above);
            round.flag(reading, &measurement, Layer::Unlikely, Side::Above);
            round.flag(reading, &measurement, Layer::Changed, Side::Below);
            round.reported(flag);
            round.note(flag, "seen & <noted>");
        }
        for reason in NotTakenReason::PLAIN {
            round.missed(&[sign], reason);
        }
    }
    unusual(&mut round);
    round.missed(&[], NotTakenReason::Other("at a concert".to_owned()));
    let gone = round.missed(&[VitalSign::Pulse, VitalSign::Weight], NotTakenReason::Away);
    round.retract(gone);
    let mut other = Round::new().of("LH-2");
    other.facts = round.facts;
    other.read(pulse("61"));
    // A resident who is no longer in the home's file.
    let mut gone = Round::new().of("LH-9");
    gone.facts = other.facts;
    gone.read(pulse("62"));
    gone.facts
}

/// A reading with all that can stand beside a value.
fn unusual(round: &mut Round) {
    let first = round.read(pulse("151"));
    let again = round.read(pulse("148"));
    if let Some(Fact {
        body: Body::Read(record),
        ..
    }) = round.facts.last_mut()
    {
        record.second_look = true;
        record.working = Some(Working::Counted {
            count: 74,
            seconds: 30,
        });
        record.device = Some(Device::ElectronicThermometer);
        record.went_on.push(WentOn {
            caution: CautionKind::RestFirst,
            reason: "no time".to_owned(),
        });
    }
    let reason = RetakeReason::Unlikely;
    let retake = Retake {
        first,
        again,
        reason,
    };
    round.fact(aide(), Body::Retaken(retake));
    let flag = sayback::vitals::rules::Flag {
        rule: sayback::vitals::rules::Rule::Trend,
        layer: Layer::Changed,
        sign: Some(VitalSign::Pulse),
        say: "Pulse rising. Report to the nurse.".to_owned(),
        limit: "10 or more over 4 readings one way".to_owned(),
        source: Source::Default("common practice, no source".to_owned()),
    };
    let resident = ResidentId("LH 1".to_owned());
    let flag = round.fact(
        aide(),
        Body::RuleMet {
            reading: again,
            resident: resident.clone(),
            flag,
            of: None,
        },
    );
    let flags = vec![flag];
    round.fact(nurse(), Body::Acknowledged { flags, resident });
}
