//! How a reading was taken: the qualifiers the trade writes beside the number.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::VitalSign;

/// Defines an enum of spoken qualifier values with a grammar tag and a read-back
/// wording for each, so that tag, type and wording cannot drift apart.
macro_rules! spoken {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $tag:literal, $spoken:literal;)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum $name { $($(#[$vdoc])* $variant,)+ }

        impl $name {
            /// Every value.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The tag of this value in the grammar files.
            #[must_use]
            pub const fn tag(self) -> &'static str {
                match self { $(Self::$variant => $tag),+ }
            }

            /// The wording in a read-back.
            #[must_use]
            pub const fn spoken(self) -> &'static str {
                match self { $(Self::$variant => $spoken),+ }
            }
        }
    };
}

spoken! {
    /// Where and how a temperature was taken.
    Method {
        /// In the mouth.
        Oral = "oral", "oral";
        /// In the rectum.
        Rectal = "rectal", "rectal";
        /// In the armpit.
        Axillary = "axillary", "axillary";
        /// In the ear.
        Tympanic = "tympanic", "tympanic";
        /// On the forehead, over the temporal artery.
        Temporal = "temporal", "temporal artery";
    }
}
spoken! {
    /// Where a pulse was felt or heard.
    PulseSite {
        /// At the wrist.
        Radial = "radial", "radial";
        /// At the apex of the heart, with a stethoscope.
        Apex = "apex", "at the apex";
        /// At the inside of the elbow.
        Brachial = "brachial", "brachial";
        /// At the neck.
        Carotid = "carotid", "carotid";
    }
}
spoken! {
    /// Rhythm of a pulse or of breathing.
    Rhythm {
        /// Even intervals.
        Regular = "regular", "regular";
        /// Uneven intervals. Read back as "not regular": "irregular" and
        /// "regular" are the pair most easily misheard.
        Irregular = "irregular", "not regular, irregular";
    }
}
spoken! {
    /// Strength of a pulse.
    Strength {
        /// Easily felt.
        Strong = "strong", "strong";
        /// Hard to feel.
        Weak = "weak", "weak";
        /// Forceful.
        Bounding = "bounding", "bounding";
    }
}
spoken! {
    /// Depth of breathing.
    Depth {
        /// Of usual depth.
        Usual = "usual_depth", "normal depth";
        /// Shallow.
        Shallow = "shallow", "shallow";
        /// Deep.
        Deep = "deep", "deep";
        /// With visible effort.
        Labored = "labored", "labored";
    }
}
spoken! {
    /// Limb that carried the cuff.
    Arm {
        /// Left arm.
        Left = "left_arm", "left arm";
        /// Right arm.
        Right = "right_arm", "right arm";
        /// Left leg, where no arm may be used.
        LeftLeg = "left_leg", "left leg";
        /// Right leg, where no arm may be used.
        RightLeg = "right_leg", "right leg";
        /// Left wrist.
        LeftWrist = "left_wrist", "left wrist";
        /// Right wrist.
        RightWrist = "right_wrist", "right wrist";
        /// Left forearm, where no cuff fits the upper arm.
        LeftForearm = "left_forearm", "left forearm";
        /// Right forearm, where no cuff fits the upper arm.
        RightForearm = "right_forearm", "right forearm";
    }
}
spoken! {
    /// Body position during a blood pressure.
    Position {
        /// Sitting.
        Sitting = "sitting", "sitting";
        /// Lying.
        Lying = "lying", "lying";
        /// Standing.
        Standing = "standing", "standing";
    }
}
spoken! {
    /// The scale used for a weight.
    Scale {
        /// A scale the resident stands on.
        Standing = "standing_scale", "standing scale";
        /// A chair scale.
        Chair = "chair_scale", "chair scale";
        /// A wheelchair scale.
        Wheelchair = "wheelchair_scale", "wheelchair scale";
        /// A bed scale.
        Bed = "bed_scale", "bed scale";
        /// A lift scale.
        Lift = "lift_scale", "lift scale";
    }
}

/// What the resident breathed during a saturation reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Supply {
    /// Room air.
    RoomAir,
    /// Supplemental oxygen; the flow in litres a minute where it was said.
    Oxygen(Option<Decimal>),
}

/// One qualifier of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Qualifier {
    /// Temperature method.
    Method(Method),
    /// Pulse site.
    PulseSite(PulseSite),
    /// Rhythm.
    Rhythm(Rhythm),
    /// Strength.
    Strength(Strength),
    /// Depth.
    Depth(Depth),
    /// Limb of the cuff.
    Arm(Arm),
    /// Body position.
    Position(Position),
    /// Air or oxygen.
    Supply(Supply),
    /// Kind of scale.
    Scale(Scale),
}

/// The kinds of qualifier.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum QualifierKind {
    /// Temperature method.
    Method,
    /// Pulse site.
    PulseSite,
    /// Rhythm.
    Rhythm,
    /// Strength.
    Strength,
    /// Depth.
    Depth,
    /// Limb of the cuff.
    Arm,
    /// Body position.
    Position,
    /// Air or oxygen.
    Supply,
    /// Kind of scale.
    Scale,
}

impl QualifierKind {
    /// Whether it says how a reading was taken, and not what was found by it: that may be
    /// another when it is taken again.
    #[must_use]
    pub const fn is_way(self) -> bool {
        !matches!(self, Self::Rhythm | Self::Strength | Self::Depth)
    }

