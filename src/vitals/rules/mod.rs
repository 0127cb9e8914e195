//! Rules over several readings. Each compares a new reading with the
//! resident's own past or baseline, or with a published criterion, and says
//! what to report; none says what it means.

mod change;
mod early_warning;
mod fever;
mod orthostatic;
mod table;
mod told;
mod weight;

use serde::{Deserialize, Serialize};

use super::sources::{LONG_TERM_CARE_BREATHING, TRADE};
use super::{
    Alertness, Baselines, Component, History, Layer, Limits, OxygenFlow, Pain, PainScore,
    Precautions, Qualifier, QualifierKind, Reading, Source, Supply, Thresholds, Unit, Value,
    VitalSign,
};

pub use early_warning::{
    ACKNOWLEDGEMENT, EarlyWarning, ONE_VISIT, Observations, Parameter, SaturationScale,
    early_warning_flag, early_warning_of_visit, early_warning_score, is_to_be_told_at_once,
    settle_scores,
};
pub use orthostatic::{Moment, OrthostaticTest, Step, StepError, standing_fall};
pub use table::rules_table;
pub use told::{ToldWrong, fall_in_doubt, told_wrong};
pub use weight::{WeightChange, is_far_from_last, weight_changes};

/// A rule that can raise a [`Flag`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rule {
    /// One oral temperature above the long-term-care criterion.
    SingleOral,
    /// Repeated oral temperatures above it.
    RepeatedOral,
    /// Repeated rectal temperatures above it.
    RepeatedRectal,
    /// A temperature above the resident's own baseline.
    OverBaseline,
    /// Respirations at or above the criterion.
    FastBreathing,
    /// Saturation below the criterion.
    LowSaturation,
    /// Weight lost or gained over so many days.
    WeightChange {
        /// 30, 90 or 180.
        days: u16,
    },
    /// Pressure lower standing than lying.
    StandingFall,
    /// Changed against the resident's usual value.
    ChangeFromUsual,
    /// Four readings that go one way.
    Trend,
    /// Early-warning score at or above a threshold.
    EarlyWarning,
    /// Pain rated at or above the threshold.
    Pain,
    /// Pain asked about and not rated.
    PainNotRated,
    /// Not fully alert.
    NotAlert,
    /// Oxygen flow unlike the care plan's.
    OxygenFlow,
    /// A nurse was told of a reading that does not hold any more.
    ToldWrong,
}

/// Something to report to the nurse, and on whose word.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Flag {
    /// Which rule.
    pub rule: Rule,
    /// Which layer of limits it belongs to.
    pub layer: Layer,
    /// The vital sign it is about; `None` for a score of several.
    pub sign: Option<VitalSign>,
    /// What to say: plain text with numbers in digits, ending in what to do.
    pub say: String,
    /// The limit in force, as the record shows it.
    pub limit: String,
    /// Who or what set that limit.
    pub source: Source,
}

/// What the rules know of a resident.
#[derive(Debug, Clone, Copy)]
pub struct Known<'a> {
    /// Earlier readings; the one being judged may be among them.
    pub history: &'a History,
    /// Usual values set by a nurse.
    pub baselines: &'a Baselines,
    /// The resident's limits, with the home's below them.
    pub limits: &'a Limits,
    /// What the care plan says.
    pub precautions: &'a Precautions,
}

impl<'a> Known<'a> {
    fn thresholds(&self) -> &'a Thresholds {
        self.limits.home().thresholds()
    }

    fn source<T: PartialEq>(&self, publication: &str, of: impl Fn(&Thresholds) -> T) -> Source {
        self.limits.home().source_of(publication, of)
    }
}

