//! The parser's half of the grammar: phrases with their meanings.

use std::collections::{BTreeMap, BTreeSet};

use super::jsgf::Expansion;
use super::{Grammar, GrammarError, Token};

/// Phrases that carry meaning, and words that do not but belong to the grammar.
#[derive(Debug, Clone)]
pub struct Vocabulary {
    phrases: BTreeMap<Vec<String>, Token>,
    longest: usize,
    fillers: BTreeSet<String>,
}

/// A token and the words it came from, as a range of the utterance's words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spoken {
    /// The meaning.
    pub token: Token,
    /// Index of its first word.
    pub from: usize,
    /// Index just past its last word.
    pub to: usize,
}

impl Vocabulary {
    pub(super) fn of(grammar: &Grammar) -> Result<Self, GrammarError> {
        let mut phrases = BTreeMap::new();
        for (name, rule) in &grammar.rules {
            collect(grammar, name, &rule.body, &mut phrases)?;
        }
        let longest = phrases.keys().map(Vec::len).max().unwrap_or(0);
        let mut fillers = BTreeSet::new();
        for rule in grammar.rules.values() {
            untagged(&rule.body, &mut fillers);
        }
        Ok(Self {
            phrases,
            longest,
            fillers,
        })
    }

    /// Every phrase that carries meaning, with its meaning, in order of letters.
    pub fn phrases(&self) -> impl Iterator<Item = (String, &Token)> {
        self.phrases.iter().map(|(words, it)| (words.join(" "), it))
    }

    /// Whether a phrase has a meaning of its own.
    pub(super) fn has(&self, phrase: &str) -> bool {
        let words: Vec<String> = phrase.split(' ').map(str::to_owned).collect();
        self.phrases.contains_key(&words)
    }

    /// Splits words into tokens, always taking the longest phrase that fits. A
    /// word that the grammar has only inside of longer phrases is unknown when it
    /// is alone: the rest of its phrase was not heard.
    #[must_use]
    pub fn tokens(&self, words: &[String]) -> Vec<Spoken> {
        let mut tokens = Vec::new();
        let mut from = 0;
        while from < words.len() {
            let (token, length) = self.longest_phrase(&words[from..]);
            let to = from + length;
            tokens.push(Spoken { token, from, to });
            from = to;
        }
        tokens
    }

    fn longest_phrase(&self, words: &[String]) -> (Token, usize) {
        for length in (1..=self.longest.min(words.len())).rev() {
            if let Some(token) = self.phrases.get(&words[..length]) {
                return (token.clone(), length);
            }
        }
        if self.fillers.contains(&words[0]) {
            (Token::Filler, 1)
        } else {
            (Token::Unknown, 1)
        }
    }
}

/// Adds the words that a rule has outside of any tag.
fn untagged(expansion: &Expansion, words: &mut BTreeSet<String>) {
    match expansion {
        Expansion::Word(word) => {
            words.insert(word.clone());
        }
        Expansion::Rule(_) | Expansion::Tagged(..) => {}
        Expansion::Sequence(parts) => parts.iter().for_each(|it| untagged(it, words)),
        Expansion::Choice(parts) => parts.iter().for_each(|(_, it)| untagged(it, words)),
        Expansion::Optional(inner) => untagged(inner, words),
    }
}

fn collect(
    grammar: &Grammar,
    rule: &str,
    expansion: &Expansion,
    phrases: &mut BTreeMap<Vec<String>, Token>,
) -> Result<(), GrammarError> {
    match expansion {
        Expansion::Word(_) | Expansion::Rule(_) => Ok(()),
        Expansion::Sequence(parts) => {
            let mut each = parts.iter();
            each.try_for_each(|it| collect(grammar, rule, it, phrases))
        }
        Expansion::Choice(parts) => {
            let mut each = parts.iter();
            each.try_for_each(|(_, it)| collect(grammar, rule, it, phrases))
        }
        Expansion::Optional(inner) => collect(grammar, rule, inner, phrases),
        Expansion::Tagged(inner, tag) => {
            let token = Token::from_tag(tag).ok_or_else(|| GrammarError::UnknownTag {
                tag: tag.clone(),
                rule: rule.to_owned(),
            })?;
            for phrase in spellings(grammar, inner) {
                let earlier = phrases.insert(phrase.clone(), token.clone());
                if let Some(first) = earlier.filter(|it| *it != token) {
                    return Err(GrammarError::TwoMeanings {
                        phrase: phrase.join(" "),
                        first: format!("{first:?}"),
                        second: format!("{token:?}"),
                    });
                }
            }
            Ok(())
        }
    }
}

/// Every way to say an expansion. Only tagged phrases come here, and those are
/// short.
fn spellings(grammar: &Grammar, expansion: &Expansion) -> Vec<Vec<String>> {
    match expansion {
        Expansion::Word(word) => vec![vec![word.clone()]],
        Expansion::Rule(name) => grammar
            .rules
            .get(name)
            .map_or_else(Vec::new, |rule| spellings(grammar, &rule.body)),
        Expansion::Choice(parts) => {
            let each = parts.iter();
            each.flat_map(|(_, it)| spellings(grammar, it)).collect()
        }
        Expansion::Optional(inner) => {
            let mut ways = spellings(grammar, inner);
            ways.push(Vec::new());
            ways
        }
        Expansion::Tagged(inner, _) => spellings(grammar, inner),
        Expansion::Sequence(parts) => parts.iter().fold(vec![Vec::new()], |before, part| {
            let after = spellings(grammar, part);
            let join = |head: &Vec<String>| {
                let head = head.clone();
                let join = move |tail: &Vec<String>| [head.clone(), tail.clone()].concat();
                after.iter().map(join).collect::<Vec<_>>()
            };
            before.iter().flat_map(join).collect()
        }),
    }
}
