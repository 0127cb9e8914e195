//! One vital sign of one resident over time: what is to be drawn, and the
//! drawing ([`draw`]).

mod draw;

use chrono::{Days, NaiveDate};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;
use uuid::Uuid;

use super::index::{Entry, Index};
use super::now::Now;
use crate::facts::Time;
use crate::residents::Resident;
use crate::vitals::rules::{WeightChange, weight_changes};
use crate::vitals::{Component, History, RangeOf, Reading, Unit, VitalSign};

pub use draw::{Size, draw};

/// Spans that may be chosen, in days.
pub const SPANS: [u32; 6] = [7, 30, 90, 180, 365, 1095];
/// The span where none is chosen.
pub const USUAL_SPAN: u32 = 30;

/// A number on its way to the screen.
fn number(it: Decimal) -> f64 {
    it.to_f64().unwrap_or_default()
}

/// Lowest, middle and highest of one part, at one place in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Lowest.
    pub low: f64,
    /// Median.
    pub middle: f64,
    /// Highest.
    pub high: f64,
}

/// One mark: a reading, or several that lie too close to be told apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// When; the middle one's time where there are several.
    pub at: Time,
    /// The reading, where it is one.
    pub reading: Option<Uuid>,
    /// How many readings.
    pub count: usize,
    /// One for each part: systolic before diastolic, which no palpated pressure has.
    pub parts: Vec<Option<Spread>>,
    /// How many of them are outside their range.
    pub flagged: usize,
    /// Each value outside its range, at its own time.
    pub outside: Vec<(Time, f64)>,
    /// Whether one of them was corrected.
    pub corrected: bool,
}

/// A range and the days on which it was in force.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Which part of the vital sign: an index into [`Mark::parts`].
    pub part: usize,
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub to: NaiveDate,
    /// Low end.
    pub low: f64,
    /// High end.
    pub high: f64,
}

/// What is usual, as one number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usual {
    /// The number.
    pub value: f64,
    /// Whether a nurse set it; else it is the median of what is shown.
    pub set: bool,
}

/// What is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Trend {
    /// The vital sign.
    pub sign: VitalSign,
    /// The unit of all numbers.
    pub unit: Unit,
    /// First moment shown.
    pub from: Time,
    /// Last moment shown.
    pub to: Time,
    /// The readings, oldest first.
    pub marks: Vec<Mark>,
    /// The ranges.
    pub bands: Vec<Band>,
    /// For each part.
    pub usual: Vec<Option<Usual>>,
    /// How many readings there are behind the marks.
    pub readings: usize,
    /// How many of them are blood pressures by palpation.
    pub palpated: usize,
}

const fn parts(sign: VitalSign) -> &'static [Component] {
    match sign {
        VitalSign::BloodPressure => &[Component::Systolic, Component::Diastolic],
        _ => &[Component::Whole],
    }
}

impl Trend {
    /// A vital sign since so many days back, in at most `most` marks. `None` where
    /// there is nothing to draw.
    #[must_use]
    pub fn of(
        index: &Index,
        resident: &Resident,
        sign: VitalSign,
        (days, most): (u32, usize),
        now: Now<'_>,
    ) -> Option<Self> {
        let from = now.days_back(days);
        let unit = index.home().units.unspoken(sign);
        let newest_first = index.readings_of(&resident.id).rev();
        let mut entries: Vec<&Entry> = newest_first
            .take_while(|it| it.measured_at >= from)
            .filter(|it| it.measurement.sign() == sign && !it.retracted)
            .filter(|it| !it.measurement.components().is_empty())
            .collect();
        entries.reverse();
        if entries.is_empty() {
            return None;
        }
        let shown = |at| now.shown(at).date_naive();
        let bands = bands(resident, sign, unit, (shown(from), shown(now.at)));
        let drawn = Drawn {
            sign,
            unit,
            bands: &bands,
            now,
        };
        let marks = marks(&entries, drawn, (from, now.at), most);
        let usual = usual(resident, drawn, &entries);
        Some(Self {
            sign,
            unit,
            from,
            to: now.shown(now.at),
            bands,
            usual,
            readings: entries.len(),
            palpated: entries
                .iter()
                .filter(|it| it.measurement.is_palpated())
                .count(),
            marks,
        })
    }

    /// Lowest and highest of a part.
    #[must_use]
    pub fn extent(&self, part: usize) -> Option<(f64, f64)> {
        let spreads = || {
            self.marks
                .iter()
                .filter_map(|it| it.parts.get(part)?.as_ref())
        };
        let low = spreads().map(|it| it.low).reduce(f64::min)?;
        let high = spreads().map(|it| it.high).reduce(f64::max)?;
        Some((low, high))
    }
}

/// What all marks of a drawing have in common.
#[derive(Clone, Copy)]
struct Drawn<'a> {
    sign: VitalSign,
    unit: Unit,
    bands: &'a [Band],
    now: Now<'a>,
}

