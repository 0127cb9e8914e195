//! The National Early Warning Score 2, where a home turns it on. Only from a
//! complete set, as numbers and words: its chart and colours are not used.

use chrono::{DateTime, FixedOffset, TimeDelta};
use rust_decimal::{Decimal, RoundingStrategy, dec};
use serde::{Deserialize, Serialize};

use super::{Flag, Known, Rule};
use crate::vitals::sources::EARLY_WARNING;
use crate::vitals::{
    Alertness, Component, History, Layer, Precautions, Qualifier, QualifierKind, Reading, Supply,
    Unit, Value, VitalSign,
};

/// The acknowledgement to show wherever the score is shown.
pub const ACKNOWLEDGEMENT: &str = "Early-warning score: Royal College of Physicians. National \
    Early Warning Score (NEWS) 2: Standardising the assessment of acute-illness severity in the \
    NHS. Updated report of a working party. London: RCP, 2017.";

/// A part of the score.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Parameter {
    /// Respirations a minute.
    Respiration,
    /// Oxygen saturation.
    Saturation,
    /// Air or oxygen.
    Supply,
    /// Systolic pressure.
    Systolic,
    /// Pulse.
    Pulse,
    /// Level of alertness.
    Alertness,
    /// Temperature.
    Temperature,
}

impl Parameter {
    /// The name as spoken.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Respiration => "respiration",
            Self::Saturation => "oxygen saturation",
            Self::Supply => "air or oxygen",
            Self::Systolic => "systolic pressure",
            Self::Pulse => "pulse",
            Self::Alertness => "alertness",
            Self::Temperature => "temperature",
        }
    }
}

/// Which saturation scale applies. The second is for residents for whom a
/// clinician has set a target of 88–92 %.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SaturationScale {
    /// Scale 1, for everyone else.
    #[default]
    One,
    /// Scale 2.
    Two,
}

impl SaturationScale {
    /// The one for a resident's precautions.
    #[must_use]
    pub const fn of(precautions: &Precautions) -> Self {
        if precautions.low_saturation_target {
            Self::Two
        } else {
            Self::One
        }
    }
}

/// One set of observations; a part that was not taken is `None`.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Observations {
    /// Breaths a minute.
    pub respiration: Option<Decimal>,
    /// Per cent.
    pub saturation: Option<Decimal>,
    /// Whether oxygen was given.
    pub on_oxygen: Option<bool>,
    /// mmHg.
    pub systolic: Option<Decimal>,
    /// Beats a minute.
    pub pulse: Option<Decimal>,
    /// Level of alertness.
    pub alertness: Option<Alertness>,
    /// °C.
    pub celsius: Option<Decimal>,
}

/// A score and what it is made of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EarlyWarning {
    /// 0 to 20.
    pub total: u8,
    /// What each part scores, in the order of the publication.
    pub parts: Vec<(Parameter, u8)>,
    /// The saturation scale used.
    pub scale: SaturationScale,
}

/// Upper end of a band (`None`: no end) and what it scores.
pub(super) type Band = (Option<Decimal>, u8);

pub(super) const RESPIRATION: [Band; 5] = [
    (Some(dec!(8)), 3),
    (Some(dec!(11)), 1),
    (Some(dec!(20)), 0),
    (Some(dec!(24)), 2),
    (None, 3),
];
pub(super) const SATURATION_1: [Band; 4] = [
    (Some(dec!(91)), 3),
    (Some(dec!(93)), 2),
    (Some(dec!(95)), 1),
    (None, 0),
];
pub(super) const SATURATION_2_AIR: [Band; 4] = [
    (Some(dec!(83)), 3),
    (Some(dec!(85)), 2),
    (Some(dec!(87)), 1),
    (None, 0),
];
pub(super) const SATURATION_2_OXYGEN: [Band; 7] = [
    (Some(dec!(83)), 3),
    (Some(dec!(85)), 2),
    (Some(dec!(87)), 1),
    (Some(dec!(92)), 0),
    (Some(dec!(94)), 1),
    (Some(dec!(96)), 2),
    (None, 3),
];
pub(super) const SYSTOLIC: [Band; 5] = [
    (Some(dec!(90)), 3),
    (Some(dec!(100)), 2),
    (Some(dec!(110)), 1),
    (Some(dec!(219)), 0),
    (None, 3),
];
pub(super) const PULSE: [Band; 6] = [
    (Some(dec!(40)), 3),
    (Some(dec!(50)), 1),
    (Some(dec!(90)), 0),
    (Some(dec!(110)), 1),
    (Some(dec!(130)), 2),
    (None, 3),
];
pub(super) const TEMPERATURE: [Band; 5] = [
    (Some(dec!(35.0)), 3),
    (Some(dec!(36.0)), 1),
    (Some(dec!(38.0)), 0),
    (Some(dec!(39.0)), 1),
    (None, 2),
];
pub(super) const OXYGEN: u8 = 2;
pub(super) const NOT_ALERT: u8 = 3;

