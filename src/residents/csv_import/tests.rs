use rust_decimal::dec;

use super::*;
use crate::residents::{Home, Staff};
use crate::vitals::{Component, Unit, Units};

const GOOD: &str = "\
id,room,bed,name,birth_date,alias,temperature_method,arm,left_arm_not_to_use,on_oxygen,oxygen_flow,chair_weight,due_weight,pulse_low,pulse_high,temperature_baseline,set_by,set_on
r1,12,window,Ada Quillfeather,1938-04-21,Ada Quill,Tympanic,right arm,fistula,yes,2,38.5,weekly,50,95,97.4,Ines Marlow,2026-01-05
r2,12,door,Rose Pelham,1941-12-30,,,,,,,,,,,,,
";

/// A home with these residents.
fn of(residents: Vec<Resident>) -> Home {
    let staff = |name: &str, title: &str| Staff {
        name: name.to_owned(),
        title: title.to_owned(),
    };
    Home {
        name: "Larkfield House".to_owned(),
        units: Units::UsCustomary,
        bedside: crate::residents::Bedside::default(),
        kept_sound: None,
        shifts: Vec::new(),
        nurses: vec![staff("Ines Marlow", "registered nurse")],
        aides: vec![staff("Tomas Reed", "nursing aide")],
        badges: BTreeMap::new(),
        residents,
    }
}

fn over(home: &Home, text: &str, drop: bool) -> Result<Vec<Resident>, Vec<CsvError>> {
    let today = NaiveDate::from_ymd_opt(2026, 3, 9).unwrap();
    let read = import_csv(text, home, today, drop)?;
    Ok(read.into_iter().map(|it| it.resident).collect())
}

fn imported(text: &str) -> Result<Vec<Resident>, Vec<CsvError>> {
    over(&of(Vec::new()), text, false)
}

fn errors(text: &str) -> Vec<(u64, String, String)> {
    let errors = imported(text).unwrap_err();
    let parts = |it: CsvError| (it.line, it.column, it.expected);
    errors.into_iter().map(parts).collect()
}

#[test]
fn a_roster_is_read_in_the_homes_units() {
    let residents = imported(GOOD).unwrap();
    assert_eq!(residents.len(), 2);
    let first = &residents[0];
    assert_eq!(first.name, "Ada Quillfeather");
    assert_eq!(first.care.usual.arm, Some(Arm::Right));
    assert_eq!(first.care.frequency(VitalSign::Weight), Frequency::Weekly);
    let chair = Quantity::new(dec!(38.5), Unit::Pound);
    assert_eq!(first.care.precautions.chair_weight, Some(chair));
    let pulse = first
        .limits
        .range(VitalSign::Pulse, Component::Whole)
        .unwrap();
    assert_eq!(pulse.source.to_string(), "Ines Marlow, 2026-01-05");
    assert_eq!(residents[1].care, Care::default());
}

#[test]
fn a_byte_order_mark_and_another_order_of_columns_do_not_matter() {
    let text = "\u{feff}Name,Birth_Date,ID,Room\r\nRose Pelham,1941-12-30,r2,7\r\n";
    let residents = imported(text).unwrap();
    assert_eq!(residents[0].room, "7");
}

#[test]
fn an_imported_roster_survives_the_homes_file() {
    let home = of(imported(GOOD).unwrap());
    let written = home.to_toml().unwrap();
    assert_eq!(Home::from_toml(&written).unwrap(), home, "{written}");
}

