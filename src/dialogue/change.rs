//! Corrections by voice of what was kept in this round: another value, another
//! qualifier, or taken back. Each is read back and waits for a yes; what was
//! recorded stays visible. What another aide or an earlier round kept is for the
//! nurse to correct.

use uuid::Uuid;

use super::Phase;
use super::Question;
use super::asking::sentence;
use super::kept::KeptHere;
use super::state::Draft;
use super::turn::Turn;
use crate::facts::Dropped;
use crate::hearing::{By, Heard};
use crate::speaking::wording;
use crate::understanding::{Manner, Order, Part, Unclear, Yes};
use crate::vitals::rules::ToldWrong;
use crate::vitals::{Measurement, Qualifier, VitalSign, Working, short_count};

/// A change of a kept reading, read back.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    pub(super) reading: Uuid,
    pub(super) was: Measurement,
    /// What it is to be; none when it is taken back.
    pub(super) to: Option<Measurement>,
    /// How that was worked out, where it was.
    pub(super) working: Option<Working>,
    /// What the aide said, for the record.
    pub(super) words: String,
    /// How any of it was given.
    by: By,
    /// An unlikely value has been asked about once more.
    second_look: bool,
}

impl Change {
    pub(super) const fn sign(&self) -> VitalSign {
        self.was.sign()
    }

    /// How the value that it is to be was said.
    pub(super) fn manner(&self) -> Option<Manner> {
        Manner::new(self.to.as_ref().unwrap_or(&self.was), self.working)
    }

    fn read_back(&self) -> String {
        let was = wording::measurement(&self.was);
        match &self.to {
            Some(to) => {
                let to = wording::measurement(to);
                let worked = self.working.map(wording::working).unwrap_or_default();
                format!("Change: {was}, to {to}{worked}.")
            }
            None => format!("Take back: {was}."),
        }
    }

    /// What is kept.
    #[must_use]
    pub const fn was(&self) -> &Measurement {
        &self.was
    }

    /// What it is to be; none when it is taken back.
    #[must_use]
    pub const fn to(&self) -> Option<&Measurement> {
        self.to.as_ref()
    }

    /// Whether it is far from the usual and has been asked about once more.
    #[must_use]
    pub const fn second_look(&self) -> bool {
        self.second_look
    }

    /// Why, as the record says it; with how it was said and confirmed.
    fn reason(&self, yes: &Yes) -> String {
        let how = match self.by {
            By::Voice => "by voice",
            By::Touch => "by hand",
        };
        let confirmed = match yes.by() {
            By::Voice => "",
            By::Touch => ", yes by touch",
        };
        format!("{how}: \u{201c}{}\u{201d}{confirmed}", self.words)
    }
}

/// Several kept readings could be meant.
#[derive(Debug, Clone, PartialEq)]
pub struct Doubt {
    among: Vec<Uuid>,
    order: Order,
    words: String,
    by: By,
}

impl Doubt {
    pub(super) fn among(&self) -> &[Uuid] {
        &self.among
    }
}

/// As many as are offered to choose from: the latest ones.
const MOST: usize = 4;