/// Every flag that one reading raises against the resident's past: temperature
/// criteria, fast breathing, low saturation, weight change, change from the
/// usual, trends, pain, alertness, and oxygen flow. A standing fall needs the guided sequence
/// ([`OrthostaticTest`]) and an early-warning score its complete set
/// ([`early_warning_score`]).
#[must_use]
pub fn flags(known: Known<'_>, reading: &Reading) -> Vec<Flag> {
    let before_home;
    let mut known = known;
    if known.limits.home().since() > Some(reading.at.date_naive()) {
        before_home = known.limits.without_home();
        known.limits = &before_home;
    }
    let mut flags = match reading.measurement.sign() {
        VitalSign::Temperature => fever::flags(known, reading),
        VitalSign::Weight => weight::flags(known, reading),
        VitalSign::Pain | VitalSign::Alertness | VitalSign::OxygenFlow => {
            observed(known, reading).into_iter().collect()
        }
        _ => Vec::new(),
    };
    if let Some(Qualifier::Supply(Supply::Oxygen(Some(flow)))) =
        reading.measurement.qualifiers().get(QualifierKind::Supply)
        && let Ok(flow) = OxygenFlow::new(flow)
    {
        flags.extend(oxygen_flow_flag(known.precautions, flow));
    }
    flags.extend(criterion(known, reading));
    flags.extend(change::from_usual(known, reading));
    flags.extend(change::trend(known, reading));
    flags
}

/// The flag for what is rated or seen rather than measured.
fn observed(known: Known<'_>, reading: &Reading) -> Option<Flag> {
    match (reading.measurement.sign(), reading.measurement.value()) {
        (VitalSign::Pain, Value::One(score)) => {
            let score = PainScore::new(score.value()).ok()?;
            pain_flag(known, Pain::Rated(score))
        }
        (VitalSign::Pain, _) => pain_flag(known, Pain::CannotSay),
        (VitalSign::Alertness, Value::Level(level)) => alertness_flag(level),
        (VitalSign::OxygenFlow, Value::One(flow)) => {
            let flow = OxygenFlow::new(flow.value()).ok()?;
            oxygen_flow_flag(known.precautions, flow)
        }
        _ => None,
    }
}

/// The guideline's single-reading criteria for respirations and saturation. A
/// range that a nurse set for this resident goes before them: a value inside it
/// is not flagged.
fn criterion(known: Known<'_>, reading: &Reading) -> Option<Flag> {
    let sign = reading.measurement.sign();
    let thresholds = known.thresholds();
    let (rule, number, limit, source) = match sign {
        VitalSign::Respiration => {
            let rate = reading.number(Component::Whole, Unit::PerMinute)?;
            let limit = thresholds.respiration_at_least;
            let source = known.source(LONG_TERM_CARE_BREATHING, |it| it.respiration_at_least);
            (rate >= limit).then(|| {
                (
                    Rule::FastBreathing,
                    rate,
                    format!("{limit} or more"),
                    source,
                )
            })?
        }
        VitalSign::OxygenSaturation => {
            let percent = reading.number(Component::Whole, Unit::Percent)?;
            let limit = thresholds.saturation_below;
            let source = known.source(LONG_TERM_CARE_BREATHING, |it| it.saturation_below);
            (percent < limit).then(|| {
                (
                    Rule::LowSaturation,
                    percent,
                    format!("below {limit}"),
                    source,
                )
            })?
        }
        _ => return None,
    };
    let own = known.limits.own_on(sign, Component::Whole, reading.at);
    if own.is_some_and(|it| it.bounds.contains(number)) {
        return None;
    }
    Some(Flag {
        rule,
        layer: Layer::OutsideRange,
        sign: Some(sign),
        say: format!(
            "{} of {number} meets the long-term-care criterion of {limit}. Report to the nurse.",
            capital(sign.name())
        ),
        limit,
        source,
    })
}

