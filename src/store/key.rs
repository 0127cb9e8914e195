//! The key that the record is encrypted with, and where it is kept.

use std::fmt;
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::chain::hex;

/// Shorter passphrases are refused when a record is made with one.
pub const SHORTEST_PASSPHRASE: usize = 15;

/// What opens a record, and encrypts a new one.
#[derive(Clone, PartialEq, Eq, Default)]
pub enum Key {
    /// Nothing: a new record is not encrypted, and only such a one can be opened.
    #[default]
    None,
    /// A key in a file, which is made when the first record needs it.
    File(PathBuf),
    /// A passphrase. The key is derived from it (PBKDF2, as `SQLCipher` does).
    Passphrase(String),
}

/// A key as `SQLCipher` is given it.
#[derive(Clone, PartialEq, Eq)]
pub(crate) enum Secret {
    /// 32 random bytes.
    Raw([u8; 32]),
    /// Words.
    Words(String),
}

/// Why there is no key.
#[derive(Debug, Error)]
pub enum KeyError {
    /// The file is not there.
    #[error(
        "the key file {} is missing; without it nobody can read the record. Put the copy you \
         keep of it there, or say where it is with --key-file",
        .0.display()
    )]
    Missing(PathBuf),
    /// Others may read it.
    #[error(
        "the key file {} can be read by others on this machine; change that with chmod 600",
        .0.display()
    )]
    Open(PathBuf),
    /// It holds something else.
    #[error(
        "the key file {} is damaged: line {line} is no key (64 hexadecimal digits); put the copy \
         you keep of it there",
        path.display()
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// The line, from 1; 0 where there is no key at all.
        line: usize,
    },
    /// It cannot be read or written.
    #[error("the key file {} can't be used: {problem}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why.
        problem: String,
    },
    /// Too short to keep anyone out.
    #[error(
        "the passphrase is too short: at least {SHORTEST_PASSPHRASE} characters, better five words"
    )]
    Short,
}

// Never shown: a key in a message or a log is a key given away.
impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::None => f.write_str("no key"),
            Self::File(path) => write!(f, "the key in {}", path.display()),
            Self::Passphrase(_) => f.write_str("a passphrase"),
        }
    }
}

impl Secret {
    /// As the value of `PRAGMA key`, or after `KEY` in an `ATTACH`.
    pub(crate) fn sql(&self) -> String {
        match self {
            Self::Raw(bytes) => format!("\"x'{}'\"", hex(bytes)),
            Self::Words(words) => format!("'{}'", words.replace('\'', "''")),
        }
    }
}

impl Key {
    /// Where the key is kept when nothing else is said: in the user's
    /// configuration, apart from the record, so that who copies the record's
    /// folder has not copied the key.
    #[must_use]
    pub fn default_file() -> Option<PathBuf> {
        let set = |name| std::env::var_os(name).filter(|it| !it.is_empty());
        let config = set("XDG_CONFIG_HOME").map(PathBuf::from);
        let config = config.or_else(|| Some(PathBuf::from(set("HOME")?).join(".config")))?;
        Some(config.join("sayback").join("record.key"))
    }

    /// What may open a record, newest first.
    pub(crate) fn opening(&self) -> Result<Vec<Secret>, KeyError> {
        match self {
            Self::None => Ok(Vec::new()),
            Self::File(path) => read(path),
            Self::Passphrase(words) => Ok(vec![Secret::Words(words.clone())]),
        }
    }

    /// What encrypts a new record. Makes the key file where there is none.
    pub(crate) fn for_new(&self) -> Result<Option<Secret>, KeyError> {
        match self {
            Self::None => Ok(None),
            Self::File(path) => {
                if !path.exists() {
                    make(path)?;
                }
                Ok(read(path)?.into_iter().next())
            }
            Self::Passphrase(words) if words.chars().count() < SHORTEST_PASSPHRASE => {
                Err(KeyError::Short)
            }
            Self::Passphrase(words) => Ok(Some(Secret::Words(words.clone()))),
        }
    }

    /// Whether the key can be had: a key file that is not there yet is no
    /// fault, for it is made when needed.
    ///
    /// # Errors
    /// [`KeyError`].
    pub fn check(&self) -> Result<usize, KeyError> {
        self.opening().map(|it| it.len())
    }
}

/// Puts a new key before the ones in the file, which stay to open what was
/// encrypted with them.
///
/// # Errors
/// [`KeyError`]; the file is then as before.
pub fn add_key(path: &Path) -> Result<(), KeyError> {
    let mut keys = read(path)?;
    keys.insert(0, random(path)?);
    write(path, &keys, Put::Instead)
}

