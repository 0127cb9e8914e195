//! A roster as CSV, as a home exports it from its own system: one resident a
//! line, columns by name in any order. Either all of it is imported or none. What
//! it does not say of a resident stays as the home's file has it.

mod columns;
mod row;

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use thiserror::Error;

use self::columns::{header_errors, unreadable};
use self::row::{Row, tagged};
use super::file_ranges::{possible, range};
use super::{Care, Frequency, Home, Resident, ResidentId, UsualMethods};
use crate::vitals::{
    Arm, Baseline, LimbReason, Limits, Method, OxygenFlow, Position, Precautions, PulseSite,
    Quantity, RangeOf, Scale, Source, VitalSign, is_chair_weight,
};

pub use self::columns::columns_table;

/// Nobody in a home was born before it.
const FIRST_BIRTH: NaiveDate = NaiveDate::from_ymd_opt(1900, 1, 1).expect("a day");

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

/// A resident as a line of a table leaves one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Imported {
    /// As it is to be.
    pub resident: Resident,
    /// As it would be if each empty field took away what the home's file has; none where no
    /// field is empty, or where that would be a mistake.
    pub bare: Option<Resident>,
}

/// Reads a roster. Values are in the home's units. What a line does not say of a
/// resident is as `home` has it, or as nothing said of a new one; with `drop`, an
/// empty field takes away what `home` has.
///
/// # Errors
/// Every mistake in the text; nothing is imported then.
pub fn import_csv(
    text: &str,
    home: &Home,
    today: NaiveDate,
    drop: bool,
) -> Result<Vec<Imported>, Vec<CsvError>> {
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
    let (mut ids, mut beds) = (BTreeSet::new(), BTreeMap::new());
    if errors.is_empty() {
        for record in reader.into_records() {
            let record = match record {
                Ok(record) => record,
                Err(error) => {
                    errors.push(unreadable(&error));
                    continue;
                }
            };
            // A table's program writes the rows below the last resident as commas alone.
            if record.iter().all(str::is_empty) {
                continue;
            }
            let mut row = Row::new(&headers, &record, (home, today, drop));
            let resident = row.resident();
            if !ids.insert(resident.id.clone()) {
                row.wrong("id", "an identifier of its own");
            }
            match beds.entry(resident.place_key()) {
                Entry::Occupied(first) => {
                    let expected = format!("one resident to a bed; line {} has it", first.get());
                    row.wrong("bed", &expected);
                }
                Entry::Vacant(free) => {
                    free.insert(row.line);
                }
            }
            errors.append(&mut row.errors);
            let bare = row.bare(&resident.id);
            residents.push(Imported { resident, bare });
        }
    }
    if errors.is_empty() && residents.is_empty() {
        errors.push(CsvError {
            line: 2,
            column: "all".to_owned(),
            found: String::new(),
            expected: "a line for each resident".to_owned(),
        });
    }
    if errors.is_empty() {
        Ok(residents)
    } else {
        Err(errors)
    }
}

impl<'a> Row<'a> {
    /// The same with nothing kept where a field is empty, of one whom the home's file has.
    fn bare(&mut self, id: &ResidentId) -> Option<Resident> {
        let empty = || self.fields.values().any(|it| it.is_empty());
        if self.drop || self.home.resident(id).is_none() || !empty() {
            return None;
        }
        self.drop = true;
        let bare = self.resident();
        self.drop = false;
        std::mem::take(&mut self.errors).is_empty().then_some(bare)
    }

    fn resident(&mut self) -> Resident {
        let id = ResidentId(self.required("id").to_owned());
        let room = self.required("room");
        let room = if room.is_empty() {
            None
        } else {
            self.read("room", |it| it.parse::<u16>().ok().filter(|it| *it > 0))
        };
        let name = self.required("name").to_owned();
        let birth_date = if self.required("birth_date").is_empty() {
            None
        } else {
            self.day("birth_date")
        };
        if birth_date.is_some_and(|it| it < FIRST_BIRTH) {
            self.wrong("birth_date", "a day in 1900 or later");
        }
        let known = self.home.resident(&id);
        // Where someone lives is as written: a new room has its own bed.
        let place = |column: &str, known: Option<&String>| match self.fields.get(column) {
            Some(_) => self.text(column).map(str::to_owned),
            None => known.cloned(),
        };
        let wing = place("wing", known.and_then(|it| it.wing.as_ref()));
        let bed = place("bed", known.and_then(|it| it.bed.as_ref()));
        let care = known.map(|it| it.care.clone()).unwrap_or_default();
        let limits = known.map(|it| it.limits.clone()).unwrap_or_default();
        let set = self.set_by(known);
        let admitted = if self.leaves("admitted") {
            care.admitted
        } else {
            self.day("admitted")
        };
        Resident {
            id,
            wing,
            // A line with a mistake is never imported; its number does not matter.
            room: room.unwrap_or_default().to_string(),
            bed,
            name,
            birth_date: birth_date.unwrap_or_default(),
            limits: self.limits(limits, set),
            care: Care {
                alias: self.read_over("alias", care.alias, |it| Some(it.to_owned())),
                admitted,
                usual: self.usual(&care.usual),
                baselines: self.baselines(care.baselines, set),
                precautions: self.precautions(care.precautions),
                due: self.due(care.due),
            },
        }
    }

