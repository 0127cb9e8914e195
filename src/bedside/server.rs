//! The bedside page over HTTP, on a thread of its own so that it answers while
//! something is being said.

use std::convert::Infallible;
use std::net::{SocketAddr, TcpListener};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::body::Bytes;
use axum::extract::ws::WebSocketUpgrade;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, StatusCode, header};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use maud::{Markup, html};
use tokio::sync::{mpsc, watch};
use tokio_stream::wrappers::WatchStream;
use tokio_stream::{Stream, StreamExt as _};

use super::hand::{ANSWER, WORDS};
use super::page;
use super::screen::{Bedside, first};
use super::tablet::{LONGEST_MESSAGE, Tablet};
use super::view::View;
use crate::card;
use crate::dialogue::{Dialogue, Event as Given, STALE, Touched};
use crate::facts::Time;
use crate::grammar::Grammar;
use crate::metrics::count_request;
use crate::residents::{Home, Staff};
use crate::review::accounts::random_token;
use crate::review::fields::Fields;
use crate::review::sessions::same;
use crate::review::{
    Certificate, LIVE, always, answer_apart, bounded, cookie, from_own_site, own_name, set_cookie,
};
use crate::round::Pins;
use crate::understanding::typed;

/// The cookie that holds the key.
pub const KEY_COOKIE: &str = "sayback-bedside";
/// So many touches wait while something is being said; more are refused.
pub const TOUCHES: usize = 4;
/// The longest that can be typed, in characters.
const LONGEST: usize = 200;

const STYLE: &str = include_str!("assets/style.css");
const SCRIPT: &str = include_str!("assets/page.js");
const SOUND: &str = include_str!("assets/sound.js");
const BLOCKS: &str = include_str!("assets/blocks.js");
/// A page may use the microphone of the device that it is on, and nothing else there.
const MICROPHONE: &str = "camera=(), geolocation=(), microphone=(self), payment=(), usb=()";

/// What the page and the round share.
#[derive(Clone)]
pub struct Link {
    /// What is to be shown.
    pub views: watch::Receiver<View>,
    /// What is given by hand.
    pub touches: mpsc::Sender<Given>,
    /// What every form and page must bring back.
    pub key: Arc<str>,
    /// Only this machine can reach the page, and may have the key.
    pub local: bool,
    /// The page goes out over TLS only.
    pub secure: bool,
    /// The home, whose staff sign on.
    pub home: Arc<Home>,
    /// Their PINs; without any, nobody signs on here.
    pub pins: Option<Arc<Mutex<Pins>>>,
    /// Where a page may give its microphone and loudspeaker to the round.
    pub tablet: Option<Arc<Tablet>>,
}

/// Where the page is to be, and what it is to be there.
pub struct Place {
    /// The address to answer on.
    pub address: SocketAddr,
    /// What the address is to bring, where it is not to be new at this start.
    pub key: Option<String>,
    /// The home's own certificate; the page then goes out over TLS only.
    pub certificate: Option<Certificate>,
    /// The clock by which that certificate is looked at once a day.
    pub clock: fn() -> Time,
    /// Where a page may give its microphone and loudspeaker to the round.
    pub tablet: Option<Arc<Tablet>>,
}

impl Place {
    /// A page in clear, whose device hears and plays nothing.
    #[must_use]
    pub const fn at(address: SocketAddr) -> Self {
        Self {
            address,
            key: None,
            certificate: None,
            clock: || chrono::Local::now().fixed_offset(),
            tablet: None,
        }
    }
}

/// Opens the page of a round that is about to begin, on a thread of its own.
/// Returns the round's end of it, what is given by hand, and the address to
/// open.
///
/// # Errors
/// What is wrong with the address or the certificate, in words.
pub fn open(
    place: Place,
    dialogue: &Dialogue,
    now: Time,
    pins: Option<Pins>,
) -> Result<(Bedside, mpsc::Receiver<Given>, String), String> {
    let Place {
        address,
        key,
        certificate,
        clock,
        tablet,
    } = place;
    let wrong = |error: std::io::Error| format!("the screen cannot be at {address}: {error}");
    let listener = TcpListener::bind(address).map_err(wrong)?;
    let at = listener.local_addr().map_err(wrong)?;
    let (to, views) = watch::channel(first(dialogue, now));
    let (touches, given) = mpsc::channel(TOUCHES);
    let key = match key {
        Some(key) => key,
        None => random_token().map_err(|it| it.to_string())?,
    };
    let link = Link {
        views,
        touches,
        key: key.into(),
        local: at.ip().is_loopback(),
        secure: certificate.is_some(),
        home: Arc::new(dialogue.home().clone()),
        pins: pins.map(|it| Arc::new(Mutex::new(it))),
        tablet,
    };
    let scheme = if link.secure { "https" } else { "http" };
    let url = if link.local {
        format!("{scheme}://{at}/")
    } else {
        format!("{scheme}://{at}/?key={}", link.key)
    };
    let certificate = certificate.map(|it| (it, clock));
    answer_apart("the bedside screen", listener, certificate, app(link))?;
    Ok((Bedside::new(to), given, url))
}

