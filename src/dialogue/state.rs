//! The state of a conversation.

use std::collections::{BTreeMap, VecDeque};

use chrono::Duration;
use fastrand::Rng;
use uuid::Uuid;

use super::change::{Change, Doubt};
use super::felt::Remark;
use super::kept::{KeptHere, Told};
use super::moved::{Move, Moving};
use super::order::Order;
use super::recheck::{Elsewhere, Rechecking};
use super::restraint::Restraint;
use super::staff::OnDuty;
use super::timers::{Stopping, Timer};
use crate::facts::{OpenReport, Pending, PutOff, ReadBack, Recheck, Record, Time, Unfinished};
use crate::grammar::Expect;
use crate::residents::{ResidentId, Staff};
use crate::understanding::{Claim, Manner, Unclear, Why};
use crate::vitals::rules::{OrthostaticTest, Step};
use crate::vitals::{
    CautionKind, History, Measurement, NotTakenReason, QualifierKind, Recent, VitalSign, WentOn,
};

/// A home has one shift a day at least.
const LONGEST_SHIFT: Duration = Duration::hours(24);

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
    /// What a resident feels was read back as a remark and waits for a yes.
    ConfirmRemark(Remark),
    /// A resident is to be skipped; the reason is asked for.
    WhySkip(ResidentId),
    /// Skipping a resident was read back, with what is due there, and waits for
    /// a yes.
    ConfirmSkip(Skip),
    /// A report to a nurse was read back and waits for a yes.
    ConfirmReport {
        /// The nurse, as named in the record.
        to: String,
        /// The words read back.
        read_back: String,
    },
    /// Which of several kept readings is to be changed.
    WhichKept(Box<Doubt>),
    /// A change of a kept reading was read back and waits for a yes.
    ConfirmChange(Box<Change>),
    /// Readings that are to be moved here from another resident's record were
    /// read back and wait for a yes.
    ConfirmMove(Box<Move>),
}

/// Readings that wait for a yes.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// What was read back.
    pub read_back: ReadBack,
    /// Whether it was far from the usual and has been asked about once more.
    pub second_look: bool,
    /// A vital sign of it is being counted, and this is the rate instead.
    pub instead_of_count: Option<VitalSign>,
}

/// What is not taken when a resident is skipped.
#[derive(Debug, Clone, PartialEq)]
pub struct Skip {
    /// The resident.
    pub resident: ResidentId,
    /// What is due there.
    pub signs: Vec<VitalSign>,
    /// Why.
    pub reason: NotTakenReason,
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
    Correction {
        /// They were read back and refused.
        refused: bool,
    },
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
    /// What the current resident felt, said while something else waited.
    pub(super) remarks: VecDeque<Remark>,
    pub(super) open_reports: Vec<OpenReport>,
    /// What was kept in this round, for each resident.
    pub(super) kept: BTreeMap<ResidentId, Vec<KeptHere>>,
    /// How many times a resident was identified.
    pub(super) visit: u32,
    /// Readings kept for the wrong resident, until the right one is known.
    pub(super) moving: Option<Moving>,
    /// Who was told of what, for each report closed in this round.
    pub(super) told: BTreeMap<Uuid, Told>,
    /// What a nurse was told wrongly, for each report that says so.
    pub(super) told_wrong: BTreeMap<Uuid, Told>,
    /// The last early-warning score that was raised, and when.
    pub(super) scores: BTreeMap<ResidentId, (u8, Time)>,
    /// How often each open report was said again.
    pub(super) insisted: BTreeMap<Uuid, u32>,
    /// What is being measured again.
    pub(super) rechecking: Option<Rechecking>,
    /// What is to be measured again of residents who were left meanwhile.
    pub(super) elsewhere: Vec<Elsewhere>,
    /// What was put off lately, in this round or before it.
    pub(super) put_off: Vec<PutOff>,
    /// What was put off before this is over: the longest shift before the round.
    pub(super) since: Time,
    /// Confirmed readings of every resident, this round's among them.
    pub(super) histories: BTreeMap<ResidentId, History>,
    /// What nurses want taken again.
    pub(super) rechecks: Vec<Recheck>,
    /// What residents did lately.
    pub(super) recent: BTreeMap<ResidentId, Vec<Recent>>,
    /// Lying and standing pressures under way.
    pub(super) guided: Option<OrthostaticTest>,
    /// Counts and waits under way.
    pub(super) timers: Vec<Timer>,
    /// A count whose "Stop" is being said.
    pub(super) stopping: Option<Stopping>,
    /// When leaving was first asked for with something running.
    pub(super) leave_asked: Option<Time>,
    /// Who is signed on, and who records.
    pub(super) staff: OnDuty,
    /// What was waiting for a yes when the program stopped last, until the round
    /// is opened: when someone records.
    pub(super) unopened: Option<Vec<Pending>>,
    /// What the record has as under way, and the fact that says so.
    pub(super) unfinished: Option<(Uuid, ResidentId, Unfinished)>,
    /// Where the round is, and whether it asks for each vital sign.
    pub(super) order: Order,
    pub(super) asleep: bool,
    pub(super) silences: u8,
    /// When what was read back was given up, where nothing was said since.
    pub(super) given_up: Option<Time>,
    /// "End of round" was said once with reports open.
    pub(super) end_asked: bool,
    pub(super) restraint: Restraint,
    /// The last thing said, for "repeat".
    pub(super) last_said: String,
    /// The question that waits for an answer, to be asked again as it was.
    pub(super) prompt: Option<String>,
    /// Counts every change of that question.
    pub(super) asked: u64,
    /// How often a value of the current resident was said in vain, since one of
    /// that vital sign was kept.
    pub(super) in_vain: BTreeMap<VitalSign, u32>,
    /// Values of the current resident that were far from the usual, and are to be measured
    /// again.
    pub(super) far: Vec<Measurement>,
    pub(super) ended: bool,
    pub(super) round: Uuid,
    pub(super) rng: Rng,
}

