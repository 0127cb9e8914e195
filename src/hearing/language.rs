//! The words a model knows, and a language of our own in place of the model's.
//!
//! From a list of phrases the library makes a language of word pairs, in which half
//! of the likelihood of what follows a word is anything's: "pulse eight eight" is
//! heard as "pulse a" because "a" is a common word. A [`Network`] knows all that was
//! said before, and what follows. It is written in the form that the library reads
//! its model's own language from (a vector automaton of `OpenFst`, version 2), with a
//! way out of it at every place, for what no phrase has: other talk, and phrases that
//! a pause cuts in two.

use std::collections::{BTreeMap, HashMap};
use std::fs;
use std::path::Path;

use super::heard::UNKNOWN;
use super::model::EarError;
use crate::grammar::Network;

// All of these were chosen on the tune half of the speech bench (docs/hearing-tried.md).

/// How likely what comes next is nothing that the phrases have there.
const ASTRAY: f64 = 0.008;
/// How likely another phrase follows a whole one.
const AGAIN: f64 = 0.3;
/// How likely an utterance begins with other talk.
const TALK: f64 = 0.12;
/// After a word of other talk: how likely another follows, how likely nothing does, and
/// how likely each of a phrase and what is astray.
const TALK_GOES_ON: f64 = 0.6;
const TALK_ENDS: f64 = 0.2;
const TALK_LEADS_ON: f64 = 0.1;
/// Astray, how likely the next word is other talk, and how likely it is any word of
/// the phrases. Astray is never the end, so they need not be 1 together.
const ASTRAY_TALK: f64 = 0.4;
const ASTRAY_WORD: f64 = 0.3;
/// After a word that was astray: how likely anything follows, how likely a phrase
/// begins, and else what follows that word in the phrases.
const AFTER_ANY: f64 = 0.3;
const AFTER_PHRASE: f64 = 0.1;
/// How likely nothing follows, where anything does.
const AFTER_END: f64 = 0.1;

/// Begins every file of the library's automata, and every table of words in one.
const FILE: i32 = 2_125_659_606;
const TABLE: i32 = 2_125_658_996;
/// An automaton with a table of the words that come out, and none of what goes in.
const OUTPUT_TABLE: i32 = 2;
/// Its properties: all of it is in memory and may be changed; in and out are alike,
/// and sorted.
const PROPERTIES: u64 = 0x5001_0003;

/// The words that a model knows.
pub struct Words {
    numbers: HashMap<String, i32>,
}

impl Words {
    /// Reads them out of a model's folder, without loading the model.
    ///
    /// # Errors
    /// [`EarError`] when the file that has them is missing, or is no such file.
    pub fn read(model: &Path) -> Result<Self, EarError> {
        let file = model.join("graph/Gr.fst");
        let bytes = fs::read(&file).map_err(|_| EarError::ModelMissing(file))?;
        let numbers = table(&bytes).ok_or_else(|| EarError::ModelUnusable(model.to_owned()))?;
        Ok(Self { numbers })
    }

    /// Whether the model can recognise a word (in lower case).
    #[must_use]
    pub fn know(&self, word: &str) -> bool {
        self.number(word).is_some()
    }

    fn number(&self, word: &str) -> Option<i32> {
        // Number 0 is the empty word.
        self.numbers.get(word).copied().filter(|it| *it > 0)
    }
}

/// The table of words in an automaton's file; `None` where there is none.
fn table(bytes: &[u8]) -> Option<HashMap<String, i32>> {
    let mut reader = Reader(bytes);
    (reader.int()? == FILE).then_some(())?;
    reader.text()?;
    reader.text()?;
    let _version = reader.int()?;
    let tables = reader.int()?;
    // Properties, the start, and how many states and arcs there are.
    reader.take(4 * 8)?;
    (tables & 3 != 0 && reader.int()? == TABLE).then_some(())?;
    reader.text()?;
    let _next = reader.long()?;
    let words = reader.long()?;
    let mut numbers = HashMap::new();
    for _ in 0..words {
        let word = reader.text()?;
        numbers.insert(word.to_owned(), i32::try_from(reader.long()?).ok()?);
    }
    Some(numbers)
}

struct Reader<'a>(&'a [u8]);

impl<'a> Reader<'a> {
    fn take(&mut self, length: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        Some(taken)
    }

    fn int(&mut self) -> Option<i32> {
        Some(i32::from_le_bytes(self.take(4)?.try_into().ok()?))
    }

    fn long(&mut self) -> Option<i64> {
        Some(i64::from_le_bytes(self.take(8)?.try_into().ok()?))
    }

