//! Which transcript to believe: the likeliest is not always one that makes sense.
//!
//! The recogniser knows which word follows which, and no more: "height is six
//! three" and "nine is six three" are much alike to it. Only one is a reading.

use super::{Context, NotUnderstood, Utterance, lasting, meaning};
use crate::grammar::{Spoken, Token, Vocabulary};
use crate::hearing::{Alternative, Heard, UNKNOWN};

/// A transcript that is this likely beside the best one is hardly less likely.
const HARDLY: f32 = 0.3;

/// The utterance with the likeliest transcript that is a whole reading in place
/// of the best one, where that is none and hardly likelier. `None` when the best
/// one stands.
///
/// Where speech was heard that fits no word, it was talk, and stands. What has
/// fewer words than the best one may lack a digit that was heard as another word. A
/// number alone is often a piece of talk, and has no name that was heard as another.
pub(super) fn instead(
    best: &Result<Utterance, NotUnderstood>,
    heard: &Heard,
    vocabulary: &Vocabulary,
    context: &Context<'_>,
) -> Option<(Utterance, Heard)> {
    let may_be_reading = matches!(
        best,
        Err(_) | Ok(Utterance::Readings { .. } | Utterance::Part(_))
    );
    let text = heard.text();
    let talk = text.split(' ').any(|word| word == UNKNOWN);
    // The other transcripts have no times, and would hide that a digit may lack.
    let long = || !lasting::may_be_two(heard, vocabulary, context).is_empty();
    if heard.words.is_empty()
        || !may_be_reading
        || talk
        || is_whole(best, &text, vocabulary)
        || long()
    {
        return None;
    }
    if best.is_err() && is_number(&text, vocabulary) {
        return None;
    }
    for it in hardly_less_likely(heard) {
        let mut found = Heard::from_text(&it.text);
        if found.words.len() < heard.words.len() {
            continue;
        }
        let meant = meaning(&found, vocabulary, context);
        if !is_whole(&meant, &it.text, vocabulary) {
            continue;
        }
        for word in &mut found.words {
            word.confidence = (-it.behind).exp().min(1.0);
        }
        found.clipped = heard.clipped;
        found.by = heard.by;
        found.sound.clone_from(&heard.sound);
        let others = heard
            .alternatives
            .iter()
            .filter(|other| other.text != it.text);
        let best = Alternative {
            text: text.clone(),
            behind: 0.0,
        };
        found.alternatives = std::iter::once(&best)
            .chain(others)
            .map(|other| Alternative {
                text: other.text.clone(),
                behind: other.behind - it.behind,
            })
            .collect();
        return Some((meant.ok()?, found));
    }
    None
}

/// The other transcripts that the best one is hardly likelier than.
fn hardly_less_likely(heard: &Heard) -> impl Iterator<Item = &Alternative> {
    let near = |it: &&Alternative| (-it.behind).exp() >= HARDLY;
    heard.alternatives.iter().take_while(near)
}

fn is_number(text: &str, vocabulary: &Vocabulary) -> bool {
    let words: Vec<String> = text.split(' ').map(str::to_owned).collect();
    let number = |it: &Spoken| matches!(it.token, Token::Number(_) | Token::Over | Token::Filler);
    vocabulary.tokens(&words).iter().all(number)
}

/// Whether an utterance without a meaning is hardly likelier than a no, without words
/// that were lost: nothing follows "next" that is wrong.
pub(super) fn may_be_no(heard: &Heard, vocabulary: &Vocabulary, context: &Context<'_>) -> bool {
    let talk = heard.words.iter().any(|it| it.text == UNKNOWN);
    let no = |it: &Alternative| {
        let meant = meaning(&Heard::from_text(&it.text), vocabulary, context);
        meant == Ok(Utterance::No)
    };
    !talk && hardly_less_likely(heard).any(no)
}

