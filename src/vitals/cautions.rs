//! Cautions to say before measuring: only when they apply, in few words, always
//! leaving the decision to the care plan and the nurse. The reason why a limb
//! or a route is not to be used is never said aloud.

use chrono::{DateTime, FixedOffset, TimeDelta};
use serde::{Deserialize, Serialize};

use super::sources::{PRESSURE_TECHNIQUE, TRADE};
use super::{Arm, HomeLimits, Method, Precautions, Scale, Source, Thresholds, VitalSign};

/// What the aide is about to measure, as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Plan {
    /// Which vital sign.
    pub sign: VitalSign,
    /// Temperature method.
    pub method: Option<Method>,
    /// Limb for the cuff.
    pub limb: Option<Arm>,
    /// Kind of scale.
    pub scale: Option<Scale>,
    /// Whether a weight was said to be less the chair, once one was said.
    pub less_chair: Option<bool>,
}

impl Plan {
    /// A plan of which only the vital sign is known.
    #[must_use]
    pub const fn of(sign: VitalSign) -> Self {
        Self {
            sign,
            method: None,
            limb: None,
            scale: None,
            less_chair: None,
        }
    }
}

/// What the resident did, or what was done, that a reading must wait for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Activity {
    /// Ate.
    Ate,
    /// Drank.
    Drank,
    /// Smoked.
    Smoked,
    /// Exercised, or was in therapy.
    Exercised,
}

impl Activity {
    const fn past(self) -> &'static str {
        match self {
            Self::Ate => "Ate",
            Self::Drank => "Drank",
            Self::Smoked => "Smoked",
            Self::Exercised => "Exercised",
        }
    }
}

/// Something that happened lately.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Recent {
    /// What.
    pub activity: Activity,
    /// When.
    pub at: DateTime<FixedOffset>,
}

/// Which caution spoke.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CautionKind {
    /// Oral temperature while on oxygen.
    OralOnOxygen,
    /// Oral temperature of a mouth breather.
    OralMouthBreather,
    /// Oral temperature soon after eating, drinking or smoking.
    OralTooSoon,
    /// Rectal temperature where the care plan has none.
    NoRectal,
    /// A limb that is not to be used.
    LimbNotToUse,
    /// Blood pressure soon after smoking or exercise.
    PressureTooSoon,
    /// Pulse or respirations soon after exercise.
    RestFirst,
    /// A pulse known to be irregular.
    CountFullMinute,
    /// A wheelchair scale where the chair's weight is not known.
    ChairNotKnown,
    /// A weight on a wheelchair scale that the chair was not taken off.
    WithChair,
}

/// A caution to say before measuring.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caution {
    /// Which.
    pub kind: CautionKind,
    /// What to say: plain text, one or two short sentences.
    pub say: String,
    /// When it no longer applies, if waiting helps.
    pub wait_until: Option<DateTime<FixedOffset>>,
    /// Who or what asks for it.
    pub source: Source,
}

/// A caution gone past, with the aide's spoken reason: kept with the reading.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WentOn {
    /// Which caution.
    pub caution: CautionKind,
    /// The reason as spoken.
    pub reason: String,
}

