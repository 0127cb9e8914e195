//! What an utterance can mean.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{Manner, Order};
use crate::grammar::{Command, HalfDay};
use crate::hearing::{By, Sound};
use crate::vitals::{
    Activity, Device, Felt, Impossible, Measurement, NotTakenReason, Qualifier, Qualifiers,
    Quantity, VitalSign, Working,
};

/// Proof that the aide said yes. Only understanding can make one, and only from
/// an utterance that was nothing but a yes, or began with one. It knows how the
/// yes was given.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct Yes {
    by: By,
    #[serde(skip)]
    sound: Option<Sound>,
}

impl Yes {
    pub(super) const fn given(by: By) -> Self {
        Self { by, sound: None }
    }

    /// How it was given.
    #[must_use]
    pub const fn by(&self) -> By {
        self.by
    }

    /// How it sounded, where the home keeps that and nothing else was said in
    /// the same breath.
    #[must_use]
    pub const fn sound(&self) -> Option<&Sound> {
        self.sound.as_ref()
    }
}

/// When a late entry was measured, as said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Taken {
    /// At a clock time of 1 to 12 hours, or 0 to 23 where the hour says so.
    At {
        /// Hour as said.
        hour: u32,
        /// Minute.
        minute: u32,
        /// Morning or afternoon, where it was said.
        half: Option<HalfDay>,
    },
    /// This many minutes before it was said.
    MinutesAgo(u32),
}

/// What one vital sign's words claim.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Valued {
    /// The value, with no qualifiers yet.
    pub measurement: Measurement,
    /// How it was worked out, where it was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub working: Option<Working>,
    /// The device it was read from, where one was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub device: Option<Device>,
}

/// Another value that the words may have meant, and how likely it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rival {
    /// What another of the recogniser's transcripts claims.
    pub measurement: Measurement,
    /// Its share of likelihood, 0 to 1.
    #[serde(deserialize_with = "crate::facts::finite")]
    pub share: f32,
}

/// A value the aide has claimed, possible but neither read back nor confirmed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Claim {
    /// What was measured. Required qualifiers may still be missing.
    pub measurement: Measurement,
    /// How the value was worked out, where it was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub working: Option<Working>,
    /// The device it was read from, where one was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub device: Option<Device>,
    /// When, if not just now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub taken: Option<Taken>,
    /// The words it came from.
    pub words: String,
    /// The lowest confidence of those words, 0 to 1.
    pub confidence: f32,
    /// How the words were given.
    #[serde(skip_serializing_if = "By::is_voice")]
    pub by: By,
    /// What else the words may have meant, the likeliest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rivals: Vec<Rival>,
    /// How the utterance that gave the value sounded, where the home keeps that.
    #[serde(skip)]
    pub sound: Option<Sound>,
}

/// A reading that was spoken but is not clear, so that it must be asked for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Unclear {
    /// The vital sign that was named.
    pub sign: VitalSign,
    /// Why it is not clear.
    pub why: Why,
    /// The qualifiers that were clear.
    pub qualifiers: Qualifiers,
    /// When it was measured, if that was said and clear.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub taken: Option<Taken>,
    /// How its number is to be taken, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub manner: Option<Manner>,
}

impl Unclear {
    /// A claim that is asked for again, with all that is known of it but its value.
    #[must_use]
    pub fn of(claim: &Claim, why: Why) -> Self {
        Self {
            sign: claim.measurement.sign(),
            why,
            qualifiers: claim.measurement.qualifiers().clone(),
            taken: claim.taken,
            manner: Manner::of(claim).map(Manner::unless_palpated),
        }
    }

    /// Takes those of these qualifiers that its vital sign can have.
    pub fn set_fitting(&mut self, said: impl IntoIterator<Item = Qualifier>) {
        let own = self.sign.qualifiers();
        let fits = said.into_iter().filter(|it| own.contains(&it.kind()));
        fits.for_each(|it| self.qualifiers.set(it));
    }

    /// Takes what was said of a claim that it puts in doubt, and was not said anew.
    pub fn take_from(&mut self, claim: &Claim) {
        for qualifier in claim.measurement.qualifiers().iter() {
            if self.qualifiers.get(qualifier.kind()).is_none() {
                self.qualifiers.set(qualifier);
            }
        }
        self.taken = self.taken.or(claim.taken);
        let manner = Manner::of(claim).map(Manner::unless_palpated);
        self.manner = self.manner.or(manner);
    }
}

/// Why a reading is not clear.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// Words were lost in or next to the number.
    Gap,
    /// A number that went on in the words after it.
    Cut,
    /// A name and no number.
    NoNumber,
    /// Words that make no number for this vital sign.
    NotANumber(String),
    /// The words, or the recogniser's alternatives, give two sensible values.
    Either(Vec<Measurement>),
    /// The value cannot be a person's.
    Impossible(#[serde(serialize_with = "as_text")] Impossible),
    /// The recogniser was not sure of its words.
    Unsure(f32),
    /// A count, a sum or a device that cannot give such a value; why.
    Arithmetic(String),
    /// Two qualifiers that exclude each other.
    TwoQualifiers(Qualifier, Qualifier),
    /// A time that is none.
    BadTime,
    /// It was not taken, said in one breath with readings.
    NotTaken(NotTakenReason),
    /// A value, and that it was not taken, in one breath.
    OrNotTaken(Measurement, NotTakenReason),
    /// It was counted over so many seconds, and the count was not said yet.
    Counted(u16),
    /// A pressure's first number and not its second, with "over" after it or without.
    OnlySystolic {
        /// In mmHg.
        systolic: Decimal,
        /// Whether "over" was said.
        over: bool,
    },
    /// A weight less the chair's, which is not known.
    ChairWeight(Quantity),
    /// A systolic was said, and that there is no diastolic, but not that it was palpated.
    NoDiastolic(Option<Decimal>),
    /// It was said to be palpated, with a diastolic.
    PalpatedOver,
}

