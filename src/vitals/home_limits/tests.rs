use rust_decimal::dec;

use super::*;
use crate::vitals::{Layer, Limits, Measurement, Numbers, Qualifiers};

const GOOD: &str = r#"
policy = "Vital-signs policy 4"
on = "2026-02-01"

[outside_range.pulse]
low = 55
high = 105

[unlikely.temperature]
low = 93.2
high = 106
unit = "fahrenheit"

[rules]
weight_30_days = 4
"#;

fn parse(text: &str) -> Result<HomeLimits, Mistake> {
    HomeLimits::parse(text, Units::UsCustomary)
}

fn layers(limits: &Limits, rate: Decimal) -> Vec<(Layer, String)> {
    let pulse = Measurement::new(
        VitalSign::Pulse,
        Numbers::One(rate),
        Unit::PerMinute,
        Qualifiers::default(),
    );
    let findings = limits.judge(&pulse.unwrap());
    let layer = |it: crate::vitals::Finding| (it.layer, it.source.to_string());
    findings.into_iter().map(layer).collect()
}

#[test]
fn a_field_that_is_missing_is_named() {
    let without = |line: &str| parse(&GOOD.replace(line, "")).unwrap_err();
    let error = without("policy = \"Vital-signs policy 4\"\n");
    assert_eq!(
        (error.field.as_str(), &*error.problem),
        ("policy", "missing")
    );
    assert_eq!(without("high = 106\n").field, "unlikely.temperature.high");
}

#[test]
fn a_homes_limits_hold_from_their_day_on() {
    let mut limits = Limits::default();
    limits.set_home(parse(GOOD).unwrap());
    let none = Qualifiers::default();
    let number = Numbers::One(dec!(57));
    let pulse = Measurement::new(VitalSign::Pulse, number, Unit::PerMinute, none).unwrap();
    let on = |day: &str| limits.judge_on(&pulse, day.parse::<NaiveDate>().unwrap());
    assert_eq!(on("2026-01-31").len(), 1, "by the default");
    assert_eq!(on("2026-02-01"), []);
}

#[test]
fn a_homes_range_stands_between_the_default_and_the_nurses() {
    let mut limits = Limits::default();
    limits.set_home(parse(GOOD).unwrap());
    let policy = "Vital-signs policy 4, 2026-02-01".to_owned();
    assert_eq!(layers(&limits, dec!(54)), [(Layer::OutsideRange, policy)]);
    assert_eq!(layers(&limits, dec!(55)), []);
    assert_eq!(layers(&limits, dec!(105)), []);
    assert_eq!(layers(&limits, dec!(106)).len(), 1);
}

#[test]
fn a_changed_threshold_names_the_home_and_the_others_their_publication() {
    let home = parse(GOOD).unwrap();
    assert_eq!(home.thresholds().weight_30_days, dec!(4));
    assert_eq!(home.thresholds().weight_180_days, dec!(10));
    let changed = home.source_of("a manual", |it| it.weight_30_days);
    assert!(matches!(changed, Source::Home { .. }));
    let kept = home.source_of("a manual", |it| it.weight_180_days);
    assert_eq!(kept, Source::Default("a manual".to_owned()));
}

#[test]
fn a_policy_has_a_name_that_is_not_too_long() {
    let named = |letters| parse(&GOOD.replace("Vital-signs policy 4", &"é".repeat(letters)));
    named(LONGEST_TEXT).unwrap();
    let error = named(LONGEST_TEXT + 1).unwrap_err();
    assert_eq!((error.line, error.field.as_str()), (2, "policy"), "{error}");
    assert_eq!(error.expected, "200 characters at most");
}

#[test]
fn a_wrong_day_is_said_with_its_line_and_how_it_is_written() {
    for wrong in [
        "\"2026-13-01\"",
        "\"2026-02-30\"",
        "\"01.02.2026\"",
        "\"2/1/2026\"",
        "\"2026-02\"",
        "\"\"",
        "2026-02-01",
        "01.02.2026",
        "2026",
    ] {
        let text = GOOD.replace("\"2026-02-01\"", &format!("{wrong}  # the day"));
        let said = parse(&text).unwrap_err().to_string();
        let expected = format!(
            "line 3, on: {wrong} can't be read as a day; expected the day from which they \
             hold in quotes, year, month and day: on = \"2026-02-01\""
        );
        assert_eq!(said, expected);
    }
}

#[test]
fn a_mistake_names_its_line_its_field_and_what_was_expected() {
    let cases = [
        (
            "low = 55",
            "low = \"x\"",
            6,
            "outside_range.pulse.low",
            "Decimal",
        ),
        (
            "low = 55",
            "low = 105",
            5,
            "outside_range.pulse",
            "low < high",
        ),
        (
            "low = 55",
            "lowest = 55",
            6,
            "outside_range.pulse.lowest",
            "`low`",
        ),
        (
            "low = 55",
            "low = 10",
            5,
            "outside_range.pulse",
            "35 to 160 /min",
        ),
        (
            "\"fahrenheit\"",
            "\"kilogram\"",
            9,
            "unlikely.temperature",
            "such as °F",
        ),
        (
            "\"fahrenheit\"",
            "\"kelvin\"",
            12,
            "unlikely.temperature.unit",
            "`celsius`",
        ),
        (
            "high = 106",
            "high = 250",
            9,
            "unlikely.temperature",
            "77 to 113 °F",
        ),
        (
            "weight_30_days = 4",
            "weight_30_days = -4",
            15,
            "rules.weight_30_days",
            "above",
        ),
        (
            "weight_30_days = 4",
            "weight_30_days = \"79228162514264337593543950335\"",
            15,
            "rules.weight_30_days",
            "below a million",
        ),
        (
            "low = 93.2",
            "low = \"-79228162514264337593543950335\"",
            9,
            "unlikely.temperature",
            "within what is possible",
        ),
        (
            "weight_30_days",
            "weight_31_days",
            15,
            "rules.weight_31_days",
            "`single_oral`",
        ),
        (
            "\"Vital-signs policy 4\"",
            "\" \"",
            2,
            "policy",
            "name of the policy",
        ),
        ("2026-02-01", "2026-02-31", 3, "on", ""),
        (
            "[outside_range.pulse]",
            "[outside_range.pluse]",
            5,
            "outside_range.pluse",
            "`pulse`",
        ),
    ];
    for (right, wrong, line, field, expected) in cases {
        let error = parse(&GOOD.replace(right, wrong)).unwrap_err();
        assert_eq!((error.line, error.field.as_str()), (line, field), "{error}");
        assert!(error.expected.contains(expected), "{error}");
    }
}
