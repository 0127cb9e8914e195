//! What can be touched in place of being said: words of the grammar, each with
//! what stands on its button.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::dialogue::Dialogue;
use crate::facts::Time;
use crate::grammar::{Token, Vocabulary, place_words};
use crate::residents::Staff;
use crate::round::shown;
use crate::speaking::wording::capital;
use crate::vitals::{Measurement, Qualifier, QualifierKind, VitalSign};

/// A button and the words that it stands for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Choice {
    /// What is on it.
    pub name: String,
    /// What it says.
    pub words: String,
}

impl Choice {
    fn same(words: &str) -> Self {
        Self {
            name: capital(words),
            words: words.to_owned(),
        }
    }
}

/// The rooms of the home, in order of number. A room says nobody's name on a
/// screen that everyone in the corridor can read.
pub fn rooms(dialogue: &Dialogue) -> Vec<Choice> {
    let residents = dialogue.home().residents.iter();
    let rooms: BTreeSet<(usize, &str)> = residents
        .map(|it| (it.room.len(), it.room.as_str()))
        .collect();
    let choice = |(_, room): &(usize, &str)| Choice {
        name: (*room).to_owned(),
        words: format!("room {}", place_words(room)),
    };
    rooms.iter().map(choice).collect()
}

/// The beds of a room.
pub fn beds(dialogue: &Dialogue, room: &str) -> Vec<Choice> {
    let beds = dialogue.home().in_room(room);
    let beds = beds.filter_map(|it| it.bed.as_ref());
    let choice = |bed: &String| Choice {
        name: format!("Bed {bed}"),
        words: format!("bed {}", place_words(bed)),
    };
    beds.map(choice).collect()
}

/// The nurses of the home, and the charge nurse.
pub fn nurses(dialogue: &Dialogue) -> Vec<Choice> {
    let nurses = &dialogue.home().nurses;
    let named = |phrase: &str, key: &str| Choice {
        name: match key.parse().ok().and_then(|at: usize| nurses.get(at)) {
            Some(nurse) => nurse.name.clone(),
            None => capital(phrase),
        },
        words: format!("reported to {phrase}"),
    };
    // Each once, however many ways there are to name her.
    let mut found: BTreeMap<&String, Choice> = BTreeMap::new();
    for (phrase, token) in dialogue.vocabulary().phrases() {
        if let Token::Nurse(key) = token {
            found.entry(key).or_insert_with(|| named(&phrase, key));
        }
    }
    let mut choices: Vec<Choice> = found.into_values().collect();
    choices.sort_by(|a, b| a.words.cmp(&b.words));
    choices
}

/// Those of the staff who can say that they record, in the words for it.
pub fn recorders(dialogue: &Dialogue, staff: &[Staff]) -> Vec<Choice> {
    let words = |it: &Staff| {
        let mut phrases = dialogue.vocabulary().phrases();
        phrases.find_map(|(phrase, token)| match token {
            Token::Staff(call) if dialogue.home().staff_called(call) == [it] => Some(phrase),
            _ => None,
        })
    };
    let choice = |it: &Staff| {
        let name = it.name.clone();
        words(it).map(|words| Choice { name, words })
    };
    staff.iter().filter_map(choice).collect()
}

/// Every answer of one kind, each once, in the words of its own name where the
/// grammar has them.
pub fn kinds(vocabulary: &Vocabulary, kind: QualifierKind) -> Vec<Choice> {
    let mut found: BTreeMap<Qualifier, String> = BTreeMap::new();
    for (phrase, token) in vocabulary.phrases() {
        let Token::Is(qualifier) = token else {
            continue;
        };
        if qualifier.kind() == kind {
            let best = found.entry(*qualifier).or_insert_with(|| phrase.clone());
            if qualifier.spoken() == phrase {
                *best = phrase;
            }
        }
    }
    found.values().map(|it| Choice::same(it)).collect()
}

/// The reasons why something is not taken, each once.
pub fn why_not(vocabulary: &Vocabulary) -> Vec<Choice> {
    let mut found: Vec<(&Token, Choice)> = Vec::new();
    for (phrase, token) in vocabulary.phrases() {
        let is_new = !found.iter().any(|(other, _)| *other == token);
        if is_new && matches!(token, Token::NotTaken(_)) {
            found.push((token, Choice::same(&phrase)));
        }
    }
    found.into_iter().map(|(_, it)| it).collect()
}

/// The vital sign of all of these, where it is one.
pub fn one_sign<'a>(
    mut readings: impl Iterator<Item = (&'a Measurement, Time)>,
) -> Option<VitalSign> {
    let first = readings.next()?.0.sign();
    readings.all(|(it, _)| it.sign() == first).then_some(first)
}

/// The kept readings of which one is meant, numbered in the order in which they
/// are said.
pub fn nth<'a>(readings: impl Iterator<Item = (&'a Measurement, Time)>) -> Vec<Choice> {
    let words = ["the first", "the second", "the third", "the fourth"];
    let choice = |((it, at), words): ((&Measurement, Time), &str)| {
        // A number and its unit are not to be broken over two lines.
        let shown = shown(it).replace(" /", "\u{a0}/");
        Choice {
            name: format!("{}: {shown}, {}", capital(words), at.format("%H:%M")),
            words: words.to_owned(),
        }
    };
    readings.zip(words).map(choice).collect()
}

/// The reasons to go on past a caution.
pub fn reasons(vocabulary: &Vocabulary) -> Vec<Choice> {
    let reason = |(phrase, token): (String, &Token)| {
        matches!(token, Token::Reason(_)).then(|| Choice::same(&phrase))
    };
    vocabulary.phrases().filter_map(reason).collect()
}
