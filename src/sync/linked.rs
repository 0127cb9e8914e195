//! A recorder that keeps in touch with its home, on a thread of its own: the round
//! never waits for it.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread::JoinHandle;
use std::time::{Duration, SystemTime};

use serde::{Deserialize, Serialize};
use tokio::sync::watch;

use super::files::{self, Files};
use super::{Exchange, Link, SyncError, Trouble};
use crate::facts::Time;
use crate::metrics;
use crate::store::{Key, Store, Waiting, link_state};

/// How often there is a look at what is new, while the home answers.
const EVERY: Duration = Duration::from_secs(3);
/// The first wait after the home did not answer; each is twice the one before.
const FIRST_WAIT: Duration = Duration::from_secs(2);
/// The longest.
const LONGEST_WAIT: Duration = Duration::from_secs(300);
/// At the end of a round what is left is sent, if that is soon done.
const AT_THE_END: Duration = Duration::from_secs(5);

/// How a recorder stands with its home.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LinkStatus {
    /// What is not there yet.
    pub waiting: Waiting,
    /// Up to which place all of the record is there, or refused.
    pub sent: i64,
    /// When all that had been recorded was there last.
    pub last: Option<Time>,
    /// Why the home was not reached just now.
    pub trouble: Option<String>,
    /// What kind of trouble that is.
    #[serde(default)]
    pub kind: Trouble,
    /// How many facts the home refuses.
    pub refused: usize,
    /// What came of the home's roster and limits, where that is to be known.
    pub settings: Vec<String>,
    /// As which recorder, of which home, this record was sent last.
    #[serde(default)]
    pub sent_as: Option<SentAs>,
}

/// As which recorder a record is sent.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SentAs {
    /// The home's identifier.
    pub home: String,
    /// What people call the recorder.
    pub label: String,
}

impl SentAs {
    fn of(link: &Link) -> Self {
        Self {
            home: link.home.clone(),
            label: link.label.clone(),
        }
    }
}

impl std::fmt::Display for SentAs {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "\"{}\" of the home {}", self.label, self.home)
    }
}

impl LinkStatus {
    /// In one line: "12 readings not at the station yet, last sent 14:02".
    #[must_use]
    pub fn line(&self, today: chrono::NaiveDate) -> String {
        self.told(today, true)
    }

    /// The same for an aide, who mends no network: what is wrong, and not why.
    #[must_use]
    pub fn brief(&self, today: chrono::NaiveDate) -> String {
        self.told(today, false)
    }

    /// Whether the record is sent with this link as the recorder that it was sent as
    /// before. One that was enrolled anew has another login and the same label.
    ///
    /// # Errors
    /// [`SyncError::Setup`] says who is who, and what to do.
    pub fn is_the_same(&self, link: &Link) -> Result<(), SyncError> {
        let now = SentAs::of(link);
        match &self.sent_as {
            Some(before) if *before != now => Err(SyncError::Setup(format!(
                "this record was sent as {before} before, and the link file is of {now}: its \
                 readings would be shown as from there, so nothing is sent. Give the link file \
                 of the one it was; if it is the other from now on, say so once with \
                 `sayback send --relinked`"
            ))),
            _ => Ok(()),
        }
    }

    /// The same with what came of trying to reach the home.
    #[must_use]
    pub fn after<T>(self, tried: &Result<T, SyncError>) -> Self {
        let error = tried.as_ref().err();
        Self {
            trouble: error.map(ToString::to_string),
            kind: error.map(SyncError::trouble).unwrap_or_default(),
            ..self
        }
    }

    fn told(&self, today: chrono::NaiveDate, whole: bool) -> String {
        let Waiting { facts, readings } = self.waiting;
        let waiting = match (readings, facts) {
            (0, 0) => "All is at the station".to_owned(),
            (0, 1) => "No reading, but 1 other entry not at the station yet".to_owned(),
            (0, _) => format!("No reading, but {facts} other entries not at the station yet"),
            (1, _) => "1 reading not at the station yet".to_owned(),
            _ => format!("{readings} readings not at the station yet"),
        };
        let last = match self.last {
            Some(at) if at.date_naive() == today => at.format("last sent %H:%M").to_string(),
            Some(at) => at.format("last sent on %Y-%m-%d at %H:%M").to_string(),
            None => "nothing sent so far".to_owned(),
        };
        let mut line = format!("{waiting}, {last}");
        if self.refused > 0 {
            let see = if whole { ", see the log" } else { "" };
            line = format!("{line}; {} refused{see}", self.refused);
        }
        if let Some(trouble) = &self.trouble {
            let trouble = if whole { trouble } else { self.kind.words() };
            line = format!("{line}; {trouble}");
        }
        line
    }
}

