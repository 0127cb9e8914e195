//! What leaves for a spreadsheet or a printer.

use chrono::FixedOffset;
use sayback::facts::{Body, Fact};
use sayback::residents::{Offsets, ResidentId};
use sayback::review::acts::{Acting, correct};
use sayback::review::export::csv::table;
use sayback::review::export::sheet::round_sheet;
use sayback::review::export::summary::summary;
use sayback::review::export::{Chart, Selection, Style};
use sayback::review::fields::Fields;
use sayback::review::index::Index;
use sayback::vitals::rules::Rule;
use sayback::vitals::{
    Alertness, Arm, Layer, Measurement, Method, NotTakenReason, Position, Qualifier, Side, Supply,
    Unit, VitalSign,
};

use crate::chart::{self, Round, home, number, one, pressure, pulse};

/// All that is made up is of five hours behind.
fn offsets() -> Offsets {
    Offsets::fixed(FixedOffset::west_opt(5 * 3600).unwrap())
}

/// The dictionary in docs/ is written from the columns; this is about their
/// contents.
#[test]
fn a_csv_line_holds_what_its_columns_say() {
    let mut round = Round::new();
    let how = [
        Qualifier::Arm(Arm::Left),
        Qualifier::Position(Position::Lying),
    ];
    let high = pressure(162, 84, &how);
    let id = round.read(high.clone());
    let flag = round.flag(id, &high, Layer::OutsideRange, Side::Above);
    round.reported(flag);
    round.note(id, "=seen, \"twice\"");
    let weighed = round.read(one(VitalSign::Weight, "150.5", Unit::Pound, &[]));
    let other = one(VitalSign::Weight, "105.5", Unit::Pound, &[]);
    round.correct(
        weighed,
        other,
        one(VitalSign::Weight, "150.4", Unit::Pound, &[]),
    );
    round.missed(&[VitalSign::Pulse, VitalSign::Pain], NotTakenReason::Asleep);
    let (home, chart) = (home(), Chart::of(&round.facts));
    let text = table(&chart, &home, &Selection::default()).expect("a table");
    assert!(text.starts_with("\u{feff}id,status,"));
    let mut reader = csv::Reader::from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let lines: Vec<std::collections::HashMap<String, String>> =
        reader.deserialize().map(|it| it.expect("a line")).collect();
    assert_eq!(lines.len(), 4);
    let expect = |line: usize, fields: &[(&str, &str)]| {
        for (column, value) in fields {
            assert_eq!(lines[line][*column], *value, "{line} {column}");
        }
    };
    expect(
        0,
        &[
            ("status", "final"),
            ("resident_name", "Ada Quillfeather"),
            ("room", "12"),
            ("value", "162"),
            ("diastolic", "84"),
            ("unit", "mm[Hg]"),
            ("limb", "left arm"),
            ("position", "lying"),
            ("measured_at", "2026-03-09T08:00:00-05:00"),
            ("confidence", "0.93"),
            ("reported_to", "Ines Marlow"),
            ("open_reports", "0"),
            (
                "flags",
                "systolic 162 mmHg is above 105–155 (Ines Marlow, 2026-01-05)",
            ),
            (
                "notes",
                "2026-03-09T08:04:00-05:00 Ines Marlow: =seen, \"twice\"",
            ),
        ],
    );
    expect(
        1,
        &[
            ("status", "amended"),
            ("value", "150.4"),
            ("canonical_value", "68.22"),
            ("canonical_unit", "kg"),
            (
                "changes",
                "2026-03-09T08:06:00-05:00 Ines Marlow: corrected, before: Weight 105.5 lb; \
                 written down as 72",
            ),
        ],
    );
    expect(
        2,
        &[
            ("status", "not-taken"),
            ("vital_sign", "pulse"),
            ("value", ""),
            ("not_taken_reason", "asleep"),
        ],
    );
    assert_eq!(lines[3]["vital_sign"], "pain");
}

