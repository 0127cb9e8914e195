//! What differs between two states of a resident, by the fields of the home's file.

use std::collections::BTreeMap;

use super::{HomeFileError, Resident, file};

/// A field that differs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// Its name in the home's file, such as `precautions.no_rectal`.
    pub field: String,
    /// As it was.
    pub before: String,
    /// As it is then.
    pub after: String,
}

/// Every field in which `after` differs from `before`.
///
/// # Errors
/// [`HomeFileError`] for a resident that no home's file can hold.
pub fn differences(before: &Resident, after: &Resident) -> Result<Vec<Difference>, HomeFileError> {
    let (mut was, mut is) = (BTreeMap::new(), BTreeMap::new());
    fields(&file::written(before)?, "", &mut was);
    fields(&file::written(after)?, "", &mut is);
    let mut names: Vec<&String> = was.keys().chain(is.keys()).collect();
    names.sort();
    names.dedup();
    let of = |all: &BTreeMap<String, String>, name| {
        let value = all.get(name).cloned();
        value.unwrap_or_else(|| "none".to_owned())
    };
    let each = names.into_iter().map(|name| Difference {
        field: name.clone(),
        before: of(&was, name),
        after: of(&is, name),
    });
    Ok(each.filter(|it| it.before != it.after).collect())
}

/// The values of a table by their names. A range and a weight are told as a whole.
fn fields(value: &toml::Value, name: &str, out: &mut BTreeMap<String, String>) {
    match value {
        toml::Value::Table(table) if !table.contains_key("unit") => {
            for (key, value) in table {
                let name = match name {
                    "" => key.clone(),
                    above => format!("{above}.{key}"),
                };
                fields(value, &name, out);
            }
        }
        toml::Value::String(text) => drop(out.insert(name.to_owned(), text.clone())),
        other => drop(out.insert(name.to_owned(), other.to_string())),
    }
}
