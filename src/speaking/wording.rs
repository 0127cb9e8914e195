//! What to say: plain text, made so that it can't be misheard. Every number is
//! said digit by digit ("one five", "five zero"), since fifteen and fifty sound
//! alike: Institute for Safe Medication Practices, guidance on spoken numbers.

use std::sync::LazyLock;

use chrono::{Datelike, Timelike};
use regex::Regex;
use rust_decimal::Decimal;

use crate::facts::Time;
use crate::grammar::ONES;
use crate::vitals::{
    BY_PALPATION, Device, Finding, Measurement, Qualifier, Quantity, Side, Supply, Unit, Value,
    VitalSign, Working,
};

/// A number, digit by digit: 98.6 is "nine eight point six".
#[must_use]
pub fn digits(number: Decimal) -> String {
    each_digit(&number.normalize().to_string())
}

fn each_digit(number: &str) -> String {
    let word = |it: char| match it {
        '.' => Some("point"),
        '-' => Some("minus"),
        digit => digit.to_digit(10).map(|it| ONES[it as usize]),
    };
    number
        .chars()
        .filter_map(word)
        .collect::<Vec<_>>()
        .join(" ")
}

/// A measurement as it is read back: "Blood pressure one two eight over seven
/// six, left arm, sitting".
#[must_use]
pub fn measurement(it: &Measurement) -> String {
    let feet = feet(it).unwrap_or_default();
    let value_said = value(it.value());
    let mut text = format!("{} {feet}{value_said}", capital(it.sign().name()));
    if it.sign() == VitalSign::Pain && it.value() != Value::NotRated {
        text.push_str(" of ten");
    }
    let order = it.sign().qualifiers().iter();
    for qualifier in order.filter_map(|kind| it.qualifiers().get(*kind)) {
        text.push_str(", ");
        text.push_str(&self::qualifier(qualifier));
    }
    text
}

/// "Five foot two, " before inches: "six two inches" alone is heard as six foot two.
fn feet(it: &Measurement) -> Option<String> {
    let Value::One(quantity) = it.value() else {
        return None;
    };
    (it.sign() == VitalSign::Height && quantity.unit() == Unit::Inch).then_some(())?;
    let twelve = Decimal::from(12);
    let feet = digits((quantity.value() / twelve).trunc());
    let rest = quantity.value() % twelve;
    Some(if rest.is_zero() {
        format!("{feet} foot, ")
    } else {
        format!("{feet} foot {}, ", digits(rest))
    })
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
        Value::Palpated { systolic } => {
            format!("{} systolic, {BY_PALPATION}", digits(systolic.value()))
        }
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
            let unit = if litres == Decimal::ONE {
                "liter"
            } else {
                "liters"
            };
            format!("on oxygen, {} {unit}", digits(litres))
        }
        other => other.spoken().to_owned(),
    }
}

/// The time of a late entry, as part of a read-back on the day of `now`. Of an hour that
/// the clocks went through twice, the second is meant where nothing is said of it.
#[must_use]
pub fn taken_at(time: Time, now: Time) -> String {
    let today = time.date_naive() == now.date_naive();
    let day = if today { "" } else { " yesterday" };
    let [hour, minute] = [time.hour().to_string(), format!("{:02}", time.minute())];
    let changed = if time.offset() == now.offset() {
        ""
    } else {
        ", before the clocks changed"
    };
    format!(
        ", taken{day} at {}, {}{changed}",
        each_digit(&hour),
        each_digit(&minute)
    )
}

/// A birth date: "born May one one, one nine three eight".
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
    let name = capital(it.name());
    let range = it.bounds.beside(it.value);
    format!(
        "{name} {} is {side} the range, {} to {}.",
        digits(it.value.value()),
        digits(range.low),
        digits(range.high)
    )
}

/// A text with its numbers spelled out digit by digit and its unit symbols as
/// words.
#[must_use]
pub fn spelled(text: &str) -> String {
    static NUMBER: LazyLock<Regex> =
        LazyLock::new(|| Regex::new(r"\d+([.:]\d+)?").expect("a fixed pattern"));
    // A pain of seven on a scale to ten is said so.
    static OF_TEN: LazyLock<Regex> =
        LazyLock::new(|| Regex::new(r"(\d) of 10\b").expect("a fixed pattern"));
    const SYMBOLS: [(&str, &str); 10] = [
        ("°F", " Fahrenheit"),
        ("°C", " Celsius"),
        ("/min", " a minute"),
        (" mmHg", ""),
        ("%", " percent"),
        (" lb", " pounds"),
        (" kg", " kilograms"),
        (" cm", " centimeters"),
        (" in is ", " inches is "),
        ("  ", " "),
    ];
    let number = |found: &regex::Captures<'_>| each_digit(&found[0]);
    let text = OF_TEN.replace_all(text, "$1 of ten");
    let words = NUMBER.replace_all(&text, number).into_owned();
    let symbols = SYMBOLS.iter();
    let text = symbols.fold(words, |text, (symbol, word)| text.replace(symbol, word));
    match text.strip_suffix(" in") {
        Some(text) => format!("{text} inches"),
        None => text,
    }
}

/// The device a value was read from, as part of a read-back.
#[must_use]
pub fn device(it: Device) -> String {
    format!(", from {}", it.spoken())
}

/// How a value was worked out, as part of a read-back.
#[must_use]
pub fn working(it: Working) -> String {
    match it {
        Working::Counted { count, seconds } => format!(
            ", counted {} in {} seconds",
            digits(count.into()),
            digits(seconds.into())
        ),
        Working::Bars { large, small } => format!(", {} plus {}", digits(large), digits(small)),
        Working::LessChair { total, chair } => {
            format!(
                ", {} less the chair, {}",
                digits(total.value()),
                quantity(chair)
            )
        }
    }
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
