//! Who records. Staff sign on by touch, with a PIN that the room does not hear;
//! the voice then says who of them is recording. After a long silence it is
//! asked anew before anything is taken.

use chrono::Duration;

use super::turn::Turn;
use super::{Event, Phase};
use crate::facts::{Body, Time};
use crate::grammar::Command;
use crate::residents::Staff;
use crate::understanding::Utterance;

const ASK: &str = "Who is recording? Say this is, and your name.";
const SIGN_ON: &str = "Nobody is signed on. Sign on at the screen, with your PIN.";

/// Who is signed on, and who of them records.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct OnDuty {
    signed_on: Vec<Staff>,
    /// Who records, or did last.
    by: Option<Staff>,
    who: Who,
    /// The question that waited when the recorder was asked for.
    held: Option<String>,
    /// When something was understood last.
    heard_at: Time,
}

/// Whether it is known who records.
#[derive(Debug, Clone, PartialEq)]
enum Who {
    Known,
    /// Nothing is taken until someone says so.
    Asked,
    /// Read back, and waits for a yes. With whether someone else records until
    /// then.
    Offered(Staff, bool),
}

impl OnDuty {
    /// One who is alone records without being asked.
    pub(super) fn new(signed_on: Vec<Staff>, now: Time) -> Self {
        let (by, who) = match signed_on.as_slice() {
            [one] => (Some(one.clone()), Who::Known),
            _ => (None, Who::Asked),
        };
        Self {
            signed_on,
            by,
            who,
            held: None,
            heard_at: now,
        }
    }

    /// Everyone who is signed on.
    pub(super) fn signed_on(&self) -> &[Staff] {
        &self.signed_on
    }

    /// Who records, where that is known.
    pub(super) fn recorder(&self) -> Option<&Staff> {
        self.by.as_ref().filter(|_| self.is_known())
    }

    pub(super) fn is_known(&self) -> bool {
        self.who == Who::Known
    }

    /// Whether a yes or no is waited for.
    pub(super) fn is_offered(&self) -> bool {
        matches!(self.who, Who::Offered(..))
    }

    /// Who a fact is by. Nothing is stored before someone records.
    pub(super) fn by(&self) -> Staff {
        self.by.clone().unwrap_or_else(|| Staff {
            name: "nobody signed on".to_owned(),
            title: String::new(),
        })
    }
}

