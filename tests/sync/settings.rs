//! The roster and the limits of the home.

use sayback::sync::Setting;

use super::*;

#[test]
fn the_newest_is_in_force_and_says_what_it_replaced() {
    let aspen = Aspen::new();
    let mut keeper = open(&aspen.keeper);
    let mut station = open(&aspen.station);
    assert_eq!(keeper.setting(Setting::Roster).unwrap(), None);
    let first = keeper.set(Setting::Roster, "first", "Ines", None).unwrap();
    assert_eq!(
        (first.version, first.before, first.unseen),
        (1, None, false)
    );
    // Two who both began with version 1.
    let second = keeper
        .set(Setting::Roster, "second", "Ines", Some(1))
        .unwrap();
    assert!(!second.unseen);
    let third = station
        .set(Setting::Roster, "third", "Peter", Some(1))
        .unwrap();
    let (version, by, _) = third.before.unwrap();
    assert_eq!(
        (third.version, version, by.as_str(), third.unseen),
        (3, 2, "Ines", true)
    );
    let mut recorder = open(&aspen.recorder);
    let seen = recorder.setting(Setting::Roster).unwrap().unwrap();
    assert_eq!(
        (seen.version, seen.text.as_str(), seen.by.as_str()),
        (3, "third", "Peter")
    );
    assert_eq!(recorder.setting(Setting::Limits).unwrap(), None);
    let refused = recorder
        .set(Setting::Roster, "mine", "me", Some(3))
        .unwrap_err();
    assert!(
        refused.to_string().contains("permission denied"),
        "{refused}"
    );
    // All stay.
    let mut superuser = Server::shared().superuser(&aspen.database).unwrap();
    let count = "SELECT count(*) FROM sayback.setting";
    assert_eq!(superuser.query_one(count, &[]).unwrap().get::<_, i64>(0), 3);
}

/// A home takes no text that no recorder would, nor one without end.
#[test]
fn a_text_without_measure_is_refused() {
    let aspen = Aspen::new();
    let mut keeper = open(&aspen.keeper);
    let (most, name) = ("x".repeat(2_000_000), "I".repeat(200));
    keeper.set(Setting::Roster, &most, &name, None).unwrap();
    for (text, by) in [
        (format!("{most}x"), name.clone()),
        ("x".to_owned(), format!("{name}I")),
    ] {
        let refused = keeper.set(Setting::Limits, &text, &by, None).unwrap_err();
        assert!(refused.to_string().contains("2000000"), "{refused}");
    }
    assert_eq!(keeper.setting(Setting::Limits).unwrap(), None);
}
