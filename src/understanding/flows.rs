//! "Two liters" beside a saturation is how much oxygen was given, and no number.

use super::number;
use crate::grammar::{Piece, Spoken, Token};
use crate::vitals::{OxygenFlow, Qualifier, Supply, Unit, VitalSign};

/// Replaces "two liters" by the qualifier it is. A flow that no flowmeter gives
/// stays what it is, no part of any value, so that it is asked about.
pub(super) fn with_flows(tokens: &[Spoken]) -> Vec<Spoken> {
    flows_of(tokens, None)
}

/// The same, of words that begin with a value of this vital sign.
pub(super) fn flows_of(tokens: &[Spoken], mut sign: Option<VitalSign>) -> Vec<Spoken> {
    let mut all: Vec<Spoken> = Vec::new();
    for (at, spoken) in tokens.iter().enumerate() {
        // "At" alone may begin a time, or have been "eight".
        if spoken.token == Token::At {
            let mut after = tokens[at + 1..].iter().map(|it| &it.token);
            let end = after.find(|it| !matches!(it, Token::Number(_)));
            let token = match end {
                Some(Token::Litres) => Token::Filler,
                _ => Token::Unknown,
            };
            all.push(Spoken { token, ..*spoken });
            continue;
        }
        if let Token::Sign(named) = spoken.token {
            sign = Some(named);
        }
        // "flow two liters" is a reading of its own, and the unit is its unit.
        if spoken.token == Token::Litres && sign == Some(VitalSign::OxygenFlow) {
            let token = Token::Unit(Unit::LitreAMinute);
            all.push(Spoken { token, ..*spoken });
            continue;
        }
        if spoken.token != Token::Litres {
            all.push(spoken.clone());
            continue;
        }
        let number = |it: &Spoken| matches!(it.token, Token::Number(_));
        let from = all
            .iter()
            .rposition(|it| !number(it))
            .map_or(0, |at| at + 1);
        let pieces = all[from..].iter().filter_map(|it| match it.token {
            Token::Number(piece) => Some(piece),
            _ => None,
        });
        let pieces: Vec<Piece> = pieces.collect();
        match number::of_litres(&pieces).as_slice() {
            [litres] if OxygenFlow::new(*litres).is_ok() => {
                let token = Token::Is(Qualifier::Supply(Supply::Oxygen(Some(*litres))));
                let (from, to) = (
                    all[from..].first().map_or(spoken.from, |it| it.from),
                    spoken.to,
                );
                all.truncate(all.len() - pieces.len());
                all.push(Spoken { token, from, to });
            }
            _ => all.push(spoken.clone()),
        }
    }
    all
}
