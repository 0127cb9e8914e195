//! How confirmed readings sounded: kept where the home wants it and nowhere else,
//! encrypted, and gone on time.

mod command;
mod disk;
mod heard;
mod kill;
#[path = "../noticed/mod.rs"]
mod noticed;
mod talk;

use chrono::TimeDelta;
use sayback::facts::Body;
use sayback::residents::KeptSound;
use sayback::store::{Keeping, SoundPart, Stands, Store, WhyGone, sound_beside, sound_report};

use disk::{is_in_a_file, is_in_the_pages};
use talk::{Place, noise, only_reading, pulse_kept, readings, retract, start, talk, talk_on};

const READING: SoundPart = SoundPart::Reading;
const YES: SoundPart = SoundPart::Yes;

#[test]
fn by_default_nothing_of_what_is_heard_is_anywhere() {
    let place = Place::new();
    let mut store = place.store();
    let (pulse, yes) = (noise(1, 2.0), noise(2, 0.5));
    pulse_kept(&mut store, &pulse, &yes);
    assert_eq!(readings(&store).len(), 1);
    assert!(!sound_beside(&place.record()).exists());
    assert!(!is_in_a_file(place.folder(), &pulse) && !is_in_a_file(place.folder(), &yes));
    // It would be found: in a file like any other, at an odd place.
    let bytes: Vec<u8> = pulse
        .samples()
        .iter()
        .flat_map(|it| it.to_le_bytes())
        .collect();
    std::fs::write(place.folder().join("other"), [&[7; 3][..], &bytes].concat()).unwrap();
    assert!(is_in_a_file(place.folder(), &pulse));
}

#[test]
fn what_a_yes_confirmed_is_kept_encrypted_and_is_the_very_samples() {
    let place = Place::new();
    let mut store = place.keeping(14);
    let (pulse, yes) = (noise(1, 2.0), noise(2, 0.5));
    pulse_kept(&mut store, &pulse, &yes);
    let id = only_reading(&store);
    let now = start() + TimeDelta::hours(1);
    for (part, sound) in [(READING, &pulse), (YES, &yes)] {
        let kept = store.sound(id, part, now).unwrap();
        assert_eq!(kept.as_deref(), Some(sound.samples()));
    }
    let Some(Stands::There { spoken, until }) = store.sound_stands(id, READING, now).unwrap()
    else {
        panic!("it is not there");
    };
    assert_eq!(until - spoken, TimeDelta::days(14));
    assert!((spoken - start()).num_seconds() < 60);
    drop(store);
    assert!(sound_beside(&place.record()).exists());
    assert!(!is_in_a_file(place.folder(), &pulse) && !is_in_a_file(place.folder(), &yes));
    assert!(is_in_the_pages(&place, &pulse) && is_in_the_pages(&place, &yes));
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let file = std::fs::metadata(sound_beside(&place.record())).unwrap();
        assert_eq!(file.permissions().mode() & 0o077, 0);
    }
}

/// Each line ends with something else than a kept reading, or with another value
/// than the one that was said first.
#[test]
fn what_is_not_confirmed_is_never_on_the_disk() {
    let place = Place::new();
    let mut store = place.keeping(14);
    let never: Vec<_> = (10..20).map(|seed| noise(seed, 1.0)).collect();
    let (right, whole, yes) = (noise(1, 1.0), noise(2, 1.0), noise(3, 0.5));
    talk(
        &mut store,
        start(),
        &[
            ("pulse seventy two regular", &never[0]),
            ("no", &never[1]),
            ("seventy four", &right),
            ("the weather is fine", &never[2]),
            ("yes", &yes),
            ("respiration sixteen", &never[3]),
            ("scratch that", &never[4]),
            ("respiration", &never[5]),
            ("respiration eighteen", &whole),
            // What follows the yes waits for one of its own.
            ("yes pulse eighty regular", &never[6]),
            ("scratch that", &never[7]),
            ("temperature ninety eight point six oral", &never[8]),
            ("", &never[9]),
            ("", &never[9]),
        ],
    );
    let held = |body: &Body| matches!(body, Body::Unconfirmed { .. });
    let facts = store.facts().unwrap();
    assert!(facts.iter().any(|it| held(&it.body)), "one is held");
    assert_eq!(readings(&store).len(), 2);
    drop(store);
    for (at, sound) in never.iter().enumerate() {
        assert!(!is_in_the_pages(&place, sound), "the sound {at} is kept");
    }
    for sound in [&right, &whole, &yes] {
        assert!(is_in_the_pages(&place, sound));
    }
}

