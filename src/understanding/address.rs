//! Whether words from which no value comes were meant for Sayback, and so are
//! worth a question. Talk in the room holds numbers and names of vital signs too;
//! what tells it from a reading that was not heard well is the rest of its words.

use super::claims::qualifier;
use super::flows::with_flows;
use super::value::{is_core, no_diastolic};
use super::{Part, Utterance, Why, taken};
use crate::grammar::{Spoken, Token, Vocabulary};
use crate::hearing::Heard;
use crate::vitals::{Qualifier, VitalSign};

/// How much speaks for words having been meant for Sayback.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Meant {
    /// Nothing does: they are talk.
    No,
    /// They may have been.
    Perhaps,
    /// They hold the name of a vital sign and a number, heard surely, and next to
    /// nothing else, only that no value comes of it.
    Surely,
}

/// Under this mean confidence of the words that belong to a reading, they are
/// talk that was bent into one.
const BENT: f32 = 0.6;

/// So many words of a reading that were heard surely make up for one that was lost
/// between them: "blood pressure one one nine over six i left arm".
const MAKE_UP: f32 = 5.0;

/// How much speaks for a named reading having been meant. It begins with the name,
/// or with what may stand before one, and what belongs to no reading is less
/// than half of what does. A lost word weighs less than one that was heard and
/// belongs to something else: an aide's own words get lost too.
#[must_use]
pub fn meant(heard: &Heard, vocabulary: &Vocabulary, ask_below: f32) -> Meant {
    let words: Vec<String> = heard.words.iter().map(|it| it.text.clone()).collect();
    let (tokens, _) = taken::split(&vocabulary.tokens(&words));
    let tokens = with_flows(&tokens);
    let named = |it: &Spoken| match it.token {
        Token::Sign(sign) => Some(sign),
        _ => None,
    };
    let signs: Vec<VitalSign> = tokens.iter().filter_map(named).collect();
    // "Refused" beside a value is asked about, where nothing else was said.
    let all_known = !tokens.iter().any(|it| it.token == Token::Unknown);
    let not_taken = |it: &Spoken| all_known && matches!(it.token, Token::NotTaken(_));
    let weigh = |it: &Spoken| {
        if not_taken(it) {
            0.0
        } else {
            weight(it, &signs)
        }
    };
    let begins = |it: &Spoken| {
        let answer = matches!(
            it.token,
            Token::Sign(_) | Token::Yes | Token::No | Token::Fix
        );
        answer || not_taken(it) || (qualifier(it).is_some() && weigh(it) == 0.0)
    };
    let mut meant = tokens.iter().filter(|it| it.token != Token::Filler);
    let mut first = meant.next();
    // A sigh before a reading that was heard well.
    let sigh = first.is_some_and(|it| it.token == Token::Unknown);
    if sigh {
        first = meant.next();
    }
    let begins = first.is_some_and(begins);
    let number = |it: &Spoken| matches!(it.token, Token::Number(_));
    let (from, to) = (
        tokens.iter().position(number),
        tokens.iter().rposition(number),
    );
    let (mut own, mut other) = (0.0, 0.0);
    let mut confidence = 0.0;
    let mut least = 1.0_f32;
    for (at, it) in tokens.iter().enumerate() {
        if it.token == Token::Filler {
            let inside = from.is_some_and(|from| at > from) && to.is_some_and(|to| at < to);
            other += if inside { 0.5 } else { 0.0 };
            continue;
        }
        let weight = weigh(it);
        other += weight;
        if weight == 0.0 {
            let words = heard.words.get(it.from..it.to).unwrap_or_default();
            let sure = words.iter().map(|it| it.confidence).fold(1.0, f32::min);
            own += 1.0;
            confidence += sure;
            least = least.min(sure);
        }
    }
    if !begins || (sigh && least < ask_below) || 2.0 * other > own || confidence < BENT * own {
        Meant::No
    } else if MAKE_UP * other <= own && from.is_some() && least >= ask_below {
        Meant::Surely
    } else {
        Meant::Perhaps
    }
}

/// How much a word speaks for talk; nothing where it belongs to a reading of
/// these vital signs.
fn weight(spoken: &Spoken, signs: &[VitalSign]) -> f32 {
    if let Some(kind) = qualifier(spoken).map(Qualifier::kind) {
        let fits = signs.iter().any(|it| it.qualifiers().contains(&kind));
        return if fits { 0.0 } else { 1.5 };
    }
    match spoken.token {
        Token::Over if !signs.contains(&VitalSign::BloodPressure) => 2.0,
        ref word if no_diastolic(word) => {
            let of_pressure = signs.contains(&VitalSign::BloodPressure);
            if of_pressure { 0.0 } else { 1.0 }
        }
        Token::Sign(_)
        | Token::Number(_)
        | Token::Unit(_)
        | Token::Device(_)
        | Token::Filler
        | Token::Yes
        | Token::No
        | Token::Fix => 0.0,
        ref core if is_core(core) => 0.0,
        // Words of orders, where no order begins, may have been numbers.
        Token::Unknown | Token::Order(_) => 1.0,
        _ => 2.0,
    }
}

/// Nothing is offered of what looks like talk and has a reading that is none: "the score
/// is seventy two to sixty eight at the half" was once "room seventy two tall sixty eight
/// and a half", and 68.5 inches a height.
pub(super) fn doubted(mut utterance: Utterance, meant: impl FnOnce() -> Meant) -> Utterance {
    let half_clear = matches!(&utterance, Utterance::Readings { claims, unclear, .. }
        if !claims.is_empty() && unclear.iter().any(|it| it.why != Why::Cut));
    if half_clear && meant() == Meant::No {
        utterance.doubt();
    }
    utterance
}

/// Whether an utterance leads to a question at most, and nothing speaks for its
/// having been meant for Sayback.
pub(super) fn is_talk(
    utterance: &Utterance,
    pending: &[VitalSign],
    meant: impl FnOnce() -> Meant,
) -> bool {
    match utterance {
        Utterance::Readings {
            claims, unclear, ..
        } => {
            let cut = unclear.iter().any(|it| it.why == Why::Cut);
            claims.is_empty() && !cut && meant() == Meant::No
        }
        // "Deep", while a pulse waits.
        Utterance::Part(part) => {
            let Part {
                value, why, whose, ..
            } = part.as_ref();
            let fits = |sign: &VitalSign| {
                let mut kinds = part.qualifiers.iter().map(|it| it.kind());
                kinds.any(|it| sign.qualifiers().contains(&it))
            };
            let alone = value.is_none() && why.is_none() && whose.is_empty();
            alone && part.taken.is_none() && !pending.iter().any(fits)
        }
        _ => false,
    }
}
