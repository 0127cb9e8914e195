//! What a nurse does about a resident rather than about one reading.

use super::{Acting, Fields, NewFact, Refused};
use crate::facts::{Body, NO_ROUND};
use crate::residents::ResidentId;
use crate::review::index::Index;
use crate::speaking::wording::capital;
use crate::vitals::{Bounds, Component, Quantity, RangeOf, VitalSign, possible_bounds};

fn known(index: &Index, id: &ResidentId) -> Result<(), Refused> {
    let known = index.home().resident(id);
    known
        .map(drop)
        .ok_or_else(|| "There is no such resident in this home.".into())
}

/// Sets a resident's own range for one vital sign, from today on.
///
/// # Errors
/// [`Refused`] names the field that is wrong.
pub fn set_range(
    index: &Index,
    resident: &ResidentId,
    fields: &Fields,
    acting: &Acting,
) -> Result<Vec<NewFact>, Refused> {
    known(index, resident)?;
    let of = RangeOf::ALL
        .into_iter()
        .find(|it| it.tag() == fields.get("of"));
    let (sign, component) = of.ok_or("Choose a vital sign.")?.target();
    let (low, high) = (fields.number("low", "Low")?, fields.number("high", "High")?);
    let unit = index.home().units.unspoken(sign);
    if low >= high {
        return Err("Low must be less than high.".into());
    }
    let possible = possible_bounds(sign, component);
    for end in [low, high] {
        let quantity = Quantity::new(end, unit);
        if !possible.contains(quantity.canonical().value()) {
            let Bounds { low, high, .. } = possible.to(unit).unwrap_or(possible).rounded();
            return Err(format!(
                "{} of {end} {} is not possible: it must be between {low} and {high}.",
                capital(component.name(sign)),
                unit.symbol()
            ));
        }
    }
    let limits = index.home().resident(resident).map(|it| &it.limits);
    let other = |of| limits?.range_on(VitalSign::BloodPressure, of, acting.at);
    let crossed = match component {
        Component::Systolic => other(Component::Diastolic)
            .is_some_and(|it| it.bounds.low >= low || it.bounds.high >= high),
        Component::Diastolic => other(Component::Systolic)
            .is_some_and(|it| it.bounds.low <= low || it.bounds.high <= high),
        Component::Whole => false,
    };
    if crossed {
        let why = "Each end of the diastolic range must be less than that of the systolic range.";
        return Err(why.into());
    }
    let bounds = Bounds {
        low: low.normalize(),
        high: high.normalize(),
        unit,
    };
    let now = index.home().resident(resident);
    let now = now.and_then(|it| it.limits.own_on(sign, component, acting.at));
    if now.is_some_and(|it| it.bounds == bounds) {
        return Err("That range is in force already.".into());
    }
    let body = Body::RangeSet {
        resident: resident.clone(),
        sign,
        component,
        bounds,
    };
    Ok(vec![acting.fact(NO_ROUND, body)])
}

/// A remark about a resident.
///
/// # Errors
/// [`Refused`] when it says nothing.
pub fn note_resident(
    index: &Index,
    resident: &ResidentId,
    fields: &Fields,
    acting: &Acting,
) -> Result<Vec<NewFact>, Refused> {
    known(index, resident)?;
    let body = Body::Noted {
        resident: resident.clone(),
        about: None,
        text: fields.text("text", "The note")?,
    };
    Ok(vec![acting.fact(NO_ROUND, body)])
}

/// Asks for a vital sign to be taken again; the aide hears of it at the next
/// visit.
///
/// # Errors
/// [`Refused`] names the field that is wrong.
pub fn ask_recheck(
    index: &Index,
    resident: &ResidentId,
    fields: &Fields,
    acting: &Acting,
) -> Result<Vec<NewFact>, Refused> {
    known(index, resident)?;
    let sign = VitalSign::from_tag(fields.get("sign")).ok_or("Choose a vital sign.")?;
    let mut open = index.open_rechecks();
    if open.any(|it| it.resident == *resident && it.sign == sign) {
        return Err(format!(
            "A recheck of {} is asked for already.",
            sign.name()
        ));
    }
    let body = Body::RecheckAsked {
        resident: resident.clone(),
        sign,
        reason: fields.text("reason", "The reason")?,
    };
    Ok(vec![acting.fact(NO_ROUND, body)])
}