/// To look at: `SAYBACK_PAGES=out cargo test --test export pages` keeps them.
#[test]
fn printed_pages_show_readings_and_escape_what_people_wrote() {
    let facts = a_printed_round();
    let (home, chart) = (home(), Chart::of(&facts));
    let sheet = round_sheet(&chart, &home, None, Style::Inside, &offsets()).expect("a round");
    let pages = summary(&chart, &home, &Selection::default(), Style::Inside);
    if let Some(folder) = std::env::var_os("SAYBACK_PAGES") {
        let folder = std::path::PathBuf::from(folder);
        std::fs::write(folder.join("sheet.html"), &sheet).expect("written");
        std::fs::write(folder.join("summary.html"), &pages).expect("written");
    }
    for page in [&sheet, &pages] {
        assert!(page.contains("162/84 mmHg"), "{page}");
        // Of two numbers it says which one lies outside.
        assert!(page.contains("162/84 mmHg</span> ▲ systolic"));
        assert!(page.contains("&lt;b&gt;better&lt;/b&gt; after rest"));
        assert!(!page.contains("<b>better"));
        assert!(page.contains("<span class=\"gone\">27 /min</span>"));
        assert!(page.contains("Rose Pelham &amp; &lt;Finch&gt;"));
        // Every sign that may stand beside a value is explained.
        for sign in ["▲ above", "▼ below", "! raised by another rule"] {
            assert!(page.contains(sign), "{sign}");
        }
        // Nothing from elsewhere: the page is read where there is no network.
        for outside in ["http:", "https:", "<script", "<link", "url("] {
            assert!(!page.contains(outside), "{outside}");
        }
    }
    assert!(sheet.contains("not yet reported"));
    assert!(sheet.contains("read back and never confirmed"));
    assert!(sheet.contains("not taken: refused"));
    assert!(
        round_sheet(
            &chart,
            &home,
            Some(uuid::Uuid::nil()),
            Style::Inside,
            &offsets()
        )
        .is_none()
    );
    let one = Selection {
        resident: Some(ResidentId("LH-2".to_owned())),
        ..Selection::default()
    };
    let one = summary(&chart, &home, &one, Style::Inside);
    assert!(one.contains("Rose Pelham") && !one.contains("Quillfeather"));
}

fn a_printed_round() -> Vec<Fact> {
    let mut round = Round::new();
    let home = "Larkfield House".to_owned();
    round.fact(chart::aide(), Body::RoundOpened { home });
    let how = [
        Qualifier::Arm(Arm::Left),
        Qualifier::Position(Position::Sitting),
    ];
    let high = pressure(162, 84, &how);
    let id = round.read(high.clone());
    round.flag(id, &high, Layer::OutsideRange, Side::Above);
    round.note(id, "<b>better</b> after rest");
    let wrong = round.read(pulse("27"));
    round.correct(wrong, pulse("27"), pulse("72"));
    let method = [Qualifier::Method(Method::Oral)];
    let warm = one(VitalSign::Temperature, "98.6", Unit::Fahrenheit, &method);
    round.read(warm);
    let supply = [Qualifier::Supply(Supply::Oxygen(Some(number("2"))))];
    round.read(one(
        VitalSign::OxygenSaturation,
        "93",
        Unit::Percent,
        &supply,
    ));
    round.missed(&[VitalSign::Weight], NotTakenReason::Refused);
    let mut other = Round::new().of("LH-2");
    other.facts = round.facts;
    other.at("09T08:20");
    other.read(pulse("58"));
    let mistaken = other.read(one(VitalSign::Respiration, "16", Unit::PerMinute, &[]));
    other.retract(mistaken);
    other.fact(
        chart::aide(),
        Body::Unconfirmed {
            offer: uuid::Uuid::nil(),
            resident: ResidentId("LH-2".to_owned()),
            readings: vec![pressure(118, 70, &[])],
        },
    );
    other.fact(chart::aide(), Body::RoundClosed { open_reports: 1 });
    other.facts
}

