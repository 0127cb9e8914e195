//! A line of a table: its fields, read one by one, with what is wrong in each.

use std::collections::BTreeMap;
use std::str::FromStr as _;

use chrono::NaiveDate;
use rust_decimal::Decimal;

use super::CsvError;
use super::columns::holds;
use crate::residents::Home;
use crate::residents::names::{begins_like_formula, name_expected};
use crate::vitals::{LONGEST_TEXT, too_long};

/// A line of the table, and what is wrong in it.
pub(super) struct Row<'a> {
    pub(super) line: u64,
    pub(super) fields: BTreeMap<&'a str, &'a str>,
    pub(super) home: &'a Home,
    pub(super) today: NaiveDate,
    /// Whether an empty field takes away what the home's file has.
    pub(super) drop: bool,
    pub(super) errors: Vec<CsvError>,
}

impl<'a> Row<'a> {
    pub(super) fn new(
        headers: &'a [String],
        record: &'a csv::StringRecord,
        (home, today, drop): (&'a Home, NaiveDate, bool),
    ) -> Self {
        let names = headers.iter().map(String::as_str);
        let mut row = Self {
            line: record.position().map_or(0, csv::Position::line),
            fields: names.zip(record.iter()).collect(),
            home,
            today,
            drop,
            errors: Vec::new(),
        };
        let fields = row.fields.iter();
        let long = fields.filter(|(_, field)| too_long(field));
        for column in long.map(|(column, _)| *column).collect::<Vec<_>>() {
            row.wrong(column, &format!("{LONGEST_TEXT} characters at most"));
        }
        for column in ["id", "wing", "bed"] {
            if row.text(column).is_some_and(begins_like_formula) {
                let expected = format!("{}, and nothing that begins like a formula", holds(column));
                row.wrong(column, &expected);
            }
        }
        for column in ["name", "alias"] {
            if let Some(expected) = row.text(column).and_then(name_expected) {
                row.wrong(column, expected);
            }
        }
        row
    }

    pub(super) fn wrong(&mut self, column: &str, expected: &str) {
        let found = self.fields.get(column).copied().unwrap_or_default();
        self.errors.push(CsvError {
            line: self.line,
            column: column.to_owned(),
            found: found.chars().take(LONGEST_TEXT).collect(),
            expected: expected.to_owned(),
        });
    }

    /// The field of a column, unless it is empty or not there.
    pub(super) fn text(&self, column: &str) -> Option<&'a str> {
        let field = self.fields.get(column).copied();
        field.filter(|field| !field.is_empty())
    }

    /// Whether what was known stays: the field is not there, or empty and not to
    /// take anything away.
    pub(super) fn leaves(&self, column: &str) -> bool {
        self.text(column).is_none() && !(self.drop && self.fields.contains_key(column))
    }

    pub(super) fn required(&mut self, column: &str) -> &'a str {
        let field = self.text(column);
        if field.is_none() {
            self.wrong(column, holds(column));
        }
        field.unwrap_or_default()
    }

    /// A field read by `read`, or an error that says what the column holds.
    pub(super) fn read<T>(&mut self, column: &str, read: impl Fn(&str) -> Option<T>) -> Option<T> {
        let value = read(self.text(column)?);
        if value.is_none() {
            self.wrong(column, holds(column));
        }
        value
    }

    /// The same, or what was `known` where the field leaves it.
    pub(super) fn read_over<T>(
        &mut self,
        column: &str,
        known: Option<T>,
        read: impl Fn(&str) -> Option<T>,
    ) -> Option<T> {
        if self.leaves(column) {
            known
        } else {
            self.read(column, read)
        }
    }

    pub(super) fn flag(&mut self, column: &str, known: bool) -> bool {
        let read = |field: &str| match field.to_ascii_lowercase().as_str() {
            "yes" | "true" | "1" => Some(true),
            "no" | "false" | "0" => Some(false),
            _ => None,
        };
        self.read_over(column, Some(known), read).unwrap_or(false)
    }

    /// A day that has been.
    pub(super) fn day(&mut self, column: &str) -> Option<NaiveDate> {
        let day: NaiveDate = self.read(column, |it| it.parse().ok())?;
        if day > self.today {
            self.wrong(column, "a day that has been");
        }
        Some(day)
    }

    pub(super) fn number(&mut self, column: &str) -> Option<Decimal> {
        let number = Decimal::from_str(self.text(column)?).ok();
        if number.is_none() {
            self.wrong(column, "a number");
        }
        number
    }
}

/// Reads a tag, with or without capitals and with blanks for underscores.
pub(super) fn tagged<T: Copy>(
    all: &'static [T],
    tag: impl Fn(T) -> &'static str,
) -> impl Fn(&str) -> Option<T> {
    move |field| {
        let field = field.to_ascii_lowercase().replace(' ', "_");
        all.iter().copied().find(|it| tag(*it) == field)
    }
}
