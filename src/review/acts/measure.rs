//! A measurement from the fields of a form, refused by the same types that
//! refuse it when it is spoken.

use super::{Fields, Refused};
use crate::speaking::wording::capital;
use crate::vitals::{
    Alertness, Measurement, Numbers, Pain, Qualifier, QualifierKind, Qualifiers, Supply, Unit,
    VitalSign,
};

/// The field of the value, or of the systolic pressure.
pub const VALUE: &str = "value";
/// The field of the diastolic pressure.
pub const OVER: &str = "over";
/// The field that says that a pressure was palpated.
pub const PALPATED: &str = "palpated";
/// The field of a level of alertness.
pub const ALERTNESS: &str = "alertness";

/// The field of a kind of qualifier.
#[must_use]
pub const fn qualifier_field(kind: QualifierKind) -> &'static str {
    match kind {
        QualifierKind::Method => "method",
        QualifierKind::PulseSite => "pulse_site",
        QualifierKind::Rhythm => "rhythm",
        QualifierKind::Strength => "strength",
        QualifierKind::Depth => "depth",
        QualifierKind::Arm => "arm",
        QualifierKind::Position => "position",
        QualifierKind::Supply => "supply",
        QualifierKind::Scale => "scale",
    }
}

/// The measurement that a form describes.
pub(super) fn measurement(sign: VitalSign, fields: &Fields) -> Result<Measurement, Refused> {
    if sign == VitalSign::Alertness {
        let level = Alertness::from_tag(fields.get(ALERTNESS));
        let level = level.ok_or("Choose a level of alertness.")?;
        return Ok(Measurement::alertness(level));
    }
    if sign == VitalSign::Pain && fields.get(VALUE).is_empty() && fields.get("not_rated") == "on" {
        return Ok(Measurement::pain(Pain::CannotSay));
    }
    let qualifiers = qualifiers(sign, fields)?;
    let unit = Unit::from_tag(fields.get("unit")).ok_or("Choose a unit.")?;
    let numbers = if sign == VitalSign::BloodPressure {
        let high = fields.number(VALUE, "Systolic")?;
        match (fields.get(PALPATED) == "on", fields.get(OVER).is_empty()) {
            (true, true) => Numbers::Palpated(high),
            (true, false) => {
                return Err("Palpation gives no diastolic: leave one of the two out.".to_owned());
            }
            (false, _) => Numbers::Over(high, fields.number(OVER, "Diastolic")?),
        }
    } else {
        Numbers::One(fields.number(VALUE, &capital(sign.name()))?)
    };
    let made = Measurement::new(sign, numbers, unit, qualifiers);
    made.map_err(|why| format!("{}.", capital(&why.to_string())))
}

fn qualifiers(sign: VitalSign, fields: &Fields) -> Result<Qualifiers, Refused> {
    let mut qualifiers = Qualifiers::default();
    for &kind in sign.qualifiers() {
        let tag = fields.get(qualifier_field(kind));
        if tag.is_empty() {
            continue;
        }
        let mut qualifier = Qualifier::from_tag(tag)
            .filter(|it| it.kind() == kind)
            .ok_or_else(|| format!("\u{201c}{tag}\u{201d} is none of the choices."))?;
        if matches!(qualifier, Qualifier::Supply(Supply::Oxygen(_)))
            && !fields.get("litres").is_empty()
        {
            let litres = fields.number("litres", "Oxygen flow")?;
            let flow = crate::vitals::OxygenFlow::new(litres);
            flow.map_err(|why| format!("{}.", capital(&why.to_string())))?;
            qualifier = Qualifier::Supply(Supply::Oxygen(Some(litres.normalize())));
        }
        qualifiers.set(qualifier);
    }
    match qualifiers.missing(sign).first() {
        Some(kind) => Err(format!("{} Choose one.", kind.question())),
        None => Ok(qualifiers),
    }
}
