//! The part of JSGF (JSpeech Grammar Format, W3C Note, 5 June 2000) that the
//! grammar files use: rules, sequences, weighted alternatives, optional parts,
//! groups, tags and comments. No recursion, no unary operators, no imports: a
//! rule of another file is named `<file.rule>`.

use std::iter::Peekable;
use std::str::CharIndices;

use thiserror::Error;

/// What is wrong with a line of JSGF.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum JsgfError {
    /// The first line is not the JSGF header.
    #[error("the file must begin with \"#JSGF V1.0;\"")]
    NoHeader,
    /// Something else was expected here.
    #[error("expected {expected}, found {found}")]
    Unexpected {
        /// What would be right.
        expected: &'static str,
        /// What is there.
        found: String,
    },
    /// A character that the format does not use.
    #[error("the character {0:?} has no place here; words are lower-case letters and apostrophes")]
    Character(char),
    /// A comment, tag or rule name that never ends.
    #[error("{0} is opened and never closed")]
    Unclosed(&'static str),
    /// A weight that is not a positive number.
    #[error("the weight /{0}/ must be a whole number from 1 to 1000")]
    Weight(String),
    /// Groups inside of groups, or tags after tags, without end.
    #[error("more than {DEEPEST} groups or tags inside of one another")]
    TooDeep,
}

/// No rule of a person's making is as deep, and one that is must not take the
/// whole stack to read.
const DEEPEST: usize = 50;

/// A rule.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// Whether it is a whole utterance.
    pub public: bool,
    /// What it stands for.
    pub body: Expansion,
}

/// What can be said at one place.
#[derive(Debug, Clone, PartialEq)]
pub enum Expansion {
    /// One word.
    Word(String),
    /// Another rule, by qualified name.
    Rule(String),
    /// One after the other.
    Sequence(Vec<Expansion>),
    /// One of these, with their weights.
    Choice(Vec<(u32, Expansion)>),
    /// This or nothing.
    Optional(Box<Expansion>),
    /// This, with a meaning.
    Tagged(Box<Expansion>, String),
}

impl Expansion {
    /// The rules that this one uses.
    pub fn references(&self) -> Vec<&str> {
        match self {
            Self::Word(_) => Vec::new(),
            Self::Rule(name) => vec![name],
            Self::Sequence(parts) => parts.iter().flat_map(Self::references).collect(),
            Self::Choice(parts) => parts.iter().flat_map(|(_, it)| it.references()).collect(),
            Self::Optional(inner) | Self::Tagged(inner, _) => inner.references(),
        }
    }

    /// Adds every word written here to `words`.
    pub fn words(&self, words: &mut Vec<String>) {
        match self {
            Self::Word(word) => words.push(word.clone()),
            Self::Rule(_) => {}
            Self::Sequence(parts) => parts.iter().for_each(|it| it.words(words)),
            Self::Choice(parts) => parts.iter().for_each(|(_, it)| it.words(words)),
            Self::Optional(inner) | Self::Tagged(inner, _) => inner.words(words),
        }
    }
}

#[derive(Debug, Clone, PartialEq)]
enum Lexeme {
    Word(String),
    Rule(String),
    Tag(String),
    Weight(u32),
    Symbol(char),
}

impl Lexeme {
    fn show(&self) -> String {
        match self {
            Self::Word(word) => format!("\"{word}\""),
            Self::Rule(name) => format!("<{name}>"),
            Self::Tag(tag) => format!("{{{tag}}}"),
            Self::Weight(weight) => format!("/{weight}/"),
            Self::Symbol(symbol) => format!("\"{symbol}\""),
        }
    }
}

type Located<T> = Result<T, (usize, JsgfError)>;

/// Reads one file; the rules come back under their qualified names. An error
/// carries its line.
pub fn parse(file: &str, text: &str) -> Located<Vec<(String, Rule)>> {
    let Some(rest) = text.strip_prefix("#JSGF V1.0;") else {
        return Err((1, JsgfError::NoHeader));
    };
    let lexemes = lex(rest)?;
    let last_line = text.lines().count();
    let mut parser = Parser {
        file,
        lexemes,
        at: 0,
        depth: 0,
        last_line,
    };
    parser.file()
}

