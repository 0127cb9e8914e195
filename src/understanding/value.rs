//! From the tokens of one number to a value of one vital sign.

use rust_decimal::{Decimal, dec};

use super::number::candidates;
use super::utterance::Why;
use crate::grammar::{Piece, Spoken, Token};
use crate::vitals::{Measurement, Numbers, Qualifiers, Unit, Units, VitalSign};

/// Whether a token belongs to the number itself. "And" does only between two
/// that do: "regular and strong" holds no number.
pub const fn is_core(token: &Token) -> bool {
    match token {
        Token::Number(piece) => !matches!(piece, Piece::And),
        other => matches!(
            other,
            Token::Over | Token::Feet | Token::Ounces | Token::Litres
        ),
    }
}

/// The value that these tokens of one segment claim for `sign`.
///
/// # Errors
/// [`Why`] says what to ask.
pub fn value_of(sign: VitalSign, tokens: &[Spoken], units: Units) -> Result<(Numbers, Unit), Why> {
    let core = |it: &Spoken| is_core(&it.token);
    let Some(first) = tokens.iter().position(core) else {
        return Err(Why::NoNumber);
    };
    let last = tokens.iter().rposition(core).unwrap_or(first);
    let inside = &tokens[first..=last];
    let unknown = |it: &Spoken| it.token == Token::Unknown;
    // Words without meaning do not close a gap: "[unk] a hundred".
    let meant = |it: &&Spoken| it.token != Token::Filler;
    let before = tokens[..first].iter().rev().find(meant);
    let after = tokens[last + 1..].iter().find(meant);
    if inside.iter().any(unknown) || before.is_some_and(unknown) || after.is_some_and(unknown) {
        return Err(Why::Gap);
    }
    let inside: Vec<&Token> = inside
        .iter()
        .map(|it| &it.token)
        .filter(|it| **it != Token::Filler)
        .collect();
    let units_said: Vec<Unit> = tokens
        .iter()
        .filter_map(|it| match it.token {
            Token::Unit(unit) => Some(unit),
            _ => None,
        })
        .collect();
    let claimed = shapes(sign, &inside, &units_said, units).ok_or_else(|| not_a_number(&inside))?;
    choose(sign, claimed).unwrap_or_else(|| Err(not_a_number(&inside)))
}

/// The one possible value among those claimed; `None` when none was claimed.
fn choose(sign: VitalSign, claimed: Vec<(Numbers, Unit)>) -> Option<Result<(Numbers, Unit), Why>> {
    let mut possible = Vec::new();
    let mut refused = None;
    for (numbers, unit) in claimed {
        match Measurement::new(sign, numbers, unit, Qualifiers::default()) {
            Ok(measurement) => possible.push((numbers, unit, measurement)),
            Err(why) => refused = refused.or(Some(why)),
        }
    }
    Some(match possible.as_slice() {
        [] => Err(Why::Impossible(refused?)),
        [(numbers, unit, _)] => Ok((*numbers, *unit)),
        _ => Err(Why::Either(possible.into_iter().map(|it| it.2).collect())),
    })
}

fn not_a_number(tokens: &[&Token]) -> Why {
    let show = |token: &&Token| match token {
        Token::Number(Piece::Digit(it) | Piece::Teen(it) | Piece::Ten(it)) => it.to_string(),
        Token::Number(Piece::Hundred) => "hundred".to_owned(),
        Token::Number(Piece::Fraction(it)) => it.to_string(),
        Token::Number(Piece::And) => "and".to_owned(),
        Token::Number(Piece::Point) => "point".to_owned(),
        Token::Over => "over".to_owned(),
        _ => "…".to_owned(),
    };
    let words: Vec<String> = tokens.iter().map(show).collect();
    Why::NotANumber(words.join(" "))
}

