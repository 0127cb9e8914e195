//! A round in the demo home whose screen is a page that can be opened, closed
//! and opened again.

use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;

use sayback::bedside::{Bedside, Link, TOUCHES, View, app};
use sayback::dialogue::{Dialogue, Event};
use sayback::facts::{Fact, Time};
use sayback::grammar::Grammar;
use sayback::hearing::Heard;
use sayback::residents::{Home, KeptSound, Speech};
use sayback::round::{Round, Screen};
use sayback::store::Store;
use sayback::sync::LinkStatus;
use tempfile::TempDir;
use tokio::runtime::Runtime;
use tokio::sync::{mpsc, watch};

pub const KEY: &str = "a-key-of-the-tests";

pub fn dialogue() -> Dialogue {
    let home = Home::from_toml(include_str!("../../audio-fixtures/demo-home.toml")).unwrap();
    let aide = home.aides[0].clone();
    Dialogue::new(home, aide, &Grammar::standard()).unwrap()
}

pub fn now() -> Time {
    Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap()
}

/// A screen with nobody's round on it.
pub fn link(local: bool) -> (Bedside, Link, mpsc::Receiver<Event>) {
    let (bedside, views) = Bedside::watched(&dialogue(), now());
    let (touches, given) = mpsc::channel(TOUCHES);
    let key = Arc::from(KEY);
    let link = Link {
        views,
        touches,
        key,
        local,
        secure: false,
        home: Arc::new(dialogue().home().clone()),
        pins: None,
        tablet: None,
    };
    (bedside, link, given)
}

/// A page that answers on a port of this machine, until it is dropped.
pub struct Open {
    pub at: SocketAddr,
    runtime: Runtime,
}

impl Open {
    pub fn new(link: &Link, at: SocketAddr) -> Self {
        let listener = TcpListener::bind(at).unwrap();
        listener.set_nonblocking(true).unwrap();
        let at = listener.local_addr().unwrap();
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()
            .unwrap();
        let pages = app(link.clone());
        runtime.spawn(async move {
            let listener = tokio::net::TcpListener::from_std(listener).unwrap();
            axum::serve(listener, pages).await
        });
        Self { at, runtime }
    }

    /// Waits for something of this program's own, where the page is answered.
    pub fn block_on<T>(&self, it: impl Future<Output = T>) -> T {
        self.runtime.block_on(it)
    }

    pub fn anywhere(link: &Link) -> Self {
        Self::new(link, SocketAddr::from(([127, 0, 0, 1], 0)))
    }

    pub fn address(&self) -> String {
        format!("http://{}/", self.at)
    }
}

/// A round on a thread of its own: it hears what it is told, and takes what is
/// given by hand.
pub struct Going {
    pub link: Link,
    folder: TempDir,
    words: std::sync::mpsc::Sender<Told>,
    thread: Option<std::thread::JoinHandle<()>>,
}

enum Told {
    Heard(String),
    MicrophoneLost(bool),
    Home(LinkStatus),
}

impl Going {
    pub fn new(spoken: &[&str]) -> Self {
        Self::of(dialogue(), spoken)
    }

    /// With nobody signed on, or with two of whom it is not known who records.
    pub fn unknown(signed_on: usize) -> Self {
        let home = dialogue().home().clone();
        let staff = home.staff().take(signed_on).cloned().collect();
        let dialogue = Dialogue::for_staff(home, staff, &Grammar::standard()).unwrap();
        Self::of(dialogue, &[])
    }

    /// In a home in which not everything is spoken.
    pub fn heard_as(speech: Speech, spoken: &[&str]) -> Self {
        let mut home = dialogue().home().clone();
        home.bedside.speech = speech;
        // The most that the corner of the screen has to hold.
        home.kept_sound = Some(KeptSound {
            days: 14,
            megabytes: 100,
        });
        let aide = home.aides[0].clone();
        Self::of(
            Dialogue::new(home, aide, &Grammar::standard()).unwrap(),
            spoken,
        )
    }

    fn of(dialogue: Dialogue, spoken: &[&str]) -> Self {
        let (mut bedside, link, mut given) = link(true);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("record.db");
        let (words, told) = std::sync::mpsc::channel();
        let thread = std::thread::spawn(move || {
            let mut now = now();
            let mut store = Store::open(&path).unwrap();
            let (mut round, turn) = Round::open(&dialogue, &mut store, now, &mut bedside).unwrap();
            bedside.said(now, &turn.say.map(|it| it.shown).unwrap_or_default());
            bedside.said_all();
            loop {
                now += chrono::Duration::seconds(5);
                let event = match (told.try_recv(), given.try_recv()) {
                    (Ok(Told::Heard(words)), _) => Event::Heard(Heard::from_text(&words)),
                    (Ok(Told::MicrophoneLost(lost)), _) => {
                        bedside.microphone_lost(lost);
                        continue;
                    }
                    (Ok(Told::Home(status)), _) => {
                        bedside.link(&status, now);
                        continue;
                    }
                    (_, Ok(event)) => event,
                    (Err(std::sync::mpsc::TryRecvError::Disconnected), _) => break,
                    _ => {
                        now -= chrono::Duration::seconds(5);
                        std::thread::sleep(std::time::Duration::from_millis(5));
                        continue;
                    }
                };
                match &event {
                    Event::Heard(heard) => bedside.heard(now, heard, round.addressed(&event)),
                    Event::Touched(it) => bedside.heard(now, &it.heard, true),
                    _ => {}
                }
                let mut turn = round.take(&event, now, &mut bedside);
                if let Some(say) = turn.say {
                    bedside.said(now, &say.shown);
                    bedside.said_all();
                }
                while turn.waiting.tell {
                    let (began, ended) = (now, now);
                    let event = Event::Said { began, ended };
                    turn = round.take(&event, now, &mut bedside);
                }
            }
        });
        let going = Self {
            link,
            folder,
            words,
            thread: Some(thread),
        };
        for words in spoken {
            going.hear(words);
        }
        going
    }

    /// Somebody says this; returns when the screen shows it.
    pub fn hear(&self, words: &str) {
        let shown = |it: &View| it.heard.as_ref().is_some_and(|it| it.text == words);
        let mut views = self.link.views.clone();
        assert!(!shown(&views.borrow()), "say something else than before");
        self.words.send(Told::Heard(words.to_owned())).unwrap();
        wait(&mut views, shown);
        // What it does to the conversation follows.
        std::thread::sleep(std::time::Duration::from_millis(100));
    }

    pub fn microphone_lost(&self, lost: bool) {
        self.words.send(Told::MicrophoneLost(lost)).unwrap();
        std::thread::sleep(std::time::Duration::from_millis(100));
    }

    /// The recorder stands so with its home; returns when the screen shows it.
    pub fn home(&self, status: LinkStatus) {
        self.words.send(Told::Home(status)).unwrap();
        wait(&mut self.link.views.clone(), |it| it.link.is_some());
    }

    pub fn facts(&self) -> Vec<Fact> {
        let path = self.folder.path().join("record.db");
        Store::open_to_read(&path).unwrap().facts().unwrap()
    }
}

impl Drop for Going {
    fn drop(&mut self) {
        let (closed, _) = std::sync::mpsc::channel();
        self.words = closed;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn wait(views: &mut watch::Receiver<View>, so: impl Fn(&View) -> bool) {
    let until = std::time::Instant::now() + std::time::Duration::from_secs(10);
    while !so(&views.borrow_and_update()) {
        assert!(std::time::Instant::now() < until, "waited in vain");
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
}
