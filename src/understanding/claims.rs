//! Readings in an utterance: cut it at the names of vital signs, give each
//! qualifier to the vital sign it can belong to, and settle each value.

use super::cut::begins_with_a_rest;
use super::flows::{flows_of, with_flows};
use super::manner::{Manner, with_count};
use super::utterance::{Claim, Part, Taken, Unclear, Utterance, Why, Yes};
use super::value::{Beside, is_core, no_diastolic, value_of};
use super::{Sentence, painless, taken};
use crate::grammar::{Side, Spoken, Token};
use crate::vitals::{
    Alertness, Arm, NotTakenReason, Qualifier, QualifierKind, Qualifiers, Scale, Supply, VitalSign,
};

/// One vital sign's share of the utterance.
struct Segment {
    sign: VitalSign,
    /// Everything after the name, up to the next one.
    body: Vec<Spoken>,
    /// Qualifiers with whether a self-correction came right before.
    qualifiers: Vec<(Qualifier, bool)>,
    /// Why it was not taken, where that was said too.
    not_taken: Option<NotTakenReason>,
    /// Whether other talk goes before the name and after all that is understood.
    amid_talk: bool,
    /// Whether it and its neighbour may be one reading: see [`torn`].
    torn: bool,
    from: usize,
    to: usize,
}

