//! And what is kept is corrected truly: the aide finds out that something else
//! is true, says so in random ways, sometimes misheard, and says yes only to a
//! read-back that is the truth.

use std::collections::BTreeSet;

use sayback::facts::{Body, Record};
use sayback::speaking::wording;
use sayback::vitals::{Measurement, Qualifier};

use super::{Aide, Truth, arrive, say_qualifier};

/// What the aide found out.
enum Found {
    /// Another value.
    Value(Truth),
    /// Another way of measuring.
    Way(Qualifier),
    /// It is no reading at all.
    Nothing,
}

fn find(was: &Truth, aide: &mut Aide<'_>) -> (Found, Option<Measurement>) {
    let qualifiers = was.measurement.qualifiers();
    match aide.rng.u8(0..4) {
        0 => return (Found::Nothing, None),
        1 => {
            let other = Truth::draw(was.sign(), &mut aide.rng).or_palpated(&mut aide.rng);
            let drawn = other.measurement.qualifiers();
            let other = drawn
                .iter()
                .find(|it| qualifiers.get(it.kind()) != Some(*it));
            if let Some(way) = other
                && let Ok(to) = was.measurement.clone().with(way)
            {
                return (Found::Way(way), Some(to));
            }
        }
        _ => {}
    }
    let other = Truth::draw(was.sign(), &mut aide.rng).or_palpated(&mut aide.rng);
    let bare = Truth {
        measurement: other.bare(),
    };
    let how = qualifiers.iter();
    let to = how.fold(bare.measurement.clone(), |it, how| it.with(how).unwrap());
    (Found::Value(bare), Some(to))
}

fn say(aide: &mut Aide<'_>, was: &Truth, found: &Found) {
    let name = was.name(&mut aide.rng);
    let words = match found {
        Found::Value(other) => {
            let (units, plain) = (aide.dialogue.home().units, aide.plain());
            let value = other.value(units, plain, &mut aide.rng);
            format!("change the {name} to {value}")
        }
        Found::Way(way) => format!("that was {}", say_qualifier(*way, &mut aide.rng)),
        Found::Nothing => format!("scratch the {name}"),
    };
    aide.say_aloud(words.trim());
}

/// Corrects one of the readings until the record has it.
fn correct(aide: &mut Aide<'_>, truths: &mut Vec<Truth>) -> bool {
    let at = aide.rng.usize(0..truths.len());
    let was = truths[at].clone();
    let (found, to) = find(&was, aide);
    if to.as_ref() == Some(&was.measurement) {
        return false;
    }
    let before = wording::measurement(&was.measurement);
    let read_back = match &to {
        Some(to) => format!("Change: {before}, to {}.", wording::measurement(to)),
        None => format!("Take back: {before}."),
    };
    let changes = |aide: &Aide<'_>| {
        let changed = |it: &&sayback::facts::Fact| {
            matches!(it.body, Body::Corrected { .. } | Body::Retracted { .. })
        };
        aide.facts.iter().filter(changed).count()
    };
    let done = changes(aide);
    aide.turns = 0;
    while changes(aide) == done {
        aide.turns += 1;
        let question = aide.dialogue_question();
        match question {
            None => say(aide, &was, &found),
            Some(asked)
                if asked == format!("{read_back} Yes?")
                    || asked.ends_with(&format!("look again. {read_back} Yes to change it?")) =>
            {
                aide.say("yes");
            }
            // Which of two, now and then, when a rhythm is of both.
            Some(asked) if asked.starts_with("Which one?") => {
                let mut each = asked.split("The ").skip(1);
                let nth = each.position(|it| it.contains(&before));
                match nth {
                    Some(nth) => aide.say(["the first", "the second", "the third"][nth]),
                    None => aide.say("scratch that"),
                }
            }
            Some(asked) if asked.starts_with("Change:") && aide.rng.bool() => aide.say("no"),
            Some(_) => aide.say("scratch that"),
        }
        if aide.turns > 80 {
            aide.fail(&format!("{read_back} is never done"));
        }
    }
    match to {
        Some(measurement) => truths[at] = Truth { measurement },
        None => drop(truths.remove(at)),
    }
    true
}

#[test]
fn what_is_kept_is_corrected_truly() {
    let mut corrections = 0;
    for seed in 0..600 {
        let (mut aide, mut truths) = arrive(seed);
        while !aide.left.is_empty() {
            aide.turn();
        }
        for _ in 0..3 {
            if !truths.is_empty() {
                corrections += usize::from(correct(&mut aide, &mut truths));
            }
        }
        let record = Record::of(&aide.facts);
        let stands: Vec<Measurement> = record.readings().map(|it| it.measurement.clone()).collect();
        let is_true = |it: &Truth| stands.contains(&it.measurement);
        let right = stands.len() == truths.len() && truths.iter().all(is_true);
        if !right {
            aide.fail(&format!("{stands:?} stands, and {truths:?} is true"));
        }
        let open: BTreeSet<_> = record.open_reports().map(|it| it.flag).collect();
        let said: BTreeSet<_> = aide.state.open_reports().iter().map(|it| it.flag).collect();
        assert_eq!(open, said, "{}", aide.log.join("\n"));
    }
    assert!(corrections > 1_000, "only {corrections} corrections");
}
