//! The columns of the table: what each holds, and how that is found of a line.

use chrono::NaiveDate;

use uuid::Uuid;

use super::super::{Act, Chart, Entry, Missed, Remark, words};
use super::texts::{flags, reported, taken_again};
use crate::facts::{NO_ROUND, Time};
use crate::residents::{Home, Resident, ResidentId, Staff};
use crate::round::shown;
use crate::store::Unread;
use crate::vitals::{
    BY_PALPATION, Component, Measurement, Qualifier, QualifierKind, Quantity, Supply, Value,
    VitalSign,
};

/// A column: its name, what it holds, and how to fill it.
type Column = (&'static str, &'static str, fn(&Line) -> String);

/// The columns, in order: name, what it holds, and how that is found. The
/// dictionary is written from this, and so can't say anything else.
pub(super) const COLUMNS: [Column; 45] = [
    (
        "id",
        "identifier of the fact, for ever the same; with `vital_sign` it names the line",
        |it| it.id.clone(),
    ),
    (
        "status",
        "`final`, `amended` (it was corrected), `entered-in-error` (it no longer counts) `not-taken`, `note` (a remark about the resident), or `unreadable` (this version cannot read it, and it may correct or retract another line)",
        |it| it.status.to_owned(),
    ),
    (
        "resident_id",
        "the home's identifier of the resident",
        |it| it.resident.map(|it| it.0.clone()).unwrap_or_default(),
    ),
    (
        "resident_name",
        "full name; empty where nobody knows it any more",
        |it| it.name().unwrap_or_default(),
    ),
    ("birth_date", "such as 1938-04-21", |it| it.born()),
    ("room", "room number, as it is now", |it| {
        it.home(|resident| Some(resident.room.clone()))
    }),
    ("bed", "bed within the room, as it is now", |it| {
        it.home(|resident| resident.bed.clone())
    }),
    (
        "vital_sign",
        "temperature, pulse, respiration, blood_pressure, oxygen_saturation, weight, height, pain, oxygen_flow, alertness; or `all_due` where all that was due was not taken; empty for a remark",
        |it| it.sign().to_owned(),
    ),
    (
        "value",
        "the number as it stands now, in `unit`; systolic for a blood pressure",
        |it| it.number(0, false),
    ),
    (
        "diastolic",
        "the second number of a blood pressure; empty where it was palpated, which gives none",
        |it| it.number(1, false),
    ),
    (
        "word",
        "the value where it is no number: a level of alertness, or that pain could not be rated",
        |it| it.word(),
    ),
    ("unit", "unit as said, by its UCUM code", |it| {
        it.unit(false)
    }),
    (
        "canonical_value",
        "the same in °C, kg or cm, to 0.01; other units stay",
        |it| it.number(0, true),
    ),
    ("canonical_unit", "unit of `canonical_value`", |it| {
        it.unit(true)
    }),
    (
        "method",
        "of a temperature: oral, rectal, axillary, tympanic, temporal artery; of a blood pressure: by palpation",
        |it| it.method(),
    ),
    ("pulse_site", "where a pulse was felt", |it| {
        it.said(QualifierKind::PulseSite)
    }),
    ("limb", "limb of the cuff", |it| it.said(QualifierKind::Arm)),
    ("position", "sitting, lying or standing", |it| {
        it.said(QualifierKind::Position)
    }),
    (
        "rhythm",
        "of a pulse or of breathing: regular or irregular",
        |it| it.rhythm(),
    ),
    ("strength", "of a pulse", |it| {
        it.said(QualifierKind::Strength)
    }),
    ("depth", "of breathing", |it| it.said(QualifierKind::Depth)),
    (
        "supply",
        "with a saturation: on room air or on oxygen",
        |it| it.said(QualifierKind::Supply),
    ),
    (
        "oxygen_flow",
        "liters a minute, where said with a saturation",
        |it| it.flow(),
    ),
    ("scale", "kind of scale", |it| it.said(QualifierKind::Scale)),
    (
        "device",
        "what it was read from, where that was said",
        |it| it.entry(|entry| entry.record.device.map(|it| it.spoken().to_owned())),
    ),
    (
        "working",
        "the numbers behind a value that was worked out",
        |it| it.entry(|entry| entry.record.working.map(words::working)),
    ),
    (
        "measured_at",
        "when it was measured, or not taken, or remarked, or recorded where it is unreadable; with offset from UTC",
        |it| moment(it.at),
    ),
    ("confirmed_at", "when the yes was heard", |it| {
        it.entry(|entry| Some(moment(entry.record.confirmed_at)))
    }),
    ("recorded_by", "who recorded it", |it| {
        it.by.map(|it| it.name.clone()).unwrap_or_default()
    }),
    ("recorder_title", "that person's title", |it| {
        it.by.map(|it| it.title.clone()).unwrap_or_default()
    }),
    (
        "round",
        "identifier of the round; empty where it is of none",
        |it| it.round.clone(),
    ),
    ("heard", "the words heard", |it| {
        it.entry(|entry| Some(entry.record.heard.clone()))
    }),
    (
        "confidence",
        "the recogniser's lowest confidence in them, 0 to 1",
        |it| {
            it.entry(|entry| {
                let heard = entry.record.by_hand.is_none();
                heard.then(|| format!("{:.2}", entry.record.confidence))
            })
        },
    ),
    ("read_back", "the words read back before the yes", |it| {
        it.entry(|entry| Some(entry.record.read_back.clone()))
    }),
    (
        "second_look",
        "`yes` where it is far from the usual and was confirmed a second time",
        |it| it.entry(|entry| entry.record.second_look.then(|| "yes".to_owned())),
    ),
    (
        "taken_again",
        "the other of two readings of the same thing, and why it was taken again",
        |it| it.entry(taken_again),
    ),
    ("not_taken_reason", "why it was not taken", |it| {
        it.missed(|missed| Some(missed.reason.spoken().to_owned()))
    }),
    (
        "flags",
        "limits crossed and rules met by what holds, with whose they are",
        |it| it.entry(flags),
    ),
    (
        "reported_to",
        "nurses to whom a report of it was made",
        |it| it.entry(reported),
    ),
    (
        "open_reports",
        "how many reports of it nobody has closed",
        |it| {
            it.entry(|entry| {
                Some(
                    entry
                        .flags
                        .iter()
                        .filter(|it| it.open())
                        .count()
                        .to_string(),
                )
            })
        },
    ),
    (
        "changes",
        "corrections with what stood there before, corrections made apart that do not hold, and a retraction: when, who, why",
        |it| it.changes(),
    ),
    (
        "notes",
        "remarks: when, who, what; or why it is unreadable",
        |it| it.notes(),
    ),
    (
        "changed_at",
        "when anything about it was last recorded",
        |it| moment(it.changed_at),
    ),
    (
        "entered_by",
        "the nurse who entered it by hand at the station, where it was written on paper; `heard` and `confidence` are empty then",
        |it| {
            it.entry(|entry| {
                let whose = entry.record.by_hand.as_ref()?;
                Some(whose.entered_by.name.clone())
            })
        },
    ),
    (
        "taken_by",
        "who took it, where it was entered by hand",
        |it| it.entry(|entry| Some(entry.record.by_hand.as_ref()?.taken_by.clone())),
    ),
];

