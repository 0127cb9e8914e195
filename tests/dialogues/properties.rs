//! What holds for any order of events.

use std::collections::BTreeSet;

use proptest::prelude::*;
use sayback::dialogue::Phase;

use super::*;

/// Things an aide, a television or silence might bring, in any order.
fn event() -> impl Strategy<Value = Event> {
    let grammar = Grammar::standard();
    let rules: Vec<String> = grammar.public_rules().map(str::to_owned).collect();
    let drawn = (proptest::sample::select(rules), any::<u64>()).prop_map(move |(rule, seed)| {
        let mut rng = fastrand::Rng::with_seed(seed);
        Event::Heard(Heard::from_text(&grammar.draw(&rule, &mut rng)))
    });
    let often = proptest::sample::select(vec![
        "yes",
        "no",
        "room nine",
        "room four bed two",
        "pulse seventy two regular",
        "blood pressure one sixty over ninety left arm sitting",
        "temperature one hundred two",
        "respiration [unk]",
        "no eighty four",
        "oral",
        "scratch that",
        "reported to the charge nurse",
        "done",
        "henry okafor",
        "next",
        "go back",
        "skip asleep",
        "lead me",
        "this is dana whitlock",
        "this is ines marlow",
        "change the pulse to one thirty",
        "that was the right arm",
        "scratch the pulse",
        "the first",
        "wrong resident",
        "count pulse",
        "thirty six",
        "time three minutes",
        "recheck",
    ]);
    // Another of the staff comes and goes; Dana Whitlock may too.
    let signing = (any::<bool>(), 0_usize..4).prop_map(|(on, at)| {
        let home = DIALOGUE.home();
        let staff = if at > 0 {
            &home.nurses[0]
        } else {
            &home.aides[0]
        }
        .clone();
        if on || at == 0 {
            Event::SignedOn(staff)
        } else {
            Event::SignedOff(staff)
        }
    });
    let words = proptest::collection::vec("[a-z]{1,6}", 0..5).prop_map(|it| it.join(" "));
    prop_oneof![
        5 => often.prop_map(|it| Event::Heard(Heard::from_text(it))),
        3 => drawn,
        1 => Just(Event::Silence),
        1 => words.prop_map(|it| Event::Heard(Heard::from_text(&it))),
        1 => Just(Event::NotStored("the disk is full".to_owned())),
        2 => Just(Event::Tick),
        1 => Just(Event::NotSaid),
        1 => signing,
    ]
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 150,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// In any order of events nothing is spoken in a shared room that tells
    /// whose a value is; the conversation checks everything it says.
    #[test]
    fn no_value_is_spoken_with_a_name(
        events in proptest::collection::vec(event(), 1..40),
    ) {
        let mut room = Conversation::begin(in_home(DEMO, Some(Speech::Room), None));
        for event in events {
            room.now += Duration::seconds(7);
            room.step(&event);
        }
    }
}

/// Whether a stop would lose something that was not read back to be kept, where the phase
/// says so.
fn under_way(state: &State) -> Option<bool> {
    let moving = state.moving_from().is_some();
    match state.phase() {
        _ if state.ended() => Some(false),
        Phase::Asking(_) | Phase::ConfirmChange(_) => Some(true),
        Phase::Place | Phase::WhichBed(_) | Phase::Identify(_) => Some(moving),
        _ => None,
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 400,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// In any order of events: nothing panics; nothing is stored without a
    /// yes that followed the read-back of just that value; nothing that was
    /// read back is lost without a fact that says so; and the dialogue has the
    /// open reports that the facts add up to.
    #[test]
    fn only_what_was_read_back_and_confirmed_is_stored(
        events in proptest::collection::vec(event(), 1..40),
    ) {
        let mut now = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap();
        let (mut state, _) = DIALOGUE.begin(&Record::default(), 1, now);
        let mut last_said = String::new();
        let mut waiting: BTreeSet<uuid::Uuid> = BTreeSet::new();
        let mut unfinished: BTreeSet<uuid::Uuid> = BTreeSet::new();
        let mut facts: Vec<Fact> = Vec::new();
        for event in events {
            now += Duration::seconds(7);
            let (next, actions) = DIALOGUE.step(state.clone(), &event, now);
            prop_assert_eq!(&DIALOGUE.step(state, &event, now).1, &actions, "not pure");
            state = next;
            let yes = matches!(
                &event,
                Event::Heard(heard) if ["yes", "keep", "correct", "that's"]
                    .iter()
                    .any(|it| heard.text().starts_with(it))
            );
            let mut answered = None;
            for action in actions {
                if let Action::Keep(fact) = &action {
                    let json = serde_json::to_string(fact).unwrap();
                    facts.push(serde_json::from_str(&json).unwrap());
                }
                match action {
                    Action::Say(saying) => last_said = saying.shown,
                    Action::Keep(fact) => match fact.body {
                        Body::Corrected { .. } | Body::Retracted { .. } => {
                            prop_assert!(yes, "changed on {:?}", event);
                        }
                        Body::Read(reading) => {
                            let record = reading.record();
                            prop_assert!(yes, "stored on {:?}", event);
                            // One yes answers one offer of several readings.
                            let offered = waiting.remove(&record.offer);
                            prop_assert!(offered || answered == Some(record.offer));
                            answered = Some(record.offer);
                            let said = wording::measurement(&record.measurement);
                            prop_assert!(record.read_back.contains(&said));
                            prop_assert!(
                                last_said.contains(&said),
                                "stored \"{}\" after saying \"{}\"", said, last_said
                            );
                        }
                        Body::Offered { unfinished: None, .. } => {
                            waiting.insert(fact.id);
                        }
                        Body::Offered { readings, .. } => {
                            prop_assert!(readings.is_empty(), "a value that was not read back");
                            prop_assert!(unfinished.insert(fact.id));
                        }
                        Body::Dropped { offer, unfinished: true, .. } => {
                            prop_assert!(unfinished.remove(&offer));
                        }
                        Body::Dropped { offer, .. } | Body::Unconfirmed { offer, .. } => {
                            prop_assert!(waiting.remove(&offer), "dropped what was not offered");
                        }
                        _ => {}
                    },
                    Action::Listen { .. } | Action::Click | Action::End => {}
                }
            }
            let confirming = matches!(
                state.phase(),
                Phase::Confirming(_) | Phase::ConfirmMove(_)
            );
            prop_assert_eq!(waiting.len(), usize::from(confirming), "{:?}", state.phase());
            prop_assert!(unfinished.len() <= 1);
            if let Some(under_way) = under_way(&state) {
                prop_assert_eq!(!unfinished.is_empty(), under_way, "{:?}", state.phase());
            }
            let record = Record::of(&facts);
            let open: BTreeSet<_> = record.open_reports().map(|it| it.flag).collect();
            let said: BTreeSet<_> = state.open_reports().iter().map(|it| it.flag).collect();
            prop_assert_eq!(open, said);
        }
    }
}