/// The page.
pub fn app(link: Link) -> Router {
    let pages = Router::new()
        .route("/", get(whole))
        .route("/screen", get(part))
        .route("/live", get(live))
        .route("/sound", get(sound))
        .route("/say", post(say))
        .route("/sign-on", post(sign_on))
        .route("/sign-off", post(sign_off))
        .route_layer(from_fn_with_state(link.clone(), with_key))
        .route("/style.css", get(|| file("text/css; charset=utf-8", STYLE)))
        .route(
            "/page.js",
            get(|| file("text/javascript; charset=utf-8", SCRIPT)),
        )
        .route(
            "/sound.js",
            get(|| file("text/javascript; charset=utf-8", SOUND)),
        )
        .route(
            "/blocks.js",
            get(|| file("text/javascript; charset=utf-8", BLOCKS)),
        )
        .route("/card", get(card_page))
        .route(
            "/card.css",
            get(|| file("text/css; charset=utf-8", card::STYLE)),
        );
    // Over TLS the home's certificate says which name is its own.
    let pages = if link.secure {
        pages
    } else {
        pages.layer(from_fn(own_name))
    };
    pages
        .layer(from_fn(always))
        .layer(from_fn(bounded))
        .layer(from_fn_with_state("bedside", count_request))
        .with_state(link)
}

fn file(kind: &'static str, text: &'static str) -> std::future::Ready<Response> {
    std::future::ready(([(header::CONTENT_TYPE, kind)], text).into_response())
}

/// The card of what can be said; it says nothing of anyone.
async fn card_page() -> Markup {
    let style = html! { link rel="stylesheet" href="/card.css"; };
    card::html(&card::card(&Grammar::standard()), &style)
}

fn refused(why: &'static str) -> Response {
    (StatusCode::FORBIDDEN, why).into_response()
}

/// Lets through whoever has the key. On this machine the page itself gives it.
async fn with_key(State(link): State<Link>, request: Request, next: Next) -> Response {
    let given = cookie(request.headers(), KEY_COOKIE);
    if given.is_some_and(|it| same(&it, &link.key)) {
        return next.run(request).await;
    }
    let query = Fields::parse(request.uri().query().unwrap_or_default().as_bytes());
    if request.uri().path() == "/" && (link.local || same(query.get("key"), &link.key)) {
        let cookie = set_cookie(KEY_COOKIE, &link.key, link.secure);
        return ([(header::SET_COOKIE, cookie)], Redirect::to("/")).into_response();
    }
    refused("Open the address that Sayback printed when it was started; it was started anew since.")
}

async fn whole(State(link): State<Link>) -> Response {
    let page = link.page(None);
    if link.tablet.is_none() {
        return page.into_response();
    }
    let allowed = HeaderName::from_static("permissions-policy");
    ([(allowed, MICROPHONE)], page).into_response()
}

impl Link {
    fn page(&self, note: Option<&str>) -> Markup {
        page::page(&self.views.borrow(), &self.key, note, self.tablet.is_some())
    }
}

/// The microphone and the loudspeaker of a page.
async fn sound(State(link): State<Link>, headers: HeaderMap, page: WebSocketUpgrade) -> Response {
    let Some(tablet) = link.tablet else {
        return refused("This round has a microphone of its own.");
    };
    if !from_own_site(&headers) {
        return refused("That was not from the bedside page. Load the page again.");
    }
    page.max_message_size(LONGEST_MESSAGE)
        .max_frame_size(LONGEST_MESSAGE)
        .on_upgrade(async move |socket| tablet.serve(socket).await)
}

async fn part(State(link): State<Link>) -> Markup {
    page::screen(&link.views.borrow(), &link.key)
}

