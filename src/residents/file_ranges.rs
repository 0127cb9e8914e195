//! Ranges and baselines as they stand in the home's file, and whether they can
//! be right.

use std::fmt;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::de::value::{MapAccessDeserializer, SeqAccessDeserializer};
use serde::de::{MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::vitals::{Bounds, Quantity, Range, RangeOf, Source, Unit, Units, possible_bounds};

/// The ranges of one vital sign: written as one, or as a list once a nurse has
/// set another.
pub(super) struct Dated(pub Vec<RangeEntry>);

impl Serialize for Dated {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.0.as_slice() {
            [only] => only.serialize(serializer),
            several => several.serialize(serializer),
        }
    }
}

impl<'de> Deserialize<'de> for Dated {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct OneOrMany;

        impl<'de> Visitor<'de> for OneOrMany {
            type Value = Dated;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a range, or a list of dated ranges")
            }

            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Dated, A::Error> {
                let only = RangeEntry::deserialize(MapAccessDeserializer::new(map))?;
                Ok(Dated(vec![only]))
            }

            fn visit_seq<A: SeqAccess<'de>>(self, seq: A) -> Result<Dated, A::Error> {
                Vec::deserialize(SeqAccessDeserializer::new(seq)).map(Dated)
            }
        }

        deserializer.deserialize_any(OneOrMany)
    }
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RangeEntry {
    pub low: Decimal,
    pub high: Decimal,
    pub unit: Option<Unit>,
    pub nurse: String,
    pub on: NaiveDate,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct BaselineEntry {
    pub value: Decimal,
    pub unit: Option<Unit>,
    pub nurse: String,
    pub on: NaiveDate,
}

pub(super) type Mistake = (&'static str, String);

/// A range that a nurse has set.
pub(super) fn nurse_range(of: RangeOf, entry: RangeEntry, units: Units) -> Result<Range, Mistake> {
    let unit = entry.unit.unwrap_or(units.unspoken(of.target().0));
    let source = Source::Nurse {
        name: entry.nurse,
        on: entry.on,
    };
    range(of, (entry.low, entry.high), unit, source)
}

/// A resident's own range, or what is wrong with it and what would be right.
pub(super) fn range(
    of: RangeOf,
    (low, high): (Decimal, Decimal),
    unit: Unit,
    source: Source,
) -> Result<Range, Mistake> {
    if low >= high {
        return Err(("low is not below high", "low < high".to_owned()));
    }
    possible(of, Quantity::new(low, unit))?;
    possible(of, Quantity::new(high, unit))?;
    let bounds = Bounds { low, high, unit };
    Ok(Range { bounds, source })
}

/// Whether a person can have `value`, or what would be right.
pub(super) fn possible(of: RangeOf, value: Quantity) -> Result<(), Mistake> {
    let (sign, component) = of.target();
    let canonical = possible_bounds(sign, component);
    let Some(bounds) = canonical.to(value.unit()) else {
        return Err(("wrong unit", "a unit of this vital sign".to_owned()));
    };
    if canonical.contains(value.canonical().value()) {
        return Ok(());
    }
    let Bounds { low, high, unit } = bounds.rounded();
    let expected = format!("between {low} and {high} {}", unit.symbol());
    Err(("not possible", expected))
}
