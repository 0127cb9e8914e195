//! The pages as ways in: any request of someone who is signed in, and whatever
//! is put into the bedside page.

use std::cell::RefCell;
use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use http_body_util::BodyExt as _;
use sayback::bedside::{Bedside, KEY_COOKIE, Link, TOUCHES};
use sayback::dialogue::{Action, Dialogue, Event};
use sayback::facts::{Fact, KeptReading, Record};
use sayback::hearing::Heard;
use sayback::residents::Staff;
use sayback::review::accounts::Role;
use sayback::review::{FORM_COOKIE, Ledger, ROUTES, Station, session_cookie};
use sayback::store::Store;
use tokio::runtime::Runtime;
use tokio::sync::mpsc;
use tower::ServiceExt as _;

use super::{DIALOGUE, HOME, now, text};

/// What the acts of so many requests have left is thrown away.
const ANEW: u32 = 500;
const LOGIN: &str = "imarlow";
const PASSWORD: &str = "teal kettle sings";
/// A round with a report, a corrected reading and one not taken.
pub(super) const ROUND: [&str; 9] = [
    "room nine",
    "yes",
    "blood pressure one ninety two over eighty eight left arm sitting",
    "yes",
    "reported to marlow",
    "pulse seventy two regular",
    "yes",
    "weight refused",
    "end of round",
];

/// A station with a nurse signed in.
pub(super) struct Site {
    pub station: Arc<Station>,
    app: Router,
    runtime: Runtime,
    cookie: String,
    csrf: String,
    ids: Vec<String>,
    pub asked: u32,
    _folder: tempfile::TempDir,
}

thread_local! {
    static SITE: RefCell<Option<Site>> = const { RefCell::new(None) };
    static PAGE: RefCell<Option<Page>> = const { RefCell::new(None) };
}

pub(super) fn runtime() -> Runtime {
    let mut runtime = tokio::runtime::Builder::new_current_thread();
    runtime.enable_all().build().expect("a runtime")
}

/// The facts of [`ROUND`].
pub(super) fn recorded(dialogue: &Dialogue) -> Vec<Fact<KeptReading>> {
    let (mut state, mut actions) = dialogue.begin(&Record::default(), 1, now());
    for (words, minute) in ROUND.iter().zip(1..) {
        let at = now() + chrono::TimeDelta::minutes(minute);
        let event = Event::Heard(Heard::from_text(words));
        let (next, more) = dialogue.step(state, &event, at);
        state = next;
        actions.extend(more);
    }
    let kept = actions.into_iter().filter_map(|it| match it {
        Action::Keep(fact) => Some(*fact),
        _ => None,
    });
    kept.collect()
}

impl Site {
    fn new() -> Self {
        let mut store = Store::in_memory().expect("a record");
        let facts = recorded(&DIALOGUE);
        store
            .append(&facts.iter().collect::<Vec<_>>())
            .expect("appended");
        let mut ids: Vec<String> = facts
            .iter()
            .flat_map(|it| [it.id.to_string(), it.round.to_string()])
            .chain(HOME.residents.iter().map(|it| it.id.0.clone()))
            .chain([LOGIN.to_owned(), "pulse".to_owned()])
            .collect();
        ids.sort();
        ids.dedup();
        Self {
            ids,
            ..Self::of(store)
        }
    }

    /// The same on a record, without identifiers of anything in it.
    pub fn of(record: impl Ledger + 'static) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let accounts = Station::accounts_beside(&folder.path().join("record.db"));
        let (accounts, _) = accounts.expect("accounts");
        let staff = Staff {
            name: "Ines Marlow".into(),
            title: "registered nurse".into(),
        };
        let made = accounts.create(LOGIN, &staff, Role::Nurse, now());
        made.expect("a nurse");
        accounts.choose(LOGIN, PASSWORD).expect("a password");
        let station = Station::new(HOME.clone(), record, accounts, now, false);
        let station = Arc::new(station.expect("a station"));
        let mut site = Self {
            app: sayback::review::app(Arc::clone(&station)),
            station,
            runtime: runtime(),
            cookie: String::new(),
            csrf: String::new(),
            ids: Vec::new(),
            asked: 0,
            _folder: folder,
        };
        site.sign_in();
        site
    }

    pub fn ask(&self, request: Request<Body>) -> (StatusCode, Vec<String>, String) {
        let answer = self.app.clone().oneshot(request);
        self.runtime.block_on(async {
            let answer = answer.await.expect("an answer");
            let cookies = answer.headers().get_all(header::SET_COOKIE).iter();
            let cookies =
                cookies.filter_map(|it| Some(it.to_str().ok()?.split(';').next()?.into()));
            let (status, cookies) = (answer.status(), cookies.collect());
            // Live pages never end.
            let stream = answer.headers().get(header::CONTENT_TYPE);
            if stream.is_some_and(|it| it == "text/event-stream") {
                return (status, cookies, String::new());
            }
            let body = answer.into_body().collect().await.expect("a body");
            let body = String::from_utf8_lossy(&body.to_bytes()).into_owned();
            (status, cookies, body)
        })
    }