    /// The nurse who set the ranges and baselines of this line, and the day;
    /// they go together. One who is no nurse of the home any more is believed
    /// where the home's file names her for this resident already.
    fn set_by(&mut self, known: Option<&Resident>) -> Option<(&'a str, NaiveDate)> {
        let nurse = self.text("set_by");
        let on = self.day("set_on");
        if self.text("set_on").is_some() && on.is_none() {
            return None;
        }
        let nurses = &self.home.nurses;
        let is_known = |name: &str| {
            nurses.iter().any(|it| it.name == name) || known.is_some_and(|it| has_set(it, name))
        };
        if nurse.is_some_and(|it| !is_known(it)) {
            let names: Vec<&str> = nurses.iter().map(|it| it.name.as_str()).collect();
            self.wrong(
                "set_by",
                &format!("a nurse of the home: {}", names.join(", ")),
            );
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

    fn limits(&mut self, mut limits: Limits, set: Option<(&str, NaiveDate)>) -> Limits {
        for of in RangeOf::ALL {
            let (low_column, high_column) =
                (format!("{}_low", of.tag()), format!("{}_high", of.tag()));
            let (low, high) = match (self.number(&low_column), self.number(&high_column)) {
                (Some(low), Some(high)) => (low, high),
                (None, None) => {
                    if !self.leaves(&low_column) || !self.leaves(&high_column) {
                        let (sign, component) = of.target();
                        limits.forget(sign, component);
                    }
                    continue;
                }
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
            let unit = self.home.units.unspoken(sign);
            match range(of, (low, high), unit, source) {
                Ok(range) => limits.set_once(sign, component, range),
                Err((problem, expected)) => {
                    self.wrong(&low_column, &format!("{expected} ({problem})"));
                }
            }
        }
        limits
    }

    fn baselines(
        &mut self,
        mut baselines: BTreeMap<RangeOf, Baseline>,
        set: Option<(&str, NaiveDate)>,
    ) -> BTreeMap<RangeOf, Baseline> {
        for of in RangeOf::ALL {
            let column = format!("{}_baseline", of.tag());
            let Some(number) = self.number(&column) else {
                if !self.leaves(&column) {
                    baselines.remove(&of);
                }
                continue;
            };
            let value = Quantity::new(number, self.home.units.unspoken(of.target().0));
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

    fn usual(&mut self, known: &UsualMethods) -> UsualMethods {
        UsualMethods {
            temperature: self.read_over(
                "temperature_method",
                known.temperature,
                tagged(Method::ALL, Method::tag),
            ),
            pulse_site: self.read_over(
                "pulse_site",
                known.pulse_site,
                tagged(PulseSite::ALL, PulseSite::tag),
            ),
            arm: self.read_over("arm", known.arm, tagged(Arm::ALL, Arm::tag)),
            position: self.read_over(
                "position",
                known.position,
                tagged(Position::ALL, Position::tag),
            ),
            scale: self.read_over("scale", known.scale, tagged(Scale::ALL, Scale::tag)),
        }
    }

    fn precautions(&mut self, known: Precautions) -> Precautions {
        let flow = |it: &str| OxygenFlow::new(it.parse().ok()?).ok();
        let unit = self.home.units.unspoken(VitalSign::Weight);
        let weight = |it: &str| {
            let weight = Quantity::new(it.parse().ok()?, unit);
            is_chair_weight(weight).then_some(weight)
        };
        let mut limbs_not_to_use = known.limbs_not_to_use;
        for (column, arm) in [
            ("left_arm_not_to_use", Arm::Left),
            ("right_arm_not_to_use", Arm::Right),
        ] {
            let read = tagged(&LimbReason::ALL, LimbReason::tag);
            let reason = self.read_over(column, limbs_not_to_use.remove(&arm), read);
            limbs_not_to_use.extend(reason.map(|reason| (arm, reason)));
        }
        Precautions {
            on_oxygen: self.flag("on_oxygen", known.on_oxygen),
            oxygen_flow: self.read_over("oxygen_flow", known.oxygen_flow, flow),
            low_saturation_target: self.flag("low_saturation_target", known.low_saturation_target),
            mouth_breather: self.flag("mouth_breather", known.mouth_breather),
            limbs_not_to_use,
            no_rectal: self.flag("no_rectal", known.no_rectal),
            irregular_pulse: self.flag("irregular_pulse", known.irregular_pulse),
            chair_weight: self.read_over("chair_weight", known.chair_weight, weight),
        }
    }

    fn due(&mut self, mut due: BTreeMap<VitalSign, Frequency>) -> BTreeMap<VitalSign, Frequency> {
        for sign in VitalSign::ALL {
            let column = format!("due_{}", sign.tag());
            let Some(field) = self.text(&column) else {
                if !self.leaves(&column) {
                    due.remove(&sign);
                }
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

/// Whether a nurse of this name has set a range or baseline of a resident.
fn has_set(resident: &Resident, name: &str) -> bool {
    let mut ranges = resident.limits.own().flat_map(|(.., ranges)| ranges);
    let of = |it: &Source| matches!(it, Source::Nurse { name: nurse, .. } if nurse == name);
    let mut baselines = resident.care.baselines.values();
    ranges.any(|it| of(&it.source)) || baselines.any(|it| it.nurse == name)
}

#[cfg(test)]
mod tests;
