//! The parser's half of the grammar: phrases with their meanings.

use std::collections::{BTreeMap, BTreeSet};

use super::jsgf::Expansion;
use super::{Grammar, GrammarError, Token};

/// Phrases that carry meaning, and words that do not but belong to the grammar.
#[derive(Debug, Clone)]
pub struct Vocabulary {
    phrases: BTreeMap<Vec<String>, Token>,
    longest: usize,
    /// Words that the grammar lets stand beside meaning.
    fillers: BTreeSet<String>,
    /// Every word of the grammar.
    words: BTreeSet<String>,
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
        let mut fillers = Vec::new();
        for rule in grammar.rules.values() {
            rule.body.untagged(&mut fillers);
        }
        Ok(Self {
            phrases,
            longest,
            fillers: fillers.into_iter().collect(),
            words: grammar.words().into_iter().collect(),
        })
    }

    /// Splits words into tokens, always taking the longest phrase that fits.
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
        } else if self.words.contains(&words[0]) {
            (Token::Stray, 1)
        } else {
            (Token::Unknown, 1)
        }
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
