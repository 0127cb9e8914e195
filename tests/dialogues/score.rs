//! The early-warning score.

use sayback::vitals::{HomeLimits, Units};

use super::*;

/// The early-warning score is said only where the home has turned it on and
/// only of a complete set. Values and total: Royal College of Physicians, NEWS2
/// (2017): respiration 22 scores 2, saturation 93 % on air 2, temperature
/// 38.2 °C 1, systolic 105 1, pulse 95 1, alert 0: 7.
#[test]
fn an_early_warning_score_is_of_a_complete_set_where_it_is_turned_on() {
    let visit = [
        "room nine",
        "yes",
        "respiration twenty two",
        "yes",
        "saturation ninety three percent on room air",
        "yes",
        "temperature thirty eight point two celsius oral",
        "yes",
        "blood pressure one oh five over seventy left arm sitting",
        "yes",
        "pulse ninety five",
        "yes",
    ];
    let flags = |limits: &str| {
        let mut home =
            Home::from_toml(include_str!("../../audio-fixtures/demo-home.toml")).unwrap();
        home.set_limits(&HomeLimits::parse(limits, Units::UsCustomary).unwrap());
        let aide = home.aides[0].clone();
        let dialogue = Dialogue::new(home, aide, &Grammar::standard()).unwrap();
        let mut conversation = Conversation::begin(Box::leak(Box::new(dialogue)));
        for words in visit {
            conversation.hear(words);
        }
        let early = |it: &Conversation| it.stored.contains(&"rule EarlyWarning".to_owned());
        let before = early(&conversation);
        conversation.hear("alertness alert");
        conversation.hear("yes");
        (before, early(&conversation), conversation.said)
    };
    let on = "policy = \"P\"\non = \"2026-02-01\"\nearly_warning_score = true\n";
    let (before, after, said) = flags(on);
    assert!(!before, "a partial set has no score");
    assert!(after, "{said}");
    assert!(said.contains("Early-warning score seven."), "{said}");
    let (_, after, _) = flags(&on.replace("true", "false"));
    assert!(!after, "the home has not turned it on");
}
