//! What a conversation leaves in the record.

use chrono::Duration;
use sayback::dialogue::{Action, Dialogue, Event};
use sayback::facts::{Fact, KeptReading, Record, Time};
use sayback::grammar::Grammar;
use sayback::hearing::Heard;
use sayback::residents::Home;

/// The facts of an aide who says this, a few seconds apart.
pub fn facts(home: &Home, begins: Time, words: &[&str]) -> Vec<Fact<KeptReading>> {
    let heard = words.iter().map(|it| Heard::from_text(it));
    facts_of(home, begins, heard)
}

/// The same of an aide who is heard saying this.
pub fn facts_of(
    home: &Home,
    begins: Time,
    said: impl Iterator<Item = Heard>,
) -> Vec<Fact<KeptReading>> {
    let aide = home.aides[0].clone();
    let dialogue = Dialogue::new(home.clone(), aide, &Grammar::standard()).unwrap();
    let mut now = begins;
    let (mut state, mut actions) = dialogue.begin(&Record::default(), 1, now);
    let mut facts = Vec::new();
    for heard in said {
        now += Duration::seconds(7);
        let (next, more) = dialogue.step(state, &Event::Heard(heard), now);
        state = next;
        actions.extend(more);
    }
    for action in actions {
        if let Action::Keep(fact) = action {
            facts.push(*fact);
        }
    }
    facts
}
