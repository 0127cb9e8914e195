//! Claims as they come in: drafts are completed, asked about and read back.

use super::state::{Draft, Offer};
use super::turn::Turn;
use super::{Phase, Question, time};
use crate::facts::{Body, Dropped, ReadBack, Ready};
use crate::speaking::wording;
use crate::understanding::{Claim, Part, Unclear, Why, Yes};
use crate::vitals::{CountError, Layer, Measurement, Qualifier, Rhythm, VitalSign, Working};

impl Turn<'_> {
    pub(super) fn readings(
        &mut self,
        yes: Option<&Yes>,
        claims: Vec<Claim>,
        unclear: Vec<Unclear>,
    ) {
        if let (Some(yes), Phase::Confirming(_)) = (yes, &self.state.phase) {
            self.yes(yes);
            // An unlikely value may now want its second look first.
            if matches!(self.state.phase, Phase::Confirming(_)) {
                return;
            }
        }
        match &self.state.phase {
            Phase::Place | Phase::WhichBed(_) | Phase::Identify(_) => {
                self.refuse("First the room, so that I know who it is.");
                return self.ask_again();
            }
            Phase::ConfirmNotTaken(..)
            | Phase::WhySkip(_)
            | Phase::ConfirmSkip(_)
            | Phase::ConfirmReport { .. }
            | Phase::WhichKept(_)
            | Phase::ConfirmChange(_)
            | Phase::ConfirmMove(_) => {
                self.pending_says_first();
                return;
            }
            Phase::Open | Phase::Asking(_) | Phase::Confirming(_) => {}
        }
        // Measured another way instead: the draft with the caution goes.
        if let Phase::Asking(Question::GoOn(at, _)) = self.state.phase {
            let sign = self.state.drafts.get(at).map(Draft::sign);
            if claims.iter().any(|it| Some(it.measurement.sign()) == sign) {
                self.state.drafts.remove(at);
            }
            self.state.phase = Phase::Open;
        }
        self.take_back(Dropped::Replaced);
        for claim in claims {
            self.forget_unclear(claim.measurement.sign());
            self.merge(claim);
        }
        for it in unclear {
            self.forget_unclear(it.sign);
            // What was said before of this vital sign is in doubt now.
            let sign = it.sign;
            self.state.drafts.retain(|draft| draft.sign() != sign);
            self.state.unclear.push_back(it);
        }
        self.advance();
    }

    /// An answer, or a change of what is pending.
    pub(super) fn part(&mut self, part: Part) {
        if self.stood(&part.qualifiers) {
            return;
        }
        if self.change_replaced(&part) || self.count_answered(&part) {
            return;
        }
        if self.state.phase == Phase::Open && !self.answers_in_turn() {
            return self.ask_again();
        }
        if let Some(why) = part.why {
            let again = match why {
                Why::Impossible(why) => format!("{}.", sentence(&why.to_string())),
                Why::Arithmetic(why) => format!("{}.", sentence(&why)),
                _ => "I missed part of that.".to_owned(),
            };
            self.say(&again);
            return match &self.state.phase {
                Phase::Asking(question @ Question::Value(_)) => self.ask(question.clone()),
                _ => self.ask_again(),
            };
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
        self.take_back(Dropped::Replaced);
        let mut doubtful = false;
        if let Some(valued) = part.value {
            let sign = valued.measurement.sign();
            self.in_vain([sign]);
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
        for qualifier in part.qualifiers {
            doubtful |= !self.qualify(qualifier);
        }
        if doubtful {
            self.prompt("I can't tell which reading that belongs to. Say its name and the value.");
            return self.correction();
        }
        self.advance();
    }

    fn answer_value(&mut self, unclear: &Unclear, part: Part) {
        let Some(valued) = part.value else {
            // How it was taken is remembered until the value is said.
            let mut unclear = unclear.clone();
            let own = unclear.sign.qualifiers();
            let fits = part.qualifiers.into_iter();
            let fits = fits.filter(|it| own.contains(&it.kind()));
            fits.for_each(|it| unclear.qualifiers.set(it));
            self.state.phase = Phase::Asking(Question::Value(unclear));
            return self.ask_again();
        };
        let mut measurement = valued.measurement;
        for qualifier in unclear.qualifiers.iter().chain(part.qualifiers) {
            measurement = measurement.clone().with(qualifier).unwrap_or(measurement);
        }
        self.state.phase = Phase::Open;
        self.merge(Claim {
            measurement,
            working: valued.working,
            device: valued.device,
            taken: unclear.taken,
            words: part.words,
            confidence: part.confidence,
            by: part.by,
            rivals: part.rivals,
            sound: part.sound,
        });
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

    /// Adds a claim, or puts it in the place of one that it replaces: the same
    /// vital sign taken the same way. Qualifiers said before stay unless said
    /// again.
    fn merge(&mut self, claim: Claim) {
        let replaces = |old: &Draft| {
            let (old, new) = (&old.claim.measurement, &claim.measurement);
            let same = |it: Qualifier| old.qualifiers().get(it.kind()).is_none_or(|was| was == it);
            old.sign() == new.sign()
                && (old.sign() != VitalSign::BloodPressure || new.qualifiers().iter().all(same))
        };
        let spoken_at = self.now;
        let Some(at) = self.state.drafts.iter().position(replaces) else {
            let mut draft = Draft {
                claim,
                spoken_at,
                went_on: Vec::new(),
            };
            self.assume_position(&mut draft);
            draft.claim.measurement = self.assume_same_way(draft.claim.measurement);
            self.assume_usual(&mut draft);
            return self.state.drafts.push(draft);
        };
        let old = self.state.drafts[at].claim.clone();
        let mut claim = claim;
        claim.taken = claim.taken.or(old.taken);
        for qualifier in old.measurement.qualifiers().iter() {
            if claim
                .measurement
                .qualifiers()
                .get(qualifier.kind())
                .is_none()
                && let Ok(measurement) = claim.measurement.clone().with(qualifier)
            {
                claim.measurement = measurement;
            }
        }
        if claim.measurement.value() != old.measurement.value() {
            self.in_vain([claim.measurement.sign()]);
        }
        let draft = &mut self.state.drafts[at];
        (draft.claim, draft.spoken_at) = (claim, spoken_at);
    }

    pub(super) fn forget_unclear(&mut self, sign: VitalSign) {
        self.state.unclear.retain(|it| it.sign != sign);
        if matches!(&self.state.phase, Phase::Asking(Question::Value(it)) if it.sign == sign) {
            self.state.phase = Phase::Open;
        }
    }

    /// Takes an offer back into drafts, to be changed; the record says why.
    pub(super) fn take_back(&mut self, why: Dropped) {
        let phase = std::mem::replace(&mut self.state.phase, Phase::Open);
        match phase {
            Phase::Confirming(offer) => {
                let offer = offer.read_back;
                self.keep(Body::Dropped {
                    offer: offer.offer(),
                    why,
                });
                let claims = offer.into_claims().into_iter();
                let draft = |(claim, spoken_at, went_on)| Draft {
                    claim,
                    spoken_at,
                    went_on,
                };
                self.state.drafts = claims.map(draft).collect();
            }
            // A question about a value stays to be asked unless it is answered.
            Phase::Asking(Question::Value(unclear)) => {
                self.state.unclear.push_front(unclear);
            }
            other => self.state.phase = other,
        }
    }

    /// The next step with what is pending: ask for what is missing, then read
    /// back, then ask for what was not clear.
    pub(super) fn advance(&mut self) {
        let missing = self.state.drafts.iter().enumerate().find_map(|(at, it)| {
            let measurement = &it.claim.measurement;
            let missing = measurement.qualifiers().missing(measurement.sign());
            missing.first().map(|kind| (at, *kind))
        });
        if let Some((at, kind)) = missing {
            return self.ask(Question::Qualifier(at, kind));
        }
        self.recount();
        if let Some((at, caution)) = self.caution_pending() {
            let kind = caution.kind;
            self.state.phase = Phase::Asking(Question::GoOn(at, kind));
            let say = wording::spelled(&caution.say);
            return self.prompt(&format!(
                "{say} Say because, and a reason, to go on; or measure another way."
            ));
        }
        if !self.state.drafts.is_empty() {
            return self.read_back();
        }
        match self.state.unclear.pop_front() {
            Some(unclear) => self.ask(Question::Value(unclear)),
            None => self.state.phase = Phase::Open,
        }
    }

    /// A count over part of a minute is no rate once the rhythm turns out to be
    /// irregular: it is asked for again.
    fn recount(&mut self) {
        let irregular = Qualifier::Rhythm(Rhythm::Irregular);
        let short = |it: &Draft| {
            let counted =
                matches!(it.claim.working, Some(Working::Counted { seconds, .. }) if seconds < 60);
            counted
                && it
                    .claim
                    .measurement
                    .qualifiers()
                    .iter()
                    .any(|it| it == irregular)
        };
        while let Some(at) = self.state.drafts.iter().position(short) {
            let Draft { claim, .. } = self.state.drafts.remove(at);
            let sign = claim.measurement.sign();
            self.state.unclear.push_back(Unclear {
                sign,
                why: Why::Arithmetic(CountError::NeedsFullMinute { sign }.to_string()),
                qualifiers: claim.measurement.qualifiers().clone(),
                taken: claim.taken,
            });
        }
    }

    pub(super) fn ask(&mut self, question: Question) {
        let text = match &question {
            Question::Qualifier(at, kind) => {
                let draft = self.state.drafts.get(*at);
                let name = draft.map_or("", |it| it.sign().name());
                format!("{}: {}", wording::capital(name), kind.question())
            }
            Question::Value(unclear) => {
                if let Why::Gap | Why::Unsure(_) | Why::NotANumber(_) | Why::Either(_) = unclear.why
                {
                    self.in_vain([unclear.sign]);
                }
                ask_value(unclear, self.is_hard(&[unclear.sign]))
            }
            Question::GoOn(..) => return self.ask_again(),
            Question::Correction => "Say the name and the right value.".to_owned(),
        };
        self.state.phase = Phase::Asking(question);
        self.prompt(&text);
    }

    /// Asks for the right value of one of the drafts.
    pub(super) fn correction(&mut self) {
        self.take_back(Dropped::Replaced);
        self.state.phase = Phase::Asking(Question::Correction);
    }

    fn read_back(&mut self) {
        let Some(resident) = self.state.resident.clone() else {
            return;
        };
        let mut ready = Vec::new();
        for draft in std::mem::take(&mut self.state.drafts) {
            let Draft {
                claim,
                spoken_at,
                went_on,
            } = draft;
            let Some(measured_at) = time::measured_at(claim.taken, spoken_at) else {
                self.state.unclear.push_back(Unclear {
                    sign: claim.measurement.sign(),
                    why: Why::BadTime,
                    qualifiers: claim.measurement.qualifiers().clone(),
                    taken: None,
                });
                continue;
            };
            // Nothing is missing: advance() has seen to it.
            ready.extend(Ready::new(claim, measured_at, spoken_at, went_on));
        }
        if ready.is_empty() {
            return self.advance();
        }
        let offer = self.new_id();
        let read_back = ReadBack::of(offer, resident.clone(), ready);
        self.keep_as(
            offer,
            Body::Offered {
                resident,
                read_back: read_back.text().to_owned(),
                readings: read_back.measurements(),
            },
        );
        self.prompt(&format!("{} Yes?", read_back.text()));
        self.state.phase = Phase::Confirming(Box::new(Offer {
            read_back,
            second_look: false,
        }));
    }

    /// The readings of an offer that are far from the usual.
    pub(super) fn unlikely(&self, offer: &ReadBack) -> Vec<Measurement> {
        let Some(resident) = self.resident() else {
            return Vec::new();
        };
        let far = |it: &Measurement| {
            let mut findings = resident.limits.judge_on(it, self.now).into_iter();
            findings.any(|finding| finding.layer == Layer::Unlikely)
        };
        offer.measurements().into_iter().filter(far).collect()
    }
}

/// `hard` for one that was said in vain again and again.
fn ask_value(unclear: &Unclear, hard: bool) -> String {
    let name = unclear.sign.name();
    let how = if hard { ", digit by digit" } else { "" };
    match &unclear.why {
        Why::Gap | Why::Unsure(_) => {
            format!("I missed part of the {name}. Say the {name} again{how}.")
        }
        Why::NoNumber => format!("What is the {name}?"),
        Why::NotANumber(_) => {
            format!("I could not make a {name} of that. Say the {name} again{how}.")
        }
        Why::Either(ways) => {
            let ways: Vec<String> = ways.iter().map(wording::measurement).collect();
            format!("{}? Say the {name} again{how}.", ways.join(", or "))
        }
        Why::Impossible(why) => format!("{}. Say the {name} again.", sentence(&why.to_string())),
        Why::Arithmetic(why) => format!("{}. Say the {name} again.", sentence(why)),
        Why::TwoQualifiers(a, b) => format!(
            "{} and {} can't both be. Say the {name} again.",
            wording::capital(a.spoken()),
            b.spoken()
        ),
        Why::Counted(_) => format!("{}: how many?", wording::capital(name)),
        Why::BadTime => {
            format!("That time can't be. Say the {name} again, with when it was taken.")
        }
    }
}

fn sentence(text: &str) -> String {
    wording::capital(&wording::spelled(text))
}