fn lex(text: &str) -> Located<Vec<(usize, Lexeme)>> {
    let mut lexemes = Vec::new();
    let mut line = 1;
    let mut chars = text.char_indices().peekable();
    while let Some((_, first)) = chars.next() {
        let lexeme = match first {
            '\n' => {
                line += 1;
                continue;
            }
            blank if blank.is_whitespace() => continue,
            '<' => Lexeme::Rule(until(&mut chars, '>', "a rule name").map_err(|e| (line, e))?),
            '{' => Lexeme::Tag(until(&mut chars, '}', "a tag").map_err(|e| (line, e))?),
            '/' => match chars.peek() {
                Some((_, '/')) => {
                    while chars.next_if(|(_, it)| *it != '\n').is_some() {}
                    continue;
                }
                Some((_, '*')) => {
                    line += skip_comment(&mut chars).map_err(|e| (line, e))?;
                    continue;
                }
                _ => {
                    let digits = until(&mut chars, '/', "a weight").map_err(|e| (line, e))?;
                    let weight = digits.parse().ok().filter(|it| (1..=1000).contains(it));
                    Lexeme::Weight(weight.ok_or((line, JsgfError::Weight(digits)))?)
                }
            },
            '=' | '|' | ';' | '[' | ']' | '(' | ')' => Lexeme::Symbol(first),
            letter if word_char(letter) => {
                let mut word = String::from(letter);
                while let Some((_, more)) = chars.next_if(|(_, it)| word_char(*it)) {
                    word.push(more);
                }
                Lexeme::Word(word)
            }
            other => return Err((line, JsgfError::Character(other))),
        };
        lexemes.push((line, lexeme));
    }
    Ok(lexemes)
}

const fn word_char(it: char) -> bool {
    it.is_ascii_lowercase() || it == '\'' || it == '_'
}

fn until(
    chars: &mut Peekable<CharIndices<'_>>,
    end: char,
    what: &'static str,
) -> Result<String, JsgfError> {
    let mut inside = String::new();
    for (_, it) in chars.by_ref() {
        if it == end {
            return Ok(inside.trim().to_owned());
        }
        if it == '\n' {
            break;
        }
        inside.push(it);
    }
    Err(JsgfError::Unclosed(what))
}

/// Skips a block comment whose `/` has been read; returns how many lines it had.
fn skip_comment(chars: &mut Peekable<CharIndices<'_>>) -> Result<usize, JsgfError> {
    let mut lines = 0;
    let mut before = ' ';
    chars.next();
    for (_, it) in chars.by_ref() {
        if before == '*' && it == '/' {
            return Ok(lines);
        }
        lines += usize::from(it == '\n');
        before = it;
    }
    Err(JsgfError::Unclosed("a comment"))
}

struct Parser<'a> {
    file: &'a str,
    lexemes: Vec<(usize, Lexeme)>,
    at: usize,
    depth: usize,
    last_line: usize,
}

