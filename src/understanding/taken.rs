//! When a late entry was measured: "taken at ten fifteen", "taken twenty
//! minutes ago"; or that it is none: "taken now".

use rust_decimal::prelude::ToPrimitive;

use super::number::candidates;
use super::utterance::Taken;
use super::value::is_core;
use crate::grammar::{Piece, Spoken, TakenForm, Token};

/// Cuts the words about time out of an utterance. The time is `Some(Err(()))`
/// when it was spoken and makes no sense.
pub fn split(tokens: &[Spoken]) -> (Vec<Spoken>, Option<Result<Taken, ()>>) {
    let form = tokens
        .iter()
        .enumerate()
        .find_map(|(at, it)| match it.token {
            Token::Taken(form) => Some((at, form)),
            _ => None,
        });
    let Some((at, form)) = form else {
        return without_taken(tokens);
    };
    let about_time = |it: &&Spoken| {
        form != TakenForm::Now
            && matches!(
                it.token,
                Token::Number(_)
                    | Token::MinutesAgo
                    | Token::Ago(_)
                    | Token::OClock
                    | Token::HalfDay(_)
                    | Token::Unknown
            )
    };
    let time: Vec<&Token> = tokens[at + 1..]
        .iter()
        .take_while(about_time)
        .map(|it| &it.token)
        .collect();
    let rest = [&tokens[..at], &tokens[at + 1 + time.len()..]].concat();
    let taken = match form {
        TakenForm::At => clock(&time),
        TakenForm::Ago => ago(&time),
        TakenForm::Now => Some(Taken::MinutesAgo(0)),
    };
    (rest, Some(taken.ok_or(())))
}

/// "Ten minutes ago" without its "taken". Right after a name or a number it is not known
/// which numbers are whose: nothing is cut but the end, and the time is asked for.
fn without_taken(tokens: &[Spoken]) -> (Vec<Spoken>, Option<Result<Taken, ()>>) {
    let ends = |it: &Spoken| matches!(it.token, Token::MinutesAgo | Token::Ago(_));
    let did = |it: &Spoken| matches!(it.token, Token::Activity(_));
    let end = tokens.iter().position(ends);
    let Some(at) = end.filter(|_| !tokens.iter().any(did)) else {
        return (tokens.to_vec(), None);
    };
    let number = |it: &Spoken| matches!(it.token, Token::Number(_));
    let of_time = tokens[..at].iter().rev().take_while(|it| number(it));
    let from = match tokens[at].token {
        Token::MinutesAgo => at - of_time.count(),
        _ => at,
    };
    let before = tokens[..from].iter().rfind(|it| it.token != Token::Filler);
    let may_own =
        |it: &Spoken| matches!(it.token, Token::Sign(_) | Token::Unknown) || is_core(&it.token);
    let doubtful = from < at && before.is_some_and(may_own);
    let from = if doubtful { at } else { from };
    let time: Vec<&Token> = tokens[from..=at].iter().map(|it| &it.token).collect();
    let rest = [&tokens[..from], &tokens[at + 1..]].concat();
    (rest, Some(ago(&time).ok_or(())))
}

fn ago(tokens: &[&Token]) -> Option<Taken> {
    (!tokens.is_empty()).then(|| minutes_ago(tokens).map(Taken::MinutesAgo))?
}

/// How many minutes ago; nothing said is just now.
pub fn minutes_ago(tokens: &[&Token]) -> Option<u32> {
    match tokens {
        [] => Some(0),
        [Token::Ago(minutes)] => Some(u32::from(*minutes)),
        [number @ .., Token::MinutesAgo] => match candidates(&pieces(number)?, false).as_slice() {
            [minutes] => minutes.to_u32(),
            _ => None,
        },
        _ => None,
    }
}

fn clock(tokens: &[&Token]) -> Option<Taken> {
    let (tokens, half) = match tokens {
        [rest @ .., Token::HalfDay(half)] => (rest, Some(*half)),
        all => (all, None),
    };
    let (tokens, o_clock) = match tokens {
        [rest @ .., Token::OClock] => (rest, true),
        all => (all, false),
    };
    let pieces = pieces(tokens)?;
    let (hour, rest) = match pieces.as_slice() {
        [Piece::Ten(20), Piece::Digit(hour @ 1..=3), rest @ ..] => (20 + hour, rest),
        [
            Piece::Digit(hour) | Piece::Teen(hour) | Piece::Ten(hour @ 20),
            rest @ ..,
        ] => (*hour, rest),
        _ => return None,
    };
    let hour = u32::from(hour);
    let minute = match *rest {
        [] if o_clock || half.is_some() => 0,
        [Piece::Teen(minute) | Piece::Ten(minute @ 20..=50)]
        | [Piece::Oh | Piece::Digit(0), Piece::Digit(minute)] => minute,
        [Piece::Ten(ten @ 20..=50), Piece::Digit(one)] => ten + one,
        _ => return None,
    };
    let minute = u32::from(minute);
    Some(Taken::At { hour, minute, half })
}

fn pieces(tokens: &[&Token]) -> Option<Vec<Piece>> {
    let piece = |it: &&Token| match it {
        Token::Number(piece) => Some(*piece),
        _ => None,
    };
    tokens.iter().map(piece).collect()
}
