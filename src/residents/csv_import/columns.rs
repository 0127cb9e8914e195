//! The columns of a roster: which there are, and what each holds.

use std::collections::BTreeSet;

use super::CsvError;
use crate::residents::Frequency;
use crate::vitals::{RangeOf, VitalSign};

/// The columns with a name of their own: name, whether it must be there and
/// filled, and what it holds.
const COLUMNS: [(&str, bool, &str); 24] = [
    ("id", true, "an identifier of its own"),
    (
        "room",
        true,
        "a room number; a letter after it is the bed's",
    ),
    (
        "name",
        true,
        "a full name as it is said, first name first, without a comma",
    ),
    ("birth_date", true, "a date such as 1938-04-21"),
    ("wing", false, "the wing or unit of the home"),
    (
        "bed",
        false,
        "a bed within the room: a number, a letter or a word, as it is said",
    ),
    ("alias", false, "the name as spoken"),
    ("admitted", false, "a date such as 1938-04-21"),
    (
        "temperature_method",
        false,
        "oral, rectal, axillary, tympanic or temporal",
    ),
    ("pulse_site", false, "radial, apex, brachial or carotid"),
    (
        "arm",
        false,
        "left_arm, right_arm, left_leg, right_leg, or wrist or forearm instead of arm",
    ),
    ("position", false, "sitting, lying or standing"),
    (
        "scale",
        false,
        "standing_scale, chair_scale, wheelchair_scale, bed_scale or lift_scale",
    ),
    ("on_oxygen", false, "yes or no"),
    ("oxygen_flow", false, "liters a minute, from 0.1 to 15"),
    ("low_saturation_target", false, "yes or no"),
    ("mouth_breather", false, "yes or no"),
    (
        "left_arm_not_to_use",
        false,
        "fistula, line, surgery, weakness or other",
    ),
    (
        "right_arm_not_to_use",
        false,
        "fistula, line, surgery, weakness or other",
    ),
    ("no_rectal", false, "yes or no"),
    ("irregular_pulse", false, "yes or no"),
    (
        "chair_weight",
        false,
        "the empty chair's weight in the home's unit",
    ),
    (
        "set_by",
        false,
        "the nurse who set the ranges and baselines",
    ),
    ("set_on", false, "a date such as 2026-03-09, beside set_by"),
];

/// The columns of a roster as a table in Markdown.
#[must_use]
pub fn columns_table() -> String {
    let named = COLUMNS.iter().map(|(name, required, holds)| {
        let required = if *required { "yes" } else { "" };
        format!("| `{name}` | {required} | {holds} |")
    });
    let of = |it: RangeOf| {
        let tag = it.tag();
        let name = tag.replace('_', " ");
        format!(
            "| `{tag}_low`, `{tag}_high` | | the resident's own {name} range, in the home's \
             unit |\n| `{tag}_baseline` | | the usual {name}, in the home's unit |"
        )
    };
    let due = VitalSign::ALL.map(|sign| {
        let frequencies = Frequency::ALL.map(Frequency::tag).join(", ");
        format!("| `due_{}` | | {frequencies} |", sign.tag())
    });
    let rows = named.chain(RangeOf::ALL.map(of)).chain(due);
    format!(
        "# A roster as CSV\n\n\
         Written from the code by `UPDATE_DOCS=1 cargo test docs`; a test fails when it is out \
         of date.\n\n\
         One resident a line, UTF-8, a header line first, columns in any order, commas between \
         them. If anything is wrong, nothing is imported and every mistake is named by line, \
         column and what was expected.\n\n\
         A column that is not there, or an empty field, leaves what the home's file says of a \
         resident: ranges, baselines and precautions are not lost because another system does \
         not know them. `--drop` takes away what the file has where a field is empty; without \
         it, what is kept so is said. Wing and bed are as written wherever they have a column. A \
         range is added to the earlier ones. Whoever has no line stays as they are.\n\n\
         `sayback roster import` prints each field that changes, keeps a copy of the home's file \
         beside it (`home.toml.before-` and the time), and writes; `--dry-run` only prints. A \
         recorder or station that runs with `--home` reads the file when it starts: restart it \
         to take the change in.\n\n\
         To take a resident out who has left, remove the entry from the home's file and restart. \
         What was recorded stays: the station shows it, to be read only, and Find knows the name \
         as it was last confirmed at the bedside.\n\n\
         | column | required | holds |\n|---|---|---|\n{}\n",
        rows.collect::<Vec<_>>().join("\n")
    )
}

fn known_columns() -> Vec<String> {
    let named = COLUMNS.iter().map(|(name, ..)| (*name).to_owned());
    let of = |it: RangeOf| ["low", "high", "baseline"].map(|part| format!("{}_{part}", it.tag()));
    let due = VitalSign::ALL.map(|sign| format!("due_{}", sign.tag()));
    named
        .chain(RangeOf::ALL.into_iter().flat_map(of))
        .chain(due)
        .collect()
}

pub(super) fn header_errors(headers: &[String]) -> Vec<CsvError> {
    let known = known_columns();
    let mut seen = BTreeSet::new();
    let mut errors = Vec::new();
    let mut wrong = |column: &str, found: &str, expected: String| {
        errors.push(CsvError {
            line: 1,
            column: column.to_owned(),
            found: found.to_owned(),
            expected,
        });
    };
    if let [only] = headers
        && only.contains([';', '\t'])
    {
        wrong("all", only, "a comma between columns".to_owned());
        return errors;
    }
    for header in headers {
        if !known.contains(header) {
            wrong(header, header, format!("one of {}", known.join(", ")));
        } else if !seen.insert(header) {
            wrong(header, header, "each column once".to_owned());
        }
    }
    for (name, required, holds) in COLUMNS {
        if required && !headers.iter().any(|it| it == name) {
            wrong(name, "", format!("this column, with {holds}"));
        }
    }
    errors
}

pub(super) fn holds(column: &str) -> &'static str {
    let known = COLUMNS.iter().find(|(name, ..)| *name == column);
    known.map_or("nothing", |(_, _, holds)| holds)
}

/// A line that is none of a table.
pub(super) fn unreadable(error: &csv::Error) -> CsvError {
    let line = error.position().map_or(1, csv::Position::line);
    let (found, expected) = match error.kind() {
        csv::ErrorKind::UnequalLengths {
            expected_len, len, ..
        } => (
            format!("{len} fields"),
            format!("{expected_len} fields, as in the header"),
        ),
        _ => (error.to_string(), "UTF-8 text in CSV".to_owned()),
    };
    CsvError {
        line,
        column: "all".to_owned(),
        found,
        expected,
    }
}
