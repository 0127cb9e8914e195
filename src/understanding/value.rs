//! From the tokens of one number to a value of one vital sign.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::cut::{diastolic_of, only_systolic};
use super::manner::{Manner, Worked};
use super::number::{candidates, of_litres};
use super::utterance::{Valued, Why};
use crate::grammar::{Piece, Spoken, Token};
use crate::vitals::sums::{self, SumError};
use crate::vitals::{
    Measurement, Numbers, Pain, Precautions, Qualifiers, Quantity, Rhythm, Unit, Units, VitalSign,
    Working, rate,
};

/// What is known beside the words.
#[derive(Debug, Clone, Copy)]
pub struct Beside<'a> {
    /// The home's units.
    pub units: Units,
    /// How what waits of this vital sign was said.
    pub manner: Option<Manner>,
    /// The resident's precautions.
    pub precautions: Option<&'a Precautions>,
    /// The rhythm that was said, if one was.
    pub rhythm: Option<Rhythm>,
}

/// Values a token sequence can claim, each with how it was worked out.
type Claimed = Vec<(Numbers, Unit, Option<Working>)>;

/// Whether a token belongs to the number itself. "And" does only between two
/// that do: "regular and strong" holds no number.
pub const fn is_core(token: &Token) -> bool {
    match token {
        Token::Number(piece) => !matches!(piece, Piece::And),
        other => matches!(
            other,
            Token::Over
                | Token::Feet
                | Token::Ounces
                | Token::Litres
                | Token::Counted(_)
                | Token::Plus
                | Token::Less
                | Token::LessChair
                | Token::Level(_)
                | Token::NotRated
        ),
    }
}

/// The value that these tokens of one segment claim for `sign`.
///
/// # Errors
/// [`Why`] says what to ask.
pub fn value_of(sign: VitalSign, tokens: &[Spoken], beside: Beside<'_>) -> Result<Valued, Why> {
    let core = |it: &Spoken| is_core(&it.token);
    let without = without_diastolic(sign, tokens);
    let Some(first) = tokens.iter().position(core) else {
        return palpated_now(without, beside).unwrap_or(Err(Why::NoNumber));
    };
    let last = tokens.iter().rposition(core).unwrap_or(first);
    let inside = &tokens[first..=last];
    let foreign = |it: &Token| sign != VitalSign::BloodPressure && no_diastolic(it);
    let unknown = |it: &Spoken| it.token == Token::Unknown || foreign(&it.token);
    // Words without meaning do not close a gap: "[unk] a hundred".
    let meant = |it: &&Spoken| it.token != Token::Filler;
    let before = tokens[..first].iter().rev().find(meant);
    // Ounces may follow pounds: "forty four pounds [unk]" may lack them.
    let ends = |it: &&Spoken| meant(it) && it.token != Token::Unit(Unit::Pound);
    let after = tokens[last + 1..].iter().find(ends);
    // "And a half" of a number that was lost.
    let rest = matches!(tokens[first].token, Token::Number(Piece::Fraction(_)))
        && before.is_some_and(|it| it.token == Token::Number(Piece::And));
    if rest
        || inside.iter().any(unknown)
        || before.is_some_and(unknown)
        || after.is_some_and(unknown)
    {
        return Err(Why::Gap);
    }
    let inside: Vec<&Token> = inside
        .iter()
        .map(|it| &it.token)
        .filter(|it| **it != Token::Filler)
        .collect();
    let inside = without_manner(inside);
    let said: Vec<Unit> = tokens
        .iter()
        .filter_map(|it| match it.token {
            Token::Unit(unit) => Some(unit),
            _ => None,
        })
        .collect();
    let device = tokens.iter().find_map(|it| match it.token {
        Token::Device(device) => Some(device),
        _ => None,
    });
    let (measurement, working) = match (sign, inside.as_slice()) {
        (VitalSign::Alertness, [Token::Level(level)]) => (Measurement::alertness(*level), None),
        (VitalSign::Pain, [Token::NotRated]) => (Measurement::pain(Pain::CannotSay), None),
        (VitalSign::BloodPressure, all) if without == Some(Without::Unsaid) => {
            // Both numbers after all.
            let why = if all.contains(&&Token::Over) {
                not_a_number(sign, &inside)
            } else {
                Why::NoDiastolic(single(all))
            };
            return Err(why);
        }
        _ => {
            let by = |beside| {
                let palpated = without == Some(Without::Palpated);
                let claimed = shapes(sign, &inside, (&said, palpated), beside)?;
                let none = || not_a_number(sign, &inside);
                let claimed = claimed.ok_or_else(none)?;
                choose(sign, claimed).unwrap_or_else(|| Err(none()))
            };
            // What can't be in the unit of before may be in the home's.
            let anew = Beside {
                manner: None,
                ..beside
            };
            match by(beside) {
                Err(why @ Why::Impossible(_)) => by(anew).map_err(|_| why)?,
                found => found?,
            }
        }
    };
    if let Some(device) = device {
        for (_, quantity) in measurement.components() {
            let read = device.check(quantity);
            read.map_err(|why| Why::Arithmetic(why.to_string()))?;
        }
    }
    Ok(Valued {
        measurement,
        working,
        device,
    })
}

