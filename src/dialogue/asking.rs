//! The question about a value that was not clear, in words.

use super::recheck::how;
use crate::speaking::wording;
use crate::understanding::{Unclear, Why};
use crate::vitals::VitalSign;

/// `hard` for one that was said in vain again and again.
pub(super) fn ask_value(unclear: &Unclear, hard: bool) -> String {
    let name = unclear.sign.name();
    // Which of two: a number alone will be taken as of this arm.
    let how = match unclear.sign {
        VitalSign::BloodPressure => how(&unclear.qualifiers, unclear.sign),
        _ => String::new(),
    };
    let again = format!("{name} again{how}");
    let hard = if hard { ", digit by digit" } else { "" };
    match &unclear.why {
        Why::Gap | Why::Unsure(_) => {
            format!("I missed part of the {name}. Say the {again}{hard}.")
        }
        Why::NoNumber => format!("What is the {name}{how}?"),
        Why::NotANumber(words)
            if unclear.sign == VitalSign::OxygenFlow && words.starts_with("point") =>
        {
            format!("Less than one liter? Say the {again}, with zero before the point.")
        }
        Why::NotANumber(words) => {
            // One number alone, again and again, may be all there is.
            let one = unclear.sign == VitalSign::BloodPressure && !words.contains("over");
            let alone = if one && !hard.is_empty() {
                "; or with palpated, if only the systolic was felt"
            } else {
                ""
            };
            let n = if name.starts_with(['a', 'o']) {
                "n"
            } else {
                ""
            };
            format!("I could not make a{n} {name} of that. Say the {again}{hard}{alone}.")
        }
        Why::Either(ways) => {
            let ways: Vec<String> = ways.iter().map(wording::measurement).collect();
            format!("{}? Say the {again}{hard}.", ways.join(", or "))
        }
        Why::NotTaken(reason) => format!("{}: {}.", wording::capital(name), reason.spoken()),
        Why::OrNotTaken(value, reason) => format!(
            "{}, or {}? Say the {again}.",
            wording::measurement(value),
            reason.spoken()
        ),
        Why::Impossible(why) => format!("{}. Say the {again}.", sentence(&why.to_string())),
        Why::Arithmetic(why) => format!("{}. Say the {again}.", sentence(why)),
        Why::TwoQualifiers(a, b) => format!(
            "{} and {} can't both be. Say the {name} again.",
            wording::capital(a.spoken()),
            b.spoken()
        ),
        Why::Counted(_) => format!("{}: how many?", wording::capital(name)),
        Why::NoDiastolic(_) => {
            "No diastolic. Was it palpated? Then say palpated; or say both numbers.".to_owned()
        }
        Why::PalpatedOver => format!("Palpation gives no diastolic. Say the {again}."),
        Why::BadTime => {
            format!("That time can't be. Say the {name} again, with when it was taken.")
        }
    }
}

pub(super) fn sentence(text: &str) -> String {
    wording::capital(&wording::spelled(text))
}
