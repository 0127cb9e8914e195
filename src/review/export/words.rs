//! What a reading has beside its value, in written words.

use super::Change;
use crate::facts::ByHand;
use crate::round::shown;
use crate::vitals::{CautionKind, RetakeReason, Working};

/// What an export lacks because it could not be read.
pub(super) fn lacking(unread: usize) -> String {
    let entries = match unread {
        1 => "1 entry is".to_owned(),
        more => format!("{more} entries are"),
    };
    format!(
        "{entries} left out, which this version of Sayback cannot read. What is here may have been \
         corrected or retracted by that."
    )
}

/// The numbers behind a value that was worked out.
pub(super) fn working(it: Working) -> String {
    match it {
        Working::Counted { count, seconds } => format!("counted {count} in {seconds} seconds"),
        Working::Bars { large, small } => format!("bars of the scale: {large} and {small}"),
        Working::LessChair { total, chair } => format!(
            "{} {} less {} {} of the chair",
            total.value(),
            total.unit().symbol(),
            chair.value(),
            chair.unit().symbol()
        ),
    }
}

/// Whose a reading is that was entered by hand.
pub(super) fn by_hand(it: &ByHand) -> String {
    format!(
        "entered by hand by {}, {}; taken by {}",
        it.entered_by.name, it.entered_by.title, it.taken_by
    )
}

/// What stood there before a correction.
pub(super) fn before(it: &Change) -> String {
    let time = it
        .time
        .map(|it| it.old.format(", measured at %H:%M on %Y-%m-%d"));
    let time = time.map(|it| it.to_string()).unwrap_or_default();
    format!("{}{time}", shown(it.old))
}

/// A caution that the aide went past.
pub(super) const fn caution(it: CautionKind) -> &'static str {
    match it {
        CautionKind::OralOnOxygen => "oral temperature while on oxygen",
        CautionKind::OralMouthBreather => "oral temperature of a mouth breather",
        CautionKind::OralTooSoon => "oral temperature soon after eating, drinking or smoking",
        CautionKind::NoRectal => "rectal temperature where the care plan has none",
        CautionKind::LimbNotToUse => "a limb that is not to be used",
        CautionKind::PressureTooSoon => "blood pressure soon after smoking or exercise",
        CautionKind::RestFirst => "soon after exercise",
        CautionKind::CountFullMinute => "a pulse known to be irregular",
        CautionKind::ChairNotKnown => "the chair's weight is not known",
        CautionKind::WithChair => "the chair was not taken off",
    }
}

/// Why a reading was taken again.
pub(super) const fn retaken(it: RetakeReason) -> &'static str {
    match it {
        RetakeReason::Unlikely => "being far from the usual",
        RetakeReason::OutsideRange => "being outside the range",
        RetakeReason::Doubted => "being doubted",
        RetakeReason::NurseAsked => "as a nurse asked",
    }
}
