//! From scored transcripts to the best one with a confidence for each word.
//!
//! The library gives either one transcript with confidences or many with
//! scores; both would take decoding the sound twice. The scores, however, are what
//! confidences are made of: a word's confidence is the probability of all the
//! transcripts that have that word at that time, with nothing more or less after
//! it.

use std::panic::{AssertUnwindSafe, catch_unwind};

use vosk::Recognizer;

use super::heard::{Alternative, By, Heard, Word};

/// One possible transcript.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Path {
    /// Log likelihood; only differences mean something.
    pub score: f64,
    pub words: Vec<Spoken>,
}

/// A word with its start and end in seconds.
pub(super) type Spoken = (String, f32, f32);

impl From<vosk::Alternative<'_>> for Path {
    fn from(alternative: vosk::Alternative<'_>) -> Self {
        let words = alternative.result.into_iter();
        Self {
            score: f64::from(alternative.confidence),
            words: words
                .map(|word| (word.word.to_owned(), word.start, word.end))
                .collect(),
        }
    }
}

/// What was heard, by the recogniser's own JSON for one utterance.
///
/// # Errors
/// What about the JSON is not as the library writes it.
pub fn heard_in(json: &str) -> Result<Option<Heard>, serde_json::Error> {
    let result: vosk::CompleteResultMultiple<'_> = serde_json::from_str(json)?;
    let paths: Vec<Path> = result.alternatives.into_iter().map(Path::from).collect();
    Ok(best_with_confidence(&paths, 1.0))
}

impl Path {
    /// Moves it in time, by seconds.
    #[allow(
        clippy::cast_possible_truncation,
        reason = "milliseconds matter, not more"
    )]
    pub(super) fn shift(&mut self, by: f64) {
        for (_, start, end) in &mut self.words {
            *start = (f64::from(*start) + by) as f32;
            *end = (f64::from(*end) + by) as f32;
        }
    }

    pub(super) fn text(&self) -> String {
        let words: Vec<&str> = self.words.iter().map(|(word, ..)| word.as_str()).collect();
        words.join(" ")
    }

    /// Whether this has the same word at the same time as word `at` of another,
    /// and no word more or fewer right after it. Without the latter, "one two"
    /// would be certain although "one two eight" is as likely. One word in place
    /// of another doesn't matter here; it lowers that word's own confidence.
    fn agrees(&self, other: &Self, at: usize) -> bool {
        let word = &other.words[at];
        // Times move a little between transcripts.
        let same =
            |mine: &Spoken| mine.0 == word.0 && overlap(mine, word) >= 0.5 * shorter(mine, word);
        let Some(found) = self.words.iter().position(same) else {
            return false;
        };
        match (self.words.get(found + 1), other.words.get(at + 1)) {
            (None, None) => true,
            (Some(mine), Some(theirs)) => {
                mine.0 == theirs.0 || overlap(mine, theirs) >= 0.5 * longer(mine, theirs)
            }
            _ => false,
        }
    }
}

fn overlap(a: &Spoken, b: &Spoken) -> f32 {
    a.2.min(b.2) - a.1.max(b.1)
}

fn shorter(a: &Spoken, b: &Spoken) -> f32 {
    (a.2 - a.1).min(b.2 - b.1)
}

fn longer(a: &Spoken, b: &Spoken) -> f32 {
    (a.2 - a.1).max(b.2 - b.1)
}

/// Takes the result out of a recogniser. `None` when it cannot be read: the
/// binding panics when the library writes something that is not JSON, such as a
/// score that is not a number. One lost utterance is asked for again; a dead
/// recorder is not so easily forgiven.
pub(super) fn transcripts(
    recognizer: &mut Recognizer,
    result: for<'a> fn(&'a mut Recognizer) -> vosk::CompleteResult<'a>,
) -> Option<Vec<Path>> {
    let read = AssertUnwindSafe(|| {
        let complete = result(recognizer).multiple();
        let all = complete.map_or_else(Vec::new, |it| it.alternatives);
        all.into_iter().map(Path::from).collect()
    });
    catch_unwind(read).ok()
}

