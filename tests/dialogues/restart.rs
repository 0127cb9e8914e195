//! What others recorded between a stop and the next round, or while one goes on.

use sayback::facts::{NO_ROUND, VERSION};
use sayback::residents::ResidentId;
use sayback::vitals::{NotTakenReason, VitalSign};
use uuid::Uuid;

use super::*;

fn with_rosa() -> Conversation {
    let mut it = Conversation::begin(&DIALOGUE);
    it.hear("room nine");
    it.hear("yes");
    it
}

fn rosa() -> ResidentId {
    ResidentId("AR-090".to_owned())
}

/// A fact of someone else, now.
fn by_another(it: &Conversation, body: Body) -> Fact {
    Fact {
        id: Uuid::now_v7(),
        version: VERSION,
        at: it.now,
        by: it.dialogue.home().nurses[0].clone(),
        round: NO_ROUND,
        body,
    }
}

#[test]
fn a_move_that_a_nurse_has_made_good_is_not_said() {
    for made_good in [false, true] {
        let mut it = with_rosa();
        it.hear("pulse eighty");
        it.hear("yes");
        it.hear("wrong resident");
        it.hear("room twelve");
        it.hear("yes");
        assert!(it.said.contains("Move from"), "{}", it.said);
        let reading = it.record.readings().next().unwrap().id;
        if made_good {
            let retracted = Body::Retracted {
                reading,
                resident: rosa(),
                reason: "of another resident".to_owned(),
                over: vec![reading],
            };
            let retracted = by_another(&it, retracted);
            it.record.add(&retracted);
        }
        it.start_again();
        assert_eq!(it.said.contains("a move from"), !made_good, "{}", it.said);
    }
}

#[test]
fn what_another_recorder_put_off_is_not_due_here() {
    let mut it = with_rosa();
    let is_due = |it: &Conversation| {
        let due = it.dialogue.due(&it.state, it.now);
        due.contains(&VitalSign::Pulse)
    };
    assert!(is_due(&it));
    let refused = Body::NotTaken {
        resident: rosa(),
        signs: vec![VitalSign::Pulse],
        reason: NotTakenReason::Refused,
        // As facts of before this was kept.
        retry_at: None,
    };
    let refused = by_another(&it, refused);
    it.record.add(&refused);
    it.state.take_histories(&it.record);
    assert!(!is_due(&it));
    it.now += Duration::minutes(31);
    assert!(is_due(&it));
}

/// What a stop would lose costs the record two facts, however many questions it takes: that
/// it is under way, and that it is not any more. Every version needs the second, too, to know
/// what was answered.
#[test]
fn questions_about_one_reading_are_two_facts_however_many() {
    let mut it = with_rosa();
    let mut kinds: Vec<&str> = Vec::new();
    for words in [
        "blood pressure one twenty eight over seventy six",
        "repeat",
        "left arm",
        "repeat",
        "sitting",
        "yes",
    ] {
        let event = Event::Heard(Heard::from_text(words));
        let (state, actions) = it.dialogue.step(it.state.clone(), &event, it.now);
        it.state = state;
        for action in &actions {
            let Action::Keep(fact) = action else { continue };
            kinds.push(match &fact.body {
                Body::Offered { unfinished, .. } if unfinished.is_some() => "under way",
                Body::Dropped { unfinished, .. } if *unfinished => "not any more",
                Body::Offered { .. } => "read back",
                Body::Read(_) => "read",
                _ => "another",
            });
        }
    }
    assert_eq!(kinds, ["under way", "read back", "not any more", "read"]);
}