/// The live part, now and at every change. A screen that was away gets the
/// present at once.
async fn live(State(link): State<Link>) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let key = Arc::clone(&link.key);
    let views = WatchStream::new(link.views).map(move |view| {
        let html = page::screen(&view, &key).into_string();
        Ok(Event::default()
            .event("view")
            .retry(Duration::from_secs(1))
            .data(html))
    });
    Sse::new(views).keep_alive(KeepAlive::new().interval(Duration::from_secs(10)))
}

/// A form of the bedside page.
struct Form {
    link: Link,
    fields: Fields,
    scripted: bool,
}

impl Form {
    fn of(link: Link, headers: &HeaderMap, body: &[u8]) -> Result<Self, Box<Response>> {
        let fields = Fields::parse(body);
        if !from_own_site(headers) || !same(fields.get("csrf"), &link.key) {
            let why = "That was not from the bedside page. Load the page again.";
            return Err(Box::new(refused(why)));
        }
        Ok(Self {
            link,
            fields,
            scripted: headers.contains_key(LIVE),
        })
    }

    fn problem(&self, status: StatusCode, why: &str) -> Response {
        if self.scripted {
            return (status, why.to_owned()).into_response();
        }
        (status, self.link.page(Some(why))).into_response()
    }

    /// Gives it to the round.
    fn give(&self, event: Given) -> Response {
        match self.link.touches.try_send(event) {
            Ok(()) if self.scripted => StatusCode::NO_CONTENT.into_response(),
            Ok(()) => Redirect::to("/").into_response(),
            Err(mpsc::error::TrySendError::Full(_)) => self.problem(
                StatusCode::SERVICE_UNAVAILABLE,
                "Not taken: wait until Sayback has finished speaking.",
            ),
            Err(mpsc::error::TrySendError::Closed(_)) => {
                self.problem(StatusCode::GONE, "Not taken: the round is over.")
            }
        }
    }

    /// Who this is, by the PIN.
    async fn staff(&self) -> Result<Staff, Box<Response>> {
        let Some(pins) = self.link.pins.clone() else {
            let why = "No PINs are set, so nobody signs on here; `sayback staff set-pin` sets one.";
            return Err(Box::new(self.problem(StatusCode::CONFLICT, why)));
        };
        let home = Arc::clone(&self.link.home);
        let who = self.fields.get("who").to_owned();
        let pin = self.fields.exact("pin").to_owned();
        let checked = tokio::task::spawn_blocking(move || {
            let mut pins = pins.lock().unwrap_or_else(PoisonError::into_inner);
            let now = chrono::Local::now().fixed_offset();
            pins.check(&home, &who, &pin, now)
                .map_err(|it| it.to_string())
        });
        let checked = checked.await.unwrap_or_else(|it| Err(it.to_string()));
        checked.map_err(|why| Box::new(self.problem(StatusCode::FORBIDDEN, &why)))
    }
}

async fn sign_on(State(link): State<Link>, headers: HeaderMap, body: Bytes) -> Response {
    signed(link, headers, body, Given::SignedOn).await
}

async fn sign_off(State(link): State<Link>, headers: HeaderMap, body: Bytes) -> Response {
    signed(link, headers, body, Given::SignedOff).await
}

async fn signed(
    link: Link,
    headers: HeaderMap,
    body: Bytes,
    event: fn(Staff) -> Given,
) -> Response {
    let form = match Form::of(link, &headers, &body) {
        Ok(form) => form,
        Err(refused) => return *refused,
    };
    match form.staff().await {
        Ok(staff) => form.give(event(staff)),
        Err(problem) => *problem,
    }
}

/// Words by hand. An answer is to what is on the screen; where that is gone, it
/// is refused here, and the dialogue itself looks once more.
async fn say(State(link): State<Link>, headers: HeaderMap, body: Bytes) -> Response {
    let form = match Form::of(link, &headers, &body) {
        Ok(form) => form,
        Err(refused) => return *refused,
    };
    let (answer, words) = (form.fields.get(ANSWER), form.fields.get(WORDS));
    let asked = form.fields.get("asked").parse().unwrap_or(u64::MAX);
    if !answer.is_empty() && asked != form.link.views.borrow().asked {
        return form.problem(StatusCode::CONFLICT, STALE);
    }
    let words = if answer.is_empty() { words } else { answer };
    if words.is_empty() || words.chars().count() > LONGEST {
        let why = format!("Nothing to take: type 1 to {LONGEST} letters.");
        return form.problem(StatusCode::UNPROCESSABLE_ENTITY, &why);
    }
    let heard = typed(words);
    form.give(Given::Touched(Touched { heard, asked }))
}
