//! The home's file: TOML, checked as a whole before any of it is used.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::Deserialize;
use thiserror::Error;

use super::{Home, Resident, ResidentId, Staff};
use crate::vitals::{Bounds, Limits, Range, RangeOf, Source, Unit, Units};

/// What is wrong with a home's file.
#[derive(Debug, Error)]
pub enum HomeFileError {
    /// Not TOML, an unknown field, or a field of the wrong kind.
    #[error("{0}")]
    Toml(#[from] toml::de::Error),
    /// Readable, but it cannot be right.
    #[error("{field}: {problem}; expected {expected}")]
    Field {
        /// The field, as a path.
        field: String,
        /// What is wrong with it.
        problem: String,
        /// What would be right.
        expected: String,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct HomeFile {
    name: String,
    #[serde(default)]
    units: Units,
    #[serde(default)]
    nurses: Vec<Staff>,
    aides: Vec<Staff>,
    residents: Vec<ResidentEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ResidentEntry {
    id: String,
    room: u16,
    bed: Option<String>,
    name: String,
    birth_date: NaiveDate,
    #[serde(default)]
    ranges: BTreeMap<RangeOf, RangeEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RangeEntry {
    low: Decimal,
    high: Decimal,
    unit: Option<Unit>,
    nurse: String,
    on: NaiveDate,
}

impl Home {
    /// Reads a home's file.
    ///
    /// # Errors
    /// [`HomeFileError`] names the line or field and what was expected.
    pub fn from_toml(text: &str) -> Result<Self, HomeFileError> {
        let file: HomeFile = toml::from_str(text)?;
        let mut residents = Vec::with_capacity(file.residents.len());
        let mut ids = BTreeSet::new();
        let mut beds = BTreeSet::new();
        for entry in file.residents {
            let at = format!("residents, id {:?}", entry.id);
            if !ids.insert(entry.id.clone()) {
                return Err(wrong(&at, "used twice", "an identifier of its own"));
            }
            if !beds.insert((entry.room, entry.bed.clone())) {
                return Err(wrong(
                    &at,
                    "room and bed are taken",
                    "one resident to a bed",
                ));
            }
            residents.push(resident(entry, file.units, &at)?);
        }
        if file.aides.is_empty() {
            return Err(wrong("aides", "empty", "at least one aide"));
        }
        Ok(Self {
            name: file.name,
            units: file.units,
            nurses: file.nurses,
            aides: file.aides,
            residents,
        })
    }
}

fn wrong(field: &str, problem: &str, expected: &str) -> HomeFileError {
    HomeFileError::Field {
        field: field.to_owned(),
        problem: problem.to_owned(),
        expected: expected.to_owned(),
    }
}

fn resident(entry: ResidentEntry, units: Units, at: &str) -> Result<Resident, HomeFileError> {
    let mut limits = Limits::default();
    for (of, range) in entry.ranges {
        let (sign, component) = of.target();
        let unit = range.unit.unwrap_or(units.unspoken(sign));
        let field = format!("{at}, ranges.{of:?}");
        if range.low >= range.high {
            return Err(wrong(&field, "low is not below high", "low < high"));
        }
        if unit.canonical() != units.unspoken(sign).canonical() {
            return Err(wrong(&field, "wrong unit", "a unit of this vital sign"));
        }
        let bounds = Bounds {
            low: range.low,
            high: range.high,
            unit,
        };
        let source = Source::Nurse {
            name: range.nurse,
            on: range.on,
        };
        limits.set(sign, component, Range { bounds, source });
    }
    Ok(Resident {
        id: ResidentId(entry.id),
        room: entry.room.to_string(),
        bed: entry.bed,
        name: entry.name,
        birth_date: entry.birth_date,
        limits,
    })
}
