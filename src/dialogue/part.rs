//! A part of a reading, said without its name: an answer, or another value or qualifier
//! for what waits.

use super::asking::sentence;
use super::state::Draft;
use super::turn::Turn;
use super::{Phase, Question};
use crate::facts::Dropped;
use crate::speaking::wording;
use crate::understanding::{Claim, Manner, Part, Unclear, Why};
use crate::vitals::{CautionKind, Qualifier, VitalSign};

impl Turn<'_> {
    /// An answer, or a change of what is pending.
    pub(super) fn part(&mut self, part: Part) {
        if self.stood(&part.qualifiers) || self.stands_too_early(&part) {
            return;
        }
        if self.count_answered(&part) || (part.why.is_none() && self.change_replaced(&part)) {
            return;
        }
        if self.state.phase == Phase::Open && !self.answers_in_turn() {
            return self.ask_again();
        }
        if let Some(why) = part.why.as_ref().filter(|it| puts_in_doubt(it, part.no))
            && let Phase::Confirming(offer) = &self.state.phase
            && offer.read_back.measurements().len() == 1
        {
            let why = why.clone();
            return self.ask_anew(&why, &part);
        }
        if let Some(why) = part.why {
            return self.unclear_part(why, part.qualifiers);
        }
        if part.whose.len() > 1 {
            let names = wording::names(&part.whose);
            self.prompt(&format!("Which one: {names}? Say the name and the value."));
            return self.correction();
        }
        if let Phase::Asking(Question::Value(unclear)) = &self.state.phase {
            let unclear = unclear.clone();
            return self.answer_value(&unclear, part);
        }
        // One that is still to be asked for, said before the yes.
        if let Some(valued) = &part.value
            && let Some(at) = self.still_to_ask(valued.measurement.sign())
        {
            self.take_back(Dropped::Replaced);
            if let Some(unclear) = self.state.unclear.remove(at) {
                return self.answer_value(&unclear, part);
            }
        }
        if matches!(self.state.phase, Phase::Confirming(_)) && !part.no && part.words == "right" {
            self.say("Is that a yes, or the right arm?");
            return self.ask_again();
        }
        self.take_back(Dropped::Replaced);
        let mut doubtful = false;
        if let Some(valued) = part.value {
            let sign = valued.measurement.sign();
            self.in_vain([sign]);
            let of_sign = self.state.drafts.iter().filter(|it| it.sign() == sign);
            if of_sign.count() > 1 {
                return self.which_of_several(sign);
            }
            let draft = self.state.drafts.iter_mut().find(|it| it.sign() == sign);
            if let Some(Draft { claim, .. }) = draft {
                let mut measurement = valued.measurement;
                for qualifier in claim.measurement.qualifiers().iter() {
                    // The same vital sign takes the same qualifiers.
                    measurement = measurement.clone().with(qualifier).unwrap_or(measurement);
                }
                claim.measurement = measurement;
                claim.working = valued.working;
                claim.device = valued.device.or(claim.device);
                claim.words = format!("{}; {}", claim.words, part.words);
                claim.confidence = part.confidence;
                claim.rivals = part.rivals;
                claim.sound = part.sound;
                claim.by = claim.by.max(part.by);
            }
        }
        // One time for all that was read back, as for all of one breath.
        if let Some(taken) = part.taken {
            let drafts = self.state.drafts.iter_mut();
            drafts.for_each(|it| it.claim.taken = Some(taken));
        }
        for qualifier in part.qualifiers {
            doubtful |= !self.qualify(qualifier);
        }
        if doubtful {
            self.prompt("I can't tell which reading that belongs to. Say its name and the value.");
            return self.correction();
        }
        self.advance();
    }

    /// Says why a part is not taken, and asks again.
    fn unclear_part(&mut self, why: Why, qualifiers: Vec<Qualifier>) {
        let again = match &why {
            Why::NoDiastolic(_) => "If it was palpated, say palpated.".to_owned(),
            Why::PalpatedOver => "Palpation gives no diastolic.".to_owned(),
            Why::Impossible(why) => format!("{}.", sentence(&why.to_string())),
            Why::Arithmetic(why) => format!("{}.", sentence(why)),
            _ => "I missed part of that.".to_owned(),
        };
        let Phase::Asking(Question::Value(unclear)) = &self.state.phase else {
            // The caution that waits says it already.
            let chair = matches!(
                self.state.phase,
                Phase::Asking(Question::GoOn(_, CautionKind::ChairNotKnown))
            );
            if !chair || !matches!(why, Why::ChairWeight(_)) {
                self.say(&again);
            }
            return self.ask_again();
        };
        let mut unclear = unclear.clone();
        unclear.set_fitting(qualifiers);
        let (awaited, before) = (Manner::awaited(&why), Manner::awaited(&unclear.why));
        if awaited.is_some() || before.is_some() {
            // What was said of it is this now.
            unclear.manner = awaited;
            unclear.why = why;
        } else if matches!(
            (&why, &unclear.why),
            (Why::Impossible(_), Why::Impossible(_)) | (Why::Arithmetic(_), Why::Arithmetic(_))
        ) {
            // Said again, and impossible again: the question tells one of them.
            unclear.why = why;
        } else {
            self.say(&again);
        }
        self.ask(Question::Value(unclear));
    }

    /// Where the question about a vital sign is that waits behind what was read back.
    fn still_to_ask(&self, sign: VitalSign) -> Option<usize> {
        let Phase::Confirming(offer) = &self.state.phase else {
            return None;
        };
        let offered = offer.read_back.measurements();
        if offered.iter().any(|it| it.sign() == sign) {
            return None;
        }
        self.state.unclear.iter().position(|it| it.sign == sign)
    }

    /// What was said instead of the reading that waits can't be: that one is asked for anew,
    /// with how it was said to be.
    fn ask_anew(&mut self, why: &Why, part: &Part) {
        self.take_back(Dropped::Replaced);
        for Draft { claim, .. } in std::mem::take(&mut self.state.drafts) {
            let mut unclear = Unclear {
                manner: Manner::awaited(why),
                ..Unclear::of(&claim, why.clone())
            };
            unclear.set_fitting(part.qualifiers.iter().copied());
            self.state.unclear.push_front(unclear);
        }
        self.advance();
    }

    fn answer_value(&mut self, unclear: &Unclear, part: Part) {
        let Some(valued) = part.value else {
            // How it was taken is remembered until the value is said.
            let mut unclear = unclear.clone();
            unclear.set_fitting(part.qualifiers);
            if part.taken.is_some() {
                // And when.
                unclear.taken = part.taken;
                if unclear.why == Why::BadTime {
                    unclear.why = Why::NoNumber;
                }
                return self.ask(Question::Value(unclear));
            }
            self.state.phase = Phase::Asking(Question::Value(unclear));
            return self.ask_again();
        };
        if unclear.why == Why::BadTime && part.taken.is_none() {
            return self.ask(Question::Value(unclear.clone()));
        }
        // "Ninety two on room air" is no pulse.
        let own = unclear.sign.qualifiers();
        if part.qualifiers.iter().any(|it| !own.contains(&it.kind())) {
            return self.unclear_part(Why::Gap, Vec::new());
        }
        let mut measurement = valued.measurement;
        for qualifier in unclear.qualifiers.iter().chain(part.qualifiers) {
            measurement = measurement.clone().with(qualifier).unwrap_or(measurement);
        }
        self.state.phase = Phase::Open;
        let claim = Claim {
            measurement,
            working: valued.working,
            device: valued.device,
            taken: part.taken.or(unclear.taken),
            words: part.words,
            confidence: part.confidence,
            by: part.by,
            rivals: part.rivals,
            sound: part.sound,
        };
        self.merge(claim, false, &[]);
        self.advance();
    }

    /// Gives a qualifier to the one draft that can have it. False when none
    /// can, or more than one.
    fn qualify(&mut self, qualifier: Qualifier) -> bool {
        let kind = qualifier.kind();
        let takes = |it: &Draft| it.sign().qualifiers().contains(&kind);
        let asked = match &self.state.phase {
            Phase::Asking(Question::Qualifier(at, asked)) if *asked == kind => Some(*at),
            _ => None,
        };
        let places: Vec<usize> = (0..self.state.drafts.len())
            .filter(|at| takes(&self.state.drafts[*at]))
            .collect();
        let at = match (asked, places.as_slice()) {
            (Some(at), _) => at,
            (None, [only]) => *only,
            _ => return false,
        };
        let Some(draft) = self.state.drafts.get_mut(at) else {
            return false;
        };
        match draft.claim.measurement.clone().with(qualifier) {
            Ok(measurement) => {
                draft.claim.measurement = measurement;
                true
            }
            Err(_) => false,
        }
    }
}

/// Whether what waits can't be right when this was said instead of it, after a "no" or not.
const fn puts_in_doubt(why: &Why, no: bool) -> bool {
    match why {
        Why::Arithmetic(_) | Why::ChairWeight(_) | Why::Impossible(_) => true,
        // How it was taken is asked for, and the systolic may stand.
        Why::NoDiastolic(_) | Why::PalpatedOver => false,
        _ => no,
    }
}
