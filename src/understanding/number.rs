//! Numbers as people say them. The same words can be more than one number;
//! every sensible one is returned, and the vital sign decides.

use rust_decimal::Decimal;

use crate::grammar::Piece;

/// Every number that these pieces can be. With `tenths`, the decimal point may
/// be left out before the last digit, as people do with temperatures: "ninety
/// eight six" is 98.6. "One hundred two" is then both 102 and 100.2.
#[must_use]
pub fn candidates(pieces: &[Piece], tenths: bool) -> Vec<Decimal> {
    let mut found = match pieces {
        [whole @ .., Piece::And, Piece::Fraction(fraction)] => add(&wholes(whole), *fraction),
        _ => match pieces.iter().position(|it| *it == Piece::Point) {
            Some(point) => decimals(&pieces[point + 1..])
                .map(|fraction| add(&wholes(&pieces[..point]), fraction))
                .unwrap_or_default(),
            None => wholes(pieces).into_iter().map(Decimal::from).collect(),
        },
    };
    if tenths
        && let [whole @ .., last, Piece::Digit(tenth)] = pieces
        && !matches!(last, Piece::Ten(_))
    {
        let whole: Vec<Piece> = [whole, &[*last]].concat();
        found.extend(add(&wholes(&whole), Decimal::new(i64::from(*tenth), 1)));
    }
    found.sort_unstable();
    found.dedup();
    found
}

/// Every flow that these pieces can be: half a liter has no whole number.
#[must_use]
pub fn of_litres(pieces: &[Piece]) -> Vec<Decimal> {
    match pieces {
        [Piece::Fraction(fraction)] => vec![*fraction],
        _ => candidates(pieces, false),
    }
}

fn add(wholes: &[u32], fraction: Decimal) -> Vec<Decimal> {
    let sum = |whole: &u32| Decimal::from(*whole) + fraction;
    wholes.iter().map(sum).collect()
}

/// Digits after "point": one or two, or two as one word ("point twenty five").
fn decimals(pieces: &[Piece]) -> Option<Decimal> {
    match *pieces {
        [Piece::Digit(tenths)] => Some(Decimal::new(i64::from(tenths), 1)),
        [Piece::Digit(tenths), Piece::Digit(hundredths)] => {
            Some(Decimal::new(i64::from(tenths * 10 + hundredths), 2))
        }
        [Piece::Oh, Piece::Digit(hundredths)] => Some(Decimal::new(i64::from(hundredths), 2)),
        _ => {
            let hundredths = below_hundred(pieces).filter(|it| *it >= 10)?;
            Some(Decimal::new(i64::from(hundredths), 2))
        }
    }
}

/// Whole numbers: as a cardinal, in pairs ("one twenty eight"), digit by digit.
fn wholes(pieces: &[Piece]) -> Vec<u32> {
    let ways = [cardinal(pieces), paired(pieces), digits(pieces)];
    let mut found: Vec<u32> = ways.into_iter().flatten().collect();
    found.sort_unstable();
    found.dedup();
    found
}

/// 1 to 99 in the ordinary way. Nought is left to [`digits`].
fn below_hundred(pieces: &[Piece]) -> Option<u32> {
    let value = match *pieces {
        [Piece::Digit(ones)] if ones > 0 => ones,
        [Piece::Teen(teen)] => teen,
        [Piece::Ten(ten)] => ten,
        [Piece::Ten(ten), Piece::Digit(ones)] if ones > 0 => ten + ones,
        _ => return None,
    };
    Some(u32::from(value))
}

fn cardinal(pieces: &[Piece]) -> Option<u32> {
    let Some(at) = pieces.iter().position(|it| *it == Piece::Hundred) else {
        return below_hundred(pieces);
    };
    let hundreds = match pieces[..at] {
        [] => 1,
        [Piece::Digit(digit)] if digit > 0 => u32::from(digit),
        _ => return None,
    };
    let rest = match &pieces[at + 1..] {
        [] => 0,
        [Piece::And, rest @ ..] | rest => below_hundred(rest)?,
    };
    Some(hundreds * 100 + rest)
}

