//! A station whose pages are open in a real browser, and what must be so on each of them.

use std::net::SocketAddr;
use std::sync::Arc;

use sayback::facts::Body;
use sayback::review::accounts::Role;
use sayback::review::{Certificate, serve};
use uuid::Uuid;

use super::browser::{Browser, Look};
use super::site::{PASSWORD, Site};

/// A station that answers on a free port of this machine.
pub struct Open {
    pub site: Site,
    pub at: SocketAddr,
    scheme: &'static str,
    _runtime: tokio::runtime::Runtime,
}

impl Open {
    pub fn new(residents: usize, days: u64) -> Self {
        Self::serve(Site::of(residents, days), None)
    }

    pub fn serve(site: Site, certificate: Option<Certificate>) -> Self {
        let scheme = if certificate.is_some() {
            "https"
        } else {
            "http"
        };
        let runtime = tokio::runtime::Runtime::new().unwrap();
        let (tell, told) = std::sync::mpsc::channel();
        let station = Arc::clone(&site.station);
        runtime.spawn(async move {
            let any = SocketAddr::from(([127, 0, 0, 1], 0));
            serve(station, any, certificate, |at| tell.send(at).unwrap()).await
        });
        Self {
            site,
            at: told.recv().unwrap(),
            scheme,
            _runtime: runtime,
        }
    }

    pub fn address(&self, path: &str) -> String {
        format!("{}://{}{path}", self.scheme, self.at)
    }

    /// A browser with someone of this role signed in.
    pub fn visit(&self, role: Role, look: Look) -> Browser {
        let browser = Browser::open(look);
        let login = match role {
            Role::Aide => "dwhitlock",
            Role::Nurse => "imarlow",
            Role::Administrator => "admin",
        };
        browser.go(&self.address("/"));
        browser.fill("[name=login]", login);
        browser.fill("[name=password]", PASSWORD);
        browser.click("button.main");
        browser.wait(|it| !it.address().contains("sign-in"));
        browser
    }

    pub fn fact(&self, wanted: fn(&Body) -> bool) -> Uuid {
        let facts = self.site.facts();
        facts.iter().rev().find(|it| wanted(&it.body)).unwrap().id
    }
}

/// What must be so on every page, whoever looks.
pub fn in_order(browser: &Browser, page: &str) {
    let complaints = browser.complaints();
    // A form that was refused on purpose is in the browser's log too.
    let complaints: Vec<_> = complaints
        .iter()
        .filter(|it| !it.contains("status of 4"))
        .collect();
    assert!(complaints.is_empty(), "{page}: {complaints:?}");
    // A phone's window grows to what is too wide for it: the page's own width doesn't.
    let wide =
        browser.run("const it = document.documentElement; return it.scrollWidth > it.clientWidth");
    assert_eq!(wide, false, "{page} must not be wider than the screen");
    let styled = browser.run("return getComputedStyle(document.body).display");
    assert_eq!(styled, "flex", "{page} has its style");
    assert!(
        browser.text("footer").contains("the licensed nurse decide"),
        "{page}"
    );
    let small = browser.run(
        "return [...document.querySelectorAll('button, .button, nav a, select, summary')]
           .filter(it => it.offsetHeight > 0 && it.offsetHeight < 44).map(it => it.outerHTML)",
    );
    assert_eq!(
        small.as_array().map(Vec::len),
        Some(0),
        "{page} is hard to touch: {small}"
    );
    let crowded = browser.run(
        "const all = [...document.querySelectorAll('button, .button, .card')].filter(it => it.checkVisibility());
         const near = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom + 6 && b.top < a.bottom + 6;
         return all.flatMap((a, at) => all.slice(at + 1)
           .filter(b => !a.contains(b) && !b.contains(a)
             && near(a.getBoundingClientRect(), b.getBoundingClientRect()))
           .map(b => a.outerHTML.slice(0, 120) + ' and ' + b.outerHTML.slice(0, 120)))",
    );
    assert_eq!(
        crowded.as_array().map(Vec::len),
        Some(0),
        "{page} is crowded: {crowded}"
    );
    let tiny = browser.run(
        "return [...document.querySelectorAll('svg text')].filter(it => it.checkVisibility()
           && it.getBoundingClientRect().height < 12).map(it => it.outerHTML)",
    );
    assert_eq!(
        tiny.as_array().map(Vec::len),
        Some(0),
        "{page} can't be read: {tiny}"
    );
    let run_together = browser.run(
        "return [...document.querySelectorAll('svg')].flatMap(it => {
           const all = [...it.querySelectorAll('text')].map(it => it.getBoundingClientRect());
           return all.flatMap((a, at) => all.slice(at + 1).filter(b => Math.abs(a.top - b.top) < 2
             && a.left < b.right + 5 && b.left < a.right + 5 && a.width && b.width)).map(() => it.ariaLabel);
         })",
    );
    assert_eq!(
        run_together.as_array().map(Vec::len),
        Some(0),
        "{page} has names that run together: {run_together}"
    );
    let lines = browser.run(
        "const all = [...document.querySelectorAll('.bar nav li')];
         return new Set(all.map(it => it.offsetTop)).size <= 1",
    );
    assert_eq!(lines, true, "{page}: its bar is of one line");
    let nameless = browser.run(
        "return [...document.querySelectorAll('input:not([type=hidden]):not([hidden]), select, textarea')]
           .filter(it => !it.labels || it.labels.length == 0).map(it => it.outerHTML)",
    );
    assert_eq!(
        nameless.as_array().map(Vec::len),
        Some(0),
        "{page}: {nameless}"
    );
    let headings = browser.run("return document.querySelectorAll('h1').length");
    assert_eq!(headings, 1, "{page}");
    let barriers = browser.barriers();
    assert!(barriers.is_empty(), "{page}: {barriers:#?}");
}
