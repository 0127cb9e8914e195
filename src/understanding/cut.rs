//! Numbers that a pause cut in two: "pulse one hundred", and after it "and forty eight".
//! What comes after the pause is no number of its own, and what came before it no whole one;
//! only a pressure has two, which may come one after the other.

use rust_decimal::Decimal;

use super::claims::qualifier;
use super::manner::{Manner, Worked};
use super::utterance::{Taken, Unclear, Utterance, Why};
use super::value::single;
use super::{Context, Other, Sentence};
use crate::grammar::{Piece, Spoken, Token};
use crate::vitals::{Numbers, Qualifiers, Unit};

/// Whether words begin with the rest of a number: "and forty eight", "point six".
pub(super) fn begins_with_a_rest(tokens: &[Spoken]) -> bool {
    let mut meant = tokens.iter().map(|it| &it.token);
    let mut meant = meant.by_ref().filter(|it| **it != Token::Filler);
    let joins = |it: &Token| matches!(it, Token::Number(Piece::And | Piece::Point));
    meant.next().is_some_and(joins) && matches!(meant.next(), Some(Token::Number(_)))
}

/// Of a pressure its first number alone: "one fifty", "one fifty over".
pub(super) fn only_systolic(tokens: &[&Token]) -> Option<Why> {
    let (number, over) = match tokens {
        [number @ .., Token::Over] => (number, true),
        all => (all, false),
    };
    let systolic = single(number).filter(|it| *it < Decimal::ONE_THOUSAND)?;
    Some(Why::OnlySystolic { systolic, over })
}

/// The pressure that the rest of one makes with its systolic, which was said before.
pub(super) fn diastolic_of(
    tokens: &[&Token],
    said: &[Unit],
    before: Manner,
) -> Option<Vec<(Numbers, Unit)>> {
    let Some(Worked::Over { said: over }) = before.worked else {
        return None;
    };
    let rest = match tokens {
        [Token::Over, rest @ ..] => rest,
        rest => over.then_some(rest)?,
    };
    let (systolic, diastolic) = (before.said?, single(rest)?);
    let fits = said.iter().all(|it| *it == Unit::MmHg) && diastolic < Decimal::ONE_THOUSAND;
    fits.then(|| vec![(Numbers::Over(systolic, diastolic), Unit::MmHg)])
}

/// Why a reading is not clear. A systolic waits for its diastolic only where it was heard
/// surely and no other transcript has another one.
pub(super) fn believed(why: Why, confidence: f32, context: &Context<'_>, others: &[Other]) -> Why {
    let Why::OnlySystolic { .. } = why else {
        return why;
    };
    let another = |it: &Why| matches!(it, Why::OnlySystolic { .. }) && *it != why;
    let disputed = others.iter().any(|it| match &it.meaning {
        Ok(Utterance::Readings { unclear, .. }) => unclear.iter().any(|it| another(&it.why)),
        Ok(Utterance::Part(part)) => part.why.as_ref().is_some_and(another),
        _ => false,
    });
    if disputed || confidence < context.ask_below {
        Why::Unsure(confidence)
    } else {
        why
    }
}

impl Sentence<'_> {
    /// Words that go on with the number of what was said last: that one is asked for again.
    pub(super) fn rest(&self, tokens: &[Spoken], taken: Option<Taken>) -> Option<Utterance> {
        let sign = self.context.last.filter(|_| begins_with_a_rest(tokens))?;
        let mut unclear = Unclear {
            sign,
            why: Why::Cut,
            qualifiers: Qualifiers::default(),
            taken,
            manner: self.manner(sign),
        };
        unclear.set_fitting(tokens.iter().filter_map(qualifier));
        Some(Utterance::Readings {
            yes: None,
            no: false,
            claims: Vec::new(),
            unclear: vec![unclear],
        })
    }

    /// Readings with such words `before` the first of them.
    pub(super) fn after_a_rest(&self, before: &[Spoken], mut readings: Utterance) -> Utterance {
        if let Utterance::Readings {
            claims, unclear, ..
        } = &mut readings
            && !claims.is_empty()
            && let Some(Utterance::Readings { unclear: cut, .. }) = self.rest(before, None)
        {
            let named = |it: &Unclear| claims.iter().any(|x| x.measurement.sign() == it.sign);
            unclear.extend(cut.into_iter().filter(|it| !named(it)));
        }
        readings
    }
}
