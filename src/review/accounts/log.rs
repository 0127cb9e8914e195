//! What happened at the door: who signed in, who was refused what, who made
//! whose account. Never what was read there.

use rusqlite::params;

use super::{AccountError, Accounts};
use crate::facts::Time;

/// So many lines of wrong tries are kept: anyone who can reach the page can make
/// them. All other lines stay.
const MOST_WRONG: u32 = 5_000;
/// The file is looked through for them at one line in so many.
const SELDOM: i64 = 64;

/// One line of the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogLine {
    /// When, as written.
    pub at: String,
    /// The sign-in name.
    pub who: String,
    /// What happened.
    pub what: String,
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

    /// Adds a line of a wrong try, of which only the last are kept.
    pub(super) fn log_wrong(&self, at: Time, who: &str, what: &str) {
        const OLDER: &str = "
            WITH wrong AS (SELECT seq FROM log
                WHERE what = 'wrong name or password' OR what GLOB 'locked for *')
            DELETE FROM log WHERE seq IN (SELECT seq FROM wrong ORDER BY seq DESC LIMIT -1 OFFSET ?)";
        self.log(at, who, what);
        if self.connection.last_insert_rowid() % SELDOM == 0
            && let Err(error) = self.connection.execute(OLDER, [MOST_WRONG])
        {
            tracing::error!("the log of the accounts can't be shortened: {error}");
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
        Ok(())
    }

    /// The last lines, newest first.
    ///
    /// # Errors
    /// [`AccountError::Broken`].
    pub fn log_lines(&self, most: u32) -> Result<Vec<LogLine>, AccountError> {
        let sql = "SELECT at, who, what FROM log ORDER BY seq DESC LIMIT ?";
        let mut select = self.connection.prepare_cached(sql)?;
        let lines = select.query_map([most], |row| {
            Ok(LogLine {
                at: row.get(0)?,
                who: row.get(1)?,
                what: row.get(2)?,
            })
        })?;
        Ok(lines.collect::<Result<_, _>>()?)
    }
}