impl Turn<'_> {
    /// Whether what was understood is about who records, or may not be taken
    /// because that is not known; then it is answered here.
    pub(super) fn who_first(&mut self, utterance: &Utterance) -> bool {
        if let Utterance::Command(Command::Repeat | Command::StopListening) = utterance {
            return false;
        }
        match (self.state.staff.who.clone(), utterance) {
            (Who::Offered(staff, _), Utterance::Yes(_)) => self.records(staff),
            (Who::Offered(_, known), Utterance::No) => self.not_the_recorder(known, "Not noted."),
            (Who::Known, Utterance::ThisIs(phrase)) => {
                if !self.pending_says_first() {
                    self.this_is(phrase);
                }
            }
            (_, Utterance::ThisIs(phrase)) => self.this_is(phrase),
            (Who::Known, _) => return false,
            (Who::Offered(..), _) => self.ask_again(),
            (Who::Asked, _) => self.ask_who(),
        }
        true
    }

    fn this_is(&mut self, phrase: &str) {
        let found = self.dialogue.home.staff_called(phrase);
        let [staff] = found.as_slice() else {
            self.refuse("That fits more than one. Say this is badge, and the number.");
            return self.back_to_the_question();
        };
        let staff = (*staff).clone();
        if !self.state.staff.signed_on.contains(&staff) {
            self.refuse(&format!(
                "{} is not signed on. Sign on at the screen, with the PIN, and say it again.",
                staff.name
            ));
            return self.back_to_the_question();
        }
        if self.state.staff.recorder() == Some(&staff) {
            self.say(&format!("{} is recording.", staff.name));
            return self.back_to_the_question();
        }
        self.hold();
        self.prompt(&format!("{} recording. Yes?", staff.name));
        let known = match self.state.staff.who {
            Who::Known | Who::Offered(_, true) => true,
            Who::Asked | Who::Offered(_, false) => false,
        };
        self.state.staff.who = Who::Offered(staff, known);
    }

    /// From now on every fact is by this one.
    fn records(&mut self, staff: Staff) {
        let duty = &mut self.state.staff;
        (duty.by, duty.who) = (Some(staff), Who::Known);
        self.heard_now();
        if self.state.unopened.is_none() {
            self.keep(Body::Recorder);
            self.say("Noted.");
            self.say_sound_is_kept();
            // Who takes the round over takes its open reports over.
            self.say_open_reports();
        } else {
            self.open_round();
        }
        self.back_to_the_question();
    }

    fn not_the_recorder(&mut self, known: bool, say: &str) {
        self.say(say);
        if known {
            self.state.staff.who = Who::Known;
            self.say(&format!("{} is recording.", self.state.staff.by().name));
            return self.back_to_the_question();
        }
        self.state.staff.who = Who::Asked;
        self.ask_who();
    }

    /// No answer to who records.
    pub(super) fn nobody_answered(&mut self) {
        if let Who::Offered(_, known) = self.state.staff.who {
            self.not_the_recorder(known, "No answer.");
        }
    }

    pub(super) fn ask_who(&mut self) {
        let nobody = self.state.staff.signed_on.is_empty();
        self.refuse(if nobody { SIGN_ON } else { ASK });
    }

    /// Puts the question that waits aside, once.
    fn hold(&mut self) {
        let waits = self.state.staff.is_known() && self.waiting();
        if waits {
            self.state.staff.held = self.state.prompt.clone();
        }
    }

    /// What this turn asks waits until it is known who records.
    pub(super) fn who_before_that(&mut self) {
        if !self.state.staff.is_known() {
            self.state.staff.held = self.withdraw_prompt();
            self.back_to_the_question();
        }
    }

    /// Asks again what waits for an answer, where something does.
    fn back_to_the_question(&mut self) {
        if let Some(held) = self
            .state
            .staff
            .held
            .take_if(|_| self.state.staff.who == Who::Known)
        {
            self.prompt(&held);
        } else if self.waiting() {
            self.ask_again();
        } else if self.state.staff.who == Who::Asked {
            self.ask_who();
        } else if self.state.phase == Phase::Place && self.state.unopened.is_none() {
            self.say("Which room?");
        }
    }

    /// Someone signed on or off at the screen.
    pub(super) fn signed(&mut self, event: &Event) {
        match event {
            Event::SignedOn(staff) => self.signed_on(staff),
            Event::SignedOff(staff) => self.signed_off(staff),
            _ => {}
        }
    }

    fn signed_on(&mut self, staff: &Staff) {
        let duty = &mut self.state.staff;
        if !duty.signed_on.contains(staff) {
            duty.signed_on.push(staff.clone());
        }
        // The first of a shift is alone and needs no voice to say who it is.
        if duty.by.is_none() && duty.signed_on.len() == 1 {
            return self.records(staff.clone());
        }
        self.say(&format!("{} is signed on.", staff.name));
        self.back_to_the_question();
    }

    fn signed_off(&mut self, staff: &Staff) {
        let recorded = self.state.staff.recorder() == Some(staff);
        let offered = matches!(&self.state.staff.who, Who::Offered(it, _) if it == staff);
        self.state.staff.signed_on.retain(|it| it != staff);
        self.say(&format!("{} is signed off.", staff.name));
        if recorded || offered {
            self.say_open_reports();
            self.hold();
            self.state.staff.who = Who::Asked;
        }
        self.back_to_the_question();
    }

    /// Something was understood, or time has passed: after a long silence it is
    /// not known any more who is there.
    pub(super) fn notice_absence(&mut self) {
        let minutes = self.dialogue.home.bedside.ask_who_after;
        let gone = self.now - self.state.staff.heard_at >= Duration::minutes(minutes.into());
        if !gone || !self.state.staff.is_known() {
            return;
        }
        // What was read back so long ago must not be kept by whoever comes now,
        // and who is at which bedside is not known any more either.
        if matches!(
            self.state.phase,
            Phase::Confirming(_)
                | Phase::Asking(_)
                | Phase::ConfirmNotTaken(..)
                | Phase::ConfirmRemark(_)
                | Phase::ConfirmReport { .. }
                | Phase::WhySkip(_)
                | Phase::ConfirmSkip(_)
                | Phase::WhichKept(_)
                | Phase::ConfirmChange(_)
                | Phase::ConfirmMove(_)
        ) {
            self.give_up();
        }
        self.say_unclear_lost();
        self.drop_move();
        self.leave();
        self.state.staff.who = Who::Asked;
        if !self.state.asleep {
            self.say(&format!("Nothing was said for {minutes} minutes."));
            self.ask_who();
        }
    }

    pub(super) fn heard_now(&mut self) {
        self.state.staff.heard_at = self.now;
    }

    /// When a silence will have been a long one.
    pub(super) fn absent_at(&self) -> Option<Time> {
        let minutes = self.dialogue.home.bedside.ask_who_after;
        let known = self.state.staff.is_known();
        known.then_some(self.state.staff.heard_at + Duration::minutes(minutes.into()))
    }
}
