//! A true reading, and the ways people say it.

use fastrand::Rng;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use sayback::grammar::spoken_forms;
use sayback::speaking::wording;
use sayback::vitals::{
    Alertness, Arm, Depth, Measurement, Method, Numbers, Pain, Position, PulseSite, Qualifier,
    QualifierKind, Qualifiers, Quantity, Rhythm, Scale, Strength, Supply, Unit, Units, Value,
    VitalSign,
};

#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    pub measurement: Measurement,
}

const DIGITS: [&str; 10] = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
];

fn pick<'a>(rng: &mut Rng, ways: &[&'a str]) -> &'a str {
    ways[rng.usize(0..ways.len())]
}

impl Truth {
    /// One to four readings of different vital signs.
    pub fn draw_several(rng: &mut Rng) -> Vec<Self> {
        let count = rng.usize(1..=4);
        let signs = rng.choose_multiple(VitalSign::ALL, count);
        signs.into_iter().map(|it| Self::draw(it, rng)).collect()
    }

    pub fn draw(sign: VitalSign, rng: &mut Rng) -> Self {
        let mut qualifiers = Qualifiers::default();
        for kind in sign.qualifiers() {
            if sign.required().contains(kind) || rng.u8(0..5) < 2 {
                qualifiers.set(draw_qualifier(*kind, rng));
            }
        }
        let measurement = match sign {
            VitalSign::Alertness => {
                Measurement::alertness(Alertness::ALL[rng.usize(0..Alertness::ALL.len())])
            }
            VitalSign::Pain if rng.u8(0..6) == 0 => Measurement::pain(Pain::CannotSay),
            _ => {
                let (numbers, unit) = draw_numbers(sign, rng);
                let drawn = Measurement::new(sign, numbers, unit, qualifiers);
                drawn.unwrap_or_else(|error| panic!("drawn, and impossible: {error}"))
            }
        };
        Self { measurement }
    }

    /// Now and then a pressure that was palpated instead: the bench's readings stay what its
    /// figures of before are of.
    pub fn or_palpated(self, rng: &mut Rng) -> Self {
        let Value::Pressure { systolic, .. } = self.measurement.value() else {
            return self;
        };
        if rng.u8(0..5) > 0 {
            return self;
        }
        let how = self.measurement.qualifiers().clone();
        let numbers = Numbers::Palpated(systolic.value());
        let palpated = Measurement::new(self.sign(), numbers, systolic.unit(), how);
        Self {
            measurement: palpated
                .unwrap_or_else(|error| panic!("palpated, and impossible: {error}")),
        }
    }

    /// The value without any qualifier.
    pub fn bare(&self) -> Measurement {
        let none = Qualifiers::default();
        let one = |it: Quantity| {
            Measurement::new(
                self.sign(),
                Numbers::One(it.value()),
                it.unit(),
                none.clone(),
            )
        };
        match self.measurement.value() {
            Value::One(it) => one(it).unwrap(),
            Value::Pressure {
                systolic,
                diastolic,
            } => {
                let numbers = Numbers::Over(systolic.value(), diastolic.value());
                Measurement::new(self.sign(), numbers, systolic.unit(), none.clone()).unwrap()
            }
            Value::Palpated { systolic } => {
                let numbers = Numbers::Palpated(systolic.value());
                Measurement::new(self.sign(), numbers, systolic.unit(), none.clone()).unwrap()
            }
            _ => self.measurement.clone(),
        }
    }

    pub fn sign(&self) -> VitalSign {
        self.measurement.sign()
    }

    /// How Sayback must read it back.
    pub fn read_back(&self) -> String {
        wording::measurement(&self.measurement)
    }

