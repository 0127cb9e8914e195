//! How long a text of a home's file may be. Names are in what is recorded, and a
//! home's database refuses a fact that is too long.

use super::file::{HomeFileError, wrong};
use super::{Home, Resident, Staff};
use crate::vitals::{LONGEST_TEXT, Source, too_long};

/// So much of an identifier tells which it is.
const SHOWN: usize = 20;

/// Whether all texts are short enough.
pub(super) fn check(home: &Home) -> Result<(), HomeFileError> {
    short("name", &home.name)?;
    for Staff { name, title } in home.staff() {
        short("staff, name", name)?;
        short(&format!("staff, name {name:?}, title"), title)?;
    }
    home.residents.iter().try_for_each(resident)
}

fn resident(it: &Resident) -> Result<(), HomeFileError> {
    let id: String = it.id.0.chars().take(SHOWN).collect();
    let ranges = it.limits.own().flat_map(|(_, _, ranges)| ranges);
    let by_nurse = ranges.filter_map(|range| match &range.source {
        Source::Nurse { name, .. } => Some(("ranges, nurse", name)),
        Source::Home { .. } | Source::Default(_) => None,
    });
    let baselines = it.care.baselines.values();
    let baselines = baselines.map(|it| ("baselines, nurse", &it.nurse));
    let own = [("id", &it.id.0), ("name", &it.name)];
    let some = [
        ("wing", &it.wing),
        ("bed", &it.bed),
        ("alias", &it.care.alias),
    ];
    let some = some
        .iter()
        .filter_map(|(field, it)| Some((*field, it.as_ref()?)));
    let all = own.into_iter().chain(some).chain(by_nurse).chain(baselines);
    for (field, text) in all {
        short(&format!("residents, id {id:?}, {field}"), text)?;
    }
    Ok(())
}

fn short(field: &str, text: &str) -> Result<(), HomeFileError> {
    if !too_long(text) {
        return Ok(());
    }
    let expected = format!("{LONGEST_TEXT} characters at most");
    Err(wrong(field, "too long", &expected))
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOME: &str = "name = 'NAME'\nnurses = [{ name = 'NURSE', title = 'TITLE' }]\n\
        aides = [{ name = 'AIDE', title = 'aide' }]\n[[residents]]\nid = 'ID'\nwing = 'WING'\n\
        room = 1\nbed = 'BED'\nname = 'RESIDENT'\nalias = 'ALIAS'\nbirth_date = '1938-04-21'\n\
        baselines.pulse = { value = 70, nurse = 'USUAL', on = '2026-01-05' }\n\
        ranges.pulse = { low = 50, high = 95, nurse = 'RANGE', on = '2026-01-05' }\n";

    #[test]
    fn a_text_that_is_too_long_is_named_and_not_repeated() {
        for (text, field) in [
            ("NAME", "name"),
            ("NURSE", "staff, name"),
            ("TITLE", "staff, name \"NURSE\", title"),
            ("AIDE", "staff, name"),
            ("ID", "residents, id \"éééééééééééééééééééé\", id"),
            ("WING", "residents, id \"ID\", wing"),
            ("BED", "residents, id \"ID\", bed"),
            ("RESIDENT", "residents, id \"ID\", name"),
            ("ALIAS", "residents, id \"ID\", alias"),
            ("USUAL", "residents, id \"ID\", baselines, nurse"),
            ("RANGE", "residents, id \"ID\", ranges, nurse"),
        ] {
            let with = |letters: usize| {
                let long = format!("'{}'", "é".repeat(letters));
                Home::from_toml(&HOME.replace(&format!("'{text}'"), &long))
            };
            with(LONGEST_TEXT).unwrap();
            let said = with(LONGEST_TEXT + 1).unwrap_err().to_string();
            let expected = format!("{field}: too long; expected 200 characters at most");
            assert_eq!(said, expected);
        }
    }
}
