//! What happened at the door: who signed in, who was refused what, who made
//! whose account. Never what was read there.

use rusqlite::params;

use super::{AccountError, Accounts};
use crate::facts::Time;

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
