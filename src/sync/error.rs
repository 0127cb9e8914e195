//! What can be wrong between a recorder or a station and its home, in words that
//! help. None of them holds a password or what a fact says.

use std::error::Error as _;
use std::path::PathBuf;

use postgres::error::{DbError, SqlState};
use thiserror::Error;
use uuid::Uuid;

use crate::store::StoreError;

/// What went wrong. Nothing stored is lost or changed by any of these.
#[derive(Debug, Error)]
pub enum SyncError {
    /// A link file that is missing, open to others, or not one.
    #[error("{}: {problem}", path.display())]
    Link {
        /// The file.
        path: PathBuf,
        /// What is wrong, and what to do.
        problem: String,
    },
    /// The home can't be reached just now; it is tried again.
    #[error("the home can't be reached: {0}")]
    Unreachable(String),
    /// What answers is not the home's own server, or talks in plain text.
    #[error("not sent, for what answers is not sure to be the home: {0}")]
    NotTheHome(String),
    /// The link was cut off, or its password is another.
    #[error("the home refuses this link: {0}")]
    CutOff(String),
    /// The home refuses something by its rules.
    #[error("the home refuses it: {why}")]
    Refused {
        /// The fact, where it is about one.
        id: Option<Uuid>,
        /// Why.
        why: String,
    },
    /// Anything else the database says.
    #[error("the home's database says: {0}")]
    Database(String),
    /// The record on this machine.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl SyncError {
    /// Whether waiting may help.
    #[must_use]
    pub const fn passes(&self) -> bool {
        matches!(self, Self::Unreachable(_) | Self::Database(_))
    }
}

impl From<postgres::Error> for SyncError {
    fn from(error: postgres::Error) -> Self {
        if let Some(said) = error.as_db_error() {
            return of_database(said);
        }
        let mut text = error.to_string();
        let mut cause = error.source();
        while let Some(it) = cause {
            text = format!("{text}: {it}");
            cause = it.source();
        }
        match error.to_string().as_str() {
            "error performing TLS handshake" if text.contains("certificate") => {
                Self::NotTheHome(format!(
                    "{text}. The certificate must be one of the authority in the link file, for \
                     the host that is in it"
                ))
            }
            "error performing TLS handshake" if text.contains("does not support TLS") => {
                Self::NotTheHome(
                    "it offers no TLS, and nothing goes out in plain text; turn on ssl in its \
                     configuration"
                        .to_owned(),
                )
            }
            "authentication error" => Self::NotTheHome(text),
            "error serializing parameter" | "error deserializing column" | "invalid column" => {
                Self::Database(text)
            }
            _ => Self::Unreachable(text),
        }
    }
}

fn of_database(said: &DbError) -> SyncError {
    // The message alone: details can hold what a row holds.
    let why = said.message().to_owned();
    let id = said.detail().and_then(|it| it.parse().ok());
    let code = said.code();
    match code.code() {
        "SB001" => SyncError::CutOff(why),
        it if it.starts_with("SB") => SyncError::Refused { id, why },
        _ if *code == SqlState::INVALID_PASSWORD
            || *code == SqlState::INVALID_AUTHORIZATION_SPECIFICATION =>
        {
            SyncError::CutOff(why)
        }
        _ if *code == SqlState::INSUFFICIENT_PRIVILEGE => SyncError::Refused { id, why },
        // Stopping, starting, too many connections, ended by someone.
        it if it.starts_with("57P") || it.starts_with("53") || it.starts_with("08") => {
            SyncError::Unreachable(why)
        }
        _ => SyncError::Database(why),
    }
}