/// "Seventy two irregular for the full minute", "one eighty on the wheelchair scale less thirty
/// six": how it was, said inside of the number.
fn without_manner(mut inside: Vec<&Token>) -> Vec<&Token> {
    let less = |pair: &[&Token]| matches!(pair, [Token::Is(_), Token::Less | Token::LessChair]);
    if let Some(at) = inside.windows(2).position(less) {
        inside.remove(at);
    }
    if let Some((counted @ Token::Counted(_), number)) = inside.split_last() {
        let counted = *counted;
        let how = |it: &&&Token| matches!(it, Token::Is(_));
        let how = number.iter().rev().take_while(how).count();
        inside.truncate(number.len() - how);
        inside.push(counted);
    }
    inside
}

/// The one possible value among those claimed; `None` when none was claimed.
fn choose(
    sign: VitalSign,
    claimed: Claimed,
) -> Option<Result<(Measurement, Option<Working>), Why>> {
    let mut possible = Vec::new();
    let mut refused = None;
    for (numbers, unit, working) in claimed {
        match Measurement::new(sign, numbers, unit, Qualifiers::default()) {
            Ok(measurement) => possible.push((measurement, working)),
            Err(why) => refused = refused.or(Some(why)),
        }
    }
    Some(match possible.len() {
        0 => Err(Why::Impossible(refused?)),
        1 => Ok(possible.remove(0)),
        _ => Err(Why::Either(possible.into_iter().map(|it| it.0).collect())),
    })
}