    fn text(&mut self) -> Option<&'a str> {
        let length = usize::try_from(self.int()?).ok()?;
        std::str::from_utf8(self.take(length)?).ok()
    }
}

/// A word that leads on; number 0 is none.
struct Arc {
    word: i32,
    likelihood: f64,
    to: usize,
}

#[derive(Default)]
struct State {
    arcs: Vec<Arc>,
    end: f64,
}

impl State {
    fn arc(&mut self, word: i32, likelihood: f64, to: usize) {
        self.arcs.push(Arc {
            word,
            likelihood,
            to,
        });
    }
}

/// The file of a language in which a network's phrases follow one another.
pub(super) fn file(network: &Network, words: &Words) -> Result<Vec<u8>, EarError> {
    let states = states(network, words)?;
    let mut file = Vec::new();
    int(&mut file, FILE);
    text(&mut file, "vector");
    text(&mut file, "standard");
    int(&mut file, 2);
    int(&mut file, OUTPUT_TABLE);
    file.extend(PROPERTIES.to_le_bytes());
    long(&mut file, 0);
    long(&mut file, states.len());
    long(&mut file, states.iter().map(|it| it.arcs.len()).sum());
    let next = words.numbers.values().max().map_or(0, |it| it + 1);
    int(&mut file, TABLE);
    text(&mut file, "words");
    file.extend(i64::from(next).to_le_bytes());
    long(&mut file, words.numbers.len());
    for (word, number) in &words.numbers {
        text(&mut file, word);
        file.extend(i64::from(*number).to_le_bytes());
    }
    for state in states {
        file.extend(cost(state.end).to_le_bytes());
        long(&mut file, state.arcs.len());
        for arc in state.arcs {
            int(&mut file, arc.word);
            int(&mut file, arc.word);
            file.extend(cost(arc.likelihood).to_le_bytes());
            int(&mut file, i32::try_from(arc.to).unwrap_or(i32::MAX));
        }
    }
    Ok(file)
}

fn int(file: &mut Vec<u8>, number: i32) {
    file.extend(number.to_le_bytes());
}

fn long(file: &mut Vec<u8>, number: usize) {
    file.extend((number as u64).to_le_bytes());
}

fn text(file: &mut Vec<u8>, text: &str) {
    int(file, i32::try_from(text.len()).unwrap_or(i32::MAX));
    file.extend(text.as_bytes());
}

#[allow(clippy::cast_possible_truncation, reason = "some digits are enough")]
fn cost(likelihood: f64) -> f32 {
    // What never happens costs infinitely much.
    -likelihood.ln() as f32
}

/// What comes in the phrases, word by word.
#[derive(Default)]
struct Pairs<'a> {
    /// How often a word comes.
    comes: f64,
    /// How often it is the last.
    ends: f64,
    /// How often each other follows it.
    followed: BTreeMap<&'a str, f64>,
}

fn pairs(network: &Network) -> BTreeMap<&str, Pairs<'_>> {
    let mut pairs: BTreeMap<&str, Pairs<'_>> = BTreeMap::new();
    for place in &network.places {
        for next in &place.next {
            let comes = place.passed * next.likelihood;
            let behind = &network.places[next.to];
            let pair = pairs.entry(&next.word).or_default();
            pair.comes += comes;
            pair.ends += comes * behind.end;
            for it in &behind.next {
                *pair.followed.entry(&it.word).or_default() += comes * it.likelihood;
            }
        }
    }
    pairs
}