/// A running link; it ends when this is dropped.
pub struct Linked {
    stop: Option<mpsc::Sender<()>>,
    ended: mpsc::Receiver<()>,
    thread: Option<JoinHandle<()>>,
    status: watch::Receiver<LinkStatus>,
}

impl Linked {
    /// Begins to keep a record and a home's files in touch with the home.
    ///
    /// # Errors
    /// [`SyncError::Store`] when the record can't be opened, and
    /// [`SyncError::Link`] when there is no thread for it.
    pub fn begin(link: &Link, record: &Path, key: &Key, files: Files) -> Result<Self, SyncError> {
        let store = Store::open_with(record, key)?;
        let (stop, told) = mpsc::channel();
        let (ending, ended) = mpsc::channel();
        let state = link_state(record);
        let before = read_status(record).unwrap_or_default();
        let (show, status) = watch::channel(LinkStatus {
            last: before.last,
            sent: before.sent,
            sent_as: before.sent_as.clone(),
            ..LinkStatus::default()
        });
        let keeping = Keeping {
            exchange: Exchange::new(link),
            store,
            files,
            show,
            state,
        };
        let thread = std::thread::Builder::new().name("home".to_owned());
        let thread = thread.spawn(move || {
            keeping.run(&told);
            let _ = ending.send(());
        });
        let thread = thread.map_err(|error| SyncError::Link {
            path: record.to_owned(),
            problem: error.to_string(),
        })?;
        Ok(Self {
            stop: Some(stop),
            ended,
            thread: Some(thread),
            status,
        })
    }

    /// How it stands, now and whenever that changes.
    #[must_use]
    pub fn status(&self) -> watch::Receiver<LinkStatus> {
        self.status.clone()
    }
}

impl Drop for Linked {
    fn drop(&mut self) {
        self.stop = None;
        // A request under way can take longer: what it does is whole or not at all,
        // whenever the program ends.
        if self.ended.recv_timeout(AT_THE_END).is_ok()
            && let Some(thread) = self.thread.take()
        {
            let _ = thread.join();
        }
    }
}

struct Keeping {
    exchange: Exchange,
    store: Store,
    files: Files,
    show: watch::Sender<LinkStatus>,
    state: PathBuf,
}

impl Keeping {
    fn run(mut self, told: &mpsc::Receiver<()>) {
        let mut failed = 0;
        loop {
            failed = if self.once() { 0 } else { failed + 1 };
            let wait = if failed == 0 {
                EVERY
            } else {
                back_off(failed, fastrand::f64())
            };
            match told.recv_timeout(wait) {
                Err(RecvTimeoutError::Timeout) => {}
                _ => break,
            }
        }
        if failed == 0 {
            self.once();
        }
    }

    /// One exchange; whether the home answered.
    fn once(&mut self) -> bool {
        let before = self.show.borrow().clone();
        let done = before.is_the_same(self.exchange.home().link());
        let done = done.and_then(|()| self.exchange.run(&mut self.store));
        let done = done.and_then(|_| self.files.take(self.exchange.home()));
        let sent = far(&self.exchange, &before, done.is_ok());
        let waiting = self.store.waiting(sent);
        let mut status = LinkStatus {
            waiting: waiting.unwrap_or(before.waiting),
            sent,
            refused: self.exchange.refused().count(),
            sent_as: sent_as(&mut self.exchange, &before, done.is_ok()),
            ..before.clone()
        }
        .after(&done);
        let answered = done.is_ok();
        match done {
            Ok(settings) => {
                status.last = Some(chrono::Local::now().fixed_offset());
                // What is tried again is not said again.
                for line in settings {
                    if !status.settings.contains(&line) {
                        status.settings.push(line);
                    }
                }
            }
            Err(error) => tracing::warn!("{error}"),
        }
        metrics::sending(status.waiting.facts, answered.then(SystemTime::now));
        // What is shown changes by the minute at most, not every few seconds.
        let minute = |it: &LinkStatus| it.last.map(|it| it.timestamp() / 60);
        if status.waiting != before.waiting
            || status.sent != before.sent
            || status.trouble != before.trouble
            || status.settings != before.settings
            || status.refused != before.refused
            || status.sent_as != before.sent_as
            || minute(&status) != minute(&before)
        {
            write_status(&self.state, &status);
            self.show.send_replace(status);
        }
        answered
    }
}

/// How far it is sent. Before identifiers were compared with the home, that is what
/// was known last.
fn far(exchange: &Exchange, before: &LinkStatus, compared: bool) -> i64 {
    if compared {
        exchange.sent()
    } else {
        exchange.sent().max(before.sent)
    }
}

