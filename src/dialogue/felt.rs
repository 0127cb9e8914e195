//! "She is dizzy": what to do is said at once, whatever waits, and the remark is noted for
//! the nurse after a yes; where something waits already, after that.

use super::state::Draft;
use super::turn::Turn;
use super::{Dialogue, Phase};
use crate::facts::Body;
use crate::grammar::{Spoken, Token};
use crate::hearing::Heard;
use crate::speaking::wording;
use crate::understanding::Utterance;
use crate::vitals::rules::{OrthostaticTest, Step};
use crate::vitals::{Felt, Measurement, VitalSign};

/// What was said to be felt, and when in the lying and standing pressures, if in them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Remark {
    felt: Felt,
    when: &'static str,
}

impl Remark {
    fn text(self) -> String {
        format!("{}{}", self.felt.spoken(), self.when)
    }
}

impl Dialogue {
    /// What was said to be felt in one breath with readings.
    pub(super) fn felt_beside(&self, heard: &Heard, said: &Utterance) -> Option<Felt> {
        if !matches!(said, Utterance::Readings { .. }) {
            return None;
        }
        let words: Vec<String> = heard.words.iter().map(|it| it.text.clone()).collect();
        let sure = |it: &Spoken| {
            let mut words = heard.words[it.from..it.to].iter();
            words.all(|it| it.confidence >= self.ask_below)
        };
        let felt = |it: &Spoken| match it.token {
            Token::Felt(felt) if sure(it) => Some(felt),
            _ => None,
        };
        self.vocabulary.tokens(&words).iter().find_map(felt)
    }
}

impl Turn<'_> {
    pub(super) fn felt(&mut self, felt: Felt) {
        let when = self.when_felt(felt);
        if felt.needs_care() {
            self.say_care(felt);
        }
        if self.state.resident.is_none() {
            return self.first_the_room();
        }
        let remark = Remark { felt, when };
        let at_once = match &self.state.phase {
            Phase::Open => !self.counting(),
            // Said again, or turned round.
            Phase::ConfirmRemark(it) => *it == remark || it.felt.needs_care() != felt.needs_care(),
            _ => false,
        };
        if at_once {
            return self.offer_remark(remark);
        }
        // What waits was said before, and is not lost for it.
        if !self.state.remarks.contains(&remark) {
            self.state.remarks.push_back(remark);
        }
        self.say(&format!("I ask about {} after this.", felt.spoken()));
        self.ask_again();
    }

    /// Reads back what was felt while something else waited, once nothing does.
    pub(super) fn ask_remark(&mut self) {
        let free = self.state.phase == Phase::Open
            && self.state.staff.is_known()
            && !self.state.asleep
            && !self.counting();
        if free && let Some(remark) = self.state.remarks.pop_front() {
            self.offer_remark(remark);
        }
    }

    /// The resident is left, whose remarks these are.
    pub(super) fn drop_remarks(&mut self) {
        for remark in std::mem::take(&mut self.state.remarks) {
            self.say(&format!("Not noted: {}.", remark.text()));
        }
    }

    fn offer_remark(&mut self, remark: Remark) {
        let text = wording::capital(&remark.text());
        self.prompt(&format!("{text}: to be noted for the nurse. Yes?"));
        self.state.phase = Phase::ConfirmRemark(remark);
    }

    /// When in the lying and standing pressures it was felt.
    fn when_felt(&self, felt: Felt) -> &'static str {
        match self.state.guided.as_ref().map(OrthostaticTest::has_stood) {
            Some(true) if felt == Felt::UnableToStand => " any longer",
            Some(true) => " while standing",
            Some(false) if felt != Felt::UnableToStand => " before standing up",
            _ => "",
        }
    }

    /// The usual caution. Nobody who is dizzy is asked to stand on, or to stand up: how the
    /// pressures go on is the home's policy and the nurse's word. A pressure that was
    /// measured already is compared still.
    fn say_care(&mut self, felt: Felt) {
        const SIT: &str = "Help the resident to sit or lie down, and tell the nurse.";
        const POLICY: &str = "The home's policy and the nurse say how to go on.";
        let measured = self.has_pressure();
        let Some(test) = &mut self.state.guided else {
            return self.say(SIT);
        };
        let unable = felt == Felt::UnableToStand && test.step() == Step::Stand;
        if test.has_stood() && measured {
            test.stop_after_this();
            self.say(SIT);
        } else if test.has_stood() || unable {
            test.stop();
            let say = test.say();
            self.state.guided = None;
            self.say(say);
        } else {
            self.say("Leave the resident lying, and tell the nurse before standing up.");
        }
        self.say(POLICY);
    }

    /// Whether a pressure was said that is neither kept nor dropped.
    fn has_pressure(&self) -> bool {
        let offered = match &self.state.phase {
            Phase::Confirming(offer) => offer.read_back.measurements(),
            _ => Vec::new(),
        };
        let drafts = self.state.drafts.iter().map(Draft::sign);
        let mut all = offered.iter().map(Measurement::sign).chain(drafts);
        all.any(|it| it == VitalSign::BloodPressure)
    }

    pub(super) fn remark_confirmed(&mut self, remark: Remark) {
        self.state.phase = self.idle();
        if let Some(resident) = self.state.resident.clone() {
            self.keep(Body::Noted {
                resident,
                about: None,
                text: remark.text(),
            });
            self.say(if remark.felt.needs_care() {
                "Noted. Tell the nurse."
            } else {
                "Noted."
            });
            self.advance();
        }
    }
}
