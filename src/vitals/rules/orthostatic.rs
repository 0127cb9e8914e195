//! The fall of blood pressure from lying to standing, and the guided sequence
//! that measures it: lie, measure, stand, one minute, three minutes.

use chrono::{DateTime, FixedOffset, TimeDelta};
use rust_decimal::Decimal;
use thiserror::Error;

use super::{Flag, Known, Rule};
use crate::vitals::sources::ORTHOSTATIC;
use crate::vitals::{
    Arm, Component, Layer, Position, Qualifier, QualifierKind, Reading, Unit, VitalSign,
};

/// Rest lying down before the first pressure. Common practice, no source.
const REST: TimeDelta = TimeDelta::minutes(5);
/// The fall counts within this time of standing (Freeman R et al., Clin Auton
/// Res 2011;21:69-72).
const WITHIN: TimeDelta = TimeDelta::minutes(3);
/// Time to inflate, read and say a pressure, from the moment it is asked for.
/// Common practice, no source.
const MEASURING: TimeDelta = TimeDelta::minutes(2);

/// A moment of the sequence at which a pressure is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Moment {
    /// After lying for five minutes.
    Lying,
    /// One minute after standing up.
    OneMinute,
    /// Three minutes after standing up.
    ThreeMinutes,
}

impl Moment {
    const fn after_standing(self) -> TimeDelta {
        match self {
            Self::Lying => TimeDelta::zero(),
            Self::OneMinute => TimeDelta::minutes(1),
            Self::ThreeMinutes => WITHIN,
        }
    }

    const fn position(self) -> Position {
        match self {
            Self::Lying => Position::Lying,
            Self::OneMinute | Self::ThreeMinutes => Position::Standing,
        }
    }
}

/// What the sequence waits for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// The time at which the moment comes.
    Wait {
        /// The moment waited for.
        moment: Moment,
        /// When it comes.
        until: DateTime<FixedOffset>,
    },
    /// A pressure.
    Measure(Moment),
    /// The resident to stand up.
    Stand,
    /// Nothing: all is measured.
    Finished,
    /// Nothing: the aide or the resident stopped.
    Stopped,
}

/// Why a step could not be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum StepError {
    /// No pressure is wanted now.
    #[error("no pressure is needed now")]
    NotNow,
    /// Not a blood pressure, or not in the position of this step.
    #[error("this step needs a blood pressure {}", .0.spoken())]
    Position(Position),
    /// Not on the arm of the pressure lying, which alone it can be compared with: it is
    /// kept as a reading, and asked for again.
    #[error("only the {} can be compared with lying", .0.spoken())]
    Arm(Arm),
    /// Measured too long after the moment: the pressure is kept as a reading,
    /// and the sequence goes on without it.
    #[error("that was too late for this step")]
    TooLate,
}

/// The guided sequence. Pure: the caller brings the time, speaks
/// [`say`](Self::say) after each change of [`step`](Self::step), and keeps the
/// readings as facts of their own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrthostaticTest {
    step: Step,
    lying: Option<Reading>,
    stood: Option<DateTime<FixedOffset>>,
    standing: Vec<(Moment, Reading)>,
    /// The last flag that was given.
    flagged: Option<Flag>,
    /// It stops when the pressure is kept that was measured already.
    ending: bool,
}

impl OrthostaticTest {
    /// Begins with the resident lying down at `now`.
    #[must_use]
    pub fn start(now: DateTime<FixedOffset>) -> Self {
        let step = Step::Wait {
            moment: Moment::Lying,
            until: now + REST,
        };
        Self {
            step,
            lying: None,
            stood: None,
            standing: Vec::new(),
            flagged: None,
            ending: false,
        }
    }

    /// What the sequence waits for.
    #[must_use]
    pub const fn step(&self) -> Step {
        self.step
    }

