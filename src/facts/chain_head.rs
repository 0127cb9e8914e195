//! Where the record stood: the last fact's place, and the hash that stands for
//! it and all before it.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// The last link of the record's chain at some moment, written `12:ab34…`. Two
/// records that have the same head are the same up to there.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct ChainHead {
    /// The place of the last fact.
    pub seq: i64,
    /// Its SHA-256, as 64 hexadecimal digits.
    pub hash: String,
}

impl fmt::Display for ChainHead {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.seq, self.hash)
    }
}

impl FromStr for ChainHead {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("\"{text}\" is no head of a record, such as 12:ab34… (64 digits)");
        let (seq, hash) = text.trim().split_once(':').ok_or_else(wrong)?;
        let seq = seq.parse().map_err(|_| wrong())?;
        let hash = hash.to_ascii_lowercase();
        if hash.len() != 64 || !hash.bytes().all(|it| it.is_ascii_hexdigit()) {
            return Err(wrong());
        }
        Ok(Self { seq, hash })
    }
}