    /// The whole reading. When `plain`, in the one way that can't be taken for
    /// anything else; when `alone`, qualifiers may come before the name.
    pub fn said(&self, units: Units, plain: bool, alone: bool, rng: &mut Rng) -> String {
        let name = self.name(rng);
        let value = self.value(units, plain, rng);
        let mut after: Vec<String> = Vec::new();
        let mut before: Vec<String> = Vec::new();
        for qualifier in self.measurement.qualifiers().iter() {
            let required = self.sign().required().contains(&qualifier.kind());
            if required && !plain && rng.u8(0..4) == 0 {
                continue;
            }
            let phrase = say_qualifier(qualifier, rng);
            let can_lead = matches!(qualifier, Qualifier::Method(_) | Qualifier::Arm(_));
            if alone && can_lead && !plain && rng.u8(0..4) == 0 {
                before.push(phrase);
            } else {
                after.push(phrase);
            }
        }
        rng.shuffle(&mut after);
        let is = if rng.u8(0..8) == 0 { "is" } else { "" };
        let parts = before.iter().map(String::as_str);
        let parts = parts.chain([name, is, &value]);
        let parts = parts.chain(after.iter().map(String::as_str));
        let parts: Vec<&str> = parts.filter(|it| !it.is_empty()).collect();
        parts.join(" ")
    }

    pub fn name(&self, rng: &mut Rng) -> &'static str {
        let ways: &[&'static str] = match self.sign() {
            VitalSign::Temperature => &["temperature", "temp", "body temperature"],
            VitalSign::Pulse => &["pulse", "heart rate", "pulse rate"],
            VitalSign::Respiration => &["respiration", "respiratory rate", "breathing"],
            VitalSign::BloodPressure => &["blood pressure", "pressure", "b p"],
            VitalSign::OxygenSaturation => &["oxygen saturation", "saturation", "pulse ox", "sats"],
            VitalSign::Weight => &["weight", "weighs", "body weight"],
            VitalSign::Height => &["height", "tall"],
            VitalSign::Pain => &["pain", "pain score", "pain level"],
            VitalSign::OxygenFlow => &["oxygen flow", "flow", "flow rate"],
            VitalSign::Alertness => &["alertness", "level of alertness"],
        };
        pick(rng, ways)
    }

    /// The value alone, with its unit where that is not the home's own.
    pub fn value(&self, units: Units, plain: bool, rng: &mut Rng) -> String {
        match self.measurement.value() {
            Value::Pressure {
                systolic,
                diastolic,
            } => {
                let high = say_whole(systolic.value(), plain, rng);
                let low = say_whole(diastolic.value(), plain, rng);
                let unit = pick(rng, &["", "", "", " millimeters of mercury"]);
                format!("{high} over {low}{unit}")
            }
            Value::Palpated { systolic } => {
                let said = say_whole(systolic.value(), plain, rng);
                let palpated = ["palpated", "by palpitation", "palpable", "over palpated"];
                format!("{said} {}", pick(rng, &palpated))
            }
            Value::Level(level) => level.spoken().to_owned(),
            Value::NotRated => pick(rng, &["can't say", "unable to say"]).to_owned(),
            Value::One(quantity) => self.quantity(quantity, units, plain, rng),
        }
    }

    fn quantity(&self, it: Quantity, units: Units, plain: bool, rng: &mut Rng) -> String {
        if it.unit() == Unit::Inch && rng.u8(0..2) == 0 {
            return say_feet(it.value(), plain, rng);
        }
        if it.unit() == Unit::Pound && !it.value().is_integer() && rng.u8(0..3) == 0 {
            let whole = say_whole(it.value().trunc(), plain, rng);
            let ounces = it.value().fract() * Decimal::from(16);
            if ounces.is_integer() {
                let ounces = say_whole(ounces, true, rng);
                return format!("{whole} pounds {ounces} ounces");
            }
        }
        let number = say_number(it.value(), self.sign(), plain, rng);
        let ways: &[&str] = match it.unit() {
            Unit::Fahrenheit => &["fahrenheit", "degrees fahrenheit"],
            Unit::Celsius => &["celsius", "degrees celsius", "centigrade"],
            Unit::Pound => &["pounds"],
            Unit::Kilogram => &["kilos", "kilograms"],
            Unit::Inch => &["inches"],
            Unit::Centimetre => &["centimeters"],
            Unit::Percent => &["percent"],
            Unit::LitreAMinute => &["liters", "liters a minute", "liters per minute"],
            Unit::Score => &["out of ten"],
            Unit::PerMinute if self.sign() == VitalSign::Pulse => &["beats a minute"],
            Unit::PerMinute => &["breaths a minute"],
            Unit::MmHg => &[""],
        };
        if it.unit() == units.unspoken(self.sign()) && rng.bool() && !plain {
            return number;
        }
        format!("{number} {}", pick(rng, ways))
    }
}

