//! Who may sign in, as what. Accounts live in a file of their own beside the
//! record: the record says what happened to residents, and nothing in it ever
//! changes; passwords do.

mod lockout;
mod log;
mod password;

use std::path::Path;

use rusqlite::{Connection, OptionalExtension as _, Transaction, TransactionBehavior, params};
use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::facts::Time;
use crate::residents::Staff;
use crate::store::{Found, Key, OwnFile, in_memory};
use crate::vitals::{LONGEST_TEXT, too_long};

pub use lockout::{FREE_TRIES, LONGEST, lock_after};
pub(crate) use lockout::{TRIES, Tries};
pub use log::{LogLine, LogPage};
pub use password::{SHORTEST, Weak, one_time_code, random_token};
pub(crate) use password::{hash, verify};

const FILE: OwnFile = OwnFile {
    application: 0x5361_7941,
    form: 1,
    tables: &[TABLES, TRIES],
};

/// The sign-in name of the administrator made at the first start.
pub const FIRST: &str = "admin";

/// How long a one-time code given to a new user is good for.
const CODE_DAYS: i64 = 3;

const TABLES: &str = "
    CREATE TABLE users (
        login    TEXT PRIMARY KEY,
        name     TEXT NOT NULL,
        title    TEXT NOT NULL,
        role     TEXT NOT NULL,
        password TEXT NOT NULL,
        once     INTEGER NOT NULL,
        until    INTEGER,
        active   INTEGER NOT NULL DEFAULT 1
    ) STRICT;
    CREATE TABLE log (
        seq  INTEGER PRIMARY KEY AUTOINCREMENT,
        at   TEXT NOT NULL,
        who  TEXT NOT NULL,
        what TEXT NOT NULL
    ) STRICT;
";

/// What someone may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Sees the lists and readings.
    Aide,
    /// Sees them and acts on them.
    Nurse,
    /// Makes accounts, and sees nothing of the residents.
    Administrator,
}

impl Role {
    /// Every role.
    pub const ALL: [Self; 3] = [Self::Aide, Self::Nurse, Self::Administrator];

    /// The name as shown and stored.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Aide => "aide",
            Self::Nurse => "nurse",
            Self::Administrator => "administrator",
        }
    }

    /// The role with this [`name`](Self::name).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|it| it.name() == name)
    }
}

/// Someone who may sign in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct User {
    /// The name typed to sign in.
    pub login: String,
    /// The name and title that the record shows.
    pub staff: Staff,
    /// What they may do.
    pub role: Role,
    /// Whether the password is a one-time code, so that another must be chosen
    /// before anything else.
    pub must_choose: bool,
    /// Whether they may sign in.
    pub active: bool,
}

/// Why someone was not signed in.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum NotSignedIn {
    /// Nobody of that name, a wrong password, or an account that is closed: one
    /// answer, so that it tells nothing.
    #[error("that name and password don't belong together")]
    Wrong,
    /// Too many wrong tries.
    #[error("too many wrong tries; try again in {}", minutes(*.seconds))]
    Locked {
        /// Seconds left.
        seconds: i64,
    },
    /// The right code, too late.
    #[error("that one-time code has expired; the administrator can give a new one")]
    Expired,
    /// The accounts cannot be read.
    #[error("the accounts can't be read: {0}")]
    Broken(String),
}

pub(crate) fn minutes(seconds: i64) -> String {
    match (seconds + 59) / 60 {
        1 => "a minute".to_owned(),
        more => format!("{more} minutes"),
    }
}

