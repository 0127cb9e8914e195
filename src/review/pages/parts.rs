//! Small pieces that several pages show, so that the same thing looks and reads
//! the same everywhere.

use chrono::{Datelike, TimeDelta};
use maud::{Markup, html};

use crate::facts::{Raised, Time};
use crate::residents::{Resident, ResidentId, Staff};
use crate::review::index::{Entry, Flag, Index, Missed};
use crate::review::now::Now;
use crate::review::worklist::SURE;
use crate::speaking::wording::{capital, names};
use crate::vitals::{Component, Finding, Measurement, Side, Value};

/// The value of a measurement with its unit.
pub fn value(it: &Measurement) -> String {
    match it.value() {
        Value::One(quantity) => format!("{}\u{a0}{}", quantity.value(), quantity.unit().symbol()),
        Value::Pressure {
            systolic,
            diastolic,
        } => format!(
            "{}/{}\u{a0}{}",
            systolic.value(),
            diastolic.value(),
            systolic.unit().symbol()
        ),
        Value::Palpated { systolic } => {
            format!("{}/P\u{a0}{}", systolic.value(), systolic.unit().symbol())
        }
        Value::Level(level) => level.spoken().to_owned(),
        Value::NotRated => "could not be rated".to_owned(),
    }
}

/// How a measurement was taken: "left arm, sitting".
pub fn how(it: &Measurement) -> String {
    it.how().join(", ")
}

/// A moment, as short as the day allows.
pub fn moment(at: Time, now: Now<'_>) -> Markup {
    let local = now.shown(at);
    let days = (now.date_naive() - local.date_naive()).num_days();
    let text = match days {
        0 => local.format("today %H:%M").to_string(),
        1 => local.format("yesterday %H:%M").to_string(),
        _ if local.year() == now.year() => local.format("%b %-d, %H:%M").to_string(),
        _ => local.format("%b %-d, %Y, %H:%M").to_string(),
    };
    html! { time datetime=(local.format("%Y-%m-%dT%H:%M%:z")) { (text) } }
}

/// How long ago: "3 h 12 min".
pub fn lasted(span: TimeDelta) -> String {
    let minutes = span.num_minutes().max(0);
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, minutes) if hours < 24 => format!("{hours} h {minutes} min"),
        (hours, _) if hours < 48 => "1 day".to_owned(),
        (hours, _) => format!("{} days", hours / 24),
    }
}

/// So many of these: "1 reading".
pub fn counted(count: usize, one: &str) -> String {
    format!("{count} {one}{}", if count == 1 { "" } else { "s" })
}

/// Someone, with title.
pub fn staff(it: &Staff) -> String {
    format!("{}, {}", it.name, it.title)
}

/// Which recorder something came from, after who recorded it; nothing where there is
/// nothing to tell apart.
pub fn on(recorder: Option<&str>) -> Markup {
    html! { @if let Some(it) = recorder { " on " (it) } }
}

/// Which vital signs were not taken.
pub fn what_was_due(it: &Missed) -> String {
    if it.signs.is_empty() {
        return "All that was due".to_owned();
    }
    capital(&names(&it.signs))
}

/// The address of a resident's page.
pub fn resident_path(id: &ResidentId) -> String {
    // A space is a plus only in a query.
    format!("/residents/{}", in_query(id).replace('+', "%20"))
}

/// The address where all of a resident is found; more may be said after it.
pub fn find_path(id: &ResidentId) -> String {
    format!("/find?who={}", in_query(id))
}

fn in_query(id: &ResidentId) -> String {
    form_urlencoded::byte_serialize(id.0.as_bytes()).collect()
}

/// A resident's name as a link, with room and bed.
pub fn resident_link(index: &Index, id: &ResidentId) -> Markup {
    let place = index.resident(id).map(place);
    html! {
        a.name href=(resident_path(id)) { (index.name(id)) }
        @if let Some(place) = place { " " span.soft { (place) } }
    }
}

/// A reading by name and value, in a table: how it was taken beside the link to it.
pub fn reading_link(entry: &Entry) -> Markup {
    html! {
        a href={ "/readings/" (entry.id) } { (named_value(entry)) }
        " " span.soft { (how(&entry.measurement)) }
    }
}

/// The same in a list of what needs a nurse: large, and the link alone.
pub fn large_reading_link(entry: &Entry) -> Markup {
    html! { a.value href={ "/readings/" (entry.id) } { (named_value(entry)) } }
}

fn named_value(entry: &Entry) -> Markup {
    let it = &entry.measurement;
    html! { (capital(it.sign().name())) " " b { (value(it)) } }
}

/// What was raised, in a few words.
pub fn in_short(raised: &Raised) -> String {
    match raised {
        Raised::Limit(it) => format!("{} {} range", it.name(), side(it.side).1),
        Raised::Rule(it) => {
            let what = it.say.split(". Report to the nurse").next();
            what.unwrap_or_default().to_owned()
        }
    }
}

