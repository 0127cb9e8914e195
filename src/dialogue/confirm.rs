//! Yes, no and silence.

use super::order::why_and_when;
use super::state::{Draft, Offer};
use super::turn::Turn;
use super::{Phase, Question};
use crate::facts::{Body, Dropped, PutOff};
use crate::residents::ResidentId;
use crate::speaking::wording;
use crate::understanding::Yes;
use crate::vitals::{Measurement, NotTakenReason, VitalSign, is_narrow};

impl Turn<'_> {
    pub(super) fn yes(&mut self, yes: &Yes) {
        match std::mem::replace(&mut self.state.phase, Phase::Open) {
            Phase::Identify(id) => self.identified(id, yes),
            Phase::Confirming(offer) => self.confirmed(*offer, yes),
            Phase::ConfirmNotTaken(signs, reason) => self.not_taken_confirmed(signs, reason),
            Phase::ConfirmRemark(remark) => self.remark_confirmed(remark),
            Phase::ConfirmReport { to, read_back } => self.report_confirmed(&to, &read_back),
            Phase::ConfirmChange(change) => self.change_confirmed(*change, yes),
            Phase::ConfirmMove(offer) => self.move_confirmed(*offer, yes),
            Phase::ConfirmSkip(skip) => self.skip_confirmed(skip),
            // A yes to nothing: a question that yes does not answer stays.
            other => {
                self.state.phase = other;
                if !matches!(self.state.phase, Phase::Place | Phase::Open) {
                    self.ask_again();
                }
            }
        }
    }

    fn confirmed(&mut self, offer: Offer, yes: &Yes) {
        let unlikely = self.unlikely(&offer.read_back);
        if !unlikely.is_empty() && !offer.second_look {
            let names: Vec<VitalSign> = unlikely.iter().map(Measurement::sign).collect();
            if unlikely.iter().any(is_narrow) {
                self.say("The two numbers of the blood pressure are close together.");
            }
            let are = if names.len() > 1 { "are" } else { "is" };
            self.prompt(&format!(
                "The {} {are} far from the usual. Please measure again and say it. {} Yes to keep it as it is?",
                wording::names(&names),
                offer.read_back.text()
            ));
            self.state.phase = Phase::Confirming(Box::new(Offer {
                second_look: true,
                ..offer
            }));
            return;
        }
        let Some(resident) = self.resident() else {
            return;
        };
        let (second_look, instead_of_count) = (offer.second_look, offer.instead_of_count);
        let (mut said, mut guided, mut both) = (Vec::new(), Vec::new(), Vec::new());
        let mut last = None;
        let measured_again = self.is_far_again(&unlikely);
        for reading in offer.read_back.confirm(yes, self.now, second_look) {
            let record = reading.record().clone();
            let kept = record.measurement.sign();
            self.state.in_vain.remove(&kept);
            self.state.far.retain(|it| it.sign() != kept);
            let id = self.keep(Body::Read(reading));
            said.extend(self.judge(resident, id, &record));
            guided.extend(self.guide(resident, id, &record.reading()));
            both.extend(self.rechecked(&record));
            last = Some(id);
        }
        said.extend(last.and_then(|id| self.early_warning(resident, id)));
        self.say("Kept.");
        if let Some(sign) = instead_of_count {
            self.end_count_of(sign);
        }
        for it in &both {
            self.say(it);
        }
        self.say_raised(&said);
        if measured_again && said.is_empty() {
            // No limit speaks of it, and it was no slip.
            self.say("Far from the usual twice. Tell the nurse.");
        }
        // Of two pressures in one breath, the step that holds after both.
        let steps = guided.iter().enumerate();
        for (_, step) in steps.filter(|(at, it)| !guided[at + 1..].contains(it)) {
            self.say(step);
        }
        self.advance();
    }

    pub(super) fn no(&mut self) {
        match &self.state.phase {
            Phase::Identify(_) => {
                self.leave();
                self.refuse("Not that resident. Which room?");
            }
            Phase::Confirming(offer) => {
                let instead_of_count = offer.instead_of_count;
                self.take_back(Dropped::No);
                if instead_of_count.is_some_and(|sign| self.leave_count(sign)) {
                    return;
                }
                self.say("Not kept.");
                let signs: Vec<VitalSign> = self.state.drafts.iter().map(Draft::sign).collect();
                self.in_vain(signs.iter().copied());
                let question = match signs.as_slice() {
                    [one] if self.is_hard(&signs) => {
                        format!("What is the {}, digit by digit?", one.name())
                    }
                    [one] => format!("What is the {}?", one.name()),
                    _ => "Say the name and the right value.".to_owned(),
                };
                self.prompt(&question);
                self.state.phase = Phase::Asking(Question::Correction { refused: true });
            }
            Phase::ConfirmNotTaken(..) | Phase::ConfirmRemark(_) | Phase::ConfirmReport { .. } => {
                self.state.phase = self.idle();
                self.refuse("Not noted.");
                if !self.state.unclear.is_empty() {
                    self.advance();
                }
            }
            Phase::ConfirmChange(_) | Phase::ConfirmMove(_) | Phase::WhichKept(_) => {
                self.change_refused();
            }
            Phase::WhySkip(_) | Phase::ConfirmSkip(_) => self.skip_dropped("Not skipped."),
            // A caution: then it is not kept.
            Phase::Asking(Question::GoOn(at, _)) => {
                let at = *at;
                if at < self.state.drafts.len() {
                    let sign = self.state.drafts.remove(at).sign();
                    self.refuse(&format!("Not kept: {}.", sign.name()));
                }
                self.state.phase = Phase::Open;
                self.advance();
            }
            Phase::Asking(_) | Phase::WhichBed(_) => self.ask_again(),
            Phase::Place | Phase::Open => {}
        }
    }

    pub(super) fn scratch(&mut self) {
        if self.change_scratched() {
            return;
        }
        match &self.state.phase {
            // Nothing of these is a reading: it is a no to them.
            Phase::Identify(_)
            | Phase::ConfirmNotTaken(..)
            | Phase::ConfirmRemark(_)
            | Phase::ConfirmReport { .. }
            | Phase::WhySkip(_)
            | Phase::ConfirmSkip(_) => return self.no(),
            Phase::WhichBed(_) => {
                self.leave();
                return self.say("Which room?");
            }
            _ => {}
        }
        self.take_back(Dropped::Scratched);
        let pending = !self.state.drafts.is_empty() || !self.state.unclear.is_empty();
        let signs: Vec<VitalSign> = self.state.drafts.iter().map(Draft::sign).collect();
        self.in_vain(signs.iter().copied());
        self.state.drafts.clear();
        self.state.unclear.clear();
        self.state.far.clear();
        self.state.phase = self.idle();
        if pending {
            self.say("Scratched. Nothing of that is kept.");
        } else {
            self.say("There is nothing waiting to scratch.");
            // Said right after "Kept", it is meant for that.
            if let Some(last) = self.own_kept().last().map(|it| it.sign().name()) {
                self.say(&format!(
                    "To take back what is kept, say scratch the {last}."
                ));
            }
        }
        if self.is_hard(&signs) {
            self.say("Digit by digit is heard best.");
        }
    }

    /// After two silences: what waits is held as unconfirmed, never as a reading.
    pub(super) fn give_up(&mut self) {
        if self.change_unanswered() {
            return;
        }
        match std::mem::replace(&mut self.state.phase, Phase::Place) {
            Phase::Confirming(offer) => {
                let read_back = offer.read_back;
                if let Some(resident) = self.state.resident.clone() {
                    self.keep(Body::Unconfirmed {
                        offer: read_back.offer(),
                        resident,
                        readings: read_back.measurements(),
                    });
                }
                self.state.phase = Phase::Open;
                self.state.given_up = Some(self.now);
                self.say(
                    "No answer. Held as unconfirmed for the nurse to see; not kept as a reading.",
                );
                self.say_unclear_lost();
            }
            Phase::Asking(question) => {
                self.state.phase = Phase::Open;
                let names = self.abandoned(Some(&question));
                self.say(&format!("No answer. Not kept: {names}."));
            }
            Phase::ConfirmNotTaken(..) | Phase::ConfirmRemark(_) | Phase::ConfirmReport { .. } => {
                self.state.phase = self.idle();
                self.refuse("No answer. Not noted.");
                self.say_unclear_lost();
            }
            skip @ (Phase::WhySkip(_) | Phase::ConfirmSkip(_)) => {
                self.state.phase = skip;
                self.skip_dropped("No answer. Not skipped.");
            }
            Phase::Identify(_) | Phase::WhichBed(_) => self.say("No answer. Which room?"),
            Phase::Open => self.state.phase = Phase::Open,
            Phase::Place
            | Phase::WhichKept(_)
            | Phase::ConfirmChange(_)
            | Phase::ConfirmMove(_) => {}
        }
    }

    /// Clears what a question was about; returns the names of what is lost.
    pub(super) fn abandoned(&mut self, question: Option<&Question>) -> String {
        let drafts = std::mem::take(&mut self.state.drafts);
        let mut signs: Vec<VitalSign> = drafts.iter().map(Draft::sign).collect();
        if let Some(Question::Value(unclear)) = question {
            signs.push(unclear.sign);
        }
        signs.extend(self.state.unclear.drain(..).map(|it| it.sign));
        wording::names(&signs)
    }

    /// What was still to be asked for is let go, and said to be.
    pub(super) fn say_unclear_lost(&mut self) {
        if !self.state.unclear.is_empty() {
            let names = self.abandoned(None);
            self.say(&format!("Not kept: {names}."));
        }
    }

    pub(super) fn not_taken(&mut self, signs: Vec<VitalSign>, reason: NotTakenReason) {
        if let (Phase::WhySkip(_), true) = (&self.state.phase, signs.is_empty()) {
            return self.skip(Some(reason));
        }
        // "Which arm?" or a caution, to what was refused meanwhile.
        if let Phase::Asking(Question::Qualifier(at, _) | Question::GoOn(at, _)) = self.state.phase
            && let Some(asked) = self.state.drafts.get(at).map(Draft::sign)
            && (signs.is_empty() || signs.contains(&asked))
        {
            return self.not_taken_instead(signs, reason);
        }
        let mut signs = self.or_asked(signs);
        if self.state.phase == Phase::Asking(Question::Correction { refused: true }) {
            // "What is the pulse?" of one that was read back wrongly.
            if let ([], [one]) = (signs.as_slice(), self.state.drafts.as_slice()) {
                signs = vec![one.sign()];
            }
            self.state.drafts.retain(|it| !signs.contains(&it.sign()));
            if self.state.drafts.is_empty() {
                self.state.phase = Phase::Open;
            }
        }
        if self.state.resident.is_none() {
            return self.first_the_room();
        }
        // "Refused" answers a question about the value that was refused.
        self.state.unclear.retain(|it| !signs.contains(&it.sign));
        if matches!(&self.state.phase, Phase::Asking(Question::Value(it)) if signs.contains(&it.sign))
        {
            self.state.phase = Phase::Open;
        }
        if self.pending_says_first() {
            return;
        }
        self.offer_not_taken(signs, reason);
    }

    pub(super) fn offer_not_taken(&mut self, signs: Vec<VitalSign>, reason: NotTakenReason) {
        let what = if signs.is_empty() {
            "Everything due".to_owned()
        } else {
            wording::capital(&wording::names(&signs))
        };
        self.prompt(&format!("{what}: {}. Yes?", why_and_when(&reason)));
        self.state.phase = Phase::ConfirmNotTaken(signs, reason);
    }

    fn not_taken_confirmed(&mut self, signs: Vec<VitalSign>, reason: NotTakenReason) {
        self.state.phase = self.idle();
        if let Some(resident) = self.state.resident.clone() {
            self.note_not_taken(resident, signs, reason);
            self.advance();
        }
    }

    /// Stores that something was not taken; it is not due again until it is to
    /// be tried again. No vital sign means all that are due.
    pub(super) fn note_not_taken(
        &mut self,
        resident: ResidentId,
        signs: Vec<VitalSign>,
        reason: NotTakenReason,
    ) {
        let retry_at = reason.retry_after().map(|after| self.now + after);
        self.state.put_off.push(PutOff {
            resident: resident.clone(),
            signs: signs.clone(),
            reason: reason.clone(),
            retry_at,
            at: self.now,
            round: self.state.round,
        });
        self.say(match retry_at {
            Some(_) => "Noted.",
            // It is not tried again here: the nurse decides.
            None => "Noted. Tell the nurse.",
        });
        self.keep(Body::NotTaken {
            resident,
            signs,
            reason,
            retry_at,
        });
    }

    /// Where the conversation rests when nothing is pending.
    pub(super) fn idle(&self) -> Phase {
        if self.state.resident.is_some() {
            Phase::Open
        } else {
            Phase::Place
        }
    }
}