/// Every value the tokens can be; `None` when they have no shape this vital
/// sign can take.
fn shapes(
    sign: VitalSign,
    tokens: &[&Token],
    said: &[Unit],
    units: Units,
) -> Option<Vec<(Numbers, Unit)>> {
    match sign {
        VitalSign::BloodPressure => pressures(tokens, said),
        VitalSign::Height if tokens.contains(&&Token::Feet) => {
            let at = tokens.iter().position(|it| **it == Token::Feet)?;
            let feet = single(&tokens[..at])?;
            let inches = match &tokens[at + 1..] {
                [] => Decimal::ZERO,
                rest => single(rest)?,
            };
            let below_a_foot = inches < dec!(12) && said.iter().all(|it| *it == Unit::Inch);
            let total = feet * dec!(12) + inches;
            below_a_foot.then(|| vec![(Numbers::One(total), Unit::Inch)])
        }
        VitalSign::Weight if tokens.contains(&&Token::Ounces) => {
            let [whole @ .., Token::Ounces] = tokens else {
                return None;
            };
            let at = whole
                .iter()
                .position(|it| **it == Token::Unit(Unit::Pound))?;
            let pounds = single(&whole[..at])?;
            let ounces = single(&whole[at + 1..]).filter(|it| *it < dec!(16))?;
            let total = pounds + ounces / dec!(16);
            (said == [Unit::Pound]).then(|| vec![(Numbers::One(total), Unit::Pound)])
        }
        _ => {
            let pieces = pieces(tokens)?;
            let unit = match said {
                [] => units.unspoken(sign),
                [unit, rest @ ..] if rest.iter().all(|it| it == unit) => *unit,
                _ => return None,
            };
            let tenths = sign == VitalSign::Temperature;
            let mut found: Vec<_> = candidates(&pieces, tenths)
                .into_iter()
                .map(|it| (Numbers::One(it), unit))
                .collect();
            if sign == VitalSign::Height && unit == Unit::Inch && said.is_empty() {
                found.extend(feet_and_inches(&pieces).map(|it| (Numbers::One(it), unit)));
            }
            Some(found)
        }
    }
}

/// "five four" for five foot four.
fn feet_and_inches(pieces: &[Piece]) -> Option<Decimal> {
    let [Piece::Digit(feet @ 3..=7), inches] = *pieces else {
        return None;
    };
    let (Piece::Digit(inches) | Piece::Teen(inches @ 10..=11)) = inches else {
        return None;
    };
    Some(Decimal::from(u16::from(feet) * 12 + u16::from(inches)))
}

fn pressures(tokens: &[&Token], said: &[Unit]) -> Option<Vec<(Numbers, Unit)>> {
    if said.iter().any(|it| *it != Unit::MmHg) {
        return None;
    }
    let pairs = |left: &[&Token], right: &[&Token]| -> Option<Vec<(Numbers, Unit)>> {
        let systolic = candidates(&pieces(left)?, false);
        let diastolic = candidates(&pieces(right)?, false);
        let over = |high: Decimal| {
            let pair = move |low: &Decimal| (Numbers::Over(high, *low), Unit::MmHg);
            diastolic.iter().map(pair).collect::<Vec<_>>()
        };
        Some(systolic.into_iter().flat_map(over).collect())
    };
    if let Some(at) = tokens.iter().position(|it| **it == Token::Over) {
        return pairs(&tokens[..at], &tokens[at + 1..]);
    }
    // "one twenty eighty": every place to cut, and the limits decide. What no
    // cut makes possible is not a pressure at all, rather than an odd one.
    let cut = |at: usize| pairs(&tokens[..at], &tokens[at..]);
    let possible = |it: &(Numbers, Unit)| {
        let none = Qualifiers::default();
        Measurement::new(VitalSign::BloodPressure, it.0, it.1, none).is_ok()
    };
    let cuts = (1..tokens.len()).filter_map(cut).flatten();
    let found: Vec<_> = cuts.filter(possible).collect();
    (!found.is_empty()).then_some(found)
}

/// The one number these tokens make, when there is exactly one.
fn single(tokens: &[&Token]) -> Option<Decimal> {
    match candidates(&pieces(tokens)?, false).as_slice() {
        [only] => Some(*only),
        _ => None,
    }
}

/// The number pieces, when there is nothing else but units.
fn pieces(tokens: &[&Token]) -> Option<Vec<Piece>> {
    let piece = |it: &&Token| match it {
        Token::Number(piece) => Some(Some(*piece)),
        Token::Unit(_) => Some(None),
        _ => None,
    };
    let pieces: Option<Vec<Option<Piece>>> = tokens.iter().map(piece).collect();
    Some(pieces?.into_iter().flatten().collect())
}
