//! The home and the people in it: residents, nurses and aides.

mod file;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::vitals::{Limits, Units};

pub use file::HomeFileError;

/// A resident's identifier, as the home gave it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct ResidentId(pub String);

/// A person who lives in the home.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resident {
    /// The home's own identifier.
    pub id: ResidentId,
    /// Room number, as digits.
    pub room: String,
    /// Bed within the room: a number, or a word such as "window".
    pub bed: Option<String>,
    /// Full name.
    pub name: String,
    /// Birth date: the second identifier.
    pub birth_date: NaiveDate,
    /// The resident's own limits.
    pub limits: Limits,
}

/// A member of staff.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Staff {
    /// Full name.
    pub name: String,
    /// Title, such as "nursing aide" or "registered nurse".
    pub title: String,
}

/// The home: its settings, its staff and its residents.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Home {
    /// Name of the home.
    pub name: String,
    /// Units meant when none is said.
    pub units: Units,
    /// Nurses to whom a report can be made.
    pub nurses: Vec<Staff>,
    /// Aides who may record.
    pub aides: Vec<Staff>,
    /// Residents.
    pub residents: Vec<Resident>,
}

impl Home {
    /// The residents in a room; more than one when it has several beds.
    pub fn in_room(&self, room: &str) -> impl Iterator<Item = &Resident> {
        let room = room.to_owned();
        self.residents.iter().filter(move |it| it.room == room)
    }

    /// The resident with this identifier.
    #[must_use]
    pub fn resident(&self, id: &ResidentId) -> Option<&Resident> {
        self.residents.iter().find(|it| it.id == *id)
    }
}
