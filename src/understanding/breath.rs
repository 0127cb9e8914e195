//! A yes and the breath after it, which the recogniser hears as a word.

use super::{Context, DOUBTED_WORD, NotUnderstood, Utterance, meaning};
use crate::grammar::{Piece, Spoken, Token, Vocabulary};
use crate::hearing::{Alternative, Heard, UNKNOWN, Word};

/// Whether a transcript is this yes but for its last word, or with one word more, that
/// means nothing alone: a breath after "yes" is heard "yes oh", and one after "keep it"
/// "keep it her".
fn is_same(yes: &[Word], other: &str, vocabulary: &Vocabulary) -> bool {
    let words: Vec<String> = other.split(' ').map(str::to_owned).collect();
    let same = yes.iter().zip(&words).take_while(|(a, b)| a.text == **b);
    let same = same.count();
    let tokens = |words: &[String]| vocabulary.tokens(words);
    let breath = |it: &Spoken| {
        matches!(
            it.token,
            Token::Unknown | Token::Filler | Token::Bed(None) | Token::Number(Piece::Oh)
        )
    };
    let (begins, ends) = words.split_at(same);
    tokens(begins).iter().any(|it| it.token == Token::Yes)
        && yes.len() - same <= 1
        && ends.len() == 1
        && ends[0] != UNKNOWN
        && tokens(ends).iter().all(breath)
}

/// A yes that was heard with a breath after it, without that.
pub(super) fn without(
    best: &Result<Utterance, NotUnderstood>,
    heard: &Heard,
    vocabulary: &Vocabulary,
    context: &Context<'_>,
) -> Option<(Utterance, Heard)> {
    let mut yes = heard.clone();
    yes.words.pop().filter(|_| best.is_err())?;
    let meant = meaning(&yes, vocabulary, context).ok()?;
    let breath = is_same(&yes.words, &heard.text(), vocabulary);
    (matches!(meant, Utterance::Yes(_)) && breath).then_some((meant, yes))
}

/// How sure a yes is, 0 to 1. It keeps something, so every other transcript counts against
/// it, but for the same yes and a breath.
pub(super) fn confidence_of(
    yes: &Utterance,
    heard: &Heard,
    vocabulary: &Vocabulary,
    context: &Context<'_>,
) -> f32 {
    let same = |it: &&Alternative| {
        is_same(&heard.words, &it.text, vocabulary)
            || meaning(&Heard::from_text(&it.text), vocabulary, context).as_ref() == Ok(yes)
    };
    let (same, others): (Vec<_>, Vec<_>) = heard.alternatives.iter().partition(same);
    if same.is_empty() || heard.confidence() < DOUBTED_WORD {
        return heard.confidence();
    }
    let rivals: f32 = others.iter().map(|it| (-it.behind).exp()).sum();
    1.0 / (1.0 + rivals)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grammar::Grammar;
    use crate::understanding::{ASK_BELOW, understand};
    use crate::vitals::Units;

    #[test]
    fn a_breath_takes_no_yes_back_and_what_means_something_does() {
        let grammar = Grammar::standard();
        let context = Context::at_rest(Units::UsCustomary, ASK_BELOW);
        let is_yes = |transcripts: &[(&str, f32)], last: f32| {
            let mut heard = Heard::from_text(transcripts[0].0);
            let other = |(text, behind): &(&str, f32)| Alternative {
                text: (*text).to_owned(),
                behind: *behind,
            };
            heard.alternatives = transcripts[1..].iter().map(other).collect();
            heard.words.last_mut().unwrap().confidence = last;
            let meant = understand(&heard, &grammar.vocabulary(), &context);
            matches!(meant, Ok(Utterance::Yes(_)))
        };
        for yes in [
            [("yes oh", 0.0), ("yes her", 0.1)],
            [("yes correct", 0.0), ("yes correct a", 0.2)],
            [("yes keep it", 0.0), ("yes keep bed", 0.3)],
        ] {
            assert!(is_yes(&yes, 0.55), "{yes:?}");
        }
        for other in [
            [("yes two", 0.0), ("yes", 0.1)],
            [("yes correct", 0.0), ("yes correct no", 0.2)],
            [("yes correct", 0.0), ("[unk] correct", 0.2)],
            [("yes [unk]", 0.0), ("yes oh", 0.1)],
        ] {
            assert!(!is_yes(&other, 0.55), "{other:?}");
        }
        assert!(!is_yes(
            &[("yes correct", 0.0), ("yes correct a", 0.2)],
            0.4
        ));
    }
}