fn draw_numbers(sign: VitalSign, rng: &mut Rng) -> (Numbers, Unit) {
    let mut between = |low: u32, high: u32| Decimal::from(rng.u32(low..=high));
    let tenths = |value: Decimal| value / Decimal::TEN;
    let one = |value: Decimal, unit| (Numbers::One(value), unit);
    match sign {
        VitalSign::Temperature if between(0, 2).is_zero() => {
            one(tenths(between(340, 420)), Unit::Celsius)
        }
        VitalSign::Temperature => one(tenths(between(940, 1079)), Unit::Fahrenheit),
        VitalSign::Pulse => one(between(30, 220), Unit::PerMinute),
        VitalSign::Respiration => one(between(4, 60), Unit::PerMinute),
        VitalSign::BloodPressure => {
            let diastolic = between(30, 140);
            let systolic = diastolic + between(10, 120);
            (Numbers::Over(systolic, diastolic), Unit::MmHg)
        }
        VitalSign::OxygenSaturation => one(between(60, 100), Unit::Percent),
        VitalSign::Weight => match between(0, 2).to_u8() {
            Some(0) => one(tenths(between(300, 1500)), Unit::Kilogram),
            Some(1) => one(between(70 * 4, 400 * 4) / Decimal::from(4), Unit::Pound),
            _ => one(tenths(between(700, 4000)), Unit::Pound),
        },
        VitalSign::Height if between(0, 2).is_zero() => {
            one(tenths(between(1000, 2100)), Unit::Centimetre)
        }
        VitalSign::Height => one(between(48 * 2, 83 * 2) / Decimal::TWO, Unit::Inch),
        VitalSign::Pain => one(between(0, 10), Unit::Score),
        VitalSign::OxygenFlow => one(between(1, 30) / Decimal::TWO, Unit::LitreAMinute),
        VitalSign::Alertness => unreachable!("it is a word"),
    }
}

/// The cuff is on a wrist or forearm once in ten times.
fn draw_arm(rng: &mut Rng) -> Arm {
    use Arm::{Left, LeftForearm, LeftLeg, LeftWrist, Right, RightForearm, RightLeg, RightWrist};
    let drawn = rng.usize(0..40);
    let arms = if drawn % 10 == 9 {
        [LeftWrist, RightWrist, LeftForearm, RightForearm]
    } else {
        [Left, Right, LeftLeg, RightLeg]
    };
    arms[drawn / 10]
}

fn draw_qualifier(kind: QualifierKind, rng: &mut Rng) -> Qualifier {
    fn any<T: Copy>(all: &[T], rng: &mut Rng) -> T {
        all[rng.usize(0..all.len())]
    }
    match kind {
        QualifierKind::Method => Qualifier::Method(any(Method::ALL, rng)),
        QualifierKind::PulseSite => Qualifier::PulseSite(any(PulseSite::ALL, rng)),
        QualifierKind::Rhythm => Qualifier::Rhythm(any(Rhythm::ALL, rng)),
        QualifierKind::Strength => Qualifier::Strength(any(Strength::ALL, rng)),
        QualifierKind::Depth => Qualifier::Depth(any(Depth::ALL, rng)),
        QualifierKind::Arm => Qualifier::Arm(draw_arm(rng)),
        QualifierKind::Position => Qualifier::Position(any(Position::ALL, rng)),
        QualifierKind::Scale => Qualifier::Scale(any(Scale::ALL, rng)),
        QualifierKind::Supply => Qualifier::Supply(match rng.u8(0..3) {
            0 => Supply::RoomAir,
            1 => Supply::Oxygen(None),
            _ => Supply::Oxygen(Some(Decimal::from(rng.u8(1..10)))),
        }),
    }
}

