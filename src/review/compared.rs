//! Reports that compare a reading with earlier ones, some of which do not hold any more. The
//! report stays: a nurse was to be told, and decides. She sees what became of what it was
//! compared with.

use super::acts::history;
use super::index::{Act, ActKind, Entry, Flag, Index};
use crate::facts::{Raised, Time};
use crate::vitals::rules::Rule;
use crate::vitals::{Measurement, Reading};

/// An earlier reading that was retracted or corrected after a report compared with it.
#[derive(Debug, Clone, Copy)]
pub struct Gone<'a> {
    /// The reading.
    pub entry: &'a Entry,
    /// What it was then.
    pub was: &'a Measurement,
    /// What was done to it.
    pub act: &'a Act,
    /// When it was measured, as that stood then.
    at: Time,
}

/// What a report compared with and is otherwise now. Nothing where the report would be made
/// just so today, and of several only those that alone would have it made so again, if there
/// are any.
#[must_use]
pub fn gone<'a>(index: &'a Index, flag: &Flag) -> Vec<Gone<'a>> {
    let compares = matches!(&flag.raised, Raised::Rule(it) if is_comparison(it.rule));
    let entry = index.reading(flag.reading).filter(|it| !it.retracted);
    let (true, Some(entry)) = (compares, entry) else {
        return Vec::new();
    };
    let sign = entry.measurement.sign();
    let others = index.readings_of(&flag.resident);
    let others = others.filter(|it| it.id != entry.id && it.measurement.sign() == sign);
    let mut gone: Vec<Gone<'a>> = others.filter_map(|it| since(index, it, flag.at)).collect();
    gone.retain(|it| it.at <= entry.measured_at);
    let raised_with = |before: &[Gone<'_>]| {
        let resident = index.home().resident(&flag.resident);
        let now = (entry.measured_at, entry.measurement.as_ref());
        let before = before.iter().map(|it| (it.at, it.was));
        let all = [now].into_iter().chain(before);
        let history = history(index, &flag.resident, entry.id, all);
        let reading = Reading {
            at: entry.measured_at,
            measurement: entry.measurement.as_ref().clone(),
        };
        let raised = resident.map(|it| Raised::by(it.known(&history), &reading));
        raised.is_some_and(|it| it.contains(&flag.raised))
    };
    if gone.is_empty() || raised_with(&[]) {
        return Vec::new();
    }
    let alone = |it: &Gone<'a>| raised_with(std::slice::from_ref(it));
    let each: Vec<Gone<'a>> = gone.iter().copied().filter(alone).collect();
    if each.is_empty() { gone } else { each }
}

/// What was done to a reading since, and what it was before that.
fn since<'a>(index: &'a Index, entry: &'a Entry, then: Time) -> Option<Gone<'a>> {
    let changed = |it: &&Act| !matches!(it.kind, ActKind::Noted(_));
    let mut acts = index.acts(entry.id).iter().filter(changed);
    let first = acts.find(|it| it.at >= then)?;
    let last = acts.next_back().unwrap_or(first);
    let (was, at) = match &first.kind {
        ActKind::Corrected { it, .. } => (&it.old, it.time.map(|it| it.old)),
        _ => (entry.measurement.as_ref(), None),
    };
    Some(Gone {
        entry,
        was,
        act: last,
        at: at.unwrap_or(entry.measured_at),
    })
}

/// Whether a rule is about a reading beside earlier ones of its vital sign.
const fn is_comparison(rule: Rule) -> bool {
    matches!(
        rule,
        Rule::RepeatedOral
            | Rule::RepeatedRectal
            | Rule::OverBaseline
            | Rule::WeightChange { .. }
            | Rule::StandingFall
            | Rule::ChangeFromUsual
            | Rule::Trend
    )
}
