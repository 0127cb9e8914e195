//! The card "what you can say": one printed page, made from the grammar, so
//! that it is always true.
//!
//! An entry stands for a rule of the grammar: its examples are phrases of that
//! rule, and the lists of words are all that the grammar has. Tests prove the
//! first, and that no rule that can be said is missing.

mod entries;
mod page;

use crate::grammar::{Command, Grammar, Token, Vocabulary};
use crate::vitals::{QualifierKind, VitalSign};

pub use entries::{ENTRIES, Entry, Group};
pub use page::{STYLE, html, text};

/// One line of the card.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// What the aide wants, or what the words are.
    pub to: String,
    /// What to say, each a whole utterance.
    pub say: Vec<String>,
    /// Words that may be added or said instead.
    pub words: Vec<String>,
}

/// A group of lines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Section {
    /// What they are for.
    pub title: &'static str,
    /// The lines.
    pub lines: Vec<Line>,
}

/// The whole card.
#[must_use]
pub fn card(grammar: &Grammar) -> Vec<Section> {
    let vocabulary = grammar.vocabulary();
    let section = |group: &Group| {
        let own = ENTRIES.iter().filter(|it| it.group == *group);
        let mut lines: Vec<Line> = own
            .map(|it| Line {
                to: it.to.to_owned(),
                say: it.say.iter().map(|it| (*it).to_owned()).collect(),
                words: words_of(&vocabulary, it),
            })
            .collect();
        if *group == Group::Commands {
            lines.extend(commands(&vocabulary));
        }
        Section {
            title: group.title(),
            lines,
        }
    };
    Group::ALL.iter().map(section).collect()
}

/// The words that go with a reading: for each qualifier it can have, all ways
/// to say it.
fn words_of(vocabulary: &Vocabulary, entry: &Entry) -> Vec<String> {
    let kinds = entry.sign.map_or(&[][..], VitalSign::qualifiers);
    kinds.iter().map(|kind| ways(vocabulary, *kind)).collect()
}

/// "oral, rectal, …": each qualifier of a kind by the name it is read back with,
/// or the first that the grammar has.
fn ways(vocabulary: &Vocabulary, kind: QualifierKind) -> String {
    let mut found: Vec<(crate::vitals::Qualifier, String)> = Vec::new();
    for (phrase, token) in vocabulary.phrases() {
        let Token::Is(it) = token else { continue };
        if it.kind() != kind {
            continue;
        }
        match found.iter_mut().find(|(other, _)| other == it) {
            Some((_, best)) if it.spoken() == phrase => *best = phrase,
            Some(_) => {}
            None => found.push((*it, phrase)),
        }
    }
    found.sort_by_key(|(it, _)| *it);
    let words: Vec<String> = found.into_iter().map(|(_, it)| it).collect();
    words.join(", ")
}

/// Every command with all the ways to say it.
fn commands(vocabulary: &Vocabulary) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    for (phrase, token) in vocabulary.phrases() {
        let Token::Say(command) = token else { continue };
        let to = does(*command);
        match lines.iter_mut().find(|it| it.to == to) {
            Some(line) => line.say.push(phrase),
            None => lines.push(Line {
                to: to.to_owned(),
                say: vec![phrase],
                words: Vec::new(),
            }),
        }
    }
    lines
}

/// What a command does, for the card.
const fn does(command: Command) -> &'static str {
    match command {
        Command::Repeat => "hear it again",
        Command::Scratch => "drop what waits",
        Command::Missing => "hear what is still due",
        Command::Done => "finish with this resident",
        Command::Help => "hear what you can say now",
        Command::EndRound => "close the round",
        Command::Orthostatic => "be led through lying and standing pressures",
        Command::Next => "go to whoever is next",
        Command::Back => "go back to the one before",
        Command::Skip => "go past this resident",
        Command::Later => "leave a question",
        Command::WhoIsLeft => "hear who is left",
        Command::Lead => "be asked for each that is due, in turn",
        Command::Stop => "stop a count, what is timed, or being led",
        Command::CancelCount => "stop the count",
        Command::CancelTimer => "stop what is timed",
        Command::WrongResident => "move what you kept here to the right resident",
        Command::StopListening => "let it sleep",
        Command::StartListening => "wake it",
    }
}
