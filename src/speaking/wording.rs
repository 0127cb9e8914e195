//! What to say: plain text, made so that it can't be misheard. Every number is
//! said digit by digit ("one five", "five zero"), since fifteen and fifty sound
//! alike: Institute for Safe Medication Practices, guidance on spoken numbers.

use chrono::{Datelike, Timelike};
use rust_decimal::Decimal;

use crate::facts::Time;
use crate::vitals::{
    Bounds, Component, Finding, Measurement, Qualifier, Quantity, Side, Supply, Unit, Value,
    VitalSign,
};

const DIGITS: [&str; 10] = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
];

/// A number, digit by digit: 98.6 is "nine eight point six".
#[must_use]
pub fn digits(number: Decimal) -> String {
    let text = number.normalize().to_string();
    let word = |it: char| match it {
        '.' => "point",
        '-' => "minus",
        digit => digit.to_digit(10).map_or("", |it| DIGITS[it as usize]),
    };
    text.chars().map(word).collect::<Vec<_>>().join(" ")
}

/// A measurement as it is read back: "Blood pressure one two eight over seven
/// six, left arm, sitting".
#[must_use]
pub fn measurement(it: &Measurement) -> String {
    let mut text = format!("{} {}", capital(it.sign().name()), value(it.value()));
    let order = it.sign().qualifiers().iter();
    for qualifier in order.filter_map(|kind| it.qualifiers().get(*kind)) {
        text.push_str(", ");
        text.push_str(&self::qualifier(qualifier));
    }
    text
}

/// A value with its unit where people say one.
#[must_use]
pub fn value(value: Value) -> String {
    match value {
        Value::One(quantity) => self::quantity(quantity),
        Value::Pressure {
            systolic,
            diastolic,
        } => format!(
            "{} over {}",
            digits(systolic.value()),
            digits(diastolic.value())
        ),
        Value::Level(level) => level.spoken().to_owned(),
        Value::NotRated => "could not be rated".to_owned(),
    }
}

/// A quantity with its unit where people say one.
#[must_use]
pub fn quantity(it: Quantity) -> String {
    join(&digits(it.value()), it.unit().spoken())
}

fn qualifier(it: Qualifier) -> String {
    match it {
        Qualifier::Supply(Supply::Oxygen(Some(litres))) => {
            format!("on oxygen, {} liters", digits(litres))
        }
        other => other.spoken().to_owned(),
    }
}

/// The time of a late entry, as part of a read-back.
#[must_use]
pub fn taken_at(time: Time) -> String {
    let (hour, minute) = (Decimal::from(time.hour()), time.minute());
    let minute = format!(
        "{} {}",
        DIGITS[minute as usize / 10],
        DIGITS[minute as usize % 10]
    );
    format!(", taken at {}, {minute}", digits(hour))
}

/// A birth date: "born one one, May, one nine three eight".
#[must_use]
pub fn birth_date(date: chrono::NaiveDate) -> String {
    let day = digits(Decimal::from(date.day()));
    let year = digits(Decimal::from(date.year()));
    format!("born {} {day}, {year}", date.format("%B"))
}

/// What crossed a limit and by what: "Pulse one one two is above the range, six
/// zero to one zero zero."
#[must_use]
pub fn finding(it: &Finding) -> String {
    let side = match it.side {
        Side::Above => "above",
        Side::Below => "below",
    };
    let name = match it.component {
        Component::Whole => capital(it.sign.name()),
        part => capital(part.name(it.sign)),
    };
    format!(
        "{name} {} is {side} the range, {}.",
        digits(it.value.value()),
        range(&it.bounds, it.value.unit())
    )
}

/// A range in the unit of the value it is compared with.
fn range(bounds: &Bounds, unit: Unit) -> String {
    let bounds = bounds.to(unit).unwrap_or(*bounds).rounded();
    format!("{} to {}", digits(bounds.low), digits(bounds.high))
}

/// A text with its numbers spelled out digit by digit and its unit symbols as
/// words.
#[must_use]
pub fn spelled(text: &str) -> String {
    let word = |it: &str| match it.parse::<Decimal>() {
        Ok(number) => digits(number),
        Err(_) => match it {
            "°F" => "Fahrenheit".to_owned(),
            "°C" => "Celsius".to_owned(),
            "/min" => "a minute".to_owned(),
            "%" => "percent".to_owned(),
            "lb" => "pounds".to_owned(),
            "kg" => "kilograms".to_owned(),
            "in" => "inches".to_owned(),
            "cm" => "centimeters".to_owned(),
            "mmHg" => String::new(),
            other => other.to_owned(),
        },
    };
    let words: Vec<String> = text.split(' ').map(word).collect();
    words.join(" ")
}

/// The names of vital signs in a list: "pulse, weight".
#[must_use]
pub fn names(signs: &[VitalSign]) -> String {
    let names: Vec<&str> = signs.iter().map(|it| it.name()).collect();
    names.join(", ")
}

/// The text with its first letter made a capital.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(chars).collect()
    })
}

fn join(text: &str, more: &str) -> String {
    if more.is_empty() {
        text.to_owned()
    } else {
        format!("{text} {more}")
    }
}
