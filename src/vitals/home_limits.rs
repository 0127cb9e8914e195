//! A home's own limits, as a TOML text that is checked as a whole before any of
//! it is used.
//!
//! ```toml
//! policy = "Vital-signs policy 4"
//! on = "2026-02-01"
//! early_warning_score = true
//!
//! [outside_range.pulse]
//! low = 55
//! high = 105
//!
//! [unlikely.temperature]
//! low = 93
//! high = 105
//! unit = "fahrenheit"
//!
//! [rules]
//! weight_30_days = 4
//! ```

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::Deserialize;
use toml::Spanned;

use super::defaults::unlikely_range;
use super::toml_mistake::{Mistake, Right, line_of, mistake};
use super::{
    Bounds, Component, Range, RangeOf, Source, Thresholds, Unit, Units, VitalSign, possible_bounds,
};

/// The longest text of a home's file or limits, in characters: more than any name is,
/// and little beside the longest fact that a home's database takes.
pub(crate) const LONGEST_TEXT: usize = 200;

/// Whether a text has more characters than that.
pub(crate) fn too_long(text: &str) -> bool {
    text.chars().count() > LONGEST_TEXT
}

/// What a home has changed of the defaults. The default value changes nothing.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct HomeLimits {
    outside: BTreeMap<(VitalSign, Component), Range>,
    unlikely: BTreeMap<(VitalSign, Component), Range>,
    thresholds: Thresholds,
    source: Option<Source>,
    early_warning_score: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    policy: Spanned<String>,
    on: NaiveDate,
    #[serde(default)]
    early_warning_score: bool,
    #[serde(default)]
    outside_range: BTreeMap<RangeOf, Spanned<Entry>>,
    #[serde(default)]
    unlikely: BTreeMap<RangeOf, Spanned<Entry>>,
    rules: Option<Spanned<Thresholds>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    low: Decimal,
    high: Decimal,
    unit: Option<Unit>,
}

impl HomeLimits {
    /// Reads a home's limits. `units` are those meant where a range names none.
    ///
    /// Nothing is kept of a text with a mistake: the caller goes on with the
    /// limits it has.
    ///
    /// # Errors
    /// [`Mistake`]: the first.
    pub fn parse(text: &str, units: Units) -> Result<Self, Mistake> {
        let otherwise = "a home's limits as docs/limits.md shows them";
        let file: File =
            toml::from_str(text).map_err(|error| mistake(text, &error, right, otherwise))?;
        let at = |offset: usize, field: &str, problem: &str, expected: String| Mistake {
            line: line_of(text, offset),
            field: field.to_owned(),
            problem: problem.to_owned(),
            expected,
        };
        if file.policy.get_ref().trim().is_empty() {
            let expected = "the name of the policy that sets these limits".to_owned();
            return Err(at(file.policy.span().start, "policy", "empty", expected));
        }
        if too_long(file.policy.get_ref()) {
            let expected = format!("{LONGEST_TEXT} characters at most");
            return Err(at(file.policy.span().start, "policy", "too long", expected));
        }
        let source = Source::Home {
            policy: file.policy.into_inner(),
            on: file.on,
        };
        let mut limits = Self {
            early_warning_score: file.early_warning_score,
            ..Self::default()
        };
        // The unlikely come first: the ranges inside them are held against them.
        for (of, entry) in file.unlikely {
            let (sign, component) = of.target();
            let possible = possible_bounds(sign, component);
            let bounds = bounds(entry.get_ref(), sign, units, possible, "possible");
            let bounds = bounds.map_err(|(problem, expected)| {
                let field = format!("unlikely.{}", of.tag());
                at(entry.span().start, &field, problem, expected)
            })?;
            let source = source.clone();
            let range = Range { bounds, source };
            limits.unlikely.insert((sign, component), range);
        }
        for (of, entry) in file.outside_range {
            let (sign, component) = of.target();
            let unlikely = limits.unlikely_range(sign, component).cloned();
            let unlikely = unlikely.or_else(|| unlikely_range(sign, component));
            let outer = unlikely.map_or(possible_bounds(sign, component), |it| it.bounds);
            let bounds = bounds(entry.get_ref(), sign, units, outer, "likely");
            let bounds = bounds.map_err(|(problem, expected)| {
                let field = format!("outside_range.{}", of.tag());
                at(entry.span().start, &field, problem, expected)
            })?;
            let source = source.clone();
            let range = Range { bounds, source };
            limits.outside.insert((sign, component), range);
        }
        if let Some(rules) = file.rules {
            if let Some(name) = rules.get_ref().senseless() {
                let field = format!("rules.{name}");
                let expected = "a number above nought that can be reached (pain 10, a score 20, a \
                                percentage 100, others below a million), and an urgent score not \
                                below the other";
                let offset = text.find(name).unwrap_or(rules.span().start);
                return Err(at(offset, &field, "out of range", expected.to_owned()));
            }
            limits.thresholds = rules.into_inner();
        }
        limits.source = Some(source);
        Ok(limits)
    }