fn score(value: Decimal, bands: &[Band]) -> u8 {
    let band = bands
        .iter()
        .find(|(end, _)| end.is_none_or(|end| value <= end));
    band.map_or(0, |(_, score)| *score)
}

impl Observations {
    /// The newest reading of each part within `span` up to `now`.
    #[must_use]
    pub fn gather(history: &History, now: DateTime<FixedOffset>, span: TimeDelta) -> Self {
        let newest = |sign| history.within(sign, now, span);
        let number = |sign, part, unit| newest(sign)?.number(part, unit);
        let whole = |sign, unit| number(sign, Component::Whole, unit);
        let supply = |it: &Reading| match it.measurement.qualifiers().get(QualifierKind::Supply) {
            Some(Qualifier::Supply(supply)) => Some(supply != Supply::RoomAir),
            _ => None,
        };
        let level = |it: &Reading| match it.measurement.value() {
            Value::Level(level) => Some(level),
            _ => None,
        };
        Self {
            respiration: whole(VitalSign::Respiration, Unit::PerMinute),
            saturation: whole(VitalSign::OxygenSaturation, Unit::Percent),
            on_oxygen: newest(VitalSign::OxygenSaturation).and_then(supply),
            systolic: number(VitalSign::BloodPressure, Component::Systolic, Unit::MmHg),
            pulse: whole(VitalSign::Pulse, Unit::PerMinute),
            alertness: newest(VitalSign::Alertness).and_then(level),
            celsius: whole(VitalSign::Temperature, Unit::Celsius),
        }
    }

    /// The parts that were not taken.
    #[must_use]
    pub fn missing(&self) -> Vec<Parameter> {
        let taken = [
            (Parameter::Respiration, self.respiration.is_some()),
            (Parameter::Saturation, self.saturation.is_some()),
            (Parameter::Supply, self.on_oxygen.is_some()),
            (Parameter::Systolic, self.systolic.is_some()),
            (Parameter::Pulse, self.pulse.is_some()),
            (Parameter::Alertness, self.alertness.is_some()),
            (Parameter::Temperature, self.celsius.is_some()),
        ];
        let missing = taken.into_iter().filter(|(_, taken)| !taken);
        missing.map(|(parameter, _)| parameter).collect()
    }
}

/// The score of a complete set of observations.
///
/// A temperature is rounded to the tenth of a degree Celsius in which the
/// published bands are printed: 100.5 °F is 38.1 °C.
///
/// # Errors
/// The parts that are missing: there is no score from a partial set.
pub fn early_warning_score(
    set: &Observations,
    scale: SaturationScale,
) -> Result<EarlyWarning, Vec<Parameter>> {
    let &Observations {
        respiration: Some(respiration),
        saturation: Some(saturation),
        on_oxygen: Some(on_oxygen),
        systolic: Some(systolic),
        pulse: Some(pulse),
        alertness: Some(alertness),
        celsius: Some(celsius),
    } = set
    else {
        return Err(set.missing());
    };
    let saturation_bands: &[Band] = match (scale, on_oxygen) {
        (SaturationScale::One, _) => &SATURATION_1,
        (SaturationScale::Two, false) => &SATURATION_2_AIR,
        (SaturationScale::Two, true) => &SATURATION_2_OXYGEN,
    };
    let half_up = RoundingStrategy::MidpointAwayFromZero;
    let celsius = celsius.round_dp_with_strategy(1, half_up);
    let parts = vec![
        (Parameter::Respiration, score(respiration, &RESPIRATION)),
        (Parameter::Saturation, score(saturation, saturation_bands)),
        (Parameter::Supply, if on_oxygen { OXYGEN } else { 0 }),
        (Parameter::Systolic, score(systolic, &SYSTOLIC)),
        (Parameter::Pulse, score(pulse, &PULSE)),
        (
            Parameter::Alertness,
            if alertness == Alertness::Alert {
                0
            } else {
                NOT_ALERT
            },
        ),
        (Parameter::Temperature, score(celsius, &TEMPERATURE)),
    ];
    let total = parts.iter().map(|(_, score)| score).sum();
    Ok(EarlyWarning {
        total,
        parts,
        scale,
    })
}

