//! The only way from a claim to a stored reading: it is complete ([`Ready`]), it
//! was read back ([`ReadBack`]), and a yes was heard ([`Yes`]), or a page came back on
//! which these very words were shown.

use serde::Serialize;
use uuid::Uuid;

use super::{ByHand, MovedFrom, ReadingRecord, Time};
use crate::hearing::{By, Sound};
use crate::residents::ResidentId;
use crate::speaking::wording;
use crate::understanding::{Claim, Yes};
use crate::vitals::{self, Measurement, QualifierKind, WentOn};

/// A claim with every required qualifier, and when it was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Ready {
    claim: Claim,
    measured_at: Time,
    spoken_at: Time,
    went_on: Vec<WentOn>,
    moved_from: Option<MovedFrom>,
    by_hand: Option<ByHand>,
}

impl Ready {
    /// Checks that nothing required is missing.
    ///
    /// # Errors
    /// The qualifiers to ask for.
    pub fn new(
        claim: Claim,
        measured_at: Time,
        spoken_at: Time,
        went_on: Vec<WentOn>,
    ) -> Result<Self, Vec<QualifierKind>> {
        let measurement = &claim.measurement;
        let missing = measurement.qualifiers().missing(measurement.sign());
        if missing.is_empty() {
            Ok(Self {
                claim,
                measured_at,
                spoken_at,
                went_on,
                moved_from: None,
                by_hand: None,
            })
        } else {
            Err(missing)
        }
    }

    /// A reading that was written elsewhere and is entered by hand at `entered_at`:
    /// nothing was heard.
    ///
    /// # Errors
    /// The qualifiers to ask for.
    pub fn by_hand(
        measurement: Measurement,
        measured_at: Time,
        entered_at: Time,
        went_on: Vec<WentOn>,
        whose: ByHand,
    ) -> Result<Self, Vec<QualifierKind>> {
        let claim = Claim {
            measurement,
            working: None,
            device: None,
            taken: None,
            words: String::new(),
            confidence: 1.0,
            by: By::Touch,
            rivals: Vec::new(),
            sound: None,
        };
        let ready = Self::new(claim, measured_at, entered_at, went_on)?;
        Ok(Self {
            by_hand: Some(whose),
            ..ready
        })
    }

    /// A reading that was kept as `kept` in the record of the wrong resident,
    /// and stands there as `now`, for another's record. When it was spoken stays as
    /// it was.
    #[must_use]
    pub fn moved(kept: Uuid, record: &ReadingRecord, now: vitals::Reading) -> Self {
        let measurement = now.measurement;
        // How a corrected value was worked out is not known.
        let as_worked = measurement.value() == record.measurement.value();
        Self {
            claim: Claim {
                measurement,
                working: record.working.filter(|_| as_worked),
                device: record.device.filter(|_| as_worked),
                taken: None,
                words: record.heard.clone(),
                confidence: record.confidence,
                by: record.given_by,
                rivals: record.rivals.clone(),
                sound: None,
            },
            measured_at: now.at,
            spoken_at: record.spoken_at,
            went_on: record.went_on.clone(),
            moved_from: Some(MovedFrom {
                resident: record.resident.clone(),
                reading: kept,
            }),
            by_hand: record.by_hand.clone(),
        }
    }

    /// What was measured.
    #[must_use]
    pub const fn measurement(&self) -> &Measurement {
        &self.claim.measurement
    }

    /// What is read back beside the measurement: how it was worked out, the
    /// device, and an earlier time. Each begins with a comma.
    fn beside(&self) -> String {
        let claim = &self.claim;
        let worked = claim.working.map(wording::working).unwrap_or_default();
        let device = claim.device.map(wording::device).unwrap_or_default();
        // Read on a page, and not heard: the day too, since it may be weeks ago.
        if let Some(whose) = &self.by_hand {
            let time = self.measured_at.format("%B %-d, %Y at %H:%M");
            return format!("{worked}{device}, taken by {} on {time}", whose.taken_by);
        }
        let time = self.earlier();
        let time = time.map(|it| wording::taken_at(it, self.spoken_at));
        let time = time.unwrap_or_default();
        format!("{worked}{device}{time}")
    }

