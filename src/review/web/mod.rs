//! The pages over HTTP. [`ROUTES`] says who may do what; a route that is not in
//! it is not there.

mod act;
mod enter;
mod guard;
mod headers;
mod live;
mod people;
mod show;
mod sign_in;
mod sound;
mod take;

use std::sync::Arc;

use axum::extract::{FromRef, Path, State};
use axum::http::Method;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::routing::{MethodRouter, get, post};
use axum::{Extension, Router};

use super::accounts::Role;
use super::fields::Fields;
use super::sessions::Session;
use super::station::Station;
use crate::metrics::count_request;
use crate::store::SoundPart;

pub use guard::{FORM_COOKIE, LIVE, session_cookie};
pub(crate) use guard::{cookie, from_own_site, set_cookie};
pub(crate) use headers::{always, bounded, own_name};

/// Who may use a route.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who {
    /// Anyone who can reach the page.
    Anyone,
    /// Whoever is signed in.
    SignedIn,
    /// Who works with residents: aides and nurses.
    Carers,
    /// Nurses.
    Nurses,
    /// Administrators.
    Administrators,
}

impl Who {
    /// Whether someone signed in with this role is among them.
    #[must_use]
    pub const fn includes(self, role: Role) -> bool {
        match self {
            Self::Anyone | Self::SignedIn => true,
            Self::Carers => matches!(role, Role::Aide | Role::Nurse),
            Self::Nurses => matches!(role, Role::Nurse),
            Self::Administrators => matches!(role, Role::Administrator),
        }
    }
}

/// Every route: its method, its path and who may use it.
pub const ROUTES: &[(&str, &str, Who)] = &[
    ("GET", "/style.css", Who::Anyone),
    ("GET", "/page.js", Who::Anyone),
    ("GET", take::PRINT_STYLE, Who::Anyone),
    ("GET", "/sign-in", Who::Anyone),
    ("POST", "/sign-in", Who::Anyone),
    ("GET", "/idle", Who::Anyone),
    ("GET", "/here", Who::SignedIn),
    ("POST", "/sign-out", Who::SignedIn),
    ("GET", "/password", Who::SignedIn),
    ("POST", "/password", Who::SignedIn),
    ("GET", "/", Who::SignedIn),
    ("GET", "/worklist", Who::Carers),
    ("GET", "/residents", Who::Carers),
    ("GET", "/residents/{id}", Who::Carers),
    ("GET", "/residents/{id}/{sign}", Who::Carers),
    ("GET", "/residents/{id}/summary", Who::Carers),
    ("GET", "/residents/{id}/csv", Who::Nurses),
    ("GET", "/residents/{id}/fhir", Who::Nurses),
    ("GET", "/readings/{id}", Who::Carers),
    ("GET", "/readings/{id}/sound", Who::Nurses),
    ("GET", "/readings/{id}/sound-of-yes", Who::Nurses),
    ("GET", "/rounds", Who::Carers),
    ("GET", "/rounds/{id}", Who::Carers),
    ("GET", "/rounds/{id}/sheet", Who::Carers),
    ("GET", "/rounds/{id}/csv", Who::Nurses),
    ("GET", "/rounds/{id}/fhir", Who::Nurses),
    ("GET", "/find", Who::Carers),
    ("GET", "/live", Who::Carers),
    ("POST", "/reports/{id}/acknowledge", Who::Nurses),
    ("POST", "/readings/{id}/correct", Who::Nurses),
    ("POST", "/readings/{id}/decide", Who::Nurses),
    ("POST", "/readings/{id}/retract", Who::Nurses),
    ("POST", "/readings/{id}/time", Who::Nurses),
    ("GET", "/readings/{id}/move", Who::Nurses),
    ("POST", "/readings/{id}/move", Who::Nurses),
    ("POST", "/readings/{id}/note", Who::Nurses),
    ("GET", "/residents/{id}/enter", Who::Nurses),
    ("POST", "/residents/{id}/read-back", Who::Nurses),
    ("POST", "/residents/{id}/enter", Who::Nurses),
    ("POST", "/residents/{id}/note", Who::Nurses),
    ("POST", "/residents/{id}/range", Who::Nurses),
    ("POST", "/residents/{id}/range/withdraw", Who::Nurses),
    ("POST", "/residents/{id}/recheck", Who::Nurses),
    ("POST", "/residents/{id}/recheck/withdraw", Who::Nurses),
    ("POST", "/rounds/{id}/sign", Who::Nurses),
    ("GET", "/people", Who::Administrators),
    ("POST", "/people", Who::Administrators),
    ("POST", "/people/{id}/code", Who::Administrators),
    ("POST", "/people/{id}/close", Who::Administrators),
    ("POST", "/people/{id}/open", Who::Administrators),
    ("GET", "/log", Who::Administrators),
];