/// "one twenty eight", "two fifteen": a digit of hundreds, then 10 to 99.
fn paired(pieces: &[Piece]) -> Option<u32> {
    let [Piece::Digit(hundreds @ 1..), rest @ ..] = pieces else {
        return None;
    };
    let rest = below_hundred(rest).filter(|it| *it >= 10)?;
    Some(u32::from(*hundreds) * 100 + rest)
}

/// "one two eight", "one oh eight"; at most four digits, no leading nought, and
/// no "oh" at the end.
fn digits(pieces: &[Piece]) -> Option<u32> {
    let leading = matches!(pieces, [Piece::Digit(0), _, ..] | [Piece::Oh, ..]);
    if pieces.len() > 4 || leading || pieces.last() == Some(&Piece::Oh) {
        return None;
    }
    let digit = |value: Option<u32>, piece: &Piece| match piece {
        Piece::Digit(digit) => Some(value? * 10 + u32::from(*digit)),
        Piece::Oh => Some(value? * 10),
        _ => None,
    };
    pieces.first()?;
    pieces.iter().fold(Some(0), digit)
}

#[cfg(test)]
mod tests {
    use std::sync::LazyLock;

    use super::*;
    use crate::grammar::{Grammar, Token, Vocabulary, spoken_forms};

    static VOCABULARY: LazyLock<Vocabulary> = LazyLock::new(|| Grammar::standard().vocabulary());

    fn number(text: &str, tenths: bool) -> Vec<String> {
        let words: Vec<String> = text.split(' ').map(str::to_owned).collect();
        let tokens = VOCABULARY.tokens(&words);
        let pieces: Vec<Piece> = tokens
            .into_iter()
            .filter_map(|it| match it.token {
                Token::Number(piece) => Some(piece),
                _ => None,
            })
            .collect();
        let found = candidates(&pieces, tenths);
        found.iter().map(|it| it.normalize().to_string()).collect()
    }

    #[test]
    fn whole_numbers_in_every_form() {
        for text in [
            "one twenty eight",
            "one hundred twenty eight",
            "one hundred and twenty eight",
            "one two eight",
        ] {
            assert_eq!(number(text, false), ["128"], "{text}");
        }
        assert_eq!(number("one oh eight", false), ["108"]);
        assert_eq!(number("two fifteen", false), ["215"]);
        assert_eq!(number("a hundred", false), ["100"]);
        assert_eq!(number("zero", false), ["0"]);
    }

    #[test]
    fn decimals_and_fractions() {
        assert_eq!(number("ninety eight point six", true), ["98.6"]);
        assert_eq!(number("one oh one point two", true), ["101.2"]);
        assert_eq!(number("one fifty three and a half", false), ["153.5"]);
        assert_eq!(number("sixty four and a quarter", false), ["64.25"]);
        assert_eq!(number("point six", true), [""; 0]);
    }

    #[test]
    fn a_left_out_point_is_for_temperatures_only() {
        assert_eq!(number("ninety eight six", true), ["98.6"]);
        assert_eq!(number("ninety eight six", false), [""; 0]);
        assert_eq!(number("nine eight six", true), ["98.6", "986"]);
        assert_eq!(number("ninety eight", true), ["98"]);
        assert_eq!(number("one hundred two", true), ["100.2", "102"]);
        assert_eq!(number("one hundred and two", true), ["102"]);
    }

    #[test]
    fn what_is_no_number_gives_none() {
        for text in [
            "eighteen sixteen",
            "seventy two seventy four",
            "ten one",
            "oh five five",
        ] {
            assert_eq!(number(text, false), [""; 0], "{text}");
        }
    }

    #[test]
    fn every_spoken_form_of_every_number_is_that_number_alone() {
        for expected in 0..=999 {
            for form in spoken_forms(expected) {
                assert_eq!(number(&form, false), [expected.to_string()], "{form}");
            }
        }
    }

    proptest::proptest! {
        #[test]
        fn no_pieces_panic(words in "((one|oh|nine|ten|twenty|hundred|and|point|a half) ){0,8}one") {
            let _ = number(&words, true);
        }
    }
}
