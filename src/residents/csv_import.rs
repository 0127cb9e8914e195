//! A roster as CSV, as a home exports it from its own system: one resident a
//! line, columns by name in any order. Either all of it is imported or none.

use std::collections::{BTreeMap, BTreeSet};
use std::str::FromStr;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use thiserror::Error;

use super::file_ranges::{possible, range};
use super::{Care, Frequency, Resident, ResidentId, UsualMethods};
use crate::vitals::{
    Arm, Baseline, LONGEST_TEXT, LimbReason, Limits, Method, OxygenFlow, Position, Precautions,
    PulseSite, Quantity, RangeOf, Scale, Source, Units, VitalSign, too_long,
};

/// The columns with a name of their own: name, whether it must be there and
/// filled, and what it holds.
const COLUMNS: [(&str, bool, &str); 24] = [
    ("id", true, "an identifier of its own"),
    ("room", true, "a room number"),
    ("name", true, "a full name"),
    ("birth_date", true, "a date such as 1938-04-21"),
    ("wing", false, "the wing or unit of the home"),
    ("bed", false, "a bed within the room"),
    ("alias", false, "the name as spoken"),
    ("admitted", false, "a date such as 1938-04-21"),
    (
        "temperature_method",
        false,
        "oral, rectal, axillary, tympanic or temporal",
    ),
    ("pulse_site", false, "radial, apex, brachial or carotid"),
    ("arm", false, "left_arm, right_arm, left_leg or right_leg"),
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
         One resident a line, UTF-8, a header line first, columns in any order. An empty field \
         means that nothing is said. If anything is wrong, nothing is imported and every mistake \
         is named by line, column and what was expected.\n\n\
         | column | required | holds |\n|---|---|---|\n{}\n",
        rows.collect::<Vec<_>>().join("\n")
    )
}

/// A mistake in a roster: where it is, what was found and what was expected.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("line {line}, column {column}: found {found:?}, expected {expected}")]
pub struct CsvError {
    /// Line of the text, from 1; the header is line 1.
    pub line: u64,
    /// Name of the column.
    pub column: String,
    /// What is there.
    pub found: String,
    /// What would be right.
    pub expected: String,
}

/// Reads a roster. Empty fields mean "not said". Values are in the home's
/// `units`.
///
/// # Errors
/// Every mistake in the text; nothing is imported then.
pub fn import_csv(text: &str, units: Units) -> Result<Vec<Resident>, Vec<CsvError>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let headers: Vec<String> = match reader.headers() {
        Ok(headers) => headers.iter().map(str::to_ascii_lowercase).collect(),
        Err(error) => return Err(vec![unreadable(&error)]),
    };
    let mut errors = header_errors(&headers);
    let mut residents = Vec::new();
    let (mut ids, mut beds) = (BTreeSet::new(), BTreeSet::new());
    if errors.is_empty() {
        for record in reader.into_records() {
            let record = match record {
                Ok(record) => record,
                Err(error) => {
                    errors.push(unreadable(&error));
                    continue;
                }
            };
            let mut row = Row::new(&headers, &record);
            let resident = row.resident(units);
            if !ids.insert(resident.id.clone()) {
                row.wrong("id", "an identifier of its own");
            }
            if !beds.insert((resident.room.clone(), resident.bed.clone())) {
                row.wrong("bed", "one resident to a bed");
            }
            errors.append(&mut row.errors);
            residents.push(resident);
        }
    }
    if errors.is_empty() {
        Ok(residents)
    } else {
        Err(errors)
    }
}

