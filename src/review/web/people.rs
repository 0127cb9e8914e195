//! The administrator's pages.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::show::missing;
use crate::residents::Staff;
use crate::review::accounts::{AccountError, Role};
use crate::review::fields::Fields;
use crate::review::pages::{self, NewCode};
use crate::review::sessions::Session;
use crate::review::station::Station;

/// Everyone who may sign in.
pub async fn page(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
) -> Response {
    list(&station, &session, None, None, &Fields::default())
}

fn list(
    station: &Station,
    session: &Session,
    code: Option<&NewCode>,
    problem: Option<&str>,
    typed: &Fields,
) -> Response {
    let users = station.accounts().users();
    match users {
        Ok(users) => {
            let status = if problem.is_some() {
                StatusCode::UNPROCESSABLE_ENTITY
            } else {
                StatusCode::OK
            };
            let page = pages::people(
                session,
                (&users, &station.certificates()),
                code,
                problem,
                typed,
            );
            (status, page).into_response()
        }
        Err(error) => broken(&error),
    }
}

fn broken(error: &AccountError) -> Response {
    pages::problem(StatusCode::INTERNAL_SERVER_ERROR, &error.to_string())
}

fn in_words(error: &AccountError) -> String {
    format!("{}.", crate::speaking::wording::capital(&error.to_string()))
}

/// Makes an account and shows its code.
pub async fn create(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    Extension(fields): Extension<Fields>,
) -> Response {
    let Some(role) = Role::from_name(fields.get("role")) else {
        let why = "Choose what the account may do.";
        return list(&station, &session, None, Some(why), &fields);
    };
    let staff = Staff {
        name: fields.get("name").to_owned(),
        title: fields.get("title").to_owned(),
    };
    let login = fields.get("login").to_lowercase();
    let made = {
        let accounts = station.accounts();
        let made = accounts.create(&login, &staff, role, station.now());
        if made.is_ok() {
            let what = format!("made the account {login} ({})", role.name());
            accounts.log(station.now(), &session.user.login, &what);
        }
        made
    };
    match made {
        Ok(code) => {
            let code = NewCode { login, code };
            list(&station, &session, Some(&code), None, &Fields::default())
        }
        Err(error) => list(&station, &session, None, Some(&in_words(&error)), &fields),
    }
}

/// A sign-in name as the account has it, by which its sessions are found.
fn stored(station: &Station, typed: String) -> String {
    let user = station.accounts().user(&typed).ok().flatten();
    user.map_or(typed, |it| it.login)
}

/// Gives someone a new one-time code and ends their sessions.
pub async fn renew(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    Path(login): Path<String>,
) -> Response {
    let login = stored(&station, login);
    let renewed = {
        let accounts = station.accounts();
        let renewed = accounts.renew(&login, station.now());
        if renewed.is_ok() {
            let what = format!("gave {login} a new code");
            accounts.log(station.now(), &session.user.login, &what);
        }
        renewed
    };
    match renewed {
        Ok(code) => {
            station.sessions.end_all(&login);
            let code = NewCode { login, code };
            list(&station, &session, Some(&code), None, &Fields::default())
        }
        Err(error) => {
            let why = in_words(&error);
            list(&station, &session, None, Some(&why), &Fields::default())
        }
    }
}

/// Closes an account and ends its sessions.
pub async fn close(
    station: State<Arc<Station>>,
    session: Extension<Session>,
    login: Path<String>,
) -> Response {
    set_active(station, session, login, false)
}

/// Opens a closed account.
pub async fn open(
    station: State<Arc<Station>>,
    session: Extension<Session>,
    login: Path<String>,
) -> Response {
    set_active(station, session, login, true)
}

fn set_active(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    Path(login): Path<String>,
    active: bool,
) -> Response {
    let login = stored(&station, login);
    let changed = {
        let accounts = station.accounts();
        let changed = accounts.set_active(&login, active);
        if changed.is_ok() {
            let what = if active { "opened" } else { "closed" };
            let what = format!("{what} the account {login}");
            accounts.log(station.now(), &session.user.login, &what);
        }
        changed
    };
    match changed {
        Ok(()) => {
            if !active {
                station.sessions.end_all(&login);
            }
            Redirect::to("/people").into_response()
        }
        Err(error) => {
            let why = in_words(&error);
            list(&station, &session, None, Some(&why), &Fields::default())
        }
    }
}

/// The log: its newest page, or the one that begins at a place.
pub async fn log(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    Extension(fields): Extension<Fields>,
) -> Response {
    let before = match fields.get("before") {
        "" => None,
        place => match place.parse() {
            Ok(place) => Some(place),
            Err(_) => return missing("page of the log"),
        },
    };
    let page = station.accounts().log_page(before);
    match page {
        Ok(page) => pages::log(&session, &page, before.is_some()).into_response(),
        Err(error) => broken(&error),
    }
}