    /// When it was measured, if that was said to be earlier.
    #[must_use]
    pub fn earlier(&self) -> Option<Time> {
        self.claim.taken.map(|_| self.measured_at)
    }
}

/// Readings with the words that read them back. The words are made from the
/// readings here, so that no other value can have been read.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadBack {
    offer: Uuid,
    resident: ResidentId,
    readings: Vec<Ready>,
    text: String,
}

impl ReadBack {
    /// Makes the words for these readings of one resident. `offer` is the
    /// identifier of the fact that records the offer.
    #[must_use]
    pub fn of(offer: Uuid, resident: ResidentId, readings: Vec<Ready>) -> Self {
        let each = readings.iter().map(|it| {
            let read = wording::measurement(&it.claim.measurement);
            format!("{read}{}.", it.beside())
        });
        let text = each.collect::<Vec<_>>().join(" ");
        Self {
            offer,
            resident,
            readings,
            text,
        }
    }

    /// The identifier of the offer.
    #[must_use]
    pub const fn offer(&self) -> Uuid {
        self.offer
    }

    /// Whose readings.
    #[must_use]
    pub const fn resident(&self) -> &ResidentId {
        &self.resident
    }

    /// The words to say.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// What is read back.
    #[must_use]
    pub fn measurements(&self) -> Vec<Measurement> {
        let each = self.readings.iter();
        each.map(|it| it.measurement().clone()).collect()
    }

    /// What the aide claimed, as it is read back.
    pub fn claims(&self) -> impl Iterator<Item = &Claim> {
        self.readings.iter().map(|it| &it.claim)
    }

    /// What is read back beside each measurement, such as "counted three six in
    /// three zero seconds"; mostly nothing.
    pub fn beside(&self) -> impl Iterator<Item = String> {
        let each = self.readings.iter().map(Ready::beside);
        each.map(|it| it.trim_start_matches([',', ' ']).to_owned())
    }

    /// Takes the readings back for a change, each with when it was spoken and
    /// the cautions gone past; what was read back is then void.
    #[must_use]
    pub fn into_claims(self) -> Vec<(Claim, Time, Vec<WentOn>)> {
        let each = self.readings.into_iter();
        each.map(|it| (it.claim, it.spoken_at, it.went_on))
            .collect()
    }

    /// The yes turns what was read back into readings that may be stored.
    /// `second_look` says that an unlikely value was confirmed once more.
    #[must_use]
    pub fn confirm(self, yes: &Yes, now: Time, second_look: bool) -> Vec<KeptReading> {
        self.keep((yes.by(), yes.sound()), false, now, second_look)
    }

    /// The same where a nurse confirms at the station: `shown` is what her page said when
    /// she did, and must be what would be stored, to the letter.
    ///
    /// # Errors
    /// [`NotShown`] where the page said anything else.
    pub fn confirm_shown(
        self,
        shown: &str,
        now: Time,
        second_look: bool,
    ) -> Result<Vec<KeptReading>, NotShown> {
        if shown == self.text && !shown.is_empty() {
            Ok(self.keep((By::Touch, None), true, now, second_look))
        } else {
            Err(NotShown)
        }
    }

    fn keep(
        self,
        (yes, yes_sound): (By, Option<&Sound>),
        by_nurse: bool,
        now: Time,
        second_look: bool,
    ) -> Vec<KeptReading> {
        let keep = |ready: Ready| KeptReading {
            sound: ready.claim.sound,
            yes: yes_sound.cloned(),
            record: ReadingRecord {
                offer: self.offer,
                resident: self.resident.clone(),
                measurement: ready.claim.measurement,
                measured_at: ready.measured_at,
                spoken_at: ready.spoken_at,
                heard: ready.claim.words,
                confidence: ready.claim.confidence,
                read_back: self.text.clone(),
                confirmed_at: now,
                second_look,
                working: ready.claim.working,
                device: ready.claim.device,
                went_on: ready.went_on,
                rivals: ready.claim.rivals,
                given_by: ready.claim.by,
                confirmed_by: yes,
                moved_from: ready.moved_from,
                by_hand: ready.by_hand,
                by_nurse,
            },
        };
        self.readings.into_iter().map(keep).collect()
    }
}