/// Whether every word of a transcript is part of readings that are clear.
#[must_use]
pub fn is_whole(
    it: &Result<Utterance, NotUnderstood>,
    text: &str,
    vocabulary: &Vocabulary,
) -> bool {
    let clear = match it {
        Ok(Utterance::Readings {
            claims, unclear, ..
        }) => !claims.is_empty() && unclear.is_empty(),
        Ok(Utterance::Part(part)) => part.value.is_some() && part.why.is_none(),
        _ => false,
    };
    let words: Vec<String> = text.split(' ').map(str::to_owned).collect();
    let tokens = vocabulary.tokens(&words);
    // "Wrong" at the end was "strong", and corrects nothing.
    let ends = |token: &Token| !matches!(token, Token::No | Token::Fix);
    clear
        && tokens.iter().all(|it| it.token != Token::Unknown)
        && tokens.last().is_some_and(|it| ends(&it.token))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grammar::Grammar;
    use crate::understanding::{ASK_BELOW, understand};
    use crate::vitals::Units;

    const CONTEXT: Context<'static> = Context::at_rest(Units::UsCustomary, ASK_BELOW);

    fn heard(transcripts: &[(&str, f32)]) -> Heard {
        let mut heard = Heard::from_text(transcripts[0].0);
        let others = transcripts[1..].iter();
        heard.alternatives = others
            .map(|(text, behind)| Alternative {
                text: (*text).to_owned(),
                behind: *behind,
            })
            .collect();
        heard
    }

    #[test]
    fn a_no_is_a_no_whatever_is_heard_before_it() {
        let grammar = Grammar::standard();
        let meant = |transcripts: &[(&str, f32)], wrong: f32| {
            let mut heard = heard(transcripts);
            (heard.words[0].confidence, heard.words[1].confidence) = (0.6, wrong);
            understand(&heard, &grammar.vocabulary(), &CONTEXT)
        };
        let that = [("that's wrong", 0.0), ("next wrong", 0.6)];
        let next = [("next wrong", 0.0), ("that's wrong", 0.6)];
        assert_eq!(meant(&that, 1.0), Ok(Utterance::No));
        assert_eq!(meant(&next, 1.0), Ok(Utterance::No));
        assert_eq!(meant(&that, 0.7), Err(NotUnderstood::Unsure));
        assert_eq!(meant(&next, 0.7), Err(NotUnderstood::Unsure));
        let far = [("next wrong", 0.0), ("that's wrong", 3.0)];
        assert_eq!(meant(&far, 1.0), Err(NotUnderstood::SideTalk));
        let talk = [("[unk] wrong", 0.0), ("that's wrong", 0.1)];
        assert_eq!(meant(&talk, 1.0), Err(NotUnderstood::SideTalk));
    }

    #[test]
    fn a_number_alone_gets_no_name() {
        assert_eq!(
            claims(&[("forty three", 0.0), ("weight forty three", 0.2)]),
            None
        );
        let named = claims(&[("wait forty three", 0.0), ("weight forty three", 0.2)]);
        assert_eq!(named.map(|(claims, _)| claims.len()), Some(1));
    }

    /// The claims, and how many are asked for.
    fn claims(transcripts: &[(&str, f32)]) -> Option<(Vec<String>, usize)> {
        claims_of(&heard(transcripts))
    }

    fn claims_of(heard: &Heard) -> Option<(Vec<String>, usize)> {
        let vocabulary = Grammar::standard().vocabulary();
        match understand(heard, &vocabulary, &CONTEXT) {
            Ok(Utterance::Readings {
                claims, unclear, ..
            }) => {
                let text = |it: &crate::understanding::Claim| it.words.clone();
                Some((claims.iter().map(text).collect(), unclear.len()))
            }
            _ => None,
        }
    }

    fn one(words: &str) -> (Vec<String>, usize) {
        (vec![words.to_owned()], 0)
    }

    #[test]
    fn a_whole_reading_is_believed_before_words_that_are_none() {
        let found = claims(&[("pulse a four", 0.0), ("pulse eight four", 0.3)]);
        assert_eq!(found, Some(one("pulse eight four")));
        let found = claims(&[
            ("nine is six three inches", 0.0),
            ("height is six three inches", 0.6),
        ]);
        assert_eq!(found, Some(one("height is six three inches")));
        let found = claims(&[("pulse eighty wrong", 0.0), ("pulse eighty strong", 0.3)]);
        assert_eq!(found, Some(one("pulse eighty strong")));
    }

    #[test]
    fn another_whole_reading_as_likely_is_still_a_rival() {
        let found = claims(&[
            ("pulse a four", 0.0),
            ("pulse eight four", 0.3),
            ("pulse nine four", 0.4),
        ]);
        assert_eq!(found, Some((vec![], 1)));
    }

    #[test]
    fn a_digit_as_long_as_two_is_not_hidden_by_another_transcript() {
        let mut heard = heard(&[
            ("temperature thirty eight degrees celsius oral", 0.0),
            ("the temperature thirty eight degrees celsius oral", 0.1),
        ]);
        let mut at = 0.0;
        for (word, lasts) in heard
            .words
            .iter_mut()
            .zip([0.63, 0.37, 0.45, 0.40, 0.57, 0.40])
        {
            word.start = at;
            at += lasts;
            word.end = at;
        }
        assert_eq!(claims_of(&heard), Some((vec![], 1)));
    }

    #[test]
    fn what_may_lack_a_digit_is_far_less_likely_or_is_talk_is_not_believed() {
        let lacks = claims(&[("pulse nine three say", 0.0), ("pulse nine three", 0.5)]);
        assert_eq!(lacks, Some((vec![], 1)));
        let far = claims(&[("pulse a four", 0.0), ("pulse eight four", 1.5)]);
        assert_eq!(far, Some((vec![], 1)));
        let talk = claims(&[("[unk] is eighty", 0.0), ("pulse is eighty", 0.1)]);
        assert_eq!(talk, None);
    }
}
