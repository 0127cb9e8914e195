//! Numbers against an outside reference: every spelling in
//! `tests/data/num2words.tsv` comes from `num2words` 0.5.14 of `PyPI`, by
//! `tests/data/make-num2words.py`.

use std::sync::LazyLock;

use rust_decimal::Decimal;
use sayback::grammar::{Grammar, Piece, Token, Vocabulary};
use sayback::hearing::Heard;
use sayback::understanding::{ASK_BELOW, Context, Utterance, Why, number_candidates, understand};
use sayback::vitals::{Measurement, Numbers, Qualifiers, Units, Value, VitalSign};

static VOCABULARY: LazyLock<Vocabulary> = LazyLock::new(|| Grammar::standard().vocabulary());

const SIGNS: [VitalSign; 5] = [
    VitalSign::Pulse,
    VitalSign::Weight,
    VitalSign::Temperature,
    VitalSign::Respiration,
    VitalSign::OxygenSaturation,
];
const BOTH_UNITS: [Units; 2] = [Units::UsCustomary, Units::Metric];

/// The rows of these kinds, as number and words. At least `least`, so that an
/// empty file proves nothing.
fn rows(kinds: &[&str], least: usize) -> Vec<(Decimal, &'static str)> {
    let rows = include_str!("data/num2words.tsv").lines();
    let row = |line: &'static str| {
        let mut columns = line.split('\t');
        let (kind, number) = (columns.next()?, columns.next()?);
        let words = columns.next().expect("a row has three columns");
        let number = number.parse().expect("a number in the second column");
        kinds.contains(&kind).then_some((number, words))
    };
    let found: Vec<_> = rows.filter_map(row).collect();
    assert!(found.len() >= least, "{kinds:?}: {} rows", found.len());
    found
}

/// The pieces of a number; none when a word is anything else.
fn pieces(words: &str) -> Option<Vec<Piece>> {
    let words: Vec<String> = words.split(' ').map(str::to_owned).collect();
    let piece = |token| match token {
        Token::Number(piece) => Some(piece),
        _ => None,
    };
    let tokens = VOCABULARY.tokens(&words).into_iter();
    tokens.map(|it| piece(it.token)).collect()
}

fn meaning(said: &str, units: Units, pending: &[VitalSign]) -> Option<Utterance> {
    let context = Context {
        pending,
        ..Context::at_rest(units, ASK_BELOW)
    };
    understand(&Heard::from_text(said), &VOCABULARY, &context).ok()
}

fn number(measurement: &Measurement) -> Decimal {
    match measurement.value() {
        Value::One(quantity) => quantity.value(),
        other => panic!("{other:?} is not one number"),
    }
}

/// A vital sign that can have the number has it; one that can't has none. A
/// temperature may ask instead where the point can have been left out.
fn understood(expected: Decimal, words: &str) {
    for sign in SIGNS {
        for units in BOTH_UNITS {
            let numbers = Numbers::One(expected);
            let unit = units.unspoken(sign);
            let possible = Measurement::new(sign, numbers, unit, Qualifiers::default()).is_ok();
            let said = format!("{} {words}", sign.name());
            let Some(Utterance::Readings {
                claims, unclear, ..
            }) = meaning(&said, units, &[])
            else {
                panic!("{said}: no reading");
            };
            let claims: Vec<Decimal> = claims.iter().map(|it| number(&it.measurement)).collect();
            let asked = unclear.iter().any(|it| match &it.why {
                Why::Either(ways) => ways.iter().any(|it| number(it) == expected),
                _ => false,
            });
            let may_ask = sign == VitalSign::Temperature && ends_in_digit(words);
            match claims.as_slice() {
                [only] if possible => assert_eq!(*only, expected, "{said}"),
                [] => assert!(!possible || (may_ask && asked), "{said}: {unclear:?}"),
                // No claim of a number the words are not, ever.
                other => panic!("{said}: {other:?}"),
            }
        }
    }
}

/// Whether a temperature may have left out its point before the last word.
fn ends_in_digit(words: &str) -> bool {
    let pieces = pieces(words).unwrap_or_default();
    matches!(pieces.as_slice(), [.., last, Piece::Digit(_)] if !matches!(last, Piece::Ten(_) | Piece::And))
}

#[test]
fn every_cardinal_is_that_number() {
    for (expected, words) in rows(&["cardinal", "cardinal_without_and"], 1800) {
        let pieces = pieces(words).expect(words);
        assert_eq!(number_candidates(&pieces, false), [expected], "{words}");
        understood(expected, words);
    }
}

#[test]
fn every_year_form_is_that_number() {
    for (expected, words) in rows(&["year"], 900) {
        let pieces = pieces(words).expect(words);
        assert_eq!(number_candidates(&pieces, false), [expected], "{words}");
        understood(expected, words);
    }
}

#[test]
fn every_decimal_is_that_number() {
    for (expected, words) in rows(&["decimal"], 210) {
        let pieces = pieces(words).expect(words);
        for tenths in [false, true] {
            // "one hundred one" alone is also 100.1 for a temperature.
            if tenths && !words.contains("point") {
                continue;
            }
            let found = number_candidates(&pieces, tenths);
            assert_eq!(found, [expected.normalize()], "{words}");
        }
        understood(expected, words);
    }
}

/// "Pulse seventy second" is a word that was misheard, not a seventy.
#[test]
fn an_ordinal_gives_no_value() {
    for (_, words) in rows(&["ordinal"], 100) {
        assert_eq!(pieces(words), None, "{words}");
        for sign in SIGNS {
            let said = format!("{} {words}", sign.name());
            let claims = match meaning(&said, Units::UsCustomary, &[]) {
                Some(Utterance::Readings { claims, .. }) => claims,
                Some(other) => panic!("{said}: {other:?}"),
                None => Vec::new(),
            };
            assert!(claims.is_empty(), "{said}: {claims:?}");
            // Nor as the answer to a question.
            match meaning(words, Units::UsCustomary, &[sign]) {
                Some(Utterance::Part(part)) => assert_eq!(part.value, None, "{words}"),
                Some(other) => panic!("{words}: {other:?}"),
                None => {}
            }
        }
    }
}
