//! What the care plan says: cautions before measuring, the usual way to
//! measure, what is due, and what the last values were.

use std::borrow::Cow;

use chrono::Duration;

use super::state::Draft;
use super::turn::Turn;
use super::{Dialogue, Phase, Question, State};
use crate::facts::{Dropped, Time};
use crate::residents::{Offsets, Resident, shift_start};
use crate::speaking::wording;
use crate::vitals::{
    Activity, Caution, CautionKind, Measurement, Plan, Qualifier, QualifierKind, Qualifiers,
    Recent, VitalSign, WentOn, Working, cautions,
};

impl Dialogue {
    /// What is due now for the resident being recorded, and neither taken nor
    /// put off.
    #[must_use]
    pub fn due(&self, state: &State, now: Time) -> Vec<VitalSign> {
        let turn = Turn::new(self, state.clone(), now);
        let due = turn.resident().map(|it| turn.due(it));
        due.unwrap_or_default()
    }
}

impl Turn<'_> {
    /// The cautions for what is due now, measured the usual way.
    pub(super) fn say_cautions(&mut self) {
        let Some(resident) = self.resident() else {
            return;
        };
        let mut said: Vec<String> = Vec::new();
        for sign in self.due(resident) {
            // The limb is left open: the aide may not know the usual one, and
            // must hear which is not to be used.
            let mut how = Qualifiers::default();
            let usual = usual(resident, sign);
            let known = usual.iter().filter(|it| it.kind() != QualifierKind::Arm);
            known.for_each(|it| how.set(it));
            for caution in self.cautions(resident, sign, &how) {
                if !said.contains(&caution.say) {
                    said.push(caution.say);
                }
            }
        }
        for caution in said {
            self.say(&wording::spelled(&caution));
        }
    }

    pub(super) fn cautions(
        &self,
        resident: &Resident,
        sign: VitalSign,
        how: &Qualifiers,
    ) -> Vec<Caution> {
        let plan = plan(sign, how);
        self.cautions_of(resident, plan)
    }

    fn cautions_of(&self, resident: &Resident, plan: Plan) -> Vec<Caution> {
        let precautions = &resident.care.precautions;
        let recent = self.state.recent.get(&resident.id);
        let recent = recent.map_or(&[][..], Vec::as_slice);
        cautions(precautions, &plan, recent, self.now, resident.limits.home())
    }

    /// What to say of a reading that was taken in a way that a caution speaks
    /// against, when it turns out so.
    pub(super) fn cautions_past(
        &self,
        resident: &Resident,
        to: &Measurement,
        working: Option<Working>,
    ) -> Vec<String> {
        let plan = planned(to, working);
        let all = self.cautions_of(resident, plan).into_iter();
        let past = all.filter(|it| stops(it.kind) && it.wait_until.is_none());
        past.map(|it| it.say).collect()
    }

    /// The first draft whose way of measuring a caution speaks against, and that
    /// the aide has not given a reason for.
    pub(super) fn caution_pending(&self) -> Option<(usize, Caution)> {
        let resident = self.resident()?;
        self.state
            .drafts
            .iter()
            .enumerate()
            .find_map(|(at, draft)| {
                let plan = planned(&draft.claim.measurement, draft.claim.working);
                let all = self.cautions_of(resident, plan).into_iter();
                let stops = |it: &Caution| {
                    stops(it.kind) && !draft.went_on.iter().any(|gone| gone.caution == it.kind)
                };
                all.filter(stops).map(|it| (at, it)).next()
            })
    }

    /// The aide gave a reason to go on past a caution.
    pub(super) fn reason(&mut self, reason: String) {
        let Phase::Asking(Question::GoOn(at, caution)) = &self.state.phase else {
            return self.ask_again();
        };
        let (at, caution) = (*at, *caution);
        if let Some(draft) = self.state.drafts.get_mut(at) {
            draft.went_on.push(WentOn { caution, reason });
        }
        self.state.phase = Phase::Open;
        self.advance();
    }

    /// The resident ate, drank, smoked or exercised: what must wait says so.
    pub(super) fn did(&mut self, activity: Activity, minutes: u32) {
        let at = self.now - Duration::minutes(i64::from(minutes.min(24 * 60)));
        let Some(resident) = self.resident() else {
            return self.ask_again();
        };
        let recent = self.state.recent.entry(resident.id.clone());
        recent.or_default().push(Recent { activity, at });
        let mut said = vec!["Noted.".to_owned()];
        for sign in VitalSign::ALL {
            let how = usual(resident, sign);
            let waits = self.cautions(resident, sign, &how).into_iter();
            said.extend(waits.filter(|it| it.wait_until.is_some()).map(|it| it.say));
        }
        said.dedup();
        if self.offered_too_soon(resident) {
            self.say("Noted.");
            self.take_back(Dropped::Replaced);
            return self.advance();
        }
        self.say(&wording::spelled(&said.join(" ")));
        if self.waiting() {
            self.ask_again();
        } else {
            self.keep_last_said();
        }
    }

    /// Whether what was read back should have waited, as it turns out.
    fn offered_too_soon(&self, resident: &Resident) -> bool {
        let Phase::Confirming(offer) = &self.state.phase else {
            return false;
        };
        offer.read_back.claims().any(|it| {
            let all = self.cautions_of(resident, planned(&it.measurement, it.working));
            let mut all = all.into_iter();
            all.any(|it| stops(it.kind) && it.wait_until.is_some())
        })
    }

    /// Takes the usual method for granted where none was said; the read-back
    /// says it.
    pub(super) fn assume_usual(&self, draft: &mut Draft) {
        let Some(resident) = self.resident() else {
            return;
        };
        let usual = usual(resident, draft.sign());
        for kind in draft.claim.measurement.qualifiers().missing(draft.sign()) {
            if let Some(qualifier) = usual.get(kind)
                && let Ok(measurement) = draft.claim.measurement.clone().with(qualifier)
            {
                draft.claim.measurement = measurement;
            }
        }
    }

    /// What is due for a resident and neither taken nor put off.
    pub(super) fn due(&self, resident: &Resident) -> Vec<VitalSign> {
        let shift = self.shift_start(self.now);
        let put_off = self.state.put_off.iter();
        let put_off = put_off.filter(|it| it.resident == resident.id && it.holds(self.now, shift));
        let mut due = self.due_or_put_off(resident);
        for it in put_off {
            let all = it.signs.is_empty();
            due.retain(|sign| {
                let of = it.signs.contains(sign) || (all && self.is_due(resident, *sign, it.at));
                !of
            });
        }
        due
    }

    /// What is due for a resident and not taken.
    pub(super) fn due_or_put_off(&self, resident: &Resident) -> Vec<VitalSign> {
        let due = |sign: &VitalSign| self.is_due(resident, *sign, self.now);
        VitalSign::ALL.into_iter().filter(due).collect()
    }

    /// Whether a vital sign is due for a resident, or was, and not taken by then.
    fn is_due(&self, resident: &Resident, sign: VitalSign, at: Time) -> bool {
        let history = self.state.histories.get(&resident.id);
        // A moment later, so that what was kept just now counts.
        let last = history.and_then(|it| it.last(sign, at + Duration::seconds(1)));
        let last = last.map(|it| self.offsets().shown(it.at));
        let shift = self.shift_start(at);
        resident.care.frequency(sign).is_due(last, at, shift)
    }

    fn shift_start(&self, at: Time) -> Time {
        shift_start(&self.dialogue.home.shifts, at, &self.offsets())
    }

    /// Which offsets hold by the clock of this place: the one of now, where no others are
    /// known.
    pub(super) fn offsets(&self) -> Cow<'_, Offsets> {
        match &self.dialogue.offsets {
            Some(offsets) => Cow::Borrowed(offsets),
            None => Cow::Owned(Offsets::fixed(*self.now.offset())),
        }
    }

    /// What a nurse has asked to be taken again here.
    pub(super) fn say_rechecks(&mut self) {
        let Some(resident) = self.resident() else {
            return;
        };
        let asked = self
            .state
            .rechecks
            .iter()
            .filter(|it| it.resident == resident.id);
        let texts: Vec<String> = asked
            .map(|it| {
                format!(
                    "{} asks for the {} again: {}.",
                    it.by,
                    it.sign.name(),
                    it.reason
                )
            })
            .collect();
        for text in texts {
            self.say(&wording::spelled(&text));
        }
    }

    /// "What was her last pressure?"
    pub(super) fn last_value(&mut self, sign: VitalSign) {
        let Some(resident) = self.resident() else {
            return self.first_the_room();
        };
        let now = self.now + Duration::seconds(1);
        let none = crate::vitals::History::default();
        let history = self.state.histories.get(&resident.id).unwrap_or(&none);
        let text = wording::spelled(&history.spoken_last(sign, now, 1));
        self.say(&text);
        if self.waiting() {
            self.ask_again();
        } else {
            self.keep_last_said();
        }
    }
}