    /// What to say to the aide at this step.
    #[must_use]
    pub const fn say(&self) -> &'static str {
        match self.step {
            Step::Wait { moment, .. } => match moment {
                Moment::Lying => "Lying down for five minutes. I will tell you when to measure.",
                Moment::OneMinute => {
                    "Stay close. I will tell you at one minute. \
                     If the resident is dizzy, help them sit and say stop."
                }
                Moment::ThreeMinutes => "Keep standing. I will tell you at three minutes.",
            },
            Step::Measure(Moment::Lying) => "Measure the blood pressure lying.",
            Step::Measure(Moment::OneMinute) => "One minute. Measure standing, same arm.",
            Step::Measure(Moment::ThreeMinutes) => "Three minutes. Measure standing, same arm.",
            Step::Stand => "Help the resident to stand, and say standing.",
            Step::Finished => "Lying and standing pressures are done.",
            Step::Stopped => "Stopped. Help the resident to sit or lie down, and tell the nurse.",
        }
    }

    /// Whether the resident has stood up in it, and it is not over.
    #[must_use]
    pub const fn has_stood(&self) -> bool {
        self.stood.is_some() && !matches!(self.step, Step::Finished | Step::Stopped)
    }

    /// The arm on which the pressure lying was measured.
    #[must_use]
    pub fn arm(&self) -> Option<Arm> {
        arm_of(self.lying.as_ref()?)
    }

    /// Lets time pass: a wait that is over becomes the measurement it was for.
    pub fn tick(&mut self, now: DateTime<FixedOffset>) {
        if let Step::Wait { moment, until } = self.step
            && now >= until
        {
            self.step = Step::Measure(moment);
        }
    }

    /// Takes the resident's standing up; ignored at any other step.
    pub fn stand(&mut self, now: DateTime<FixedOffset>) {
        if self.step == Step::Stand {
            self.stood = Some(now);
            self.step = wait(Moment::OneMinute, now);
        }
    }

    /// Stops at any step; what was measured is kept.
    pub fn stop(&mut self) {
        if self.step != Step::Finished {
            self.step = Step::Stopped;
        }
    }

    /// Stops when the pressure is taken that was measured for this step, which is compared
    /// still; at any other step it stops now.
    pub fn stop_after_this(&mut self) {
        match self.step {
            Step::Measure(_) => self.ending = true,
            _ => self.stop(),
        }
    }

    /// Takes a pressure for the moment that has come.
    ///
    /// # Errors
    /// [`StepError`] when none is wanted, it is not the one wanted, or it comes
    /// too late.
    pub fn measured(&mut self, reading: Reading) -> Result<(), StepError> {
        self.tick(reading.at);
        let Step::Measure(moment) = self.step else {
            return Err(StepError::NotNow);
        };
        let wanted = moment.position();
        let said = reading
            .measurement
            .qualifiers()
            .get(QualifierKind::Position);
        if said != Some(Qualifier::Position(wanted)) {
            return Err(StepError::Position(wanted));
        }
        let Some(stood) = self.stood else {
            self.lying = Some(reading);
            self.step = Step::Stand;
            return Ok(());
        };
        let late = reading.at > stood + moment.after_standing() + MEASURING;
        if let Some(arm) = self.arm()
            && arm_of(&reading) != Some(arm)
            && !late
        {
            return Err(StepError::Arm(arm));
        }
        self.step = match moment {
            Moment::Lying | Moment::OneMinute => wait(Moment::ThreeMinutes, stood),
            Moment::ThreeMinutes => Step::Finished,
        };
        if self.ending {
            self.stop();
        }
        if late {
            self.tick(reading.at);
            return Err(StepError::TooLate);
        }
        self.standing.push((moment, reading));
        Ok(())
    }

    /// Whether the last pressure standing has no diastolic to compare: it, or the one lying,
    /// was palpated.
    #[must_use]
    pub fn lacks_diastolic(&self) -> bool {
        let last = self.standing.last().map(|(_, it)| it);
        let mut both = self.lying.iter().chain(last);
        last.is_some() && both.any(|it| it.measurement.is_palpated())
    }

    /// The flag for the greatest fall so far, if one is to be reported and was not given
    /// before.
    pub fn new_flag(&mut self, known: Known<'_>) -> Option<Flag> {
        let flag = self
            .flag(known)
            .filter(|it| self.flagged.as_ref() != Some(it))?;
        self.flagged = Some(flag.clone());
        Some(flag)
    }

    /// The flag for the greatest fall measured so far, if one is to be reported.
    #[must_use]
    pub fn flag(&self, known: Known<'_>) -> Option<Flag> {
        let lying = self.lying.as_ref()?;
        let systolic = |it: &Reading| it.number(Component::Systolic, Unit::MmHg);
        // Judged at the moment it was asked for: reading it out takes a while.
        let falls = self.standing.iter().filter_map(|(moment, standing)| {
            let flag = standing_fall(known, lying, standing, moment.after_standing())?;
            Some((systolic(standing), flag))
        });
        falls.min_by_key(|(systolic, _)| *systolic).map(|it| it.1)
    }
}