    /// The home's range outside which a value is reported, if it set one.
    #[must_use]
    pub fn outside_range(&self, sign: VitalSign, component: Component) -> Option<&Range> {
        self.outside.get(&(sign, component))
    }

    /// The home's range outside which a value is measured again, if it set one.
    #[must_use]
    pub fn unlikely_range(&self, sign: VitalSign, component: Component) -> Option<&Range> {
        self.unlikely.get(&(sign, component))
    }

    /// The thresholds of the rules over several readings.
    #[must_use]
    pub const fn thresholds(&self) -> &Thresholds {
        &self.thresholds
    }

    /// The day from which they hold; `None` where nothing was changed.
    #[must_use]
    pub fn since(&self) -> Option<NaiveDate> {
        self.source.as_ref()?.since()
    }

    /// Whether the home has turned the early-warning score on.
    #[must_use]
    pub const fn early_warning_score(&self) -> bool {
        self.early_warning_score
    }

    /// Who set a threshold: the home, if `threshold` picks a different value from
    /// its thresholds than from the defaults; else the publication.
    pub(super) fn source_of<T: PartialEq>(
        &self,
        publication: &str,
        threshold: impl Fn(&Thresholds) -> T,
    ) -> Source {
        let changed = threshold(&self.thresholds) != threshold(&Thresholds::default());
        let home = self.source.clone().filter(|_| changed);
        home.unwrap_or_else(|| Source::Default(publication.to_owned()))
    }
}

/// The bounds of an entry, or what is wrong with it and what would be right.
fn bounds(
    entry: &Entry,
    sign: VitalSign,
    units: Units,
    outer: Bounds,
    layer: &str,
) -> Result<Bounds, (&'static str, String)> {
    let unit = entry.unit.unwrap_or(units.unspoken(sign));
    let Some(outer_as_said) = outer.to(unit) else {
        let right = units.unspoken(sign);
        let expected = format!("a unit of {}, such as {}", sign.name(), right.symbol());
        return Err(("wrong unit", expected));
    };
    if entry.low >= entry.high {
        return Err(("low is not below high", "low < high".to_owned()));
    }
    let bounds = Bounds {
        low: entry.low,
        high: entry.high,
        unit,
    };
    // Compared in the unit in which the outer bounds are exact.
    let within = bounds
        .to(outer.unit)
        .is_some_and(|it| outer.contains(it.low) && outer.contains(it.high));
    if !within {
        let Bounds { low, high, unit } = outer_as_said.rounded();
        let expected = format!("within what is {layer}, {low} to {high} {}", unit.symbol());
        return Err(("too wide", expected));
    }
    Ok(bounds)
}

/// What is right where a field is missing, or holds what can't be read.
fn right(field: &str) -> Option<Right> {
    let (kind, expected) = match field {
        "policy" => (
            "a name",
            "the name of the policy that sets these limits, in quotes",
        ),
        "on" => (
            "a day",
            "the day from which they hold in quotes, year, month and day: on = \"2026-02-01\"",
        ),
        _ => return None,
    };
    Some(Right { kind, expected })
}

#[cfg(test)]
mod tests;