/// The cautions that apply to `plan` at `now`, in the order to say them.
#[must_use]
pub fn cautions(
    precautions: &Precautions,
    plan: &Plan,
    recent: &[Recent],
    now: DateTime<FixedOffset>,
    home: &HomeLimits,
) -> Vec<Caution> {
    let say = |kind, say: &str| Caution {
        kind,
        say: say.to_owned(),
        wait_until: None,
        source: Source::Default(TRADE.to_owned()),
    };
    let waiting = Waiting { recent, now, home };
    let mut cautions = Vec::new();
    match (plan.sign, plan.method) {
        (VitalSign::Temperature, Some(Method::Oral)) => {
            if precautions.on_oxygen {
                let text = "On oxygen. Use another method the care plan allows, or ask the nurse.";
                cautions.push(say(CautionKind::OralOnOxygen, text));
            }
            if precautions.mouth_breather {
                let text = "Breathes by mouth. Use another method the care plan allows, or ask \
                            the nurse.";
                cautions.push(say(CautionKind::OralMouthBreather, text));
            }
            let intake = [Activity::Ate, Activity::Drank, Activity::Smoked];
            let (kind, wait) = (CautionKind::OralTooSoon, |it: &Thresholds| {
                it.oral_wait_minutes
            });
            cautions.extend(waiting.after(&intake, kind, wait, TRADE));
        }
        (VitalSign::Temperature, Some(Method::Rectal)) if precautions.no_rectal => {
            let text = "The care plan says no rectal temperature. Use another method, or ask the \
                        nurse.";
            cautions.push(say(CautionKind::NoRectal, text));
        }
        (VitalSign::BloodPressure, _) => {
            if let Some(text) = limbs(precautions, plan.limb) {
                cautions.push(say(CautionKind::LimbNotToUse, &text));
            }
            let effort = [Activity::Smoked, Activity::Exercised];
            let (kind, wait) = (CautionKind::PressureTooSoon, |it: &Thresholds| {
                it.pressure_wait_minutes
            });
            cautions.extend(waiting.after(&effort, kind, wait, PRESSURE_TECHNIQUE));
        }
        (VitalSign::Pulse | VitalSign::Respiration, _) => {
            let (kind, wait) = (CautionKind::RestFirst, |it: &Thresholds| it.rest_minutes);
            cautions.extend(waiting.after(&[Activity::Exercised], kind, wait, TRADE));
            if precautions.irregular_pulse && plan.sign == VitalSign::Pulse {
                let text = "The pulse is known to be irregular. Count the full minute.";
                cautions.push(say(CautionKind::CountFullMinute, text));
            }
        }
        (VitalSign::Weight, _)
            if plan.scale == Some(Scale::Wheelchair) && plan.less_chair != Some(true) =>
        {
            if precautions.chair_weight.is_none() {
                let text =
                    "The chair's weight is not known. Weigh the empty chair, or ask the nurse.";
                cautions.push(say(CautionKind::ChairNotKnown, text));
            } else if plan.less_chair.is_some() {
                let text = "That scale weighs the chair too. Say what it shows, less the chair, or ask \
                            the nurse.";
                cautions.push(say(CautionKind::WithChair, text));
            }
        }
        _ => {}
    }
    cautions
}

/// What to say about limbs that are not to be used: when no limb was said yet,
/// or one of these.
fn limbs(precautions: &Precautions, planned: Option<Arm>) -> Option<String> {
    let not_to_use = &precautions.limbs_not_to_use;
    let of_plan = |limb: &Arm| planned.is_none_or(|it| it == *limb || it.limb() == *limb);
    let named = not_to_use.keys().filter(|it| of_plan(it));
    let named: Vec<&str> = named.map(|limb| limb.spoken()).collect();
    if named.is_empty() {
        return None;
    }
    let arms = [Arm::Left, Arm::Right].into_iter();
    let free = arms.filter(|arm| !not_to_use.contains_key(arm));
    let instead = match free.collect::<Vec<_>>().as_slice() {
        [arm] => format!("Use the {}, or ask the nurse.", arm.spoken()),
        [] => "Ask the nurse.".to_owned(),
        _ => "Use an arm, or ask the nurse.".to_owned(),
    };
    Some(format!(
        "The care plan says not to use the {}. {instead}",
        named.join(" or the ")
    ))
}

struct Waiting<'a> {
    recent: &'a [Recent],
    now: DateTime<FixedOffset>,
    home: &'a HomeLimits,
}