fn arm_of(reading: &Reading) -> Option<Arm> {
    match reading.measurement.qualifiers().get(QualifierKind::Arm) {
        Some(Qualifier::Arm(arm)) => Some(arm),
        _ => None,
    }
}

fn wait(moment: Moment, stood: DateTime<FixedOffset>) -> Step {
    let until = stood + moment.after_standing();
    Step::Wait { moment, until }
}

/// The flag for a fall of pressure from `lying` to `standing`, measured `after`
/// standing up: systolic by 20 mmHg or diastolic by 10 within three minutes
/// (Freeman R et al., Clin Auton Res 2011;21:69-72), or the home's thresholds.
/// `None` beyond three minutes, and for two arms: what differs between them is no fall. The
/// source does not say so; it is common practice.
#[must_use]
pub fn standing_fall(
    known: Known<'_>,
    lying: &Reading,
    standing: &Reading,
    after: TimeDelta,
) -> Option<Flag> {
    if !(TimeDelta::zero()..=WITHIN).contains(&after) || arm_of(lying) != arm_of(standing) {
        return None;
    }
    let fall = |part| -> Option<Decimal> {
        Some(lying.number(part, Unit::MmHg)? - standing.number(part, Unit::MmHg)?)
    };
    // One that was palpated has no diastolic, and is compared by its systolic alone.
    let (systolic, diastolic) = (fall(Component::Systolic)?, fall(Component::Diastolic));
    let thresholds = known.thresholds();
    let (most, least) = (
        thresholds.standing_systolic_fall,
        thresholds.standing_diastolic_fall,
    );
    let mut parts = Vec::new();
    if systolic >= most {
        parts.push(format!("systolic fell by {systolic}"));
    }
    if let Some(diastolic) = diastolic.filter(|it| *it >= least) {
        parts.push(format!("diastolic fell by {diastolic}"));
    }
    if parts.is_empty() {
        return None;
    }
    let without = match [lying, standing].map(|it| it.measurement.is_palpated()) {
        [false, false] => "",
        [true, true] => ", both by palpation, with no diastolic to compare",
        _ => ", one of them by palpation, with no diastolic to compare",
    };
    Some(Flag {
        rule: Rule::StandingFall,
        layer: Layer::Changed,
        sign: Some(VitalSign::BloodPressure),
        say: format!(
            "From lying to standing, {}{without}. Report to the nurse.",
            parts.join(" and ")
        ),
        limit: format!("systolic {most} or diastolic {least} or more within 3 minutes of standing"),
        source: known.source(ORTHOSTATIC, |it| {
            (it.standing_systolic_fall, it.standing_diastolic_fall)
        }),
    })
}

#[cfg(test)]
mod tests {
    use rust_decimal::dec;

    use super::*;
    use crate::vitals::history::tests::{at, palpated, pressure};
    use crate::vitals::{Baselines, History, Limits, Precautions};