impl Parser<'_> {
    fn peek(&self) -> Option<&Lexeme> {
        self.lexemes.get(self.at).map(|(_, lexeme)| lexeme)
    }

    fn take_symbol(&mut self, symbol: char) -> bool {
        let found = self.peek() == Some(&Lexeme::Symbol(symbol));
        self.at += usize::from(found);
        found
    }

    fn unexpected<T>(&self, expected: &'static str) -> Located<T> {
        let (line, found) = self.lexemes.get(self.at).map_or_else(
            || (self.last_line, "the end of the file".to_owned()),
            |(line, lexeme)| (*line, lexeme.show()),
        );
        Err((line, JsgfError::Unexpected { expected, found }))
    }

    fn symbol(&mut self, symbol: char, expected: &'static str) -> Located<()> {
        if self.take_symbol(symbol) {
            Ok(())
        } else {
            self.unexpected(expected)
        }
    }

    fn file(&mut self) -> Located<Vec<(String, Rule)>> {
        if self.peek() != Some(&Lexeme::Word("grammar".to_owned())) {
            return self.unexpected("\"grammar NAME;\"");
        }
        self.at += 1;
        match self.peek() {
            Some(Lexeme::Word(name)) if name == self.file => self.at += 1,
            _ => return self.unexpected("the file's own name"),
        }
        self.symbol(';', "\";\" after the grammar's name")?;
        let mut rules = Vec::new();
        while self.peek().is_some() {
            rules.push(self.rule()?);
        }
        Ok(rules)
    }

    fn rule(&mut self) -> Located<(String, Rule)> {
        let public = self.peek() == Some(&Lexeme::Word("public".to_owned()));
        self.at += usize::from(public);
        let Some(Lexeme::Rule(name)) = self.peek() else {
            return self.unexpected("a rule, \"<name> = ...;\"");
        };
        let name = format!("{}.{name}", self.file);
        self.at += 1;
        self.symbol('=', "\"=\" after the rule's name")?;
        let body = self.choice()?;
        self.symbol(';', "\";\" at the end of the rule")?;
        Ok((name, Rule { public, body }))
    }

    fn deeper(&mut self) -> Located<()> {
        self.depth += 1;
        if self.depth <= DEEPEST {
            return Ok(());
        }
        let at = self.lexemes.get(self.at);
        let line = at.map_or(self.last_line, |(line, _)| *line);
        Err((line, JsgfError::TooDeep))
    }

    fn choice(&mut self) -> Located<Expansion> {
        let mut alternatives = vec![self.alternative()?];
        while self.take_symbol('|') {
            alternatives.push(self.alternative()?);
        }
        if alternatives.len() == 1 {
            return Ok(alternatives.remove(0).1);
        }
        Ok(Expansion::Choice(alternatives))
    }

    fn alternative(&mut self) -> Located<(u32, Expansion)> {
        let weight = match self.peek() {
            Some(Lexeme::Weight(weight)) => {
                let weight = *weight;
                self.at += 1;
                weight
            }
            _ => 1,
        };
        let mut parts = Vec::new();
        while let Some(part) = self.part()? {
            parts.push(part);
        }
        match parts.len() {
            0 => self.unexpected("a word, a rule or a group"),
            1 => Ok((weight, parts.remove(0))),
            _ => Ok((weight, Expansion::Sequence(parts))),
        }
    }

    fn part(&mut self) -> Located<Option<Expansion>> {
        let depth = self.depth;
        self.deeper()?;
        let mut part = match self.peek() {
            Some(Lexeme::Word(word)) => {
                let word = Expansion::Word(word.clone());
                self.at += 1;
                word
            }
            Some(Lexeme::Rule(name)) => {
                let local = !name.contains('.');
                let qualified = if local {
                    format!("{}.{name}", self.file)
                } else {
                    name.clone()
                };
                self.at += 1;
                Expansion::Rule(qualified)
            }
            Some(Lexeme::Symbol('(')) => {
                self.at += 1;
                let inner = self.choice()?;
                self.symbol(')', "\")\"")?;
                inner
            }
            Some(Lexeme::Symbol('[')) => {
                self.at += 1;
                let inner = self.choice()?;
                self.symbol(']', "\"]\"")?;
                Expansion::Optional(Box::new(inner))
            }
            _ => {
                self.depth = depth;
                return Ok(None);
            }
        };
        while let Some(Lexeme::Tag(tag)) = self.peek() {
            part = Expansion::Tagged(Box::new(part), tag.clone());
            self.at += 1;
            self.deeper()?;
        }
        self.depth = depth;
        Ok(Some(part))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn body(text: &str) -> Expansion {
        let file = format!("#JSGF V1.0;\ngrammar t;\npublic <r> = {text};");
        parse("t", &file).unwrap().remove(0).1.body
    }

    #[test]
    fn a_tag_belongs_to_the_item_before_it() {
        let word = |it: &str| Expansion::Word(it.to_owned());
        let tagged = Expansion::Tagged(Box::new(word("b")), "x".to_owned());
        assert_eq!(
            body("a b {x}"),
            Expansion::Sequence(vec![word("a"), tagged])
        );
    }

    #[test]
    fn weights_and_comments_are_read() {
        let expected = Expansion::Choice(vec![
            (3, Expansion::Word("a".to_owned())),
            (1, Expansion::Rule("t.b".to_owned())),
        ]);
        assert_eq!(body("/3/ a /* not\nthis */ | <b> // nor this\n"), expected);
    }

    #[test]
    fn errors_carry_their_line_and_what_was_expected() {
        let case = |text: &str| parse("t", text).unwrap_err();
        assert_eq!(case("grammar t;"), (1, JsgfError::NoHeader));
        let (line, problem) = case("#JSGF V1.0;\ngrammar t;\n<a> = one\n<b> = two;");
        assert_eq!(line, 4);
        assert!(problem.to_string().contains("\";\""), "{problem}");
        let deep = format!("#JSGF V1.0;\ngrammar t;\n<a> = {};", "[".repeat(9_000));
        assert_eq!(case(&deep), (3, JsgfError::TooDeep));
        let tags = format!("#JSGF V1.0;\ngrammar t;\n<a> = a{};", "{}".repeat(9_000));
        assert_eq!(case(&tags), (3, JsgfError::TooDeep));
        let (line, problem) = case("#JSGF V1.0;\ngrammar t;\n<a> = One;");
        assert_eq!((line, problem), (3, JsgfError::Character('O')));
    }

    proptest::proptest! {
        #[test]
        fn no_text_panics(text in "(#JSGF V1.0;)?[a-z<>{}/|=;\\[\\]() \\n*]{0,80}") {
            let _ = parse("t", &text);
        }
    }
}
