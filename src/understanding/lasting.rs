//! How long a digit lasted: an ear of its own beside the recogniser's.
//!
//! "Eight eight" is easily heard as one long "eight". The recogniser does not
//! weigh how long a word is, but says it; so a digit that lasts as long as two is
//! asked for again. A digit before a pause, or at the end, is drawn out anyway,
//! and says nothing.

use super::{Context, Order, Utterance, meaning};
use crate::grammar::{ONES, Vocabulary};
use crate::hearing::{Heard, Word};

/// How much longer than at this speaker's pace a digit lasts that may be two. Of
/// 1,063 digits of the bench's tune half, one that was one lasted as long; of four
/// that were two, of one text and voice, none was shorter (counted with a [`PAUSE`]
/// of 0.12 s).
const AS_LONG_AS_TWO: f32 = 1.55;
/// A silence after a word, in seconds, before which it is drawn out. The recogniser's
/// frames are 0.03 s: "seventy six", and 0.09 s later "right arm", had a six half as
/// long again.
const PAUSE: f32 = 0.05;
/// Other words that tell the pace, at least.
const LEAST_WORDS: usize = 3;
/// How long words last inside an utterance, in hundredths of a second: printed by
/// `make bench-hearing BENCH="--split tune --ways clean --clean 400 --parts readings"`.
#[rustfmt::skip]
const USUAL: &[(&str, f32)] = &[
    ("a", 5.0), ("alertness", 52.0), ("and", 21.0), ("arm", 26.0), ("beats", 36.0),
    ("blood", 27.0), ("body", 36.0), ("breaths", 39.0), ("celsius", 57.0), ("centigrade", 65.0),
    ("degrees", 40.0), ("eight", 21.0), ("eighty", 29.0), ("fahrenheit", 63.0), ("fifty", 40.0),
    ("five", 33.0), ("flow", 32.0), ("foot", 26.0), ("forty", 41.0), ("four", 26.0),
    ("half", 29.0), ("heart", 31.0), ("height", 33.0), ("hundred", 43.0), ("is", 14.0),
    ("level", 38.0), ("liters", 41.0), ("minute", 32.0), ("new", 19.0), ("nine", 29.0),
    ("ninety", 41.0), ("of", 12.0), ("on", 15.0), ("one", 23.0), ("out", 20.0),
    ("over", 26.0), ("oxygen", 56.0), ("pain", 32.0), ("percent", 51.0), ("point", 38.0),
    ("pounds", 44.0), ("pressure", 44.0), ("pulse", 32.0), ("rate", 28.0), ("respiratory", 75.0),
    ("responds", 57.0), ("right", 27.0), ("room", 27.0), ("saturation", 82.0), ("score", 36.0),
    ("seven", 39.0), ("seventy", 51.0), ("six", 36.0), ("sixty", 47.0), ("tall", 32.0),
    ("temp", 35.0), ("temperature", 63.0), ("ten", 27.0), ("the", 14.0), ("thirty", 37.0),
    ("three", 26.0), ("to", 15.0), ("twenty", 44.0), ("two", 21.0), ("weighs", 38.0),
    ("weight", 32.0), ("zero", 35.0),
];

fn is_digit(word: &str) -> bool {
    word == "oh" || ONES[..10].contains(&word)
}

/// Which words may have been a digit said twice, by their place: they last as long, and
/// twice is said of a value too. People draw many a word out, and "pain five five out of
/// ten" nobody says. After a point, twice would be some hundredths more.
pub(super) fn may_be_two(
    heard: &Heard,
    vocabulary: &Vocabulary,
    context: &Context<'_>,
) -> Vec<usize> {
    let mut long = as_long_as_two(&heard.words);
    if long.is_empty() {
        return long;
    }
    let values = |text: &str| match meaning(&Heard::from_text(text), vocabulary, context) {
        Ok(Utterance::Readings { claims, .. }) => claims.len(),
        Ok(Utterance::Part(part)) => usize::from(part.value.is_some() || !part.whose.is_empty()),
        Ok(Utterance::Order(Order::Change { to: Some(_), .. })) => 1,
        _ => 0,
    };
    let once = values(&heard.text()).max(1);
    let after_point = |at: usize| at > 0 && heard.words[at - 1].text == "point";
    long.retain(|at| !after_point(*at) && values(&twice(&heard.words, *at)) >= once);
    long
}

/// The words as text, with the one there twice.
fn twice(words: &[Word], at: usize) -> String {
    let mut words: Vec<&str> = words.iter().map(|it| it.text.as_str()).collect();
    let again = words[at];
    words.insert(at, again);
    words.join(" ")
}

