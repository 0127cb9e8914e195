//! Readings that were not taken, and readings taken again.

use chrono::TimeDelta;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Why a reading was not taken.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NotTakenReason {
    /// The resident said no.
    Refused,
    /// Asleep.
    Asleep,
    /// Out of the room or the home.
    Away,
    /// Not safe, or the care plan says not to.
    NotSafe,
    /// No equipment, or none that works.
    NoEquipment,
    /// Another reason, as spoken.
    Other(String),
}

impl NotTakenReason {
    /// Every reason that needs no words of its own.
    pub const PLAIN: [Self; 5] = [
        Self::Refused,
        Self::Asleep,
        Self::Away,
        Self::NotSafe,
        Self::NoEquipment,
    ];

    /// The wording in a read-back.
    #[must_use]
    pub fn spoken(&self) -> &str {
        match self {
            Self::Refused => "refused",
            Self::Asleep => "asleep",
            Self::Away => "away",
            Self::NotSafe => "not safe",
            Self::NoEquipment => "no equipment",
            Self::Other(reason) => reason,
        }
    }

    /// The tag in grammar files.
    #[must_use]
    pub const fn tag(&self) -> &'static str {
        match self {
            Self::Refused => "refused",
            Self::Asleep => "asleep",
            Self::Away => "away",
            Self::NotSafe => "not_safe",
            Self::NoEquipment => "no_equipment",
            Self::Other(_) => "other",
        }
    }

    /// The plain reason with this [`tag`](Self::tag).
    #[must_use]
    pub fn from_tag(tag: &str) -> Option<Self> {
        Self::PLAIN.into_iter().find(|reason| reason.tag() == tag)
    }

    /// When it makes sense to try again. `None` where the nurse decides: not
    /// safe, or a reason of its own. Common practice, no source.
    #[must_use]
    pub const fn retry_after(&self) -> Option<TimeDelta> {
        match self {
            Self::Refused | Self::NoEquipment => Some(TimeDelta::minutes(30)),
            Self::Asleep | Self::Away => Some(TimeDelta::minutes(60)),
            Self::NotSafe | Self::Other(_) => None,
        }
    }
}

/// Why a reading was taken again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RetakeReason {
    /// The first was far from the usual.
    Unlikely,
    /// The first was outside the resident's range.
    OutsideRange,
    /// The aide doubted it.
    Doubted,
    /// The nurse asked.
    NurseAsked,
}

/// The link from a reading to the one it was taken again as. Both are kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Retake {
    /// The first reading.
    pub first: Uuid,
    /// The second look.
    pub again: Uuid,
    /// Why.
    pub reason: RetakeReason,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_tag_names_one_reason() {
        for reason in NotTakenReason::PLAIN {
            assert_eq!(NotTakenReason::from_tag(reason.tag()), Some(reason));
        }
        assert_eq!(
            NotTakenReason::from_tag("other"),
            None,
            "it needs its words"
        );
    }

    /// Common practice, no source.
    #[test]
    fn a_retry_is_offered_where_the_aide_can_decide() {
        let retry = |reason: NotTakenReason| reason.retry_after();
        assert_eq!(retry(NotTakenReason::Asleep), Some(TimeDelta::minutes(60)));
        assert_eq!(retry(NotTakenReason::Refused), Some(TimeDelta::minutes(30)));
        assert_eq!(retry(NotTakenReason::NotSafe), None);
        assert_eq!(retry(NotTakenReason::Other("cast".to_owned())), None);
    }
}
