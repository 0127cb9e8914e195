//! What can be wrong with a record, in words that help.

use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;
use thiserror::Error;
use uuid::Uuid;

use super::key::{Key, KeyError};
use super::schema::SCHEMA;

/// What went wrong with the record. Nothing already stored is lost or changed
/// by any of these.
#[derive(Debug, Error)]
pub enum StoreError {
    /// The file or its folder cannot be opened or made.
    #[error("cannot open the record {}: {problem}", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// Why.
        problem: String,
    },
    /// An SQLite file of some other program, or no SQLite file at all.
    #[error("{} is not a Sayback record; give the file of one", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// Written by a newer version.
    #[error(
        "the record {} was written by a newer Sayback (form {found}, this one knows {SCHEMA}); \
         update this one to open it",
        path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its form.
        found: i32,
    },
    /// Nothing that could be tried opens it.
    #[error(
        "{} can't be read with {tried}: it is encrypted with another key, or damaged at its \
         beginning. Give its key with --key-file or SAYBACK_PASSPHRASE, or restore a backup",
        path.display()
    )]
    Locked {
        /// The file.
        path: PathBuf,
        /// What was tried.
        tried: String,
    },
    /// There is no key to try.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// A fact that cannot be read.
    #[error("fact {id} in the record cannot be read: {problem}; the others are not affected")]
    Damaged {
        /// The fact.
        id: String,
        /// Why.
        problem: String,
    },
    /// Facts could not be written.
    #[error("{0}")]
    Write(String),
    /// A fact of the home that can't be stored, however often it is tried. Others
    /// can.
    #[error("fact {id} from the home can't be stored: {problem}")]
    Refused {
        /// The fact.
        id: Uuid,
        /// Why.
        problem: String,
    },
    /// Facts may be written or not: the connection was lost at that moment.
    #[error(
        "the connection was lost while this was being stored ({0}). It may be stored or not: look \
         here when it is back, before you do it again"
    )]
    Unsure(String),
    /// Whoever keeps the record does not let this machine read it any more.
    #[error("{0}")]
    CutOff(String),
    /// The record can't be reached, as was found out before.
    #[error("{0}")]
    Away(String),
    /// Facts could not be read.
    #[error("the record cannot be read: {0}")]
    Read(String),
    /// A copy, restored record or converted record could not be made. What it
    /// was made from is as before.
    #[error("{0}")]
    Copy(String),
}

impl StoreError {
    pub(super) fn read(error: &rusqlite::Error) -> Self {
        Self::Read(plain(error))
    }

    pub(super) fn write(error: &rusqlite::Error) -> Self {
        Self::Write(plain(error))
    }

    pub(super) fn open(path: &Path, error: &rusqlite::Error) -> Self {
        let path = path.to_owned();
        match error.sqlite_error_code() {
            Some(ErrorCode::NotADatabase) => Self::Foreign { path },
            _ => Self::Open {
                path,
                problem: plain(error),
            },
        }
    }

    pub(super) fn locked(path: &Path, key: &Key) -> Self {
        Self::Locked {
            path: path.to_owned(),
            tried: format!("{key:?}"),
        }
    }
}

/// What the database says, in words that help.
pub(super) fn plain(error: &rusqlite::Error) -> String {
    match error.sqlite_error_code() {
        Some(ErrorCode::DiskFull) => "the disk is full; make room and say it again".to_owned(),
        Some(ErrorCode::ReadOnly) => "the record may not be written".to_owned(),
        Some(ErrorCode::DatabaseBusy) => "another program is using the record".to_owned(),
        Some(ErrorCode::CannotOpen) => "the file or its folder can't be opened".to_owned(),
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
            "the file is damaged; keep it as it is, and restore a backup with `sayback restore`"
                .to_owned()
        }
        _ => error.to_string(),
    }
}