/// The phrases of the grammar for a qualifier.
pub fn say_qualifier(it: Qualifier, rng: &mut Rng) -> String {
    let ways: &[&str] = match it {
        Qualifier::Method(Method::Oral) => &["oral", "orally", "by mouth"],
        Qualifier::Method(Method::Axillary) => &["axillary", "armpit", "under the arm", "underarm"],
        Qualifier::Method(Method::Tympanic) => &["tympanic", "ear", "in the ear"],
        Qualifier::Method(Method::Temporal) => &["temporal", "temporal artery", "forehead"],
        Qualifier::PulseSite(PulseSite::Apex) => &["apex", "at the apex"],
        Qualifier::Rhythm(Rhythm::Irregular) => &["irregular", "not regular"],
        Qualifier::Position(Position::Sitting) => &["sitting", "sitting up", "seated"],
        Qualifier::Position(Position::Lying) => &["lying", "lying down", "supine"],
        Qualifier::Supply(Supply::RoomAir) => &["on room air", "room air", "on air"],
        Qualifier::Supply(Supply::Oxygen(None)) => &["on oxygen"],
        Qualifier::Supply(Supply::Oxygen(Some(litres))) => {
            let number = DIGITS[litres.to_usize().unwrap()];
            let unit = if number == "one" { "liter" } else { "liters" };
            return match rng.u8(0..3) {
                0 => format!("on {number} {unit} of oxygen"),
                1 => format!("on oxygen {number} {unit}"),
                _ => format!("on {number} {unit}"),
            };
        }
        Qualifier::Scale(_) if rng.bool() => return format!("on the {}", it.spoken()),
        other => return other.spoken().to_owned(),
    };
    pick(rng, ways).to_owned()
}

/// In any form, or, plainly, as a cardinal with "and".
fn say_whole(number: Decimal, plain: bool, rng: &mut Rng) -> String {
    let forms = spoken_forms(number.to_u16().unwrap());
    let with_and = forms.iter().find(|it| it.contains(" and "));
    match with_and.or(forms.first()) {
        Some(form) if plain => form.clone(),
        _ => forms[rng.usize(0..forms.len())].clone(),
    }
}

fn say_number(number: Decimal, sign: VitalSign, plain: bool, rng: &mut Rng) -> String {
    let whole = say_whole(number.trunc(), plain, rng);
    let hundredths = (number.fract() * Decimal::ONE_HUNDRED).to_usize().unwrap();
    let tenth = DIGITS[hundredths / 10];
    let temperature = sign == VitalSign::Temperature;
    match hundredths {
        0 if plain && temperature => format!("{whole} point zero"),
        0 => whole,
        25 => format!("{whole} and a quarter"),
        75 => format!("{whole} and three quarters"),
        50 if !plain && rng.bool() => format!("{whole} and a half"),
        _ if temperature && !plain && rng.bool() => format!("{whole} {tenth}"),
        _ => format!("{whole} point {tenth}"),
    }
}

fn say_feet(inches: Decimal, plain: bool, rng: &mut Rng) -> String {
    let twelve = Decimal::from(12);
    let feet = say_whole((inches / twelve).trunc(), true, rng);
    let foot = pick(rng, &["foot", "feet"]);
    let rest = inches % twelve;
    if rest.is_zero() {
        return format!("{feet} {foot}");
    }
    let whole = say_whole(rest.trunc(), true, rng);
    let half = if rest.is_integer() { "" } else { " and a half" };
    let unit = if plain || rng.bool() { " inches" } else { "" };
    format!("{feet} {foot} {whole}{half}{unit}")
}