/// The network's places; then one for each word, when it was said astray; then
/// one for being astray and one for other talk.
fn states(network: &Network, words: &Words) -> Result<Vec<State>, EarError> {
    let pairs = pairs(network);
    let unknown: Vec<String> = pairs
        .keys()
        .filter(|it| !words.know(it))
        .map(|it| (*it).to_owned())
        .collect();
    if !unknown.is_empty() {
        return Err(EarError::UnknownWords(unknown));
    }
    let number = |word: &str| words.number(word).unwrap_or_default();
    let first = network.places.len();
    let after: HashMap<&str, usize> = pairs.keys().copied().zip(first..).collect();
    let (astray, talk) = (first + pairs.len(), first + pairs.len() + 1);
    let other = number(UNKNOWN);
    let mut states = Vec::new();
    for (at, place) in network.places.iter().enumerate() {
        let stays = 1.0 - ASTRAY;
        let mut state = State::default();
        for it in &place.next {
            state.arc(number(&it.word), stays * it.likelihood, it.to);
        }
        if place.end > 0.0 {
            state.end = stays * place.end * (1.0 - AGAIN);
            state.arc(0, stays * place.end * AGAIN, 0);
        }
        if at == 0 {
            state.arc(other, TALK, talk);
        }
        state.arc(0, ASTRAY, astray);
        states.push(state);
    }
    for pair in pairs.values() {
        let known = (1.0 - AFTER_ANY - AFTER_PHRASE) / pair.comes;
        let mut state = State {
            end: known * pair.ends + AFTER_ANY * AFTER_END,
            ..State::default()
        };
        for (word, comes) in &pair.followed {
            state.arc(number(word), known * comes, after[word]);
        }
        state.arc(0, AFTER_ANY, astray);
        state.arc(0, AFTER_PHRASE, 0);
        states.push(state);
    }
    let all: f64 = pairs.values().map(|it| it.comes).sum();
    let mut state = State::default();
    for (word, pair) in &pairs {
        state.arc(number(word), ASTRAY_WORD * pair.comes / all, after[word]);
    }
    state.arc(other, ASTRAY_TALK, talk);
    states.push(state);
    let mut state = State {
        end: TALK_ENDS,
        ..State::default()
    };
    state.arc(other, TALK_GOES_ON, talk);
    state.arc(0, TALK_LEADS_ON, astray);
    state.arc(0, TALK_LEADS_ON, 0);
    states.push(state);
    for it in &mut states {
        // The library looks words up by halving.
        it.arcs.sort_by_key(|it| it.word);
    }
    Ok(states)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grammar::{Expect, Grammar};

    fn network() -> Network {
        let file = "#JSGF V1.0;\ngrammar reading;\npublic <one> = pulse (one | two) [two];";
        let grammar = Grammar::parse(&[("reading", file)]).unwrap();
        grammar.network(Expect::Readings)
    }

    fn words(all: &[&str]) -> Words {
        let numbers = all.iter().map(|it| (*it).to_owned()).zip(0..).collect();
        Words { numbers }
    }

    #[test]
    fn the_words_of_a_file_are_read_again() {
        let words = words(&["<eps>", "pulse", "one", "two", "[unk]"]);
        let file = file(&network(), &words).unwrap();
        assert_eq!(table(&file), Some(words.numbers));
        for length in 0..60 {
            assert_eq!(table(&file[..length]), None, "{length}");
        }
        assert_eq!(table(b"#JSGF V1.0; and more than enough of it"), None);
    }

    #[test]
    fn a_word_that_the_model_lacks_is_named() {
        let words = words(&["<eps>", "pulse", "two", "[unk]"]);
        assert!(!words.know("one") && !words.know("<eps>"));
        assert_eq!(
            file(&network(), &words).unwrap_err(),
            EarError::UnknownWords(vec!["one".to_owned()])
        );
    }

    #[test]
    fn a_phrase_costs_least_and_anything_else_can_be_said() {
        let words = words(&["<eps>", "pulse", "one", "two", "[unk]"]);
        let states = states(&network(), &words).unwrap();
        // The best that a way through these words comes to.
        let best = |said: &[&str]| {
            let mut at = vec![0.0; states.len()];
            at[0] = 1.0;
            for said in said.iter().map(|it| words.number(it).unwrap()) {
                let mut next = vec![0.0; states.len()];
                for (likelihood, state) in quietly(&states, at).iter().zip(&states) {
                    for arc in state.arcs.iter().filter(|it| it.word == said) {
                        next[arc.to] = f64::max(next[arc.to], likelihood * arc.likelihood);
                    }
                }
                at = next;
            }
            let ends = quietly(&states, at);
            let ends = ends.iter().zip(&states).map(|(it, state)| it * state.end);
            ends.fold(0.0, f64::max)
        };
        let reading = best(&["pulse", "one"]);
        assert!(reading > 0.1, "{reading}");
        for less in [
            &["pulse", "[unk]"][..],
            &["pulse", "two", "one"],
            &["one"],
            &["[unk]", "[unk]", "pulse", "one"],
            &["pulse", "one", "pulse", "one"],
        ] {
            let found = best(less);
            assert!(found > 0.0 && found < reading / 3.0, "{less:?}: {found}");
        }
    }

    /// Goes on as far as nothing is said.
    fn quietly(states: &[State], mut at: Vec<f64>) -> Vec<f64> {
        loop {
            let before = at.clone();
            for (from, state) in states.iter().enumerate() {
                for arc in state.arcs.iter().filter(|it| it.word == 0) {
                    at[arc.to] = f64::max(at[arc.to], at[from] * arc.likelihood);
                }
            }
            if at == before {
                return at;
            }
        }
    }
}