/// Whether a caution stops a reading until a reason is given. The others only
/// remind.
const fn stops(kind: CautionKind) -> bool {
    matches!(
        kind,
        CautionKind::OralOnOxygen
            | CautionKind::OralMouthBreather
            | CautionKind::ChairNotKnown
            | CautionKind::WithChair
            | CautionKind::OralTooSoon
            | CautionKind::NoRectal
            | CautionKind::LimbNotToUse
            | CautionKind::PressureTooSoon
    )
}

/// What the care plan has against how a reading was taken, whoever took it: each such
/// caution needs a reason.
pub(crate) fn against(resident: &Resident, it: &Measurement, at: Time) -> Vec<Caution> {
    let (precautions, home) = (&resident.care.precautions, resident.limits.home());
    let all = cautions(precautions, &planned(it, None), &[], at, home);
    all.into_iter().filter(|it| stops(it.kind)).collect()
}

/// The plan that a reading was taken by.
fn planned(it: &Measurement, working: Option<Working>) -> Plan {
    let less_chair = |it| matches!(it, Working::LessChair { .. });
    Plan {
        less_chair: Some(working.is_some_and(less_chair)),
        ..plan(it.sign(), it.qualifiers())
    }
}

fn plan(sign: VitalSign, how: &Qualifiers) -> Plan {
    let mut plan = Plan::of(sign);
    for qualifier in how.iter() {
        match qualifier {
            Qualifier::Method(method) => plan.method = Some(method),
            Qualifier::Arm(limb) => plan.limb = Some(limb),
            Qualifier::Scale(scale) => plan.scale = Some(scale),
            _ => {}
        }
    }
    plan
}

/// How a vital sign is usually measured on a resident.
fn usual(resident: &Resident, sign: VitalSign) -> Qualifiers {
    let usual = &resident.care.usual;
    let all = [
        usual.temperature.map(Qualifier::Method),
        usual.pulse_site.map(Qualifier::PulseSite),
        usual.arm.map(Qualifier::Arm),
        usual.position.map(Qualifier::Position),
        usual.scale.map(Qualifier::Scale),
    ];
    let mut qualifiers = Qualifiers::default();
    let fits = |kind: QualifierKind| sign.qualifiers().contains(&kind);
    for qualifier in all.into_iter().flatten().filter(|it| fits(it.kind())) {
        qualifiers.set(qualifier);
    }
    qualifiers
}
