//! The recogniser's half of the grammar: phrases drawn from the rules.
//!
//! The recogniser estimates word pairs from whole phrases, so it is given many
//! phrases drawn by weight rather than a bag of words.

use fastrand::Rng;

use super::jsgf::Expansion;
use super::{Expect, Grammar};
use crate::hearing::UNKNOWN;
use crate::vitals::VitalSign;

/// Any fixed number does; fixed so that every start hears alike.
const SEED: u64 = 0x5A7B_AC4B;

/// One phrase of other talk for so many of the grammar. Without them talk is
/// forced into words of the grammar; with this many, of 241 sentences of side
/// talk that were tried with numbers and names of vital signs in them, 225 are
/// ignored while readings are expected, and readings are heard as well as
/// before. With twice as many, readings begin to be lost.
const TALK: usize = 33;
/// The fewest phrases of other talk, for short lists.
const LEAST_TALK: usize = 50;
/// The longest of them, in words.
const LONGEST_TALK: usize = 8;

/// A word so long (three times "double you") that nothing is ever heard as it.
///
/// The recogniser gives half of the likelihood of what follows a word to the
/// words that followed it in the phrases, and half to all words by how often they
/// come at all: "one by seven" costs next to nothing. With many of this word,
/// almost all of that second half is its, and what no phrase holds is seldom
/// heard. That suits a count that was asked for; where other talk is to be
/// expected, numbers in it would be lost.
const NEVER_SAID: &str = "www";
/// So many of it for each word of the phrases; forty were no better.
const STRICT: usize = 9;
/// In lines of so many words.
const NEVER_A_LINE: usize = 50;
/// Phrases to hear an utterance again with.
const OF_SIGNS: usize = 1500;

fn add_talk(phrases: &mut Vec<String>, rng: &mut Rng) {
    let talk = (phrases.len() / TALK).max(LEAST_TALK);
    phrases.extend((0..talk).map(|_| {
        let length = rng.usize(1..=LONGEST_TALK);
        vec![UNKNOWN; length].join(" ")
    }));
}

/// See [`NEVER_SAID`].
fn add_never(phrases: &mut Vec<String>) {
    let words = phrases.iter().map(|it| it.split(' ').count() + 1);
    let never = words.sum::<usize>() * STRICT;
    let line = vec![NEVER_SAID; NEVER_A_LINE].join(" ");
    phrases.extend(std::iter::repeat_n(line, never / NEVER_A_LINE));
}

impl Grammar {
    /// The phrases to listen for in one state of the conversation, and phrases
    /// of other talk, so that it is heard as such.
    #[must_use]
    pub fn phrases(&self, expect: Expect) -> Vec<String> {
        let mut rng = Rng::with_seed(SEED);
        let mut phrases = Vec::new();
        for &(rule, count) in expect.shares() {
            // A home without names that can be heard has no rule for them.
            if self.rules.contains_key(rule) {
                phrases.extend((0..count).map(|_| self.draw(rule, &mut rng)));
            }
        }
        add_talk(&mut phrases, &mut rng);
        if expect == Expect::Rate {
            add_never(&mut phrases);
        }
        phrases
    }

    /// The phrases to hear an utterance again with that named these vital signs:
    /// readings of one or of two of them, in any order, and hardly anything else.
    /// `after` are words that come first: "no", or none.
    #[must_use]
    pub fn phrases_of(&self, signs: &[VitalSign], after: &str) -> Vec<String> {
        let mut rng = Rng::with_seed(SEED);
        let rules: Vec<String> = signs
            .iter()
            .map(|it| format!("{}.reading", it.name().replace(' ', "_")))
            .collect();
        let each = OF_SIGNS / (rules.len() * rules.len()).max(1);
        let mut phrases = Vec::new();
        for first in &rules {
            for second in &rules {
                phrases.extend((0..each).map(|_| {
                    let mut words = vec![after.to_owned(), self.draw(first, &mut rng)];
                    if first != second {
                        words.push(self.draw(second, &mut rng));
                    }
                    words.join(" ").trim().to_owned()
                }));
            }
        }
        add_talk(&mut phrases, &mut rng);
        add_never(&mut phrases);
        phrases
    }

    /// One utterance drawn from a rule by the weights of its alternatives; empty
    /// when there is no such rule.
    #[must_use]
    pub fn draw(&self, rule: &str, rng: &mut Rng) -> String {
        let mut words = Vec::new();
        if let Some(rule) = self.rules.get(rule) {
            self.expand(&rule.body, rng, &mut words);
        }
        words.join(" ")
    }

    fn expand<'a>(&'a self, expansion: &'a Expansion, rng: &mut Rng, words: &mut Vec<&'a str>) {
        match expansion {
            Expansion::Word(word) => words.push(word),
            Expansion::Rule(name) => {
                if let Some(rule) = self.rules.get(name) {
                    self.expand(&rule.body, rng, words);
                }
            }
            Expansion::Sequence(parts) => {
                for part in parts {
                    self.expand(part, rng, words);
                }
            }
            Expansion::Choice(parts) => {
                let total: u32 = parts.iter().map(|(weight, _)| weight).sum();
                let mut left = rng.u32(0..total.max(1));
                for (weight, part) in parts {
                    if left < *weight {
                        return self.expand(part, rng, words);
                    }
                    left -= weight;
                }
            }
            Expansion::Optional(inner) => {
                if rng.bool() {
                    self.expand(inner, rng, words);
                }
            }
            Expansion::Tagged(inner, _) => self.expand(inner, rng, words),
        }
    }
}