/// A page showed other words than what would be stored: nobody confirmed that.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NotShown;

/// A reading that was read back and confirmed. It can be looked at and stored,
/// and made in no other way than by [`ReadBack::confirm`] and
/// [`ReadBack::confirm_shown`].
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(transparent)]
pub struct KeptReading {
    record: ReadingRecord,
    #[serde(skip)]
    sound: Option<Sound>,
    #[serde(skip)]
    yes: Option<Sound>,
}

impl KeptReading {
    /// The reading as it will stand in the record.
    #[must_use]
    pub const fn record(&self) -> &ReadingRecord {
        &self.record
    }

    /// How the utterance that gave the value sounded, where the home keeps that.
    #[must_use]
    pub const fn sound(&self) -> Option<&Sound> {
        self.sound.as_ref()
    }

    /// How the yes sounded, where the home keeps that.
    #[must_use]
    pub const fn yes_sound(&self) -> Option<&Sound> {
        self.yes.as_ref()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::residents::Staff;
    use crate::vitals::{Numbers, Qualifiers, Unit, VitalSign};

    fn time(text: &str) -> Time {
        Time::parse_from_rfc3339(text).unwrap()
    }

    fn pulse(value: u32) -> Measurement {
        let (numbers, how) = (Numbers::One(value.into()), Qualifiers::default());
        Measurement::new(VitalSign::Pulse, numbers, Unit::PerMinute, how).unwrap()
    }

    fn by_hand(measurement: Measurement) -> Result<Ready, Vec<QualifierKind>> {
        let whose = ByHand {
            taken_by: "Dana Whitlock".into(),
            entered_by: Staff {
                name: "Ines Marlow".into(),
                title: "registered nurse".into(),
            },
        };
        let now = time("2026-03-12T11:40:00-05:00");
        let at = time("2026-03-09T09:05:00-05:00");
        Ready::by_hand(measurement, at, now, Vec::new(), whose)
    }

    #[test]
    fn a_page_confirms_only_what_it_showed() {
        let now = time("2026-03-12T11:40:00-05:00");
        let read_back = |value| {
            let ready = by_hand(pulse(value)).unwrap();
            ReadBack::of(Uuid::from_u128(9), ResidentId("AR-090".into()), vec![ready])
        };
        let said = "Pulse seven four, taken by Dana Whitlock on March 9, 2026 at 09:05.";
        assert_eq!(read_back(74).text(), said);
        for other in ["", "Pulse seven four.", &said.to_uppercase()] {
            assert_eq!(
                read_back(74).confirm_shown(other, now, false),
                Err(NotShown)
            );
        }
        assert_eq!(read_back(75).confirm_shown(said, now, false), Err(NotShown));
        let kept = read_back(74).confirm_shown(said, now, true).unwrap();
        let [kept] = kept.as_slice() else {
            unreachable!()
        };
        let record = kept.record();
        assert!(record.by_nurse && record.second_look && record.by_hand.is_some());
        assert_eq!(record.confirmed_by, By::Touch);
        assert_eq!(
            (record.offer, record.confirmed_at),
            (Uuid::from_u128(9), now)
        );
        // Nothing to confirm is nothing that was shown.
        let none = ReadBack::of(Uuid::from_u128(9), ResidentId("AR-090".into()), Vec::new());
        assert_eq!(none.confirm_shown("", now, false), Err(NotShown));
    }

    #[test]
    fn what_is_entered_by_hand_says_how_it_was_taken() {
        let (numbers, how) = (Numbers::One(37.into()), Qualifiers::default());
        let made = Measurement::new(VitalSign::Temperature, numbers, Unit::Celsius, how);
        assert_eq!(by_hand(made.unwrap()), Err(vec![QualifierKind::Method]));
    }
}
