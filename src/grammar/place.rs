//! The part of the grammar that a home fills in: its rooms, beds and nurses.
//! Its people are in the module beside this one.

use std::collections::BTreeSet;

use super::jsgf::Expansion;
use super::{Grammar, GrammarError, Vocabulary};
use crate::residents::{Home, Staff, bed_key, bed_parts, spoken_words};

/// The words of the numbers that are one word up to nineteen.
pub(crate) const ONES: [&str; 20] = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];
const TENS: [&str; 10] = [
    "", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety",
];

impl Grammar {
    /// This grammar with the home's own rooms, beds and nurses in place of the
    /// general ones, so that only what exists is listened for, and with the names
    /// of its people.
    ///
    /// # Errors
    /// [`GrammarError::TwoMeanings`] when two nurses would be called the same.
    pub fn for_home(mut self, home: &Home) -> Result<Self, GrammarError> {
        let rooms: BTreeSet<&str> = home.residents.iter().map(|it| it.room.as_str()).collect();
        let beds = home
            .residents
            .iter()
            .filter_map(|it| it.bed.as_deref())
            .collect();
        let mut nurses = nurses(home);
        if !nurses.is_empty() {
            nurses.extend(self.rules.get("place.nurse").map(|rule| rule.body.clone()));
        }
        for (rule, forms) in [
            (
                "place.room",
                rooms.iter().flat_map(|it| numbers(it)).collect(),
            ),
            ("place.bed", self.beds(&beds)?),
            ("place.nurse", nurses),
        ] {
            if !forms.is_empty() {
                let alternatives = forms.into_iter().map(|form| (1, form)).collect();
                self.set_rule(rule, Expansion::Choice(alternatives));
            }
        }
        self.add_people(home)?;
        Vocabulary::of(&self)?;
        Ok(self)
    }

    /// The spoken forms of beds: numbers as people say them, words with the tag of a named
    /// bed. A word that means something else already, as "left", keeps that meaning: the
    /// roster's check names it.
    fn beds(&self, labels: &BTreeSet<&str>) -> Result<Vec<Expansion>, GrammarError> {
        let keys: BTreeSet<String> = labels.iter().map(|it| bed_key(it)).collect();
        let mut without = self.clone();
        without.rules.remove("place.bed");
        let taken = Vocabulary::of(&without)?;
        let forms = |key: &String| {
            if key.parse::<u16>().is_ok() {
                return numbers(key);
            }
            let said = place_words(key);
            let form = Expansion::Tagged(Box::new(words(&said)), format!("bed {key}"));
            let free = !said.is_empty() && !taken.has(&said);
            free.then_some(form).into_iter().collect()
        };
        Ok(keys.iter().flat_map(forms).collect())
    }
}

/// The spoken forms of a number; none of what is none.
fn numbers(label: &str) -> Vec<Expansion> {
    let forms = label.parse().map(spoken_forms).unwrap_or_default();
    forms.iter().map(|it| number(it)).collect()
}

/// How a room or bed is said: its words, with numbers spoken.
#[must_use]
pub fn place_words(label: &str) -> String {
    let word = |part: String| {
        let forms = part.parse().map(spoken_forms).unwrap_or_default();
        forms.into_iter().next().unwrap_or(part)
    };
    let words: Vec<String> = bed_parts(label).into_iter().map(word).collect();
    words.join(" ")
}

/// "Nurse" and the last name, where no other nurse has it, and the whole name with and
/// without "nurse". None of a name with letters that the recogniser cannot know, so that
/// only "the charge nurse" remains, and none that calls a resident.
fn nurses(home: &Home) -> Vec<Expansion> {
    let last = |nurse: &Staff| spoken_words(nurse.name.split_whitespace().last()?);
    let of_last = |name| home.nurses.iter().filter(|it| last(it) == name).count();
    let mut forms = Vec::new();
    for (index, nurse) in home.nurses.iter().enumerate() {
        let mut phrases = Vec::new();
        let last = last(nurse).filter(|it| of_last(Some(it.clone())) == 1);
        phrases.extend(last.map(|it| format!("nurse {}", it.join(" "))));
        let whole = spoken_words(&nurse.name).filter(|it| it.len() > 1);
        if let Some(whole) = whole.map(|it| it.join(" ")) {
            phrases.extend([format!("nurse {whole}"), whole]);
        }
        phrases.retain(|it| home.called(it).is_empty());
        let tag = format!("nurse {index}");
        let tagged = |it: &String| Expansion::Tagged(Box::new(words(it)), tag.clone());
        forms.extend(phrases.iter().map(tagged));
    }
    forms
}

pub(super) fn words(phrase: &str) -> Expansion {
    let word = |it: &str| Expansion::Word(it.to_owned());
    Expansion::Sequence(phrase.split_whitespace().map(word).collect())
}

/// A number in words. "A" belongs to "a hundred" and is no word of its own.
fn number(form: &str) -> Expansion {
    let Some(rest) = form.strip_prefix("a hundred") else {
        return words(form);
    };
    let hundred = Expansion::Tagged(Box::new(words("a hundred")), "hundred 100".to_owned());
    Expansion::Sequence(vec![hundred, words(rest)])
}

/// The ways people say a whole number from 0 to 999; none for larger ones.
#[must_use]
pub fn spoken_forms(number: u16) -> Vec<String> {
    if number > 999 {
        return Vec::new();
    }
    let number = usize::from(number);
    let (hundreds, rest) = (number / 100, number % 100);
    let below = two_digits(rest);
    if hundreds == 0 {
        let mut forms = vec![below];
        if rest > 9 {
            forms.extend(digit_by_digit(number));
        }
        return forms;
    }
    let lead = ONES[hundreds];
    let mut forms = Vec::new();
    for hundred in [
        Some(format!("{lead} hundred")),
        (hundreds == 1).then(|| "a hundred".into()),
    ] {
        let Some(hundred) = hundred else { continue };
        if rest == 0 {
            forms.push(hundred);
        } else {
            forms.push(format!("{hundred} {below}"));
            forms.push(format!("{hundred} and {below}"));
        }
    }
    if rest > 9 {
        forms.push(format!("{lead} {below}"));
    }
    forms.extend(digit_by_digit(number));
    forms
}

fn two_digits(number: usize) -> String {
    match (number / 10, number % 10) {
        (0 | 1, _) => ONES[number].to_owned(),
        (tens, 0) => TENS[tens].to_owned(),
        (tens, ones) => format!("{} {}", TENS[tens], ONES[ones]),
    }
}

/// "one zero four" and, where there is a nought, "one oh four".
fn digit_by_digit(number: usize) -> Vec<String> {
    let digits = number.to_string();
    let digits: Vec<&str> = digits
        .bytes()
        .map(|it| ONES[usize::from(it - b'0')])
        .collect();
    let zero = digits.join(" ");
    let oh = zero.replace("zero", "oh");
    if oh == zero || oh.ends_with("oh") {
        vec![zero]
    } else {
        vec![zero, oh]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_take_the_forms_people_use() {
        assert_eq!(spoken_forms(4), ["four"]);
        assert_eq!(spoken_forms(42), ["forty two", "four two"]);
        let forms = [
            "one hundred four",
            "one hundred and four",
            "a hundred four",
            "a hundred and four",
            "one zero four",
            "one oh four",
        ];
        assert_eq!(spoken_forms(104), forms);
        assert!(spoken_forms(128).contains(&"one twenty eight".to_owned()));
        assert!(spoken_forms(1000).is_empty());
    }
}
