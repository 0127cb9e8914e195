//! What is read back before a nurse stores it: a reading entered by hand, and one moved to
//! the right resident. The first page of each stores nothing. And a corrected time.

use axum::Extension;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

use super::Asked;
use super::act::{acting, done, refused, with_problem};
use super::show::{missing, reading_page, resident_page};
use crate::facts::{Body, Fact, ReadingRecord};
use crate::residents::ResidentId;
use crate::review::acts::{self, NotDone, SIGN};
use crate::review::fields::Fields;
use crate::review::pages::{self, Form, Outcome};
use crate::review::sessions::Session;
use crate::review::station::{AT_THE_HOME, Station};
use crate::vitals::VitalSign;

/// The form for one vital sign.
pub async fn form(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
) -> Response {
    if station.linked() {
        return at_the_home();
    }
    form_page(&station, &session, (&ResidentId(id), &fields), None)
}

/// Without a vital sign, the page that asks for it.
fn form_page(
    station: &Station,
    session: &Session,
    (id, fields): (&ResidentId, &Fields),
    outcome: Option<&Outcome>,
) -> Response {
    let Some(sign) = VitalSign::from_tag(fields.get(SIGN)) else {
        let why = NotDone::Refused("Choose a vital sign.".to_owned());
        let outcome = refused(Form::Enter, why, fields);
        let shown = (pages::span(fields), &outcome);
        return with_problem(resident_page(station, session, id, shown));
    };
    let index = station.index();
    let Some(resident) = index.home().resident(id) else {
        return missing("resident in this home");
    };
    let typed = outcome.map(|_| fields);
    let usual = Outcome::default();
    let shown = (outcome.unwrap_or(&usual), typed);
    pages::enter(
        session,
        &index,
        (resident, sign),
        shown,
        station.here_and_now(),
    )
    .into_response()
}

/// Reads back what was typed, or gives it back to be changed. Nothing is stored.
pub async fn read_back(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
) -> Response {
    let id = ResidentId(id);
    if fields.get("again") == "on" {
        return form_page(
            &station,
            &session,
            (&id, &fields),
            Some(&Outcome::default()),
        );
    }
    read_back_page(&station, &session, (&id, &fields), &Outcome::default())
}

fn read_back_page(
    station: &Station,
    session: &Session,
    (id, fields): (&ResidentId, &Fields),
    outcome: &Outcome,
) -> Response {
    let who = acting(station, session);
    let moment = |it| station.moment(it);
    let index = station.index();
    let proposed = acts::proposed(&index, id, fields, &who, moment);
    match (proposed, index.home().resident(id)) {
        (Ok(it), Some(resident)) => {
            let shown = (outcome, fields);
            pages::read_back(
                session,
                &index,
                (resident, &it),
                shown,
                station.here_and_now(),
            )
            .into_response()
        }
        (Ok(_), None) => missing("resident in this home"),
        (Err(why), _) => {
            drop(index);
            // What was wrong at the yes goes before what is wrong with it now.
            let why = outcome.problem.clone().unwrap_or(NotDone::Refused(why));
            let outcome = refused(Form::Enter, why, fields);
            with_problem(form_page(station, session, (id, fields), Some(&outcome)))
        }
    }
}

/// Stores what was read back.
pub async fn enter(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
) -> Response {
    let id = ResidentId(id);
    let who = acting(&station, &session);
    let moment = |it| station.moment(it);
    match station.act(|index| acts::enter(index, &id, &fields, &who, moment)) {
        Ok(()) => done(Form::Enter, &pages::resident_path(&id)),
        Err(why) => {
            let outcome = refused(Form::Enter, why, &fields);
            with_problem(read_back_page(&station, &session, (&id, &fields), &outcome))
        }
    }
}

/// Corrects when a reading was measured.
pub async fn correct_time(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
) -> Response {
    let Ok(reading) = id.parse::<Uuid>() else {
        return missing("reading");
    };
    let who = acting(&station, &session);
    let moment = |it| station.moment(it);
    match station.act(|index| acts::correct_time(index, reading, &fields, &who, moment)) {
        Ok(()) => done(Form::Time, &format!("/readings/{reading}")),
        Err(why) => {
            let outcome = refused(Form::Time, why, &fields);
            with_problem(reading_page(&station, &session, reading, &outcome))
        }
    }
}

/// A reading as it was recorded, or the answer where there is none.
fn recorded(station: &Station, id: &str) -> Result<(Uuid, ReadingRecord), Box<Response>> {
    let found = id.parse::<Uuid>().ok().map(|id| (id, station.fact(id)));
    match found {
        Some((_, Err(error))) => {
            let why = error.to_string();
            Err(Box::new(pages::problem(
                StatusCode::INTERNAL_SERVER_ERROR,
                &why,
            )))
        }
        Some((
            id,
            Ok(Some(Fact {
                body: Body::Read(record),
                ..
            })),
        )) => Ok((id, record)),
        _ => Err(Box::new(missing("reading"))),
    }
}

/// Reads back a move. Nothing is stored.
pub async fn to_move(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
) -> Response {
    if station.linked() {
        return at_the_home();
    }
    match recorded(&station, &id) {
        Ok((id, record)) => move_page(
            &station,
            &session,
            ((id, &record), &fields),
            &Outcome::default(),
        ),
        Err(answer) => *answer,
    }
}

fn move_page(
    station: &Station,
    session: &Session,
    ((id, record), fields): ((Uuid, &ReadingRecord), &Fields),
    outcome: &Outcome,
) -> Response {
    let index = station.index();
    let (found, entry) = (
        acts::to_move(&index, (id, record), fields),
        index.reading(id),
    );
    match (found, entry) {
        (Ok(it), Some(entry)) => {
            let shown = (outcome, fields);
            pages::read_move(session, &index, (entry, &it), shown, station.here_and_now())
                .into_response()
        }
        (Ok(_), None) => missing("reading"),
        (Err(why), _) => {
            drop(index);
            let why = outcome.problem.clone().unwrap_or(NotDone::Refused(why));
            let outcome = refused(Form::Move, why, fields);
            with_problem(reading_page(station, session, id, &outcome))
        }
    }
}

/// Moves a reading.
pub async fn move_reading(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
) -> Response {
    let (id, record) = match recorded(&station, &id) {
        Ok(found) => found,
        Err(answer) => return *answer,
    };
    let who = acting(&station, &session);
    match station.act(|index| acts::move_reading(index, (id, &record), &fields, &who)) {
        Ok(()) => done(Form::Move, &format!("/readings/{id}")),
        Err(why) => {
            let outcome = refused(Form::Move, why, &fields);
            let shown = ((id, &record), &fields);
            with_problem(move_page(&station, &session, shown, &outcome))
        }
    }
}

/// A recorder's record on which nurses don't act has no forms either.
fn at_the_home() -> Response {
    pages::problem(StatusCode::CONFLICT, AT_THE_HOME)
}
