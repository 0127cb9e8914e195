//! A nurse who was told a value that turned out wrong is told of it.

use super::{Flag, Rule, capital};
use crate::vitals::sources::TRADE;
use crate::vitals::{Layer, Source, VitalSign};

/// What has become of a reading that a nurse was told of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ToldWrong<'a> {
    /// It is this value, in words, instead.
    Corrected(&'a str),
    /// It must not stand.
    TakenBack,
    /// It was another resident's.
    OfAnother,
}

/// The report that `nurse` was told of `was`, a reading in words, which does
/// not hold any more. Common practice, no source.
#[must_use]
pub fn told_wrong(sign: VitalSign, nurse: &str, was: &str, now: ToldWrong<'_>) -> Flag {
    let now = match now {
        ToldWrong::Corrected(now) => format!("It is corrected to {now}."),
        ToldWrong::TakenBack => "It was taken back.".to_owned(),
        ToldWrong::OfAnother => "It was of another resident.".to_owned(),
    };
    let name = sign.name();
    flag(
        sign,
        format!(
            "{} was told of {name} {was}. {now} Report the correction.",
            capital(nurse)
        ),
    )
}

/// The report that a pressure was changed after a fall on standing was found
/// with it. Common practice, no source.
#[must_use]
pub fn fall_in_doubt() -> Flag {
    let say = "A blood pressure was changed after the lying and standing pressures were compared. \
               Tell the nurse that it was.";
    flag(VitalSign::BloodPressure, say.to_owned())
}

fn flag(sign: VitalSign, say: String) -> Flag {
    Flag {
        rule: Rule::ToldWrong,
        layer: Layer::OutsideRange,
        sign: Some(sign),
        say,
        limit: "a nurse who was told of a reading is told of its correction".to_owned(),
        source: Source::Default(TRADE.to_owned()),
    }
}
