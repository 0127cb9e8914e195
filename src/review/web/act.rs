//! What a nurse does. Every act either appends facts and shows the page as it
//! is then, or appends nothing and says why beside what was typed.

use axum::Extension;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use uuid::Uuid;

use super::Asked;
use super::show::{reading_page, resident_page, round_page};
use crate::residents::ResidentId;
use crate::review::acts::{self, Acting, NewFact, NotDone, Refused};
use crate::review::fields::Fields;
use crate::review::index::Index;
use crate::review::pages::{self, Form, Outcome};
use crate::review::sessions::Session;
use crate::review::station::Station;

pub(super) fn acting(station: &Station, session: &Session) -> Acting {
    Acting {
        by: session.user.staff.clone(),
        at: station.now(),
    }
}

pub(super) fn refused(form: Form, why: NotDone, typed: &Fields) -> Outcome {
    Outcome {
        problem: Some(why),
        of: Some(form),
        typed: typed.clone(),
        ..Outcome::default()
    }
}

pub(super) fn done(form: Form, back: &str) -> Response {
    let sign = if back.contains('?') { '&' } else { '?' };
    Redirect::to(&format!("{back}{sign}done={}", form.done())).into_response()
}

pub(super) fn with_problem(page: Response) -> Response {
    if page.status() == StatusCode::OK {
        (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
    } else {
        page
    }
}

/// Acknowledges a report, and goes back to where it was shown.
pub async fn acknowledge(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
) -> Response {
    let Ok(flag) = id.parse::<Uuid>() else {
        return super::show::not_there().await;
    };
    let who = acting(&station, &session);
    match station.act(|index| acts::acknowledge(index, flag, &who)) {
        Ok(()) => {
            let back = fields.get("back");
            let known = back.starts_with("/worklist") || back.starts_with("/readings/");
            done(Form::Acknowledge, if known { back } else { "/worklist" })
        }
        Err(NotDone::Refused(why)) => pages::problem(StatusCode::CONFLICT, &why),
        Err(NotDone::Unsure(why)) => pages::problem(StatusCode::GATEWAY_TIMEOUT, &why),
    }
}

type OnReading = fn(&Index, Uuid, &Fields, &Acting) -> Result<Vec<NewFact>, Refused>;

async fn on_reading(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
    form: Form,
    act: OnReading,
) -> Response {
    let Ok(reading) = id.parse::<Uuid>() else {
        return super::show::not_there().await;
    };
    let who = acting(&station, &session);
    match station.act(|index| act(index, reading, &fields, &who)) {
        Ok(()) => done(form, &format!("/readings/{reading}")),
        Err(why) => {
            let outcome = refused(form, why, &fields);
            with_problem(reading_page(&station, &session, reading, &outcome))
        }
    }
}

/// Corrects a reading.
pub async fn correct(asked: Asked) -> Response {
    on_reading(asked, Form::Correct, acts::correct).await
}

/// Decides between corrections made apart.
pub async fn decide(asked: Asked) -> Response {
    on_reading(asked, Form::Decide, acts::decide).await
}

/// Retracts a reading.
pub async fn retract(asked: Asked) -> Response {
    on_reading(asked, Form::Retract, acts::retract).await
}

/// Adds a remark to a reading.
pub async fn note(asked: Asked) -> Response {
    on_reading(asked, Form::Note, acts::note).await
}

type OnResident = fn(&Index, &ResidentId, &Fields, &Acting) -> Result<Vec<NewFact>, Refused>;

fn on_resident(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
    form: Form,
    act: OnResident,
) -> Response {
    let resident = ResidentId(id);
    let who = acting(&station, &session);
    match station.act(|index| act(index, &resident, &fields, &who)) {
        Ok(()) => done(form, &pages::resident_path(&resident)),
        Err(why) => {
            let outcome = refused(form, why, &fields);
            let shown = (pages::span(&fields), &outcome);
            with_problem(resident_page(&station, &session, &resident, shown))
        }
    }
}

/// Adds a remark about a resident.
pub async fn note_resident(asked: Asked) -> Response {
    on_resident(asked, Form::Note, acts::note_resident)
}

/// Sets a resident's own range.
pub async fn set_range(asked: Asked) -> Response {
    on_resident(asked, Form::Range, acts::set_range)
}

/// Withdraws a resident's own range.
pub async fn withdraw_range(asked: Asked) -> Response {
    on_resident(asked, Form::WithdrawRange, acts::withdraw_range)
}

/// Withdraws a recheck.
pub async fn withdraw_recheck(asked: Asked) -> Response {
    on_resident(asked, Form::WithdrawRecheck, acts::withdraw_recheck)
}

/// Asks for a recheck.
pub async fn ask_recheck(asked: Asked) -> Response {
    on_resident(asked, Form::Recheck, acts::ask_recheck)
}

/// Signs a round.
pub async fn sign(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
) -> Response {
    let Ok(round) = id.parse::<Uuid>() else {
        return super::show::not_there().await;
    };
    let who = acting(&station, &session);
    match station.act(|index| acts::sign(index, round, &who)) {
        Ok(()) => done(Form::Sign, &format!("/rounds/{round}")),
        Err(why) => {
            let outcome = refused(Form::Sign, why, &fields);
            with_problem(round_page(&station, &session, round, &outcome))
        }
    }
}