#[test]
fn a_correction_is_judged_by_the_rules_and_its_flags_are_of_what_holds() {
    let (alert, unresponsive) = (
        Measurement::alertness(Alertness::Alert),
        Measurement::alertness(Alertness::Unresponsive),
    );
    let mut round = Round::new();
    let id = round.read(alert.clone());
    let mut index = Index::new(home());
    for fact in &round.facts {
        index.add(fact.clone());
    }
    let acting = Acting {
        by: chart::nurse(),
        at: chart::time("09T09:00"),
    };
    let fields = Fields::parse(b"seen=0&alertness=unresponsive&reason=was+not+awake");
    let facts = correct(&index, id, &fields, &acting).unwrap();
    let (corrected, met) = (&facts[0], &facts[1]);
    let Body::RuleMet { flag, of, .. } = &met.body else {
        panic!("{met:?}");
    };
    assert_eq!((flag.rule, *of), (Rule::NotAlert, Some(corrected.id)));

    let (resident, flag) = (ResidentId("LH 1".to_owned()), flag.clone());
    round.correct(id, alert.clone(), unresponsive.clone());
    let of = round.facts.last().map(|it| it.id);
    let reading = id;
    round.fact(
        chart::nurse(),
        Body::RuleMet {
            reading,
            resident,
            flag,
            of,
        },
    );
    let shown = |round: &Round| {
        let (home, chart) = (home(), Chart::of(&round.facts));
        let text = table(&chart, &home, &Selection::default()).expect("a table");
        let page = summary(&chart, &home, &Selection::default(), Style::Inside);
        let flagged = page.matches("\"reading flag\"").count();
        (text.contains("Report to the nurse now."), flagged > 0)
    };
    assert_eq!(shown(&round), (true, true));
    round.correct(id, unresponsive, alert);
    assert_eq!(shown(&round), (false, false), "alert again");
}

/// Whose a limit is reads as on the pages, and not as in the program's own lists.
#[test]
fn what_raised_a_report_names_its_source_as_the_pages_do() {
    let facts = chart::everything();
    let (home, chart) = (home(), Chart::of(&facts));
    let text = table(&chart, &home, &Selection::default()).expect("a table");
    let said = "Pulse rising. Report to the nurse. Limit: 10 or more over 4 readings one way \
                (Sayback's default; confirm by facility policy)";
    assert!(text.contains(said), "{text}");
    assert!(!text.contains("no source"), "{text}");
}

/// A remark about a resident is about no reading, and leaves all the same.
#[test]
fn a_note_about_a_resident_is_in_the_table_and_on_the_page() {
    let mut round = Round::new();
    let reading = round.read(pulse("72"));
    let noted = |round: &mut Round, resident: &str, text: &str| {
        round.fact(
            chart::nurse(),
            Body::Noted {
                resident: ResidentId(resident.to_owned()),
                about: None,
                text: text.to_owned(),
            },
        )
    };
    let id = noted(&mut round, "LH 1", "<i>prefers</i> mornings");
    noted(&mut round, "LH-2", "sleeps late");
    round.note(reading, "after a walk");
    for number in 1..=7 {
        noted(&mut round, "LH-2", &format!("remark {number};"));
    }
    let (home, chart) = (home(), Chart::of(&round.facts));
    let one = Selection {
        resident: Some(ResidentId("LH 1".to_owned())),
        ..Selection::default()
    };
    let text = table(&chart, &home, &one).expect("a table");
    let mut reader = csv::Reader::from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let lines: Vec<std::collections::HashMap<String, String>> =
        reader.deserialize().map(|it| it.expect("a line")).collect();
    assert_eq!(lines.len(), 2, "the reading and the remark: {text}");
    let line = &lines[1];
    assert_eq!((&*line["id"], &*line["status"]), (&*id.to_string(), "note"));
    assert_eq!((&*line["vital_sign"], &*line["value"]), ("", ""));
    assert_eq!(line["recorded_by"], "Ines Marlow");
    assert!(line["notes"].ends_with("Ines Marlow: <i>prefers</i> mornings"));

    let page = summary(&chart, &home, &one, Style::Inside);
    assert!(
        page.contains("&lt;i&gt;prefers&lt;/i&gt; mornings"),
        "{page}"
    );
    assert!(!page.contains("sleeps late"), "of another");
    let later = Selection {
        since: chrono::NaiveDate::from_ymd_opt(2026, 3, 10),
        ..one
    };
    let page = summary(&chart, &home, &later, Style::Inside);
    assert!(!page.contains("mornings"), "of before");
    let all = summary(&chart, &home, &Selection::default(), Style::Inside);
    assert!(all.contains("remark 7;") && !all.contains("remark 1;"));
    assert!(all.contains("and 2 more, older"), "{all}");
}
