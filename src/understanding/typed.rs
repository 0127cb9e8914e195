//! Words given by hand: what is typed or touched becomes the words that would
//! be spoken, so that it goes the same way as speech.

use crate::grammar::{ONES, spoken_forms};
use crate::hearing::{By, Heard};

/// Short ways to write what is said in full. "F" and "C" only right after a
/// number.
const WRITTEN: [(&str, &str); 10] = [
    ("%", "percent"),
    ("/", "over"),
    ("f", "fahrenheit"),
    ("c", "celsius"),
    ("lb", "pounds"),
    ("lbs", "pounds"),
    ("kg", "kilograms"),
    ("l", "liters"),
    ("bp", "blood pressure"),
    ("palp", "palpated"),
];

/// What was typed, as words by [`By::Touch`]: "152/88" is "one five two over
/// eight eight", "98.6" is "nine eight point six", and "room 12" is "room
/// twelve". What can't be said stays as typed, and is then not understood.
#[must_use]
pub fn typed(text: &str) -> Heard {
    let mut words = Vec::new();
    let mut after_room = false;
    let text = text.to_lowercase().replace('\u{b0}', "");
    let text = text.replace("by palpation", "palpated");
    for piece in text.split_whitespace() {
        spell(piece, after_room, &mut words);
        after_room = matches!(piece, "room" | "bed");
    }
    Heard {
        by: By::Touch,
        ..Heard::from_text(&words.join(" "))
    }
}

fn spell(piece: &str, after_room: bool, words: &mut Vec<String>) {
    let mark = [',', '.', '!', '?', ';', '"', '\u{201c}', '\u{201d}'];
    let whole = piece.trim_end_matches(mark);
    let piece = whole.trim_start_matches(mark);
    // ".5" is no 5.
    let fraction = whole
        .strip_suffix(piece)
        .is_some_and(|it| it.ends_with(['.', ',']))
        && piece.starts_with(|it: char| it.is_ascii_digit());
    if fraction {
        words.extend(["zero", "point"].map(str::to_owned));
    }
    if !piece.contains(|it: char| it.is_ascii_digit()) {
        if !piece.is_empty() {
            words.push(written(piece));
        }
        return;
    }
    if let Some(time) = clock(piece) {
        return words.push(time);
    }
    let place = after_room.then(|| piece.parse().ok().map(spoken_forms));
    if let Some(label) = place.flatten().and_then(|it| it.into_iter().next()) {
        return words.push(label);
    }
    let runs = runs(piece);
    // "110/P" has no diastolic: the letter is no number.
    let (runs, palpated) = match runs.as_slice() {
        [systolic @ .., "/", "p" | "palp" | "palpation"] => (systolic, true),
        all => (all, false),
    };
    for &run in runs {
        let number = run.starts_with(|it: char| it.is_ascii_digit());
        match run {
            "." | "," => words.push("point".into()),
            "-" | "(" | ")" => {}
            _ if number => words.extend(run.bytes().map(|it| {
                let digit = usize::from(it - b'0');
                ONES[digit].to_owned()
            })),
            other => words.push(written(other)),
        }
    }
    if palpated {
        words.push("palpated".into());
    }
}

fn written(word: &str) -> String {
    let found = WRITTEN.iter().find(|(short, _)| *short == word);
    found.map_or(word, |(_, said)| said).to_owned()
}

/// "10:15" as "ten fifteen", and "9:05" as "nine oh five".
fn clock(piece: &str) -> Option<String> {
    let (hour, minute) = piece.split_once(':')?;
    let said = |it: u16| spoken_forms(it).into_iter().next();
    let (hour, minutes): (u16, u16) = (hour.parse().ok()?, minute.parse().ok()?);
    if minute.len() != 2 || hour > 23 || minutes > 59 {
        return None;
    }
    let hour = said(hour)?;
    Some(match minutes {
        0 => format!("{hour} o'clock"),
        1..10 => format!("{hour} oh {}", said(minutes)?),
        _ => format!("{hour} {}", said(minutes)?),
    })
}

/// Runs of digits, runs of letters, and each other character by itself.
fn runs(piece: &str) -> Vec<&str> {
    let kind = |it: char| match it {
        _ if it.is_ascii_digit() => 0,
        _ if it.is_alphabetic() || it == '\'' => 1,
        _ => 2,
    };
    let mut runs = Vec::new();
    let mut from = 0;
    let mut before = None;
    for (at, character) in piece.char_indices() {
        let is = kind(character);
        if before.is_some_and(|it| it != is || is == 2) {
            runs.push(&piece[from..at]);
            from = at;
        }
        before = Some(is);
    }
    runs.push(&piece[from..]);
    runs
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grammar::Grammar;
    use crate::understanding::{ASK_BELOW, Context, Utterance, understand};
    use crate::vitals::{Units, Value, VitalSign};
    use rust_decimal::Decimal;

    #[test]
    fn digits_become_words() {
        for (text, said) in [
            ("BP 152/88", "blood pressure one five two over eight eight"),
            (
                "Temp 98.6F oral",
                "temp nine eight point six fahrenheit oral",
            ),
            (
                "temperature 37,2 \u{b0}C",
                "temperature three seven point two celsius",
            ),
            ("Room 12, bed 2.", "room twelve bed two"),
            ("sat 92%", "sat nine two percent"),
            (
                "BP 110/P left arm",
                "blood pressure one one zero palpated left arm",
            ),
            ("bp 96 by palpation", "blood pressure nine six palpated"),
            ("bp 96/palp.", "blood pressure nine six palpated"),
            ("what's missing?", "what's missing"),
            (
                "pulse 72 taken at 10:05",
                "pulse seven two taken at ten oh five",
            ),
            (
                "pulse 72 taken at 9:00",
                "pulse seven two taken at nine o'clock",
            ),
            ("flow .5 liters", "flow zero point five liters"),
            (
                "pulse 72 taken at 14:30",
                "pulse seven two taken at fourteen thirty",
            ),
            ("", ""),
            (" . ", ""),
        ] {
            let heard = typed(text);
            assert_eq!(
                (heard.text().as_str(), heard.by),
                (said, By::Touch),
                "{text}"
            );
        }
    }

    /// What is typed is the value itself, never another, over the whole span of
    /// what a person can have.
    #[test]
    fn a_typed_number_is_never_another() {
        let vocabulary = Grammar::standard().vocabulary();
        let meaning = |text: &str, units| {
            let context = Context::at_rest(units, ASK_BELOW);
            understand(&typed(text), &vocabulary, &context)
        };
        for (sign, tenths, fewest) in [
            (VitalSign::Pulse, false, 200),
            (VitalSign::Respiration, false, 50),
            (VitalSign::OxygenSaturation, false, 40),
            (VitalSign::Temperature, true, 100),
            (VitalSign::Weight, true, 1500),
        ] {
            let mut clear = 0;
            for tenth in 0..4000_i64 {
                if !tenths && tenth % 10 != 0 {
                    continue;
                }
                let number = Decimal::new(tenth, 1).normalize();
                let Ok(Utterance::Readings { claims, .. }) =
                    meaning(&format!("{} {number}", sign.name()), Units::UsCustomary)
                else {
                    continue;
                };
                for claim in claims {
                    let Value::One(quantity) = claim.measurement.value() else {
                        panic!("{sign:?} {number}: {:?}", claim.measurement);
                    };
                    assert_eq!(quantity.value().normalize(), number, "{sign:?}");
                    clear += 1;
                }
            }
            assert!(
                clear >= fewest,
                "{sign:?}: only {clear} values can be typed"
            );
        }
    }
}
