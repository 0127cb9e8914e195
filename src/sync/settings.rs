//! The home's roster and limits: every version stays, the newest is in force.

use chrono::{DateTime, Utc};

use super::{HomeRecord, SyncError};

/// Which setting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Setting {
    /// The home's file: residents, nurses and aides.
    Roster,
    /// The home's own limits.
    Limits,
}

impl Setting {
    /// Its name in the database.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Roster => "roster",
            Self::Limits => "limits",
        }
    }
}

/// A version of a setting.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Version {
    /// Its number, from 1.
    pub version: i32,
    /// The text of the file.
    pub text: String,
    /// Who put it in force.
    pub by: String,
    /// When.
    pub at: DateTime<Utc>,
}

/// What came of putting a setting in force.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Replaced {
    /// The number it got.
    pub version: i32,
    /// What was in force before: its number, whose it was, and since when.
    pub before: Option<(i32, String, DateTime<Utc>)>,
    /// Whether the new one was made without having seen that one.
    pub unseen: bool,
}

impl HomeRecord {
    /// The version in force; none where none was ever set.
    ///
    /// # Errors
    /// [`SyncError`].
    pub fn setting(&mut self, setting: Setting) -> Result<Option<Version>, SyncError> {
        const NEWEST: &str = "SELECT version, text, by, at FROM sayback.setting \
            WHERE home = $1 AND name = $2 ORDER BY version DESC LIMIT 1";
        let row = self
            .twice(|client, link| Ok(client.query_opt(NEWEST, &[&link.home, &setting.name()])?))?;
        Ok(row.map(|row| Version {
            version: row.get(0),
            text: row.get(1),
            by: row.get(2),
            at: row.get(3),
        }))
    }

    /// Puts a setting in force. `based_on` is the version that it was made from: one
    /// that was set meanwhile is replaced all the same, and named. Only a keeper or
    /// a station may.
    ///
    /// # Errors
    /// [`SyncError`]: nothing is changed.
    pub fn set(
        &mut self,
        setting: Setting,
        text: &str,
        by: &str,
        based_on: Option<i32>,
    ) -> Result<Replaced, SyncError> {
        const SET: &str = "SELECT version, replaced, replaced_by, replaced_at, unseen \
            FROM sayback.set_setting($1, $2, $3, $4)";
        // Not twice by itself: it would replace its own.
        let client = self.client()?;
        let row = client.query_one(SET, &[&setting.name(), &text, &by, &based_on])?;
        let replaced: Option<i32> = row.get(1);
        Ok(Replaced {
            version: row.get(0),
            before: replaced.map(|it| (it, row.get(2), row.get(3))),
            unseen: row.get(4),
        })
    }
}
