//! Counts by the times at which words were heard.

use sayback::grammar::Expect;

use super::*;

/// "Start" that nobody heard begins nothing; "Stop" whose sound came too late
/// ends a count of unknown time, whatever the clock of the machine said.
#[test]
fn a_count_begins_and_ends_when_its_words_are_heard() {
    let step = |it: &mut Conversation, event: Event| {
        let (state, actions) = it.dialogue.step(it.state.clone(), &event, it.now);
        it.state = state;
        it.said.clear();
        let mut next = None;
        for action in actions {
            match action {
                Action::Say(saying) => it.said = saying.shown,
                Action::Listen { sharp, tell, .. } => next = Some((sharp, tell)),
                _ => {}
            }
        }
        next.unwrap()
    };
    let heard = |words: &str| Event::Heard(Heard::from_text(words));
    let counting = || {
        let mut it = Conversation::begin(&DIALOGUE);
        for words in ["room nine", "yes"] {
            it.hear(words);
        }
        assert_eq!(step(&mut it, heard("count pulse")), (None, true));
        it
    };

    let mut it = counting();
    assert_eq!(step(&mut it, Event::NotSaid), (None, false));
    assert_eq!(it.said, "Start could not be said. Nothing is counted.");

    // What waits meanwhile for a yes is said again, not left unsaid before it.
    let mut it = counting();
    step(&mut it, heard("respiration sixteen"));
    step(&mut it, Event::NotSaid);
    let again = "Start could not be said. Nothing is counted. Respiration one six. Yes?";
    assert_eq!(it.said, again);

    for (late, used) in [(0, true), (2, true), (3, false)] {
        let mut it = counting();
        let began = it.now;
        let ended = began + Duration::milliseconds(1_900);
        it.now = ended + Duration::milliseconds(300);
        let due = ended + Duration::seconds(30);
        let next = step(&mut it, Event::Said { began, ended });
        assert_eq!(next, (Some(due), false), "from the end of the word");
        it.now = due;
        assert_eq!(step(&mut it, Event::Tick), (None, true));
        assert_eq!(it.said, "Stop. Pulse: how many?");
        let began = due + Duration::seconds(late);
        let ended = began + Duration::seconds(1);
        step(&mut it, Event::Said { began, ended });
        assert_eq!(it.said.is_empty(), used, "{late} s late: {}", it.said);
        assert!(used || it.said.contains("that count is not used"));
        // "Say count pulse to count again" can be heard.
        let expect = if used { Expect::Rate } else { Expect::Answer };
        assert_eq!(it.state.expect(), expect);
        step(&mut it, heard("thirty six"));
        let doubled = it.said.contains("counted three six in three zero seconds");
        assert_eq!(doubled, used, "{late} s late: {}", it.said);
    }
}

/// A time that can't be is asked for where a time can be heard.
#[test]
fn when_a_pulse_was_taken_is_listened_for() {
    let mut it = Conversation::begin(&DIALOGUE);
    for words in ["room nine", "yes", "pulse seventy two taken at eight"] {
        it.hear(words);
    }
    assert!(it.said.contains("That time can't be."), "{}", it.said);
    assert_eq!(it.state.expect(), Expect::Answer);
}
