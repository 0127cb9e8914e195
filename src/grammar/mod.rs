//! What an aide can say, read from the JSGF files of the top-level `grammar`
//! folder. One source feeds both ends: the recogniser's phrase lists
//! ([`Grammar::phrases`]) and the parser's vocabulary ([`Grammar::vocabulary`]),
//! so that what is heard is understood and the reverse.

mod accepts;
mod expect;
mod jsgf;
mod network;
mod order;
mod people;
mod phrases;
mod place;
mod token;
mod vocabulary;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use thiserror::Error;

pub use expect::Expect;
pub use jsgf::JsgfError;
pub use network::{Network, Next, Place};
pub use order::OrderWord;
pub(crate) use place::ONES;
pub use place::{place_words, spoken_forms};
pub use token::{Command, HalfDay, Piece, Side, TakenForm, Token};
pub use vocabulary::{Spoken, Vocabulary};

use jsgf::{Expansion, Rule};

/// What is wrong with a grammar.
#[derive(Debug, Error)]
pub enum GrammarError {
    /// A file does not follow JSGF, or the part of it that is read here.
    #[error("grammar/{file}.jsgf, line {line}: {problem}")]
    Syntax {
        /// File, without its ending.
        file: String,
        /// Line, from 1.
        line: usize,
        /// What is wrong.
        problem: JsgfError,
    },
    /// A rule that no file defines.
    #[error("grammar: <{rule}> is used in <{user}> and not defined anywhere")]
    NoSuchRule {
        /// The rule that is missing.
        rule: String,
        /// The rule that uses it.
        user: String,
    },
    /// A rule that contains itself, so that its phrases never end.
    #[error("grammar: <{0}> contains itself; a spoken phrase must have an end")]
    Recursive(String),
    /// A tag the code does not know.
    #[error(
        "grammar: tag {{{tag}}} in <{rule}> means nothing here; grammar/README.md says what tags are"
    )]
    UnknownTag {
        /// The tag.
        tag: String,
        /// The rule it stands in.
        rule: String,
    },
    /// A phrase with more forms than anyone says.
    #[error("grammar: what {{{tag}}} stands for in <{rule}> has more than {MOST_FORMS} words")]
    TooMany {
        /// The tag.
        tag: String,
        /// The rule it stands in.
        rule: String,
    },
    /// One phrase with two meanings.
    #[error("grammar: \"{phrase}\" has two meanings, {first} and {second}")]
    TwoMeanings {
        /// The phrase.
        phrase: String,
        /// The one meaning.
        first: String,
        /// The other meaning.
        second: String,
    },
}

/// The most words that all forms of a tagged phrase have together. Those of the
/// built-in grammar have some dozens; forms multiply, and a few lines can have more
/// than fit in memory.
const MOST_FORMS: usize = 10_000;

/// The rules of all files together, by qualified name (`pulse.reading`).
#[derive(Debug, Clone)]
pub struct Grammar {
    rules: BTreeMap<String, Rule>,
}

/// The files of the top-level `grammar` folder, built in.
const FILES: [(&str, &str); 16] = [
    ("numbers", include_str!("../../grammar/numbers.jsgf")),
    (
        "temperature",
        include_str!("../../grammar/temperature.jsgf"),
    ),
    ("pulse", include_str!("../../grammar/pulse.jsgf")),
    (
        "respiration",
        include_str!("../../grammar/respiration.jsgf"),
    ),
    (
        "blood_pressure",
        include_str!("../../grammar/blood_pressure.jsgf"),
    ),
    (
        "oxygen_saturation",
        include_str!("../../grammar/oxygen_saturation.jsgf"),
    ),
    ("weight", include_str!("../../grammar/weight.jsgf")),
    ("height", include_str!("../../grammar/height.jsgf")),
    ("pain", include_str!("../../grammar/pain.jsgf")),
    (
        "oxygen_flow",
        include_str!("../../grammar/oxygen_flow.jsgf"),
    ),
    ("alertness", include_str!("../../grammar/alertness.jsgf")),
    ("reading", include_str!("../../grammar/reading.jsgf")),
    (
        "conversation",
        include_str!("../../grammar/conversation.jsgf"),
    ),
    ("place", include_str!("../../grammar/place.jsgf")),
    ("order", include_str!("../../grammar/order.jsgf")),
    ("change", include_str!("../../grammar/change.jsgf")),
];

impl Grammar {
    /// The grammar that comes with Sayback.
    ///
    /// # Panics
    /// Never in a build whose tests passed: the files are part of the program.
    #[must_use]
    pub fn standard() -> Self {
        static STANDARD: LazyLock<Grammar> =
            LazyLock::new(|| Grammar::parse(&FILES).expect("the built-in grammar is tested"));
        STANDARD.clone()
    }

    /// Reads a grammar from `(name, text)` pairs, one a file.
    ///
    /// # Errors
    /// [`GrammarError`] names the file and line, or the rule, and the problem.
    pub fn parse(files: &[(&str, &str)]) -> Result<Self, GrammarError> {
        let mut rules = BTreeMap::new();
        for (file, text) in files {
            let parsed = jsgf::parse(file, text).map_err(|(line, problem)| {
                let file = (*file).to_owned();
                GrammarError::Syntax {
                    file,
                    line,
                    problem,
                }
            })?;
            rules.extend(parsed);
        }
        let grammar = Self { rules };
        grammar.check()?;
        Ok(grammar)
    }

    fn check(&self) -> Result<(), GrammarError> {
        let mut done = BTreeSet::new();
        for name in self.rules.keys() {
            self.check_rule(name, name, &mut Vec::new(), &mut done)?;
        }
        Vocabulary::of(self)?;
        Ok(())
    }

    /// `done` are the rules that need no second look, however often they are used.
    fn check_rule<'a>(
        &'a self,
        name: &'a str,
        user: &str,
        inside: &mut Vec<&'a str>,
        done: &mut BTreeSet<&'a str>,
    ) -> Result<(), GrammarError> {
        if done.contains(name) {
            return Ok(());
        }
        let Some(rule) = self.rules.get(name) else {
            let (rule, user) = (name.to_owned(), user.to_owned());
            return Err(GrammarError::NoSuchRule { rule, user });
        };
        if inside.contains(&name) {
            return Err(GrammarError::Recursive(name.to_owned()));
        }
        inside.push(name);
        for used in rule.body.references() {
            self.check_rule(used, name, inside, done)?;
        }
        inside.pop();
        done.insert(name);
        Ok(())
    }

    /// The words and phrases that carry meaning, for the parser.
    ///
    /// # Panics
    /// Never: [`Grammar::parse`] has built it once already.
    #[must_use]
    pub fn vocabulary(&self) -> Vocabulary {
        Vocabulary::of(self).expect("checked when the grammar was read")
    }

    /// Every word of the grammar, sorted: each must be in the recogniser's
    /// model, which ignores those it does not know.
    #[must_use]
    pub fn words(&self) -> Vec<String> {
        let mut words = Vec::new();
        for rule in self.rules.values() {
            rule.body.words(&mut words);
        }
        words.sort_unstable();
        words.dedup();
        words
    }

    /// The names of the public rules, each a whole utterance.
    pub fn public_rules(&self) -> impl Iterator<Item = &str> {
        let public = self.rules.iter().filter(|(_, rule)| rule.public);
        public.map(|(name, _)| name.as_str())
    }

    fn set_rule(&mut self, name: &str, body: Expansion) {
        let public = false;
        self.rules.insert(name.to_owned(), Rule { public, body });
    }
}
