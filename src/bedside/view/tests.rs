use super::*;
use crate::bedside::Bedside;
use crate::dialogue::{Action, Event};
use crate::facts::Record;
use crate::grammar::Grammar;
use crate::hearing::Heard;
use crate::residents::Home;
use crate::round::Screen as _;
use crate::understanding::Utterance;

fn dialogue() -> Dialogue {
    let home = Home::from_toml(include_str!("../../../audio-fixtures/demo-home.toml")).unwrap();
    let aide = home.aides[0].clone();
    Dialogue::new(home, aide, &Grammar::standard()).unwrap()
}

fn now() -> Time {
    Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap()
}

/// The view after these words, and the state behind it.
fn after(dialogue: &Dialogue, words: &[&str]) -> (View, State) {
    let (mut state, _) = dialogue.begin(&Record::default(), 1, now());
    let (mut screen, views) = Bedside::watched(dialogue, now());
    for words in words {
        let heard = Heard::from_text(words);
        screen.heard(now(), &heard, true);
        let (next, actions) = dialogue.step(state, &Event::Heard(heard), now());
        for action in &actions {
            if let Action::Keep(fact) = action {
                screen.stored(fact);
            }
        }
        state = next;
        screen.state(dialogue, &state, now());
    }
    (views.borrow().clone(), state)
}

#[test]
fn nobody_is_shown_before_they_are_confirmed() {
    let dialogue = dialogue();
    let (view, _) = after(&dialogue, &["room four bed two"]);
    assert_eq!(view.resident, None);
    let waiting = view.waiting.unwrap();
    assert_eq!(waiting.kind, Kind::Who);
    let person = waiting.person.unwrap();
    assert_eq!(
        (
            person.name.as_str(),
            person.place.as_str(),
            person.born.as_str()
        ),
        (
            "Walter Brandt",
            "Room\u{a0}4, bed\u{a0}2",
            "November 19, 1941"
        )
    );
    let (view, _) = after(&dialogue, &["room four bed two", "yes"]);
    assert_eq!(view.resident.unwrap().name, "Walter Brandt");
    assert_eq!(view.waiting, None);
    assert!(view.due.contains(&"pulse".to_owned()));
}

#[test]
fn what_waits_is_what_was_read_back_and_what_is_kept_is_only_after_a_yes() {
    let dialogue = dialogue();
    let said = [
        "room nine",
        "yes",
        "pulse thirty six in thirty seconds taken ten minutes ago",
    ];
    let (view, _) = after(&dialogue, &said);
    let waiting = view.waiting.unwrap();
    let [reading] = waiting.readings.as_slice() else {
        panic!("{:?}", waiting.readings);
    };
    assert_eq!(
        (reading.name.as_str(), reading.value.as_str()),
        ("Pulse", "72 /min")
    );
    assert!(
        reading.how.iter().any(|it| it.contains("three six")),
        "{reading:?}"
    );
    assert!(view.kept.is_empty());
    assert!(view.due.contains(&"pulse".to_owned()));

    let (view, _) = after(&dialogue, &[&said[..], &["yes"]].concat());
    assert_eq!(view.kept[0].reading.value, "72 /min");
    assert_eq!(
        view.kept[0].measured_at,
        now() - chrono::Duration::minutes(10)
    );
    assert!(!view.due.contains(&"pulse".to_owned()), "{:?}", view.due);
    // Another resident's screen shows nothing of it.
    let (view, _) = after(
        &dialogue,
        &[&said[..], &["yes", "room twelve", "yes"]].concat(),
    );
    assert!(view.kept.is_empty());
}

#[test]
fn an_unlikely_value_is_another_question_with_another_number() {
    let dialogue = dialogue();
    let said = ["room nine", "yes", "pulse two hundred and ten regular"];
    let (first, _) = after(&dialogue, &said);
    let (second, _) = after(&dialogue, &[&said[..], &["yes"]].concat());
    assert_eq!(first.waiting.unwrap().kind, Kind::Keep);
    let waiting = second.waiting.as_ref().unwrap();
    assert_eq!(waiting.kind, Kind::KeepUnlikely);
    // A yes to "measure again, or keep it?" could mean either.
    assert!(
        waiting.question.contains("Keep 210 as it is?"),
        "{waiting:?}"
    );
    assert_ne!(first.asked, second.asked);
}