/// A line of the table.
pub(super) struct Line<'a> {
    chart: &'a Chart<'a>,
    home: &'a Home,
    id: String,
    status: &'static str,
    resident: Option<&'a ResidentId>,
    sign: Option<VitalSign>,
    /// When it was measured, or not taken.
    pub(super) at: Time,
    by: Option<&'a Staff>,
    round: String,
    changed_at: Time,
    about: About<'a>,
}

#[derive(Clone, Copy)]
enum About<'a> {
    Read(&'a Entry<'a>),
    Missed(&'a Missed<'a>),
    Remark(&'a Remark<'a>),
    Unread(&'a Unread),
}

impl<'a> Line<'a> {
    pub(super) fn read(chart: &'a Chart, home: &'a Home, entry: &'a Entry) -> Self {
        let status = if entry.retracted.is_some() {
            "entered-in-error"
        } else if entry.corrections.is_empty() {
            "final"
        } else {
            "amended"
        };
        Self {
            chart,
            home,
            id: entry.id.to_string(),
            status,
            resident: Some(&entry.record.resident),
            sign: Some(entry.measurement.sign()),
            at: entry.measured_at,
            by: Some(entry.by),
            round: round(entry.round),
            changed_at: entry.changed_at,
            about: About::Read(entry),
        }
    }