fn not_a_number(sign: VitalSign, tokens: &[&Token]) -> Why {
    if sign == VitalSign::BloodPressure
        && let Some(why) = only_systolic(tokens)
    {
        return why;
    }
    let show = |token: &&Token| match token {
        Token::Number(Piece::Digit(it) | Piece::Teen(it) | Piece::Ten(it)) => it.to_string(),
        Token::Number(Piece::Oh) => "oh".to_owned(),
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
    (said, palpated): (&[Unit], bool),
    beside: Beside<'_>,
) -> Result<Option<Claimed>, Why> {
    let plain = |found: Vec<(Numbers, Unit)>| -> Claimed {
        found
            .into_iter()
            .map(|(numbers, unit)| (numbers, unit, None))
            .collect()
    };
    let unit = match said {
        [] => Some(match beside.manner {
            Some(as_before) => as_before.unit,
            None => beside.units.unspoken(sign),
        }),
        [unit, rest @ ..] if rest.iter().all(|it| it == unit) => Some(*unit),
        _ => None,
    };
    Ok(match (sign, tokens) {
        (VitalSign::BloodPressure, _) => {
            let as_before = beside.manner.and_then(|it| it.worked) == Some(Worked::Palpated);
            let one = if palpated {
                Some(palpated_said(tokens, said)?)
            } else if as_before && !tokens.contains(&&Token::Over) {
                palpated_said(tokens, said).ok().filter(|it| !it.is_empty())
            } else {
                None
            };
            let whole = || pressures(tokens, said).filter(|it| !it.is_empty());
            let found = one.or_else(whole);
            let rest = || diastolic_of(tokens, said, beside.manner?);
            found.or_else(rest).map(plain)
        }
        (VitalSign::Height, _) if tokens.contains(&&Token::Feet) => {
            feet_said(tokens, said)?.map(|it| plain(vec![it]))
        }
        (VitalSign::Weight, [whole @ .., Token::Ounces]) => {
            ounces_said(whole, said)?.map(|it| plain(vec![it]))
        }
        (VitalSign::Weight, _) if tokens.iter().any(|it| is_sum(it)) => match unit {
            Some(unit) => worked_weight(tokens, unit, beside)?.map(|it| vec![it]),
            None => None,
        },
        (_, [number @ .., Token::Counted(seconds)]) => {
            let Some(count) = single(number).and_then(|it| it.to_u16()) else {
                return Ok(None);
            };
            let irregular = beside.precautions.is_some_and(|it| it.irregular_pulse);
            let rate = rate(sign, count, *seconds, beside.rhythm, irregular);
            let rate = rate.map_err(|why| Why::Arithmetic(why.to_string()))?;
            let seconds = *seconds;
            let working = Working::Counted { count, seconds };
            Some(vec![(
                Numbers::One(rate.into()),
                Unit::PerMinute,
                Some(working),
            )])
        }
        _ => match (pieces(tokens), unit) {
            (Some(pieces), Some(unit)) => {
                if let Some(it) = beside.manner
                    && let (Some(Worked::LessWhat), Some(total)) = (it.worked, it.said)
                {
                    return Err(Why::ChairWeight(Quantity::new(total, it.unit)));
                }
                let manner = beside.manner.filter(|_| said.is_empty());
                if let Some(Worked::LessChair(chair)) = manner.and_then(|it| it.worked) {
                    let Some(total) = single(tokens) else {
                        return Ok(None);
                    };
                    if manner.and_then(|it| it.result) == Some(total) {
                        return Ok(Some(vec![(Numbers::One(total), unit, None)]));
                    }
                    let (sum, working) = less_chair(total, chair, unit)?;
                    let sum = (Numbers::One(sum.value()), sum.unit(), Some(working));
                    return Ok(Some(vec![sum]));
                }
                let numbers = match sign {
                    VitalSign::OxygenFlow => of_litres(&pieces),
                    _ => candidates(&pieces, sign == VitalSign::Temperature),
                };
                let mut found: Vec<_> = numbers
                    .into_iter()
                    .map(|it| (Numbers::One(it), unit))
                    .collect();
                if sign == VitalSign::Height && unit == Unit::Inch && said.is_empty() {
                    found.extend(feet_and_inches(&pieces).map(|it| (Numbers::One(it), unit)));
                }
                Some(plain(found))
            }
            _ => None,
        },
    })
}

const fn is_sum(token: &Token) -> bool {
    matches!(token, Token::Plus | Token::Less | Token::LessChair)
}

/// "five foot four and a half".
fn feet_said(tokens: &[&Token], said: &[Unit]) -> Result<Option<(Numbers, Unit)>, Why> {
    let at = tokens
        .iter()
        .position(|it| **it == Token::Feet)
        .unwrap_or(0);
    let feet = single(&tokens[..at]).and_then(|it| it.to_u8());
    let inches = match &tokens[at + 1..] {
        [] => Some(Decimal::ZERO),
        rest => single(rest),
    };
    let (Some(feet), Some(inches)) = (feet, inches) else {
        return Ok(None);
    };
    if said.iter().any(|it| *it != Unit::Inch) {
        return Ok(None);
    }
    let sum = sums::feet_and_inches(feet, inches);
    let sum = sum.map_err(|why| Why::Arithmetic(why.to_string()))?;
    Ok(Some((Numbers::One(sum.value()), sum.unit())))
}

/// "one hundred fifty three pounds eight ounces", without the last word.
fn ounces_said(tokens: &[&Token], said: &[Unit]) -> Result<Option<(Numbers, Unit)>, Why> {
    let pound = Token::Unit(Unit::Pound);
    let Some(at) = tokens.iter().position(|it| **it == pound) else {
        return Ok(None);
    };
    let pounds = single(&tokens[..at]).and_then(|it| it.to_u16());
    let (Some(pounds), Some(ounces), [Unit::Pound]) = (pounds, single(&tokens[at + 1..]), said)
    else {
        return Ok(None);
    };
    let sum = sums::pounds_and_ounces(pounds, ounces);
    let sum = sum.map_err(|why| Why::Arithmetic(why.to_string()))?;
    Ok(Some((Numbers::One(sum.value()), sum.unit())))
}

/// Two bars added, or the chair taken off.
fn worked_weight(
    tokens: &[&Token],
    unit: Unit,
    beside: Beside<'_>,
) -> Result<Option<(Numbers, Unit, Option<Working>)>, Why> {
    let wrong = |why: SumError| Why::Arithmetic(why.to_string());
    let Some(at) = tokens.iter().position(|it| is_sum(it)) else {
        return Ok(None);
    };
    let (left, right) = (single(&tokens[..at]), single(&tokens[at + 1..]));
    let known = beside.precautions.and_then(|it| it.chair_weight);
    // "Less the chair" and "less forty" alone are of the weight that was said.
    let left = match tokens[at] {
        Token::Less | Token::LessChair if at == 0 => beside.manner.and_then(|it| it.said),
        _ => left,
    };
    let (sum, working) = match (tokens[at], left, right) {
        (Token::Plus, Some(large), Some(small)) => (
            sums::balance_scale(large, small, unit).map_err(wrong)?,
            Working::Bars { large, small },
        ),
        (Token::Less, Some(total), Some(chair)) => {
            less_chair(total, Quantity::new(chair, unit), unit)?
        }
        (Token::LessChair, Some(total), None) => match known {
            Some(chair) => less_chair(total, chair, unit)?,
            None => {
                return Err(Why::ChairWeight(Quantity::new(total, unit)));
            }
        },
        _ => return Ok(None),
    };
    Ok(Some((Numbers::One(sum.value()), sum.unit(), Some(working))))
}

fn less_chair(total: Decimal, chair: Quantity, unit: Unit) -> Result<(Quantity, Working), Why> {
    let total = Quantity::new(total, unit);
    let sum = sums::wheelchair_scale(total, chair);
    let sum = sum.map_err(|why| Why::Arithmetic(why.to_string()))?;
    Ok((sum, Working::LessChair { total, chair }))
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

/// Why a pressure has no diastolic, by what was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Without {
    Palpated,
    Unsaid,
}

pub(super) const fn no_diastolic(token: &Token) -> bool {
    matches!(token, Token::Palpated | Token::SystolicOnly)
}

fn without_diastolic(sign: VitalSign, tokens: &[Spoken]) -> Option<Without> {
    let said = |it: Token| sign == VitalSign::BloodPressure && tokens.iter().any(|x| x.token == it);
    match (said(Token::Palpated), said(Token::SystolicOnly)) {
        (true, _) => Some(Without::Palpated),
        (false, true) => Some(Without::Unsaid),
        (false, false) => None,
    }
}

/// "Palpated", and nothing else, of a systolic that was said before.
fn palpated_now(without: Option<Without>, beside: Beside<'_>) -> Option<Result<Valued, Why>> {
    let systolic = beside.manner?.said?;
    if without != Some(Without::Palpated) {
        return without.map(|_| Err(Why::NoDiastolic(Some(systolic))));
    }
    let claimed = vec![(Numbers::Palpated(systolic), Unit::MmHg, None)];
    let valued = choose(VitalSign::BloodPressure, claimed)?;
    Some(valued.map(|(measurement, working)| Valued {
        measurement,
        working,
        device: None,
    }))
}

/// The systolic of "one ten palpated". A number after "over" is a diastolic, which it has not.
fn palpated_said(tokens: &[&Token], said: &[Unit]) -> Result<Vec<(Numbers, Unit)>, Why> {
    let number = match tokens {
        [number @ .., Token::Over] => number,
        all => all,
    };
    if number.contains(&&Token::Over) {
        return Err(Why::PalpatedOver);
    }
    if said.iter().any(|it| *it != Unit::MmHg) {
        return Ok(Vec::new());
    }
    let numbers = pieces(number).map_or_else(Vec::new, |it| candidates(&it, false));
    let small = numbers.into_iter().filter(|it| *it < Decimal::ONE_THOUSAND);
    Ok(small
        .map(|it| (Numbers::Palpated(it), Unit::MmHg))
        .collect())
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
    // "One hundred thirty five" is one number, and no 100 over 35.
    let alone = candidates(&pieces(tokens)?, false);
    if alone.iter().any(|it| *it < Decimal::ONE_THOUSAND) {
        return None;
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
pub(super) fn single(tokens: &[&Token]) -> Option<Decimal> {
    match candidates(&pieces(tokens)?, false).as_slice() {
        [only] => Some(*only),
        _ => None,
    }
}

/// The number pieces, when there is nothing else but units, and no other number after one:
/// "one fifty pounds eight" is eight of what? But "four inches and a half" is one number.
fn pieces(tokens: &[&Token]) -> Option<Vec<Piece>> {
    use Piece::{And, Fraction, Point};
    let another = |pair: &[&Token]| match pair {
        [Token::Unit(_), Token::Number(piece)] => !matches!(piece, And | Fraction(_) | Point),
        _ => false,
    };
    if tokens.windows(2).any(another) {
        return None;
    }
    let piece = |it: &&Token| match it {
        Token::Number(piece) => Some(Some(*piece)),
        Token::Unit(_) => Some(None),
        _ => None,
    };
    let pieces: Option<Vec<Option<Piece>>> = tokens.iter().map(piece).collect();
    Some(pieces?.into_iter().flatten().collect())
}
