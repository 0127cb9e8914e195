//! Orders: what to change of what is kept, what to time, what to measure again.

use rust_decimal::prelude::ToPrimitive;
use serde::Serialize;

use super::utterance::{Claim, Utterance};
use super::{Context, Sentence, number, painless};
use crate::grammar::{OrderWord, Piece, Spoken, Token};
use crate::vitals::{Qualifier, VitalSign};

/// The longest time that is timed, in seconds.
const LONGEST: u32 = 30 * 60;

/// The longest time until a recheck that is said so, in seconds.
const LONGEST_TO_RECHECK: u32 = 2 * 60 * 60;

/// Something that the aide wants done.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Order {
    /// A value is to be another.
    Change {
        /// Of which vital sign.
        sign: VitalSign,
        /// The right value; none where it was not clear.
        to: Option<Box<Claim>>,
    },
    /// A reading was taken in this way.
    ThatWas(Vec<Qualifier>),
    /// A reading must not stand.
    Scratch(VitalSign),
    /// This one of several, from 0.
    Which(usize),
    /// Say when to start and to stop counting.
    Count {
        /// Pulse or respiration.
        sign: VitalSign,
        /// Over how many seconds, where that was said: 15, 30 or 60.
        seconds: Option<u16>,
        /// Whether to tick meanwhile.
        ticks: bool,
    },
    /// Say when a time is over.
    Time {
        /// Whether it is the thermometer's.
        thermometer: bool,
        /// How long, in seconds.
        seconds: u32,
    },
    /// Measure again; this one, where it was said.
    Recheck(Option<VitalSign>),
    /// Measure again after so many seconds.
    RecheckIn(Option<VitalSign>, u32),
}

impl Order {
    /// Whether two orders want the same, whatever their words.
    pub(super) fn is_like(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Change { to: Some(a), .. }, Self::Change { to: Some(b), .. }) => {
                a.measurement == b.measurement && a.working == b.working
            }
            _ => self == other,
        }
    }
}

impl Sentence<'_> {
    /// An order, when the utterance is nothing else.
    pub(super) fn order(&self) -> Option<Order> {
        let meant = |it: &&Spoken| it.token != Token::Filler;
        let tokens: Vec<Spoken> = self.tokens.iter().filter(meant).cloned().collect();
        let tokens = match tokens.as_slice() {
            [no, order @ ..] if no.token == Token::No => order,
            all => all,
        };
        let (first, rest) = tokens.split_first()?;
        let Token::Order(word) = first.token else {
            return None;
        };
        if word == OrderWord::Change {
            return self.change(rest);
        }
        if tokens.iter().any(|it| it.token == Token::Unknown) {
            return None;
        }
        let each: Vec<&Token> = rest.iter().map(|it| &it.token).collect();
        match (word, each.as_slice()) {
            (OrderWord::ThatWas, [_, ..]) => {
                let how = super::flows::with_flows(rest);
                let and = Token::Number(Piece::And);
                let how = how.iter().filter(|it| it.token != and && meant(it));
                let how: Option<Vec<_>> = how.map(super::claims::qualifier).collect();
                how.map(Order::ThatWas)
            }
            (OrderWord::Scratch, [Token::Sign(sign)]) => Some(Order::Scratch(*sign)),
            (OrderWord::First, []) => Some(Order::Which(0)),
            (OrderWord::Second, []) => Some(Order::Which(1)),
            (OrderWord::Third, []) => Some(Order::Which(2)),
            (OrderWord::Fourth, []) => Some(Order::Which(3)),
            (OrderWord::Count, [Token::Sign(sign), over @ ..]) => count(*sign, over),
            (OrderWord::Time | OrderWord::Thermometer, time) => Some(Order::Time {
                thermometer: word == OrderWord::Thermometer,
                seconds: seconds(time)?,
            }),
            (OrderWord::Recheck, [Token::Order(OrderWord::In), time @ ..]) => {
                recheck_in(None, time)
            }
            (OrderWord::Recheck, [Token::Sign(sign), Token::Order(OrderWord::In), time @ ..]) => {
                recheck_in(Some(*sign), time)
            }
            (OrderWord::Recheck, []) => Some(Order::Recheck(None)),
            (OrderWord::Recheck, [Token::Sign(sign)]) => Some(Order::Recheck(Some(*sign))),
            _ => None,
        }
    }

    /// "change the pulse to eighty two". Without the "to" between name and value
    /// it may have been a "two" of the value, which is then asked for again; and so is
    /// what was said with a word more: "change only the pulse to eighty two".
    fn change(&self, rest: &[Spoken]) -> Option<Order> {
        let to = Token::Order(OrderWord::To);
        let lost = rest.iter().take_while(|it| it.token == Token::Unknown);
        let lost = lost.count();
        let (name, rest) = rest[lost..].split_first()?;
        let Token::Sign(sign) = name.token else {
            return None;
        };
        let unclear = Some(Order::Change { sign, to: None });
        let other = |it: &Spoken| matches!(it.token, Token::Sign(_) | Token::Order(_));
        let value = match rest.split_first() {
            Some((first, value)) if lost == 0 && first.token == to => value,
            _ => return unclear,
        };
        let nought = painless::changed_to_nought(value).filter(|_| sign == VitalSign::Pain);
        let value = nought.as_ref().map_or(value, std::slice::from_ref);
        if value.iter().any(other) {
            return unclear;
        }
        let tokens = [std::slice::from_ref(name), value].concat();
        let as_before = [self.context.manners, self.context.kept].concat();
        let context = Context {
            manners: &as_before,
            ..*self.context
        };
        let sentence = Sentence {
            context: &context,
            ..*self
        };
        match sentence.readings(&super::flows::with_flows(&tokens), None) {
            Some(Utterance::Readings {
                claims, unclear, ..
            }) if unclear.is_empty() && claims.len() == 1 => Some(Order::Change {
                sign,
                to: claims.into_iter().next().map(Box::new),
            }),
            _ => unclear,
        }
    }
}

fn count(sign: VitalSign, over: &[&Token]) -> Option<Order> {
    let ticks = Token::Order(OrderWord::Ticks);
    let (over, ticks) = match over {
        [over @ .., last] if **last == ticks => (over, true),
        _ => (over, false),
    };
    let seconds = match over {
        [] => None,
        [Token::Counted(seconds)] => Some(*seconds),
        other => Some(self::seconds(other)?.to_u16()?),
    };
    Some(Order::Count {
        sign,
        seconds,
        ticks,
    })
}

fn recheck_in(sign: Option<VitalSign>, time: &[&Token]) -> Option<Order> {
    let seconds = seconds_up_to(LONGEST_TO_RECHECK, time)?;
    Some(Order::RecheckIn(sign, seconds))
}

/// A number of minutes or seconds, in seconds.
fn seconds(tokens: &[&Token]) -> Option<u32> {
    seconds_up_to(LONGEST, tokens)
}

fn seconds_up_to(longest: u32, tokens: &[&Token]) -> Option<u32> {
    let [number @ .., Token::Order(unit)] = tokens else {
        return None;
    };
    let times = match unit {
        OrderWord::Seconds => 1,
        OrderWord::Minutes => 60,
        _ => return None,
    };
    let piece = |it: &&Token| match it {
        Token::Number(piece) => Some(*piece),
        _ => None,
    };
    let pieces: Vec<_> = number.iter().map(piece).collect::<Option<_>>()?;
    let [number] = number::candidates(&pieces, false)[..] else {
        return None;
    };
    let seconds = number.to_u32()?.checked_mul(times)?;
    (1..=longest).contains(&seconds).then_some(seconds)
}
