//! Opening a database file, encrypted or not.

use std::fs::File;
use std::io::{ErrorKind, Read as _};
use std::path::Path;
use std::sync::Once;
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OpenFlags};

use super::error::StoreError;
use super::key::{Key, Secret};

/// How long to wait for another process that is writing.
pub(crate) const BUSY: Duration = Duration::from_secs(5);

/// How every SQLite file begins that is not encrypted.
const PLAIN: &[u8; 16] = b"SQLite format 3\0";

/// An open database file.
pub(crate) struct Connected {
    pub connection: Connection,
    /// What it is encrypted with, if it is.
    pub secret: Option<Secret>,
}

/// What a file is, by its beginning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    /// Not there, or nothing in it.
    Empty,
    /// A database that is not encrypted.
    Plain,
    /// Text, so no database.
    Text,
    /// Anything else: an encrypted database looks like noise.
    Noise,
}

/// What a file is, by its beginning.
pub(crate) fn look(path: &Path) -> std::io::Result<Look> {
    let mut start = Vec::new();
    match File::open(path) {
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Look::Empty),
        file => file?.take(64).read_to_end(&mut start)?,
    };
    Ok(match start.as_slice() {
        [] => Look::Empty,
        it if it.starts_with(PLAIN) => Look::Plain,
        it if is_text(it) => Look::Text,
        _ => Look::Noise,
    })
}

fn is_text(start: &[u8]) -> bool {
    let no_text = |it: char| it.is_control() && !it.is_whitespace();
    std::str::from_utf8(start).is_ok_and(|it| !it.contains(no_text))
}

/// Opens a file with whatever of the key opens it; an empty one with what
/// encrypts a new one.
pub(crate) fn connect(path: &Path, flags: OpenFlags, key: &Key) -> Result<Connected, StoreError> {
    let look = look(path).map_err(|error| StoreError::Open {
        path: path.to_owned(),
        problem: error.to_string(),
    })?;
    let open = |secret: Option<Secret>| {
        let connection = open(path, flags, secret.as_ref());
        connection.map(|connection| Connected { connection, secret })
    };
    let failed = |error: rusqlite::Error| StoreError::open(path, &error);
    match look {
        Look::Plain => open(None).map_err(failed),
        Look::Empty => {
            let secret = key.for_new()?;
            // One that was there before may be open to others.
            #[cfg(unix)]
            if path.exists() && flags.contains(OpenFlags::SQLITE_OPEN_READ_WRITE) {
                let owner = std::os::unix::fs::PermissionsExt::from_mode(0o600);
                std::fs::set_permissions(path, owner).map_err(|error| StoreError::Open {
                    path: path.to_owned(),
                    problem: error.to_string(),
                })?;
            }
            open(secret).map_err(failed)
        }
        Look::Text => Err(StoreError::Foreign {
            path: path.to_owned(),
        }),
        Look::Noise => {
            for secret in key.opening()? {
                match open(Some(secret)) {
                    Err(error) if error.sqlite_error_code() == Some(ErrorCode::NotADatabase) => {}
                    done => return done.map_err(failed),
                }
            }
            Err(StoreError::locked(path, key))
        }
    }
}

/// Opens a file with this secret, and reads from it, so that a wrong one shows.
fn open(path: &Path, flags: OpenFlags, secret: Option<&Secret>) -> rusqlite::Result<Connection> {
    make_ready();
    let connection = Connection::open_with_flags(path, flags)?;
    if let Some(secret) = secret {
        unlock(&connection, secret)?;
    }
    connection.busy_timeout(BUSY)?;
    connection.query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(()))?;
    Ok(connection)
}

/// A database that is nowhere but in memory.
pub(crate) fn in_memory() -> rusqlite::Result<Connection> {
    make_ready();
    Connection::open_in_memory()
}

/// The first opening in a process makes the ciphers ready. `SQLite` lets other threads
/// open databases meanwhile, and those are refused any key: so one is opened for all.
fn make_ready() {
    static READY: Once = Once::new();
    READY.call_once(|| drop(Connection::open_in_memory()));
}

/// Gives a connection its key, before anything is read or written through it.
/// What `SQLCipher` would write to standard error on a wrong one is said by us.
pub(crate) fn unlock(connection: &Connection, secret: &Secret) -> rusqlite::Result<()> {
    let key = format!(
        "PRAGMA cipher_log_level = NONE; PRAGMA key = {};",
        secret.sql()
    );
    connection.execute_batch(&key)
}

/// Makes an empty file that only its owner can read.
#[cfg(unix)]
pub(crate) fn private_file(path: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::OpenOptionsExt as _;
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true).mode(0o600);
    options.open(path).map(drop)
}

/// Makes an empty file.
#[cfg(not(unix))]
pub(crate) fn private_file(path: &Path) -> std::io::Result<()> {
    File::create_new(path).map(drop)
}