#[test]
fn a_mistake_names_its_line_its_column_and_what_was_expected() {
    let long = "Rose ".repeat(41);
    let cases = [
        ("1941-12-30", "30/12/1941", 3, "birth_date", "1938-04-21"),
        ("1941-12-30", "", 3, "birth_date", "1938-04-21"),
        ("Rose Pelham", &long, 3, "name", "200 characters at most"),
        ("Rose Pelham", "", 3, "name", "full name"),
        (
            "Rose Pelham",
            "\"Pelham, Rose\"",
            3,
            "name",
            "first name first, without a comma",
        ),
        (
            "Rose Pelham",
            "=cmd|'/c calc'!A0",
            3,
            "name",
            "nothing that begins like a formula",
        ),
        ("Rose Pelham", "@Rose", 3, "name", "like a formula"),
        (
            "Ada Quill,",
            "\"Quill, Ada\",",
            2,
            "alias",
            "without a comma",
        ),
        ("r2,12", "=2+3,12", 3, "id", "like a formula"),
        (",door,", ",+1,", 3, "bed", "like a formula"),
        ("r2,12", "r2,B", 3, "room", "room number"),
        ("r2,12", "r1,12", 3, "id", "identifier of its own"),
        (
            "r2,12,door",
            "r2,12,window",
            3,
            "bed",
            "one resident to a bed",
        ),
        ("Tympanic", "ear", 2, "temperature_method", "tympanic"),
        ("fistula", "sore", 2, "left_arm_not_to_use", "weakness"),
        (",yes,", ",maybe,", 2, "on_oxygen", "yes or no"),
        (",2,38.5", ",20,38.5", 2, "oxygen_flow", "0.1 to 15"),
        (",38.5,", ",-1,", 2, "chair_weight", "weight"),
        (",38.5,", ",3855555555555.5,", 2, "chair_weight", "weight"),
        (",weekly,", ",fortnightly,", 2, "due_weight", "monthly"),
        (",50,95,", ",fifty,95,", 2, "pulse_low", "a number"),
        (",50,95,", ",95,50,", 2, "pulse_low", "low < high"),
        (",50,95,", ",,95,", 2, "pulse_low", "other end"),
        (
            ",97.4,",
            ",37.4,",
            2,
            "temperature_baseline",
            "between 77 and 113 °F",
        ),
        ("Ines Marlow", "", 2, "set_by", "beside set_on"),
        ("2026-01-05", "2026", 2, "set_on", "2026-03-09"),
        ("due_weight", "due_wait", 1, "due_wait", "one of id, room"),
        ("id,room", "id,id", 1, "id", "each column once"),
        (",door,", ",", 3, "all", "18 fields"),
        ("1941-12-30", "1899-12-31", 3, "birth_date", "1900 or later"),
        ("1941-12-30", "2026-03-10", 3, "birth_date", "has been"),
        ("2026-01-05", "2026-03-10", 2, "set_on", "has been"),
        (",Ines Marlow,", ",Tomas Reed,", 2, "set_by", "Ines Marlow"),
        ("r2,12", "r2,0", 3, "room", "room number"),
    ];
    for (right, wrong, line, column, expected) in cases {
        let found = errors(&GOOD.replace(right, wrong));
        let named = found.iter().any(|(at, name, holds)| {
            (*at, name.as_str()) == (line, column) && holds.contains(expected)
        });
        assert!(named, "{right} -> {wrong}: {found:?}");
    }
}

#[test]
fn every_mistake_is_found_at_once() {
    let text = GOOD.replace("1941-12-30", "x").replace(",yes,", ",maybe,");
    assert_eq!(errors(&text).len(), 2);
}

#[test]
fn a_table_of_other_columns_and_of_no_lines_says_what_is_missing() {
    let semicolons = errors("id;room;name;birth_date\nr2;7;Rose Pelham;1941-12-30\n");
    assert_eq!(semicolons[0].2, "a comma between columns");
    let none = errors("id,room,name,birth_date\n");
    assert_eq!(none[0].2, "a line for each resident");
}

#[test]
fn what_a_table_does_not_say_stays_and_is_dropped_only_when_told() {
    let home = of(imported(GOOD).unwrap());
    let before = &home.residents[0];
    let few = "id,room,name,birth_date\nr1,14,Ada Quillfeather,1938-04-21\n";
    for drop in [false, true] {
        let after = &over(&home, few, drop).unwrap()[0];
        assert_eq!(after.room, "14");
        assert_eq!((&after.care, &after.limits), (&before.care, &before.limits));
    }

    let empty = "id,room,bed,name,birth_date,left_arm_not_to_use,on_oxygen,pulse_low,pulse_high\n\
                 r1,12,,Ada Quillfeather,1938-04-21,,,,\n";
    let kept = &over(&home, empty, false).unwrap()[0];
    assert_eq!((&kept.care, &kept.limits), (&before.care, &before.limits));
    assert_eq!(kept.bed, None, "where someone lives is as written");
    let dropped = &over(&home, empty, true).unwrap()[0];
    assert_eq!(dropped.limits, Limits::default());
    assert!(dropped.care.precautions.limbs_not_to_use.is_empty());
    assert!(!dropped.care.precautions.on_oxygen);
    assert_eq!(dropped.care.alias, before.care.alias, "it has no column");
    // What is kept is known from the same reading.
    let today = NaiveDate::from_ymd_opt(2026, 3, 9).unwrap();
    let bare = |text, drop| {
        import_csv(text, &home, today, drop).unwrap()[0]
            .bare
            .clone()
    };
    assert_eq!(bare(empty, false).as_ref(), Some(dropped));
    assert_eq!(bare(empty, true), None, "nothing is kept");
    assert_eq!(bare(few, false), None, "no field is empty");

    let new = GOOD
        .replace(",50,95,", ",52,95,")
        .replace("2026-01-05", "2026-02-05");
    let after = over(&home, &new, false).unwrap();
    let own = after[0].limits.own().map(|(.., ranges)| ranges.len());
    assert_eq!(own.collect::<Vec<_>>(), [2], "earlier ranges are kept");
    assert_eq!(over(&home, GOOD, false).unwrap(), home.residents);
}
