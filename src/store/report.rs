//! What a check of a record found, in words that help.

use std::collections::BTreeMap;
use std::fmt;

use serde::Serialize;

use super::error::StoreError;
use crate::facts::ChainHead;

/// What a check found out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Report {
    /// How many facts there are.
    pub facts: i64,
    /// Where the record stands; none in one of an older form.
    pub head: Option<ChainHead>,
    /// From this fact on, hashes were made as the facts were appended. Those
    /// before were hashed when the record was upgraded: what happened to them
    /// before that can't be told.
    pub chained_from: i64,
    /// Whether the file is encrypted; none where that can't be told.
    pub encrypted: Option<bool>,
    /// Signatures made here whose head agrees with the record.
    pub signatures: usize,
    /// How many facts were recorded elsewhere, are as they came from there, and
    /// cannot be read by this version.
    pub unread: usize,
    /// What is wrong, in order of the record.
    pub findings: Vec<Finding>,
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// The row, from 1; none where it is about the whole.
    pub row: Option<i64>,
    /// The fact's identifier, as it stands there.
    pub id: Option<String>,
    /// What is wrong.
    #[serde(flatten)]
    pub what: What,
}

/// What is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum What {
    /// A column differs from what was appended.
    Changed,
    /// The fact is as appended, and its hash is not.
    HashChanged,
    /// The fact was appended in another place.
    Moved {
        /// Its place.
        from: i64,
    },
    /// Facts from this row to `to` are gone.
    Removed {
        /// The last one.
        to: i64,
    },
    /// Not appended by Sayback: it has no hash.
    Added,
    /// A column and the fact beside it say different things.
    Contradicts {
        /// The column.
        column: &'static str,
    },
    /// It can't be read.
    Unreadable {
        /// Why.
        problem: String,
    },
    /// The last facts are gone.
    CutOff {
        /// The first one that is gone.
        from: i64,
        /// The last one.
        to: i64,
    },
    /// What the record keeps as its last hash is gone or another.
    HeadChanged,
    /// A nurse signed another record than the one that stands before.
    SignedAnother {
        /// What was signed.
        signed: ChainHead,
    },
    /// The head that was asked for is not in the record.
    Unknown {
        /// The head.
        head: ChainHead,
    },
    /// One of the guards against changes is gone or another.
    GuardGone {
        /// Its name.
        guard: &'static str,
    },
    /// The database itself is damaged.
    File {
        /// What the database says.
        problem: String,
    },
    /// The record is of an older form, without a chain, and may not be written.
    NoChain,
}

impl Report {
    /// Whether nothing is wrong.
    #[must_use]
    pub fn sound(&self) -> bool {
        self.findings.is_empty()
    }

    /// What was recorded `elsewhere` by a newer version, and is as it came, is
    /// nothing wrong: it is counted. What was changed here too is still found.
    pub(crate) fn put_by_unread(
        &mut self,
        mut elsewhere: impl FnMut(i64) -> Result<bool, StoreError>,
    ) -> Result<(), StoreError> {
        let mut of_row: BTreeMap<Option<i64>, usize> = BTreeMap::new();
        for it in &self.findings {
            *of_row.entry(it.row).or_default() += 1;
        }
        let mut wrong = Vec::new();
        for it in std::mem::take(&mut self.findings) {
            let alone = matches!(it.what, What::Unreadable { .. }) && of_row[&it.row] == 1;
            match it.row {
                Some(row) if alone && elsewhere(row)? => self.unread += 1,
                _ => wrong.push(it),
            }
        }
        self.findings = wrong;
        Ok(())
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.row, &self.id) {
            (Some(row), Some(id)) => write!(f, "row {row} ({id}): ")?,
            (Some(row), None) => write!(f, "row {row}: ")?,
            _ => {}
        }
        match &self.what {
            What::Changed => f.write_str("changed since it was appended"),
            What::HashChanged => f.write_str("its hash was changed"),
            What::Moved { from } => write!(f, "moved: it was appended as row {from}"),
            What::Removed { to } if Some(*to) == self.row => {
                f.write_str("removed; whether the next row was changed can't be told")
            }
            What::Removed { to } => write!(
                f,
                "removed, and all up to row {to}; whether the next row was changed can't be told"
            ),
            What::Added => f.write_str("added by something other than Sayback"),
            What::Contradicts { column } => {
                write!(f, "the column {column} and the fact say different things")
            }
            What::Unreadable { problem } => write!(f, "can't be read: {problem}"),
            What::CutOff { from, to } if from == to => {
                write!(f, "row {from}, the last, is cut off")
            }
            What::CutOff { from, to } => write!(f, "rows {from} to {to}, the last, are cut off"),
            What::HeadChanged => f.write_str("what the record keeps as its last hash was changed"),
            What::SignedAnother { signed } => {
                write!(
                    f,
                    "signed when the record stood at {signed}, and it now differs from that"
                )
            }
            What::Unknown { head } => write!(
                f,
                "the record does not hold {head}: facts up to there were changed or cut off, or it \
                 is of another record"
            ),
            What::GuardGone { guard } => {
                write!(
                    f,
                    "the guard {guard} is gone or changed: facts could be changed unseen"
                )
            }
            What::File { problem } => write!(f, "the file is damaged: {problem}"),
            What::NoChain => f.write_str(
                "the record is of an older form, without a chain, and may not be written; copy it \
                 to where it may be and check it there",
            ),
        }
    }
}
