//! What the small databases beside a record have in common: accounts, PINs, sound.

use std::io::ErrorKind;
use std::path::Path;

use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};

use super::connect::{connect, private_file};
use super::key::Key;

/// A kind of small database.
pub(crate) struct OwnFile {
    /// Marks the file as one of these (SQLite's `application_id`).
    pub application: i32,
    /// The version of its tables.
    pub form: i32,
    /// Makes them.
    pub tables: &'static [&'static str],
}

/// What an open database is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Found {
    /// It was empty: its tables were made.
    Nothing,
    /// One of these, of this form.
    Own,
    /// One of these, of another form.
    Newer,
    /// Something else.
    Foreign,
}

impl OwnFile {
    /// Opens a file, or makes one that only its owner can read.
    pub(crate) fn open(path: &Path, key: &Key) -> Result<Connection, String> {
        match private_file(path) {
            Err(error) if error.kind() != ErrorKind::AlreadyExists => return Err(error.to_string()),
            _ => {}
        }
        let connected = connect(path, OpenFlags::default(), key);
        connected
            .map(|it| it.connection)
            .map_err(|it| it.to_string())
    }

    /// Looks what is there, and makes the tables where nothing is.
    pub(crate) fn prepare(&self, connection: &Connection) -> rusqlite::Result<Found> {
        let Self {
            application, form, ..
        } = self;
        let empty = || {
            let empty = "SELECT count(*) = 0 FROM sqlite_schema";
            connection.query_row(empty, [], |row| row.get::<_, bool>(0))
        };
        if empty()? {
            // Another process may be making the tables: only one of them does.
            let making = Transaction::new_unchecked(connection, TransactionBehavior::Immediate)?;
            if empty()? {
                making.execute_batch(&format!(
                    "{} PRAGMA application_id = {application}; PRAGMA user_version = {form};",
                    self.tables.concat()
                ))?;
                making.commit()?;
                return Ok(Found::Nothing);
            }
        }
        let pragma = |name| connection.pragma_query_value(None, name, |row| row.get::<_, i32>(0));
        Ok(match (pragma("application_id")?, pragma("user_version")?) {
            (own, _) if own != *application => Found::Foreign,
            (_, found) if found != *form => Found::Newer,
            _ => Found::Own,
        })
    }
}
