//! Claims as they come in: drafts are completed, asked about and read back.

use super::asking::ask_value;
use super::rate::rate_not_count;
use super::recheck::how;
use super::state::{Draft, Offer};
use super::time::{self, NoTime};
use super::turn::Turn;
use super::{Phase, Question};
use crate::facts::{Body, Dropped, ReadBack, Ready};
use crate::speaking::wording;
use crate::understanding::{Claim, Unclear, Why, Yes};
use crate::vitals::{Measurement, Qualifier, Qualifiers, VitalSign, short_count};

impl Turn<'_> {
    pub(super) fn readings(
        &mut self,
        yes: Option<&Yes>,
        no: bool,
        mut claims: Vec<Claim>,
        mut unclear: Vec<Unclear>,
    ) {
        if let Some(yes) = yes
            && self.yes_first(yes, &mut claims, &unclear)
        {
            return;
        }
        match &self.state.phase {
            Phase::Place | Phase::WhichBed(_) | Phase::Identify(_) => {
                return self.first_the_room();
            }
            Phase::ConfirmNotTaken(..)
            | Phase::ConfirmRemark(_)
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
        let cautioned = matches!(self.state.phase, Phase::Asking(Question::GoOn(..)));
        // Measured another way instead: the draft with the caution goes. Another value alone
        // was taken the same way, and the caution stands.
        if let Phase::Asking(Question::GoOn(at, _)) = self.state.phase {
            let waits = self.state.drafts.get(at);
            let waits = waits.map(|it| it.claim.measurement.clone());
            let another = |it: &Claim| {
                let waits = waits.as_ref();
                waits.is_some_and(|waits| is_another_way(waits, &it.measurement) == Some(true))
            };
            if claims.iter().any(another) {
                self.state.drafts.remove(at);
            }
            self.state.phase = Phase::Open;
        }
        let asked = Phase::Asking(Question::Correction { refused: true });
        let refused = no || self.state.phase == asked;
        let instead = no && claims.is_empty() && self.names_another(&unclear);
        self.take_back(Dropped::Replaced);
        if instead {
            return self.ask_instead(unclear);
        }
        let said = signs_of(&claims, &unclear);
        let others = !self.state.drafts.iter().any(|it| said.contains(&it.sign()));
        let refused = if refused && others {
            std::mem::take(&mut self.state.drafts)
        } else {
            Vec::new()
        };
        if let Some(sign) = claims.iter().find_map(|it| self.several(it)) {
            let others: Vec<VitalSign> = said.into_iter().filter(|it| *it != sign).collect();
            self.say_later(&others);
            return self.which_of_several(sign);
        }
        let mut now = Vec::new();
        for claim in claims {
            if claim.taken.is_none() && self.lacks_its_time(claim.measurement.sign()) {
                unclear.push(untimed(&claim));
                continue;
            }
            self.forget_unclear(claim.measurement.sign(), claim.measurement.qualifiers());
            let at = self.merge(claim, no, &now);
            now.push(at);
        }
        if cautioned && let Some((at, _)) = self.caution_pending() {
            let waits = self.state.drafts[at].sign();
            let others = now.iter().map(|at| self.state.drafts[*at].sign());
            let others: Vec<VitalSign> = others.filter(|it| *it != waits).collect();
            self.say_read_back_later(&others);
        }
        let asked: Vec<VitalSign> = unclear.iter().map(|it| it.sign).collect();
        for mut it in unclear {
            self.forget_unclear(it.sign, &it.qualifiers);
            self.drop_doubtful(&mut it, no);
            self.state.unclear.push_back(it);
        }
        self.say_asked_later(&asked);
        self.ask_for_refused(&refused);
        self.advance();
    }

    /// What was said before of a vital sign that is not clear is in doubt now: what the
    /// unclear one would replace, as in [`merge`](Self::merge). The other arm is not. How it
    /// was taken stays, where nothing else was said of it.
    fn drop_doubtful(&mut self, unclear: &mut Unclear, no: bool) {
        let (sign, now) = (unclear.sign, self.now);
        let of_sign = self.state.drafts.iter().filter(|it| it.sign() == sign);
        let any_way = of_sign.count() == 1 && (no || sign != VitalSign::BloodPressure);
        let stays = |it: &mut Draft| {
            let another = differ(it.claim.measurement.qualifiers(), &unclear.qualifiers);
            it.sign() != sign || (another && (it.spoken_at == now || !any_way))
        };
        let doubtful = self.state.drafts.extract_if(.., |it| !stays(it));
        let doubtful: Vec<Draft> = doubtful.collect();
        if let [Draft { claim, .. }] = doubtful.as_slice() {
            unclear.take_from(claim);
        }
    }

    /// A yes before readings, to what was read back. True when there is nothing more to do
    /// with the readings; what was only said again is taken out of them.
    fn yes_first(&mut self, yes: &Yes, claims: &mut Vec<Claim>, unclear: &[Unclear]) -> bool {
        let Phase::Confirming(offer) = &self.state.phase else {
            return false;
        };
        let offered = offer.read_back.measurements();
        let of_offered = |claim: &Claim, same: bool| {
            let new = &claim.measurement;
            offered.iter().any(|was| {
                is_another_way(was, new) == Some(false) && (was.value() == new.value()) == same
            })
        };
        // With another value after it, that was no yes.
        if claims.iter().any(|it| of_offered(it, false)) {
            return false;
        }
        claims.retain(|it| !of_offered(it, true));
        self.yes(yes);
        // An unlikely value may now want its second look first.
        if matches!(self.state.phase, Phase::Confirming(_)) {
            self.say_later(&signs_of(claims, unclear));
            return true;
        }
        claims.is_empty() && unclear.is_empty()
    }

    /// The vital sign of a claim that may replace more than one draft. Of those that were
    /// taken in one way only the first stays.
    fn several(&mut self, claim: &Claim) -> Option<VitalSign> {
        let fits =
            |it: &&Draft| is_another_way(&it.claim.measurement, &claim.measurement) == Some(false);
        let fitting: Vec<&Draft> = self.state.drafts.iter().filter(fits).collect();
        let (first, others) = fitting.split_first()?;
        let way = first.claim.measurement.qualifiers().clone();
        if others
            .iter()
            .any(|it| *it.claim.measurement.qualifiers() != way)
        {
            return Some(claim.measurement.sign());
        }
        let sign = claim.measurement.sign();
        let mut kept = false;
        self.state.drafts.retain(|it| {
            let fits = it.sign() == sign && *it.claim.measurement.qualifiers() == way;
            !fits || !std::mem::replace(&mut kept, true)
        });
        None
    }

    pub(super) fn which_of_several(&mut self, sign: VitalSign) {
        let name = sign.name();
        self.prompt(&format!(
            "Which {name}? Say {name}, how it was taken, and the value."
        ));
        self.correction();
    }

    /// Adds a claim, or puts it in the place of one that it replaces, and says where it is.
    /// Qualifiers said before stay unless said again. After a no it replaces its vital
    /// sign; otherwise one that was taken another way is another reading, where several are
    /// usual or waiting. What was said in the same breath, `now`, is only said again.
    pub(super) fn merge(&mut self, claim: Claim, no: bool, now: &[usize]) -> usize {
        let new = &claim.measurement;
        let drafts = &self.state.drafts;
        let of_sign = drafts.iter().filter(|it| it.sign() == new.sign()).count();
        let any_way = of_sign == 1 && (no || new.sign() != VitalSign::BloodPressure);
        let replaces = |(at, old): (usize, &Draft)| {
            let old = &old.claim.measurement;
            match is_another_way(old, new) {
                None => false,
                Some(another) if now.contains(&at) => !another && old.value() == new.value(),
                Some(another) => any_way || !another,
            }
        };
        let spoken_at = self.now;
        let Some(at) = drafts.iter().enumerate().position(replaces) else {
            let mut draft = Draft {
                claim,
                spoken_at,
                went_on: Vec::new(),
            };
            self.assume_position(&mut draft);
            draft.claim.measurement = self.assume_same_way(draft.claim.measurement);
            self.assume_usual(&mut draft);
            self.state.drafts.push(draft);
            return self.state.drafts.len() - 1;
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
        at
    }

    /// Whether a vital sign is asked for with its time, which could not be.
    fn lacks_its_time(&self, sign: VitalSign) -> bool {
        let mut unclear = self.state.unclear.iter();
        unclear.any(|it| it.sign == sign && it.why == Why::BadTime)
    }

    /// The first question about a vital sign that was taken in this way is answered.
    pub(super) fn forget_unclear(&mut self, sign: VitalSign, how: &Qualifiers) {
        let answered = |it: &Unclear| it.sign == sign && !differ(&it.qualifiers, how);
        let first = self.state.unclear.iter().position(answered);
        first.map(|at| self.state.unclear.remove(at));
        if matches!(&self.state.phase, Phase::Asking(Question::Value(it)) if answered(it)) {
            self.state.phase = Phase::Open;
        }
    }

    /// Takes an offer back into drafts, to be changed; the record says why.
    pub(super) fn take_back(&mut self, why: Dropped) {
        let phase = std::mem::replace(&mut self.state.phase, Phase::Open);
        match phase {
            Phase::Confirming(offer) => {
                // "Measure again and say it" is answered now, whenever the first was taken.
                let anew = if offer.second_look {
                    self.unlikely(&offer.read_back)
                } else {
                    Vec::new()
                };
                self.state.far.extend(anew.iter().cloned());
                let offer = offer.read_back;
                self.keep(Body::Dropped {
                    offer: offer.offer(),
                    why,
                    unfinished: false,
                });
                let claims = offer.into_claims().into_iter();
                let draft = |(mut claim, spoken_at, went_on): (Claim, _, _)| {
                    if anew.contains(&claim.measurement) {
                        claim.taken = None;
                    }
                    Draft {
                        claim,
                        spoken_at,
                        went_on,
                    }
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
            Some(Unclear {
                sign,
                why: Why::NotTaken(reason),
                ..
            }) => self.offer_not_taken(vec![sign], reason),
            Some(unclear) => self.ask(Question::Value(unclear)),
            None => self.state.phase = Phase::Open,
        }
    }

    /// A count over part of a minute is no rate once the rhythm turns out to be
    /// irregular: it is asked for again.
    fn recount(&mut self) {
        self.state.drafts.retain(|Draft { claim, .. }| {
            let short = short_count(&claim.measurement, claim.working);
            if let Some(why) = short {
                self.state.unclear.push_back(Unclear {
                    manner: None,
                    ..Unclear::of(claim, Why::Arithmetic(why.to_string()))
                });
            }
            short.is_none()
        });
    }

    pub(super) fn ask(&mut self, question: Question) {
        let text = match &question {
            Question::Qualifier(at, kind) => {
                let name = self.named_apart(*at);
                format!("{}: {}", wording::capital(&name), kind.question())
            }
            Question::Value(unclear) => {
                if matches!(
                    unclear.why,
                    Why::Gap
                        | Why::Cut
                        | Why::Unsure(_)
                        | Why::NotANumber(_)
                        | Why::OnlySystolic { .. }
                        | Why::Either(_)
                ) {
                    self.in_vain([unclear.sign]);
                }
                ask_value(unclear, self.is_hard(&[unclear.sign]))
            }
            Question::GoOn(..) => return self.ask_again(),
            Question::Correction { .. } => "Say the name and the right value.".to_owned(),
        };
        self.state.phase = Phase::Asking(question);
        self.prompt(&text);
    }

    /// The vital sign of a draft; with how it was taken, where another of it waits.
    fn named_apart(&self, at: usize) -> String {
        let Some(draft) = self.state.drafts.get(at) else {
            return String::new();
        };
        let sign = draft.sign();
        let of_sign = self.state.drafts.iter().filter(|it| it.sign() == sign);
        let how = if of_sign.count() > 1 {
            how(draft.claim.measurement.qualifiers(), sign)
        } else {
            String::new()
        };
        format!("{}{how}", sign.name())
    }

    /// Asks for the right value of one of the drafts.
    pub(super) fn correction(&mut self) {
        self.take_back(Dropped::Replaced);
        self.state.phase = Phase::Asking(Question::Correction { refused: false });
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
            let at = time::measured_at(claim.taken, spoken_at, &self.offsets());
            let measured_at = match at {
                Ok(at) => at,
                Err(why) => {
                    if why == NoTime::Skipped {
                        self.say("The clocks skipped that time.");
                    }
                    self.state.unclear.push_back(untimed(&claim));
                    continue;
                }
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
                moves: Vec::new(),
                unfinished: None,
            },
        );
        let instead_of_count = self.instead_of_count(&read_back);
        let rate = instead_of_count.map(rate_not_count).unwrap_or_default();
        // The second look has been had: the yes to this one keeps it.
        let second_look = self.is_far_again(&self.unlikely(&read_back));
        let (far, keep) = if second_look {
            ("Second far reading. ", " to keep it")
        } else {
            ("", "")
        };
        self.prompt(&format!("{far}{rate}{} Yes{keep}?", read_back.text()));
        self.state.phase = Phase::Confirming(Box::new(Offer {
            read_back,
            second_look,
            instead_of_count,
        }));
    }
}

fn signs_of(claims: &[Claim], unclear: &[Unclear]) -> Vec<VitalSign> {
    let clear = claims.iter().map(|it| it.measurement.sign());
    clear.chain(unclear.iter().map(|it| it.sign)).collect()
}

/// A late entry whose time is asked for: it was not measured just now.
fn untimed(claim: &Claim) -> Unclear {
    Unclear {
        taken: None,
        ..Unclear::of(claim, Why::BadTime)
    }
}

/// Whether a reading was taken another way than one that waits, by what was said of it.
/// None for another vital sign.
fn is_another_way(waits: &Measurement, new: &Measurement) -> Option<bool> {
    (waits.sign() == new.sign()).then(|| differ(waits.qualifiers(), new.qualifiers()))
}

/// Whether two ways of measuring can't be the same one.
fn differ(was: &Qualifiers, new: &Qualifiers) -> bool {
    let other = |it: Qualifier| was.get(it.kind()).is_some_and(|was| was != it);
    new.iter().any(other)
}
