//! One turn of a conversation: what it says, stores and listens for.

use uuid::Uuid;

use super::state::{State, new_id};
use super::{Action, Dialogue, PATIENCE, Phase};
use crate::facts::{Body, Dropped, Fact, KeptReading, Time, VERSION};
use crate::residents::{Resident, ResidentId};
use crate::speaking::Tone;

/// One turn: the state as it changes, and the actions so far.
pub(super) struct Turn<'a> {
    pub(super) dialogue: &'a Dialogue,
    pub(super) state: State,
    pub(super) now: Time,
    actions: Vec<Action>,
    said: Vec<String>,
    prompt: Option<String>,
    tones: Vec<Tone>,
    repeat: bool,
    passing: bool,
}

impl<'a> Turn<'a> {
    pub(super) fn new(dialogue: &'a Dialogue, state: State, now: Time) -> Self {
        Self {
            dialogue,
            state,
            now,
            actions: Vec::new(),
            said: Vec::new(),
            prompt: None,
            tones: Vec::new(),
            repeat: false,
            passing: false,
        }
    }

    pub(super) fn say(&mut self, text: &str) {
        self.said.push(text.to_owned());
    }

    /// Says a question, which is what "repeat" and silence ask again.
    pub(super) fn prompt(&mut self, text: &str) {
        self.prompt = Some(text.to_owned());
    }

    /// Takes back the question of this turn.
    pub(super) const fn withdraw_prompt(&mut self) -> Option<String> {
        self.prompt.take()
    }

    /// Asks the waiting question again, or says the last thing again where
    /// there is none, after what this turn says.
    pub(super) fn ask_again(&mut self) {
        self.repeat = true;
    }

    /// A fact, to be stored before anything is said. Returns its identifier.
    pub(super) fn keep(&mut self, body: Body<KeptReading>) -> Uuid {
        let id = self.new_id();
        self.keep_as(id, body);
        id
    }

    pub(super) fn act(&mut self, action: Action) {
        self.actions.push(action);
    }

    pub(super) fn new_id(&mut self) -> Uuid {
        new_id(&mut self.state.rng, self.now)
    }

    pub(super) fn keep_as(&mut self, id: Uuid, body: Body<KeptReading>) {
        let fact = Fact {
            id,
            version: VERSION,
            at: self.now,
            by: self.state.staff.by(),
            round: self.state.round,
            body,
        };
        self.actions.push(Action::Keep(Box::new(fact)));
    }

    /// The resident being recorded.
    pub(super) fn resident(&self) -> Option<&'a Resident> {
        let id = self.state.resident.as_ref()?;
        self.dialogue.home.resident(id)
    }

    /// A resident's name, or the identifier of one who has left the home's file.
    pub(super) fn who(&self, id: &ResidentId) -> String {
        let resident = self.dialogue.home.resident(id);
        resident.map_or_else(|| id.0.clone(), |it| it.name.clone())
    }

    /// Everything this turn wants done: store, then say, then listen.
    pub(super) fn finish(mut self) -> (State, Vec<Action>) {
        self.ask_remark();
        self.say_elsewhere();
        self.ask_in_turn();
        self.note_unfinished();
        let mut parts = std::mem::take(&mut self.said);
        parts.retain(|it| !it.is_empty());
        if let Some(prompt) = self.prompt.take() {
            parts.push(prompt.clone());
            self.state.prompt = Some(prompt);
            self.state.asked += 1;
            self.repeat = false;
        }
        if !self.waiting() && !self.state.asleep {
            self.state.asked += u64::from(self.state.prompt.take().is_some());
        }
        if self.repeat {
            let again = self.state.prompt.as_ref().unwrap_or(&self.state.last_said);
            parts.push(again.clone());
        } else if !parts.is_empty() && !self.passing {
            self.state.last_said = parts.join(" ");
        }
        let text = parts.join(" ");
        if !text.is_empty() {
            let tones = self.tones(&text);
            let saying = self.dialogue.saying(&self.state, &text, tones);
            self.actions.push(Action::Say(saying));
        }
        if self.state.ended {
            self.actions.push(Action::End);
        } else {
            let (wake, sharp) = self.wakes();
            // An aide who counts is not hurried.
            let patient = self.waiting() && !self.counting();
            self.actions.push(Action::Listen {
                expect: self.state.expect(),
                patience: patient.then_some(PATIENCE),
                wake: wake.into_iter().chain(self.absent_at()).min(),
                sharp,
                tell: self.state.wants_times(),
            });
        }
        (self.state, self.actions)
    }

    /// Whether this turn stores anything.
    pub(super) fn keeps(&self) -> bool {
        self.actions.iter().any(|it| matches!(it, Action::Keep(_)))
    }

    /// Whether this turn says anything.
    pub(super) fn speaks(&self) -> bool {
        !self.said.is_empty()
    }

    /// Says why something is not taken.
    pub(super) fn refuse(&mut self, text: &str) {
        self.say(text);
        self.sound(Tone::Refused);
    }

    /// A tone for this turn, where nothing is spoken.
    pub(super) fn sound(&mut self, tone: Tone) {
        self.tones.push(tone);
    }

    /// The tones that stand for what this turn says: what became of what the
    /// aide said, then whether there is something to report or to answer.
    fn tones(&self, text: &str) -> Vec<Tone> {
        let any = |is: fn(&Body<KeptReading>) -> bool| {
            let mut actions = self.actions.iter();
            actions.any(|it| matches!(it, Action::Keep(fact) if is(&fact.body)))
        };
        let kept = any(|it| {
            use Body::{Identified, NotTaken, Noted, Read, Recorder, ReportedToNurse};
            matches!(
                it,
                Read(_)
                    | NotTaken { .. }
                    | Noted { .. }
                    | ReportedToNurse { .. }
                    | Identified { .. }
                    | Recorder
            )
        });
        let dropped = any(|it| {
            use Dropped::{No, Scratched, Stopped};
            let why = |why: &Dropped| matches!(why, No | Scratched | Stopped);
            matches!(it, Body::Unconfirmed { .. })
                || matches!(it, Body::Dropped { why: it, .. } if why(it))
        });
        let refused = dropped || self.tones.contains(&Tone::Refused);
        let report = self.tones.contains(&Tone::Report)
            || any(|it| matches!(it, Body::Flagged { .. } | Body::RuleMet { .. }));
        let question = text.ends_with('?');
        let noted = !(kept || refused || report || question);
        let all = [
            (kept, Tone::Kept),
            (refused, Tone::Refused),
            (report, Tone::Report),
            (question, Tone::Question),
            (noted, Tone::Kept),
        ];
        let heard = all.into_iter().filter(|(is, _)| *is);
        heard.map(|(_, tone)| tone).collect()
    }

    /// What this turn says is not what "repeat" should say again.
    pub(super) fn keep_last_said(&mut self) {
        self.passing = true;
    }

    /// Whether an answer is waited for. An aide who is measuring is not hurried.
    pub(super) fn waiting(&self) -> bool {
        if self.state.asleep || !self.state.staff.is_known() {
            return !self.state.asleep && self.state.staff.is_offered();
        }
        !matches!(self.state.phase, Phase::Place | Phase::Open)
    }
}
