//! The file that links a recorder or a station to its home: where the home's
//! database is, how to sign on, and whose certificates to believe.

use std::fmt;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::SyncError;
use super::connect::authority;
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
        Self::parse(&text).map_err(wrong)
    }

    /// Reads the text of a link file.
    ///
    /// # Errors
    /// What is wrong, without a word of what stands there: it holds a password.
    pub fn parse(text: &str) -> Result<Self, String> {
        let no_link =
            |what: &str| format!("it is no link file ({what}); make one with `sayback home enrol`");
        let link: Self = toml::from_str(text).map_err(|error: toml::de::Error| {
            // What TOML says of a mistake quotes what it found, and so the password,
            // but for what it did not find.
            let message = error.message();
            if message.starts_with("missing field") {
                return no_link(message);
            }
            let before = error.span().and_then(|it| text.get(..it.start));
            let line = before.map_or(1, |it| it.matches('\n').count() + 1);
            no_link(&format!("line {line} is not as it must be"))
        })?;
        let certificates = authority(link.ca.as_bytes());
        certificates.map_err(|_| no_link("its authority's certificates can't be read"))?;
        Ok(link)
    }

    /// The text of its file.
    ///
    /// # Errors
    /// Why it can't be written: never what it holds.
    pub fn text(&self) -> Result<String, String> {
        let text = toml::to_string(self).map_err(|error| error.to_string())?;
        Ok(format!(
            "# The link of this {} to its home. Whoever has this file can sign on as it:\n\
             # keep it, and take its right away with `sayback home revoke` if it is lost.\n{text}",
            self.kind.name()
        ))
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
        let text = self.text().map_err(wrong)?;
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

#[cfg(test)]
mod tests {
    use super::*;

    const LINK: &str = include_str!("../../fuzz/seeds/link/recorder");

    /// "SECRET" stands for the password: with quotes missing, under another name, or
    /// in another field's place.
    #[test]
    fn what_is_wrong_is_said_without_the_password() {
        assert!(Link::parse(LINK).is_ok());
        for (right, wrong) in [
            ("\"SECRET\"", "SECRET"),
            ("\"SECRET\"", "\"SECRET"),
            ("password = \"SECRET\"", "SECRET = \"\""),
            ("kind = \"recorder\"", "kind = \"SECRET\""),
            ("port = 5432", "port = SECRET"),
            ("port = 5432", "port = \"SECRET\""),
        ] {
            for secret in ["7719305527", "kq7xv9zj2w"] {
                assert!(LINK.contains(right));
                let text = LINK.replace(right, wrong).replace("SECRET", secret);
                let problem = Link::parse(&text).unwrap_err();
                assert!(!problem.contains(secret), "{problem}");
                assert!(problem.contains("line "), "{problem}");
            }
        }
        let problem = Link::parse(&LINK.replace("port = 5432\n", "")).unwrap_err();
        assert!(problem.contains("missing field `port`"), "{problem}");
        let problem = Link::parse(&LINK.replace("BEGIN", "BEGAN")).unwrap_err();
        assert!(problem.contains("authority"), "{problem}");
    }
}
