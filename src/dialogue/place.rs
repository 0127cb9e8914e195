//! Who is it: room and bed in, name and birth date back, and nothing before a
//! yes. Two identifiers before anything is recorded: Joint Commission,
//! NPSG.01.01.01.

use super::order::place_of;
use super::turn::Turn;
use super::{Phase, Question};
use crate::facts::Body;
use crate::residents::{Resident, ResidentId};
use crate::speaking::wording;
use crate::understanding::{Place, Yes};

impl Turn<'_> {
    pub(super) fn place(&mut self, place: &Place) {
        if self.pending_says_first() || self.timers_say_first() {
            return;
        }
        let room = match (&place.room, &self.state.phase) {
            (Some(room), _) | (None, Phase::WhichBed(room)) => room.clone(),
            // The other bed of the room that was said, or where the aide is, or was last.
            (None, phase) => {
                let here = match phase {
                    Phase::Identify(id) => Some(id),
                    _ => self.state.resident.as_ref(),
                };
                let here = here.or(self.state.order.at.as_ref());
                match here.and_then(|id| self.dialogue.home.resident(id)) {
                    Some(it) => it.room.clone(),
                    None => return self.say("Which room?"),
                }
            }
        };
        self.say_open_reports_here();
        let home = &self.dialogue.home;
        let found: Vec<&Resident> = home.in_bed(&room, place.bed.as_deref()).collect();
        let spoken = spell(&room);
        match found.as_slice() {
            [] if home.in_room(&room).next().is_none() => {
                self.leave();
                self.say(&format!(
                    "There is no room {spoken} on the list. Which room?"
                ));
            }
            [] => {
                self.state.phase = Phase::WhichBed(room);
                self.prompt(&format!("Room {spoken} has no such bed. Which bed?"));
            }
            [one] => {
                self.leave();
                self.identify(one);
            }
            _ => {
                self.leave();
                self.state.phase = Phase::WhichBed(room);
                self.prompt(&format!("Room {spoken} has more than one bed. Which bed?"));
            }
        }
    }

    /// Nothing is taken before it is known for whom.
    pub(super) fn first_the_room(&mut self) {
        self.refuse("First the room, so that I know who it is.");
        if self.waiting() {
            return self.ask_again();
        }
        self.say("Which room?");
        self.keep_last_said();
    }

    /// A resident called by name, or by the spoken alias.
    pub(super) fn called(&mut self, phrase: &str, alone: bool) {
        let fits = self.dialogue.home.called(phrase);
        if let ([one], Some(here)) = (fits.as_slice(), self.resident())
            && one.id == here.id
        {
            self.say(&format!("This is {}.", here.name));
            if !alone {
                self.say("Say the reading without the name.");
            }
            if self.waiting() {
                self.ask_again();
            }
            return;
        }
        if self.pending_says_first() || self.timers_say_first() {
            return;
        }
        self.say_open_reports_here();
        self.leave();
        match fits.as_slice() {
            [one] => self.identify(one),
            several => {
                let places: Vec<String> = several.iter().map(|it| place_of(it)).collect();
                let places = places.join(", or ");
                self.say(&format!("That name fits {places}. Which room?"));
            }
        }
    }

    pub(super) fn identify(&mut self, resident: &Resident) {
        let born = wording::birth_date(resident.birth_date);
        self.state.phase = Phase::Identify(resident.id.clone());
        self.state.order.at = Some(resident.id.clone());
        let alerts = self.dialogue.home.name_alerts(resident).into_iter();
        let alerts: Vec<String> = alerts
            .map(|it| format!("{} in {}", it.name, place_of(it)))
            .collect();
        let alert = if alerts.is_empty() {
            String::new()
        } else {
            format!("Name alert: not {}. ", alerts.join(", nor "))
        };
        self.prompt(&format!(
            "{}, {born}. {alert}Check the wristband. Yes?",
            resident.name
        ));
    }

    pub(super) fn identified(&mut self, id: ResidentId, _yes: &Yes) {
        let Some(resident) = self.dialogue.home.resident(&id) else {
            return self.leave();
        };
        self.keep(Body::Identified {
            resident: id.clone(),
            name: resident.name.clone(),
            birth_date: resident.birth_date,
        });
        self.state.order.visited.push(id.clone());
        self.state.resident = Some(id);
        self.state.phase = Phase::Open;
        self.say(&format!("Ready for {}.", resident.name));
        self.say_rechecks();
        self.say_cautions();
        self.say_open_reports_here();
        self.take_up_rechecks();
        self.state.visit += 1;
        // The round goes on, and its end is to be asked for anew.
        self.state.end_asked = false;
        self.offer_move();
    }

    /// Leaves the resident; nothing may be pending.
    pub(super) fn leave(&mut self) {
        self.drop_remarks();
        self.leave_rechecks();
        self.state.resident = None;
        self.state.in_vain.clear();
        self.state.far.clear();
        self.state.drafts.clear();
        self.state.unclear.clear();
        self.state.guided = None;
        self.state.order.later.clear();
        self.drop_timers();
        self.state.phase = Phase::Place;
    }

    /// Moving on with something pending says so first. True when it did. A
    /// question about a value that was never clear is let go, and said to be.
    pub(super) fn pending_says_first(&mut self) -> bool {
        // One reading that was refused is not kept anyhow.
        let refused = Phase::Asking(Question::Correction { refused: true });
        let refused = self.state.phase == refused && self.state.drafts.len() == 1;
        if let Phase::Asking(question) = &self.state.phase
            && (self.state.drafts.is_empty() || refused)
        {
            let question = question.clone();
            self.state.phase = self.idle();
            let names = self.abandoned(Some(&question));
            self.say(&format!("Not kept: {names}."));
            return false;
        }
        let pending = match &self.state.phase {
            Phase::Confirming(_)
            | Phase::ConfirmNotTaken(..)
            | Phase::ConfirmRemark(_)
            | Phase::ConfirmSkip(_)
            | Phase::ConfirmReport { .. }
            | Phase::ConfirmChange(_)
            | Phase::ConfirmMove(_) => "This still waits for your yes or no.",
            Phase::WhySkip(_) | Phase::Asking(_) | Phase::WhichKept(_) => {
                "This is not settled yet."
            }
            Phase::Place | Phase::WhichBed(_) | Phase::Identify(_) | Phase::Open => return false,
        };
        self.refuse(pending);
        self.ask_again();
        true
    }
}

/// A room label digit by digit.
fn spell(room: &str) -> String {
    room.parse()
        .map_or_else(|_| room.to_owned(), wording::digits)
}
