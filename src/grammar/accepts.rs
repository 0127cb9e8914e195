//! Whether a phrase is one of a rule's.

use std::collections::BTreeSet;

use super::Grammar;
use super::jsgf::Expansion;

impl Grammar {
    /// Whether the rule has this phrase, word for word.
    #[must_use]
    pub fn accepts(&self, rule: &str, phrase: &str) -> bool {
        let words: Vec<&str> = phrase.split_whitespace().collect();
        let Some(rule) = self.rules.get(rule) else {
            return false;
        };
        self.ends(&rule.body, &words, 0).contains(&words.len())
    }

    /// Where an expansion that begins at `from` can end.
    fn ends(&self, expansion: &Expansion, words: &[&str], from: usize) -> BTreeSet<usize> {
        match expansion {
            Expansion::Word(word) => {
                let same = words.get(from).is_some_and(|it| it == word);
                same.then_some(from + 1).into_iter().collect()
            }
            Expansion::Rule(name) => match self.rules.get(name) {
                Some(rule) => self.ends(&rule.body, words, from),
                None => BTreeSet::new(),
            },
            Expansion::Sequence(parts) => parts.iter().fold(BTreeSet::from([from]), |at, part| {
                at.iter()
                    .flat_map(|from| self.ends(part, words, *from))
                    .collect()
            }),
            Expansion::Choice(parts) => {
                let each = parts.iter();
                each.flat_map(|(_, it)| self.ends(it, words, from))
                    .collect()
            }
            Expansion::Optional(inner) => {
                let mut ends = self.ends(inner, words, from);
                ends.insert(from);
                ends
            }
            Expansion::Tagged(inner, _) => self.ends(inner, words, from),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rule_has_its_phrases_and_no_others() {
        let grammar = Grammar::standard();
        for (rule, phrase, is) in [
            ("conversation.yes", "yes keep it", true),
            ("conversation.yes", "yes keep", false),
            ("conversation.yes", "yes keep it it", false),
            ("conversation.yes", "", false),
            (
                "pulse.reading",
                "pulse seventy two regular and strong",
                true,
            ),
            ("pulse.reading", "pulse regular seventy two", false),
            ("no.such", "yes", false),
        ] {
            assert_eq!(grammar.accepts(rule, phrase), is, "{rule}: {phrase}");
        }
        let mut rng = fastrand::Rng::with_seed(7);
        for rule in grammar.public_rules() {
            for _ in 0..20 {
                let phrase = grammar.draw(rule, &mut rng);
                assert!(grammar.accepts(rule, &phrase), "{rule}: {phrase}");
            }
        }
    }
}
