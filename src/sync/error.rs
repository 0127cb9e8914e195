//! What can be wrong between a recorder or a station and its home, in words that
//! help. None of them holds a password or what a fact says.

use std::error::Error as _;
use std::io::ErrorKind;
use std::path::PathBuf;

use postgres::error::{DbError, SqlState};
use serde::{Deserialize, Serialize};
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
    /// What whoever installs has given is wrong, or is not enough.
    #[error("{0}")]
    Setup(String),
    /// Anything else the database says.
    #[error("the home's database says: {0}")]
    Database(String),
    /// The record on this machine.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl SyncError {
    /// What an aide needs to know of it, who mends no network.
    #[must_use]
    pub const fn trouble(&self) -> Trouble {
        match self {
            Self::Unreachable(_) => Trouble::Away,
            Self::NotTheHome(_) => Trouble::NotTheHome,
            Self::CutOff(_) => Trouble::CutOff,
            Self::Link { .. } | Self::Setup(_) => Trouble::Setup,
            Self::Refused { .. } | Self::Database(_) => Trouble::Database,
            Self::Store(_) => Trouble::Record,
        }
    }
}

/// What keeps a recorder from its home, in kind.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Trouble {
    /// The home is not reached.
    #[default]
    Away,
    /// Who answers may not be the home.
    NotTheHome,
    /// The home takes nothing from this recorder.
    CutOff,
    /// Something was set up wrongly.
    Setup,
    /// The home's database.
    Database,
    /// The record on this machine.
    Record,
}

impl Trouble {
    /// In words, for an aide.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Away => "the home can't be reached",
            Self::NotTheHome => "not sent, for what answers is not sure to be the home",
            Self::CutOff => "the home refuses this recorder",
            Self::Setup => "the link to the home is not set up right",
            Self::Database => "something is wrong at the home's database",
            Self::Record => "something is wrong with the record on this machine",
        }
    }
}

/// Who is to be reached, and where it is written.
#[derive(Debug)]
pub(super) struct Sought {
    /// Host and port.
    pub(super) place: String,
    pub(super) database: String,
    pub(super) user: String,
    /// Whether a member signs on, with its link file; else whoever installs, by what
    /// the environment says.
    pub(super) by_link: bool,
}

impl Sought {
    const fn written_in(&self) -> &'static str {
        if self.by_link {
            "the link file"
        } else {
            "PGHOST and PGPORT"
        }
    }

    const fn authority(&self) -> &'static str {
        if self.by_link {
            "the one in the link file"
        } else {
            "the one that --ca or PGSSLROOTCERT names"
        }
    }

    /// What went wrong while signing on, in words.
    pub(super) fn failed(&self, error: postgres::Error) -> SyncError {
        if let Some(said) = error.as_db_error() {
            return self.refused(said);
        }
        let text = whole(&error);
        let (place, written_in) = (&self.place, self.written_in());
        let has = |it: &str| text.contains(it);
        let why = match io_kind(&error) {
            _ if has("invalid peer certificate") => return self.certificate(&text),
            Some(ErrorKind::ConnectionRefused) => format!(
                "nothing answers at {place}. Is PostgreSQL running there, on that port, and \
                 listening to the network? The place is from {written_in}"
            ),
            Some(ErrorKind::NotFound | ErrorKind::PermissionDenied) => format!(
                "there is no server's socket at {place} that may be used. Is PostgreSQL running \
                 on this machine? The place is from {written_in}"
            ),
            Some(ErrorKind::TimedOut) => format!(
                "{place} does not answer in time. Is the machine on, and the network whole? The \
                 place is from {written_in}"
            ),
            _ if has("lookup address") || has("resolve") => format!(
                "nobody here knows where {place} is: look at the name, which is from \
                 {written_in}, and at this machine's network"
            ),
            _ => return error.into(),
        };
        SyncError::Unreachable(why)
    }

    fn certificate(&self, text: &str) -> SyncError {
        let (place, authority) = (&self.place, self.authority());
        let has = |it: &str| text.contains(it);
        let why = if has("expired") || has("Expired") {
            format!(
                "the certificate of {place} has expired (or this machine's clock is wrong): make \
                 a new one for the server from the same authority"
            )
        } else if has("not valid for") || has("NotValidForName") {
            format!(
                "the certificate of {place} is not for that name: enrol with the name that is in \
                 the certificate, or make one for this name"
            )
        } else if has("UnknownIssuer") || has("BadSignature") {
            format!("the certificate of {place} is from another authority than {authority}")
        } else {
            format!("the certificate of {place} can't be believed: {text}")
        };
        SyncError::NotTheHome(why)
    }

    fn refused(&self, said: &DbError) -> SyncError {
        let (place, database, user) = (&self.place, &self.database, &self.user);
        let message = said.message();
        match said.code().code() {
            "3D000" => SyncError::Setup(format!(
                "there is no database called \"{database}\" at {place}. {}",
                if self.by_link {
                    "The link file names it: was the database moved, or put back elsewhere?"
                } else {
                    "Make it with createdb, or say with PGDATABASE what it is called"
                }
            )),
            // What the server's file says is no revocation.
            "28000" if message.contains("pg_hba.conf") => SyncError::Unreachable(format!(
                "{place} lets nobody in from here ({message}): see pg_hba.conf in docs/home.md"
            )),
            "28P01" | "28000" if !self.by_link => SyncError::Setup(format!(
                "{place} does not let {user} in ({message}): look at PGUSER, and at PGPASSWORD or \
                 the file of passwords"
            )),
            "42501" if self.by_link => SyncError::Setup(format!(
                "this link is not of the database \"{database}\" at {place}: {message}"
            )),
            _ => of_database(said),
        }
    }
}