#[test]
fn on_time_it_is_gone_from_the_file_and_the_page_can_say_when() {
    let place = Place::new();
    let mut store = place.keeping(14);
    let (pulse, later, yes) = (noise(1, 3.0), noise(2, 3.0), noise(3, 0.5));
    pulse_kept(&mut store, &pulse, &yes);
    let next_day = start() + TimeDelta::days(1);
    talk(
        &mut store,
        next_day,
        &[
            ("pulse seventy four regular", &later),
            ("yes", &noise(4, 0.5)),
        ],
    );
    let [first, second] = readings(&store)[..] else {
        panic!("not two readings");
    };
    store.let_sound_go(start() + TimeDelta::days(13));
    assert!(is_in_the_pages(&place, &pulse) && is_in_the_pages(&place, &later));

    // Looked for again no sooner than some minutes later: by then it is over.
    let over = start() + TimeDelta::days(14) + TimeDelta::minutes(1);
    store.let_sound_go(over);
    assert!(!is_in_the_pages(&place, &pulse) && !is_in_the_pages(&place, &yes));
    assert!(is_in_the_pages(&place, &later));
    let gone = Stands::Gone {
        at: over,
        why: WhyGone::Time,
    };
    assert_eq!(
        store.sound_stands(first, READING, over).unwrap(),
        Some(gone)
    );
    assert_eq!(store.sound(first, READING, over).unwrap(), None);
    assert!(store.sound(second, READING, over).unwrap().is_some());
    // What is over is not played either, whether or not it was deleted by then.
    let over = next_day + TimeDelta::days(14) + TimeDelta::minutes(1);
    assert_eq!(store.sound(second, READING, over).unwrap(), None);
    assert_eq!(readings(&store).len(), 2, "readings stay");
}

#[test]
fn it_is_deleted_at_the_next_start_too_and_fewer_days_count_at_once() {
    let place = Place::new();
    let mut store = place.keeping(14);
    let pulse = noise(1, 1.0);
    pulse_kept(&mut store, &pulse, &noise(2, 0.5));
    let id = only_reading(&store);
    drop(store);
    // More days than were said at the bedside change nothing for it.
    let now = start() + TimeDelta::days(2);
    let mut store = place.store();
    place.keep(&mut store, Some(90), now).unwrap();
    let until = |store: &mut Store| match store.sound_stands(id, READING, now).unwrap() {
        Some(Stands::There { spoken, until }) => Some((until - spoken).num_days()),
        _ => None,
    };
    assert_eq!(until(&mut store), Some(14));
    place.keep(&mut store, Some(3), now).unwrap();
    assert_eq!(until(&mut store), Some(3));
    drop(store);
    let mut store = place.store();
    let kept = place.keep(&mut store, Some(2), now + TimeDelta::hours(1));
    assert_eq!(kept.unwrap(), Keeping::For(2));
    assert!(!is_in_the_pages(&place, &pulse));
}

#[test]
fn where_the_home_keeps_none_any_more_everything_goes() {
    let place = Place::new();
    let mut store = place.keeping(14);
    let pulse = noise(1, 1.0);
    pulse_kept(&mut store, &pulse, &noise(2, 0.5));
    drop(store);
    // Someone who still has it open finds nothing in it either.
    let file = sound_beside(&place.record());
    let held = std::fs::File::open(&file).unwrap();
    let mut store = place.store();
    let ended = place.keep(&mut store, None, start()).unwrap();
    assert_eq!(ended, Keeping::Ended { readings: Some(1) });
    assert!(!file.exists());
    assert!(!store.keeps_sound());
    assert!(!disk::is_in_the_pages_of(&place, &held, &pulse));
    assert_eq!(place.keep(&mut store, None, start()).unwrap(), Keeping::Off);
    assert_eq!(readings(&store).len(), 1);
    // With another key there is nothing to overwrite with, and it goes all the same.
    std::fs::write(&file, [0x5a; 8_192]).unwrap();
    let ended = place.keep(&mut store, None, start()).unwrap();
    assert_eq!(ended, Keeping::Ended { readings: None });
    assert!(!file.exists());
}

