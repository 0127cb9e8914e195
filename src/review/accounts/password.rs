//! Passwords, one-time codes and other secrets.

use std::sync::LazyLock;

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use thiserror::Error;

use super::AccountError;

/// The shortest password, in characters. Length is what makes a password hard
/// to guess; no mixture of kinds of character is asked for (NIST SP 800-63B).
pub const SHORTEST: usize = 10;
const LONGEST: usize = 128;

/// What everyone tries first, beside the sign-in name.
const COMMON: [&str; 24] = [
    "password",
    "passwort",
    "1234567890",
    "qwertyuiop",
    "sayback",
    "letmein",
    "welcome",
    "nursing",
    "123456",
    "abcdef",
    "qwerty",
    "asdfgh",
    "1q2w3e4r",
    "abc123",
    "iloveyou",
    "sunshine",
    "princess",
    "football",
    "baseball",
    "superman",
    "trustno1",
    "changeme",
    "admin",
    "carehome",
];

/// Letters and digits that are not mistaken for one another when read or
/// written by hand.
const CODE: &[u8; 31] = b"abcdefghjkmnpqrstuvwxyz23456789";

/// Why a password will not do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum Weak {
    /// Too short.
    #[error("the password needs at least {SHORTEST} characters")]
    Short,
    /// Longer than anyone types.
    #[error("the password can have at most {LONGEST} characters")]
    Long,
    /// What everyone tries first.
    #[error(
        "that password is too easily guessed; take a few words that only you would put together"
    )]
    Common,
}

/// Whether a chosen password will do.
pub(super) fn check(password: &str, login: &str) -> Result<(), Weak> {
    let length = password.chars().count();
    if length < SHORTEST {
        return Err(Weak::Short);
    }
    if length > LONGEST {
        return Err(Weak::Long);
    }
    let plain = password.to_lowercase();
    let few = plain
        .chars()
        .collect::<std::collections::BTreeSet<_>>()
        .len()
        < 4;
    let common = COMMON.iter().any(|it| {
        // "password123" is no better than "password".
        plain.contains(it) && length < it.len() + 6
    });
    if few || common || plain.contains(login) && length < login.len() + 6 {
        return Err(Weak::Common);
    }
    Ok(())
}

/// The hash of a password, with its salt and cost (argon2id).
pub(crate) fn hash(password: &str) -> Result<String, AccountError> {
    let hash: PasswordHash = Argon2::default()
        .hash_password(password.as_bytes())
        .map_err(|error| AccountError::Crypto(error.to_string()))?;
    Ok(hash.to_string())
}

/// Whether a password is the one that was hashed. Where there is no hash, the
/// same time is spent for nothing, so that the answer's delay does not tell
/// whether there is such a user.
pub(crate) fn verify(password: &str, hash: Option<&str>) -> bool {
    static NOBODY: LazyLock<String> = LazyLock::new(|| self::hash("nobody").unwrap_or_default());
    let known = hash.is_some();
    let hash = hash.unwrap_or(&NOBODY);
    let Ok(hash) = PasswordHash::new(hash) else {
        return false;
    };
    let right = Argon2::default().verify_password(password.as_bytes(), &hash);
    right.is_ok() && known
}

/// Random bytes from the system.
fn random<const N: usize>() -> Result<[u8; N], AccountError> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|error| AccountError::Crypto(error.to_string()))?;
    Ok(bytes)
}

/// A code to be typed once: 59 bits, in three groups.
///
/// # Errors
/// [`AccountError::Crypto`] when the system gives no random numbers.
pub fn one_time_code() -> Result<String, AccountError> {
    let mut letters = Vec::new();
    while letters.len() < 12 {
        let bytes = random::<12>()?.map(usize::from).into_iter();
        // The last few of 256 would make some letters likelier than others.
        let even = bytes.filter(|it| *it < 256 / CODE.len() * CODE.len());
        letters.extend(even.map(|it| char::from(CODE[it % CODE.len()])));
    }
    let groups: Vec<String> = letters[..12].chunks(4).map(String::from_iter).collect();
    Ok(groups.join("-"))
}

/// A secret for a cookie or a form: 256 bits.
///
/// # Errors
/// [`AccountError::Crypto`] when the system gives no random numbers.
pub fn random_token() -> Result<String, AccountError> {
    use std::fmt::Write as _;
    let mut text = String::with_capacity(64);
    for byte in random::<32>()? {
        let _ = write!(text, "{byte:02x}");
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weak_passwords_are_refused_and_long_ones_are_not() {
        let cases = [
            ("short", Err(Weak::Short)),
            ("password123", Err(Weak::Common)),
            ("qwerty12345", Err(Weak::Common)),
            ("1q2w3e4r5t", Err(Weak::Common)),
            ("iloveyou12", Err(Weak::Common)),
            ("aaaaaaaaaaaa", Err(Weak::Common)),
            ("imarlow2026", Err(Weak::Common)),
            ("teal kettle sings", Ok(())),
            ("correct password for a long phrase", Ok(())),
        ];
        for (password, expected) in cases {
            assert_eq!(check(password, "imarlow"), expected, "{password}");
        }
        assert_eq!(check(&"ab3d".repeat(40), "imarlow"), Err(Weak::Long));
    }

    #[test]
    fn a_hash_is_salted_and_knows_its_password() {
        let (one, two) = (hash("teal kettle").unwrap(), hash("teal kettle").unwrap());
        assert_ne!(one, two);
        assert!(one.starts_with("$argon2id$"));
        assert!(verify("teal kettle", Some(&one)));
        assert!(!verify("teal kettles", Some(&one)));
        assert!(!verify("nobody", None));
    }

    #[test]
    fn codes_and_tokens_differ() {
        let code = one_time_code().unwrap();
        assert_eq!(code.len(), 14);
        assert_ne!(code, one_time_code().unwrap());
        let letters: std::collections::BTreeSet<_> = CODE.iter().collect();
        assert_eq!(letters.len(), CODE.len(), "none is likelier");
        assert_ne!(random_token().unwrap(), random_token().unwrap());
    }
}