    fn with_known<T>(judge: impl FnOnce(Known<'_>) -> T) -> T {
        let (history, baselines, limits) =
            (History::default(), Baselines::new(), Limits::default());
        judge(Known {
            history: &history,
            baselines: &baselines,
            limits: &limits,
            precautions: &Precautions::default(),
        })
    }

    fn fall(systolic: Decimal, diastolic: Decimal, after: TimeDelta) -> Option<String> {
        let lying = pressure(at(9, "08:05"), dec!(140), dec!(80), Position::Lying);
        let (high, low) = (dec!(140) - systolic, dec!(80) - diastolic);
        let standing = pressure(at(9, "08:08"), high, low, Position::Standing);
        with_known(|known| standing_fall(known, &lying, &standing, after)).map(|it| it.say)
    }

    /// Freeman R et al. 2011: ≥20 systolic or ≥10 diastolic within 3 minutes.
    #[test]
    fn a_fall_at_and_around_its_limits() {
        let minute = TimeDelta::minutes(1);
        assert_eq!(fall(dec!(19), dec!(9), minute), None);
        assert!(fall(dec!(20), dec!(9), minute).is_some());
        assert!(fall(dec!(21), dec!(0), minute).is_some());
        assert!(fall(dec!(19), dec!(10), minute).is_some());
        assert!(fall(dec!(0), dec!(11), minute).is_some());
        assert_eq!(fall(dec!(-20), dec!(-10), minute), None, "a rise");
        assert_eq!(
            fall(dec!(24), dec!(10), minute).unwrap(),
            "From lying to standing, systolic fell by 24 and diastolic fell by 10. \
             Report to the nurse."
        );
    }

    #[test]
    fn a_fall_counts_within_three_minutes() {
        let after = |seconds| fall(dec!(20), dec!(10), TimeDelta::seconds(seconds)).is_some();
        assert!(after(0) && after(179) && after(180));
        assert!(!after(181) && !after(-1));
    }

    fn up_to_standing() -> OrthostaticTest {
        let mut test = OrthostaticTest::start(at(9, "08:00"));
        test.tick(at(9, "08:05"));
        let lying = pressure(at(9, "08:06"), dec!(140), dec!(80), Position::Lying);
        test.measured(lying).unwrap();
        assert_eq!(test.step(), Step::Stand);
        test.stand(at(9, "08:10"));
        test
    }

    fn standing(clock: &str, systolic: Decimal) -> Reading {
        pressure(at(9, clock), systolic, dec!(75), Position::Standing)
    }

    #[test]
    fn the_sequence_leads_from_lying_to_three_minutes() {
        let mut test = OrthostaticTest::start(at(9, "08:00"));
        test.tick(at(9, "08:04"));
        assert!(matches!(test.step(), Step::Wait { .. }));
        let early = pressure(at(9, "08:04"), dec!(140), dec!(80), Position::Lying);
        assert_eq!(test.measured(early), Err(StepError::NotNow));
        let sitting = pressure(at(9, "08:06"), dec!(140), dec!(80), Position::Sitting);
        let wrong = Err(StepError::Position(Position::Lying));
        assert_eq!(test.measured(sitting), wrong);

        let mut test = up_to_standing();
        test.tick(at(9, "08:11"));
        assert_eq!(test.step(), Step::Measure(Moment::OneMinute));
        test.measured(standing("08:12", dec!(125))).unwrap();
        assert!(with_known(|known| test.flag(known)).is_none());
        test.tick(at(9, "08:13"));
        assert_eq!(test.step(), Step::Measure(Moment::ThreeMinutes));
        test.measured(standing("08:14", dec!(118))).unwrap();
        assert_eq!(test.step(), Step::Finished);
        let flag = with_known(|known| test.flag(known)).unwrap();
        assert!(flag.say.contains("systolic fell by 22"), "{}", flag.say);
    }

    #[test]
    fn a_pressure_that_comes_too_late_is_not_judged() {
        let mut test = up_to_standing();
        let late = test.measured(standing("08:14", dec!(110)));
        assert_eq!(late, Err(StepError::TooLate));
        assert_eq!(test.step(), Step::Measure(Moment::ThreeMinutes));
        let late = test.measured(standing("08:16", dec!(110)));
        assert_eq!(late, Err(StepError::TooLate));
        assert_eq!(test.step(), Step::Finished);
        assert!(with_known(|known| test.flag(known)).is_none());
    }

    #[test]
    fn a_palpated_pressure_is_compared_by_its_systolic_and_says_so() {
        let minute = TimeDelta::minutes(1);
        let compared = |lying: &Reading, standing: &Reading| {
            let flag = with_known(|known| standing_fall(known, lying, standing, minute));
            flag.map(|it| it.say)
        };
        let by_ear = pressure(at(9, "08:05"), dec!(140), dec!(80), Position::Lying);
        let felt = palpated(at(9, "08:05"), dec!(140), Position::Lying);
        let low = palpated(at(9, "08:07"), dec!(120), Position::Standing);
        let same = palpated(at(9, "08:07"), dec!(121), Position::Standing);
        // 121 over 60 would have been a fall.
        assert_eq!(compared(&by_ear, &same), None);
        assert_eq!(
            compared(&by_ear, &low).unwrap(),
            "From lying to standing, systolic fell by 20, one of them by palpation, \
             with no diastolic to compare. Report to the nurse."
        );
        let both = compared(&felt, &low).unwrap();
        assert!(both.contains("both by palpation"), "{both}");
        let diastolic = pressure(at(9, "08:07"), dec!(139), dec!(60), Position::Standing);
        assert_eq!(compared(&felt, &diastolic), None);

        let mut test = up_to_standing();
        assert!(!test.lacks_diastolic());
        test.measured(palpated(at(9, "08:11"), dec!(139), Position::Standing))
            .unwrap();
        assert!(test.lacks_diastolic());
        assert!(with_known(|known| test.flag(known)).is_none());
    }

    /// Common practice, no source: the arms of one person differ.
    #[test]
    fn only_pressures_of_one_arm_are_compared() {
        let on = |arm, clock: &str, systolic| {
            let mut it = standing(clock, systolic);
            it.measurement = it.measurement.with(Qualifier::Arm(arm)).unwrap();
            it
        };
        let lying = pressure(at(9, "08:06"), dec!(140), dec!(80), Position::Lying);
        for (arm, falls) in [(Arm::Left, true), (Arm::Right, false)] {
            let standing = on(arm, "08:11", dec!(112));
            let minute = TimeDelta::minutes(1);
            let flag = with_known(|known| standing_fall(known, &lying, &standing, minute));
            assert_eq!(flag.is_some(), falls, "{arm:?}");
        }
        let mut test = up_to_standing();
        let other = test.measured(on(Arm::Right, "08:11", dec!(112)));
        assert_eq!(other, Err(StepError::Arm(Arm::Left)));
        assert_eq!(test.step(), Step::Measure(Moment::OneMinute), "asked again");
        assert!(with_known(|known| test.flag(known)).is_none());
        // Too late for that, it goes on to the next.
        let late = test.measured(on(Arm::Right, "08:14", dec!(112)));
        assert_eq!(late, Err(StepError::TooLate));
        test.measured(standing("08:14", dec!(112))).unwrap();
        assert!(with_known(|known| test.flag(known)).is_some());
    }

    #[test]
    fn it_can_be_stopped_and_keeps_what_was_measured() {
        let mut test = up_to_standing();
        test.measured(standing("08:11", dec!(112))).unwrap();
        test.stop();
        assert_eq!(test.step(), Step::Stopped);
        assert!(test.say().contains("tell the nurse"));
        assert!(with_known(|known| test.flag(known)).is_some());
    }
}
