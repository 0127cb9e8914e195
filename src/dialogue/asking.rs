//! The question about a value that was not clear, in words.

use super::recheck::how;
use crate::speaking::wording;
use crate::understanding::{Unclear, Why};
use crate::vitals::{Measurement, VitalSign};

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
    let missed = format!("I missed part of the {name}. Say the {again}{hard}.");
    match &unclear.why {
        Why::Gap | Why::Cut | Why::Unsure(_) => missed,
        // What may be a diastolic that was cut short is no palpation to choose.
        Why::Either(ways) if ways.iter().any(Measurement::is_palpated) && !all_palpated(ways) => {
            missed
        }
        Why::NoNumber => format!("What is the {name}{how}?"),
        Why::NotANumber(words)
            if unclear.sign == VitalSign::OxygenFlow && words.starts_with("point") =>
        {
            format!("Less than one liter? Say the {again}, with zero before the point.")
        }
        Why::NotANumber(_) => {
            let n = if name.starts_with(['a', 'o']) {
                "n"
            } else {
                ""
            };
            format!("I could not make a{n} {name} of that. Say the {again}{hard}.")
        }
        Why::OnlySystolic {
            systolic,
            over: true,
        } if hard.is_empty() => format!("{} over what?", sentence(&systolic.to_string())),
        Why::OnlySystolic { over, .. } => {
            // One number alone, again and again, may be all there is.
            let alone = if *over || hard.is_empty() {
                ""
            } else {
                "; or with palpated, if only the systolic was felt"
            };
            format!("I could not make a {name} of that. Say the {again}{hard}{alone}.")
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
        Why::ChairWeight(_) => {
            "The weight of the chair is not known. Say less, and what it weighs.".to_owned()
        }
        Why::NoDiastolic(_) => {
            "No diastolic. Was it palpated? Then say palpated; or say both numbers.".to_owned()
        }
        Why::PalpatedOver => format!("Palpation gives no diastolic. Say the {again}."),
        Why::BadTime => {
            format!(
                "That time can't be. Say the {name} again, with when it was taken. If that is now, say taken now."
            )
        }
    }
}

fn all_palpated(ways: &[Measurement]) -> bool {
    ways.iter().all(Measurement::is_palpated)
}

pub(super) fn sentence(text: &str) -> String {
    wording::capital(&wording::spelled(text))
}

#[cfg(test)]
mod tests {
    use rust_decimal::dec;

    use super::*;
    use crate::vitals::{Numbers, Qualifiers, Unit};

    #[test]
    fn palpation_is_not_offered_where_a_diastolic_may_have_been_cut() {
        let sign = VitalSign::BloodPressure;
        let of = |numbers| Measurement::new(sign, numbers, Unit::MmHg, Qualifiers::default());
        let both = of(Numbers::Over(dec!(140), dec!(90))).unwrap();
        let felt = of(Numbers::Palpated(dec!(140))).unwrap();
        let other = of(Numbers::Palpated(dec!(114))).unwrap();
        let asked = |ways: &[&Measurement]| {
            let unclear = Unclear {
                sign,
                why: Why::Either(ways.iter().copied().cloned().collect()),
                qualifiers: Qualifiers::default(),
                taken: None,
                manner: None,
            };
            ask_value(&unclear, false)
        };
        let missed = "I missed part of the blood pressure. Say the blood pressure again.";
        assert_eq!(asked(&[&both, &felt]), missed);
        // Which systolic was felt is worth a question.
        assert!(asked(&[&felt, &other]).contains("by palpation, or Blood pressure"));
    }
}