    /// The short question that asks for this qualifier.
    #[must_use]
    pub const fn question(self) -> &'static str {
        match self {
            Self::Method => "Which method?",
            Self::PulseSite => "Where was it felt?",
            Self::Rhythm => "Regular or irregular?",
            Self::Strength => "Strong or weak?",
            Self::Depth => "Shallow or deep?",
            Self::Arm => "Which arm?",
            Self::Position => "Sitting, lying, or standing?",
            Self::Supply => "On room air or oxygen?",
            Self::Scale => "Which scale?",
        }
    }
}

impl Arm {
    /// The limb that a care plan may say not to use.
    #[must_use]
    pub const fn limb(self) -> Self {
        match self {
            Self::Left | Self::LeftWrist | Self::LeftForearm => Self::Left,
            Self::Right | Self::RightWrist | Self::RightForearm => Self::Right,
            leg => leg,
        }
    }
}

impl Qualifier {
    /// The kind of this qualifier.
    #[must_use]
    pub const fn kind(self) -> QualifierKind {
        match self {
            Self::Method(_) => QualifierKind::Method,
            Self::PulseSite(_) => QualifierKind::PulseSite,
            Self::Rhythm(_) => QualifierKind::Rhythm,
            Self::Strength(_) => QualifierKind::Strength,
            Self::Depth(_) => QualifierKind::Depth,
            Self::Arm(_) => QualifierKind::Arm,
            Self::Position(_) => QualifierKind::Position,
            Self::Supply(_) => QualifierKind::Supply,
            Self::Scale(_) => QualifierKind::Scale,
        }
    }

    /// The wording in a read-back. A flow of oxygen is a number and is worded
    /// by the caller, which knows how numbers are said.
    #[must_use]
    pub const fn spoken(self) -> &'static str {
        match self {
            Self::Method(it) => it.spoken(),
            Self::PulseSite(it) => it.spoken(),
            Self::Rhythm(it) => it.spoken(),
            Self::Strength(it) => it.spoken(),
            Self::Depth(it) => it.spoken(),
            Self::Arm(it) => it.spoken(),
            Self::Position(it) => it.spoken(),
            Self::Supply(Supply::RoomAir) => "on room air",
            Self::Supply(Supply::Oxygen(_)) => "on oxygen",
            Self::Scale(it) => it.spoken(),
        }
    }

    /// Every qualifier with its tag in the grammar files.
    pub fn tagged() -> impl Iterator<Item = (&'static str, Self)> {
        fn of<T: Copy + 'static>(
            all: &'static [T],
            tag: fn(T) -> &'static str,
            wrap: fn(T) -> Qualifier,
        ) -> impl Iterator<Item = (&'static str, Qualifier)> {
            all.iter().map(move |&it| (tag(it), wrap(it)))
        }
        of(Method::ALL, Method::tag, Self::Method)
            .chain(of(PulseSite::ALL, PulseSite::tag, Self::PulseSite))
            .chain(of(Rhythm::ALL, Rhythm::tag, Self::Rhythm))
            .chain(of(Strength::ALL, Strength::tag, Self::Strength))
            .chain(of(Depth::ALL, Depth::tag, Self::Depth))
            .chain(of(Arm::ALL, Arm::tag, Self::Arm))
            .chain(of(Position::ALL, Position::tag, Self::Position))
            .chain(of(Scale::ALL, Scale::tag, Self::Scale))
            .chain([
                ("room_air", Self::Supply(Supply::RoomAir)),
                ("oxygen", Self::Supply(Supply::Oxygen(None))),
            ])
    }

    /// The qualifier with this grammar tag.
    #[must_use]
    pub fn from_tag(tag: &str) -> Option<Self> {
        Self::tagged().find_map(|(known, it)| (known == tag).then_some(it))
    }
}

/// The qualifiers of one reading: at most one of each kind.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Qualifiers(BTreeMap<QualifierKind, Qualifier>);

impl Qualifiers {
    /// Sets `qualifier`, replacing one of the same kind.
    pub fn set(&mut self, qualifier: Qualifier) {
        self.0.insert(qualifier.kind(), qualifier);
    }

    /// The qualifier of this kind, if it was said.
    #[must_use]
    pub fn get(&self, kind: QualifierKind) -> Option<Qualifier> {
        self.0.get(&kind).copied()
    }

    /// All qualifiers that were said, in a stable order.
    pub fn iter(&self) -> impl Iterator<Item = Qualifier> {
        self.0.values().copied()
    }

    /// The kinds that `sign` needs and that were not said.
    #[must_use]
    pub fn missing(&self, sign: VitalSign) -> Vec<QualifierKind> {
        let said = |kind: &&QualifierKind| self.get(**kind).is_none();
        sign.required().iter().filter(said).copied().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_tag_names_one_qualifier() {
        for (tag, qualifier) in Qualifier::tagged() {
            assert_eq!(Qualifier::from_tag(tag), Some(qualifier), "{tag}");
        }
    }

    #[test]
    fn required_qualifiers_are_allowed_ones() {
        for sign in VitalSign::ALL {
            for kind in sign.required() {
                assert!(sign.qualifiers().contains(kind), "{sign:?} {kind:?}");
            }
        }
    }
}
