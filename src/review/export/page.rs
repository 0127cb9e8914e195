//! What the printed pages have in common.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{Chart, Entry, Missed, words};
use crate::facts::Time;
use crate::residents::{Home, ResidentId};
use crate::round::shown;
use crate::vitals::{Bounds, Component, Layer, Measurement, Side, Value};

/// The style itself.
pub const STYLE: &str = include_str!("print.css");

/// Where the style of a printed page is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// In the page, which then needs nothing beside itself.
    Inside,
    /// At this address.
    At(&'static str),
}

pub(super) fn page(title: &str, style: Style, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                @match style {
                    Style::Inside => style { (PreEscaped(STYLE)) },
                    Style::At(address) => link rel="stylesheet" href=(address);,
                }
            }
            body {
                (body)
                footer {
                    "Made by Sayback from the record of readings. It records and reminds; it does \
                     not diagnose. ▲ above and ▼ below the range in force; ! raised by another rule."
                }
            }
        }
    };
    page.into_string()
}

/// A resident's name, room and bed as far as they are known.
pub(super) struct Who {
    pub(super) name: String,
    pub(super) born: Option<chrono::NaiveDate>,
    pub(super) place: Option<String>,
}

impl Who {
    pub(super) fn of(chart: &Chart, home: &Home, id: &ResidentId) -> Self {
        let Some(resident) = home.resident(id) else {
            let known = chart.identified(id);
            return Self {
                name: known.map_or(&*id.0, |it| it.0).to_owned(),
                born: known.map(|it| it.1),
                place: None,
            };
        };
        let bed = resident.bed.as_ref();
        let bed = bed.map(|it| format!(", bed {it}")).unwrap_or_default();
        let place = format!("room {}{bed}", resident.room);
        Self {
            name: resident.name.clone(),
            born: Some(resident.birth_date),
            place: Some(place).filter(|_| !resident.room.is_empty()),
        }
    }
}

pub(super) fn day_and_time(time: Time) -> String {
    time.format("%Y-%m-%d %H:%M").to_string()
}

/// The value of a measurement alone: "152/88 mmHg".
pub(super) fn value(it: &Measurement) -> String {
    match it.value() {
        Value::One(said) => format!("{} {}", said.value(), said.unit().symbol()),
        Value::Pressure {
            systolic,
            diastolic,
        } => format!("{}/{} mmHg", systolic.value(), diastolic.value()),
        Value::Palpated { systolic } => format!("{}/P mmHg", systolic.value()),
        Value::Level(level) => level.spoken().to_owned(),
        Value::NotRated => "could not be rated".to_owned(),
    }
}

/// How it was taken: "left arm, sitting".
pub(super) fn how(it: &Measurement) -> String {
    it.how().join(", ")
}

/// The side of the range in force on which each part of the reading lies, and
/// whether what holds of it was flagged at all.
fn mark(chart: &Chart, home: &Home, entry: &Entry) -> Option<String> {
    let parts = entry.measurement.components().into_iter();
    let beyond = parts.filter_map(|(component, said): (Component, _)| {
        let bounds: Bounds = chart
            .range_on(
                home,
                &entry.record.resident,
                (entry.measurement.sign(), component),
                entry.measured_at,
            )?
            .bounds;
        let shape = match bounds.beyond(said)? {
            Side::Above => "▲",
            Side::Below => "▼",
        };
        Some(match component {
            Component::Whole => shape.to_owned(),
            part => format!("{shape} {}", part.name(entry.measurement.sign())),
        })
    });
    let beyond: Vec<String> = beyond.collect();
    let unlikely = |it: &super::Flag| {
        it.cause
            .finding()
            .is_none_or(|it| it.layer != Layer::OutsideRange)
    };
    if beyond.is_empty() {
        return entry.standing_flags().any(unlikely).then(|| "!".to_owned());
    }
    Some(beyond.join(" "))
}

/// What the page lacks because it could not be read.
pub(super) fn lacking(unread: usize) -> Markup {
    html! {
        @if unread > 0 {
            div.open { p { strong { (words::lacking(unread)) } } }
        }
    }
}

/// A reading in a cell: value, how, and whatever became of it.
pub(super) fn reading(chart: &Chart, home: &Home, entry: &Entry, time: &str) -> Markup {
    let mark = mark(chart, home, entry).filter(|_| entry.retracted.is_none());
    let class = if mark.is_some() {
        "reading flag"
    } else {
        "reading"
    };
    html! {
        div class=(class) {
            span class=[entry.retracted.map(|_| "gone")] { (value(entry.measurement)) }
            @if let Some(mark) = mark { " " (mark) }
            span.how {
                (entry.measured_at.format(time))
                @if !how(entry.measurement).is_empty() { " · " (how(entry.measurement)) }
            }
            @if let Some(it) = &entry.record.by_hand { span.how { (words::by_hand(it)) } }
            @if entry.record.moved_from.is_some() {
                span.how { "moved here from another resident\u{2019}s record" }
            }
            @for change in &entry.corrections {
                span.how {
                    "corrected by " (change.act.by.name) ", was " span.gone {
                        (value(change.old))
                        @if let Some(it) = change.time { " at " (day_and_time(it.old)) }
                    }
                }
            }
            @for change in &entry.apart {
                span.how {
                    "corrected apart by " (change.act.by.name) " to " span.gone { (value(change.new)) }
                    ", which does not hold"
                }
            }
            @if let Some(retracted) = entry.retracted {
                span.how { "entered in error (" (retracted.by.name) "): " (retracted.text) }
            }
            @for note in &entry.notes {
                span.how { (note.by.name) ": " (note.text) }
            }
        }
    }
}

/// Something not taken, in a cell.
pub(super) fn not_taken(missed: &Missed) -> Markup {
    html! {
        div.reading {
            span.none { "not taken: " (missed.reason.spoken()) }
            span.how {
                (missed.act.at.format("%H:%M"))
                @if let Some(at) = missed.retry_at { " · again at " (at.format("%H:%M")) }
            }
            @for note in &missed.notes {
                span.how { (note.by.name) ": " (note.text) }
            }
        }
    }
}

/// Flags that nobody has closed, with the reading each is about.
pub(super) fn open_reports<'a>(
    entries: impl Iterator<Item = &'a Entry<'a>>,
) -> Vec<(&'a Entry<'a>, String)> {
    let standing = entries.filter(|it| it.retracted.is_none());
    let open = standing.flat_map(|entry| {
        let open = entry.flags.iter().filter(|it| it.open());
        open.map(move |it| (entry, it.cause.to_string()))
    });
    open.collect()
}

/// What was read back and never confirmed: "Pulse 72 /min; Weight 150 lb".
pub(super) fn all_shown(measurements: &[Measurement]) -> String {
    let each: Vec<String> = measurements.iter().map(shown).collect();
    each.join("; ")
}
