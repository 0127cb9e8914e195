//! How a value is taken where its own words don't say: as it was said before. "No, thirty
//! eight" after a count over half a minute is a count over half a minute too, and "no,
//! seventy five" after kilograms is in kilograms.

use std::borrow::Cow;

use rust_decimal::Decimal;
use serde::Serialize;

use super::number;
use super::utterance::{Claim, Why};
use super::value::is_core;
use crate::grammar::{Spoken, Token};
use crate::vitals::{Component, Measurement, Precautions, Quantity, Unit, VitalSign, Working};

/// How a value of one vital sign was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Manner {
    /// Of which vital sign.
    pub sign: VitalSign,
    /// In which unit.
    pub unit: Unit,
    /// How the value is worked out from the number, where it is.
    pub worked: Option<Worked>,
    /// The value that was worked out, which may be said again.
    pub result: Option<Decimal>,
    /// The number that was said, which a word alone makes another value: a systolic by "no,
    /// palpated", a weight by "less the chair".
    pub said: Option<Decimal>,
}

/// How a value is worked out from one number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Worked {
    /// Beats or breaths over so many seconds.
    Counted(u16),
    /// Together with a chair of this weight.
    LessChair(Quantity),
    /// Together with a chair of a weight that was not said yet.
    LessWhat,
    /// By palpation, without a diastolic.
    Palpated,
    /// With a diastolic that was not said yet. A number alone is taken for it only where
    /// "over" was said before.
    Over {
        /// Whether it was.
        said: bool,
    },
}

impl Manner {
    /// How a value was said that came to be this. None for a value without a unit.
    #[must_use]
    pub fn new(measurement: &Measurement, working: Option<Working>) -> Option<Self> {
        let (part, quantity) = *measurement.components().first()?;
        let worked = match working {
            None if measurement.is_palpated() => Some(Worked::Palpated),
            Some(Working::Counted { seconds, .. }) => Some(Worked::Counted(seconds)),
            Some(Working::LessChair { chair, .. }) => Some(Worked::LessChair(chair)),
            // Other bars may be meant, or the sum.
            Some(Working::Bars { .. }) | None => None,
        };
        let plain_weight = measurement.sign() == VitalSign::Weight && working.is_none();
        Some(Self {
            sign: measurement.sign(),
            unit: quantity.unit(),
            worked,
            result: worked.map(|_| quantity.value()),
            said: (part == Component::Systolic || plain_weight).then(|| quantity.value()),
        })
    }

    /// How a claim was said.
    #[must_use]
    pub fn of(claim: &Claim) -> Option<Self> {
        Self::new(&claim.measurement, claim.working)
    }

    /// What is asked for after a count over so many seconds.
    #[must_use]
    pub const fn counted(sign: VitalSign, seconds: u16) -> Self {
        Self {
            sign,
            unit: Unit::PerMinute,
            worked: Some(Worked::Counted(seconds)),
            result: None,
            said: None,
        }
    }

    /// What the words of a value that is not clear say about it.
    pub(super) fn said(
        sign: VitalSign,
        tokens: &[Spoken],
        precautions: Option<&Precautions>,
    ) -> Option<Self> {
        let unit = tokens.iter().find_map(|it| match it.token {
            Token::Unit(unit) => unit.is_of(sign).then_some(unit),
            _ => None,
        });
        let chair = precautions.and_then(|it| it.chair_weight);
        let worked = tokens.iter().find_map(|it| match it.token {
            Token::Counted(seconds) => Some(Worked::Counted(seconds)),
            Token::LessChair => chair.map(Worked::LessChair),
            _ => None,
        });
        let unit = match worked {
            Some(Worked::Counted(_)) => Unit::PerMinute,
            Some(Worked::LessChair(chair)) => unit.unwrap_or(chair.unit()),
            Some(_) | None => unit?,
        };
        Some(Self {
            sign,
            unit,
            worked,
            result: None,
            said: None,
        })
    }

    /// What was said of a value of which the rest is asked for.
    #[must_use]
    pub fn awaited(why: &Why) -> Option<Self> {
        let (sign, unit, said, worked) = match *why {
            Why::NoDiastolic(said) => (VitalSign::BloodPressure, Unit::MmHg, said, None),
            Why::OnlySystolic { systolic, over } => {
                let worked = Some(Worked::Over { said: over });
                let sign = VitalSign::BloodPressure;
                (sign, Unit::MmHg, Some(systolic), worked)
            }
            Why::ChairWeight(total) => {
                let worked = Some(Worked::LessWhat);
                (VitalSign::Weight, total.unit(), Some(total.value()), worked)
            }
            _ => return None,
        };
        Some(Self {
            sign,
            unit,
            worked,
            result: None,
            said,
        })
    }

    /// The same of a value that is said anew, as a whole. Only where it waits for a yes was it
    /// surely palpated: a diastolic that was lost must not pass for none.
    #[must_use]
    pub fn unless_palpated(self) -> Self {
        let whole = |it: &Worked| matches!(it, Worked::Counted(_) | Worked::LessChair(_));
        Self {
            worked: self.worked.filter(whole),
            ..self
        }
    }
}

/// The tokens of a value, with the time it was counted over where what waits was
/// counted and no time or unit was said; but not for its rate said again.
pub(super) fn with_count(manner: Option<Manner>, said: &[Spoken]) -> Cow<'_, [Spoken]> {
    let own = |it: &Spoken| matches!(it.token, Token::Counted(_) | Token::Unit(_));
    let Some(Manner {
        worked: Some(Worked::Counted(seconds)),
        result,
        ..
    }) = manner.filter(|_| !said.iter().any(own))
    else {
        return Cow::Borrowed(said);
    };
    let pieces = said.iter().filter_map(|it| match it.token {
        Token::Number(piece) => Some(piece),
        _ => None,
    });
    let number = number::candidates(&pieces.collect::<Vec<_>>(), false);
    let (Some(last), false) = (
        said.iter().rposition(|it| is_core(&it.token)),
        result.is_some_and(|it| number == [it]),
    ) else {
        return Cow::Borrowed(said);
    };
    let at = said[last].to;
    let counted = Spoken {
        token: Token::Counted(seconds),
        from: at,
        to: at,
    };
    let mut all = said.to_vec();
    all.insert(last + 1, counted);
    Cow::Owned(all)
}