/// As whom the record was sent, once some of it is there.
fn sent_as(exchange: &mut Exchange, before: &LinkStatus, done: bool) -> Option<SentAs> {
    if done || exchange.sent() > 0 {
        Some(SentAs::of(exchange.home().link()))
    } else {
        before.sent_as.clone()
    }
}

/// How long to wait after so many failures in a row. `random`, from 0 to 1, spreads
/// many recorders that lost one home at the same moment.
fn back_off(failed: u32, random: f64) -> Duration {
    let doubled = FIRST_WAIT.saturating_mul(1 << failed.saturating_sub(1).min(10));
    doubled.min(LONGEST_WAIT).mul_f64(0.5 + random)
}

/// How a record stood with its home when that was written last, for whoever asks while
/// the home is away. Nothing is resumed from it.
#[must_use]
pub fn read_status(record: &Path) -> Option<LinkStatus> {
    let text = std::fs::read_to_string(link_state(record)).ok()?;
    serde_json::from_str(&text).ok()
}

fn write_status(path: &Path, status: &LinkStatus) {
    let text = serde_json::to_string(status).unwrap_or_default();
    if let Err(error) = files::replace(path, &text) {
        tracing::warn!("{}: {error}", path.display());
    }
}

/// One exchange by hand: what was moved, or what went wrong, and how it stands then.
/// `relinked` says that the record is another recorder's from now on.
///
/// # Errors
/// [`SyncError::Store`] when the record can't be read, and [`SyncError::Setup`] when it was
/// sent as another recorder before.
pub fn send_once(
    exchange: &mut Exchange,
    store: &mut Store,
    record: &Path,
    relinked: bool,
) -> Result<(Result<super::Moved, SyncError>, LinkStatus), SyncError> {
    let before = read_status(record).unwrap_or_default();
    if !relinked {
        before.is_the_same(exchange.home().link())?;
    }
    let moved = exchange.run(store);
    let sent = far(exchange, &before, moved.is_ok());
    let status = LinkStatus {
        waiting: store.waiting(sent)?,
        sent,
        last: match &moved {
            Ok(_) => Some(chrono::Local::now().fixed_offset()),
            Err(_) => before.last,
        },
        sent_as: sent_as(exchange, &before, moved.is_ok()),
        refused: exchange.refused().count(),
        ..LinkStatus::default()
    }
    .after(&moved);
    write_status(&link_state(record), &status);
    Ok((moved, status))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_up_to_a_longest_and_are_spread() {
        let seconds = |failed, random| back_off(failed, random).as_secs_f64();
        assert!((seconds(1, 0.5) - 2.0).abs() < 1e-9);
        assert!((seconds(2, 0.5) - 4.0).abs() < 1e-9);
        assert!((seconds(4, 0.5) - 16.0).abs() < 1e-9);
        assert!((seconds(40, 0.5) - 300.0).abs() < 1e-9);
        assert!((seconds(4, 0.0) - 8.0).abs() < 1e-9);
        assert!((seconds(4, 1.0) - 24.0).abs() < 1e-9);
    }

    #[test]
    fn the_line_says_what_waits_and_when_it_was_sent_last() {
        let at = Time::parse_from_rfc3339("2026-03-02T14:02:30-05:00").unwrap();
        let mut status = LinkStatus {
            waiting: Waiting {
                facts: 40,
                readings: 12,
            },
            last: Some(at),
            ..LinkStatus::default()
        };
        let today = at.date_naive();
        let line = "12 readings not at the station yet, last sent 14:02";
        assert_eq!(status.line(today), line);
        status.waiting = Waiting::default();
        status.refused = 2;
        let line = "All is at the station, last sent 14:02; 2 refused, see the log";
        assert_eq!(status.line(today), line);
        let why = "nothing answers at desk.lan:5432. Is it running?".to_owned();
        let mut status = status.after::<()>(&Err(SyncError::Unreachable(why)));
        let line = "All is at the station, last sent 14:02; 2 refused; the home can't be reached";
        assert_eq!(status.brief(today), line);
        status.waiting.facts = 1;
        (status.refused, status.last) = (0, None);
        let status = status.after::<()>(&Err(SyncError::Database("no room: ask".to_owned())));
        let line = "No reading, but 1 other entry not at the station yet, nothing sent so far; ";
        let why = "the home's database says: no room: ask";
        assert_eq!(status.line(today), format!("{line}{why}"));
        let why = "something is wrong at the home's database";
        assert_eq!(status.brief(today), format!("{line}{why}"));
        assert_eq!(status.after(&Ok(())).trouble, None);
    }
}