    pub fn request(&self, method: &str, path: &str, body: Vec<u8>) -> Option<Request<Body>> {
        let request = Request::builder().method(method).uri(path);
        let request = request.header(header::HOST, "station");
        let request = request.header(header::COOKIE, &self.cookie);
        request.body(Body::from(body)).ok()
    }

    fn sign_in(&mut self) {
        let asked = self.request("GET", "/sign-in", Vec::new()).expect("it");
        let (_, cookies, _) = self.ask(asked);
        let found = cookies.iter().find_map(|it| it.split_once('='));
        let (name, token) = found.expect("the form's cookie");
        assert_eq!(name, FORM_COOKIE);
        self.cookie = format!("{name}={token}");
        let words = PASSWORD.replace(' ', "+");
        let form = format!("csrf={token}&login={LOGIN}&password={words}");
        let asked = self.request("POST", "/sign-in", form.into()).expect("it");
        let (status, cookies, _) = self.ask(asked);
        assert_eq!(status, StatusCode::SEE_OTHER);
        let own = cookies
            .iter()
            .find(|it| it.starts_with(session_cookie(false)));
        self.cookie.clone_from(own.expect("a session"));
        let asked = self.request("GET", "/password", Vec::new()).expect("it");
        let (_, _, page) = self.ask(asked);
        let token = page
            .split_once("name=\"csrf\" value=\"")
            .expect("a token")
            .1;
        token
            .split('"')
            .next()
            .unwrap_or_default()
            .clone_into(&mut self.csrf);
    }
}

/// A request to the station, by a nurse: two bytes say which route and which
/// resident, reading or round; the rest is the query or the form. Nothing may
/// break: a mistake is the asker's and is answered as one.
pub fn station(data: &[u8]) {
    let [route, id, rest @ ..] = data else { return };
    SITE.with_borrow_mut(|kept| {
        let site = kept.get_or_insert_with(Site::new);
        site.asked += 1;
        let (method, route, _) = ROUTES[usize::from(*route) % ROUTES.len()];
        // Each costs a hash that is slow on purpose, or ends the session.
        if method == "POST" && matches!(route, "/sign-in" | "/password" | "/sign-out") {
            return;
        }
        let id = &site.ids[usize::from(*id) % site.ids.len()];
        let path = route.replace("{id}", id).replace("{sign}", "pulse");
        let request = if method == "POST" {
            let mut form = format!("csrf={}&", site.csrf).into_bytes();
            form.extend_from_slice(rest);
            site.request(method, &path, form)
        } else {
            let Some(query) = text(rest) else { return };
            site.request(method, &format!("{path}?{query}"), Vec::new())
        };
        let Some(request) = request else { return };
        let (status, ..) = site.ask(request);
        assert!(!status.is_server_error(), "{method} {path}: {status}");
        assert_ne!(status, StatusCode::UNAUTHORIZED, "{method} {path}");
        if site.asked >= ANEW {
            *kept = None;
        }
    });
}

/// The bedside page of a round that has begun.
struct Page {
    app: Router,
    runtime: Runtime,
    given: mpsc::Receiver<Event>,
    _screen: Bedside,
}

pub(super) const KEY: &str = "a-key-of-the-tests";

/// A round that has begun, and the link that its page has to it.
pub(super) fn link() -> (Bedside, Link, mpsc::Receiver<Event>) {
    let (screen, views) = Bedside::watched(&DIALOGUE, now());
    let (touches, given) = mpsc::channel(TOUCHES);
    let link = Link {
        views,
        touches,
        key: KEY.into(),
        local: true,
        secure: false,
        home: Arc::new(HOME.clone()),
        pins: None,
        tablet: None,
    };
    (screen, link, given)
}

impl Page {
    fn new() -> Self {
        let (screen, link, given) = link();
        Self {
            app: sayback::bedside::app(link),
            runtime: runtime(),
            given,
            _screen: screen,
        }
    }
}

/// A form of the bedside page. What is taken of it is taken by the dialogue, and
/// keeps no reading.
pub fn bedside(data: &[u8]) {
    PAGE.with_borrow_mut(|kept| {
        let page = kept.get_or_insert_with(Page::new);
        let mut form = format!("csrf={KEY}&asked=0&").into_bytes();
        form.extend_from_slice(data);
        let request = Request::builder().method("POST").uri("/say");
        let request = request
            .header(header::HOST, "127.0.0.1:8471")
            .header(header::COOKIE, format!("{KEY_COOKIE}={KEY}"))
            .body(Body::from(form))
            .expect("a request");
        let answer = page.app.clone().oneshot(request);
        let status = page.runtime.block_on(answer).expect("an answer").status();
        assert!(!status.is_server_error(), "{status}");
        let (state, _) = DIALOGUE.begin(&Record::default(), 1, now());
        while let Ok(event) = page.given.try_recv() {
            let (_, actions) = DIALOGUE.step(state.clone(), &event, now());
            let kept = actions.iter().any(|it| {
                matches!(it, Action::Keep(fact) if matches!(fact.body, sayback::facts::Body::Read(_)))
            });
            assert!(!kept, "kept without a read-back: {event:?}");
        }
    });
}