/// Why an account was not made or changed.
#[derive(Debug, Error)]
pub enum AccountError {
    /// The file.
    #[error("the accounts {path} can't be used: {problem}")]
    File {
        /// The file.
        path: String,
        /// Why.
        problem: String,
    },
    /// Reading or writing.
    #[error("the accounts can't be used: {0}")]
    Broken(#[from] rusqlite::Error),
    /// A field that cannot be right.
    #[error("{0}")]
    Field(&'static str),
    /// A name or title that no record would take.
    #[error("the {0} is too long; {LONGEST_TEXT} characters at most")]
    Long(&'static str),
    /// A password too easily guessed.
    #[error(transparent)]
    Weak(#[from] Weak),
    /// The system gives no random numbers, or the hash failed.
    #[error("no password can be made: {0}")]
    Crypto(String),
}

/// The accounts.
pub struct Accounts {
    connection: Connection,
}

impl Accounts {
    /// Opens the accounts, or makes them. Where there is nobody yet they get one
    /// administrator, [`FIRST`], whose one-time code is returned. It is stored
    /// nowhere but as a hash, so it can be shown this once.
    ///
    /// # Errors
    /// [`AccountError`] when the file cannot be used.
    pub fn open(path: &Path) -> Result<(Self, Option<String>), AccountError> {
        Self::open_with(path, &Key::None)
    }

    /// The same, encrypted with the key that also encrypts the record.
    ///
    /// # Errors
    /// [`AccountError`] when the file cannot be used.
    pub fn open_with(path: &Path, key: &Key) -> Result<(Self, Option<String>), AccountError> {
        let wrong = |problem: String| AccountError::File {
            path: path.display().to_string(),
            problem,
        };
        Self::on(OwnFile::open(path, key).map_err(wrong)?).map_err(|error| match error {
            AccountError::Broken(error) => wrong(error.to_string()),
            AccountError::Field(problem) => wrong(problem.to_owned()),
            other => other,
        })
    }

    /// Accounts that are forgotten when dropped, for tests.
    ///
    /// # Errors
    /// As [`open`](Self::open).
    pub fn in_memory() -> Result<(Self, Option<String>), AccountError> {
        Self::on(in_memory()?)
    }

    fn on(connection: Connection) -> Result<(Self, Option<String>), AccountError> {
        match FILE.prepare(&connection)? {
            Found::Nothing | Found::Own => {}
            Found::Newer => return Err(AccountError::Field("a newer Sayback wrote it")),
            Found::Foreign => return Err(AccountError::Field("it is no file of accounts")),
        }
        let accounts = Self { connection };
        // Also where the first start was stopped in between.
        if !accounts.users()?.is_empty() {
            return Ok((accounts, None));
        }
        let staff = Staff {
            name: "Administrator".to_owned(),
            title: "administrator".to_owned(),
        };
        let code = one_time_code()?;
        let immediate = TransactionBehavior::Immediate;
        let making = Transaction::new_unchecked(&accounts.connection, immediate)?;
        // Another process may have made it meanwhile.
        let first = accounts.users()?.is_empty();
        if first {
            accounts.insert(FIRST, &staff, Role::Administrator, &code, None)?;
        }
        making.commit()?;
        Ok((accounts, first.then_some(code)))
    }

    fn insert(
        &self,
        login: &str,
        staff: &Staff,
        role: Role,
        code: &str,
        until: Option<Time>,
    ) -> Result<(), AccountError> {
        self.connection.execute(
            "INSERT INTO users (login, name, title, role, password, once, until)
             VALUES (?, ?, ?, ?, ?, 1, ?)",
            params![
                login,
                staff.name,
                staff.title,
                role.name(),
                password::hash(code)?,
                until.map(|it| it.timestamp())
            ],
        )?;
        Ok(())
    }

    /// Signs someone in. Wrong tries are counted for the name as typed, whether
    /// or not there is such a user, and slow further tries down.
    ///
    /// # Errors
    /// [`NotSignedIn`].
    pub fn sign_in(&self, login: &str, typed: &str, now: Time) -> Result<User, NotSignedIn> {
        let broken = |error: rusqlite::Error| NotSignedIn::Broken(error.to_string());
        let login = normal(login);
        if let Some(seconds) = self.tries().left(&login, now).map_err(broken)? {
            return Err(NotSignedIn::Locked { seconds });
        }
        let found = self.stored(&login).map_err(broken)?;
        let hash = found.as_ref().map(|(_, hash, _)| hash.as_str());
        let right = password::verify(typed, hash);
        match found {
            Some((user, _, until)) if right && user.active => {
                self.tries().forget(&login).map_err(broken)?;
                if user.must_choose && until.is_some_and(|it| it < now.timestamp()) {
                    return Err(NotSignedIn::Expired);
                }
                self.log(now, &login, "signed in");
                Ok(user)
            }
            _ => {
                let lock = self.tries().wrong(&login, now).map_err(broken)?;
                // A name that nobody has may be a password, typed in the wrong place.
                let who = found.map_or("nobody here", |_| &login);
                self.log(now, who, "wrong name or password");
                if lock.is_zero() {
                    return Err(NotSignedIn::Wrong);
                }
                self.log(now, who, &format!("locked for {} s", lock.as_secs()));
                let seconds = i64::try_from(lock.as_secs()).unwrap_or(i64::MAX);
                Err(NotSignedIn::Locked { seconds })
            }
        }
    }

    fn tries(&self) -> Tries<'_> {
        Tries(&self.connection)
    }

    fn stored(&self, login: &str) -> rusqlite::Result<Option<(User, String, Option<i64>)>> {
        self.connection
            .prepare_cached(
                "SELECT login, name, title, role, once, active, password, until
                 FROM users WHERE login = ?",
            )?
            .query_row([login], |row| Ok((user(row)?, row.get(6)?, row.get(7)?)))
            .optional()
    }

    /// Someone's account.
    ///
    /// # Errors
    /// [`AccountError::Broken`].
    pub fn user(&self, login: &str) -> Result<Option<User>, AccountError> {
        Ok(self.stored(&normal(login))?.map(|(user, ..)| user))
    }

    /// Every account, by sign-in name.
    ///
    /// # Errors
    /// [`AccountError::Broken`].
    pub fn users(&self) -> Result<Vec<User>, AccountError> {
        let mut select = self.connection.prepare_cached(
            "SELECT login, name, title, role, once, active FROM users ORDER BY login",
        )?;
        let users = select.query_map([], user)?;
        Ok(users.collect::<Result<_, _>>()?)
    }

    /// Makes an account and returns its one-time code, which is good for three
    /// days and for one sign-in, at which the user chooses a password.
    ///
    /// # Errors
    /// [`AccountError`] says which field is wrong.
    pub fn create(
        &self,
        login: &str,
        staff: &Staff,
        role: Role,
        now: Time,
    ) -> Result<String, AccountError> {
        let login = normal(login);
        let plain = |it: char| it.is_ascii_alphanumeric() || matches!(it, '.' | '-' | '_');
        if !(2..=32).contains(&login.len()) || !login.chars().all(plain) {
            let expected = "the sign-in name needs 2 to 32 letters, digits, dots or dashes";
            return Err(AccountError::Field(expected));
        }
        let staff = Staff {
            name: staff.name.trim().to_owned(),
            title: staff.title.trim().to_owned(),
        };
        for (field, text) in [("full name", &staff.name), ("title", &staff.title)] {
            if text.is_empty() {
                return Err(AccountError::Field("a full name and a title are needed"));
            }
            if too_long(text) {
                return Err(AccountError::Long(field));
            }
        }
        if self.user(&login)?.is_some() {
            return Err(AccountError::Field("that sign-in name is taken"));
        }
        let code = one_time_code()?;
        let until = now + chrono::TimeDelta::days(CODE_DAYS);
        self.insert(&login, &staff, role, &code, Some(until))?;
        Ok(code)
    }

    /// Gives a user a new one-time code in place of the password, and lets them
    /// try again at once.
    ///
    /// # Errors
    /// [`AccountError`].
    pub fn renew(&self, login: &str, now: Time) -> Result<String, AccountError> {
        let login = normal(login);
        let code = one_time_code()?;
        let until = (now + chrono::TimeDelta::days(CODE_DAYS)).timestamp();
        let changed = self.connection.execute(
            "UPDATE users SET password = ?, once = 1, until = ? WHERE login = ?",
            params![password::hash(&code)?, until, login],
        )?;
        if changed == 0 {
            return Err(AccountError::Field("there is no such user"));
        }
        self.tries().forget(&login)?;
        Ok(code)
    }

    /// Opens or closes an account. The last administrator's stays open.
    ///
    /// # Errors
    /// [`AccountError`].
    pub fn set_active(&self, login: &str, active: bool) -> Result<(), AccountError> {
        let login = normal(login);
        let users = self.users()?;
        let others = users.iter().filter(|it| {
            it.login != login && it.active && it.role == Role::Administrator && !it.must_choose
        });
        let Some(user) = users.iter().find(|it| it.login == login) else {
            return Err(AccountError::Field("there is no such user"));
        };
        if !active && user.role == Role::Administrator && others.count() == 0 {
            let why = "the last administrator can't be closed; make another one first";
            return Err(AccountError::Field(why));
        }
        let sql = "UPDATE users SET active = ? WHERE login = ?";
        self.connection.execute(sql, params![active, login])?;
        Ok(())
    }

    /// Sets the password that a user chose.
    ///
    /// # Errors
    /// [`AccountError::Weak`] when it is too easily guessed.
    pub fn choose(&self, login: &str, chosen: &str) -> Result<(), AccountError> {
        let login = normal(login);
        password::check(chosen, &login)?;
        let sql = "UPDATE users SET password = ?, once = 0, until = NULL WHERE login = ?";
        self.connection
            .execute(sql, params![password::hash(chosen)?, login])?;
        Ok(())
    }
}

fn user(row: &rusqlite::Row<'_>) -> rusqlite::Result<User> {
    let role: String = row.get(3)?;
    Ok(User {
        login: row.get(0)?,
        staff: Staff {
            name: row.get(1)?,
            title: row.get(2)?,
        },
        // A role that is not known may do the least.
        role: Role::from_name(&role).unwrap_or(Role::Aide),
        must_choose: row.get(4)?,
        active: row.get(5)?,
    })
}

/// Sign-in names are compared without case and surrounding space.
pub(crate) fn normal(login: &str) -> String {
    let login = login.trim().to_lowercase();
    login.chars().take(64).collect()
}

#[cfg(test)]
mod tests;