impl Sentence<'_> {
    /// Utterances with content: readings, or a part of one.
    pub(super) fn long(&self) -> Option<Utterance> {
        let (tokens, taken) = taken::split(self.tokens);
        let tokens = match self.context.pending {
            // "Two liters" is the answer itself.
            [VitalSign::OxygenFlow] => flows_of(&tokens, Some(VitalSign::OxygenFlow)),
            _ => with_flows(&tokens),
        };
        let tokens = painless::as_nought(tokens);
        let named = |it: &Spoken| matches!(it.token, Token::Sign(_));
        if let Some(at) = tokens.iter().position(named) {
            let readings = self.readings(&tokens, taken)?;
            let readings = self.after_a_rest(&tokens[..at], readings);
            // A reading in one breath with a name may be of somebody else: who
            // it is comes first.
            return Some(tokens.iter().find_map(called).unwrap_or(readings));
        }
        let part = self.part(&tokens, taken)?;
        let rest = self.rest(&tokens, part.taken);
        Some(rest.unwrap_or_else(|| Utterance::Part(Box::new(part))))
    }

    /// `None` when the names of vital signs are all that speaks for a reading,
    /// and the rest is no part of one or was not heard well: talk that happens
    /// to hold such a word.
    pub(super) fn readings(
        &self,
        tokens: &[Spoken],
        taken: Option<Result<Taken, ()>>,
    ) -> Option<Utterance> {
        let begins_with_yes = tokens.first().is_some_and(|it| it.token == Token::Yes)
            && self.confidence(0, tokens[0].to) >= self.context.ask_below;
        let first = tokens.iter().find(|it| it.token != Token::Filler);
        let no = first.is_some_and(|it| it.token == Token::No);
        let mut claims: Vec<Claim> = Vec::new();
        let mut unclear: Vec<Unclear> = Vec::new();
        for segment in segments(tokens) {
            let sign = segment.sign;
            match self.claim(&segment, taken) {
                Ok(claim) => match claims.iter().position(|it| contradicts(it, &claim)) {
                    Some(at) => {
                        let first = claims.remove(at).measurement;
                        let why = Why::Either(vec![first, claim.measurement.clone()]);
                        unclear.push(Unclear::of(&claim, why));
                    }
                    None => claims.push(claim),
                },
                Err(why) => {
                    let mut qualifiers = Qualifiers::default();
                    let own = segment.qualifiers.iter().map(|(it, _)| *it);
                    let fits = |it: &Qualifier| sign.qualifiers().contains(&it.kind());
                    own.filter(fits).for_each(|it| qualifiers.set(it));
                    unclear.push(Unclear {
                        sign,
                        manner: self.manner_of_unclear(sign, &segment.body, &why),
                        why,
                        qualifiers,
                        taken: taken.and_then(Result::ok),
                    });
                }
            }
        }
        let stray = |it: &Spoken| {
            !matches!(
                it.token,
                Token::Sign(_) | Token::Is(_) | Token::Filler | Token::Yes | Token::Palpated
            ) && !is_fix(&it.token)
        };
        let no_number = unclear
            .iter()
            .all(|it| matches!(it.why, Why::NoNumber | Why::NotTaken(_)));
        let unsure = self.heard.confidence() < self.context.ask_below;
        let amid_talk = first.is_some_and(|it| it.token == Token::Unknown);
        if claims.is_empty()
            && ((no_number && (unsure || tokens.iter().any(stray))) || (amid_talk && unsure))
        {
            return None;
        }
        Some(Utterance::Readings {
            yes: begins_with_yes.then(|| Yes::given(self.heard.by)),
            no,
            claims,
            unclear,
        })
    }

    fn claim(&self, segment: &Segment, taken: Option<Result<Taken, ()>>) -> Result<Claim, Why> {
        if segment.torn || denied(&segment.body) {
            return Err(Why::Gap);
        }
        let sign = segment.sign;
        let mut qualifiers = Qualifiers::default();
        for &(qualifier, corrected) in &segment.qualifiers {
            let earlier = qualifiers.get(qualifier.kind());
            match earlier.filter(|it| !corrected && !agree(*it, qualifier)) {
                Some(earlier) => return Err(Why::TwoQualifiers(earlier, qualifier)),
                None => qualifiers.set(more_exact(earlier, qualifier)),
            }
        }
        // "Yes, pulse seventy two" says again what was read back.
        let sentence = self.tokens.iter().find(|it| it.token != Token::Filler);
        let again = sentence.is_some_and(|it| it.token == Token::Yes);
        let mut beside = self.beside(sign, &qualifiers);
        // A whole reading says by itself that it was palpated.
        let before = beside.manner.map(Manner::unless_palpated);
        beside.manner = before.map(|it| Manner {
            worked: it.worked.filter(|_| !again),
            ..it
        });
        let said = with_count(beside.manner, last_said(&segment.body));
        let valued = value_of(sign, &said, beside).map_err(|why| match &segment.not_taken {
            Some(reason) if why == Why::NoNumber => Why::NotTaken(reason.clone()),
            _ => why,
        })?;
        if segment.amid_talk || self.may_lack_a_digit(segment.from, segment.to) {
            return Err(Why::Gap);
        }
        let mut measurement = valued.measurement;
        // "Pulse seventy two refused" can't be both.
        if let Some(reason) = &segment.not_taken {
            return Err(Why::OrNotTaken(measurement, reason.clone()));
        }
        for qualifier in qualifiers.iter() {
            measurement = measurement.with(qualifier).map_err(Why::Impossible)?;
        }
        let confidence = self.confidence(segment.from, segment.to);
        let taken = taken.transpose().map_err(|()| Why::BadTime)?;
        Ok(Claim {
            measurement,
            working: valued.working,
            device: valued.device,
            taken,
            words: self.words(segment.from, segment.to),
            confidence,
            by: self.heard.by,
            rivals: Vec::new(),
            sound: None,
        })
    }

    fn part(&self, tokens: &[Spoken], taken: Option<Result<Taken, ()>>) -> Option<Part> {
        let pending = self.context.pending;
        let first = tokens.iter().find(|it| it.token != Token::Filler);
        let begins = |with: Token| first.is_some_and(|it| it.token == with);
        let lost = tokens.iter().any(|it| it.token == Token::Unknown);
        let unsure = self.heard.confidence() < self.context.ask_below;
        // An answer begins at once and is nothing but an answer.
        if begins(Token::Unknown) || (lost && unsure) || tokens.iter().any(no_part) {
            return None;
        }
        let qualifiers: Vec<Qualifier> = tokens.iter().filter_map(qualifier).collect();
        let value = |it: &Spoken| is_core(&it.token) || no_diastolic(&it.token);
        let numeric = tokens.iter().any(value);
        if pending.is_empty() || (qualifiers.is_empty() && !numeric && taken.is_none()) {
            return None;
        }
        let mut part = Part {
            no: begins(Token::No),
            qualifiers,
            taken: taken.and_then(Result::ok),
            words: self.heard.text(),
            confidence: self.heard.confidence(),
            by: self.heard.by,
            ..Part::default()
        };
        if lost
            || begins_with_a_rest(tokens)
            || denied(tokens)
            || self.may_lack_a_digit(0, self.heard.words.len())
        {
            part.why = Some(Why::Gap);
        } else if taken == Some(Err(())) {
            part.why = Some(Why::BadTime);
        } else if numeric {
            let said = last_said(tokens);
            let mut known = Qualifiers::default();
            part.qualifiers.iter().for_each(|it| known.set(*it));
            let each = pending.iter().map(|sign| {
                let beside = self.beside(*sign, &known);
                let said = with_count(beside.manner, said);
                (*sign, value_of(*sign, &said, beside))
            });
            let (good, bad): (Vec<_>, Vec<_>) = each.partition(|(_, it)| it.is_ok());
            match good.as_slice() {
                [(_, Ok(valued))] => part.value = Some(valued.clone()),
                [] => part.why = bad.into_iter().find_map(|(_, it)| it.err()),
                several => part.whose = several.iter().map(|(sign, _)| *sign).collect(),
            }
        }
        Some(part)
    }

    /// How the number of a reading that is not clear is to be taken, by its own words or as
    /// before. What could not be worked out is not worked out that way again.
    fn manner_of_unclear(&self, sign: VitalSign, body: &[Spoken], why: &Why) -> Option<Manner> {
        if let Some(awaited) = Manner::awaited(why) {
            return Some(awaited);
        }
        let said = Manner::said(sign, body, self.context.precautions);
        let before = || self.manner(sign).map(Manner::unless_palpated);
        let mut manner = said.or_else(before)?;
        if matches!(why, Why::Arithmetic(_)) {
            manner.worked = None;
        }
        Some(manner)
    }

    /// How what waits of a vital sign was said.
    pub(super) fn manner(&self, sign: VitalSign) -> Option<Manner> {
        let manners = self.context.manners.iter();
        manners.copied().find(|it| it.sign == sign)
    }

    /// What is known beside the words of one value.
    fn beside(&self, sign: VitalSign, qualifiers: &Qualifiers) -> Beside<'_> {
        let rhythm = match qualifiers.get(QualifierKind::Rhythm) {
            Some(Qualifier::Rhythm(rhythm)) => Some(rhythm),
            _ => None,
        };
        Beside {
            units: self.context.units,
            manner: self
                .manner(sign)
                .map(|it| match qualifiers.get(QualifierKind::Scale) {
                    // Another scale has no chair on it.
                    Some(Qualifier::Scale(scale)) if scale != Scale::Wheelchair => {
                        Manner { worked: None, ..it }
                    }
                    _ => it,
                }),
            precautions: self.context.precautions,
            rhythm,
        }
    }

    fn may_lack_a_digit(&self, from: usize, to: usize) -> bool {
        self.long.iter().any(|at| (from..to).contains(at))
    }

    fn confidence(&self, from: usize, to: usize) -> f32 {
        let words = self.heard.words.get(from..to).unwrap_or_default();
        words.iter().map(|it| it.confidence).fold(1.0, f32::min)
    }

    fn words(&self, from: usize, to: usize) -> String {
        let words = self.heard.words.get(from..to).unwrap_or_default();
        let words: Vec<&str> = words.iter().map(|it| it.text.as_str()).collect();
        words.join(" ")
    }
}

