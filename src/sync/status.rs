//! How a recorder stands with its home, in words and in a file beside its record.

use std::path::Path;

use chrono::TimeDelta;
use serde::{Deserialize, Serialize};

use super::{Link, SyncError, Trouble, files};
use crate::facts::Time;
use crate::store::{Store, StoreError, Waiting, link_state};

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
    /// The link in the chain of the entry up to which it is sent: of which record all this
    /// is said. None of an older version.
    #[serde(default)]
    pub sent_link: Option<String>,
    /// When the home had something sent as this recorder that was not in this record.
    #[serde(default)]
    pub another: Option<Time>,
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
    pub(super) fn of(link: &Link) -> Self {
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

/// So long it is said that another machine sent as this one, if it does so no more: until
/// somebody has looked. Common practice, no source.
const SAID_FOR: TimeDelta = TimeDelta::days(7);

impl LinkStatus {
    /// How this record stood when that was written last. What is beside it may be of
    /// another: of the one before it was put back from a backup. Then all of it is taken to
    /// be not sent yet, until it is compared with the home.
    ///
    /// # Errors
    /// [`StoreError::Read`].
    pub fn of(store: &Store) -> Result<Self, StoreError> {
        let mut status = read_status(store.path()).unwrap_or_default();
        let link = store.link_at(status.sent)?;
        let same = match &status.sent_link {
            Some(then) => link.as_ref() == Some(then),
            None => status.sent == 0 || link.is_some(),
        };
        if !same {
            (status.sent, status.sent_link, status.last) = (0, None, None);
        }
        status.waiting = store.waiting(status.sent)?;
        Ok(status)
    }

    /// Takes note of what another machine sent as this recorder, where there was something,
    /// and forgets it in time.
    pub(super) fn note_another(&mut self, seen: bool, now: Time) {
        if seen {
            self.another = Some(now);
        }
        self.another = self.another.filter(|it| now - *it < SAID_FOR);
    }

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
            None if self.sent > 0 || self.sent_as.is_some() => {
                "when it was sent last is not known".to_owned()
            }
            None => "nothing sent so far".to_owned(),
        };
        let mut line = format!("{waiting}, {last}");
        if self.refused > 0 {
            let see = if whole { ", see the log" } else { "" };
            line = format!("{line}; {} refused{see}", self.refused);
        }
        if let Some(at) = self.another {
            let seen = at.format("on %Y-%m-%d at %H:%M");
            line = if whole {
                format!(
                    "{line}; {seen} the home had entries sent with this link file that were not \
                     in this record. They are fetched. Where this record is new or was put back \
                     from a backup, that is all; else another machine has a copy of the link \
                     file: enrol that one under a label of its own"
                )
            } else {
                format!("{line}; another machine may send as this one, tell whoever set it up")
            };
        }
        if let Some(trouble) = &self.trouble {
            let trouble = if whole { trouble } else { self.kind.words() };
            line = format!("{line}; {trouble}");
        }
        line
    }
}

/// How a record stood with its home when that was written last, for whoever asks while
/// the home is away. Nothing is resumed from it.
#[must_use]
pub fn read_status(record: &Path) -> Option<LinkStatus> {
    let text = std::fs::read_to_string(link_state(record)).ok()?;
    serde_json::from_str(&text).ok()
}

pub(super) fn write_status(path: &Path, status: &LinkStatus) {
    let text = serde_json::to_string(status).unwrap_or_default();
    if let Err(error) = files::replace(path, &text) {
        tracing::warn!("{}: {error}", path.display());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
        let mut status = status.after(&Ok(()));
        assert_eq!(status.trouble, None);
        status.note_another(true, at);
        let line = status.line(today);
        assert!(
            line.contains("on 2026-03-02 at 14:02 the home had entries"),
            "{line}"
        );
        let brief = status.brief(today);
        assert!(brief.contains("another machine may send"), "{brief}");
        status.note_another(false, at + TimeDelta::days(6));
        assert!(status.another.is_some());
        status.note_another(false, at + TimeDelta::days(7));
        assert_eq!(status.another, None);
    }
}
