//! What a FHIR Patient says of a resident.

use chrono::NaiveDate;
use serde_json::Value;

use super::ImportError;
use crate::residents::{ResidentId, name_expected};

/// A resident as FHIR knows one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Person {
    pub(super) id: ResidentId,
    pub(super) name: String,
    pub(super) birth_date: NaiveDate,
    /// Alive, and not taken out of use.
    pub(super) active: bool,
}

impl Person {
    /// Reads a Patient, or names every mistake in it.
    pub(super) fn read(
        at: &str,
        patient: &Value,
        system: Option<&str>,
    ) -> Result<Self, Vec<ImportError>> {
        let at = match patient["id"].as_str() {
            Some(id) => format!("{at}, Patient/{id}"),
            None => at.to_owned(),
        };
        let mut errors = Vec::new();
        let mut keep =
            |result: Result<String, ImportError>| result.map_err(|error| errors.push(error)).ok();
        let id = keep(identifier(&at, patient, system));
        let name = keep(name(&at, patient));
        let birth_date = birth_date(&at, patient);
        let birth_date = birth_date.map_err(|error| errors.push(error)).ok();
        match (id, name, birth_date) {
            (Some(id), Some(name), Some(birth_date)) => Ok(Self {
                id: ResidentId(id),
                name,
                birth_date,
                active: is_active(patient),
            }),
            _ => Err(errors),
        }
    }
}

fn list<'a>(of: &'a Value, field: &str) -> &'a [Value] {
    of[field].as_array().map_or(&[], Vec::as_slice)
}

/// The one identifier that is the home's.
fn identifier(at: &str, patient: &Value, system: Option<&str>) -> Result<String, ImportError> {
    let at = format!("{at}, identifier");
    let current = list(patient, "identifier")
        .iter()
        .filter(|it| it["use"] != "old");
    let of_system = |it: &&Value| system.is_none_or(|system| it["system"] == system);
    let found: Vec<&Value> = current.filter(of_system).collect();
    let wrong = |found: String, expected: &str| Err(ImportError::new(&at, found, expected));
    match (found.as_slice(), system) {
        ([one], _) => match one["value"].as_str().map(str::trim) {
            Some(value) if !value.is_empty() => Ok(value.to_owned()),
            _ => wrong("one without a value".to_owned(), "a value"),
        },
        ([], Some(system)) => wrong(format!("none of {system}"), "one of it"),
        ([], None) => wrong("none".to_owned(), "the home's identifier"),
        (several, Some(system)) => {
            let found = format!("{} of {system}", several.len());
            wrong(found, "one of it that is not old")
        }
        (several, None) => {
            let systems = several.iter().filter_map(|it| it["system"].as_str());
            let systems: Vec<&str> = systems.collect();
            let found = format!("several ({})", systems.join(", "));
            wrong(
                found,
                "one, or the right system given with --identifier-system",
            )
        }
    }
}

/// The name in use: the official one first, never an old one.
fn name(at: &str, patient: &Value) -> Result<String, ImportError> {
    let names = list(patient, "name");
    let of = |wanted: Option<&str>| names.iter().find(|it| it["use"].as_str() == wanted);
    let chosen = of(Some("official"))
        .or_else(|| of(Some("usual")))
        .or_else(|| of(None));
    let written = chosen.map(|it| {
        let given = list(it, "given").iter().filter_map(Value::as_str);
        let parts: Vec<&str> = given.chain(it["family"].as_str()).collect();
        // A text that has the last name first is not as it is said; its parts are.
        let as_said = |text: &&str| parts.is_empty() || !text.contains(',');
        let text = it["text"].as_str().filter(as_said).map(str::to_owned);
        text.unwrap_or_else(|| parts.join(" "))
    });
    let words: Vec<&str> = written
        .iter()
        .flat_map(|it| it.split_whitespace())
        .collect();
    if words.is_empty() {
        let found = format!("{} names, none that can be used", names.len());
        let expected = "an official or usual name, as text or as given and family name";
        return Err(ImportError::new(&format!("{at}, name"), found, expected));
    }
    let name = words.join(" ");
    if let Some(expected) = name_expected(&name) {
        let found = format!("{name:?}");
        return Err(ImportError::new(&format!("{at}, name"), found, expected));
    }
    Ok(name)
}

/// The whole date: it is the second identifier, and a year alone is none.
fn birth_date(at: &str, patient: &Value) -> Result<NaiveDate, ImportError> {
    let said = patient["birthDate"].as_str();
    let whole = said.filter(|it| it.len() == "1938-04-21".len());
    whole.and_then(|it| it.parse().ok()).ok_or_else(|| {
        let found = said.map_or_else(|| "none".to_owned(), |it| format!("{it:?}"));
        let expected = "a whole date such as 1938-04-21";
        ImportError::new(&format!("{at}, birthDate"), found, expected)
    })
}

fn is_active(patient: &Value) -> bool {
    let died = patient["deceasedBoolean"] == true || patient["deceasedDateTime"].is_string();
    let replaced = list(patient, "link")
        .iter()
        .any(|it| it["type"] == "replaced-by");
    patient["active"] != false && !died && !replaced
}