    pub(super) fn not_taken(
        chart: &'a Chart,
        home: &'a Home,
        missed: &'a Missed,
        sign: Option<VitalSign>,
    ) -> Self {
        Self {
            chart,
            home,
            id: missed.id.to_string(),
            status: match missed.retracted {
                Some(_) => "entered-in-error",
                None => "not-taken",
            },
            resident: Some(missed.resident),
            sign,
            at: missed.act.at,
            by: Some(missed.act.by),
            round: round(missed.round),
            changed_at: missed.changed_at,
            about: About::Missed(missed),
        }
    }

    pub(super) fn remark(chart: &'a Chart, home: &'a Home, remark: &'a Remark) -> Self {
        Self {
            chart,
            home,
            id: remark.id.to_string(),
            status: "note",
            resident: Some(remark.resident),
            sign: None,
            at: remark.act.at,
            by: Some(remark.act.by),
            round: round(remark.round),
            changed_at: remark.act.at,
            about: About::Remark(remark),
        }
    }

    pub(super) fn unread(chart: &'a Chart, home: &'a Home, unread: &'a Unread) -> Self {
        Self {
            chart,
            home,
            id: unread.id.to_string(),
            status: "unreadable",
            resident: unread.resident.as_ref(),
            sign: None,
            at: unread.at,
            by: None,
            round: round(unread.round),
            changed_at: unread.at,
            about: About::Unread(unread),
        }
    }

    fn filed(&self) -> Option<&Resident> {
        self.home.resident(self.resident?)
    }

    fn identified(&self) -> Option<(&str, NaiveDate)> {
        self.chart.identified(self.resident?)
    }

    fn name(&self) -> Option<String> {
        let filed = self.filed().map(|it| it.name.clone());
        filed.or_else(|| Some(self.identified()?.0.to_owned()))
    }

    fn born(&self) -> String {
        let filed = self.filed().map(|it| it.birth_date);
        let born = filed.or_else(|| Some(self.identified()?.1));
        born.map(|it| it.to_string()).unwrap_or_default()
    }

    fn home(&self, find: fn(&Resident) -> Option<String>) -> String {
        self.filed().and_then(find).unwrap_or_default()
    }

