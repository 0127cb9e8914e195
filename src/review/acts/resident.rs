//! What a nurse does about a resident rather than about one reading.

use super::{Acting, Fields, NewFact, Refused};
use crate::facts::{Body, NO_ROUND};
use crate::residents::ResidentId;
use crate::review::index::Index;
use crate::speaking::wording::capital;
use crate::vitals::{Bounds, Component, Limits, Quantity, RangeOf, VitalSign, possible_bounds};

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
    let (sign, component) = range_of(fields)?;
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
    let bounds = Bounds {
        low: low.normalize(),
        high: high.normalize(),
        unit,
    };
    let limits = limits_of(index, resident);
    uncrossed(limits, component, bounds, acting)?;
    let now = limits.and_then(|it| it.own_on(sign, component, acting.at));
    if now.is_some_and(|it| it.bounds == bounds) {
        return Err("That range is in force already.".into());
    }
    let body = Body::RangeSet {
        resident: resident.clone(),
        sign,
        component,
        bounds,
        withdrawn: false,
    };
    Ok(vec![acting.fact(NO_ROUND, body)])
}

fn range_of(fields: &Fields) -> Result<(VitalSign, Component), Refused> {
    let mut all = RangeOf::ALL.into_iter();
    let of = all.find(|it| it.tag() == fields.get("of"));
    Ok(of.ok_or("Choose a vital sign.")?.target())
}

fn limits_of<'a>(index: &'a Index, resident: &ResidentId) -> Option<&'a Limits> {
    index.home().resident(resident).map(|it| &it.limits)
}

/// The two ranges of a blood pressure must be apart at both ends.
fn uncrossed(
    limits: Option<&Limits>,
    component: Component,
    now: Bounds,
    acting: &Acting,
) -> Result<(), Refused> {
    let other = |of| limits?.range_on(VitalSign::BloodPressure, of, acting.at);
    let crossed = match component {
        Component::Systolic => other(Component::Diastolic)
            .is_some_and(|it| it.bounds.low >= now.low || it.bounds.high >= now.high),
        Component::Diastolic => other(Component::Systolic)
            .is_some_and(|it| it.bounds.low <= now.low || it.bounds.high <= now.high),
        Component::Whole => false,
    };
    if crossed {
        let why = "Each end of the diastolic range must be less than that of the systolic range.";
        return Err(why.into());
    }
    Ok(())
}

/// Withdraws a resident's own range: the home's holds again from now on.
///
/// # Errors
/// [`Refused`] where the home's holds already, or does not go with the other range of a
/// blood pressure.
pub fn withdraw_range(
    index: &Index,
    resident: &ResidentId,
    fields: &Fields,
    acting: &Acting,
) -> Result<Vec<NewFact>, Refused> {
    known(index, resident)?;
    let (sign, component) = range_of(fields)?;
    let limits = limits_of(index, resident);
    let own = limits.and_then(|it| it.own_on(sign, component, acting.at));
    if own.is_none() {
        return Err(format!(
            "No range of this resident\u{2019}s own is in force for {}.",
            component.name(sign)
        ));
    }
    let unit = index.home().units.unspoken(sign);
    let homes = limits.and_then(|it| it.homes_on(sign, component, acting.at, unit));
    if let Some(homes) = &homes {
        uncrossed(limits, component, homes.bounds, acting).map_err(|why| {
            format!("The home\u{2019}s range does not go with the other one. {why}")
        })?;
    }
    let body = Body::RangeSet {
        resident: resident.clone(),
        sign,
        component,
        bounds: homes.map_or_else(|| possible_bounds(sign, component), |it| it.bounds),
        withdrawn: true,
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

/// Withdraws a recheck that was asked for and not measured yet.
///
/// # Errors
/// [`Refused`] where there is none, or not any more.
pub fn withdraw_recheck(
    index: &Index,
    resident: &ResidentId,
    fields: &Fields,
    acting: &Acting,
) -> Result<Vec<NewFact>, Refused> {
    let asked = fields.id("recheck");
    let mut own = index
        .rechecks()
        .iter()
        .filter(|it| it.resident == *resident);
    let recheck = own.find(|it| Some(it.id) == asked);
    let recheck = recheck.ok_or("There is no such recheck.")?;
    if let Some(closed) = index.closed(recheck.id) {
        return Err(format!("{} has withdrawn it already.", closed.by.name));
    }
    if index.open_rechecks().all(|it| it.id != recheck.id) {
        return Err("It was measured since: there is nothing to withdraw.".into());
    }
    let withdrawn = acting.acknowledged(NO_ROUND, vec![recheck.id], resident);
    Ok(withdrawn.into_iter().collect())
}
