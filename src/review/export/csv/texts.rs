//! Fields that hold several things, one after another.

use super::super::{Entry, Retaken, words};
use crate::round::shown;

pub(super) fn flags(entry: &Entry) -> Option<String> {
    let flags: Vec<String> = entry
        .standing_flags()
        .map(|it| it.cause.to_string())
        .collect();
    (!flags.is_empty()).then(|| flags.join(" | "))
}

pub(super) fn reported(entry: &Entry) -> Option<String> {
    let mut names: Vec<&str> = entry
        .flags
        .iter()
        .filter_map(|it| it.reported.map(|report| report.text))
        .collect();
    names.dedup();
    (!names.is_empty()).then(|| names.join(" | "))
}

pub(super) fn taken_again(entry: &Entry) -> Option<String> {
    let each = entry.retaken.iter().map(|it| match it {
        Retaken::After(first, why) => {
            let (first, why) = (shown(&first.measurement), words::retaken(*why));
            format!("first: {first}, {why}")
        }
        Retaken::Again(again, why) => {
            let (again, why) = (shown(&again.measurement), words::retaken(*why));
            format!("again: {again}, {why}")
        }
    });
    let each: Vec<String> = each.collect();
    (!each.is_empty()).then(|| each.join(" | "))
}