impl State {
    pub(super) fn new(seed: u64, record: &Record, signed_on: Vec<Staff>, now: Time) -> Self {
        let mut rng = Rng::with_seed(seed);
        let since = now.checked_sub_signed(LONGEST_SHIFT).unwrap_or(now);
        Self {
            phase: Phase::Place,
            resident: None,
            drafts: Vec::new(),
            unclear: VecDeque::new(),
            remarks: VecDeque::new(),
            open_reports: record.open_reports().cloned().collect(),
            kept: BTreeMap::new(),
            visit: 0,
            moving: None,
            told: BTreeMap::new(),
            told_wrong: BTreeMap::new(),
            scores: BTreeMap::new(),
            insisted: BTreeMap::new(),
            rechecking: None,
            elsewhere: Vec::new(),
            put_off: record.put_off_since(since).cloned().collect(),
            since,
            histories: record.histories(),
            rechecks: record.rechecks().cloned().collect(),
            recent: BTreeMap::new(),
            guided: None,
            timers: Vec::new(),
            stopping: None,
            leave_asked: None,
            staff: OnDuty::new(signed_on, now),
            unopened: Some(record.pending().cloned().collect()),
            unfinished: None,
            order: Order::default(),
            asleep: false,
            silences: 0,
            given_up: None,
            end_asked: false,
            restraint: Restraint::default(),
            last_said: String::new(),
            prompt: None,
            asked: 0,
            in_vain: BTreeMap::new(),
            far: Vec::new(),
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

    /// Everyone who is signed on.
    #[must_use]
    pub fn signed_on(&self) -> &[Staff] {
        self.staff.signed_on()
    }

    /// Who records; none where it must be said first.
    #[must_use]
    pub fn recorder(&self) -> Option<&Staff> {
        self.staff.recorder()
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
            Phase::Asking(Question::Correction { .. }) => {
                self.drafts.iter().map(Draft::sign).collect()
            }
            Phase::Confirming(offer) => {
                let each = offer.read_back.measurements().into_iter();
                each.map(|it| it.sign()).collect()
            }
            Phase::ConfirmChange(change) => vec![change.sign()],
            Phase::Open if self.waits_for_standing() => vec![VitalSign::BloodPressure],
            Phase::Open => self.order.asked.into_iter().collect(),
            _ => Vec::new(),
        };
        if matches!(self.phase, Phase::Confirming(_)) {
            // Still to be asked for: a number alone may be theirs.
            signs.extend(self.unclear.iter().map(|it| it.sign));
        }
        let mut seen = Vec::new();
        signs.retain(|it| {
            !seen.contains(it) && {
                seen.push(*it);
                true
            }
        });
        signs
    }

    pub(super) fn waits_for_standing(&self) -> bool {
        self.guided
            .as_ref()
            .is_some_and(|it| it.step() == Step::Stand)
    }

    /// How what waits for an answer or a yes was said.
    pub(super) fn manners(&self) -> Vec<Manner> {
        let asked = match &self.phase {
            Phase::Asking(Question::Value(unclear)) => unclear.manner,
            Phase::ConfirmChange(change) => change.manner(),
            _ => None,
        };
        let offered: Vec<Manner> = match &self.phase {
            Phase::Confirming(offer) => offer.read_back.claims().filter_map(Manner::of).collect(),
            _ => Vec::new(),
        };
        let drafts = self.drafts.iter().filter_map(|it| Manner::of(&it.claim));
        let unclear = self.unclear.iter().filter_map(|it| it.manner);
        let all = asked.into_iter().chain(offered).chain(drafts);
        all.chain(unclear).collect()
    }

    /// How what was kept here in this round was said; not of a vital sign of which
    /// several were kept in several ways.
    pub(super) fn manners_kept(&self) -> Vec<Manner> {
        let here = self.resident.as_ref().and_then(|id| self.kept.get(id));
        let all: Vec<Manner> = here
            .into_iter()
            .flatten()
            .filter_map(KeptHere::manner)
            .collect();
        let same = |a: &Manner, b: &Manner| (a.unit, a.worked) == (b.unit, b.worked);
        let one_way = |it: &&Manner| {
            let mut of_sign = all.iter().filter(|other| other.sign == it.sign);
            of_sign.all(|other| same(other, it))
        };
        all.iter().filter(one_way).copied().collect()
    }

    /// The vital sign that was said last, of what waits.
    pub(super) fn said_last(&self) -> Option<VitalSign> {
        match &self.phase {
            Phase::Asking(Question::Value(unclear)) => Some(unclear.sign),
            Phase::Asking(_) => self.drafts.last().map(Draft::sign),
            Phase::Confirming(offer) => {
                let last = offer.read_back.claims().last();
                last.map(|it| it.measurement.sign())
            }
            _ => None,
        }
    }

    /// What the recogniser should listen for.
    #[must_use]
    pub fn expect(&self) -> Expect {
        if self.asleep {
            return Expect::Wake;
        }
        if self.staff.is_offered() {
            return Expect::Confirm;
        }
        if !self.staff.is_known() {
            return Expect::Place;
        }
        match &self.phase {
            Phase::Place => Expect::Place,
            // Not where it is to be counted anew, or its time is asked for: neither is a rate.
            Phase::Asking(Question::Value(unclear))
                if matches!(unclear.sign, VitalSign::Pulse | VitalSign::Respiration)
                    && !matches!(unclear.why, Why::Arithmetic(_) | Why::BadTime) =>
            {
                Expect::Rate
            }
            Phase::WhichBed(_) | Phase::WhySkip(_) | Phase::Asking(_) | Phase::WhichKept(_) => {
                Expect::Answer
            }
            Phase::Open if self.waits_for_standing() || self.order.asked.is_some() => {
                Expect::Answer
            }
            Phase::Open => Expect::Readings,
            Phase::Identify(_)
            | Phase::Confirming(_)
            | Phase::ConfirmNotTaken(..)
            | Phase::ConfirmRemark(_)
            | Phase::ConfirmSkip(_)
            | Phase::ConfirmReport { .. }
            | Phase::ConfirmChange(_)
            | Phase::ConfirmMove(_) => Expect::Confirm,
        }
    }
}

/// A UUID of version 7 from the time and the state's own generator.
pub(super) fn new_id(rng: &mut Rng, now: Time) -> Uuid {
    let mut random = [0; 10];
    rng.fill(&mut random);
    let millis = u64::try_from(now.timestamp_millis()).unwrap_or(0);
    uuid::Builder::from_unix_timestamp_millis(millis, &random).into_uuid()
}
