//! "Wrong resident": what was kept here in this visit is of someone else. The
//! right resident is identified as ever, by name and birth date; what is to be
//! moved is read back; and a yes retracts it in the one record and keeps it in
//! the other.

use uuid::Uuid;

use super::Phase;
use super::rejudge::Said;
use super::turn::Turn;
use crate::facts::{Body, Dropped, MovedFrom, PutOff, ReadBack, Ready};
use crate::hearing::Heard;
use crate::residents::ResidentId;
use crate::speaking::wording;
use crate::understanding::{Order, Yes};
use crate::vitals::VitalSign;
use crate::vitals::rules::ToldWrong;

/// Readings kept for the wrong resident.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Moving {
    from: ResidentId,
    readings: Vec<Uuid>,
}

impl Moving {
    pub(super) const fn from(&self) -> &ResidentId {
        &self.from
    }

    pub(super) fn readings(&self) -> &[Uuid] {
        &self.readings
    }

    fn moves(&self) -> Vec<MovedFrom> {
        let each = self.readings.iter().map(|reading| MovedFrom {
            resident: self.from.clone(),
            reading: *reading,
        });
        each.collect()
    }
}

/// Readings that were read back to be moved.
#[derive(Debug, Clone, PartialEq)]
pub struct Move {
    moving: Moving,
    read_back: ReadBack,
}

impl Move {
    /// The resident in whose record they are.
    #[must_use]
    pub const fn from(&self) -> &ResidentId {
        &self.moving.from
    }

    /// What was read back.
    #[must_use]
    pub const fn read_back(&self) -> &ReadBack {
        &self.read_back
    }
}