/// The flag raised by a pain rating, if any. A resident who can't say is
/// reported too: the nurse chooses another way of finding out. Common practice,
/// no source.
fn pain_flag(known: Known<'_>, pain: Pain) -> Option<Flag> {
    let limit = known.thresholds().pain_at_least;
    let (rule, say) = match pain {
        Pain::Rated(score) if score.get() >= limit => (
            Rule::Pain,
            format!("Pain rated {} of 10. Report to the nurse.", score.get()),
        ),
        Pain::Rated(_) => return None,
        Pain::CannotSay => (
            Rule::PainNotRated,
            "Pain could not be rated. Report to the nurse, who may use another scale.".to_owned(),
        ),
    };
    Some(Flag {
        rule,
        layer: Layer::OutsideRange,
        sign: Some(VitalSign::Pain),
        say,
        limit: format!("{limit} or more, or not rated"),
        source: known.source(TRADE, |it| it.pain_at_least),
    })
}

/// The flag raised by a level of alertness: any but alert is reported at once.
/// It is the single parameter that scores 3 in the early-warning score.
fn alertness_flag(level: Alertness) -> Option<Flag> {
    if level == Alertness::Alert {
        return None;
    }
    Some(Flag {
        rule: Rule::NotAlert,
        layer: Layer::OutsideRange,
        sign: Some(VitalSign::Alertness),
        say: format!("{}. Report to the nurse now.", capital(level.spoken())),
        limit: "anything but alert".to_owned(),
        source: Source::Default(super::sources::EARLY_WARNING.to_owned()),
    })
}

