//! Counts of beats or breaths into a rate a minute.

use thiserror::Error;

use super::{Measurement, Qualifier, QualifierKind, Rhythm, VitalSign, Working};

/// How late the word that ends a timed count may be, in seconds. Later, the time
/// of the count is not known. Two seconds in thirty are 7 %.
pub const LATE_SECONDS: u16 = 2;

/// Over how many seconds to count: as was said, or half a minute, or the full
/// minute where the rhythm is uneven, whatever was said. Common practice, no
/// source; nursing textbooks such as `OpenStax`, Clinical Nursing Skills, have it
/// too (from memory).
///
/// # Errors
/// [`CountError`] for a time other than 15, 30 or 60 seconds, and for what is
/// neither pulse nor respiration.
pub fn period(sign: VitalSign, said: Option<u16>, irregular: bool) -> Result<u16, CountError> {
    let seconds = said.unwrap_or(30);
    rate(sign, 0, seconds, None, false)?;
    Ok(if irregular { 60 } else { seconds })
}

/// Why a count gives no rate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum CountError {
    /// An uneven rhythm multiplied up from a part of a minute is not a rate.
    #[error("an irregular {} needs the full minute: count again for sixty seconds", sign.name())]
    NeedsFullMinute {
        /// Which vital sign.
        sign: VitalSign,
    },
    /// A time over which nobody counts.
    #[error("counts are over fifteen, thirty, or sixty seconds, not {seconds}")]
    Period {
        /// The seconds as said.
        seconds: u16,
    },
    /// A vital sign that is not counted.
    #[error("{} is not counted", sign.name())]
    NotCounted {
        /// Which vital sign.
        sign: VitalSign,
    },
}

/// The rate a minute of `counted` beats or breaths in `seconds` (15, 30 or 60).
///
/// `known_irregular` is the resident's precaution: it asks for the full minute
/// even when no rhythm was said. Common practice, no source: an irregular
/// rhythm is counted for sixty seconds.
///
/// # Errors
/// [`CountError`] when the rhythm needs the full minute, the time is none of
/// the three, or `sign` is neither pulse nor respiration.
pub fn rate(
    sign: VitalSign,
    counted: u16,
    seconds: u16,
    rhythm: Option<Rhythm>,
    known_irregular: bool,
) -> Result<u16, CountError> {
    if !matches!(sign, VitalSign::Pulse | VitalSign::Respiration) {
        return Err(CountError::NotCounted { sign });
    }
    let times = match seconds {
        15 => 4,
        30 => 2,
        60 => 1,
        _ => return Err(CountError::Period { seconds }),
    };
    // A known irregular pulse says nothing about breathing.
    let known = known_irregular && sign == VitalSign::Pulse;
    if times > 1 && (known || rhythm == Some(Rhythm::Irregular)) {
        return Err(CountError::NeedsFullMinute { sign });
    }
    // Saturates far beyond what a person can have, which is refused later.
    Ok(counted.saturating_mul(times))
}

/// Why a reading can't stand that was counted over part of a minute and is irregular.
#[must_use]
pub fn short_count(measurement: &Measurement, working: Option<Working>) -> Option<CountError> {
    let rhythm = measurement.qualifiers().get(QualifierKind::Rhythm);
    let irregular = rhythm == Some(Qualifier::Rhythm(Rhythm::Irregular));
    let short = matches!(working, Some(Working::Counted { seconds, .. }) if seconds < 60);
    let sign = measurement.sign();
    (irregular && short).then_some(CountError::NeedsFullMinute { sign })
}

#[cfg(test)]
mod tests {
    use super::*;

    const PULSE: VitalSign = VitalSign::Pulse;

    /// Common practice, no source.
    #[test]
    fn a_count_over_part_of_a_minute_is_multiplied_up() {
        assert_eq!(rate(PULSE, 18, 15, None, false), Ok(72));
        assert_eq!(rate(PULSE, 36, 30, Some(Rhythm::Regular), false), Ok(72));
        assert_eq!(rate(PULSE, 72, 60, None, false), Ok(72));
        assert_eq!(rate(VitalSign::Respiration, 9, 30, None, false), Ok(18));
        assert_eq!(rate(PULSE, u16::MAX, 15, None, false), Ok(u16::MAX));
    }

    #[test]
    fn other_times_are_refused() {
        for seconds in [0, 14, 16, 29, 31, 59, 61] {
            let refused = Err(CountError::Period { seconds });
            assert_eq!(rate(PULSE, 18, seconds, None, false), refused);
        }
    }

    #[test]
    fn an_irregular_rhythm_needs_the_full_minute() {
        let error = CountError::NeedsFullMinute { sign: PULSE };
        let refused = Err(error);
        let irregular = Some(Rhythm::Irregular);
        assert_eq!(rate(PULSE, 36, 30, irregular, false), refused);
        assert_eq!(rate(PULSE, 18, 15, irregular, false), refused);
        assert_eq!(rate(PULSE, 71, 60, irregular, false), Ok(71));
        assert_eq!(rate(PULSE, 36, 30, None, true), refused, "a precaution");
        assert_eq!(rate(PULSE, 71, 60, None, true), Ok(71));
        assert_eq!(rate(VitalSign::Respiration, 9, 30, None, true), Ok(18));
        assert_eq!(
            error.to_string(),
            "an irregular pulse needs the full minute: count again for sixty seconds"
        );
    }

    #[test]
    fn a_count_takes_half_a_minute_or_what_was_said_or_the_full_minute() {
        assert_eq!(period(PULSE, None, false), Ok(30));
        assert_eq!(period(PULSE, Some(15), false), Ok(15));
        assert_eq!(period(PULSE, Some(15), true), Ok(60));
        assert_eq!(period(VitalSign::Respiration, None, true), Ok(60));
        let refused = Err(CountError::Period { seconds: 20 });
        assert_eq!(period(PULSE, Some(20), true), refused);
        let sign = VitalSign::Weight;
        assert_eq!(
            period(sign, None, false),
            Err(CountError::NotCounted { sign })
        );
    }

    #[test]
    fn only_beats_and_breaths_are_counted() {
        let sign = VitalSign::Weight;
        assert_eq!(
            rate(sign, 1, 60, None, false),
            Err(CountError::NotCounted { sign })
        );
    }
}