impl Turn<'_> {
    pub(super) fn wrong_resident(&mut self) {
        if matches!(self.state.phase, Phase::Identify(_)) {
            return self.no();
        }
        let Some(resident) = self.resident() else {
            self.say_of_earlier_visits();
            return self.first_the_room();
        };
        self.drop_of_wrong_resident();
        if self.pending_says_first() || self.timers_say_first() {
            return;
        }
        let visit = self.state.visit;
        let here = self.own_kept().filter(|it| it.visit == visit);
        let (readings, signs): (Vec<Uuid>, Vec<VitalSign>) =
            here.map(|it| (it.id, it.sign())).unzip();
        self.drop_timers();
        self.state.rechecking = None;
        self.leave();
        if readings.is_empty() {
            self.say("Nothing was kept here in this visit.");
            self.say_of_earlier_visits();
            return self.say("Which room?");
        }
        let round = self.state.round;
        let is_here = |it: &PutOff| it.resident == resident.id && it.round == round;
        if self.state.put_off.iter().any(is_here) {
            self.say("What was noted as not taken is not moved: tell the nurse.");
        }
        self.state.moving = Some(Moving {
            from: resident.id.clone(),
            readings,
        });
        self.say(&format!(
            "To be moved from {}: {}. Of which room is the right resident?",
            resident.name,
            wording::names(&signs)
        ));
    }

    /// Only the visit that goes on is moved: of an earlier one, whoever called a resident by
    /// mistake and left again would be offered to move what is right.
    fn say_of_earlier_visits(&mut self) {
        let aide = self.state.staff.by().name;
        if self.state.kept.values().flatten().any(|it| it.by == aide) {
            self.say(
                "What you kept in a visit before is not moved. Go back to that resident and say scratch, and the vital sign; or tell the nurse.",
            );
        }
    }

    /// A yes to what waits would keep it with the wrong resident: it is let go, and said
    /// to be.
    fn drop_of_wrong_resident(&mut self) {
        let question = match &self.state.phase {
            Phase::Confirming(_) => None,
            Phase::Asking(question) => Some(question.clone()),
            Phase::ConfirmNotTaken(..) | Phase::ConfirmRemark(_) => return self.no(),
            _ => return,
        };
        if question.is_none() {
            self.take_back(Dropped::Scratched);
        }
        self.state.phase = Phase::Open;
        let names = self.abandoned(question.as_ref());
        self.say(&format!("Not kept: {names}."));
    }

    /// Reads back what is to be moved to the resident who was just identified.
    pub(super) fn offer_move(&mut self) {
        let (Some(moving), Some(to)) = (self.state.moving.take(), self.resident()) else {
            return;
        };
        let whose = self.who(&moving.from);
        if moving.from == to.id {
            return self.say(&format!("That is {whose} again. Nothing is moved."));
        }
        let kept = self.state.kept.get(&moving.from).into_iter().flatten();
        let kept = kept.filter(|it| moving.readings.contains(&it.id));
        let ready = kept.map(|it| Ready::moved(it.id, &it.record, it.reading()));
        let ready = ready.collect();
        let offer = self.new_id();
        let read_back = ReadBack::of(offer, to.id.clone(), ready);
        self.keep_as(
            offer,
            Body::Offered {
                resident: to.id.clone(),
                read_back: read_back.text().to_owned(),
                readings: read_back.measurements(),
                moves: moving.moves(),
                unfinished: None,
            },
        );
        self.prompt(&format!(
            "Move from {whose} to {}: {} Yes?",
            to.name,
            read_back.text()
        ));
        self.state.phase = Phase::ConfirmMove(Box::new(Move { moving, read_back }));
    }

    pub(super) fn move_confirmed(&mut self, offer: Move, yes: &Yes) {
        let Some(to) = self.resident() else {
            return;
        };
        let aide = self.state.staff.by().name;
        let kept = self.state.kept.get(&offer.moving.from);
        let own = kept.into_iter().flatten().filter(|it| it.by == aide);
        let own: Vec<Uuid> = own.map(|it| it.id).collect();
        if !offer.moving.readings.iter().all(|it| own.contains(it)) {
            // Another took over while it waited for a yes.
            self.refuse("Someone else kept that.");
            return self.move_dropped(offer, Dropped::No);
        }
        let Move { moving, read_back } = offer;
        let mut said: Vec<Said> = Vec::new();
        if let Some(from) = self.dialogue.home.resident(&moving.from) {
            for reading in moving.readings {
                said.push(self.retract_kept(from, reading, MovedFrom::WHY, ToldWrong::OfAnother));
            }
        }
        let mut raised = Vec::new();
        let mut last = None;
        for reading in read_back.confirm(yes, self.now, false) {
            let record = reading.record().clone();
            let id = self.keep(Body::Read(reading));
            raised.extend(self.judge(to, id, &record));
            last = Some(id);
        }
        raised.extend(last.and_then(|id| self.early_warning(to, id)));
        let whose = self.who(&moving.from);
        self.say(&format!("Moved from {whose} to {}.", to.name));
        // By the same words, now of another, it would be heard as both.
        if said.iter().any(|it| !it.withdrawn.is_empty()) {
            self.say("What was to be reported of it there no longer is.");
        }
        let told = said.into_iter().flat_map(|it| it.raised);
        let all: Vec<String> = told.chain(raised).collect();
        self.say_raised(&all);
    }

    /// The aide goes on without saying who the right resident is.
    pub(super) fn drop_move(&mut self) {
        if let Some(moving) = self.state.moving.take() {
            let whose = self.who(&moving.from);
            self.say(&format!("Nothing is moved: it stays with {whose}."));
        }
    }

    fn move_dropped(&mut self, offer: Move, why: Dropped) {
        self.keep(Body::Dropped {
            offer: offer.read_back.offer(),
            why,
            unfinished: false,
        });
        self.state.moving = Some(offer.moving);
        self.drop_move();
    }

    /// A no to a change or a move.
    pub(super) fn change_refused(&mut self) {
        match std::mem::replace(&mut self.state.phase, Phase::Open) {
            Phase::ConfirmMove(offer) => self.move_dropped(*offer, Dropped::No),
            _ => self.say("Nothing is changed."),
        }
    }

    /// "Scratch that" to a change or a move. True when there was one.
    pub(super) fn change_scratched(&mut self) -> bool {
        match std::mem::replace(&mut self.state.phase, Phase::Open) {
            Phase::ConfirmMove(offer) => self.move_dropped(*offer, Dropped::Scratched),
            Phase::ConfirmChange(_) | Phase::WhichKept(_) => self.say("Nothing is changed."),
            phase => {
                self.state.phase = phase;
                let moving = self.state.moving.is_some();
                self.drop_move();
                if moving {
                    self.say("Which room?");
                    self.state.phase = Phase::Place;
                }
                return moving;
            }
        }
        true
    }

    /// No answer to a change or a move. True when there was one.
    pub(super) fn change_unanswered(&mut self) -> bool {
        match &self.state.phase {
            Phase::ConfirmMove(offer) => {
                let offer = offer.read_back.clone();
                self.keep(Body::Unconfirmed {
                    offer: offer.offer(),
                    resident: offer.resident().clone(),
                    readings: offer.measurements(),
                });
                self.say("No answer.");
                if let Phase::ConfirmMove(offer) =
                    std::mem::replace(&mut self.state.phase, Phase::Open)
                {
                    self.state.moving = Some(offer.moving);
                }
                self.drop_move();
            }
            Phase::ConfirmChange(_) | Phase::WhichKept(_) => {
                self.state.phase = Phase::Open;
                self.say("No answer. Nothing is changed.");
            }
            _ => {
                if matches!(self.state.phase, Phase::Identify(_) | Phase::WhichBed(_)) {
                    self.drop_move();
                }
                return false;
            }
        }
        true
    }

    /// Does an order.
    pub(super) fn order(&mut self, order: Order, heard: &Heard) {
        match order {
            Order::Change { .. } | Order::ThatWas(_) | Order::Scratch(_) => {
                self.change(order, heard);
            }
            Order::Which(at) => self.which(at, heard.by),
            Order::Count {
                sign,
                seconds,
                ticks,
            } => self.start_count(sign, seconds, ticks),
            Order::Time {
                thermometer,
                seconds,
            } => self.start_wait(thermometer, seconds),
            Order::Recheck(sign) => self.recheck(sign, 0),
            Order::RecheckIn(sign, seconds) => self.recheck(sign, seconds),
        }
    }
}