/// The flag raised by a flow of oxygen unlike the care plan's. `None` where the
/// care plan orders no flow, or this one. Common practice, no source.
fn oxygen_flow_flag(precautions: &Precautions, flow: OxygenFlow) -> Option<Flag> {
    let ordered = precautions.oxygen_flow.filter(|it| *it != flow)?;
    Some(Flag {
        rule: Rule::OxygenFlow,
        layer: Layer::OutsideRange,
        sign: Some(VitalSign::OxygenFlow),
        say: format!(
            "The care plan has {} liters and the flow is {}. Do not change it; report to the nurse.",
            ordered.litres_a_minute(),
            flow.litres_a_minute()
        ),
        limit: format!("{} L/min ordered", ordered.litres_a_minute()),
        source: Source::Default(TRADE.to_owned()),
    })
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|it| it.to_ascii_uppercase());
    first.into_iter().chain(letters).collect()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use rust_decimal::{Decimal, dec};

    use super::*;
    use crate::vitals::history::tests::{at, one};
    use crate::vitals::{Bounds, Measurement, Range};

    fn raised(limits: &Limits, sign: VitalSign, number: Decimal, unit: Unit) -> Vec<Rule> {
        let (history, baselines) = (History::default(), BTreeMap::new());
        let known = Known {
            history: &history,
            baselines: &baselines,
            limits,
            precautions: &Precautions::default(),
        };
        let flags = flags(known, &one(at(9, "08:00"), sign, number, unit, &[]));
        for flag in &flags {
            assert!(flag.say.ends_with("Report to the nurse."), "{}", flag.say);
        }
        flags.into_iter().map(|it| it.rule).collect()
    }

    /// High KP et al. 2009: respirations ≥25, saturation <90 % (threshold from
    /// memory).
    #[test]
    fn breathing_criteria_hold_at_and_around_their_limits() {
        let limits = Limits::default();
        let breaths = |number| raised(&limits, VitalSign::Respiration, number, Unit::PerMinute);
        assert_eq!(breaths(dec!(24)), []);
        assert_eq!(breaths(dec!(25)), [Rule::FastBreathing]);
        assert_eq!(breaths(dec!(26)), [Rule::FastBreathing]);
        let percent = |number| raised(&limits, VitalSign::OxygenSaturation, number, Unit::Percent);
        assert_eq!(percent(dec!(91)), []);
        assert_eq!(percent(dec!(90)), []);
        assert_eq!(percent(dec!(89)), [Rule::LowSaturation]);
    }

    #[test]
    fn a_nurses_own_range_goes_before_the_guideline() {
        let mut limits = Limits::default();
        let sign = VitalSign::OxygenSaturation;
        let bounds = Bounds {
            low: dec!(88),
            high: dec!(92),
            unit: Unit::Percent,
        };
        let source = Source::Nurse {
            name: "Ines Marlow".to_owned(),
            on: at(1, "08:00").date_naive(),
        };
        limits.set(sign, Component::Whole, Range { bounds, source });
        assert_eq!(raised(&limits, sign, dec!(88), Unit::Percent), []);
        let below = raised(&limits, sign, dec!(87), Unit::Percent);
        assert_eq!(below, [Rule::LowSaturation]);
    }

    /// Common practice, no source.
    #[test]
    fn pain_is_reported_from_four_up_and_when_it_cannot_be_rated() {
        let (history, baselines, limits) = Default::default();
        let known = Known {
            history: &history,
            baselines: &baselines,
            limits: &limits,
            precautions: &Precautions::default(),
        };
        let rated = |score| {
            let pain = Pain::Rated(PainScore::new(score).unwrap());
            pain_flag(known, pain).map(|it| it.rule)
        };
        assert_eq!(rated(dec!(0)), None);
        assert_eq!(rated(dec!(3)), None);
        assert_eq!(rated(dec!(4)), Some(Rule::Pain));
        assert_eq!(rated(dec!(5)), Some(Rule::Pain));
        let silent = pain_flag(known, Pain::CannotSay).unwrap();
        assert_eq!(silent.rule, Rule::PainNotRated);
    }

    #[test]
    fn anything_but_alert_is_reported_now() {
        for level in Alertness::ALL {
            let flagged = alertness_flag(level).map(|it| it.say);
            assert_eq!(flagged.is_some(), level != Alertness::Alert, "{level:?}");
            assert!(flagged.is_none_or(|say| say.ends_with("Report to the nurse now.")));
        }
    }

    #[test]
    fn a_flow_unlike_the_care_plans_is_reported_not_changed() {
        let flow = |litres| OxygenFlow::new(litres).unwrap();
        let mut precautions = Precautions::default();
        assert_eq!(oxygen_flow_flag(&precautions, flow(dec!(3))), None);
        precautions.oxygen_flow = Some(flow(dec!(2)));
        assert_eq!(oxygen_flow_flag(&precautions, flow(dec!(2.0))), None);
        let flag = oxygen_flow_flag(&precautions, flow(dec!(2.5))).unwrap();
        assert!(flag.say.contains("Do not change it"));
        assert!(oxygen_flow_flag(&precautions, flow(dec!(1.5))).is_some());
    }

    #[test]
    fn what_is_rated_or_seen_is_flagged_like_a_measurement() {
        let (history, baselines, limits) = Default::default();
        let known = Known {
            history: &history,
            baselines: &baselines,
            limits: &limits,
            precautions: &Precautions {
                oxygen_flow: OxygenFlow::new(dec!(2)).ok(),
                ..Precautions::default()
            },
        };
        let raised = |measurement| {
            let at = at(9, "08:00");
            let flags = flags(known, &Reading { at, measurement });
            flags.into_iter().map(|it| it.rule).collect::<Vec<_>>()
        };
        let rated = |score| Pain::Rated(PainScore::new(score).unwrap());
        assert_eq!(raised(Measurement::pain(rated(dec!(3)))), []);
        assert_eq!(raised(Measurement::pain(rated(dec!(4)))), [Rule::Pain]);
        assert_eq!(
            raised(Measurement::pain(Pain::CannotSay)),
            [Rule::PainNotRated]
        );
        assert_eq!(raised(Measurement::alertness(Alertness::Alert)), []);
        assert_eq!(
            raised(Measurement::alertness(Alertness::Voice)),
            [Rule::NotAlert]
        );
        let flow = one(
            at(9, "08:00"),
            VitalSign::OxygenFlow,
            dec!(3),
            Unit::LitreAMinute,
            &[],
        );
        assert_eq!(raised(flow.measurement), [Rule::OxygenFlow]);
    }
}