impl Turn<'_> {
    /// An order to change something, kept or not yet kept.
    pub(super) fn change(&mut self, order: Order, heard: &Heard) {
        if self.state.resident.is_none() {
            return self.first_the_room();
        }
        if self.change_of_pending(&order, heard) {
            return;
        }
        // A change that was not confirmed yet gives way to another.
        if matches!(
            self.state.phase,
            Phase::ConfirmChange(_) | Phase::WhichKept(_)
        ) {
            self.state.phase = Phase::Open;
        }
        if self.pending_says_first() {
            return;
        }
        if let Order::Change { sign, to: None } = order {
            let name = sign.name();
            return self.say(&format!(
                "I missed part of that. Say change the {name} to, and the value."
            ));
        }
        let mut meant: Vec<&KeptHere> = self.own_kept().filter(|it| fits(&order, it)).collect();
        if meant.len() > 1 {
            let narrow = |it: &&KeptHere| is_likely(&order, it);
            let likely: Vec<&KeptHere> = meant.iter().copied().filter(narrow).collect();
            if !likely.is_empty() {
                meant = likely;
            }
        }
        let skipped = meant.len().saturating_sub(MOST);
        match &meant[skipped..] {
            [] => self.say(
                "Nothing like that was kept here in this round by you. Only that can be changed by voice; the nurse can correct it at the station.",
            ),
            [one] => {
                let id = one.id;
                self.offer_change(id, &order, heard.text(), heard.by);
            }
            several => {
                let each = several.iter().zip(ORDINALS);
                let each = each.map(|(it, nth)| {
                    let read = wording::measurement(&it.measurement);
                    let time = wording::taken_at(it.record.measured_at, self.now);
                    format!("The {nth}: {read}{time}.")
                });
                let text = each.collect::<Vec<_>>().join(" ");
                let among = several.iter().map(|it| it.id).collect();
                self.prompt(&format!("Which one? {text}"));
                self.state.phase = Phase::WhichKept(Box::new(Doubt {
                    among,
                    order,
                    words: heard.text(),
                    by: heard.by,
                }));
            }
        }
    }

    /// What this aide kept here in this round and what stands.
    pub(super) fn own_kept(&self) -> impl Iterator<Item = &KeptHere> {
        let here = self.state.resident.as_ref();
        let kept = here.and_then(|id| self.state.kept.get(id));
        let aide = self.state.staff.by().name;
        kept.into_iter().flatten().filter(move |it| it.by == aide)
    }

    /// "The second": which of several is meant.
    pub(super) fn which(&mut self, at: usize, by: By) {
        let Phase::WhichKept(doubt) = &self.state.phase else {
            return self.ask_again();
        };
        let Some(&reading) = doubt.among.get(at) else {
            return self.ask_again();
        };
        let doubt = doubt.clone();
        self.state.phase = Phase::Open;
        self.offer_change(reading, &doubt.order, doubt.words, doubt.by.max(by));
    }

    /// Reads back what a kept reading is to become.
    fn offer_change(&mut self, reading: Uuid, order: &Order, words: String, by: By) {
        let Some(kept) = self.own_kept().find(|it| it.id == reading) else {
            return;
        };
        let was = kept.measurement.clone();
        let to = match changed(&was, order) {
            Ok(to) => to,
            Err(why) => return self.say(&why),
        };
        if to.as_ref() == Some(&was) {
            return self.say("That is what is recorded already.");
        }
        let working = match order {
            Order::Change { to: Some(to), .. } => to.working,
            _ => kept.working,
        };
        if let Some(why) = to.as_ref().and_then(|to| short_count(to, working)) {
            return self.say(&format!(
                "{}. Nothing is changed.",
                sentence(&why.to_string())
            ));
        }
        let change = Change {
            reading,
            was,
            to,
            working,
            words,
            by,
            second_look: false,
        };
        self.prompt(&format!("{} Yes?", change.read_back()));
        self.state.phase = Phase::ConfirmChange(Box::new(change));
    }

    pub(super) fn change_confirmed(&mut self, change: Change, yes: &Yes) {
        let Some(resident) = self.resident() else {
            return;
        };
        let kept = self.own_kept().find(|it| it.id == change.reading);
        let Some(measured_at) = kept.map(|it| it.record.measured_at) else {
            // Another took over while it waited for a yes.
            return self.refuse("Someone else kept that. Nothing is changed.");
        };
        let unlikely = |to: &Measurement| self.is_far(resident, to, measured_at);
        if change.to.as_ref().is_some_and(unlikely) && !change.second_look {
            self.prompt(&format!(
                "That is far from the usual. Please look again. {} Yes to change it?",
                change.read_back()
            ));
            self.state.phase = Phase::ConfirmChange(Box::new(Change {
                second_look: true,
                ..change
            }));
            return;
        }
        let Some(to) = &change.to else {
            let reason = change.reason(yes);
            let said = self.retract_kept(resident, change.reading, &reason, ToldWrong::TakenBack);
            self.say("Taken back. It stays visible to the nurse.");
            return self.say_changed(&said);
        };
        let what = (to, change.working);
        self.correct_kept(resident, change.reading, what, &change.reason(yes));
        for caution in self.cautions_past(resident, to, change.working) {
            self.say(&wording::spelled(&caution));
        }
    }

    /// A change of what waits for an answer or a yes. False when nothing that
    /// waits is meant.
    fn change_of_pending(&mut self, order: &Order, heard: &Heard) -> bool {
        let waiting = self.state.awaited();
        match order {
            Order::Change { sign, to: None } if waiting.contains(sign) => {
                self.say("I missed part of that.");
                self.ask_again();
            }
            Order::Change {
                sign,
                to: Some(claim),
            } if waiting.contains(sign) => {
                // What waits beside one that is only asked for is not refused by it.
                let replaces = self.has_value_of(*sign);
                self.readings(None, replaces, vec![claim.as_ref().clone()], Vec::new());
            }
            Order::ThatWas(qualifiers)
                if qualifiers.iter().all(|it| {
                    let takes = |sign: &VitalSign| sign.qualifiers().contains(&it.kind());
                    waiting.iter().any(takes)
                }) =>
            {
                self.part(Part {
                    qualifiers: qualifiers.clone(),
                    words: heard.text(),
                    confidence: 1.0,
                    by: heard.by,
                    ..Part::default()
                });
            }
            Order::Scratch(sign) if waiting.contains(sign) => self.scratch_pending(*sign),
            _ => return false,
        }
        true
    }

    /// Whether a value of this vital sign waits for an answer or a yes.
    fn has_value_of(&self, sign: VitalSign) -> bool {
        let offered = match &self.state.phase {
            Phase::Confirming(offer) => offer.read_back.measurements(),
            _ => Vec::new(),
        };
        let drafts = self.state.drafts.iter().map(Draft::sign);
        let mut signs = drafts.chain(offered.iter().map(Measurement::sign));
        signs.any(|it| it == sign)
    }

    /// Drops one of the readings that wait, and goes on with the others.
    fn scratch_pending(&mut self, sign: VitalSign) {
        let others = self.state.awaited().iter().any(|it| *it != sign);
        self.take_back(if others {
            Dropped::Replaced
        } else {
            Dropped::Scratched
        });
        self.state.drafts.retain(|it| it.sign() != sign);
        self.state.unclear.retain(|it| it.sign != sign);
        self.state.phase = Phase::Open;
        self.say(&format!("Scratched: {}.", sign.name()));
        self.advance();
    }

    /// Another value said instead of a yes to a change. True when it was.
    pub(super) fn change_replaced(&mut self, part: &Part) -> bool {
        let Phase::ConfirmChange(change) = &self.state.phase else {
            return false;
        };
        let (reading, was) = (change.reading, change.to.as_ref().unwrap_or(&change.was));
        let valued = part.value.as_ref().map(|it| it.measurement.clone());
        let to = valued.map_or_else(|| was.clone(), |it| with_missing(it, was));
        let how = part.qualifiers.iter().copied();
        let to = how.fold(to, |it, how| it.clone().with(how).unwrap_or(it));
        let worked = part.value.as_ref().map(|it| it.working);
        let working = worked.unwrap_or(change.working);
        if let Some(why) = short_count(&to, working) {
            self.say(&format!("{}.", sentence(&why.to_string())));
            self.ask_again();
            return true;
        }
        let Some(kept) = self.own_kept().find(|it| it.id == reading) else {
            return false;
        };
        let change = Change {
            reading,
            was: kept.measurement.clone(),
            to: Some(to),
            working,
            words: format!("{}; {}", change.words, part.words),
            by: change.by.max(part.by),
            second_look: false,
        };
        self.prompt(&format!("{} Yes?", change.read_back()));
        self.state.phase = Phase::ConfirmChange(Box::new(change));
        true
    }
}