/// The call that a name is, when more was said with it.
fn called(spoken: &Spoken) -> Option<Utterance> {
    match &spoken.token {
        Token::Resident(phrase) => Some(Utterance::Called {
            phrase: phrase.clone(),
            alone: false,
        }),
        Token::Staff(phrase) => Some(Utterance::ThisIs(phrase.clone())),
        _ => None,
    }
}

/// What is said alone, so that beside a part of a reading it is other talk.
const fn no_part(spoken: &Spoken) -> bool {
    matches!(
        spoken.token,
        Token::Yes
            | Token::Say(_)
            | Token::Resident(_)
            | Token::Staff(_)
            | Token::Room
            | Token::Bed(_)
            | Token::Reported
            | Token::Nurse(_)
            | Token::NotTaken(_)
            | Token::Activity(_)
            | Token::Felt(_)
            | Token::Reason(_)
            | Token::Last
    )
}

/// Whether words may turn round what they go before: "no oxygen" is room air, unless it
/// corrects, and "not labored" is heard without its "not". "Left arm" has no opposite that
/// anybody says so.
fn denied(tokens: &[Spoken]) -> bool {
    tokens.windows(2).any(|pair| {
        let after = &pair[1].token;
        match pair[0].token {
            Token::No => matches!(
                after,
                Token::Is(Qualifier::Supply(Supply::Oxygen(None)))
                    | Token::Level(Alertness::NewConfusion)
            ),
            Token::Unknown if no_diastolic(after) => true,
            Token::Unknown => {
                use QualifierKind::{Depth, Rhythm, Strength, Supply};
                let kind = qualifier(&pair[1]).map(Qualifier::kind);
                matches!(kind, Some(Depth | Rhythm | Strength | Supply))
            }
            _ => false,
        }
    })
}

