//! Observations that are not a plain measurement: pain as the resident rates
//! it, the flow of oxygen, and the level of alertness.

use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Pain as the resident rates it, on the 0–10 numeric rating scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "Option<u8>", into = "Option<u8>")]
pub enum Pain {
    /// A number from 0 (none) to 10 (worst).
    Rated(PainScore),
    /// The resident can't say. That is an observation of its own: the nurse
    /// chooses another way of finding out.
    CannotSay,
}

/// A pain score from 0 to 10.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PainScore(u8);

/// A pain score that is not on the scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("pain is a whole number from 0 to 10, not {said}")]
pub struct NotOnScale {
    /// The number as said.
    pub said: Decimal,
}

impl PainScore {
    /// A score on the scale.
    ///
    /// # Errors
    /// [`NotOnScale`] for anything but a whole number from 0 to 10.
    pub fn new(said: Decimal) -> Result<Self, NotOnScale> {
        let whole = said.is_integer().then(|| u8::try_from(said).ok());
        match whole.flatten() {
            Some(score @ 0..=10) => Ok(Self(score)),
            _ => Err(NotOnScale { said }),
        }
    }

    /// The score.
    #[must_use]
    pub const fn get(self) -> u8 {
        self.0
    }
}

impl TryFrom<Option<u8>> for Pain {
    type Error = NotOnScale;

    fn try_from(score: Option<u8>) -> Result<Self, NotOnScale> {
        let Some(score) = score else {
            return Ok(Self::CannotSay);
        };
        PainScore::new(score.into()).map(Self::Rated)
    }
}

impl From<Pain> for Option<u8> {
    fn from(pain: Pain) -> Self {
        match pain {
            Pain::Rated(score) => Some(score.get()),
            Pain::CannotSay => None,
        }
    }
}

/// Flow of oxygen in litres a minute.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "Decimal", into = "Decimal")]
pub struct OxygenFlow(Decimal);

/// A flow of oxygen that a wall or bottle flowmeter does not give.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("an oxygen flow is from 0.1 to 15 liters a minute, not {said}")]
pub struct NotAFlow {
    /// The number as said.
    pub said: Decimal,
}

impl OxygenFlow {
    /// Lowest flow of the usual flowmeter, in litres a minute. Common practice,
    /// no source.
    pub const LOWEST: Decimal = dec!(0.1);
    /// Highest flow of the usual flowmeter, in litres a minute. Common
    /// practice, no source.
    pub const HIGHEST: Decimal = dec!(15);

    /// A flow of oxygen in litres a minute; none at all is room air and not a
    /// flow.
    ///
    /// # Errors
    /// [`NotAFlow`] for less or more than a flowmeter gives.
    pub fn new(said: Decimal) -> Result<Self, NotAFlow> {
        if said < Self::LOWEST || said > Self::HIGHEST {
            return Err(NotAFlow { said });
        }
        Ok(Self(said.normalize()))
    }

    /// Litres a minute.
    #[must_use]
    pub const fn litres_a_minute(self) -> Decimal {
        self.0
    }
}

impl TryFrom<Decimal> for OxygenFlow {
    type Error = NotAFlow;

    fn try_from(said: Decimal) -> Result<Self, NotAFlow> {
        Self::new(said)
    }
}

impl From<OxygenFlow> for Decimal {
    fn from(flow: OxygenFlow) -> Self {
        flow.0
    }
}

/// Level of alertness in the words of the early-warning score (Royal College
/// of Physicians, NEWS2, 2017). What the aide sees; not an assessment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Alertness {
    /// Awake and alert.
    Alert,
    /// Newly confused.
    NewConfusion,
    /// Responds to voice.
    Voice,
    /// Responds to pain.
    Pain,
    /// Does not respond.
    Unresponsive,
}

impl Alertness {
    /// Every level, the most awake first.
    pub const ALL: [Self; 5] = [
        Self::Alert,
        Self::NewConfusion,
        Self::Voice,
        Self::Pain,
        Self::Unresponsive,
    ];

    /// The wording in a read-back.
    #[must_use]
    pub const fn spoken(self) -> &'static str {
        match self {
            Self::Alert => "alert",
            Self::NewConfusion => "new confusion",
            Self::Voice => "responds to voice",
            Self::Pain => "responds to pain",
            Self::Unresponsive => "unresponsive",
        }
    }

    /// The tag in grammar files.
    #[must_use]
    pub const fn tag(self) -> &'static str {
        match self {
            Self::Alert => "alert",
            Self::NewConfusion => "new_confusion",
            Self::Voice => "responds_to_voice",
            Self::Pain => "responds_to_pain",
            Self::Unresponsive => "unresponsive",
        }
    }

    /// The level with this [`tag`](Self::tag).
    #[must_use]
    pub fn from_tag(tag: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|level| level.tag() == tag)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pain_is_a_whole_number_from_0_to_10() {
        for good in [dec!(0), dec!(1), dec!(9), dec!(10), dec!(10.0)] {
            assert!(PainScore::new(good).is_ok(), "{good}");
        }
        for bad in [dec!(-1), dec!(11), dec!(4.5), dec!(256)] {
            assert_eq!(PainScore::new(bad), Err(NotOnScale { said: bad }));
        }
    }

    #[test]
    fn a_resident_who_cannot_say_is_kept_as_such() {
        let json = serde_json::to_string(&Pain::CannotSay).unwrap();
        assert_eq!(
            serde_json::from_str::<Pain>(&json).unwrap(),
            Pain::CannotSay
        );
        let rated = serde_json::from_str::<Pain>("7").unwrap();
        assert_eq!(Option::<u8>::from(rated), Some(7));
        assert!(serde_json::from_str::<Pain>("11").is_err());
    }

    #[test]
    fn a_flow_is_more_than_none_and_at_most_the_flowmeters() {
        assert!(OxygenFlow::new(dec!(0)).is_err());
        assert!(OxygenFlow::new(dec!(0.09)).is_err());
        assert!(OxygenFlow::new(dec!(0.1)).is_ok());
        assert!(OxygenFlow::new(dec!(15)).is_ok());
        assert!(OxygenFlow::new(dec!(15.5)).is_err());
    }

    #[test]
    fn every_tag_names_one_level() {
        for level in Alertness::ALL {
            assert_eq!(Alertness::from_tag(level.tag()), Some(level));
        }
    }
}