fn unreadable(error: &csv::Error) -> CsvError {
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

fn known_columns() -> Vec<String> {
    let named = COLUMNS.iter().map(|(name, ..)| (*name).to_owned());
    let of = |it: RangeOf| ["low", "high", "baseline"].map(|part| format!("{}_{part}", it.tag()));
    let due = VitalSign::ALL.map(|sign| format!("due_{}", sign.tag()));
    named
        .chain(RangeOf::ALL.into_iter().flat_map(of))
        .chain(due)
        .collect()
}

fn header_errors(headers: &[String]) -> Vec<CsvError> {
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

struct Row<'a> {
    line: u64,
    fields: BTreeMap<&'a str, &'a str>,
    errors: Vec<CsvError>,
}

impl<'a> Row<'a> {
    fn new(headers: &'a [String], record: &'a csv::StringRecord) -> Self {
        let names = headers.iter().map(String::as_str);
        let mut row = Self {
            line: record.position().map_or(0, csv::Position::line),
            fields: names.zip(record.iter()).collect(),
            errors: Vec::new(),
        };
        let fields = row.fields.iter();
        let long = fields.filter(|(_, field)| too_long(field));
        for column in long.map(|(column, _)| *column).collect::<Vec<_>>() {
            row.wrong(column, &format!("{LONGEST_TEXT} characters at most"));
        }
        row
    }

    fn wrong(&mut self, column: &str, expected: &str) {
        let found = self.fields.get(column).copied().unwrap_or_default();
        self.errors.push(CsvError {
            line: self.line,
            column: column.to_owned(),
            found: found.chars().take(LONGEST_TEXT).collect(),
            expected: expected.to_owned(),
        });
    }

    /// The field of a column, unless it is empty or not there.
    fn text(&self, column: &str) -> Option<&'a str> {
        let field = self.fields.get(column).copied();
        field.filter(|field| !field.is_empty())
    }

    fn required(&mut self, column: &str) -> &'a str {
        let field = self.text(column);
        if field.is_none() {
            self.wrong(column, holds(column));
        }
        field.unwrap_or_default()
    }

    /// A field read by `read`, or an error that says what the column holds.
    fn read<T>(&mut self, column: &str, read: impl Fn(&str) -> Option<T>) -> Option<T> {
        let value = read(self.text(column)?);
        if value.is_none() {
            self.wrong(column, holds(column));
        }
        value
    }

    fn flag(&mut self, column: &str) -> bool {
        let read = |field: &str| match field.to_ascii_lowercase().as_str() {
            "yes" | "true" | "1" => Some(true),
            "no" | "false" | "0" => Some(false),
            _ => None,
        };
        self.read(column, read).unwrap_or(false)
    }

    fn number(&mut self, column: &str) -> Option<Decimal> {
        let number = Decimal::from_str(self.text(column)?).ok();
        if number.is_none() {
            self.wrong(column, "a number");
        }
        number
    }

    fn resident(&mut self, units: Units) -> Resident {
        let id = ResidentId(self.required("id").to_owned());
        let room = self.required("room");
        let room = if room.is_empty() {
            None
        } else {
            self.read("room", |it| it.parse::<u16>().ok())
        };
        let name = self.required("name").to_owned();
        let birth_date = if self.required("birth_date").is_empty() {
            None
        } else {
            self.read("birth_date", |it| it.parse().ok())
        };
        let set = self.set_by();
        Resident {
            id,
            wing: self.text("wing").map(str::to_owned),
            // A line with a mistake is never imported; its number does not matter.
            room: room.unwrap_or_default().to_string(),
            bed: self.text("bed").map(str::to_owned),
            name,
            birth_date: birth_date.unwrap_or_default(),
            limits: self.limits(units, set),
            care: Care {
                alias: self.text("alias").map(str::to_owned),
                admitted: self.read("admitted", |it| it.parse().ok()),
                usual: self.usual(),
                baselines: self.baselines(units, set),
                precautions: self.precautions(units),
                due: self.due(),
            },
        }
    }

    /// The nurse who set the ranges and baselines of this line, and the day;
    /// they go together.
    fn set_by(&mut self) -> Option<(&'a str, NaiveDate)> {
        let nurse = self.text("set_by");
        let on: Option<NaiveDate> = self.text("set_on").and_then(|it| it.parse().ok());
        if self.text("set_on").is_some() && on.is_none() {
            self.wrong("set_on", holds("set_on"));
            return None;
        }
        match (nurse, on) {
            (Some(nurse), Some(on)) => Some((nurse, on)),
            (None, Some(_)) => {
                self.wrong("set_by", "the nurse who set them, beside set_on");
                None
            }
            (Some(_), None) => {
                self.wrong("set_on", "the day they were set, beside set_by");
                None
            }
            (None, None) => None,
        }
    }

    fn limits(&mut self, units: Units, set: Option<(&str, NaiveDate)>) -> Limits {
        let mut limits = Limits::default();
        for of in RangeOf::ALL {
            let (low_column, high_column) =
                (format!("{}_low", of.tag()), format!("{}_high", of.tag()));
            let (low, high) = match (self.number(&low_column), self.number(&high_column)) {
                (Some(low), Some(high)) => (low, high),
                (None, None) => continue,
                (Some(_), None) => {
                    self.wrong(&high_column, "a number beside the other end of the range");
                    continue;
                }
                (None, Some(_)) => {
                    self.wrong(&low_column, "a number beside the other end of the range");
                    continue;
                }
            };
            let Some((nurse, on)) = set else {
                self.wrong("set_by", "the nurse who set the range, with set_on");
                continue;
            };
            let source = Source::Nurse {
                name: nurse.to_owned(),
                on,
            };
            let (sign, component) = of.target();
            match range(of, (low, high), units.unspoken(sign), source) {
                Ok(range) => limits.set(sign, component, range),
                Err((problem, expected)) => {
                    self.wrong(&low_column, &format!("{expected} ({problem})"));
                }
            }
        }
        limits
    }

    fn baselines(
        &mut self,
        units: Units,
        set: Option<(&str, NaiveDate)>,
    ) -> BTreeMap<RangeOf, Baseline> {
        let mut baselines = BTreeMap::new();
        for of in RangeOf::ALL {
            let column = format!("{}_baseline", of.tag());
            let Some(number) = self.number(&column) else {
                continue;
            };
            let value = Quantity::new(number, units.unspoken(of.target().0));
            if let Err((_, expected)) = possible(of, value) {
                self.wrong(&column, &expected);
            } else if let Some((nurse, on)) = set {
                let nurse = nurse.to_owned();
                baselines.insert(of, Baseline { value, nurse, on });
            } else {
                self.wrong("set_by", "the nurse who set the baseline, with set_on");
            }
        }
        baselines
    }

    fn usual(&mut self) -> UsualMethods {
        UsualMethods {
            temperature: self.read("temperature_method", tagged(Method::ALL, Method::tag)),
            pulse_site: self.read("pulse_site", tagged(PulseSite::ALL, PulseSite::tag)),
            arm: self.read("arm", tagged(Arm::ALL, Arm::tag)),
            position: self.read("position", tagged(Position::ALL, Position::tag)),
            scale: self.read("scale", tagged(Scale::ALL, Scale::tag)),
        }
    }

    fn precautions(&mut self, units: Units) -> Precautions {
        let flow = |it: &str| OxygenFlow::new(it.parse().ok()?).ok();
        let unit = units.unspoken(VitalSign::Weight);
        let weight = |it: &str| {
            let number: Decimal = it.parse().ok()?;
            (number > Decimal::ZERO).then(|| Quantity::new(number, unit))
        };
        let mut limbs_not_to_use = BTreeMap::new();
        for (column, arm) in [
            ("left_arm_not_to_use", Arm::Left),
            ("right_arm_not_to_use", Arm::Right),
        ] {
            let reason = self.read(column, tagged(&LimbReason::ALL, LimbReason::tag));
            limbs_not_to_use.extend(reason.map(|reason| (arm, reason)));
        }
        Precautions {
            on_oxygen: self.flag("on_oxygen"),
            oxygen_flow: self.read("oxygen_flow", flow),
            low_saturation_target: self.flag("low_saturation_target"),
            mouth_breather: self.flag("mouth_breather"),
            limbs_not_to_use,
            no_rectal: self.flag("no_rectal"),
            irregular_pulse: self.flag("irregular_pulse"),
            chair_weight: self.read("chair_weight", weight),
        }
    }

    fn due(&mut self) -> BTreeMap<VitalSign, Frequency> {
        let mut due = BTreeMap::new();
        for sign in VitalSign::ALL {
            let column = format!("due_{}", sign.tag());
            let Some(field) = self.text(&column) else {
                continue;
            };
            match tagged(&Frequency::ALL, Frequency::tag)(field) {
                Some(frequency) => {
                    due.insert(sign, frequency);
                }
                None => self.wrong(&column, &Frequency::ALL.map(Frequency::tag).join(", ")),
            }
        }
        due
    }
}

fn holds(column: &str) -> &'static str {
    let known = COLUMNS.iter().find(|(name, ..)| *name == column);
    known.map_or("nothing", |(_, _, holds)| holds)
}

/// Reads a tag, with or without capitals and with blanks for underscores.
fn tagged<T: Copy>(
    all: &'static [T],
    tag: impl Fn(T) -> &'static str,
) -> impl Fn(&str) -> Option<T> {
    move |field| {
        let field = field.to_ascii_lowercase().replace(' ', "_");
        all.iter().copied().find(|it| tag(*it) == field)
    }
}

#[cfg(test)]
mod tests;
