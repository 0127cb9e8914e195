//! Lying and standing pressures, step by step; the time comes from ticks.

use super::asking::sentence;
use super::how::is_how;
use super::state::{Draft, State};
use super::turn::Turn;
use super::{Dialogue, Phase, Question};
use crate::facts::{Raised, Time};
use crate::hearing::Heard;
use crate::residents::Resident;
use crate::understanding::{Context, Part, Utterance};
use crate::vitals::rules::{Moment, OrthostaticTest, Step};
use crate::vitals::{Position, Qualifier, Reading, VitalSign};

impl Turn<'_> {
    pub(super) fn start_orthostatic(&mut self) {
        if self.state.resident.is_none() {
            return self.first_the_room();
        }
        if self.pending_says_first() {
            return;
        }
        let test = OrthostaticTest::start(self.now);
        self.say(test.say());
        self.state.guided = Some(test);
    }

    /// Stops the sequence; what was kept stays kept.
    pub(super) fn stop_orthostatic(&mut self) {
        let Some(mut test) = self.state.guided.take() else {
            return self.ask_again();
        };
        test.stop();
        self.say(test.say());
    }

    /// Time passes: a wait may be over.
    pub(super) fn tick(&mut self) {
        let now = self.now;
        if self.counting() {
            return;
        }
        let Some(test) = &mut self.state.guided else {
            return;
        };
        let before = test.step();
        test.tick(now);
        if test.step() != before {
            let say = test.say();
            self.say(say);
            if self.waiting() {
                self.ask_again();
            }
        }
    }

    /// When the next wait of the sequence is over.
    pub(super) fn guided_wakes_at(&self) -> Option<Time> {
        match self.state.guided.as_ref()?.step() {
            Step::Wait { until, .. } => Some(until),
            _ => None,
        }
    }

    /// "Standing": the resident has stood up. True when the sequence waited
    /// for it.
    pub(super) fn stood(&mut self, qualifiers: &[Qualifier]) -> bool {
        let standing = qualifiers.contains(&Qualifier::Position(Position::Standing));
        let now = self.now;
        match &mut self.state.guided {
            Some(test)
                if standing && test.step() == Step::Stand && self.state.phase == Phase::Open =>
            {
                test.stand(now);
                let say = test.say();
                self.say(say);
                true
            }
            _ => false,
        }
    }

    /// "Standing" before its turn, or a position said to no question: what the sequence
    /// expects is said. True when it was. A pressure that was measured lying is not made one
    /// standing by it, unless a no comes first.
    pub(super) fn stands_too_early(&mut self, part: &Part) -> bool {
        let Some(test) = &self.state.guided else {
            return false;
        };
        let lying = matches!(
            test.step(),
            Step::Measure(Moment::Lying)
                | Step::Wait {
                    moment: Moment::Lying,
                    ..
                }
        );
        let say = test.say();
        let standing = part
            .qualifiers
            .contains(&Qualifier::Position(Position::Standing));
        let waits = matches!(test.step(), Step::Wait { .. });
        match &self.state.phase {
            _ if part.no || !is_position(part) => return false,
            Phase::Open if lying && standing => {
                self.say("Not standing yet: first the blood pressure lying.");
                if waits {
                    self.say("I will tell you when to measure.");
                }
            }
            Phase::Open => self.say(say),
            Phase::Confirming(_) | Phase::Asking(Question::Qualifier(..))
                if lying
                    && standing
                    && self.state.pending_signs() == [VitalSign::BloodPressure] =>
            {
                self.say("Not standing yet: this is the blood pressure lying.");
                self.ask_again();
            }
            _ => return false,
        }
        true
    }

    /// A pressure spoken when the sequence asks for one is in its position, and standing on
    /// the arm that was measured lying, unless another is said.
    pub(super) fn assume_position(&self, draft: &mut Draft) {
        let Some((Step::Measure(moment), arm)) =
            self.state.guided.as_ref().map(|it| (it.step(), it.arm()))
        else {
            return;
        };
        let position = match moment {
            Moment::Lying => Position::Lying,
            Moment::OneMinute | Moment::ThreeMinutes => Position::Standing,
        };
        if draft.sign() != VitalSign::BloodPressure {
            return;
        }
        let position = Some(Qualifier::Position(position));
        for qualifier in position.into_iter().chain(arm.map(Qualifier::Arm)) {
            let measurement = &draft.claim.measurement;
            if measurement.qualifiers().get(qualifier.kind()).is_none()
                && let Ok(measurement) = measurement.clone().with(qualifier)
            {
                draft.claim.measurement = measurement;
            }
        }
    }

    /// Gives a kept pressure to the sequence. Returns what to say.
    pub(super) fn guide(
        &mut self,
        resident: &Resident,
        id: uuid::Uuid,
        reading: &Reading,
    ) -> Vec<String> {
        if reading.measurement.sign() != VitalSign::BloodPressure {
            return Vec::new();
        }
        let Some(mut test) = self.state.guided.take() else {
            return Vec::new();
        };
        let mut said = Vec::new();
        let measured = test.measured(reading.clone());
        if let Err(error) = &measured {
            said.push(format!("{}.", sentence(&error.to_string())));
        }
        // At once, since the test may be stopped by what it is about; not the same fall twice.
        let empty = crate::vitals::History::default();
        let history = self.state.histories.get(&resident.id).unwrap_or(&empty);
        if let Some(fall) = test.new_flag(resident.known(history)) {
            let fall = self.raise(resident, id, Raised::Rule(fall));
            said.push(format!("{fall} Report to the nurse."));
        }
        if measured.is_ok() && test.lacks_diastolic() {
            said.push("The diastolic was not compared: one was by palpation.".to_owned());
        }
        said.push(test.say().to_owned());
        if !matches!(test.step(), Step::Finished | Step::Stopped) {
            self.state.guided = Some(test);
        }
        said
    }
}

/// Whether nothing was said but a position.
fn is_position(part: &Part) -> bool {
    let position = |it: &Qualifier| matches!(it, Qualifier::Position(_));
    is_how(part) && part.qualifiers.iter().all(position)
}

impl State {
    /// Whether a position alone is said to the lying and standing pressures, where nothing
    /// else waits for it.
    pub(super) fn takes_position(&self) -> bool {
        self.guided.is_some() && self.phase == Phase::Open
    }
}

impl Dialogue {
    /// What was said, where it is a position alone.
    pub(super) fn position(&self, heard: &Heard, context: &Context<'_>) -> Option<Utterance> {
        let said = self.how(heard, VitalSign::BloodPressure, context)?;
        is_position(&said).then(|| Utterance::Part(Box::new(said)))
    }
}