/// What is wrong with beginning a home.
pub(super) fn beginning(error: postgres::Error) -> SyncError {
    match error.as_db_error() {
        Some(said) if *said.code() == SqlState::INSUFFICIENT_PRIVILEGE => {
            SyncError::Setup(format!(
                "PGUSER has too few rights to begin a home ({}): sign on as the database's \
                 superuser, or as its owner with the right to make roles",
                said.message()
            ))
        }
        _ => error.into(),
    }
}

fn io_kind(error: &postgres::Error) -> Option<ErrorKind> {
    let mut cause = error.source();
    while let Some(it) = cause {
        if let Some(it) = it.downcast_ref::<std::io::Error>() {
            return Some(it.kind());
        }
        cause = it.source();
    }
    None
}

fn whole(error: &postgres::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(it) = cause {
        text = format!("{text}: {it}");
        cause = it.source();
    }
    text
}

impl From<postgres::Error> for SyncError {
    fn from(error: postgres::Error) -> Self {
        if let Some(said) = error.as_db_error() {
            return of_database(said);
        }
        let text = whole(&error);
        match error.to_string().as_str() {
            "error performing TLS handshake" if text.contains("ProtocolVersion") => {
                Self::NotTheHome(
                    "it speaks no TLS of 1.2 or newer; look at ssl_min_protocol_version and \
                     ssl_max_protocol_version in its configuration"
                        .to_owned(),
                )
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
        _ if *code == SqlState::INVALID_PASSWORD => {
            SyncError::CutOff("its password is not the right one".to_owned())
        }
        _ if *code == SqlState::INVALID_AUTHORIZATION_SPECIFICATION => {
            SyncError::CutOff("it was cut off, or never enrolled".to_owned())
        }
        // No schema, table or function of ours.
        "3F000" | "42P01" | "42883" => SyncError::Setup(format!(
            "the database has not what this Sayback needs ({why}): whoever installed it runs \
             `sayback home init` on it, again where it is older"
        )),
        "25006" => SyncError::Unreachable(format!(
            "it takes nothing new just now ({why}): is this a copy of the server, or its disk full?"
        )),
        _ if *code == SqlState::INSUFFICIENT_PRIVILEGE => SyncError::Refused { id, why },
        // Stopping, starting, too many connections, ended by someone.
        it if it.starts_with("57P") || it.starts_with("53") || it.starts_with("08") => {
            SyncError::Unreachable(why)
        }
        _ => SyncError::Database(why),
    }
}
