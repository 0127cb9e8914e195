//! The connection of whoever installs, from the environment that `PostgreSQL`'s own
//! programs read: no password is in an argument.

use std::path::{Path, PathBuf};

use postgres::{Client, Config};

use super::link::read_private;
use super::{SyncError, connect};

/// Where Debian's servers have their sockets.
const SOCKETS: &str = "/var/run/postgresql";

/// What the environment says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Environment {
    /// `PGHOST`: a name, or the folder of a socket on this machine.
    pub host: String,
    /// `PGPORT`.
    pub port: u16,
    /// `PGDATABASE`.
    pub database: String,
    /// `PGUSER`.
    pub user: String,
    /// `PGSSLROOTCERT`: a file.
    pub ca: Option<PathBuf>,
}

impl Environment {
    /// Reads it.
    ///
    /// # Errors
    /// [`SyncError::Setup`] says which variable is wrong.
    pub fn read() -> Result<Self, SyncError> {
        let var = |name: &str| std::env::var(name).ok().filter(|it| !it.is_empty());
        let port = var("PGPORT").map_or(Ok(5432), |it| it.parse());
        let user = var("PGUSER").or_else(|| var("USER"));
        Ok(Self {
            host: var("PGHOST").unwrap_or_else(|| SOCKETS.to_owned()),
            port: port.map_err(|_| SyncError::Setup("PGPORT is not a port's number".to_owned()))?,
            database: var("PGDATABASE").unwrap_or_else(|| "sayback".to_owned()),
            user: user.ok_or_else(|| {
                SyncError::Setup("PGUSER is not set: say who signs on".to_owned())
            })?,
            ca: var("PGSSLROOTCERT").map(PathBuf::from),
        })
    }

    /// Whether it is a socket on this machine.
    #[must_use]
    pub fn is_socket(&self) -> bool {
        self.host.starts_with('/')
    }

    /// Connects: over TLS, or through a socket on this machine.
    ///
    /// # Errors
    /// [`SyncError`].
    pub fn connect(&self) -> Result<Client, SyncError> {
        let mut config = Config::new();
        config
            .port(self.port)
            .dbname(&self.database)
            .user(&self.user);
        if let Some(password) = self.password()? {
            config.password(password);
        }
        if self.is_socket() {
            config.host_path(&self.host);
            return connect::on_this_machine(config);
        }
        config.host(&self.host);
        let Some(ca) = &self.ca else {
            let why =
                "say with --ca, or PGSSLROOTCERT, which authority the server's certificate is from";
            return Err(SyncError::Setup(why.to_owned()));
        };
        let ca = std::fs::read(ca).map_err(|error| SyncError::Link {
            path: ca.clone(),
            problem: error.to_string(),
        })?;
        connect::over_tls(config, &ca, false)
    }

    fn password(&self) -> Result<Option<String>, SyncError> {
        if let Ok(password) = std::env::var("PGPASSWORD") {
            return Ok(Some(password));
        }
        let (path, asked) = match (std::env::var_os("PGPASSFILE"), std::env::var_os("HOME")) {
            (Some(file), _) => (PathBuf::from(file), true),
            (None, Some(home)) => (Path::new(&home).join(".pgpass"), false),
            (None, None) => return Ok(None),
        };
        if !asked && !path.exists() {
            return Ok(None);
        }
        let text = read_private(&path).map_err(|problem| SyncError::Link { path, problem })?;
        Ok(password_in(&text, self))
    }
}

/// The password of the first line that fits: `host:port:database:user:password`,
/// `*` for any, and a backslash before a colon or backslash that belongs to a word.
fn password_in(text: &str, wanted: &Environment) -> Option<String> {
    let host = if wanted.is_socket() {
        "localhost"
    } else {
        &wanted.host
    };
    let port = wanted.port.to_string();
    let wanted = [host, &port, &wanted.database, &wanted.user];
    text.lines()
        .filter(|it| !it.starts_with('#'))
        .find_map(|line| {
            let mut words = vec![String::new()];
            let mut letters = line.chars();
            while let Some(letter) = letters.next() {
                match letter {
                    ':' if words.len() < 5 => words.push(String::new()),
                    '\\' => words.last_mut()?.extend(letters.next()),
                    letter => words.last_mut()?.push(letter),
                }
            }
            let password = (words.len() == 5).then(|| words.pop()).flatten()?;
            let mut both = words.iter().zip(wanted);
            both.all(|(it, wanted)| it == "*" || it == wanted)
                .then_some(password)
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_line_that_fits_has_the_password() {
        let wanted = Environment {
            host: "station.lan".to_owned(),
            port: 5432,
            database: "sayback".to_owned(),
            user: "installer".to_owned(),
            ca: None,
        };
        let text = "# a remark\n\nother:5432:sayback:installer:no\nstation.lan:5433:*:*:no\n\
            station.lan:*:sayback:installer:a\\:b\\\\c:d\n*:*:*:*:last\n";
        assert_eq!(password_in(text, &wanted).unwrap(), "a:b\\c:d");
        let socket = Environment {
            host: "/run/postgresql".to_owned(),
            ..wanted
        };
        assert_eq!(password_in(text, &socket).unwrap(), "last");
        assert_eq!(password_in("a:b\n", &socket), None);
    }
}