/// Forgets all keys but the newest. What is still encrypted with an older one,
/// such as an old backup, can never be read again.
///
/// # Errors
/// [`KeyError`]; the file is then as before.
pub fn forget_older(path: &Path) -> Result<usize, KeyError> {
    let keys = read(path)?;
    write(path, &keys[..1], Put::Instead)?;
    Ok(keys.len() - 1)
}

fn failed(path: &Path) -> impl Fn(std::io::Error) -> KeyError {
    |error| KeyError::File {
        path: path.to_owned(),
        problem: error.to_string(),
    }
}

fn random(path: &Path) -> Result<Secret, KeyError> {
    let mut bytes = [0; 32];
    getrandom::fill(&mut bytes).map_err(|error| KeyError::File {
        path: path.to_owned(),
        problem: error.to_string(),
    })?;
    Ok(Secret::Raw(bytes))
}

fn read(path: &Path) -> Result<Vec<Secret>, KeyError> {
    private(path)?;
    let text = std::fs::read_to_string(path).map_err(failed(path))?;
    let damaged = |line| KeyError::Damaged {
        path: path.to_owned(),
        line,
    };
    let mut keys = Vec::new();
    for (at, line) in text.lines().enumerate() {
        let line = line.trim();
        if !line.is_empty() && !line.starts_with('#') {
            keys.push(parsed(line).ok_or_else(|| damaged(at + 1))?);
        }
    }
    if keys.is_empty() {
        return Err(damaged(0));
    }
    Ok(keys)
}

fn parsed(line: &str) -> Option<Secret> {
    let digit = |it: u8| {
        char::from(it)
            .to_digit(16)
            .and_then(|it| u8::try_from(it).ok())
    };
    let mut bytes = [0; 32];
    if line.len() != 64 {
        return None;
    }
    for (byte, pair) in bytes.iter_mut().zip(line.as_bytes().chunks_exact(2)) {
        *byte = digit(pair[0])? << 4 | digit(pair[1])?;
    }
    Some(Secret::Raw(bytes))
}

/// Refuses a file that others may read.
fn private(path: &Path) -> Result<(), KeyError> {
    let open = open_to_others(path).map_err(|error| match error.kind() {
        ErrorKind::NotFound => KeyError::Missing(path.to_owned()),
        _ => failed(path)(error),
    })?;
    if open {
        return Err(KeyError::Open(path.to_owned()));
    }
    Ok(())
}

/// Whether others than a file's owner may read it. What systemd hands to a service
/// is guarded by its folder, and may show the group's bit.
#[cfg(unix)]
pub(crate) fn open_to_others(path: &Path) -> std::io::Result<bool> {
    use std::os::unix::fs::PermissionsExt as _;
    let found = std::fs::metadata(path)?;
    let handed = std::env::var_os("CREDENTIALS_DIRECTORY");
    let handed = handed.is_some_and(|it| path.starts_with(it));
    let others = if handed { 0o007 } else { 0o077 };
    Ok(found.permissions().mode() & others != 0)
}

#[cfg(not(unix))]
pub(crate) fn open_to_others(path: &Path) -> std::io::Result<bool> {
    std::fs::metadata(path).map(|_| false)
}

/// Several programs may start at once: one of them makes the key, and all use it.
fn make(path: &Path) -> Result<(), KeyError> {
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(failed(path))?;
    }
    match write(path, &[random(path)?], Put::OnlyIfNew) {
        Err(KeyError::File { .. }) if path.exists() => Ok(()),
        done => done,
    }
}

/// What becomes of a file that is there already.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Put {
    /// It stays, and nothing is put there.
    OnlyIfNew,
    /// It is replaced.
    Instead,
}

fn write(path: &Path, keys: &[Secret], put: Put) -> Result<(), KeyError> {
    let mut text = "# The key of Sayback's record. Who has it can read the record; without it nobody\n\
                    # can. Keep a copy where the record is not. The first key encrypts; those after\n\
                    # it open what is older.\n"
        .to_owned();
    for key in keys {
        if let Secret::Raw(bytes) = key {
            text += &hex(bytes);
            text.push('\n');
        }
    }
    put_private(path, &text, put).map_err(failed(path))
}

/// Puts a text in a file that is its owner's alone from the first moment. It is written
/// beside it first, so that the file is whole whenever it is there.
pub(crate) fn put_private(path: &Path, text: &str, put: Put) -> std::io::Result<()> {
    let folder = path.parent().filter(|it| !it.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    let mut new = tempfile::NamedTempFile::new_in(folder)?;
    new.write_all(text.as_bytes())?;
    new.as_file().sync_all()?;
    match put {
        Put::OnlyIfNew => new.persist_noclobber(path).map_err(|it| it.error)?,
        Put::Instead => new.persist(path).map_err(|it| it.error)?,
    };
    std::fs::File::open(folder)?.sync_all()
}
