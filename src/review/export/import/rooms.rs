//! Who lives where: the table beside the Patients.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::ImportError;
use crate::residents::ResidentId;

/// A room and a bed in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Room number.
    pub room: u16,
    /// Bed within the room.
    pub bed: Option<String>,
}

/// The place of each resident, with the line that says so.
pub type Rooms = BTreeMap<ResidentId, (u64, Place)>;

#[derive(Deserialize)]
struct Line {
    id: String,
    room: String,
    #[serde(default)]
    bed: Option<String>,
}

/// Reads a table with the columns `id`, `room` and, if need be, `bed`.
///
/// # Errors
/// Every mistake in it.
pub fn read_rooms(text: &str) -> Result<Rooms, Vec<ImportError>> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let headers = reader.headers().cloned().unwrap_or_default();
    let (mut rooms, mut errors) = (Rooms::new(), Vec::new());
    for record in reader.records() {
        let line = record.as_ref().map_or_else(
            |error| error.position().map_or(1, csv::Position::line),
            |record| record.position().map_or(1, csv::Position::line),
        );
        let at = |column: &str| format!("rooms, line {line}{column}");
        let read = record.and_then(|it| it.deserialize::<Line>(Some(&headers)));
        let read = match read {
            Ok(read) => read,
            Err(error) => {
                let expected = "the columns id, room and, if need be, bed";
                errors.push(ImportError::new(&at(""), error.to_string(), expected));
                continue;
            }
        };
        let Ok(room) = read.room.parse() else {
            let found = format!("{:?}", read.room);
            errors.push(ImportError::new(&at(", room"), found, "a room number"));
            continue;
        };
        let bed = read.bed.filter(|it| !it.is_empty());
        let id = ResidentId(read.id);
        let place = Place { room, bed };
        if id.0.is_empty() || rooms.contains_key(&id) {
            let found = format!("{:?}", id.0);
            errors.push(ImportError::new(&at(", id"), found, "each resident once"));
        } else {
            rooms.insert(id, (line, place));
        }
    }
    if errors.is_empty() {
        Ok(rooms)
    } else {
        Err(errors)
    }
}