fn as_text<S: serde::Serializer>(it: &Impossible, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(it)
}

/// A part of a reading, said without the name of its vital sign: an answer to a
/// question, or a replacement.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Part {
    /// Whether it began with "no".
    pub no: bool,
    /// The value, when exactly one pending vital sign can have it.
    pub value: Option<Valued>,
    /// More than one pending vital sign can have the number that was said.
    pub whose: Vec<VitalSign>,
    /// Qualifiers.
    pub qualifiers: Vec<Qualifier>,
    /// When it was measured, where that was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub taken: Option<Taken>,
    /// Why a number that was said is not the value of any pending vital sign.
    pub why: Option<Why>,
    /// The words.
    pub words: String,
    /// The lowest confidence of those words, 0 to 1.
    pub confidence: f32,
    /// How the words were given.
    #[serde(skip_serializing_if = "By::is_voice")]
    pub by: By,
    /// What else the value may have been, the likeliest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rivals: Vec<Rival>,
    /// How it sounded, where the home keeps that.
    #[serde(skip)]
    pub sound: Option<Sound>,
}

/// Where the aide is.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Place {
    /// Room number.
    pub room: Option<String>,
    /// Bed within the room.
    pub bed: Option<String>,
}

/// The meaning of an utterance.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Utterance {
    /// One or more readings.
    Readings {
        /// A yes that came first, to what was read back before.
        yes: Option<Yes>,
        /// Whether it began with a no, to what was read back before.
        no: bool,
        /// Readings that are clear.
        claims: Vec<Claim>,
        /// Readings that must be asked for.
        unclear: Vec<Unclear>,
    },
    /// A part of a reading.
    Part(Box<Part>),
    /// Yes, and nothing else.
    Yes(Yes),
    /// No, and nothing else.
    No,
    /// No, and this instead of what waits.
    Instead(Box<Utterance>),
    /// A command.
    Command(Command),
    /// Something to change, to time or to measure again.
    Order(Order),
    /// Going to a room or bed.
    Place(Place),
    /// Going to a resident called by name.
    Called {
        /// The whole phrase that called.
        phrase: String,
        /// Whether nothing else was said.
        alone: bool,
    },
    /// Someone says that they record; the whole phrase.
    ThisIs(String),
    /// Past this resident, and why.
    Skip(NotTakenReason),
    /// Something was not taken; no vital sign means all that are due.
    NotTaken {
        /// Which vital signs.
        signs: Vec<VitalSign>,
        /// Why.
        reason: NotTakenReason,
    },
    /// What was the last value?
    LastValue(VitalSign),
    /// The resident did something, this many minutes ago.
    Did(Activity, u32),
    /// Why the aide goes on past a caution.
    Reason(String),
    /// The resident feels so.
    Felt(Felt),
    /// A report was made.
    Reported {
        /// The home's key of the nurse; none where the name was not understood.
        to: Option<String>,
    },
}

impl Utterance {
    /// Gives what came from an utterance its sound. A yes that began a longer
    /// utterance has none: what follows it is not confirmed yet.
    pub(super) fn sounding(mut self, sound: Option<&Sound>) -> Self {
        let sound = sound.cloned();
        match &mut self {
            Self::Readings { claims, .. } => {
                for claim in claims {
                    claim.sound.clone_from(&sound);
                }
            }
            Self::Part(part) => part.sound = sound,
            Self::Yes(yes) => yes.sound = sound,
            Self::Order(Order::Change {
                to: Some(claim), ..
            }) => claim.sound = sound,
            _ => {}
        }
        self
    }

    /// Every reading of it is asked for again: none is offered.
    pub(crate) fn doubt(&mut self) {
        if let Self::Readings {
            claims, unclear, ..
        } = self
        {
            let unsure = |it: Claim| Unclear::of(&it, Why::Unsure(it.confidence));
            unclear.extend(claims.drain(..).map(unsure));
        }
    }

    /// The clear claim about `sign`, if this utterance makes one.
    #[must_use]
    pub fn claim(&self, sign: VitalSign) -> Option<&Claim> {
        let Self::Readings { claims, .. } = self else {
            return None;
        };
        claims.iter().find(|it| it.measurement.sign() == sign)
    }
}

/// Why an utterance means nothing to Sayback.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum NotUnderstood {
    /// No words.
    #[error("nothing was said")]
    Nothing,
    /// An answer or a command that the recogniser was not sure of.
    #[error("not sure what was said; ask again")]
    Unsure,
    /// A number, clearly, but not of what.
    #[error("a value without the name of a vital sign")]
    Nameless,
    /// Talk that is not addressed to Sayback.
    #[error("not a reading, an answer or a command; ignored")]
    SideTalk,
}