impl Waiting<'_> {
    /// The caution to wait after the latest of `activities`, while the wait
    /// lasts.
    fn after(
        &self,
        activities: &[Activity],
        kind: CautionKind,
        wait: fn(&Thresholds) -> u32,
        publication: &str,
    ) -> Option<Caution> {
        let done = |it: &&Recent| activities.contains(&it.activity) && it.at <= self.now;
        let latest = self.recent.iter().filter(done).max_by_key(|it| it.at)?;
        let wait_for = TimeDelta::minutes(wait(self.home.thresholds()).into());
        let until = latest.at + wait_for;
        if self.now >= until {
            return None;
        }
        let ago = match (self.now - latest.at).num_minutes() {
            0 => "just now".to_owned(),
            1 => "1 minute ago".to_owned(),
            minutes => format!("{minutes} minutes ago"),
        };
        // Rounded up, so that the minute said is never too early.
        let left = (until - self.now + TimeDelta::seconds(59)).num_minutes();
        let minutes = if left == 1 { "minute" } else { "minutes" };
        Some(Caution {
            kind,
            say: format!(
                "{} {ago}. Wait {left} more {minutes}, or ask the nurse.",
                latest.activity.past()
            ),
            wait_until: Some(until),
            source: self.home.source_of(publication, wait),
        })
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal::dec;

    use super::*;
    use crate::vitals::history::tests::at;
    use crate::vitals::{LimbReason, Quantity, Unit};

    fn found(
        precautions: &Precautions,
        plan: Plan,
        recent: &[Recent],
        clock: &str,
    ) -> Vec<Caution> {
        let home = HomeLimits::default();
        let cautions = cautions(precautions, &plan, recent, at(9, clock), &home);
        for caution in &cautions {
            let defers =
                caution.say.contains("nurse") || caution.kind == CautionKind::CountFullMinute;
            assert!(defers, "{}", caution.say);
        }
        cautions
    }

    fn kinds(
        precautions: &Precautions,
        plan: Plan,
        recent: &[Recent],
        clock: &str,
    ) -> Vec<CautionKind> {
        let found = found(precautions, plan, recent, clock);
        found.into_iter().map(|it| it.kind).collect()
    }

    fn by(method: Method) -> Plan {
        Plan {
            method: Some(method),
            ..Plan::of(VitalSign::Temperature)
        }
    }

    fn cuff(limb: Option<Arm>) -> Plan {
        Plan {
            limb,
            ..Plan::of(VitalSign::BloodPressure)
        }
    }

    #[test]
    fn nothing_is_said_where_nothing_applies() {
        let none = Precautions::default();
        for sign in VitalSign::ALL {
            assert_eq!(kinds(&none, Plan::of(sign), &[], "08:00"), [], "{sign:?}");
        }
        let all = Precautions {
            on_oxygen: true,
            mouth_breather: true,
            no_rectal: true,
            irregular_pulse: true,
            ..none
        };
        assert_eq!(kinds(&all, by(Method::Tympanic), &[], "08:00"), []);
        assert_eq!(
            kinds(&all, Plan::of(VitalSign::Respiration), &[], "08:00"),
            []
        );
    }

    /// Common practice, no source.
    #[test]
    fn oral_and_rectal_routes() {
        let precautions = Precautions {
            on_oxygen: true,
            mouth_breather: true,
            no_rectal: true,
            ..Precautions::default()
        };
        let oral = kinds(&precautions, by(Method::Oral), &[], "08:00");
        let both = [CautionKind::OralOnOxygen, CautionKind::OralMouthBreather];
        assert_eq!(oral, both);
        let rectal = kinds(&precautions, by(Method::Rectal), &[], "08:00");
        assert_eq!(rectal, [CautionKind::NoRectal]);
    }

    /// Common practice, no source: 15–30 minutes; 30 here.
    #[test]
    fn an_oral_temperature_waits_after_eating_drinking_or_smoking() {
        for activity in [Activity::Ate, Activity::Drank, Activity::Smoked] {
            let recent = [Recent {
                activity,
                at: at(9, "08:00"),
            }];
            let none = Precautions::default();
            let oral = |clock| kinds(&none, by(Method::Oral), &recent, clock);
            assert_eq!(oral("08:29"), [CautionKind::OralTooSoon]);
            assert_eq!(oral("08:30"), []);
            assert_eq!(oral("08:31"), []);
            assert_eq!(oral("07:59"), [], "not yet");
            assert_eq!(kinds(&none, by(Method::Axillary), &recent, "08:05"), []);
        }
        let recent = [
            Recent {
                activity: Activity::Ate,
                at: at(9, "07:40"),
            },
            Recent {
                activity: Activity::Drank,
                at: at(9, "08:00"),
            },
        ];
        let caution = &found(&Precautions::default(), by(Method::Oral), &recent, "08:10")[0];
        assert_eq!(
            caution.say,
            "Drank 10 minutes ago. Wait 20 more minutes, or ask the nurse."
        );
        assert_eq!(caution.wait_until, Some(at(9, "08:30")));
    }

    #[test]
    fn an_arm_not_to_use_is_named_without_its_reason() {
        let mut precautions = Precautions::default();
        let fistula = (Arm::Left, LimbReason::Fistula);
        precautions.limbs_not_to_use.extend([fistula]);
        let say = |limb| {
            let found = found(&precautions, cuff(limb), &[], "08:00");
            found.into_iter().map(|it| it.say).collect::<Vec<_>>()
        };
        let left =
            ["The care plan says not to use the left arm. Use the right arm, or ask the nurse."];
        assert_eq!(say(None), left);
        assert_eq!(say(Some(Arm::Left)), left);
        assert!(say(Some(Arm::Right)).is_empty());
        let weakness = (Arm::Right, LimbReason::Weakness);
        precautions.limbs_not_to_use.extend([weakness]);
        let said = &found(&precautions, cuff(None), &[], "08:00")[0].say;
        assert_eq!(
            said,
            "The care plan says not to use the left arm or the right arm. Ask the nurse."
        );
    }

    /// Whelton PK et al. 2018: 30 minutes after smoking or exercise (from memory).
    #[test]
    fn a_blood_pressure_waits() {
        let none = Precautions::default();
        for activity in [Activity::Smoked, Activity::Exercised] {
            let recent = [Recent {
                activity,
                at: at(9, "08:00"),
            }];
            let taken = |clock| kinds(&none, cuff(None), &recent, clock);
            assert_eq!(taken("08:29"), [CautionKind::PressureTooSoon]);
            assert_eq!(taken("08:30"), []);
        }
    }

    /// Common practice, no source.
    #[test]
    fn pulse_rest_and_chair() {
        let irregular = Precautions {
            irregular_pulse: true,
            ..Precautions::default()
        };
        let pulse = kinds(&irregular, Plan::of(VitalSign::Pulse), &[], "08:00");
        assert_eq!(pulse, [CautionKind::CountFullMinute]);
        let recent = [Recent {
            activity: Activity::Exercised,
            at: at(9, "08:00"),
        }];
        let breaths = |clock| {
            let plan = Plan::of(VitalSign::Respiration);
            kinds(&Precautions::default(), plan, &recent, clock)
        };
        assert_eq!(breaths("08:09"), [CautionKind::RestFirst]);
        assert_eq!(breaths("08:10"), []);
        let wheelchair = Plan {
            scale: Some(Scale::Wheelchair),
            ..Plan::of(VitalSign::Weight)
        };
        let unknown = kinds(&Precautions::default(), wheelchair, &[], "08:00");
        assert_eq!(unknown, [CautionKind::ChairNotKnown]);
        let known = Precautions {
            chair_weight: Some(Quantity::new(dec!(38), Unit::Pound)),
            ..Precautions::default()
        };
        assert_eq!(kinds(&known, wheelchair, &[], "08:00"), []);
        let said = |precautions: &Precautions, less_chair: bool| {
            let less_chair = Some(less_chair);
            let plan = Plan {
                less_chair,
                ..wheelchair
            };
            kinds(precautions, plan, &[], "08:00")
        };
        assert_eq!(said(&known, false), [CautionKind::WithChair]);
        assert_eq!(said(&known, true), []);
        // "Less forty": the chair was weighed just now.
        assert_eq!(said(&Precautions::default(), true), []);
    }
}
