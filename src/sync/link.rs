//! The file that links a recorder or a station to its home: where the home's
//! database is, how to sign on, and whose certificates to believe.

use std::fmt;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::SyncError;
use crate::store::{open_to_others, private_file};

/// What a member of a home may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum MemberKind {
    /// Sends what aides record; reads its home.
    Recorder,
    /// The nurse's station: sends everything; reads its home.
    Station,
    /// Enrols and cuts off members, and puts the roster and limits in force; reads
    /// no facts.
    Keeper,
}

impl MemberKind {
    /// Its name in the database.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Recorder => "recorder",
            Self::Station => "station",
            Self::Keeper => "keeper",
        }
    }
}

/// A password: not shown, not logged.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Password(pub String);

impl fmt::Debug for Password {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("(a password)")
    }
}

/// How to reach a home, as one of its members.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Link {
    /// The home's identifier in the database.
    pub home: String,
    /// What the member may do.
    pub kind: MemberKind,
    /// What people call it.
    pub label: String,
    /// Name or address of the database's machine, as in its certificate.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// The database.
    pub database: String,
    /// The login.
    pub role: String,
    /// Its password.
    pub password: Password,
    /// Certificates of the authority that the home's certificate is from, PEM.
    pub ca: String,
}

impl Link {
    /// Reads a link file. It must be its owner's alone.
    ///
    /// # Errors
    /// [`SyncError::Link`].
    pub fn read(path: &Path) -> Result<Self, SyncError> {
        let wrong = |problem: String| SyncError::Link {
            path: path.to_owned(),
            problem,
        };
        let text = read_private(path).map_err(wrong)?;
        // What TOML says of a mistake can quote the line, and so the password.
        toml::from_str(&text).map_err(|error: toml::de::Error| {
            wrong(format!(
                "it is no link file ({}); make one with `sayback home enrol`",
                error.message()
            ))
        })
    }

    /// Writes a link file that is its owner's alone. Nothing is written over.
    ///
    /// # Errors
    /// [`SyncError::Link`].
    pub fn write(&self, path: &Path) -> Result<(), SyncError> {
        let wrong = |problem: String| SyncError::Link {
            path: path.to_owned(),
            problem,
        };
        let text = toml::to_string(self).map_err(|error| wrong(error.to_string()))?;
        let text = format!(
            "# The link of this {} to its home. Whoever has this file can sign on as it:\n\
             # keep it, and take its right away with `sayback home revoke` if it is lost.\n{text}",
            self.kind.name()
        );
        private_file(path)
            .and_then(|()| std::fs::write(path, text))
            .map_err(|error| wrong(error.to_string()))
    }
}

/// The text of a file that only its owner may read.
pub(super) fn read_private(path: &Path) -> Result<String, String> {
    let text = std::fs::read_to_string(path).map_err(|error| error.to_string())?;
    if open_to_others(path).map_err(|error| error.to_string())? {
        return Err(format!(
            "others can read it, and it holds a password; run: chmod 600 {}",
            path.display()
        ));
    }
    Ok(text)
}