/// The flag for a score at or above the home's thresholds, or with a single
/// part of 3. `None` where the home has not turned the score on.
#[must_use]
pub fn early_warning_flag(known: Known<'_>, score: &EarlyWarning) -> Option<Flag> {
    let home = known.limits.home();
    if !home.early_warning_score() {
        return None;
    }
    let thresholds = home.thresholds();
    let (first, urgent) = (thresholds.early_warning, thresholds.early_warning_urgent);
    let threes = score.parts.iter().filter(|(_, score)| *score == 3);
    let threes: Vec<&str> = threes.map(|(parameter, _)| parameter.name()).collect();
    if score.total < first && threes.is_empty() {
        return None;
    }
    let single = if threes.is_empty() {
        String::new()
    } else {
        format!(" {} scores 3.", super::capital(&threes.join(" and ")))
    };
    let report = if score.total >= urgent {
        "Report to the nurse now."
    } else {
        "Report to the nurse."
    };
    Some(Flag {
        rule: Rule::EarlyWarning,
        layer: Layer::OutsideRange,
        sign: None,
        say: format!("Early-warning score {}.{single} {report}", score.total),
        limit: format!("{first} or more, at once from {urgent}, or a single 3"),
        source: home.source_of(EARLY_WARNING, |it| {
            (it.early_warning, it.early_warning_urgent)
        }),
    })
}

/// How close together the parts of a score must be taken: one round's visit. Common
/// practice, no source.
pub const ONE_VISIT: TimeDelta = TimeDelta::hours(1);

/// The score of a visit that ended at `now`, and what it raises, if it raises anything.
#[must_use]
pub fn early_warning_of_visit(known: Known<'_>, now: DateTime<FixedOffset>) -> Option<(u8, Flag)> {
    let score = of_visit(known, now)?;
    let flag = early_warning_flag(known, &score)?;
    Some((score.total, flag))
}

/// Whether the score of a visit that ended at `now` is one from which on the nurse is told
/// at once; none where the visit has no score.
#[must_use]
pub fn is_to_be_told_at_once(known: Known<'_>, now: DateTime<FixedOffset>) -> Option<bool> {
    let urgent = known.thresholds().early_warning_urgent;
    of_visit(known, now).map(|it| it.total >= urgent)
}

fn of_visit(known: Known<'_>, now: DateTime<FixedOffset>) -> Option<EarlyWarning> {
    let scale = SaturationScale::of(known.precautions);
    let set = Observations::gather(known.history, now, ONE_VISIT);
    early_warning_score(&set, scale).ok()
}

/// What a change of a reading does to the scores that its visit raised, now that it raises
/// this or nothing: those of them that do not hold any more, and what is to be raised, if
/// that is not among them already.
pub fn settle_scores<'a, K>(
    raised: impl IntoIterator<Item = (K, &'a Flag)>,
    now: Option<Flag>,
) -> (Vec<K>, Option<Flag>) {
    let raised = raised.into_iter();
    let (holds, gone): (Vec<_>, Vec<_>) = raised.partition(|(_, it)| now.as_ref() == Some(*it));
    let gone = gone.into_iter().map(|(key, _)| key).collect();
    (gone, now.filter(|_| holds.is_empty()))
}

#[cfg(test)]
mod tests;