#[test]
fn a_retracted_reading_takes_its_sound_with_it() {
    let place = Place::new();
    let mut store = place.keeping(14);
    let (pulse, breaths) = (noise(1, 1.0), noise(2, 1.0));
    talk(
        &mut store,
        start(),
        &[
            ("pulse seventy two regular", &pulse),
            ("yes", &noise(3, 0.5)),
            ("respiration sixteen", &breaths),
            ("yes", &noise(4, 0.5)),
            ("scratch the pulse", &noise(5, 1.0)),
            ("yes", &noise(6, 0.5)),
        ],
    );
    let [first, second] = readings(&store)[..] else {
        panic!("not two readings");
    };
    assert!(!is_in_the_pages(&place, &pulse) && is_in_the_pages(&place, &breaths));
    let now = start() + TimeDelta::hours(1);
    let gone = store.sound_stands(first, READING, now).unwrap();
    assert!(matches!(
        gone,
        Some(Stands::Gone {
            why: WhyGone::Retracted,
            ..
        })
    ));
    assert!(store.sound(second, READING, now).unwrap().is_some());
}

/// By a nurse, in a record that another program appends to.
#[test]
fn a_reading_that_others_retract_loses_its_sound_at_the_next_look() {
    let place = Place::new();
    let mut store = place.keeping(14);
    let pulse = noise(1, 1.0);
    pulse_kept(&mut store, &pulse, &noise(2, 0.5));
    let mut other = place.store();
    talk_on(
        &mut other,
        start() + TimeDelta::minutes(2),
        &["pulse eighty regular", "yes", "scratch the pulse", "yes"],
    );
    let [first, second] = readings(&store)[..] else {
        panic!("not two readings");
    };
    let now = start() + TimeDelta::minutes(10);
    store.let_sound_go(now);
    assert!(is_in_the_pages(&place, &pulse), "another one was retracted");
    retract(&mut other, first, now);
    store.let_sound_go(now + TimeDelta::minutes(1));
    assert!(is_in_the_pages(&place, &pulse), "not every moment");
    store.let_sound_go(now + TimeDelta::minutes(6));
    assert!(!is_in_the_pages(&place, &pulse));
    assert_eq!(store.sound_stands(second, READING, now).unwrap(), None);
}

#[test]
fn a_corrected_reading_keeps_its_sound_and_the_correction_has_none() {
    let place = Place::new();
    let mut store = place.keeping(14);
    let (pulse, change) = (noise(1, 1.0), noise(3, 1.0));
    talk(
        &mut store,
        start(),
        &[
            ("pulse seventy two regular", &pulse),
            ("yes", &noise(2, 0.5)),
            ("change the pulse to seventy four", &change),
            ("yes", &noise(4, 0.5)),
        ],
    );
    let facts = store.facts().unwrap();
    assert!(
        facts
            .iter()
            .any(|it| matches!(it.body, Body::Corrected { .. }))
    );
    assert!(is_in_the_pages(&place, &pulse) && !is_in_the_pages(&place, &change));
}

#[test]
fn a_moved_reading_takes_its_sound_along_with_the_time_it_must_go() {
    let place = Place::new();
    let mut store = place.keeping(14);
    let (pulse, yes, move_yes) = (noise(1, 1.0), noise(2, 0.5), noise(3, 0.5));
    let other = noise(9, 0.5);
    talk(
        &mut store,
        start(),
        &[
            ("pulse seventy two regular", &pulse),
            ("yes", &yes),
            ("wrong resident", &other),
            ("room four bed one", &other),
            ("yes", &other),
            ("yes", &move_yes),
        ],
    );
    let [wrong, right] = readings(&store)[..] else {
        panic!("not two readings");
    };
    let now = start() + TimeDelta::hours(1);
    assert_eq!(store.sound(wrong, READING, now).unwrap(), None);
    let kept = store.sound(right, READING, now).unwrap();
    assert_eq!(kept.as_deref(), Some(pulse.samples()));
    let kept = store.sound(right, YES, now).unwrap();
    assert_eq!(kept.as_deref(), Some(move_yes.samples()));
    let gone = store.sound_stands(wrong, READING, now).unwrap();
    assert!(matches!(
        gone,
        Some(Stands::Gone {
            why: WhyGone::Moved,
            ..
        })
    ));
    let gone = store.sound_stands(wrong, YES, now).unwrap();
    assert!(matches!(
        gone,
        Some(Stands::Gone {
            why: WhyGone::Retracted,
            ..
        })
    ));
    assert!(!is_in_the_pages(&place, &yes) && !is_in_the_pages(&place, &other));
    let Some(Stands::There { until, .. }) = store.sound_stands(right, READING, now).unwrap() else {
        panic!("it is not there");
    };
    assert!(until - start() < TimeDelta::days(14) + TimeDelta::minutes(1));
}

