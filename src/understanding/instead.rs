//! A no, and in the same breath what is to be done instead of what waits: "no, room nine".

use super::{Order, Sentence, Utterance};
use crate::grammar::{Command, Token};

impl Sentence<'_> {
    /// What was understood, as said after a no where it was. What puts right what was read
    /// back ("no, seventy two", "no, nurse Quist", "no, scratch that") answers it by itself.
    pub(super) fn instead(&self, found: Utterance) -> Utterance {
        let mut meant = self.tokens.iter().map(|it| &it.token);
        let no = meant.find(|it| **it != Token::Filler) == Some(&Token::No);
        let elsewhere = match &found {
            Utterance::Command(it) => !matches!(it, Command::Scratch | Command::WrongResident),
            Utterance::Order(it) => matches!(it, Order::Count { .. } | Order::Recheck(_)),
            Utterance::Place(_)
            | Utterance::Called { alone: true, .. }
            | Utterance::Skip(_)
            | Utterance::NotTaken { .. } => true,
            _ => false,
        };
        if no && elsewhere {
            Utterance::Instead(Box::new(found))
        } else {
            found
        }
    }
}