pub(super) const fn is_fix(token: &Token) -> bool {
    matches!(token, Token::No | Token::Fix)
}

/// What came after the last self-correction that has a number after it:
/// "eighteen no sixteen" leaves "sixteen", "eighteen no regular" leaves all.
fn last_said(tokens: &[Spoken]) -> &[Spoken] {
    let corrected = |at: &usize| {
        is_fix(&tokens[*at].token) && tokens[at + 1..].iter().any(|it| is_core(&it.token))
    };
    match (0..tokens.len()).rev().find(corrected) {
        Some(at) => &tokens[at + 1..],
        None => tokens,
    }
}

pub(super) fn qualifier(spoken: &Spoken) -> Option<Qualifier> {
    match spoken.token {
        Token::Is(qualifier) => Some(qualifier),
        Token::Short(Side::Left) => Some(Qualifier::Arm(Arm::Left)),
        Token::Short(Side::Right) => Some(Qualifier::Arm(Arm::Right)),
        _ => None,
    }
}

fn segments(tokens: &[Spoken]) -> Vec<Segment> {
    let sign = |it: &Spoken| match it.token {
        Token::Sign(sign) => Some(sign),
        _ => None,
    };
    let names: Vec<(usize, VitalSign)> = tokens
        .iter()
        .enumerate()
        .filter_map(|(at, it)| Some((at, sign(it)?)))
        .collect();
    let mut segments: Vec<Segment> = Vec::new();
    for (index, &(at, sign)) in names.iter().enumerate() {
        let end = names.get(index + 1).map_or(tokens.len(), |(next, _)| *next);
        let corrected = at > 0 && is_fix(&tokens[at - 1].token);
        if corrected {
            // "pulse eighteen, no, respiration eighteen"
            segments.pop();
        }
        let mut body = tokens[at + 1..end].to_vec();
        // "Palpated blood pressure one ten."
        let lost = |it: &Spoken| it.token == Token::Unknown;
        if index == 0 && !tokens[..at].iter().any(lost) {
            let palpated = tokens[..at].iter().filter(|it| it.token == Token::Palpated);
            body.splice(0..0, palpated.cloned());
        }
        if names.len() > index + 1 && body.last().is_some_and(|it| is_fix(&it.token)) {
            body.pop();
        }
        let said = |(at, it): (usize, &Spoken)| {
            let corrected = at > 0 && is_fix(&body[at - 1].token);
            qualifier(it).map(|qualifier| (qualifier, corrected))
        };
        let mut qualifiers: Vec<(Qualifier, bool)> =
            body.iter().enumerate().filter_map(said).collect();
        // What was said before a name and does not fit the vital sign before it
        // belongs to the name: "pulse seventy two oral temperature".
        let before: Vec<(Qualifier, bool)> = match segments.last_mut() {
            Some(previous) => take_unfit(previous, sign),
            None => tokens[..at]
                .iter()
                .filter_map(qualifier)
                .map(|it| (it, false))
                .collect(),
        };
        qualifiers.splice(0..0, before);
        let unknown = |it: Option<&Spoken>| it.is_some_and(|it| it.token == Token::Unknown);
        let meant = |it: &&Spoken| it.token != Token::Filler;
        let amid_talk =
            unknown(tokens[..at].iter().rfind(meant)) && unknown(body.iter().rfind(meant));
        let before = segments.last_mut();
        let torn = before.as_ref().is_some_and(|it| torn(it.sign, sign, &body));
        if let Some(before) = before {
            before.torn |= torn;
        }
        // "Refused pulse seventy two" as well.
        let beside = if index == 0 { &tokens[..at] } else { &[] };
        let reason = |it: &Spoken| match &it.token {
            Token::NotTaken(reason) => Some(reason.clone()),
            _ => None,
        };
        segments.push(Segment {
            sign,
            not_taken: beside.iter().chain(&body).find_map(reason),
            amid_talk,
            torn,
            from: tokens[at].from,
            to: body.last().map_or(tokens[at].to, |it| it.to),
            body,
            qualifiers,
        });
    }
    segments
}