/// Who may use a route, if there is one.
fn access(method: &Method, path: &str) -> Option<Who> {
    let method = if method == Method::HEAD {
        "GET"
    } else {
        method.as_str()
    };
    let found = ROUTES.iter().find(|(m, p, _)| *m == method && *p == path);
    found.map(|(.., who)| *who)
}

/// What handlers share.
#[derive(Clone)]
pub struct App {
    station: Arc<Station>,
}

impl FromRef<App> for Arc<Station> {
    fn from_ref(app: &App) -> Self {
        Self::clone(&app.station)
    }
}

/// What is asked of one of many: at which station, by whom, with what typed, of which.
type Asked = (
    State<Arc<Station>>,
    Extension<Session>,
    Extension<Fields>,
    Path<String>,
);

fn played(part: SoundPart) -> MethodRouter<App> {
    get(sound::played).layer(Extension(part))
}

/// The pages of a station.
pub fn app(station: Arc<Station>) -> Router {
    let app = App { station };
    Router::new()
        .route("/style.css", get(live::style))
        .route("/page.js", get(live::script))
        .route(take::PRINT_STYLE, get(live::print_style))
        .route("/sign-in", get(sign_in::page).post(sign_in::sign_in))
        .route("/idle", get(sign_in::idle))
        .route("/here", get(sign_in::here))
        .route("/sign-out", post(sign_in::sign_out))
        .route("/password", get(sign_in::password).post(sign_in::choose))
        .route("/", get(sign_in::home))
        .route("/worklist", get(show::worklist))
        .route("/residents", get(show::residents))
        .route("/residents/{id}", get(show::resident))
        .route("/residents/{id}/{sign}", get(show::trend))
        .route("/residents/{id}/summary", get(take::about))
        .route("/residents/{id}/csv", get(take::resident_csv))
        .route("/residents/{id}/fhir", get(take::resident_fhir))
        .route("/readings/{id}", get(show::reading))
        .route("/readings/{id}/sound", played(SoundPart::Reading))
        .route("/readings/{id}/sound-of-yes", played(SoundPart::Yes))
        .route("/rounds", get(show::rounds))
        .route("/rounds/{id}", get(show::round))
        .route("/rounds/{id}/sheet", get(take::sheet))
        .route("/rounds/{id}/csv", get(take::round_csv))
        .route("/rounds/{id}/fhir", get(take::round_fhir))
        .route("/find", get(show::find))
        .route("/live", get(live::changes))
        .route("/reports/{id}/acknowledge", post(act::acknowledge))
        .route("/readings/{id}/correct", post(act::correct))
        .route("/readings/{id}/decide", post(act::decide))
        .route("/readings/{id}/retract", post(act::retract))
        .route("/readings/{id}/time", post(enter::correct_time))
        .route(
            "/readings/{id}/move",
            get(enter::to_move).post(enter::move_reading),
        )
        .route("/readings/{id}/note", post(act::note))
        .route("/residents/{id}/enter", get(enter::form).post(enter::enter))
        .route("/residents/{id}/read-back", post(enter::read_back))
        .route("/residents/{id}/note", post(act::note_resident))
        .route("/residents/{id}/range", post(act::set_range))
        .route("/residents/{id}/range/withdraw", post(act::withdraw_range))
        .route("/residents/{id}/recheck", post(act::ask_recheck))
        .route(
            "/residents/{id}/recheck/withdraw",
            post(act::withdraw_recheck),
        )
        .route("/rounds/{id}/sign", post(act::sign))
        .route("/people", get(people::page).post(people::create))
        .route("/people/{id}/code", post(people::renew))
        .route("/people/{id}/close", post(people::close))
        .route("/people/{id}/open", post(people::open))
        .route("/log", get(people::log))
        .method_not_allowed_fallback(show::not_there)
        .route_layer(from_fn_with_state(app.clone(), guard::guard))
        .fallback(show::not_there)
        .layer(from_fn_with_state(app.clone(), headers::headers))
        .layer(from_fn(headers::bounded))
        .layer(from_fn_with_state("station", count_request))
        .with_state(app)
}