    fn sign(&self) -> &'static str {
        match (self.sign, self.about) {
            (Some(sign), _) => sign.tag(),
            (None, About::Unread(_) | About::Remark(_)) => "",
            (None, _) => "all_due",
        }
    }

    fn entry(&self, find: fn(&Entry) -> Option<String>) -> String {
        match self.about {
            About::Read(entry) => find(entry).unwrap_or_default(),
            _ => String::new(),
        }
    }

    fn missed(&self, find: fn(&Missed) -> Option<String>) -> String {
        match self.about {
            About::Missed(missed) => find(missed).unwrap_or_default(),
            _ => String::new(),
        }
    }

    fn measurement(&self) -> Option<&Measurement> {
        match self.about {
            About::Read(entry) => Some(entry.measurement),
            _ => None,
        }
    }

    fn quantity(&self, at: usize, canonical: bool) -> Option<Quantity> {
        let (_, said): (Component, _) = *self.measurement()?.components().get(at)?;
        Some(if canonical { said.canonical() } else { said })
    }

    fn number(&self, at: usize, canonical: bool) -> String {
        let quantity = self.quantity(at, canonical);
        let number = quantity.map(|it| {
            if canonical {
                it.value().round_dp(2).normalize()
            } else {
                it.value()
            }
        });
        number.map(|it| it.to_string()).unwrap_or_default()
    }

    fn unit(&self, canonical: bool) -> String {
        let quantity = self.quantity(0, canonical);
        quantity.map_or("", |it| it.unit().ucum()).to_owned()
    }

    fn word(&self) -> String {
        match self.measurement().map(Measurement::value) {
            Some(Value::Level(level)) => level.spoken().to_owned(),
            Some(Value::NotRated) => "could not be rated".to_owned(),
            _ => String::new(),
        }
    }

    fn qualifier(&self, kind: QualifierKind) -> Option<Qualifier> {
        self.measurement()?.qualifiers().get(kind)
    }

    fn said(&self, kind: QualifierKind) -> String {
        let qualifier = self.qualifier(kind);
        qualifier.map_or("", Qualifier::spoken).to_owned()
    }

    fn method(&self) -> String {
        match self.measurement() {
            Some(it) if it.is_palpated() => BY_PALPATION.to_owned(),
            _ => self.said(QualifierKind::Method),
        }
    }

    fn rhythm(&self) -> String {
        match self.qualifier(QualifierKind::Rhythm) {
            Some(Qualifier::Rhythm(rhythm)) => rhythm.tag().to_owned(),
            _ => String::new(),
        }
    }

    fn flow(&self) -> String {
        match self.qualifier(QualifierKind::Supply) {
            Some(Qualifier::Supply(Supply::Oxygen(Some(litres)))) => litres.to_string(),
            _ => String::new(),
        }
    }

    fn changes(&self) -> String {
        let (mut changes, retracted) = match self.about {
            About::Read(entry) => {
                let corrected = entry.corrections.iter().map(|it| {
                    let before = words::before(it);
                    acted(&it.act, &format!("corrected, before: {before}; "))
                });
                let moved = entry.record.moved_from.iter().map(|_| {
                    let at = moment(entry.record.confirmed_at);
                    let by = &entry.by.name;
                    format!("{at} {by}: moved here from another resident's record")
                });
                let apart = entry.apart.iter().map(|it| {
                    let to = shown(it.new);
                    acted(
                        &it.act,
                        &format!("corrected apart to {to}, which does not hold; "),
                    )
                });
                let all = moved.chain(corrected).chain(apart);
                (all.collect(), entry.retracted)
            }
            About::Missed(missed) => (Vec::new(), missed.retracted),
            About::Remark(_) | About::Unread(_) => (Vec::new(), None),
        };
        changes.extend(retracted.iter().map(|it| acted(it, "entered in error: ")));
        changes.join(" | ")
    }

    fn notes(&self) -> String {
        let notes = match self.about {
            About::Read(entry) => &entry.notes,
            About::Missed(missed) => &missed.notes,
            About::Remark(remark) => return acted(&remark.act, ""),
            About::Unread(unread) => return unread.problem.clone(),
        };
        let notes: Vec<String> = notes.iter().map(|it| acted(it, "")).collect();
        notes.join(" | ")
    }
}

fn round(id: Uuid) -> String {
    let known = Some(id).filter(|it| *it != NO_ROUND);
    known.map(|it| it.to_string()).unwrap_or_default()
}

fn moment(time: Time) -> String {
    time.to_rfc3339_opts(chrono::SecondsFormat::Secs, false)
}

fn acted(act: &Act, what: &str) -> String {
    format!("{} {}: {what}{}", moment(act.at), act.by.name, act.text)
}
