//! The state of a conversation, and one turn of it.

use std::collections::{BTreeMap, VecDeque};

use fastrand::Rng;
use uuid::Uuid;

use super::{Action, Dialogue, PATIENCE};
use crate::facts::{Body, Fact, KeptReading, OpenReport, ReadBack, Recheck, Record, Time, VERSION};
use crate::grammar::Expect;
use crate::residents::{Resident, ResidentId};
use crate::understanding::{Claim, Unclear};
use crate::vitals::rules::{OrthostaticTest, Step};
use crate::vitals::{
    CautionKind, History, NotTaken, NotTakenReason, QualifierKind, Recent, VitalSign, WentOn,
};

/// Where the conversation is.
#[derive(Debug, Clone, PartialEq)]
pub enum Phase {
    /// No resident yet.
    Place,
    /// A room with several beds was named.
    WhichBed(String),
    /// A resident was read back and waits for a yes.
    Identify(ResidentId),
    /// Readings may be spoken.
    Open,
    /// A question about readings that are not complete or not clear.
    Asking(Question),
    /// Readings were read back and wait for a yes.
    Confirming(Box<Offer>),
    /// "Not taken" was read back and waits for a yes.
    ConfirmNotTaken(Vec<VitalSign>, NotTakenReason),
    /// A report to a nurse was read back and waits for a yes.
    ConfirmReport {
        /// The nurse, as named in the record.
        to: String,
        /// The words read back.
        read_back: String,
    },
}

/// Readings that wait for a yes.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// What was read back.
    pub read_back: ReadBack,
    /// Whether it was far from the usual and has been asked about once more.
    pub second_look: bool,
}

/// A question about a reading.
#[derive(Debug, Clone, PartialEq)]
pub enum Question {
    /// A required qualifier of the draft at this place in the list.
    Qualifier(usize, QualifierKind),
    /// The value of a reading that was not clear.
    Value(Unclear),
    /// A caution speaks against how the draft at this place was measured: a
    /// reason to go on, or another way.
    GoOn(usize, CautionKind),
    /// Which of the drafts is wrong, and what it should be.
    Correction,
}

/// A claim that is neither kept nor dropped, and when it was spoken.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Draft {
    pub(super) claim: Claim,
    pub(super) spoken_at: Time,
    /// Cautions that the aide gave a reason to go past.
    pub(super) went_on: Vec<WentOn>,
}

impl Draft {
    pub(super) const fn sign(&self) -> VitalSign {
        self.claim.measurement.sign()
    }
}

/// A reading kept in this round.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct KeptHere {
    pub(super) id: Uuid,
    pub(super) sign: VitalSign,
    pub(super) flagged: bool,
}

/// The state of a conversation. A plain value: two turns from the same state
/// with the same event and time are the same.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    pub(super) phase: Phase,
    pub(super) resident: Option<ResidentId>,
    /// Claims of the current resident that are neither kept nor dropped.
    pub(super) drafts: Vec<Draft>,
    /// What must still be asked, after the drafts are settled.
    pub(super) unclear: VecDeque<Unclear>,
    pub(super) open_reports: Vec<OpenReport>,
    /// What was kept in this round, for each resident.
    pub(super) kept: BTreeMap<ResidentId, Vec<KeptHere>>,
    /// What was put off in this round.
    pub(super) not_taken: Vec<(ResidentId, NotTaken)>,
    /// Confirmed readings of every resident, this round's among them.
    pub(super) histories: BTreeMap<ResidentId, History>,
    /// What nurses want taken again.
    pub(super) rechecks: Vec<Recheck>,
    /// What the current resident did lately.
    pub(super) recent: Vec<Recent>,
    /// Lying and standing pressures under way.
    pub(super) guided: Option<OrthostaticTest>,
    pub(super) asleep: bool,
    pub(super) silences: u8,
    /// "End of round" was said once with reports open.
    pub(super) end_asked: bool,
    /// The last thing said, for "repeat".
    pub(super) last_said: String,
    /// The question that waits for an answer, to be asked again as it was.
    pub(super) prompt: Option<String>,
    pub(super) ended: bool,
    round: Uuid,
    rng: Rng,
}

impl State {
    pub(super) fn new(seed: u64, record: &Record, now: Time) -> Self {
        let mut rng = Rng::with_seed(seed);
        Self {
            phase: Phase::Place,
            resident: None,
            drafts: Vec::new(),
            unclear: VecDeque::new(),
            open_reports: record.open_reports().cloned().collect(),
            kept: BTreeMap::new(),
            not_taken: Vec::new(),
            histories: record.histories(),
            rechecks: record.rechecks().to_vec(),
            recent: Vec::new(),
            guided: None,
            asleep: false,
            silences: 0,
            end_asked: false,
            last_said: String::new(),
            prompt: None,
            ended: false,
            round: new_id(&mut rng, now),
            rng,
        }
    }

    /// Where the conversation is.
    #[must_use]
    pub const fn phase(&self) -> &Phase {
        &self.phase
    }

