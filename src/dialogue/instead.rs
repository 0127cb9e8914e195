//! A no, and in the same breath what is to be done instead: "no, room nine". What waits was
//! refused, so that it is let go without asking, and said to be, before the rest is done.

use super::state::Draft;
use super::turn::Turn;
use super::{Phase, Question};
use crate::facts::Dropped;
use crate::grammar::Command;
use crate::speaking::wording;
use crate::understanding::{Order, Unclear, Utterance, Why};
use crate::vitals::{Measurement, NotTakenReason, Qualifiers, VitalSign};

impl Turn<'_> {
    /// Lets go what waits, and gives what is left to be done.
    pub(super) fn instead(&mut self, what: Utterance) -> Option<Utterance> {
        let of_value = matches!(what, Utterance::NotTaken { .. });
        match &self.state.phase {
            // Nobody else is called.
            _ if self.is_here(&what) => {}
            Phase::Confirming(_) | Phase::Asking(_) => return self.instead_of_readings(what),
            Phase::ConfirmNotTaken(..) | Phase::ConfirmRemark(_) | Phase::ConfirmReport { .. } => {
                self.state.phase = self.idle();
                self.refuse("Not noted.");
                if !of_value {
                    self.say_unclear_lost();
                }
            }
            Phase::ConfirmChange(_) | Phase::ConfirmMove(_) | Phase::WhichKept(_) => {
                self.change_refused();
            }
            // "No, asleep" is another reason to skip.
            Phase::WhySkip(_) if of_value => {}
            Phase::WhySkip(_) | Phase::ConfirmSkip(_) => self.skip_dropped("Not skipped."),
            Phase::Open
                if what == Utterance::Command(Command::Later)
                    && self.state.order.asked.is_some() => {}
            // A no to nothing may be of what was just kept, or talk.
            Phase::Place | Phase::Open
                if matches!(what, Utterance::Command(_) | Utterance::Skip(_)) =>
            {
                if self.state.order.asked.is_some() {
                    self.refuse("Please say that again.");
                    self.keep_last_said();
                }
                return None;
            }
            _ => {}
        }
        self.after_letting_go(what)
    }

    fn instead_of_readings(&mut self, what: Utterance) -> Option<Utterance> {
        let waited = self.state.awaited();
        match what {
            // A question is passed over; what was read back is let go.
            Utterance::Command(Command::Later) if matches!(self.state.phase, Phase::Asking(_)) => {
                Some(what)
            }
            Utterance::Command(Command::Later) => {
                self.let_go(&waited);
                self.state.order.later.extend(waited);
                None
            }
            // Which of several is measured again?
            Utterance::Order(Order::Recheck(None)) if waited.len() > 1 => {
                self.no();
                None
            }
            Utterance::Order(Order::Recheck(None)) => {
                self.let_go(&waited);
                Some(Utterance::Order(Order::Recheck(waited.first().copied())))
            }
            Utterance::Order(Order::Recheck(Some(sign)) | Order::Count { sign, .. }) => {
                // What was read back beside it was not refused, and comes first.
                let of: &[VitalSign] = if waited.contains(&sign) {
                    &[sign]
                } else {
                    &waited
                };
                if self.let_go(of) {
                    self.say("This comes first.");
                    self.advance();
                    return None;
                }
                Some(what)
            }
            Utterance::NotTaken { signs, reason } => {
                self.not_taken_instead(signs, reason);
                None
            }
            what => {
                self.let_go(&waited);
                self.after_letting_go(what)
            }
        }
    }

    /// Something was not taken, instead of what was read back or is asked about.
    pub(super) fn not_taken_instead(&mut self, signs: Vec<VitalSign>, reason: NotTakenReason) {
        let signs = if signs.is_empty() {
            self.asked_about()
        } else {
            signs
        };
        let waited = self.state.awaited();
        let (of, others): (Vec<_>, Vec<_>) = waited.into_iter().partition(|it| signs.contains(it));
        if of.is_empty() {
            // As after a no and another reading, what was refused is asked for.
            self.take_back(Dropped::No);
            self.refuse(&format!("Not kept: {}.", wording::names(&others)));
            let drafts = std::mem::take(&mut self.state.drafts);
            self.ask_for_refused(&drafts);
        } else {
            self.let_go(&of);
        }
        if self.state.drafts.is_empty() {
            return self.offer_not_taken(signs, reason);
        }
        for sign in signs.into_iter().rev() {
            self.state.unclear.push_front(Unclear {
                sign,
                why: Why::NotTaken(reason.clone()),
                qualifiers: Qualifiers::default(),
                taken: None,
                manner: None,
            });
        }
        self.advance();
    }

    /// Whether these are names alone, of others than the value that is asked for.
    pub(super) fn names_another(&self, said: &[Unclear]) -> bool {
        let Phase::Asking(Question::Value(asked)) = &self.state.phase else {
            return false;
        };
        let other = |it: &Unclear| it.sign != asked.sign && it.why == Why::NoNumber;
        !said.is_empty() && said.iter().all(other)
    }

    /// "No, the temperature": that is asked for first, and after it what was asked for.
    pub(super) fn ask_instead(&mut self, said: Vec<Unclear>) {
        let asked = self.state.unclear.front().map(|it| it.sign);
        for it in said.into_iter().rev() {
            self.state.unclear.retain(|waits| waits.sign != it.sign);
            self.state.unclear.push_front(it);
        }
        self.say_ask_after(asked.as_slice());
        self.advance();
    }

    /// What was read back, or is asked about.
    fn asked_about(&self) -> Vec<VitalSign> {
        let mut signs: Vec<VitalSign> = match &self.state.phase {
            Phase::Asking(Question::Value(unclear)) => vec![unclear.sign],
            Phase::Asking(Question::Qualifier(at, _) | Question::GoOn(at, _)) => {
                let draft = self.state.drafts.get(*at);
                draft.map(Draft::sign).into_iter().collect()
            }
            Phase::Confirming(offer) => {
                let offered = offer.read_back.measurements();
                offered.iter().map(Measurement::sign).collect()
            }
            _ => self.state.drafts.iter().map(Draft::sign).collect(),
        };
        signs.dedup();
        signs
    }

    /// Lets these go of what was read back or is still to be asked for. Whether anything is
    /// left of it.
    fn let_go(&mut self, signs: &[VitalSign]) -> bool {
        self.take_back(Dropped::No);
        self.state.drafts.retain(|it| !signs.contains(&it.sign()));
        self.state.unclear.retain(|it| !signs.contains(&it.sign));
        let mut names = signs.to_vec();
        names.dedup();
        self.refuse(&format!("Not kept: {}.", wording::names(&names)));
        self.state.phase = self.idle();
        !self.state.drafts.is_empty() || !self.state.unclear.is_empty()
    }

    /// "No, stop" with nothing to stop was the no alone.
    fn after_letting_go(&self, what: Utterance) -> Option<Utterance> {
        let stop = matches!(what, Utterance::Command(Command::Stop));
        (!stop || self.is_anything_to_stop()).then_some(what)
    }

    fn is_here(&self, what: &Utterance) -> bool {
        let Utterance::Called { phrase, .. } = what else {
            return false;
        };
        let fits = self.dialogue.home.called(phrase);
        let here = self.resident().map(|it| &it.id);
        matches!(fits.as_slice(), [one] if Some(&one.id) == here)
    }
}