/// A link to a resident on a page about one person, with the second identifier.
pub fn identified_link(index: &Index, id: &ResidentId) -> Markup {
    let born = index.home().resident(id).map(|it| it.birth_date);
    html! {
        (resident_link(index, id))
        @if let Some(born) = born { span.soft { ", born " (born.format("%B %-d, %Y")) } }
    }
}

/// "room 4, bed 2"
pub fn place(it: &Resident) -> String {
    if it.room.is_empty() {
        return "not in the home\u{2019}s file".to_owned();
    }
    match &it.bed {
        Some(bed) => format!("room {}, bed {bed}", it.room),
        None => format!("room {}", it.room),
    }
}

/// A state: a shape and a word, so that neither colour nor picture is needed.
pub fn state(shape: &str, word: &str) -> Markup {
    html! { span.state { span.shape aria-hidden="true" { (shape) } (word) } }
}

/// The same, for what waits for a nurse.
pub fn loud(shape: &str, word: &str) -> Markup {
    html! { span.state.loud { span.shape aria-hidden="true" { (shape) } (word) } }
}

/// The side of a crossed limit.
pub const fn side(it: Side) -> (&'static str, &'static str) {
    match it {
        Side::Above => ("\u{25b2}", "above"),
        Side::Below => ("\u{25bc}", "below"),
    }
}

/// Everything to be known of a reading at a glance.
pub fn states(index: &Index, entry: &Entry) -> Markup {
    let open =
        |it: &Flag| index.closed(it.id).is_none() && (entry.flagged || it.raised.score().is_some());
    html! {
        @if index.is_apart(entry) { (loud("\u{25c6}", "changed apart")) }
        @if entry.retracted {
            (state("\u{2715}", "retracted"))
        } @else {
            @if index.flags_of(entry.id).any(open) { (loud("\u{25c6}", "open report")) }
            @if entry.flagged { (outside_range(index, entry)) }
        }
        @if entry.corrected() { (state("\u{270e}", "corrected")) }
        @if index.is_by_hand(entry) { (state("\u{270d}", "entered by hand")) }
        @if entry.second_look { (state("\u{2248}", "far from usual")) }
        @if entry.confidence < SURE && !entry.corrected() {
            (state("?", &format!("speech recognition {} sure", percent(entry.confidence))))
        }
    }
}

/// On which side of the range a reading lies, and of two numbers which; or that another rule
/// was met, as over several readings, or that another value was flagged.
fn outside_range(index: &Index, entry: &Entry) -> Markup {
    let now = entry.measurement.components();
    let mut beyond: Vec<&Finding> = Vec::new();
    for flag in index.flags_of(entry.id) {
        if let Raised::Limit(it) = &flag.raised
            && now.contains(&(it.component, it.value))
            && beyond.iter().all(|other| other.component != it.component)
        {
            beyond.push(it);
        }
    }
    html! {
        @if beyond.is_empty() { (state("\u{25c7}", "raised by a rule")) }
        @for it in beyond {
            @let (shape, side) = side(it.side);
            @match it.component {
                Component::Whole => (state(shape, &format!("{side} range"))),
                _ => (state(shape, &format!("{} {side} range", it.name()))),
            }
        }
    }
}

/// A confidence in per cent. No recogniser is ever wholly sure.
pub fn percent(confidence: f32) -> String {
    if confidence > 0.99 {
        return "over 99\u{a0}%".to_owned();
    }
    format!("{:.0}\u{a0}%", confidence * 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::residents::Offsets;

    #[test]
    fn a_time_is_as_short_as_the_day_allows() {
        let at = chrono::DateTime::parse_from_rfc3339("2026-03-12T12:00:00-05:00").unwrap();
        let offsets = &Offsets::fixed(*at.offset());
        let text = |back: TimeDelta| moment(at - back, Now { at, offsets }).into_string();
        assert!(text(TimeDelta::hours(2)).contains("today 10:00"));
        assert!(text(TimeDelta::hours(13)).contains("yesterday 23:00"));
        assert!(text(TimeDelta::days(10)).contains(">Mar 2, 12:00<"));
        assert!(text(TimeDelta::days(300)).contains("May 16, 2025"));
    }

    #[test]
    fn nothing_is_heard_with_full_certainty() {
        assert_eq!(percent(0.78), "78\u{a0}%");
        assert_eq!([0.996, 1.0].map(percent), ["over 99\u{a0}%"; 2]);
    }

    #[test]
    fn a_span_is_said_as_people_say_it() {
        let said = |minutes| lasted(TimeDelta::minutes(minutes));
        assert_eq!(said(-3), "0 min");
        assert_eq!(said(59), "59 min");
        assert_eq!(said(192), "3 h 12 min");
        assert_eq!(said(24 * 60), "1 day");
        assert_eq!(said(49 * 60), "2 days");
    }
}
