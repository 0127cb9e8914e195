//! Residents from FHIR R4 Patients: a Bundle, one Patient, or NDJSON.
//!
//! What FHIR knows of a resident is identifier, name and birth date; room and bed
//! come from a table beside it, and all else (ranges, care) stays as the home's
//! file has it. Nobody is ever removed. Either everything in a file can be
//! imported or nothing is.

mod patient;
mod rooms;

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;
use thiserror::Error;

use self::patient::Person;
use crate::residents::{Care, Home, Resident, ResidentId};
use crate::vitals::Limits;

pub use rooms::{Place, Rooms, read_rooms};

/// A mistake: where it is, what was found and what was expected.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{at}: {found}; expected {expected}")]
pub struct ImportError {
    /// The entry or line, and the field.
    pub at: String,
    /// What is there.
    pub found: String,
    /// What would be right.
    pub expected: String,
}

impl ImportError {
    fn new(at: &str, found: impl Into<String>, expected: &str) -> Self {
        Self {
            at: at.to_owned(),
            found: found.into(),
            expected: expected.to_owned(),
        }
    }
}

/// What would change in one resident.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// Which part.
    pub field: &'static str,
    /// As the home's file has it.
    pub before: String,
    /// As it would be.
    pub after: String,
}

/// What an import would do, to be looked at before it is done.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Plan {
    /// Residents who are new.
    pub added: Vec<Resident>,
    /// Residents who change, and in what; never without a difference.
    pub changed: Vec<(Resident, Vec<Difference>)>,
    /// Residents who are the same in both.
    pub same: Vec<ResidentId>,
    /// Patients who are no longer active, or have died, and are still in the
    /// home's file. They stay there until someone takes them out.
    pub inactive: Vec<ResidentId>,
    /// Residents of whom the import says nothing. They stay.
    pub unmentioned: Vec<ResidentId>,
}

impl Plan {
    /// Whether it would change nothing.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.added.is_empty() && self.changed.is_empty()
    }

    /// Does it.
    pub fn apply(self, home: &mut Home) {
        for (resident, _) in self.changed {
            if let Some(known) = home.residents.iter_mut().find(|it| it.id == resident.id) {
                *known = resident;
            }
        }
        home.residents.extend(self.added);
    }
}

/// Works out what importing `text` would do. `system` says which of a Patient's
/// identifiers is the home's, where there are several.
///
/// # Errors
/// Every mistake in it.
pub fn plan(
    text: &str,
    home: &Home,
    rooms: &Rooms,
    system: Option<&str>,
) -> Result<Plan, Vec<ImportError>> {
    let mut errors = Vec::new();
    let mut people: BTreeMap<ResidentId, (String, Person)> = BTreeMap::new();
    for (at, patient) in patients(text)? {
        match Person::read(&at, &patient, system) {
            Ok(person) if people.contains_key(&person.id) => {
                let at = format!("{at}, identifier");
                let found = format!("{:?} a second time", person.id.0);
                errors.push(ImportError::new(&at, found, "each Patient once"));
            }
            Ok(person) => {
                people.insert(person.id.clone(), (at, person));
            }
            Err(mut wrong) => errors.append(&mut wrong),
        }
    }
    for (id, (line, _)) in rooms {
        if !people.contains_key(id) && home.resident(id).is_none() {
            let at = format!("rooms, line {line}, id");
            let found = format!("{:?}, which is nobody's", id.0);
            errors.push(ImportError::new(&at, found, "a Patient's or resident's"));
        }
    }

    let mut plan = Plan::default();
    for (id, (at, person)) in &people {
        let known = home.resident(id);
        if !person.active {
            plan.inactive.extend(known.map(|it| it.id.clone()));
            continue;
        }
        let place = rooms.get(id).map(|(_, place)| place);
        match (known, place) {
            (Some(known), place) => add_known(&mut plan, known, person, place),
            (None, Some(place)) => plan.added.push(new(person, place)),
            (None, None) => errors.push(ImportError::new(
                &format!("{at}, {:?}", id.0),
                "a new resident without a room",
                "a line with the room in the file given with --rooms: FHIR's Patient has none",
            )),
        }
    }
    let rest = home
        .residents
        .iter()
        .filter(|it| !people.contains_key(&it.id));
    plan.unmentioned = rest.map(|it| it.id.clone()).collect();
    errors.extend(two_in_a_bed(&plan, home));
    if errors.is_empty() {
        Ok(plan)
    } else {
        Err(errors)
    }
}

