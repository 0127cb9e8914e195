//! A recorder that keeps in touch with its home, on a thread of its own: the round
//! never waits for it.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread::JoinHandle;
use std::time::{Duration, SystemTime};

use tokio::sync::watch;

use super::files::Files;
use super::status::{LinkStatus, SentAs, write_status};
use super::{Exchange, Link, SyncError};
use crate::facts::Time;
use crate::metrics;
use crate::store::{Key, Store, link_state};

/// How often there is a look at what is new, while the home answers.
const EVERY: Duration = Duration::from_secs(3);
/// The first wait after the home did not answer; each is twice the one before.
const FIRST_WAIT: Duration = Duration::from_secs(2);
/// The longest.
const LONGEST_WAIT: Duration = Duration::from_secs(300);
/// At the end of a round what is left is sent, if that is soon done.
const AT_THE_END: Duration = Duration::from_secs(5);

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
        let before = LinkStatus::of(&store)?;
        let mut exchange = Exchange::new(link);
        if before.sent_as.is_some() {
            exchange.is_known();
        }
        let (show, status) = watch::channel(LinkStatus {
            last: before.last,
            sent: before.sent,
            sent_as: before.sent_as,
            sent_link: before.sent_link,
            another: before.another,
            ..LinkStatus::default()
        });
        let keeping = Keeping {
            exchange,
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
            sent_link: self.store.link_at(sent).unwrap_or_default(),
            ..before.clone()
        }
        .after(&done);
        status.note_another(self.exchange.saw_another(), now());
        let answered = done.is_ok();
        match done {
            Ok(settings) => {
                status.last = Some(now());
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
            || status.another != before.another
            || minute(&status) != minute(&before)
        {
            write_status(&self.state, &status);
            self.show.send_replace(status);
        }
        answered
    }
}

fn now() -> Time {
    chrono::Local::now().fixed_offset()
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

/// One exchange by hand: what was moved, or what went wrong, and how it stands then.
/// `relinked` says that the record is another recorder's from now on.
///
/// # Errors
/// [`SyncError::Store`] when the record can't be read, and [`SyncError::Setup`] when it was
/// sent as another recorder before.
pub fn send_once(
    exchange: &mut Exchange,
    store: &mut Store,
    relinked: bool,
) -> Result<(Result<super::Moved, SyncError>, LinkStatus), SyncError> {
    let before = LinkStatus::of(store)?;
    if !relinked {
        before.is_the_same(exchange.home().link())?;
    }
    if relinked || before.sent_as.is_some() {
        exchange.is_known();
    }
    let moved = exchange.run(store);
    let sent = far(exchange, &before, moved.is_ok());
    let mut status = LinkStatus {
        waiting: store.waiting(sent)?,
        sent,
        last: match &moved {
            Ok(_) => Some(now()),
            Err(_) => before.last,
        },
        sent_link: store.link_at(sent)?,
        another: before.another.filter(|_| !relinked),
        sent_as: sent_as(exchange, &before, moved.is_ok()),
        refused: exchange.refused().count(),
        ..LinkStatus::default()
    }
    .after(&moved);
    status.note_another(exchange.saw_another() && !relinked, now());
    write_status(&link_state(store.path()), &status);
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
}
