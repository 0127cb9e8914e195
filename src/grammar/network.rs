//! The recogniser's half of the grammar, whole: which words may follow what was
//! said so far, and how likely each is.

use std::collections::{BTreeMap, HashMap, HashSet};

use super::jsgf::Expansion;
use super::{Expect, Grammar};

/// A word that may come next.
#[derive(Debug, Clone, PartialEq)]
pub struct Next {
    /// The word.
    pub word: String,
    /// How likely it is here, 0 to 1.
    pub likelihood: f64,
    /// Where it leads to.
    pub to: usize,
}

/// Where one is after certain words.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Place {
    /// The words that may follow; each leads to one place.
    pub next: Vec<Next>,
    /// How likely it is that nothing follows, 0 to 1.
    pub end: f64,
    /// How likely it is that a phrase comes by here, 0 to 1.
    pub passed: f64,
}

/// All phrases of some rules, without circles.
#[derive(Debug, Clone, PartialEq)]
pub struct Network {
    /// The places, each before those that its words lead to; the first is where
    /// every phrase begins.
    pub places: Vec<Place>,
}

impl Network {
    /// How likely a phrase is among all of them, 0 to 1.
    #[must_use]
    pub fn likelihood(&self, phrase: &str) -> f64 {
        let (mut at, mut likelihood) = (0, 1.0);
        for word in phrase.split_whitespace() {
            let Some(next) = self.places[at].next.iter().find(|it| it.word == word) else {
                return 0.0;
            };
            likelihood *= next.likelihood;
            at = next.to;
        }
        likelihood * self.places[at].end
    }
}

impl Grammar {
    /// What may be said in one state of the conversation: one phrase, of which
    /// several may follow one another.
    #[must_use]
    pub fn network(&self, expect: Expect) -> Network {
        let mut draft = Draft::default();
        let start = draft.node();
        // A home without names that can be heard has no rule for them.
        let rules: Vec<(u32, &Expansion)> = expect
            .shares()
            .iter()
            // Several readings are one after another.
            .flat_map(|(rule, share)| match *rule {
                "reading.readings" => vec![("reading.one", *share), ("reading.taken", share / 16)],
                rule => vec![(rule, *share)],
            })
            .filter_map(|(rule, share)| Some((share, &self.rules.get(rule)?.body)))
            .collect();
        let last = draft.choice(self, rules.into_iter(), start);
        draft.network(last)
    }
}

/// Nodes, and what leads from each to later ones: a word, or nothing.
#[derive(Default)]
struct Draft<'a> {
    words: Vec<&'a str>,
    numbers: HashMap<&'a str, usize>,
    /// From each node, a word and the node behind it.
    said: Vec<Option<(usize, usize)>>,
    /// From each node, how likely it is to go on to another without a word.
    skips: Vec<Vec<(f64, usize)>>,
}

/// How likely it is to be at each of some nodes, by node.
type Mass = Vec<(usize, f64)>;

impl<'a> Draft<'a> {
    fn node(&mut self) -> usize {
        self.said.push(None);
        self.skips.push(Vec::new());
        self.said.len() - 1
    }

    /// Adds what may be said behind a node, and gives the node behind that.
    fn add(&mut self, grammar: &'a Grammar, expansion: &'a Expansion, from: usize) -> usize {
        match expansion {
            Expansion::Word(word) => {
                let words = &mut self.words;
                let number = *self.numbers.entry(word).or_insert_with(|| {
                    words.push(word);
                    words.len() - 1
                });
                let (at, to) = (self.node(), self.node());
                self.skips[from].push((1.0, at));
                self.said[at] = Some((number, to));
                to
            }
            Expansion::Rule(name) => match grammar.rules.get(name) {
                Some(rule) => self.add(grammar, &rule.body, from),
                None => from,
            },
            Expansion::Sequence(parts) => {
                let mut at = from;
                for part in parts {
                    at = self.add(grammar, part, at);
                }
                at
            }
            Expansion::Choice(parts) => {
                let parts = parts.iter().map(|(weight, part)| (*weight, part));
                self.choice(grammar, parts, from)
            }
            Expansion::Optional(inner) => {
                let begin = self.node();
                let end = self.add(grammar, inner, begin);
                let to = self.node();
                self.skips[from].extend([(0.5, begin), (0.5, to)]);
                self.skips[end].push((1.0, to));
                to
            }
            Expansion::Tagged(inner, _) => self.add(grammar, inner, from),
        }
    }