/// The Patients in a text, each with where it is.
fn patients(text: &str) -> Result<Vec<(String, Value)>, Vec<ImportError>> {
    let text = text.trim_start_matches('\u{feff}').trim();
    let kind = |it: &Value| it["resourceType"].as_str().unwrap_or_default().to_owned();
    let found = match serde_json::from_str::<Value>(text) {
        Ok(bundle) if kind(&bundle) == "Bundle" => {
            let entries = bundle["entry"].as_array().cloned().unwrap_or_default();
            let numbered = entries.into_iter().enumerate();
            numbered
                .map(|(at, mut it)| (format!("entry {}", at + 1), it["resource"].take()))
                .collect()
        }
        Ok(one) => vec![("the file".to_owned(), one)],
        Err(_) => lines(text)?,
    };
    let patients: Vec<_> = found
        .into_iter()
        .filter(|(_, it)| kind(it) == "Patient")
        .collect();
    if patients.is_empty() {
        let expected = "a Bundle with Patients, a Patient, or one Patient a line";
        return Err(vec![ImportError::new("the file", "no Patient", expected)]);
    }
    Ok(patients)
}

fn lines(text: &str) -> Result<Vec<(String, Value)>, Vec<ImportError>> {
    let (mut read, mut errors) = (Vec::new(), Vec::new());
    let lines = text.lines().enumerate();
    for (at, line) in lines.filter(|(_, line)| !line.trim().is_empty()) {
        let at = format!("line {}", at + 1);
        match serde_json::from_str(line) {
            Ok(value) => read.push((at, value)),
            Err(error) => {
                let found = format!("no JSON ({error})");
                errors.push(ImportError::new(&at, found, "one resource a line"));
            }
        }
    }
    if errors.is_empty() {
        Ok(read)
    } else {
        Err(errors)
    }
}

fn new(person: &Person, place: &Place) -> Resident {
    Resident {
        id: person.id.clone(),
        wing: None,
        room: place.room.to_string(),
        bed: place.bed.clone(),
        name: person.name.clone(),
        birth_date: person.birth_date,
        limits: Limits::default(),
        care: Care::default(),
    }
}

fn add_known(plan: &mut Plan, known: &Resident, person: &Person, place: Option<&Place>) {
    let mut resident = known.clone();
    resident.name.clone_from(&person.name);
    resident.birth_date = person.birth_date;
    if let Some(place) = place {
        resident.room = place.room.to_string();
        resident.bed.clone_from(&place.bed);
    }
    let bed = |it: &Resident| it.bed.clone().unwrap_or_else(|| "none".to_owned());
    let parts = [
        ("name", known.name.clone(), resident.name.clone()),
        (
            "birth date",
            known.birth_date.to_string(),
            resident.birth_date.to_string(),
        ),
        ("room", known.room.clone(), resident.room.clone()),
        ("bed", bed(known), bed(&resident)),
    ];
    let differences: Vec<_> = parts
        .into_iter()
        .filter(|(_, before, after)| before != after)
        .map(|(field, before, after)| Difference {
            field,
            before,
            after,
        })
        .collect();
    if differences.is_empty() {
        plan.same.push(known.id.clone());
    } else {
        plan.changed.push((resident, differences));
    }
}

/// Beds that two residents would have once the plan was done.
fn two_in_a_bed(plan: &Plan, home: &Home) -> Vec<ImportError> {
    let mut after = home.clone();
    plan.clone().apply(&mut after);
    let mut taken = BTreeSet::new();
    let mut errors = Vec::new();
    for it in &after.residents {
        if !taken.insert(it.place_key()) {
            let bed = it.bed.as_ref().map(|bed| format!(", bed {bed}"));
            let found = format!(
                "room {}{}, which is taken",
                it.room,
                bed.unwrap_or_default()
            );
            let at = format!("resident {:?}", it.id.0);
            errors.push(ImportError::new(&at, found, "one resident to a bed"));
        }
    }
    errors
}

#[cfg(test)]
mod tests;