/// Whether a name was heard where none was said, in the middle of another
/// reading: after it comes a unit of the one before and not of its own. "Forty
/// pain one beats" was "forty seven beats".
fn torn(before: VitalSign, sign: VitalSign, body: &[Spoken]) -> bool {
    body.iter().any(|it| match it.token {
        Token::Unit(unit) => unit.is_of(before) && !unit.is_of(sign),
        _ => false,
    })
}

fn take_unfit(segment: &mut Segment, next: VitalSign) -> Vec<(Qualifier, bool)> {
    if segment.sign == next {
        return take_second(segment);
    }
    let own = segment.sign.qualifiers();
    let goes = |(it, _): &(Qualifier, bool)| {
        !own.contains(&it.kind()) && next.qualifiers().contains(&it.kind())
    };
    let (gone, kept) = segment.qualifiers.iter().copied().partition(goes);
    segment.qualifiers = kept;
    gone
}

/// "Left arm blood pressure one thirty over eighty, right arm blood pressure": what was
/// said right before the same name, and can't be true beside what was said before it.
fn take_second(segment: &mut Segment) -> Vec<(Qualifier, bool)> {
    let body = segment.body.iter().rev();
    let meant = body.filter(|it| it.token != Token::Filler);
    let last = meant.map_while(qualifier).count();
    let all = std::mem::take(&mut segment.qualifiers);
    let from = all.len().saturating_sub(last);
    let mut second = Vec::new();
    for (at, &(it, corrected)) in all.iter().enumerate() {
        let mut earlier = all[..at].iter().map(|(it, _)| *it);
        let another = earlier.any(|was| was.kind() == it.kind() && !agree(was, it));
        if at >= from && !corrected && another {
            second.push((it, false));
        } else {
            segment.qualifiers.push((it, corrected));
        }
    }
    second
}

/// Whether two qualifiers of one kind can both be true: oxygen, and a flow of it.
fn agree(a: Qualifier, b: Qualifier) -> bool {
    let oxygen = |it| matches!(it, Qualifier::Supply(Supply::Oxygen(_)));
    let flow = |it| matches!(it, Qualifier::Supply(Supply::Oxygen(Some(_))));
    a == b || (oxygen(a) && oxygen(b) && !(flow(a) && flow(b)))
}

fn more_exact(earlier: Option<Qualifier>, later: Qualifier) -> Qualifier {
    match (earlier, later) {
        (
            Some(earlier @ Qualifier::Supply(Supply::Oxygen(Some(_)))),
            Qualifier::Supply(Supply::Oxygen(None)),
        ) => earlier,
        _ => later,
    }
}

/// Two values for one vital sign taken in one way, in one breath.
fn contradicts(a: &Claim, b: &Claim) -> bool {
    a.measurement.sign() == b.measurement.sign()
        && a.measurement.qualifiers() == b.measurement.qualifiers()
        && a.measurement.value() != b.measurement.value()
}