    /// The resident being recorded, once identified.
    #[must_use]
    pub const fn resident(&self) -> Option<&ResidentId> {
        self.resident.as_ref()
    }

    /// The question that waits for an answer, as it was asked.
    #[must_use]
    pub fn question(&self) -> Option<&str> {
        self.prompt.as_deref()
    }

    /// Reports that no nurse has yet.
    #[must_use]
    pub fn open_reports(&self) -> &[OpenReport] {
        &self.open_reports
    }

    /// Whether Sayback ignores everything but "start listening".
    #[must_use]
    pub const fn asleep(&self) -> bool {
        self.asleep
    }

    /// The identifier of this round.
    #[must_use]
    pub const fn round(&self) -> Uuid {
        self.round
    }

    /// The vital signs that a bare number or qualifier can belong to.
    pub(super) fn pending_signs(&self) -> Vec<VitalSign> {
        let mut signs: Vec<VitalSign> = match &self.phase {
            Phase::Asking(Question::Value(unclear)) => vec![unclear.sign],
            Phase::Asking(Question::Qualifier(at, _) | Question::GoOn(at, _)) => {
                let draft = self.drafts.get(*at);
                draft.map(Draft::sign).into_iter().collect()
            }
            Phase::Asking(Question::Correction) => self.drafts.iter().map(Draft::sign).collect(),
            Phase::Confirming(offer) => {
                let each = offer.read_back.measurements().into_iter();
                each.map(|it| it.sign()).collect()
            }
            Phase::Open if self.waits_for_standing() => vec![VitalSign::BloodPressure],
            _ => Vec::new(),
        };
        signs.dedup();
        signs
    }

    fn waits_for_standing(&self) -> bool {
        self.guided
            .as_ref()
            .is_some_and(|it| it.step() == Step::Stand)
    }

    /// What the recogniser should listen for.
    #[must_use]
    pub fn expect(&self) -> Expect {
        if self.asleep {
            return Expect::Wake;
        }
        match &self.phase {
            Phase::Place => Expect::Place,
            Phase::Asking(Question::Value(unclear))
                if matches!(unclear.sign, VitalSign::Pulse | VitalSign::Respiration) =>
            {
                Expect::Rate
            }
            Phase::WhichBed(_) | Phase::Asking(_) => Expect::Answer,
            Phase::Open if self.waits_for_standing() => Expect::Answer,
            Phase::Open => Expect::Readings,
            Phase::Identify(_)
            | Phase::Confirming(_)
            | Phase::ConfirmNotTaken(..)
            | Phase::ConfirmReport { .. } => Expect::Confirm,
        }
    }
}

/// A UUID of version 7 from the time and the state's own generator.
fn new_id(rng: &mut Rng, now: Time) -> Uuid {
    let mut random = [0; 10];
    rng.fill(&mut random);
    let millis = u64::try_from(now.timestamp_millis()).unwrap_or(0);
    uuid::Builder::from_unix_timestamp_millis(millis, &random).into_uuid()
}

/// One turn: the state as it changes, and the actions so far.
pub(super) struct Turn<'a> {
    pub(super) dialogue: &'a Dialogue,
    pub(super) state: State,
    pub(super) now: Time,
    actions: Vec<Action>,
    said: Vec<String>,
    prompt: Option<String>,
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

    pub(super) fn new_id(&mut self) -> Uuid {
        new_id(&mut self.state.rng, self.now)
    }

    pub(super) fn keep_as(&mut self, id: Uuid, body: Body<KeptReading>) {
        let fact = Fact {
            id,
            version: VERSION,
            at: self.now,
            by: self.dialogue.aide.clone(),
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
        let mut parts = std::mem::take(&mut self.said);
        parts.retain(|it| !it.is_empty());
        if let Some(prompt) = self.prompt.take() {
            parts.push(prompt.clone());
            self.state.prompt = Some(prompt);
            self.repeat = false;
        }
        if !self.waiting() && !self.state.asleep {
            self.state.prompt = None;
        }
        if self.repeat {
            let again = self.state.prompt.as_ref().unwrap_or(&self.state.last_said);
            parts.push(again.clone());
        } else if !parts.is_empty() && !self.passing {
            self.state.last_said = parts.join(" ");
        }
        let text = parts.join(" ");
        if !text.is_empty() {
            self.actions.push(Action::Say(text));
        }
        if self.state.ended {
            self.actions.push(Action::End);
        } else {
            self.actions.push(Action::Listen {
                expect: self.state.expect(),
                patience: self.waiting().then_some(PATIENCE),
                wake: self.wake_at(),
            });
        }
        (self.state, self.actions)
    }

    /// What this turn says is not what "repeat" should say again.
    pub(super) fn keep_last_said(&mut self) {
        self.passing = true;
    }

    /// Whether an answer is waited for. An aide who is measuring is not hurried.
    pub(super) fn waiting(&self) -> bool {
        !self.state.asleep && !matches!(self.state.phase, Phase::Place | Phase::Open)
    }
}