    fn choice(
        &mut self,
        grammar: &'a Grammar,
        parts: impl Iterator<Item = (u32, &'a Expansion)> + Clone,
        from: usize,
    ) -> usize {
        let total: u32 = parts.clone().map(|(weight, _)| weight).sum();
        let mut ends = Vec::new();
        for (weight, part) in parts {
            let begin = self.node();
            self.skips[from].push((f64::from(weight) / f64::from(total), begin));
            ends.push(self.add(grammar, part, begin));
        }
        let to = self.node();
        for end in ends {
            self.skips[end].push((1.0, to));
        }
        to
    }

    /// Where each node leads before a word is said: to nodes with a word, or to the
    /// last.
    fn reached(&self, last: usize) -> Vec<Mass> {
        let mut reached: Vec<Mass> = vec![Vec::new(); self.said.len()];
        // What leads on leads to later nodes.
        for node in (0..self.said.len()).rev() {
            if node == last || self.said[node].is_some() {
                reached[node] = vec![(node, 1.0)];
                continue;
            }
            let mut all = Vec::new();
            for (share, to) in &self.skips[node] {
                all.extend(reached[*to].iter().map(|(at, it)| (*at, it * share)));
            }
            reached[node] = merged(all);
        }
        reached
    }

    fn network(&self, last: usize) -> Network {
        let reached = self.reached(last);
        let order = self.order(&reached);
        let number: HashMap<&[usize], usize> = order.iter().map(Vec::as_slice).zip(0..).collect();
        let mut masses: Vec<Mass> = vec![Vec::new(); order.len()];
        masses[0].clone_from(&reached[0]);
        let mut places = Vec::new();
        for at in 0..order.len() {
            let mass = merged(std::mem::take(&mut masses[at]));
            let passed: f64 = mass.iter().map(|(_, it)| it).sum();
            let mut next = Vec::new();
            for (word, moved) in self.behind(&mass, &reached) {
                let likelihood = moved.iter().map(|(_, it)| it).sum::<f64>() / passed;
                let to = number[nodes(&moved).as_slice()];
                let word = self.words[word].to_owned();
                next.push(Next {
                    word,
                    likelihood,
                    to,
                });
                masses[to].extend(moved);
            }
            let end = mass.iter().find(|(node, _)| *node == last);
            let end = end.map_or(0.0, |(_, it)| it / passed);
            places.push(Place { next, end, passed });
        }
        Network { places }
    }

    /// Where each word leads to from some nodes.
    fn behind(&self, mass: &Mass, reached: &[Mass]) -> BTreeMap<usize, Mass> {
        let mut behind: BTreeMap<usize, Mass> = BTreeMap::new();
        for (node, likelihood) in mass {
            if let Some((word, to)) = self.said[*node] {
                let all = reached[to].iter().map(|(at, it)| (*at, it * likelihood));
                behind.entry(word).or_default().extend(all);
            }
        }
        behind
            .into_iter()
            .map(|(word, all)| (word, merged(all)))
            .collect()
    }

    /// The nodes that one may be at after the same words, for all words that may be
    /// said; each before those that follow it.
    fn order(&self, reached: &[Mass]) -> Vec<Vec<usize>> {
        let mut seen = HashSet::new();
        let mut order = Vec::new();
        let mut stack = vec![(nodes(&reached[0]), false)];
        while let Some((set, done)) = stack.pop() {
            if done {
                order.push(set);
                continue;
            }
            if !seen.insert(set.clone()) {
                continue;
            }
            let mass: Mass = set.iter().map(|it| (*it, 1.0)).collect();
            stack.push((set, true));
            let behind = self.behind(&mass, reached).into_values();
            stack.extend(behind.map(|it| (nodes(&it), false)));
        }
        order.reverse();
        order
    }
}

fn merged(mut all: Mass) -> Mass {
    all.sort_unstable_by_key(|(node, _)| *node);
    all.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 += next.1;
        }
        same
    });
    all
}

fn nodes(mass: &Mass) -> Vec<usize> {
    mass.iter().map(|(node, _)| *node).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: &str = "#JSGF V1.0;\ngrammar reading;\n\
        <digit> = /3/ one | two;\n\
        public <one> = /3/ pulse <digit> [<digit>] | pulse two regular | weight <digit>;";

    fn network(files: &[(&str, &str)]) -> Network {
        Grammar::parse(files).unwrap().network(Expect::Readings)
    }

    #[test]
    fn a_phrase_is_as_likely_as_its_weights_make_it() {
        let network = network(&[("reading", FILE)]);
        let near = |phrase: &str, likelihood: f64| {
            let found = network.likelihood(phrase);
            assert!((found - likelihood).abs() < 1e-9, "{phrase}: {found}");
        };
        near("pulse one", 0.6 * 0.75 * 0.5);
        near("pulse one two", 0.6 * 0.75 * 0.5 * 0.25);
        near("weight two", 0.2 * 0.25);
        near("pulse two regular", 0.2);
        for none in ["", "pulse", "weight one two", "pulse one regular", "one"] {
            near(none, 0.0);
        }
    }

    #[test]
    fn all_phrases_together_are_certain_and_lead_onward() {
        for network in [
            network(&[("reading", FILE)]),
            Grammar::standard().network(Expect::Readings),
        ] {
            let places = &network.places;
            let ends: f64 = places.iter().map(|it| it.passed * it.end).sum();
            assert!((ends - 1.0).abs() < 1e-6, "{ends}");
            for (at, place) in places.iter().enumerate() {
                assert!(
                    place
                        .next
                        .iter()
                        .all(|it| it.to > at && it.likelihood > 0.0)
                );
            }
        }
    }

    #[test]
    fn every_phrase_that_can_be_drawn_is_in_it() {
        let grammar = Grammar::standard();
        let network = grammar.network(Expect::Readings);
        let mut rng = fastrand::Rng::with_seed(1);
        for rule in ["reading.one", "change.value", "place.where"] {
            for _ in 0..500 {
                let phrase = grammar.draw(rule, &mut rng);
                assert!(network.likelihood(&phrase) > 0.0, "{phrase}");
            }
        }
        assert!(network.likelihood("pulse") <= 0.0);
    }
}
