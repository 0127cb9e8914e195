//! What is wrong with a text that the TOML reader could not take: where it is, what stands
//! there, and what would be right, in words for whoever wrote it.

use std::ops::Range;

use toml::de::Error;

use super::home_limits::LONGEST_TEXT;

/// A mistake in a home's file or its limits.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}, {field}: {problem}; expected {expected}")]
pub struct Mistake {
    /// Line of the text, from 1.
    pub line: usize,
    /// The field, as a path; empty when the line has none.
    pub field: String,
    /// What is wrong with it.
    pub problem: String,
    /// What would be right.
    pub expected: String,
}

/// What is right in a field.
pub(crate) struct Right {
    /// "a day"
    pub kind: &'static str,
    /// How it is written.
    pub expected: &'static str,
}

/// The mistake that the reader found. `right` says of a field, by its own name, what is right
/// where the reader does not know that: it says neither how a day is written, nor what was
/// meant by a field that is missing.
pub(crate) fn mistake(
    text: &str,
    error: &Error,
    right: impl Fn(&str) -> Option<Right>,
    otherwise: &str,
) -> Mistake {
    let span = error.span().unwrap_or_default();
    let message = error.message();
    let line = line_of(text, span.start);
    let above = field_at(text, span.start);
    let made = |field: String, problem: String, expected: String| Mistake {
        line,
        field,
        problem,
        expected,
    };
    let missing = message.strip_prefix("missing field `");
    if let Some(name) = missing.and_then(|it| it.strip_suffix('`')) {
        let above = Some(above).filter(|it| !it.is_empty());
        let path: Vec<String> = above.into_iter().chain([name.to_owned()]).collect();
        let expected = right(name).map_or("it beside the others", |it| it.expected);
        return made(path.join("."), "missing".to_owned(), expected.to_owned());
    }
    let name = above.rsplit('.').next().unwrap_or_default();
    let unknown = message.starts_with("unknown field");
    if let Some(right) = right(name).filter(|_| !unknown) {
        let problem = format!("{} can't be read as {}", found(text, &span), right.kind);
        return made(above, problem, right.expected.to_owned());
    }
    // What is checked with a field of our own says which one.
    let (problem, expected) = message
        .split_once("; expected ")
        .or_else(|| message.split_once(", expected "))
        .unwrap_or((message, otherwise));
    let expected = match expected {
        "u16" => "a whole number without quotes, 0 to 65535",
        "a string" => "text in quotes",
        "a boolean" => "true or false, without quotes",
        expected => expected,
    };
    match problem.split_once(": ") {
        Some((field, problem)) if field.starts_with(&above) && !above.is_empty() => {
            made(field.to_owned(), problem.to_owned(), expected.to_owned())
        }
        _ => made(above, problem.to_owned(), expected.to_owned()),
    }
}

/// What stands where the mistake is: without quotes the reader may have stopped in the midst
/// of it.
fn found(text: &str, span: &Range<usize>) -> String {
    let there = text.get(span.clone()).unwrap_or_default();
    let quoted = there.starts_with(['"', '\'']);
    let before = text.get(..span.start).and_then(|it| it.rfind(['=', '\n']));
    let from = before.map_or(span.start, |it| it + 1);
    let whole = || {
        text.get(from..)
            .and_then(|it| it.split([',', '}', '#', '\n']).next())
    };
    let there = if quoted {
        there
    } else {
        whole().unwrap_or_default()
    };
    there.trim().chars().take(LONGEST_TEXT).collect()
}

/// The line that a place in a text is in, from 1.
pub(crate) fn line_of(text: &str, offset: usize) -> usize {
    let before = text.get(..offset).unwrap_or(text);
    before.matches('\n').count() + 1
}

/// The table header above `offset` and the key before it, as a path.
fn field_at(text: &str, offset: usize) -> String {
    let here = line_of(text, offset);
    let start = text.get(..offset).and_then(|it| it.rfind('\n'));
    let start = start.map_or(0, |it| it + 1);
    let (mut table, mut key) = ("", "");
    for (number, line) in text.lines().enumerate().take(here) {
        let line = line.trim();
        if let Some(header) = line.strip_prefix('[').filter(|_| is_header(line)) {
            let header = header.split(']').next().unwrap_or_default();
            (table, key) = (header.trim_start_matches('['), "");
        } else if number + 1 == here && line.contains('=') {
            // Of several on a line, the one whose value it is, or that stands there.
            let before = text.get(start..offset).unwrap_or_default();
            let after = text.get(offset..).unwrap_or_default();
            let there = || after.split('=').next().unwrap_or_default();
            let named = before.rsplit_once('=').map_or_else(there, |it| it.0);
            key = named.rsplit(['{', ',', '=']).next().unwrap_or_default();
        } else if let Some((list, value)) = line.split_once('=') {
            // A list may go on over several lines.
            let goes_on = value.trim_start().starts_with('[') && !value.contains(']');
            key = if goes_on { list } else { "" };
        } else if number + 1 < here && line.contains(']') {
            key = "";
        }
    }
    let parts = [table, key.trim()].into_iter();
    parts
        .filter(|it| !it.is_empty())
        .collect::<Vec<_>>()
        .join(".")
}

/// A list that goes on over several lines may have lines that begin with a bracket too.
fn is_header(line: &str) -> bool {
    let name = line.trim_start_matches('[');
    name.starts_with(|it: char| it.is_ascii_alphabetic())
}