const ORDINALS: [&str; MOST] = ["first", "second", "third", "fourth"];

/// Whether a kept reading can be what an order is about.
fn fits(order: &Order, kept: &KeptHere) -> bool {
    match order {
        Order::Change { sign, .. } | Order::Scratch(sign) => kept.sign() == *sign,
        Order::ThatWas(qualifiers) => {
            let takes = |it: &Qualifier| kept.sign().qualifiers().contains(&it.kind());
            qualifiers.iter().all(takes)
        }
        _ => false,
    }
}

/// Whether it is the likelier one of several: taken the way that was said, or
/// not yet recorded so.
fn is_likely(order: &Order, kept: &KeptHere) -> bool {
    let has = |it: Qualifier| kept.measurement.qualifiers().get(it.kind()) == Some(it);
    match order {
        Order::Change { to: Some(to), .. } => to.measurement.qualifiers().iter().all(has),
        Order::ThatWas(qualifiers) => !qualifiers.iter().all(|it| has(*it)),
        _ => true,
    }
}

/// What a reading becomes by an order; none when it is taken back.
fn changed(was: &Measurement, order: &Order) -> Result<Option<Measurement>, String> {
    let sentence = |why: &dyn std::fmt::Display| {
        format!("{}. Nothing is changed.", sentence(&why.to_string()))
    };
    match order {
        Order::Change { to: Some(to), .. } => Ok(Some(with_missing(to.measurement.clone(), was))),
        Order::ThatWas(qualifiers) => {
            let mut how = qualifiers.iter();
            let to = how.try_fold(was.clone(), |it, how| it.with(*how));
            to.map(Some).map_err(|why| sentence(&why))
        }
        _ => Ok(None),
    }
}

/// The new measurement with the qualifiers of the old one that were not said
/// again.
fn with_missing(mut new: Measurement, old: &Measurement) -> Measurement {
    for qualifier in old.qualifiers().iter() {
        if new.qualifiers().get(qualifier.kind()).is_none() {
            new = new.clone().with(qualifier).unwrap_or(new);
        }
    }
    new
}

impl super::State {
    /// The vital signs that wait for an answer or a yes, all of them.
    pub(super) fn awaited(&self) -> Vec<VitalSign> {
        let mut signs: Vec<VitalSign> = self.drafts.iter().map(Draft::sign).collect();
        match &self.phase {
            Phase::Confirming(offer) => {
                let offered = offer.read_back.measurements().into_iter();
                signs.extend(offered.map(|it| it.sign()));
            }
            Phase::Asking(Question::Value(unclear)) => signs.push(unclear.sign),
            _ => {}
        }
        signs.extend(self.unclear.iter().map(|it: &Unclear| it.sign));
        signs
    }
}