/// Which words are digits that last as long as two, by their place.
fn as_long_as_two(words: &[Word]) -> Vec<usize> {
    let stretched: Vec<Option<f32>> = (0..words.len()).map(|at| stretched(words, at)).collect();
    let doubtful = |at: &usize| {
        let Some(own) = stretched[*at].filter(|_| is_digit(&words[*at].text)) else {
            return false;
        };
        let others = stretched.iter().enumerate();
        let mut pace: Vec<f32> = others
            .filter(|(other, _)| other != at)
            .filter_map(|(_, it)| *it)
            .collect();
        pace.sort_by(f32::total_cmp);
        pace.len() >= LEAST_WORDS && own >= AS_LONG_AS_TWO * pace[pace.len() / 2]
    };
    (0..words.len()).filter(doubtful).collect()
}

/// How much longer than usual a word lasts; `None` for one that is drawn out by
/// a pause, that has no usual length, or that was not heard but read.
fn stretched(words: &[Word], at: usize) -> Option<f32> {
    let (word, next) = (words.get(at)?, words.get(at + 1)?);
    let found = USUAL.binary_search_by(|(text, _)| (*text).cmp(word.text.as_str()));
    let lasted = 100.0 * (word.end - word.start);
    let spoken = lasted > 0.0 && next.start - word.end < PAUSE;
    spoken.then_some(lasted / USUAL[found.ok()?].1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grammar::Grammar;
    use crate::understanding::ASK_BELOW;
    use crate::vitals::Units;

    const CONTEXT: Context<'static> = Context::at_rest(Units::UsCustomary, ASK_BELOW);

    /// Words with how many hundredths of a second each lasts, one right after the
    /// other.
    fn timed(words: &[(&str, f32)]) -> Heard {
        let text: Vec<&str> = words.iter().map(|it| it.0).collect();
        let mut heard = Heard::from_text(&text.join(" "));
        let mut at = 0.0;
        for (word, (_, lasts)) in heard.words.iter_mut().zip(words) {
            word.start = at;
            at += lasts / 100.0;
            word.end = at;
        }
        heard
    }

    fn said(words: &[(&str, f32)]) -> Vec<usize> {
        as_long_as_two(&timed(words).words)
    }

    #[test]
    fn a_digit_as_long_as_two_is_found_at_any_pace() {
        for pace in [0.7, 1.0, 1.5] {
            let said = |eight: f32| {
                let usual = [("temperature", 63.0), ("thirty", 37.0), ("eight", eight)];
                let rest = [("degrees", 40.0), ("celsius", 57.0)];
                let all: Vec<_> = usual.iter().chain(&rest).collect();
                said(
                    &all.iter()
                        .map(|(it, long)| (*it, long * pace))
                        .collect::<Vec<_>>(),
                )
            };
            assert_eq!(said(42.0), [2], "{pace}");
            assert!(said(25.0).is_empty(), "{pace}");
        }
    }

    #[test]
    fn a_last_word_and_other_words_may_be_long() {
        let last = [
            ("pulse", 32.0),
            ("rate", 28.0),
            ("is", 14.0),
            ("eight", 60.0),
        ];
        assert!(said(&last).is_empty());
        let hundred = [
            ("weight", 32.0),
            ("one", 23.0),
            ("hundred", 95.0),
            ("five", 33.0),
            ("pounds", 44.0),
        ];
        assert!(said(&hundred).is_empty());
    }

    /// The same by what it may mean.
    fn doubtful(words: &[(&str, f32)]) -> Vec<String> {
        let heard = timed(words);
        let vocabulary = Grammar::standard().vocabulary();
        let long = may_be_two(&heard, &vocabulary, &CONTEXT);
        long.iter()
            .map(|at| heard.words[*at].text.clone())
            .collect()
    }

    #[test]
    fn a_long_digit_is_doubted_where_two_would_be_a_value_too() {
        let degrees = [
            ("temperature", 63.0),
            ("thirty", 37.0),
            ("eight", 45.0),
            ("degrees", 40.0),
            ("celsius", 57.0),
        ];
        assert_eq!(doubtful(&degrees), ["eight"]);
        let pain = [
            ("pain", 32.0),
            ("level", 38.0),
            ("five", 60.0),
            ("out", 20.0),
            ("of", 12.0),
            ("ten", 27.0),
        ];
        assert!(doubtful(&pain).is_empty());
        let two = [
            ("weight", 32.0),
            ("one", 45.0),
            ("forty", 41.0),
            ("two", 45.0),
            ("pounds", 44.0),
            ("pulse", 32.0),
            ("rate", 28.0),
            ("eighty", 29.0),
        ];
        assert!(doubtful(&two).is_empty());
        let hundredths = [
            ("weight", 32.0),
            ("one", 23.0),
            ("forty", 41.0),
            ("point", 38.0),
            ("three", 60.0),
            ("pounds", 44.0),
        ];
        assert!(doubtful(&hundredths).is_empty());
    }

    #[test]
    fn words_that_were_typed_have_no_length() {
        let typed = crate::hearing::Heard::from_text("temperature thirty eight degrees celsius");
        assert!(as_long_as_two(&typed.words).is_empty());
    }

    #[test]
    fn the_usual_lengths_are_in_order() {
        assert!(USUAL.is_sorted_by(|a, b| a.0 < b.0));
    }
}