#[test]
fn reports_stay_until_the_nurse_has_them() {
    let dialogue = dialogue();
    let pressure = "blood pressure one fifty two over eighty eight left arm sitting";
    let said = ["room four bed two", "yes", pressure, "yes"];
    let (view, _) = after(&dialogue, &said);
    let [report] = view.reports.as_slice() else {
        panic!("{:?}", view.reports);
    };
    assert!(report.here && report.what.contains("152"), "{report:?}");
    assert_eq!(report.limit, "limit set by Ines Marlow on Feb\u{a0}12");
    assert!(!view.kept[0].flags.is_empty());
    let (view, _) = after(&dialogue, &[&said[..], &["room nine", "yes"]].concat());
    assert!(!view.reports[0].here, "it is another resident's now");
    let closed = ["reported to nurse marlow", "yes"];
    let (view, _) = after(&dialogue, &[&said[..], &closed].concat());
    assert!(view.reports.is_empty());
}

#[test]
fn every_choice_is_understood_as_what_it_stands_for() {
    let dialogue = dialogue();
    let understood = |state: &State, words: &str| {
        let heard = crate::understanding::typed(words);
        dialogue.meaning(state, &heard)
    };
    let (view, state) = after(&dialogue, &[]);
    assert_eq!(view.rooms.len(), 3);
    for room in &view.rooms {
        let meaning = understood(&state, &room.words);
        let Ok(Utterance::Place(place)) = meaning else {
            panic!("{room:?}: {meaning:?}");
        };
        assert_eq!(place.room.as_ref(), Some(&room.name));
    }
    assert_eq!(view.nurses.len(), 3);
    for nurse in &view.nurses {
        let meaning = understood(&state, &nurse.words);
        assert!(
            matches!(meaning, Ok(Utterance::Reported { .. })),
            "{nurse:?}"
        );
    }
    let (view, state) = after(&dialogue, &["room four"]);
    let beds = view.waiting.unwrap().choices;
    assert_eq!(beds.len(), 2);
    for bed in &beds {
        assert!(matches!(
            understood(&state, &bed.words),
            Ok(Utterance::Place(_))
        ));
    }
    let question = ["room nine", "yes", "temperature ninety nine point two"];
    let (view, state) = after(&dialogue, &question);
    let methods = view.waiting.unwrap().choices;
    assert_eq!(methods.len(), crate::vitals::Method::ALL.len());
    for method in &methods {
        let meaning = understood(&state, &method.words);
        let Ok(Utterance::Part(part)) = meaning else {
            panic!("{method:?}: {meaning:?}");
        };
        assert_eq!(part.qualifiers.len(), 1);
    }
}

#[test]
fn what_sayback_does_is_always_one_thing() {
    let dialogue = dialogue();
    let (view, state) = after(&dialogue, &["stop listening"]);
    assert_eq!(view.doing, Doing::Asleep);
    let (mut screen, views) = Bedside::watched(&dialogue, now());
    let doing = || views.borrow().doing;
    assert_eq!(doing(), Doing::Listening);
    screen.said(now(), "Which room?");
    assert_eq!(doing(), Doing::Saying);
    screen.microphone_lost(true);
    assert_eq!(doing(), Doing::MicrophoneLost);
    screen.said_all();
    assert_eq!(doing(), Doing::MicrophoneLost);
    screen.microphone_lost(false);
    assert_eq!(doing(), Doing::Listening);
    screen.state(&dialogue, &state, now());
    assert_eq!(doing(), Doing::Asleep);
    let (view, _) = after(&dialogue, &["end of round"]);
    assert_eq!(view.doing, Doing::Ended);
}

