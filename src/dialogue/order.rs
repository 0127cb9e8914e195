//! The order of the round: on to who has something due, back, past, and who is
//! left. Being led, each vital sign that is due is asked for in turn.

use super::moved::Moving;
use super::state::Skip;
use super::turn::Turn;
use super::{Phase, Question};
use crate::residents::{Resident, ResidentId};
use crate::speaking::wording;
use crate::understanding::{Unclear, Why};
use crate::vitals::{NotTakenReason, Qualifiers, VitalSign};

/// So many residents are named by "who is left"; the others are counted.
const NAMED: usize = 4;

/// Where the round is.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Order {
    /// Who was identified, in turn.
    pub(super) visited: Vec<ResidentId>,
    /// Who was offered or named last: "next" goes on from there.
    pub(super) at: Option<ResidentId>,
    leading: bool,
    /// Left for later by the aide: asked for no more in this visit.
    pub(super) later: Vec<VitalSign>,
    /// The vital sign that was asked for in turn.
    pub(super) asked: Option<VitalSign>,
}

impl<'a> Turn<'a> {
    fn by_room(&self) -> Vec<&'a Resident> {
        let mut all: Vec<&Resident> = self.dialogue.home.residents.iter().collect();
        all.sort_by_key(|it| bed_order(it));
        all
    }

    /// Those with something due that was not put off.
    pub(super) fn left(&self) -> Vec<&'a Resident> {
        let mut left = self.by_room();
        left.retain(|it| !self.due(it).is_empty());
        left
    }

    /// Those with nothing due but what was put off.
    fn skipped(&self) -> Vec<&'a Resident> {
        let mut skipped = self.by_room();
        skipped.retain(|it| self.due(it).is_empty() && !self.due_or_put_off(it).is_empty());
        skipped
    }

    /// The same residents, beginning after the one that the round is at.
    fn onwards(&self, mut residents: Vec<&'a Resident>) -> Vec<&'a Resident> {
        let at = self.state.order.at.as_ref();
        if let Some(at) = at.and_then(|it| self.dialogue.home.resident(it)) {
            let passed = residents.partition_point(|it| bed_order(it) <= bed_order(at));
            residents.rotate_left(passed);
        }
        residents
    }

    /// Why something of this resident was put off last.
    fn why_skipped(&self, resident: &Resident) -> &str {
        let mut put_off = self.state.put_off.iter().rev();
        let last = put_off.find(|it| it.resident == resident.id);
        last.map_or("not taken", |it| it.reason.spoken())
    }

    pub(super) fn next(&mut self) {
        if self.pending_says_first() || self.timers_say_first() {
            return;
        }
        self.depart();
        self.go_on();
    }

    /// To the next resident who has something due; when there is none, to those
    /// who were skipped.
    fn go_on(&mut self) {
        self.leave();
        if let Some(next) = self.onwards(self.left()).first() {
            self.say(&format!("Next is {}.", place_of(next)));
            return self.identify(next);
        }
        let at = self.state.order.at.clone();
        let skipped = self.onwards(self.skipped());
        let others = skipped.iter().find(|it| Some(&it.id) != at.as_ref());
        if let Some(next) = others {
            let why = self.why_skipped(next).to_owned();
            let place = place_of(next);
            self.say(&format!("Only skipped ones are left: {place}, {why}."));
            return self.identify(next);
        }
        self.say("Nobody else is left.");
        self.say_skipped();
        self.say("Say end of round to finish.");
    }

    pub(super) fn back(&mut self) {
        if self.pending_says_first() || self.timers_say_first() {
            return;
        }
        // Readings that are to be moved away from someone are not that one's.
        let moving = self.state.moving.as_ref().map(Moving::from);
        let here = self.state.resident.as_ref().or(moving).cloned();
        let mut visited = self.state.order.visited.iter().rev();
        let before = visited.find(|it| Some(*it) != here.as_ref());
        let Some(before) = before.and_then(|it| self.dialogue.home.resident(it)) else {
            self.say("There is nobody to go back to.");
            if self.waiting() {
                self.ask_again();
            }
            return;
        };
        self.say_open_reports_here();
        self.leave();
        self.say(&format!("Back to {}.", place_of(before)));
        self.identify(before);
    }

    /// Past the resident who is recorded, or who was offered: all that is due
    /// there is noted as not taken, after a yes.
    pub(super) fn skip(&mut self, reason: Option<NotTakenReason>) {
        let target = match self.state.phase.clone() {
            Phase::WhySkip(id) | Phase::Identify(id) => Some(id),
            _ if self.pending_says_first() => return,
            _ => self.state.resident.clone(),
        };
        let resident = target.and_then(|id| self.dialogue.home.resident(&id));
        let Some(resident) = resident else {
            return self.first_the_room();
        };
        let mut signs = self.due(resident);
        if signs.is_empty() {
            // Offered again, and not taken again.
            signs = self.due_or_put_off(resident);
        }
        if signs.is_empty() {
            self.say(&format!("Nothing is due for {}.", resident.name));
            return self.go_on();
        }
        let Some(reason) = reason else {
            self.state.phase = Phase::WhySkip(resident.id.clone());
            return self
                .prompt("Why? Say refused, asleep, away, not safe, no equipment, or not taken.");
        };
        self.prompt(&format!(
            "Skip {}, {}: {}. Yes?",
            resident.name,
            why_and_when(&reason),
            wording::names(&signs)
        ));
        let resident = resident.id.clone();
        self.state.phase = Phase::ConfirmSkip(Skip {
            resident,
            signs,
            reason,
        });
    }

    pub(super) fn skip_confirmed(&mut self, skip: Skip) {
        self.note_not_taken(skip.resident, skip.signs, skip.reason);
        self.say_open_reports_here();
        self.go_on();
    }

    /// Nobody is skipped after all: back to where it was.
    pub(super) fn skip_dropped(&mut self, say: &str) {
        self.refuse(say);
        let (Phase::WhySkip(id) | Phase::ConfirmSkip(Skip { resident: id, .. })) =
            self.state.phase.clone()
        else {
            return;
        };
        self.state.phase = self.idle();
        if self.state.resident.is_none()
            && let Some(resident) = self.dialogue.home.resident(&id)
        {
            self.identify(resident);
        }
    }

    /// The round's overview.
    pub(super) fn who_is_left(&mut self) {
        let left = self.left();
        let named = |it: &&Resident| format!("{}, {}", it.name, place_of(it));
        let first: Vec<String> = left.iter().take(NAMED).map(named).collect();
        let more = left.len().saturating_sub(NAMED);
        self.say(&match (left.len(), more) {
            (0, _) => "Nobody is left.".to_owned(),
            (all, 0) => format!("{all} left: {}.", first.join("; ")),
            (all, more) => format!("{all} left: {}; and {more} more.", first.join("; ")),
        });
        self.say_skipped();
        if self.waiting() {
            self.ask_again();
        }
    }

    fn say_skipped(&mut self) {
        let each = self.skipped();
        let each = each.iter().map(|it| {
            let why = self.why_skipped(it);
            format!("{}, {}, {why}", it.name, place_of(it))
        });
        let skipped: Vec<String> = each.collect();
        if !skipped.is_empty() {
            self.say(&format!("Skipped: {}.", skipped.join("; ")));
        }
    }

    pub(super) fn lead(&mut self) {
        self.state.order.leading = true;
        self.say("I ask for each in turn. Say stop to end that.");
        if self.waiting() {
            self.ask_again();
        } else if self.state.resident.is_none() {
            self.say("Say next, or the room.");
        }
    }

    /// Whether "stop" would end anything.
    pub(super) fn is_anything_to_stop(&self) -> bool {
        self.counting()
            || self.state.guided.is_some()
            || !self.state.timers.is_empty()
            || self.state.order.leading
    }

    pub(super) fn stop_leading(&mut self) {
        if !std::mem::take(&mut self.state.order.leading) {
            return self.ask_again();
        }
        self.state.order.asked = None;
        self.say("I no longer ask.");
        if self.waiting() {
            self.ask_again();
        }
    }

    /// Being led, the first of what is due is asked for whenever something else
    /// is said and nothing waits. An aide who is measuring is not hurried.
    pub(super) fn ask_in_turn(&mut self) {
        self.state.order.asked = None;
        let free = self.state.phase == Phase::Open
            && self.state.guided.is_none()
            && !self.counting()
            && self.state.staff.is_known();
        let Some(resident) = self.resident() else {
            return;
        };
        if !self.state.order.leading || !free || self.state.asleep {
            return;
        }
        let due = self.due(resident);
        let later = &self.state.order.later;
        let next = due.iter().find(|it| !later.contains(it)).copied();
        self.state.order.asked = next;
        if !self.speaks() {
            return;
        }
        match next {
            Some(sign) => self.say(&format!("{}?", wording::capital(sign.name()))),
            None if !self.keeps() => {}
            None if due.is_empty() => self.say("Nothing more is due here. Say next."),
            None => {
                let names = wording::names(&due);
                self.say(&format!("Left for later: {names}. Say it now, or next."));
            }
        }
    }

    /// An answer without a name belongs to the vital sign asked for in turn.
    /// False when none was.
    pub(super) fn answers_in_turn(&mut self) -> bool {
        let Some(sign) = self.state.order.asked else {
            return false;
        };
        self.ask(Question::Value(Unclear {
            sign,
            why: Why::NoNumber,
            qualifiers: Qualifiers::default(),
            taken: None,
            manner: None,
        }));
        true
    }

    /// What "refused" alone is about: the vital sign that is asked for.
    pub(super) fn or_asked(&self, signs: Vec<VitalSign>) -> Vec<VitalSign> {
        match &self.state.phase {
            _ if !signs.is_empty() => signs,
            Phase::Open => self.state.order.asked.into_iter().collect(),
            Phase::Asking(Question::Value(unclear)) => vec![unclear.sign],
            _ => signs,
        }
    }
}

/// By room and bed, numbers in their order; "window" after them.
fn bed_order(resident: &Resident) -> [(u32, &str); 2] {
    let number = |label: &'_ str| label.parse().unwrap_or(u32::MAX);
    let (room, bed) = (
        resident.room.as_str(),
        resident.bed.as_deref().unwrap_or(""),
    );
    [(number(room), room), (number(bed), bed)]
}

/// "room four, bed two", digit by digit.
pub(super) fn place_of(resident: &Resident) -> String {
    let spoken = |label: &str| {
        label
            .parse()
            .map_or_else(|_| label.to_owned(), wording::digits)
    };
    let room = spoken(&resident.room);
    match &resident.bed {
        Some(bed) => format!("room {room}, bed {}", spoken(bed)),
        None => format!("room {room}"),
    }
}

/// "asleep, try again in six zero minutes".
pub(super) fn why_and_when(reason: &NotTakenReason) -> String {
    match reason.retry_after() {
        Some(after) => format!(
            "{}, try again in {} minutes",
            reason.spoken(),
            wording::digits(after.num_minutes().into())
        ),
        None => reason.spoken().to_owned(),
    }
}
