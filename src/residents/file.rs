//! The home's file: TOML, checked as a whole before any of it is used, and
//! written back in the same shape.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};

use chrono::{NaiveDate, NaiveTime};
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::file_ranges::{BaselineEntry, Dated, RangeEntry, nurse_range, possible};
use super::staff::{StaffEntry, badges, entries, members};
use super::{
    Bedside, Care, Frequency, Home, KeptSound, Resident, ResidentId, UsualMethods, bed_key, lengths,
};
use crate::vitals::{
    Baseline, Limits, Mistake, Precautions, Quantity, RangeOf, Right, Source, Unit, Units,
    VitalSign, is_chair_weight, mistake,
};

/// What is wrong with a home's file.
#[derive(Debug, Error)]
pub enum HomeFileError {
    /// Not TOML, an unknown field, or a field of the wrong kind.
    #[error("{0}")]
    Toml(#[from] Mistake),
    /// Readable, but it cannot be right.
    #[error("{field}: {problem}; expected {expected}")]
    Field {
        /// The field, as a path.
        field: String,
        /// What is wrong with it.
        problem: String,
        /// What would be right.
        expected: String,
    },
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct HomeFile {
    name: String,
    #[serde(default)]
    units: Units,
    #[serde(default, skip_serializing_if = "is_default")]
    bedside: Bedside,
    #[serde(skip_serializing_if = "Option::is_none")]
    kept_sound: Option<KeptSound>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    shifts: Vec<NaiveTime>,
    #[serde(default)]
    nurses: Vec<StaffEntry>,
    aides: Vec<StaffEntry>,
    residents: Vec<ResidentEntry>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ResidentEntry {
    id: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    wing: Option<String>,
    room: u16,
    #[serde(skip_serializing_if = "Option::is_none")]
    bed: Option<String>,
    name: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    alias: Option<String>,
    birth_date: NaiveDate,
    #[serde(skip_serializing_if = "Option::is_none")]
    admitted: Option<NaiveDate>,
    #[serde(default, skip_serializing_if = "is_default")]
    usual: UsualMethods,
    #[serde(default, skip_serializing_if = "is_default")]
    precautions: Precautions,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    due: BTreeMap<VitalSign, Frequency>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    baselines: BTreeMap<RangeOf, BaselineEntry>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    ranges: BTreeMap<RangeOf, Dated>,
}

fn is_default<T: Default + PartialEq>(value: &T) -> bool {
    *value == T::default()
}

impl Home {
    /// Reads a home's file.
    ///
    /// # Errors
    /// [`HomeFileError`] names the line or field and what was expected.
    pub fn from_toml(text: &str) -> Result<Self, HomeFileError> {
        let otherwise = "a home's file like that of the demo round";
        let read = toml::from_str(text);
        let file: HomeFile = read.map_err(|error| mistake(text, &error, right, otherwise))?;
        let mut residents = Vec::with_capacity(file.residents.len());
        let mut ids = BTreeSet::new();
        let mut beds = BTreeMap::new();
        for entry in file.residents {
            let at = format!("residents, id {:?}", entry.id);
            if !ids.insert(entry.id.clone()) {
                return Err(wrong(&at, "used twice", "an identifier of its own"));
            }
            let bed = (entry.room, entry.bed.as_deref().map(bed_key));
            match beds.entry(bed) {
                Entry::Occupied(first) => {
                    let bed = entry.bed.map(|it| format!(", bed {it}"));
                    let place = format!("room {}{}", entry.room, bed.unwrap_or_default());
                    let problem = format!("{place} is taken by {:?}", first.get());
                    return Err(wrong(&at, &problem, "one resident to a bed"));
                }
                Entry::Vacant(free) => {
                    free.insert(entry.id.clone());
                }
            }
            residents.push(resident(entry, file.units, &at)?);
        }
        if file.aides.is_empty() {
            return Err(wrong("aides", "empty", "at least one aide"));
        }
        let badges = badges(file.nurses.iter().chain(&file.aides))?;
        if !(1..=240).contains(&file.bedside.ask_who_after) {
            let field = "bedside.ask_who_after";
            return Err(wrong(field, "too short or too long", "1 to 240 minutes"));
        }
        let home = Self {
            name: file.name,
            units: file.units,
            bedside: file.bedside,
            kept_sound: file.kept_sound,
            shifts: file.shifts,
            nurses: members(file.nurses),
            aides: members(file.aides),
            badges,
            residents,
        };
        lengths::check(&home)?;
        Ok(home)
    }

    /// Writes the home's file, so that [`from_toml`](Self::from_toml) reads the
    /// same home. The home's own limits are a file of their own and not part of
    /// it.
    ///
    /// # Errors
    /// [`HomeFileError::Field`] for a room that is not a number.
    pub fn to_toml(&self) -> Result<String, HomeFileError> {
        let residents = self.residents.iter().map(entry).collect::<Result<_, _>>()?;
        let file = HomeFile {
            name: self.name.clone(),
            units: self.units,
            bedside: self.bedside,
            kept_sound: self.kept_sound,
            shifts: self.shifts.clone(),
            nurses: entries(&self.nurses, &self.badges),
            aides: entries(&self.aides, &self.badges),
            residents,
        };
        let expected = "values that TOML can hold";
        let unwritable = |it: toml::ser::Error| wrong("home", &it.to_string(), expected);
        let mut value = toml::Value::try_from(file).map_err(unwritable)?;
        plain_numbers(&mut value);
        toml::to_string(&value).map_err(unwritable)
    }
}

/// What is right where a field is missing, or holds what can't be read.
fn right(field: &str) -> Option<Right> {
    let (kind, expected) = match field {
        "birth_date" => (
            "a day",
            "the day of birth in quotes, year, month and day: birth_date = \"1938-05-02\"",
        ),
        "admitted" => (
            "a day",
            "a day in quotes, year, month and day: admitted = \"2026-02-01\"",
        ),
        "on" => (
            "a day",
            "a day in quotes, year, month and day: on = \"2026-02-01\"",
        ),
        "shifts" => (
            "a time of day",
            "times in quotes, in brackets: shifts = [\"07:00\", \"15:00\", \"23:00\"]",
        ),
        "units" => ("units", "\"us_customary\" or \"metric\""),
        "room" => ("a room", "a number without quotes: room = 4"),
        _ => return None,
    };
    Some(Right { kind, expected })
}

/// Numbers that people edit are written as numbers: decimals otherwise come out
/// as strings.
fn plain_numbers(value: &mut toml::Value) {
    match value {
        toml::Value::Table(table) => {
            for (key, value) in table.iter_mut() {
                let number = matches!(key.as_str(), "low" | "high" | "value" | "oxygen_flow");
                match value {
                    toml::Value::String(text) if number => {
                        if let Ok(whole) = text.parse() {
                            *value = toml::Value::Integer(whole);
                        } else if let Ok(float) = text.parse::<f64>()
                            && float.to_string() == *text
                        {
                            *value = toml::Value::Float(float);
                        }
                    }
                    other => plain_numbers(other),
                }
            }
        }
        toml::Value::Array(values) => values.iter_mut().for_each(plain_numbers),
        _ => {}
    }
}

pub(super) fn wrong(field: &str, problem: &str, expected: &str) -> HomeFileError {
    HomeFileError::Field {
        field: field.to_owned(),
        problem: problem.to_owned(),
        expected: expected.to_owned(),
    }
}

fn resident(entry: ResidentEntry, units: Units, at: &str) -> Result<Resident, HomeFileError> {
    let mut limits = Limits::default();
    for (of, Dated(ranges)) in entry.ranges {
        let field = format!("{at}, ranges.{}", of.tag());
        for range in ranges {
            let (sign, component) = of.target();
            let range = nurse_range(of, range, units)
                .map_err(|(problem, expected)| wrong(&field, problem, &expected))?;
            limits.set(sign, component, range);
        }
    }
    let mut baselines = BTreeMap::new();
    for (of, entry) in entry.baselines {
        let unit = entry.unit.unwrap_or(units.unspoken(of.target().0));
        let value = Quantity::new(entry.value, unit);
        if let Err((problem, expected)) = possible(of, value) {
            let field = format!("{at}, baselines.{}", of.tag());
            return Err(wrong(&field, problem, &expected));
        }
        let baseline = Baseline {
            value,
            nurse: entry.nurse,
            on: entry.on,
        };
        baselines.insert(of, baseline);
    }
    let chair = entry.precautions.chair_weight;
    if let Some(chair) = chair.filter(|it| !is_chair_weight(*it)) {
        let field = format!("{at}, precautions.chair_weight");
        let (problem, expected) = match chair.to(Unit::Kilogram) {
            None => ("wrong unit", "pound or kilogram"),
            Some(_) => ("not possible", "the weight of an empty chair"),
        };
        return Err(wrong(&field, problem, expected));
    }
    Ok(Resident {
        id: ResidentId(entry.id),
        wing: entry.wing,
        room: entry.room.to_string(),
        bed: entry.bed,
        name: entry.name,
        birth_date: entry.birth_date,
        limits,
        care: Care {
            alias: entry.alias,
            admitted: entry.admitted,
            usual: entry.usual,
            baselines,
            precautions: entry.precautions,
            due: entry.due,
        },
    })
}

/// A resident as the home's file has one.
pub(super) fn written(resident: &Resident) -> Result<toml::Value, HomeFileError> {
    let unwritable =
        |it: toml::ser::Error| wrong("residents", &it.to_string(), "values that TOML can hold");
    let mut value = toml::Value::try_from(entry(resident)?).map_err(unwritable)?;
    plain_numbers(&mut value);
    Ok(value)
}

fn entry(resident: &Resident) -> Result<ResidentEntry, HomeFileError> {
    let room = resident.room.parse().map_err(|_| {
        let field = format!("residents, id {:?}, room", resident.id.0);
        wrong(&field, "not a number", "a room number")
    })?;
    let mut ranges = BTreeMap::new();
    for (sign, component, own) in resident.limits.own() {
        let Some(of) = RangeOf::of(sign, component) else {
            continue;
        };
        let set_by_nurse = own.iter().filter_map(|range| match &range.source {
            Source::Nurse { name, on } => Some(RangeEntry {
                low: range.bounds.low,
                high: range.bounds.high,
                unit: Some(range.bounds.unit),
                nurse: name.clone(),
                on: *on,
            }),
            Source::Home { .. } | Source::Default(_) => None,
        });
        ranges.insert(of, Dated(set_by_nurse.collect()));
    }
    let care = resident.care.clone();
    let baselines = care.baselines.into_iter().map(|(of, it)| {
        let entry = BaselineEntry {
            value: it.value.value(),
            unit: Some(it.value.unit()),
            nurse: it.nurse,
            on: it.on,
        };
        (of, entry)
    });
    Ok(ResidentEntry {
        id: resident.id.0.clone(),
        wing: resident.wing.clone(),
        room,
        bed: resident.bed.clone(),
        name: resident.name.clone(),
        alias: care.alias,
        birth_date: resident.birth_date,
        admitted: care.admitted,
        usual: care.usual,
        precautions: care.precautions,
        due: care.due,
        baselines: baselines.collect(),
        ranges,
    })
}

#[cfg(test)]
mod tests {
    use rust_decimal::dec;

    use super::*;
    use crate::vitals::{Arm, Component, LimbReason, Method, OxygenFlow};

    const FULL: &str = r#"
name = "Larkfield House"
shifts = ["07:00", "15:00", "23:00"]
aides = [{ name = "Tomas Reed", title = "nursing aide", badge = "1204" }]

[[nurses]]
name = "Ines Marlow"
title = "registered nurse"

[[residents]]
id = "r1"
room = 12
bed = "window"
name = "Ada Quillfeather"
alias = "Ada Quill"
birth_date = "1938-04-21"
admitted = "2025-11-02"

[residents.usual]
temperature = "tympanic"
arm = "right"

[residents.precautions]
on_oxygen = true
oxygen_flow = 2.5
irregular_pulse = true
limbs_not_to_use = { left = "fistula" }
chair_weight = { value = 38.5, unit = "pound" }

[residents.due]
weight = "weekly"

[residents.baselines.temperature]
value = 97.4
nurse = "Ines Marlow"
on = "2026-01-05"

[[residents.ranges.pulse]]
low = 50
high = 95
nurse = "Ines Marlow"
on = "2026-01-05"

[[residents.ranges.pulse]]
low = 55
high = 100
nurse = "Ines Marlow"
on = "2026-02-05"

[residents.ranges.systolic]
low = 105
high = 155
nurse = "Ines Marlow"
on = "2026-01-05"
"#;

    #[test]
    fn everything_about_a_resident_is_read() {
        let home = Home::from_toml(FULL).unwrap();
        let resident = &home.residents[0];
        let care = &resident.care;
        assert_eq!(care.usual.temperature, Some(Method::Tympanic));
        let flow = OxygenFlow::new(dec!(2.5)).unwrap();
        assert_eq!(care.precautions.oxygen_flow, Some(flow));
        let reason = care.precautions.limbs_not_to_use.get(&Arm::Left);
        assert_eq!(reason, Some(&LimbReason::Fistula));
        assert_eq!(care.frequency(VitalSign::Weight), Frequency::Weekly);
        assert_eq!(care.frequency(VitalSign::Pulse), Frequency::EveryShift);
        let day = NaiveDate::from_ymd_opt(2026, 2, 4).unwrap();
        let pulse = |day| {
            resident
                .limits
                .own_on(VitalSign::Pulse, Component::Whole, day)
        };
        assert_eq!(pulse(day).unwrap().bounds.low, dec!(50));
        assert_eq!(pulse(day.succ_opt().unwrap()).unwrap().bounds.low, dec!(55));
    }

    #[test]
    fn what_is_written_reads_as_the_same_home() {
        let home = Home::from_toml(FULL).unwrap();
        let written = home.to_toml().unwrap();
        assert_eq!(Home::from_toml(&written).unwrap(), home, "{written}");
        assert!(written.contains("value = 97.4"), "{written}");
        assert!(written.contains("low = 105\n"), "{written}");
    }

    #[test]
    fn a_mistake_names_its_field_and_what_was_expected() {
        let cases = [
            ("low = 105", "low = 156", "ranges.systolic", "low < high"),
            (
                "low = 105",
                "low = 5",
                "ranges.systolic",
                "between 40 and 300 mmHg",
            ),
            (
                "value = 97.4",
                "value = 37.4",
                "baselines.temperature",
                "between 77 and 113 °F",
            ),
            (
                "unit = \"pound\"",
                "unit = \"inch\"",
                "precautions.chair_weight",
                "pound or kilogram",
            ),
            (
                "value = 38.5, unit",
                "value = -38.5, unit",
                "precautions.chair_weight",
                "an empty chair",
            ),
            (
                "oxygen_flow = 2.5",
                "oxygen_flow = 25",
                "line 25",
                "0.1 to 15 liters",
            ),
            ("\"weekly\"", "\"fortnightly\"", "line 31", "`monthly`"),
            ("low = 55\n", "", "ranges.pulse.low", "missing"),
            ("\"1204\"", "\"12a\"", "Tomas Reed", "2 to 8 digits"),
        ];
        for (right, mistake, field, expected) in cases {
            let error = Home::from_toml(&FULL.replace(right, mistake)).unwrap_err();
            let said = error.to_string();
            assert!(said.contains(field) && said.contains(expected), "{said}");
        }
    }
}
