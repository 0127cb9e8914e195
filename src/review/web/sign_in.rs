//! Signing in and out.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};

use super::guard::{FORM_COOKIE, Token, cookie, session_cookie, set_cookie};
use crate::review::accounts::{NotSignedIn, Role, random_token};
use crate::review::fields::Fields;
use crate::review::pages;
use crate::review::sessions::Session;
use crate::review::station::Station;

/// Passwords are hashed by so many threads at a time: the hash is slow on
/// purpose, and must not take the whole machine.
static HASHING: tokio::sync::Semaphore = tokio::sync::Semaphore::const_new(1);

/// The form.
pub async fn page(
    State(station): State<Arc<Station>>,
    Extension(fields): Extension<Fields>,
    headers: HeaderMap,
) -> Response {
    form(&station, &headers, &fields, None, StatusCode::OK)
}

fn form(
    station: &Station,
    headers: &HeaderMap,
    fields: &Fields,
    problem: Option<&str>,
    status: StatusCode,
) -> Response {
    let known = cookie(headers, FORM_COOKIE).filter(|it| it.len() == 64);
    let Ok(token) = known.map_or_else(random_token, Ok) else {
        return pages::problem(StatusCode::INTERNAL_SERVER_ERROR, "No random numbers.");
    };
    let cookie = set_cookie(FORM_COOKIE, &token, station.secure);
    let home = station.index().home().name.clone();
    let page = pages::sign_in(&home, &token, fields, problem);
    (status, [(header::SET_COOKIE, cookie)], page).into_response()
}

/// Where to go after signing in: a page of ours, whatever was sent.
fn inside(to: &str) -> &str {
    let ours = to.starts_with('/') && !to.starts_with("//") && !to.contains(['\\', '\r', '\n']);
    if ours { to } else { "/" }
}

/// Signs in.
pub async fn sign_in(
    State(station): State<Arc<Station>>,
    Extension(fields): Extension<Fields>,
    headers: HeaderMap,
) -> Response {
    let Ok(_turn) = HASHING.acquire().await else {
        return pages::problem(StatusCode::SERVICE_UNAVAILABLE, "Try again.");
    };
    let (at_work, typed) = (Arc::clone(&station), fields.clone());
    let signed_in = tokio::task::spawn_blocking(move || {
        let (login, password) = (typed.get("login"), typed.exact("password"));
        at_work.accounts().sign_in(login, password, at_work.now())
    });
    let signed_in = signed_in.await;
    let user = match signed_in.unwrap_or_else(|it| Err(NotSignedIn::Broken(it.to_string()))) {
        Ok(user) => user,
        Err(why) => {
            let status = match why {
                NotSignedIn::Locked { .. } => StatusCode::TOO_MANY_REQUESTS,
                NotSignedIn::Broken(_) => StatusCode::INTERNAL_SERVER_ERROR,
                _ => StatusCode::UNAUTHORIZED,
            };
            let why = format!("{}.", crate::speaking::wording::capital(&why.to_string()));
            return form(&station, &headers, &fields, Some(&why), status);
        }
    };
    begin(&station, user, inside(fields.get("to")))
}

fn begin(station: &Station, user: crate::review::accounts::User, to: &str) -> Response {
    match station.sessions.begin(user, station.now()) {
        Ok(token) => {
            let cookie = set_cookie(session_cookie(station.secure), &token, station.secure);
            ([(header::SET_COOKIE, cookie)], Redirect::to(to)).into_response()
        }
        Err(error) => pages::problem(StatusCode::INTERNAL_SERVER_ERROR, &error.to_string()),
    }
}

/// Signs out.
pub async fn sign_out(
    State(station): State<Arc<Station>>,
    Extension(Token(token)): Extension<Token>,
    Extension(session): Extension<Session>,
) -> Response {
    station.sessions.end(&token);
    station
        .accounts()
        .log(station.now(), &session.user.login, "signed out");
    let cookie = set_cookie(session_cookie(station.secure), "", station.secure);
    ([(header::SET_COOKIE, cookie)], Redirect::to("/sign-in")).into_response()
}

/// Shown in place of a page that nobody touched for as long as a session
/// lasts; it shows nothing of any resident.
pub async fn idle(session: Option<Extension<Session>>) -> Response {
    match session {
        Some(Extension(session)) => pages::left_open(&session).into_response(),
        None => Redirect::to("/sign-in").into_response(),
    }
}

/// Says that someone is still there, typing: the session goes on.
pub async fn here() -> StatusCode {
    StatusCode::NO_CONTENT
}

/// The first page of whoever is signed in.
pub async fn home(Extension(session): Extension<Session>) -> Redirect {
    Redirect::to(match session.user.role {
        Role::Aide | Role::Nurse => "/worklist",
        Role::Administrator => "/people",
    })
}

/// The form for another password.
pub async fn password(Extension(session): Extension<Session>) -> Response {
    pages::password(&session, None).into_response()
}

/// Takes another password, ends all sessions of the user and begins a new one.
pub async fn choose(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    Extension(fields): Extension<Fields>,
) -> Response {
    let again = |why: &str| {
        let page = pages::password(&session, Some(why));
        (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
    };
    if fields.exact("password") != fields.exact("again") {
        return again("The two passwords are not the same.");
    }
    let Ok(_turn) = HASHING.acquire().await else {
        return again("Try again.");
    };
    let (at_work, login) = (Arc::clone(&station), session.user.login.clone());
    let (old, chosen) = (
        fields.exact("old").to_owned(),
        fields.exact("password").to_owned(),
    );
    let must = session.user.must_choose;
    let done = tokio::task::spawn_blocking(move || {
        let (accounts, now) = (at_work.accounts(), at_work.now());
        if !must {
            let known = accounts.sign_in(&login, &old, now);
            known.map_err(|_| "The present password is not right.".to_owned())?;
        }
        accounts.choose(&login, &chosen).map_err(|it| {
            let why = crate::speaking::wording::capital(&it.to_string());
            format!("{why}.")
        })?;
        accounts.log(now, &login, "chose a password");
        Ok::<_, String>(())
    });
    match done.await {
        Ok(Ok(())) => {}
        Ok(Err(why)) => return again(&why),
        Err(error) => return again(&error.to_string()),
    }
    station.sessions.end_all(&session.user.login);
    let user = crate::review::accounts::User {
        must_choose: false,
        ..session.user
    };
    begin(&station, user, "/")
}