/// The first transcript with the words' confidences, and the others as text, where the
/// differences between transcripts count `belief` times. `None` when no word was heard.
pub(super) fn best_with_confidence(paths: &[Path], belief: f64) -> Option<Heard> {
    let best = paths.first().filter(|path| !path.words.is_empty())?;
    let weights: Vec<f64> = paths
        .iter()
        .map(|path| (belief * (path.score - best.score)).exp())
        .map(tamed)
        .collect();
    let total: f64 = weights.iter().sum();
    let words = best
        .words
        .iter()
        .enumerate()
        .map(|(at, word)| {
            let share: f64 = paths
                .iter()
                .zip(&weights)
                .filter(|(path, _)| path.agrees(best, at))
                .map(|(_, weight)| weight)
                .sum();
            #[allow(clippy::cast_possible_truncation, reason = "a number from 0 to 1")]
            let confidence = (share / total).clamp(0.0, 1.0) as f32;
            Word {
                text: word.0.clone(),
                start: word.1,
                end: word.2,
                confidence,
            }
        })
        .collect();
    let text = best.text();
    let mut alternatives: Vec<Alternative> = Vec::new();
    for other in &paths[1..] {
        let (other, behind) = (other.text(), belief * (best.score - other.score));
        if other != text && !alternatives.iter().any(|it| it.text == other) {
            #[allow(clippy::cast_possible_truncation, reason = "a small difference")]
            let behind = if behind.is_nan() {
                0.0
            } else {
                behind.max(0.0) as f32
            };
            alternatives.push(Alternative {
                text: other,
                behind,
            });
        }
    }
    Some(Heard {
        words,
        alternatives,
        clipped: false,
        by: By::Voice,
        sound: None,
    })
}

/// A weight that is safe to add up: the first transcript weighs 1, and one that
/// claims to be better, or has no proper score, counts as much, which lowers
/// confidence and never raises it.
fn tamed(weight: f64) -> f64 {
    if weight.is_nan() {
        1.0
    } else {
        weight.min(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn path(score: f64, words: &[(&str, f32)]) -> Path {
        let words = words
            .iter()
            .map(|(word, start)| ((*word).to_owned(), *start, start + 0.3));
        Path {
            score,
            words: words.collect(),
        }
    }

    fn best(paths: &[Path]) -> Option<Heard> {
        best_with_confidence(paths, 1.0)
    }

    #[test]
    fn in_noise_the_next_best_is_nearer_and_the_best_stays() {
        let paths = [path(4.0, &[("nine", 0.0)]), path(0.0, &[("five", 0.0)])];
        let heard = |belief| best_with_confidence(&paths, belief).unwrap();
        let (clear, noisy) = (heard(1.0), heard(0.5));
        assert_eq!(noisy.text(), clear.text());
        assert!((noisy.alternatives[0].behind - 2.0).abs() < 1e-6);
        assert!(clear.confidence() > 0.98 && noisy.confidence() < 0.89);
    }

    #[test]
    fn silence_is_nothing_heard() {
        assert_eq!(best(&[]), None);
        assert_eq!(best(&[path(0.0, &[])]), None);
    }

    #[test]
    fn a_word_that_all_agree_on_is_certain_and_a_disputed_one_is_not() {
        let heard = best(&[
            path(10.0, &[("pulse", 0.1), ("fifty", 0.5)]),
            path(10.0, &[("pulse", 0.12), ("fifteen", 0.5)]),
            path(10.0, &[("pulse", 0.1), ("fifteen", 0.5)]),
        ])
        .unwrap();
        assert!((heard.words[0].confidence - 1.0).abs() < 1e-6);
        assert!((heard.words[1].confidence - 1.0 / 3.0).abs() < 1e-6);
        assert_eq!(heard.alternatives.len(), 1);
        assert_eq!(heard.alternatives[0].text, "pulse fifteen");
    }

    #[test]
    fn the_same_word_elsewhere_does_not_count() {
        let heard = best(&[
            path(0.0, &[("one", 0.0), ("two", 1.0)]),
            path(0.0, &[("two", 0.0), ("one", 1.0)]),
        ])
        .unwrap();
        assert!(
            heard
                .words
                .iter()
                .all(|word| (word.confidence - 0.5).abs() < 1e-6)
        );
    }

    #[test]
    fn a_word_that_may_have_been_lost_lowers_the_one_before() {
        let short = path(0.0, &[("one", 0.0), ("two", 0.4)]);
        let long = path(0.0, &[("one", 0.0), ("two", 0.4), ("eight", 0.7)]);
        for paths in [[short.clone(), long.clone()], [long, short]] {
            let heard = best(&paths).unwrap();
            assert!((heard.words[0].confidence - 1.0).abs() < 1e-6, "{heard:?}");
            assert!((heard.words[1].confidence - 0.5).abs() < 1e-6, "{heard:?}");
        }
    }

    #[test]
    fn scores_that_are_not_numbers_lower_confidence() {
        for score in [f64::NAN, f64::INFINITY] {
            let paths = [path(1.0, &[("yes", 0.0)]), path(score, &[("no", 0.0)])];
            let heard = best(&paths).unwrap();
            assert!((heard.words[0].confidence - 0.5).abs() < 1e-6, "{score}");
        }
        let paths = [
            path(1.0, &[("yes", 0.0)]),
            path(f64::NEG_INFINITY, &[("no", 0.0)]),
        ];
        assert!((best(&paths).unwrap().words[0].confidence - 1.0).abs() < 1e-6);
    }
}