#[test]
fn a_change_shows_what_is_kept_and_what_it_is_to_be() {
    let dialogue = dialogue();
    let kept = [
        "room four bed two",
        "yes",
        "blood pressure one fifty two over eighty eight left arm sitting",
        "yes",
    ];
    let and = |more: &[&'static str]| after(&dialogue, &[&kept[..], more].concat()).0;
    let change = "change the pressure to one forty two over eighty eight";
    let waiting = and(&[change]).waiting.unwrap();
    assert_eq!(waiting.kind, Kind::Change);
    assert_eq!(waiting.was.unwrap().value, "152/88 mmHg");
    assert_eq!(waiting.readings[0].value, "142/88 mmHg");
    // Only a yes changes what is shown as kept, and what it had raised is gone.
    assert_eq!(and(&[change]).kept[0].reading.value, "152/88 mmHg");
    let view = and(&[change, "yes"]);
    let [it] = view.kept.as_slice() else {
        panic!("{:?}", view.kept);
    };
    assert_eq!(it.reading.value, "142/88 mmHg");
    assert!(it.changed && it.flags.is_empty(), "{it:?}");
    assert!(view.reports.is_empty());

    let waiting = and(&["scratch the pressure"]).waiting.unwrap();
    assert_eq!((waiting.kind, waiting.was), (Kind::Change, None));
    assert_eq!(waiting.readings[0].value, "152/88 mmHg");
    assert!(and(&["scratch the pressure", "yes"]).kept.is_empty());

    // Which of two: each choice answers it.
    let second = ["pulse seventy two", "yes", "pulse eighty", "yes"];
    let which = [&kept[..2], &second, &["change the pulse to ninety"]].concat();
    let (view, _) = after(&dialogue, &which);
    let waiting = view.waiting.unwrap();
    assert_eq!(waiting.kind, Kind::Question);
    let [_, eighty] = waiting.choices.as_slice() else {
        panic!("{:?}", waiting.choices);
    };
    assert_eq!(waiting.question, "Which pulse?");
    assert_eq!(eighty.name, "The second: Pulse 80\u{a0}/min, 07:30");
    let (view, _) = after(&dialogue, &[&which[..], &[&eighty.words]].concat());
    assert_eq!(view.waiting.unwrap().was.unwrap().value, "80 /min");
}

#[test]
fn a_moved_reading_is_shown_where_it_went() {
    let dialogue = dialogue();
    let moved = [
        "room nine",
        "yes",
        "pulse seventy two",
        "yes",
        "wrong resident",
    ];
    let (view, _) = after(&dialogue, &moved);
    assert_eq!(view.moving_from.as_deref(), Some("Rosa Delgado"));
    let to = [&moved[..], &["room twelve", "yes"]].concat();
    let (view, _) = after(&dialogue, &to);
    assert_eq!(view.moving_from, None);
    let waiting = view.waiting.unwrap();
    assert_eq!(waiting.question, "Move from Rosa Delgado to Henry Okafor?");
    assert_eq!(waiting.readings[0].value, "72 /min");
    assert!(view.kept.is_empty());
    let (view, _) = after(&dialogue, &[&to[..], &["yes"]].concat());
    assert_eq!(view.kept[0].reading.value, "72 /min");
    let back = [&to[..], &["yes", "room nine", "yes"]].concat();
    assert!(after(&dialogue, &back).0.kept.is_empty());
}

#[test]
fn what_runs_is_shown_with_the_count_first() {
    let dialogue = dialogue();
    let said = ["room nine", "yes", "time three minutes", "count pulse"];
    let (view, state) = after(&dialogue, &said);
    let [count, wait] = view.timers.as_slice() else {
        panic!("{:?}", view.timers);
    };
    assert!(count.count && count.until.is_none(), "{count:?}");
    assert_eq!(wait.until, Some(now() + chrono::Duration::minutes(3)));
    let event = Event::Said {
        began: now(),
        ended: now(),
    };
    let (state, _) = dialogue.step(state, &event, now());
    let view = View::of(&dialogue, &state, now());
    let until = Some(now() + chrono::Duration::seconds(30));
    assert_eq!(view.timers[0].until, until);
}

#[test]
fn a_report_that_is_said_again_says_how_often() {
    let dialogue = dialogue();
    let pressure = "blood pressure one fifty two over eighty eight left arm sitting";
    let kept = ["room four bed two", "yes", pressure, "yes"];
    let again = |times: usize| {
        let missing = vec!["what's missing"; times];
        let (view, _) = after(&dialogue, &[&kept[..], &missing].concat());
        view.reports[0].said_again
    };
    assert_eq!([0, 1, 3].map(again), [0, 1, 3]);
}

#[test]
fn whoever_records_sees_that_sound_is_kept() {
    let mut home = Home::from_toml(include_str!("../../../audio-fixtures/demo-home.toml")).unwrap();
    let page = |home: &Home| {
        let aide = home.aides[0].clone();
        let dialogue = Dialogue::new(home.clone(), aide, &Grammar::standard()).unwrap();
        let (view, _) = after(&dialogue, &["room four bed two", "yes"]);
        crate::bedside::page::screen(&view, "key").into_string()
    };
    assert!(!page(&home).contains("Sound kept"));
    home.kept_sound = Some(crate::residents::KeptSound {
        days: 14,
        megabytes: 100,
    });
    assert!(page(&home).contains("Sound kept 14 days"));
}
