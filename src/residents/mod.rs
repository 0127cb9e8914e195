//! The home and the people in it: residents, nurses and aides.

mod beds;
mod check;
mod csv_import;
mod difference;
mod due;
mod file;
mod file_ranges;
mod kept_sound;
mod lengths;
mod names;
mod offsets;
mod soundex;
mod staff;

use std::collections::BTreeMap;

use chrono::{NaiveDate, NaiveTime};
use serde::{Deserialize, Serialize};

use crate::vitals::rules::Known;
use crate::vitals::{
    Arm, Baselines, History, HomeLimits, Limits, Method, Position, Precautions, PulseSite, Scale,
    Units, VitalSign,
};

pub use beds::{bed_key, bed_parts};
pub use check::{Notice, NoticeKind};
pub use csv_import::{CsvError, Imported, columns_table, import_csv};
pub use difference::{Difference, differences};
pub use due::{Frequency, shift_start};
pub use file::HomeFileError;
pub use kept_sound::KeptSound;
pub(crate) use names::{begins_like_formula, name_expected, spoken_words};
pub use offsets::Offsets;
#[cfg(test)]
pub(crate) use offsets::tests::changing;
pub use soundex::soundex;

/// A resident's identifier, as the home gave it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct ResidentId(pub String);

/// A person who lives in the home.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resident {
    /// The home's own identifier.
    pub id: ResidentId,
    /// The wing or unit of the home, where it has several.
    pub wing: Option<String>,
    /// Room number, as digits.
    pub room: String,
    /// Bed within the room: a number, or a word such as "window".
    pub bed: Option<String>,
    /// Full name.
    pub name: String,
    /// Birth date: the second identifier.
    pub birth_date: NaiveDate,
    /// The resident's own limits.
    pub limits: Limits,
    /// How the resident is measured, and how often.
    pub care: Care,
}

impl Resident {
    /// What the rules know of a resident with this past.
    #[must_use]
    pub const fn known<'a>(&'a self, history: &'a History) -> Known<'a> {
        Known {
            history,
            baselines: &self.care.baselines,
            limits: &self.limits,
            precautions: &self.care.precautions,
        }
    }
}

/// How a resident is measured, and how often: from the care plan.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Care {
    /// The name as spoken, where the written one is hard to say or to hear.
    pub alias: Option<String>,
    /// The day of admission.
    pub admitted: Option<NaiveDate>,
    /// Usual methods.
    pub usual: UsualMethods,
    /// Usual values set by a nurse.
    pub baselines: Baselines,
    /// What changes how the resident may be measured.
    pub precautions: Precautions,
    /// How often each vital sign is due, where it differs from the default.
    pub due: BTreeMap<VitalSign, Frequency>,
}

impl Care {
    /// How often `sign` is due: as the care plan says, else every shift for the
    /// flow of a resident on oxygen, else [`Frequency::default_for`].
    #[must_use]
    pub fn frequency(&self, sign: VitalSign) -> Frequency {
        let planned = self.due.get(&sign).copied();
        planned.unwrap_or_else(|| {
            if sign == VitalSign::OxygenFlow && self.precautions.on_oxygen {
                Frequency::EveryShift
            } else {
                Frequency::default_for(sign)
            }
        })
    }
}

/// How a resident is usually measured: taken for granted where the aide says
/// nothing else, and read back.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct UsualMethods {
    /// Temperature method.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature: Option<Method>,
    /// Where the pulse is felt.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pulse_site: Option<PulseSite>,
    /// Limb for the cuff.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub arm: Option<Arm>,
    /// Position for a blood pressure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub position: Option<Position>,
    /// Kind of scale.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scale: Option<Scale>,
}

/// A member of staff.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Staff {
    /// Full name.
    pub name: String,
    /// Title, such as "nursing aide" or "registered nurse".
    pub title: String,
}

/// What is heard at the bedside. The screen shows everything in any case.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Speech {
    /// Everything is spoken, for one who wears an earpiece or is alone with the
    /// resident.
    #[default]
    Earpiece,
    /// A loudspeaker in a shared room: values are spoken and names are not.
    Room,
    /// Nothing is spoken; tones say when to look at the screen.
    Tones,
}

/// How Sayback behaves at the bedside, as a home sets it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Bedside {
    /// After so many minutes, 1 to 240, in which nothing was understood, it is
    /// asked anew who is recording.
    pub ask_who_after: u16,
    /// What is heard.
    pub speech: Speech,
}

impl Default for Bedside {
    /// 20 minutes, and an earpiece. Common practice, no source.
    fn default() -> Self {
        Self {
            ask_who_after: 20,
            speech: Speech::Earpiece,
        }
    }
}

/// The home: its settings, its staff and its residents.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Home {
    /// Name of the home.
    pub name: String,
    /// Units meant when none is said.
    pub units: Units,
    /// How Sayback behaves at the bedside.
    pub bedside: Bedside,
    /// For how long it keeps how confirmed readings sounded; none where it keeps
    /// no sound.
    pub kept_sound: Option<KeptSound>,
    /// When each shift begins, in order; see [`shift_start`].
    pub shifts: Vec<NaiveTime>,
    /// Nurses to whom a report can be made.
    pub nurses: Vec<Staff>,
    /// Aides who may record.
    pub aides: Vec<Staff>,
    /// Badge numbers of nurses and aides, by name; not everyone has one.
    pub badges: BTreeMap<String, String>,
    /// Residents.
    pub residents: Vec<Resident>,
}

impl Home {
    /// The residents in a room; more than one when it has several beds.
    pub fn in_room(&self, room: &str) -> impl Iterator<Item = &Resident> {
        let room = room.to_owned();
        self.residents.iter().filter(move |it| it.room == room)
    }

    /// Those of them in a bed, or in any where none is given.
    pub fn in_bed<'a>(
        &'a self,
        room: &str,
        bed: Option<&str>,
    ) -> impl Iterator<Item = &'a Resident> {
        let bed = bed.map(bed_key);
        let wanted = move |it: &&Resident| bed.is_none() || it.bed.as_deref().map(bed_key) == bed;
        self.in_room(room).filter(wanted)
    }

    /// The resident with this identifier.
    #[must_use]
    pub fn resident(&self, id: &ResidentId) -> Option<&Resident> {
        self.residents.iter().find(|it| it.id == *id)
    }

    /// Puts the home's own limits below the ranges of every resident.
    pub fn set_limits(&mut self, limits: &HomeLimits) {
        for resident in &mut self.residents {
            resident.limits.set_home(limits.clone());
        }
    }
}
