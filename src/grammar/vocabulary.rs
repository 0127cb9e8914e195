//! The parser's half of the grammar: phrases with their meanings.

use std::collections::BTreeSet;
use std::collections::btree_map::{BTreeMap, Entry};

use super::jsgf::Expansion;
use super::{Grammar, GrammarError, MOST_FORMS, Piece, Token};
use crate::vitals::VitalSign;

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
            if token == Token::NoPain {
                tokens.extend(no_pain(from, to));
            } else {
                tokens.push(Spoken { token, from, to });
            }
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

/// "There is no pain" is a name and its value in one: the words before the last are the
/// name, so that nothing of them is a no.
fn no_pain(from: usize, to: usize) -> [Spoken; 2] {
    let spoken = |token, from, to| Spoken { token, from, to };
    let last = to.saturating_sub(1).max(from);
    [
        spoken(Token::Sign(VitalSign::Pain), from, last),
        spoken(Token::Number(Piece::Digit(0)), last, to),
    ]
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
            let forms = spellings(grammar, inner).ok_or_else(|| GrammarError::TooMany {
                tag: tag.clone(),
                rule: rule.to_owned(),
            })?;
            for phrase in forms {
                match phrases.entry(phrase) {
                    Entry::Vacant(place) => {
                        place.insert(token.clone());
                    }
                    Entry::Occupied(first) if *first.get() != token => {
                        return Err(GrammarError::TwoMeanings {
                            phrase: first.key().join(" "),
                            first: format!("{:?}", first.get()),
                            second: format!("{token:?}"),
                        });
                    }
                    Entry::Occupied(_) => {}
                }
            }
            Ok(())
        }
    }
}

/// Every way to say an expansion; none where they are too many. Only tagged phrases
/// come here, and those are short.
fn spellings(grammar: &Grammar, expansion: &Expansion) -> Option<Vec<Vec<String>>> {
    let ways = match expansion {
        Expansion::Word(word) => vec![vec![word.clone()]],
        Expansion::Rule(name) => match grammar.rules.get(name) {
            Some(rule) => spellings(grammar, &rule.body)?,
            None => Vec::new(),
        },
        Expansion::Choice(parts) => {
            let mut ways = Vec::new();
            for (_, part) in parts {
                ways.extend(spellings(grammar, part)?);
            }
            ways
        }
        Expansion::Optional(inner) => {
            let mut ways = spellings(grammar, inner)?;
            ways.push(Vec::new());
            ways
        }
        Expansion::Tagged(inner, _) => spellings(grammar, inner)?,
        Expansion::Sequence(parts) => {
            let mut ways = vec![Vec::new()];
            for part in parts {
                let after = spellings(grammar, part)?;
                few(&ways, after.len())?;
                let join = |head: &Vec<String>| {
                    let head = head.clone();
                    let join = move |tail: &Vec<String>| [head.clone(), tail.clone()].concat();
                    after.iter().map(join).collect::<Vec<_>>()
                };
                ways = ways.iter().flat_map(join).collect();
                few(&ways, 1)?;
            }
            ways
        }
    };
    few(&ways, 1)?;
    Some(ways)
}

/// Whether there is room for these, each so many times.
fn few(ways: &[Vec<String>], times: usize) -> Option<()> {
    let words = ways.iter().map(|it| it.len() + 1).sum::<usize>();
    (words.saturating_mul(times) <= MOST_FORMS).then_some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parsed(rules: &str) -> Result<Grammar, GrammarError> {
        Grammar::parse(&[("t", &format!("#JSGF V1.0;\ngrammar t;\n{rules}"))])
    }

    /// Each line doubles what the one before has.
    fn doubling(of: impl Fn(u32) -> String) -> String {
        let lines = (0..40).map(|it| format!("<r{}> = {};", it + 1, of(it)));
        lines.chain(["<r0> = a;".to_owned()]).collect()
    }

    #[test]
    fn what_multiplies_without_end_is_refused() {
        let optional = "<a> = ([a] [b] [c] [d] [e] [f] [g] [h] [i] [j] [k] [l] [m] [n] [o] [p] \
            [q] [r] [s] [t] [u] [v] [w] [x] [y] [z]) {say yes};";
        let longer = doubling(|it| format!("<r{it}> <r{it}>"));
        let more = doubling(|it| format!("<r{it}> | b <r{it}>"));
        let tagged = "<all> = <r40> {say yes};";
        for rules in [optional, &(longer.clone() + tagged), &(more + tagged)] {
            let refused = parsed(rules).unwrap_err();
            assert!(matches!(refused, GrammarError::TooMany { .. }), "{refused}");
        }
        // Without a tag nothing is spelled out.
        parsed(&longer).unwrap();
    }
}
