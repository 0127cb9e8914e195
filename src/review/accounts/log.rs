//! What happened at the door: who signed in, who was refused what, who made
//! whose account. Never what was read there.

use std::collections::HashMap;

use rusqlite::params;

use super::{AccountError, Accounts, Role};
use crate::facts::Time;

/// So many lines of wrong tries are kept: anyone who can reach the page can make
/// them.
const MOST_WRONG: u32 = 5_000;
/// So many lines of what someone was refused are kept, of each: whoever is signed in can
/// make them, and pushes out nothing but their own. All other lines stay.
const MOST_REFUSED: u32 = 1_000;
/// The file is looked through for both at one line in so many, whatever that says: nobody
/// can see to it that it is never one of a kind.
const SELDOM: i64 = 64;
/// How much of what was refused is written: an address can be as long as a page.
const LONGEST_REFUSED: usize = 200;

/// Lines on a page.
const PAGE: usize = 100;
/// So many lines are looked through for one page, whatever falls together on it.
const MOST_READ: u32 = 20_000;

/// One line of the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogLine {
    /// When, as written; the last time, where there were several.
    pub at: String,
    /// The sign-in name.
    pub who: String,
    /// What happened.
    pub what: String,
    /// How often, and since when: the same refusal is one line of a page.
    pub times: u32,
    /// The first of those times.
    pub since: String,
}

impl LogLine {
    fn of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Self> {
        let at: String = row.get(0)?;
        Ok(Self {
            since: at.clone(),
            at,
            who: row.get(1)?,
            what: row.get(2)?,
            times: 1,
        })
    }

    /// Whether it says that someone was refused: whoever is may try again as often as
    /// they like, and must not thereby push all else out of sight.
    fn is_refusal(&self) -> bool {
        let begins = |it| self.what.starts_with(it);
        begins("refused (") || begins("locked for ") || self.what == "wrong name or password"
    }
}

/// A page of the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogPage {
    /// Its lines, newest first.
    pub lines: Vec<LogLine>,
    /// Where the next page begins, if there is one.
    pub older: Option<i64>,
}

impl Accounts {
    /// Adds a line. A log that cannot be written does not stop the work; the
    /// program's own log says so, and not what it would have said: this one is
    /// encrypted with the accounts, and that one is not.
    pub fn log(&self, at: Time, who: &str, what: &str) {
        if let Err(error) = self.must_log(at, who, what) {
            tracing::error!("the log of the accounts can't be written: {error}");
        }
    }

    /// Adds a line that someone was refused something.
    pub fn log_refused(&self, at: Time, who: &str, role: Role, what: &str) {
        let mut line = format!("refused ({}): ", role.name());
        line.extend(what.chars().take(LONGEST_REFUSED));
        if what.chars().count() > LONGEST_REFUSED {
            line.push('\u{2026}');
        }
        self.log(at, who, &line);
    }

    /// Deletes what anyone can make more of than the file has room for, but the last.
    fn shorten(&self) {
        const WRONG: &str = "
            WITH wrong AS (SELECT seq FROM log
                WHERE what = 'wrong name or password' OR what GLOB 'locked for *')
            DELETE FROM log WHERE seq IN (SELECT seq FROM wrong ORDER BY seq DESC LIMIT -1 OFFSET ?)";
        const REFUSED: &str = "
            WITH refused AS (SELECT seq, row_number() OVER (PARTITION BY who ORDER BY seq DESC) AS nth
                FROM log WHERE what GLOB 'refused (*')
            DELETE FROM log WHERE seq IN (SELECT seq FROM refused WHERE nth > ?)";
        for (older, most) in [(WRONG, MOST_WRONG), (REFUSED, MOST_REFUSED)] {
            if let Err(error) = self.connection.execute(older, [most]) {
                tracing::error!("the log of the accounts can't be shortened: {error}");
            }
        }
    }

    /// Adds a line without which what it tells of may not happen.
    ///
    /// # Errors
    /// [`AccountError::Broken`] when it can't be written.
    pub fn must_log(&self, at: Time, who: &str, what: &str) -> Result<(), AccountError> {
        let sql = "INSERT INTO log (at, who, what) VALUES (?, ?, ?)";
        let at = at.format("%Y-%m-%d %H:%M:%S").to_string();
        self.connection.execute(sql, params![at, who, what])?;
        if self.connection.last_insert_rowid() % SELDOM == 0 {
            self.shorten();
        }
        Ok(())
    }

    /// The last lines, newest first.
    ///
    /// # Errors
    /// [`AccountError::Broken`].
    pub fn log_lines(&self, most: u32) -> Result<Vec<LogLine>, AccountError> {
        let sql = "SELECT at, who, what FROM log ORDER BY seq DESC LIMIT ?";
        let mut select = self.connection.prepare_cached(sql)?;
        let lines = select.query_map([most], LogLine::of)?;
        Ok(lines.collect::<Result<_, _>>()?)
    }

    /// A page of lines, newest first: the newest, or those older than the page that
    /// named this place. The same refusal of the same person is one line of it.
    ///
    /// # Errors
    /// [`AccountError::Broken`].
    pub fn log_page(&self, before: Option<i64>) -> Result<LogPage, AccountError> {
        let sql = "SELECT at, who, what, seq FROM log WHERE seq < ? ORDER BY seq DESC LIMIT ?";
        let mut select = self.connection.prepare_cached(sql)?;
        let mut rows = select.query(params![before.unwrap_or(i64::MAX), MOST_READ + 1])?;
        let (mut lines, mut refusals) = (Vec::<LogLine>::new(), HashMap::new());
        let (mut read, mut last) = (0, None);
        while let Some(row) = rows.next()? {
            let line = LogLine::of(row)?;
            let same = line
                .is_refusal()
                .then(|| (line.who.clone(), line.what.clone()));
            let known = same.as_ref().and_then(|it| refusals.get(it).copied());
            if read == MOST_READ || (known.is_none() && lines.len() == PAGE) {
                return Ok(LogPage { lines, older: last });
            }
            (read, last) = (read + 1, Some(row.get(3)?));
            if let Some(at) = known {
                let first: &mut LogLine = &mut lines[at];
                (first.times, first.since) = (first.times + 1, line.at);
                continue;
            }
            refusals.extend(same.map(|it| (it, lines.len())));
            lines.push(line);
        }
        Ok(LogPage { lines, older: None })
    }
}