impl Drawn<'_> {
    fn value(&self, entry: &Entry, part: Component) -> Option<f64> {
        let all = entry.measurement.components();
        let (_, quantity) = all.into_iter().find(|(it, _)| *it == part)?;
        Some(number(quantity.to(self.unit)?.value()))
    }

    fn sorted(&self, entries: &[&Entry], part: Component) -> Vec<f64> {
        let values = entries.iter().filter_map(|it| self.value(it, part));
        let mut values: Vec<f64> = values.collect();
        values.sort_by(f64::total_cmp);
        values
    }

    /// The values of a flagged reading that lie outside their range; the first
    /// where a rule and no range was met.
    fn outside(&self, entry: &Entry) -> Vec<(Time, f64)> {
        let at = entry.measured_at;
        let day = self.now.shown(at).date_naive();
        let values = parts(self.sign).iter().map(|it| self.value(entry, *it));
        let values: Vec<(usize, f64)> = values
            .enumerate()
            .filter_map(|(part, it)| Some((part, it?)))
            .collect();
        let beyond = |&&(part, value): &&(usize, f64)| {
            let mut bands = self.bands.iter();
            let band = bands.find(|it| it.part == part && it.from <= day && day <= it.to);
            band.is_some_and(|it| value < it.low || it.high < value)
        };
        let found: Vec<_> = values.iter().filter(beyond).collect();
        let found = if found.is_empty() {
            values.iter().take(1).collect()
        } else {
            found
        };
        found.into_iter().map(|(_, value)| (at, *value)).collect()
    }
}

fn marks(entries: &[&Entry], drawn: Drawn<'_>, (from, to): (Time, Time), most: usize) -> Vec<Mark> {
    if entries.len() <= most {
        return entries.iter().map(|it| mark(&[*it], drawn)).collect();
    }
    // Equal pieces of time, so that a busy week does not look longer.
    let pieces = i64::try_from(most).unwrap_or(i64::MAX);
    let piece = ((to - from).num_seconds() / pieces).max(1);
    let of = |it: &&Entry| (it.measured_at - from).num_seconds() / piece;
    let groups = entries.chunk_by(|one, other| of(one) == of(other));
    groups.map(|it| mark(it, drawn)).collect()
}

fn mark(entries: &[&Entry], drawn: Drawn<'_>) -> Mark {
    let spread = |part: &Component| {
        let values = drawn.sorted(entries, *part);
        Some(Spread {
            low: *values.first()?,
            middle: median(&values)?,
            high: *values.last()?,
        })
    };
    Mark {
        at: entries[entries.len() / 2].measured_at,
        reading: (entries.len() == 1).then(|| entries[0].id),
        count: entries.len(),
        parts: parts(drawn.sign).iter().map(spread).collect(),
        flagged: entries.iter().filter(|it| it.flagged).count(),
        outside: entries
            .iter()
            .filter(|it| it.flagged)
            .flat_map(|it| drawn.outside(it))
            .collect(),
        corrected: entries.iter().any(|it| it.corrected()),
    }
}

/// The middle of sorted numbers.
fn median(sorted: &[f64]) -> Option<f64> {
    let (middle, odd) = (sorted.len() / 2, sorted.len() % 2 == 1);
    if odd {
        sorted.get(middle).copied()
    } else {
        let (low, high) = (sorted.get(middle.checked_sub(1)?)?, sorted.get(middle)?);
        Some(f64::midpoint(*low, *high))
    }
}

fn usual(resident: &Resident, drawn: Drawn<'_>, entries: &[&Entry]) -> Vec<Option<Usual>> {
    let each = parts(drawn.sign).iter();
    each.map(|component| {
        let of = RangeOf::of(drawn.sign, *component);
        let set = of.and_then(|of| resident.care.baselines.get(&of));
        if let Some(value) = set.and_then(|it| it.value.to(drawn.unit)) {
            let value = number(value.value());
            return Some(Usual { value, set: true });
        }
        // Of the readings, not of the marks: a busy day counts as often as it was.
        let all = drawn.sorted(entries, *component);
        // Of fewer the median says nothing.
        let value = (all.len() >= 5).then(|| median(&all)).flatten()?;
        Some(Usual { value, set: false })
    })
    .collect()
}

fn bands(
    resident: &Resident,
    sign: VitalSign,
    unit: Unit,
    (from, to): (NaiveDate, NaiveDate),
) -> Vec<Band> {
    let mut bands: Vec<Band> = Vec::new();
    for (part, component) in parts(sign).iter().enumerate() {
        let mut last: Option<Band> = None;
        let days = from.iter_days().take_while(|it| *it <= to);
        for day in days {
            let range = resident.limits.range_on(sign, *component, day);
            let bounds = range
                .and_then(|it| it.bounds.to(unit))
                .map(|it| it.rounded());
            let band = bounds.map(|it| Band {
                part,
                from: day,
                to: day,
                low: number(it.low),
                high: number(it.high),
            });
            match (&mut last, band) {
                (Some(last), Some(band)) if (last.low, last.high) == (band.low, band.high) => {
                    last.to = day;
                }
                (_, band) => {
                    bands.extend(last.take());
                    last = band;
                }
            }
        }
        bands.extend(last);
    }
    bands
}

/// The resident's last weight against those of 30, 90 and 180 days before.
#[must_use]
pub fn weight_compared(index: &Index, resident: &Resident) -> Vec<WeightChange> {
    let Some(last) = index.last(&resident.id, VitalSign::Weight) else {
        return Vec::new();
    };
    let reading = |it: &Entry| Reading {
        at: it.measured_at,
        measurement: it.measurement.as_ref().clone(),
    };
    // The longest interval and what may stand for its start.
    let from = last.measured_at.checked_sub_days(Days::new(400));
    let from = from.unwrap_or(last.measured_at);
    let history: History = index
        .readings_of(&resident.id)
        .rev()
        .take_while(|it| it.measured_at >= from)
        .filter(|it| it.measurement.sign() == VitalSign::Weight && !it.retracted)
        .map(reading)
        .collect();

    weight_changes(resident.known(&history), &reading(last))
}

#[cfg(test)]
mod tests;
