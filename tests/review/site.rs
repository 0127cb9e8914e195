//! A station on a made-up record, and someone who asks it for pages.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, Response, StatusCode, header};
use http_body_util::BodyExt as _;
use sayback::facts::{Fact, Time};
use sayback::residents::{Home, KeptSound, Offsets, Staff};
use sayback::review::accounts::{FIRST, Role};
use sayback::review::{FORM_COOKIE, Ledger, Station, app};
use sayback::store::{Key, Store};
use tempfile::TempDir;
use tower::ServiceExt as _;

use super::{conversation, made};

pub const PASSWORD: &str = "teal kettle sings";

/// A station with one user of each role, who all have the same password.
pub struct Site {
    pub folder: TempDir,
    pub station: Arc<Station>,
    app: Router,
}

impl Site {
    /// Four residents and a month.
    pub fn new() -> Self {
        Self::of(4, 30)
    }

    pub fn of(residents: usize, days: u64) -> Self {
        Self::made(residents, days, false, None)
    }

    /// One whose record is this conversation, and nothing else.
    pub fn after(words: &[&str]) -> Self {
        let site = Self::of(4, 0);
        let begins = made::now() - chrono::TimeDelta::minutes(20);
        let facts = conversation::facts(&made::home(4), begins, words);
        let mut store = Store::open(&site.record()).unwrap();
        store.append(&facts.iter().collect::<Vec<_>>()).unwrap();
        site.station.refresh().unwrap();
        site
    }

    /// One in a home that keeps sound for so many days.
    pub fn keeping_sound(days: u16) -> Self {
        let kept = KeptSound {
            days,
            megabytes: 10,
        };
        Self::made(4, 0, false, Some(kept))
    }

    /// One whose pages go out over TLS.
    pub fn secure() -> Self {
        Self::made(4, 3, true, None)
    }

    fn made(residents: usize, days: u64, secure: bool, kept: Option<KeptSound>) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("record.db");
        let mut home = made::home(residents);
        home.kept_sound = kept;
        made::record(&path, &home, days);
        let mut store = Store::open(&path).unwrap();
        store
            .keep_sound(kept, &key_in(folder.path()), made::now())
            .unwrap();
        Self::on(folder, home, store, secure)
    }

    /// One on whatever record, with its accounts in a folder.
    pub fn on(folder: TempDir, home: Home, record: impl Ledger + 'static, secure: bool) -> Self {
        Self::at(folder, (home, record), secure, (made::now, None))
    }

    /// One at another time, of a home whose clocks are put forward and back.
    pub fn at(
        folder: TempDir,
        (home, record): (Home, impl Ledger + 'static),
        secure: bool,
        (clock, offsets): (fn() -> Time, Option<Offsets>),
    ) -> Self {
        let path = folder.path().join("record.db");
        let (accounts, code) = Station::accounts_beside(&path).unwrap();
        accounts.choose(FIRST, PASSWORD).unwrap();
        assert!(code.is_some());
        for (login, name, title, role) in [
            ("imarlow", "Ines Marlow", "registered nurse", Role::Nurse),
            ("dwhitlock", "Dana Whitlock", "nursing aide", Role::Aide),
            ("mbell", "Marcus Bell", "nursing aide", Role::Aide),
        ] {
            let staff = Staff {
                name: name.into(),
                title: title.into(),
            };
            accounts.create(login, &staff, role, clock()).unwrap();
            accounts.choose(login, PASSWORD).unwrap();
        }
        let station = Station::new(home, record, accounts, clock, secure).unwrap();
        let station = match offsets {
            Some(offsets) => station.with_offsets(offsets),
            None => station,
        };
        let station = Arc::new(station);
        let app = app(Arc::clone(&station));
        Self {
            folder,
            station,
            app,
        }
    }

    pub fn record(&self) -> PathBuf {
        self.folder.path().join("record.db")
    }

    pub fn facts(&self) -> Vec<Fact> {
        facts(&self.record())
    }

    pub async fn send(&self, request: Request<Body>) -> Response<Body> {
        self.app.clone().oneshot(request).await.unwrap()
    }

    /// Someone of this role, signed in.
    pub async fn visitor(&self, role: Role) -> Visitor<'_> {
        let login = match role {
            Role::Aide => "dwhitlock",
            Role::Nurse => "imarlow",
            Role::Administrator => FIRST,
        };
        let mut visitor = Visitor::stranger(self);
        let answer = visitor.sign_in(login, PASSWORD).await;
        assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{login}");
        visitor
    }
}

/// The key of what is encrypted there.
pub fn key_in(folder: &Path) -> Key {
    Key::File(folder.join("record.key"))
}

pub fn facts(path: &Path) -> Vec<Fact> {
    Store::open_to_read(path).unwrap().facts().unwrap()
}

/// A browser as far as it matters here: cookies, and the token of its forms.
pub struct Visitor<'a> {
    site: &'a Site,
    pub cookies: Vec<(String, String)>,
    pub csrf: String,
}

impl<'a> Visitor<'a> {
    pub const fn stranger(site: &'a Site) -> Self {
        Self {
            site,
            cookies: Vec::new(),
            csrf: String::new(),
        }
    }

    pub async fn sign_in(&mut self, login: &str, password: &str) -> Response<Body> {
        self.get("/sign-in").await;
        let form = self.cookies.iter().find(|(name, _)| name == FORM_COOKIE);
        self.csrf.clone_from(&form.unwrap().1);
        let password = password.replace(' ', "+");
        let fields = format!("login={login}&password={password}");
        let answer = self.post("/sign-in", &fields).await;
        if answer.status() == StatusCode::SEE_OTHER {
            let (_, page) = self.get("/password").await;
            self.csrf = token_of(&page);
        }
        answer
    }

    pub fn request(&self, method: &str, path: &str, body: String) -> Request<Body> {
        let cookies = self
            .cookies
            .iter()
            .map(|(name, value)| format!("{name}={value}"));
        let cookies = cookies.collect::<Vec<_>>().join("; ");
        Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, "station")
            .header(header::COOKIE, cookies)
            .body(Body::from(body))
            .unwrap()
    }

    pub async fn get(&mut self, path: &str) -> (StatusCode, String) {
        let answer = self
            .site
            .send(self.request("GET", path, String::new()))
            .await;
        self.remember(&answer);
        let status = answer.status();
        (status, text(answer).await)
    }

    /// Sends a form, with its token.
    pub async fn post(&mut self, path: &str, fields: &str) -> Response<Body> {
        let body = format!("csrf={}&{fields}", self.csrf);
        let answer = self.site.send(self.request("POST", path, body)).await;
        self.remember(&answer);
        answer
    }

    /// The same, and it is done.
    pub async fn does(&mut self, path: &str, fields: &str) {
        let answer = self.post(path, fields).await;
        let status = answer.status();
        let page = text(answer).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{path}, {fields}: {page}");
    }

    fn remember(&mut self, answer: &Response<Body>) {
        for cookie in answer.headers().get_all(header::SET_COOKIE) {
            let cookie = cookie.to_str().unwrap();
            let pair = cookie.split(';').next().unwrap();
            let (name, value) = pair.split_once('=').unwrap();
            self.cookies.retain(|(it, _)| it != name);
            self.cookies.push((name.into(), value.into()));
        }
    }
}

pub async fn text(answer: Response<Body>) -> String {
    let bytes = answer.into_body().collect().await.unwrap().to_bytes();
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn token_of(page: &str) -> String {
    let (_, rest) = page.split_once("name=\"csrf\" value=\"").unwrap();
    rest.split('"').next().unwrap().to_owned()
}