#[test]
fn a_full_file_is_said_once_and_stops_no_reading() {
    let place = Place::new();
    let mut store = place.store();
    let settings = KeptSound {
        days: 14,
        megabytes: 1,
    };
    store
        .keep_sound(Some(settings), &place.key(), start())
        .unwrap();
    let long = noise(1, 14.0);
    let said = talk(
        &mut store,
        start(),
        &[
            ("pulse seventy two regular", &long),
            ("yes", &noise(2, 0.5)),
            ("pulse seventy four regular", &long),
            ("yes", &noise(3, 0.5)),
            ("pulse seventy five regular", &long),
            ("yes", &noise(4, 0.5)),
            ("pulse seventy six regular", &long),
            ("yes", &noise(5, 0.5)),
        ],
    );
    assert_eq!(readings(&store).len(), 4, "{said:?}");
    let [notice] = &said[..] else {
        panic!("{said:?}");
    };
    let full = notice.contains("1 MB") && notice.contains("megabytes under [kept_sound]");
    assert!(full, "{notice}");
    let says_what_was_heard = notice.contains("seventy") || notice.contains("ulse");
    assert!(!says_what_was_heard, "{notice}");
    let report = sound_report(&place.record(), &place.key(), start());
    assert!(report.unwrap().unwrap().bytes <= 1_000_000);
}

#[test]
fn what_is_too_long_for_an_utterance_is_not_kept() {
    let place = Place::new();
    let mut store = place.keeping(14);
    let said = pulse_kept(&mut store, &noise(1, 30.1), &noise(2, 0.5));
    assert!(said[0].contains("31 seconds"), "{said:?}");
    assert_eq!(readings(&store).len(), 1);
}

#[test]
fn sound_is_never_kept_unencrypted_nor_in_a_file_of_something_else() {
    let place = Place::new();
    let mut store = place.store();
    let settings = Some(KeptSound {
        days: 14,
        megabytes: 10,
    });
    let none = store.keep_sound(settings, &sayback::store::Key::None, start());
    assert!(
        none.unwrap_err()
            .to_string()
            .contains("only kept encrypted")
    );
    assert!(!sound_beside(&place.record()).exists());
    // A plain database there, and an encrypted one of another kind.
    let file = sound_beside(&place.record());
    drop(Store::open(&file).unwrap());
    let plain = place.keep(&mut store, Some(14), start()).unwrap_err();
    assert!(plain.to_string().contains("only kept encrypted"), "{plain}");
    std::fs::remove_file(&file).unwrap();
    drop(Store::open_with(&file, &place.key()).unwrap());
    let other = place.keep(&mut store, Some(14), start()).unwrap_err();
    assert!(other.to_string().contains("something else"), "{other}");
    let (pulse, yes) = (noise(1, 1.0), noise(2, 0.5));
    pulse_kept(&mut store, &pulse, &yes);
    assert_eq!(readings(&store).len(), 1);
}

/// The file is damaged while a round goes on.
#[test]
fn sound_that_cannot_be_written_stops_no_reading() {
    let place = Place::new();
    let mut store = place.keeping(14);
    let file = sound_beside(&place.record());
    let length = std::fs::metadata(&file).unwrap().len();
    std::fs::write(&file, vec![0x5a; usize::try_from(length).unwrap()]).unwrap();
    let said = pulse_kept(&mut store, &noise(1, 1.0), &noise(2, 0.5));
    assert_eq!(readings(&store).len(), 1);
    assert_eq!(said.len(), 1, "{said:?}");
    assert!(said[0].contains("kept sound") && !said[0].contains("72"));
    let report = sound_report(&place.record(), &place.key(), start());
    assert!(report.is_err());
}
