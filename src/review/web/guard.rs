//! The door: before any page is made, who asks is looked up, and whether they
//! may; before anything is done, whether their own page asked for it.

use axum::body::{Body, to_bytes};
use axum::extract::{MatchedPath, Request, State};
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};

use super::{App, Who, access};
use crate::review::accounts::Role;
use crate::review::fields::Fields;
use crate::review::pages;
use crate::review::sessions::{Session, same};
use crate::review::station::AT_THE_HOME;

/// The longest form.
pub const LONGEST_FORM: usize = 16 * 1024;
/// The cookie that the sign-in form must bring back.
pub const FORM_COOKIE: &str = "sayback-form";
/// Sent by a page that fetches itself anew: nobody touched anything.
pub const LIVE: &str = "x-sayback-live";

/// The name of the session's cookie. Over TLS the browser itself makes sure
/// that nobody else has set it.
#[must_use]
pub const fn session_cookie(secure: bool) -> &'static str {
    if secure { "__Host-sayback" } else { "sayback" }
}

/// The secret of the session, for the handler that ends it.
#[derive(Clone)]
pub struct Token(pub String);

/// Lets a request through, or not.
pub async fn guard(State(app): State<App>, request: Request, next: Next) -> Response {
    let path = request.extensions().get::<MatchedPath>();
    let Some(who) = path.and_then(|it| access(request.method(), it.as_str())) else {
        return super::show::not_there().await.into_response();
    };
    let (mut parts, body) = request.into_parts();
    let posted = parts.method == Method::POST;
    let fields = if posted {
        // It is here already, and short; a part of it would say something else.
        let Ok(body) = to_bytes(body, LONGEST_FORM).await else {
            let why = "That form did not come whole. Go back and send it again.";
            return pages::problem(StatusCode::BAD_REQUEST, why);
        };
        Fields::parse(&body)
    } else {
        Fields::parse(parts.uri.query().unwrap_or_default().as_bytes())
    };
    let station = &app.station;
    let token = cookie(&parts.headers, session_cookie(station.secure)).unwrap_or_default();
    let touch = !parts.headers.contains_key(LIVE) && !matches!(parts.uri.path(), "/idle" | "/live");
    let session = station.sessions.get(&token, station.now(), touch);

    if who != Who::Anyone {
        let Some(session) = &session else {
            return if posted || !touch {
                pages::problem(
                    StatusCode::UNAUTHORIZED,
                    "You are signed out. Sign in again.",
                )
            } else {
                let to = parts.uri.path_and_query().map_or("/", |it| it.as_str());
                let to: String = form_urlencoded::byte_serialize(to.as_bytes()).collect();
                Redirect::to(&format!("/sign-in?to={to}")).into_response()
            };
        };
        if session.user.must_choose && !matches!(parts.uri.path(), "/password" | "/sign-out") {
            return Redirect::to("/password").into_response();
        }
        if !who.includes(session.user.role) {
            return refuse(
                &app,
                session,
                &format!("{} {}", parts.method, parts.uri.path()),
            );
        }
    }
    let may_leave = matches!(parts.uri.path(), "/password" | "/sign-out");
    if matches!(who, Who::SignedIn | Who::Carers | Who::Nurses)
        && !may_leave
        && session
            .as_ref()
            .is_some_and(|it| it.user.role != Role::Administrator)
        && let Some(why) = station.cut_off()
    {
        return pages::problem(StatusCode::GONE, &why.to_string());
    }
    // The form that signs in is from before any session, even where one is left.
    let own = session.as_ref().filter(|_| who != Who::Anyone);
    if posted && !from_own_page(&parts.headers, own, &fields) {
        tracing::warn!("a form without its token was refused");
        let why = "That form was not from a page of this station. Go back, load the page again, and retry.";
        return pages::problem(StatusCode::FORBIDDEN, why);
    }
    if let Some(mut session) = session {
        session.takes_acts = !station.linked();
        session.notice = match station.away() {
            Some(away) => Some(away.over_a_page()),
            None if session.user.role == Role::Nurse && !session.takes_acts => {
                Some(AT_THE_HOME.to_owned())
            }
            None => None,
        };
        parts.extensions.insert(session);
        parts.extensions.insert(Token(token));
    }
    parts.extensions.insert(fields);
    next.run(Request::from_parts(parts, Body::empty())).await
}

fn refuse(app: &App, session: &Session, what: &str) -> Response {
    let (user, role) = (&session.user.login, session.user.role);
    let accounts = app.station.accounts();
    accounts.log_refused(app.station.now(), user, role, what);
    let role = role.name();
    let why = format!(
        "An account of the kind \u{201c}{role}\u{201d} may not do that. It was not done, and noted."
    );
    pages::problem(StatusCode::FORBIDDEN, &why)
}

/// Whether a form was sent by a page of ours to this very browser: the token it
/// brings back is the session's, or the cookie's where there is no session yet.
fn from_own_page(headers: &HeaderMap, session: Option<&Session>, fields: &Fields) -> bool {
    if !from_own_site(headers) {
        return false;
    }
    let sent = fields.get("csrf");
    let for_sign_in = cookie(headers, FORM_COOKIE);
    match session {
        Some(session) => session.csrf_matches(sent),
        None => !sent.is_empty() && for_sign_in.is_some_and(|it| same(&it, sent)),
    }
}

/// Whether the browser says nothing against a request coming from a page of
/// this very site. A token must say so too.
pub fn from_own_site(headers: &HeaderMap) -> bool {
    let text = |name| headers.get(name).and_then(|it| it.to_str().ok());
    if text("sec-fetch-site").is_some_and(|it| it != "same-origin" && it != "none") {
        return false;
    }
    if let (Some(origin), Some(host)) = (text(header::ORIGIN.as_str()), text(header::HOST.as_str()))
        && origin.split_once("://").map(|(_, it)| it) != Some(host)
    {
        return false;
    }
    true
}

/// A cookie of the request.
pub fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    let all = headers.get_all(header::COOKIE).iter();
    let pairs = all
        .filter_map(|it| it.to_str().ok())
        .flat_map(|it| it.split(';'));
    let mut named = pairs.filter_map(|it| it.trim().split_once('='));
    named.find_map(|(it, value)| (it == name).then(|| value.to_owned()))
}

/// A `Set-Cookie` that only this site gets back and no script can read.
pub fn set_cookie(name: &str, value: &str, secure: bool) -> String {
    let secure = if secure { "; Secure" } else { "" };
    let ended = if value.is_empty() { "; Max-Age=0" } else { "" };
    format!("{name}={value}; Path=/; HttpOnly; SameSite=Strict{secure}{ended}")
}
