//! What was said and is not settled now: the aide hears that it is asked about later, or has
//! to be said again.

use super::state::Draft;
use super::turn::Turn;
use super::{Phase, Question};
use crate::speaking::wording;
use crate::understanding::{Unclear, Why};
use crate::vitals::VitalSign;

impl Turn<'_> {
    /// What was said and can't be taken before something else is settled.
    pub(super) fn say_later(&mut self, signs: &[VitalSign]) {
        self.say_of(signs, "not taken yet, say it after this");
    }

    /// "Later", "skip it": past what is asked for, which stays due. What was said already
    /// waits for its answer.
    pub(super) fn later(&mut self) {
        match &self.state.phase {
            Phase::Asking(Question::Value(unclear)) => {
                let sign = unclear.sign;
                self.state.phase = Phase::Open;
                self.leave_for_later(&[sign]);
                self.advance();
            }
            Phase::Asking(Question::Correction { refused: true }) => {
                let refused = std::mem::take(&mut self.state.drafts);
                let signs: Vec<VitalSign> = refused.iter().map(Draft::sign).collect();
                self.state.phase = Phase::Open;
                self.leave_for_later(&signs);
                self.advance();
            }
            Phase::Open if self.state.order.asked.is_some() => {
                let asked: Vec<VitalSign> = self.state.order.asked.into_iter().collect();
                self.leave_for_later(&asked);
            }
            Phase::Place | Phase::Open => {
                if !self.speaks() {
                    self.say("Nothing is asked for now.");
                    self.keep_last_said();
                }
            }
            _ => {
                if !self.pending_says_first() {
                    self.ask_again();
                }
            }
        }
    }

    /// These are not kept, and not asked for again in this visit.
    pub(super) fn leave_for_later(&mut self, signs: &[VitalSign]) {
        self.state.order.later.extend(signs);
        self.say_of(signs, "not kept, left for later");
    }

    /// What was said while a caution waits for its answer.
    pub(super) fn say_read_back_later(&mut self, signs: &[VitalSign]) {
        self.say_of(signs, "I read that back after this");
    }

    /// What was asked for, and is asked for again after what was said instead.
    pub(super) fn say_ask_after(&mut self, signs: &[VitalSign]) {
        self.say_of(signs, "I ask after this");
    }

    /// What was refused and not replaced is asked for, after what was said instead: it is
    /// not read back again as if it had been said again.
    pub(super) fn ask_for_refused(&mut self, refused: &[Draft]) {
        if refused.is_empty() {
            return;
        }
        if !self.state.drafts.is_empty() || !self.state.unclear.is_empty() {
            let mut names: Vec<VitalSign> = refused.iter().map(Draft::sign).collect();
            names.dedup();
            self.say_of(&names, "I ask after this");
        }
        let asked = refused
            .iter()
            .map(|it| Unclear::of(&it.claim, Why::NoNumber));
        self.state.unclear.extend(asked);
    }

    /// What was just said and was not clear is asked for after what comes first: a question
    /// of another vital sign, or what is read back. Unannounced, it would be said again
    /// meanwhile, or wondered at when it is asked.
    pub(super) fn say_asked_later(&mut self, said: &[VitalSign]) {
        let next = usize::from(self.state.drafts.is_empty());
        let later = self.state.unclear.iter().skip(next);
        let of_value = |it: &&Unclear| !matches!(it.why, Why::NotTaken(_));
        let later = later.filter(of_value).map(|it| it.sign);
        let later: Vec<VitalSign> = later.filter(|it| said.contains(it)).collect();
        self.say_of(&later, "not clear yet, I ask after this");
    }

    /// Says what becomes of these, if there are any.
    fn say_of(&mut self, signs: &[VitalSign], what: &str) {
        if !signs.is_empty() {
            let names = wording::capital(&wording::names(signs));
            self.say(&format!("{names}: {what}."));
        }
    }
}
