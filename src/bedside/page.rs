//! The page and its live part, as HTML. Every state says in words and by its
//! shape what it is; colour only helps.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::hand::{answers, by_hand, opens};
use super::view::{Doing, Kept, Kind, Person, Report, Timer, View, Waiting};
use crate::hearing::By;
use crate::residents::Speech;
use crate::round::Shown;

/// The whole page. `key` is what every form must bring back; `note` is what
/// became of the last one, where that must be said; `tablet` is whether it can give
/// its sound to the round.
pub fn page(view: &View, key: &str, note: Option<&str>, tablet: bool) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                // Without its script the page renews itself.
                noscript { meta http-equiv="refresh" content="3"; }
                title { "Sayback at the bedside" }
                link rel="stylesheet" href="/style.css";
                link rel="icon" href="data:,";
                script src="/page.js" defer {}
                @if tablet { script src="/sound.js" defer {} }
            }
            body {
                p #note role="alert" hidden[note.is_none()] { (note.unwrap_or_default()) }
                @if tablet {
                    div #sound hidden {
                        p role="status" {}
                        button type="button" { "Use this device\u{2019}s microphone and loudspeaker" }
                    }
                }
                div #screen { (screen(view, key)) }
                (by_hand(view, key))
            }
        }
    }
}

/// The live part: sections that are put in the place of the old ones.
pub fn screen(view: &View, key: &str) -> Markup {
    html! {
        header #top { (top(view)) }
        main #middle tabindex="0" { (middle(view)) }
        aside #side tabindex="0" aria-label="This resident" { (side(view)) }
        nav #answers aria-label="Answers" data-asked=(view.asked) data-brief=(brief(view)) { (answers(view, key)) }
    }
}

/// What waits, in a line for a sheet that covers it.
pub(super) fn brief(view: &View) -> String {
    let Some(it) = &view.waiting else {
        return String::new();
    };
    let mut parts = vec![it.question.clone()];
    let person = |it: &Person| format!("{}, born {}, {}", it.name, it.born, it.place);
    parts.extend(it.person.as_ref().map(person));
    let reading = |it: &Shown| format!("{} {} {}", it.name, it.value, it.how.join(" \u{b7} "));
    parts.extend(it.readings.iter().map(reading));
    parts.extend(it.words.clone());
    parts.join(" ")
}

fn top(view: &View) -> Markup {
    let (icon, word) = doing(view.doing);
    html! {
        div.who {
            @match &view.resident {
                Some(it) => { h1 { (it.name) } p { (it.place) } }
                None => { h1 { "No resident" } p { (view.home) } }
            }
        }
        p.doing.(class_of(view.doing)) role="status" {
            (PreEscaped(icon)) span { (word) }
        }
        p.clock {
            time data-now=(view.at.timestamp_millis()) data-offset=(view.at.offset().local_minus_utc())
                datetime=(view.at.to_rfc3339())
                { (view.at.format("%H:%M")) }
            @match &view.aide {
                Some(it) => span.aide { (it) },
                // Said already, larger.
                None if view.doing == Doing::NobodySignedOn => {}
                None => span.aide { "Nobody records" }
            }
            @let notes: Vec<String> = not_heard(view.speech).map(str::to_owned).into_iter()
                .chain(view.sound_days.map(sound_kept)).collect();
            @if !notes.is_empty() { span.aide { (notes.join("\u{a0}\u{b7} ")) } }
        }
    }
}

fn middle(view: &View) -> Markup {
    html! {
        @let count = view.timers.iter().find(|it| it.count);
        @for it in view.timers.iter().filter(|it| !it.count) {
            p.timer data-until=[ends(it)] { b { (left(view, it)) } " " (it.name) }
        }
        @match (&view.waiting, count) {
            (waiting, Some(it)) => {
                section.counts data-until=[ends(it)] {
                    h2 { (it.name) }
                    b { (left(view, it)) }
                    p { "Count until you hear \u{201c}stop\u{201d}." }
                }
                @if let Some(it) = waiting { (waits(view, it)) }
            }
            (Some(it), None) => (waits(view, it)),
            (None, None) => (nothing_waits(view)),
        }
        @if let Some(it) = &view.heard {
            p.heard.talk[!it.addressed] {
                span.label { @match it.by { By::Voice => "Heard", By::Touch => "Typed" } }
                " " q { (it.text) }
                @if !it.addressed { " \u{2014} not for me" }
            }
        }
        @if let Some(it) = &view.notice { p.notice { span.label { "Note" } " " (it) } }
    }
}

fn ends(it: &Timer) -> Option<i64> {
    it.until.map(|it| it.timestamp_millis())
}

/// What is left of a time; a dash before it has begun.
fn left(view: &View, it: &Timer) -> String {
    let Some(until) = it.until else {
        return "\u{2013}".to_owned();
    };
    let seconds = (until - view.at).num_seconds().max(0);
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

fn waits(view: &View, it: &Waiting) -> Markup {
    let unspoken = view.speech == Speech::Tones && it.kind.is_yes_or_no();
    let unheard = match (view.doing, it.kind.is_yes_or_no()) {
        (Doing::MicrophoneLost, true) => " Speech is not heard: touch Yes or No.",
        (Doing::MicrophoneLost, false) => " Speech is not heard: touch an answer.",
        _ => "",
    };
    let length = length(it);
    html! {
        section.waits.(kind_class(it.kind)).(length) {
            h2 { (it.question) @if unspoken { " Read it first: nothing is spoken." } (unheard) }
            @if let Some(person) = &it.person { (to_identify(person)) }
            @if let Some(was) = &it.was { p.was { "now " (was.value) @for how in &was.how { " \u{b7} " (how) } } }
            @for reading in &it.readings { (reading_line(reading)) }
            @if let Some(words) = &it.words { p.reading { (words) } }
        }
    }
}

/// How much there is to show, so that it is as large as it can be.
fn length(it: &Waiting) -> &'static str {
    let reading = |it: &Shown| {
        let how: usize = it.how.iter().map(|it| it.len() + 3).sum();
        it.name.len() + it.value.len() + how
    };
    let readings: usize = it.readings.iter().map(reading).sum();
    match readings + it.words.as_ref().map_or(0, String::len) {
        0..=60 => "short",
        61..=130 => "middling",
        _ => "long",
    }
}

fn to_identify(it: &Person) -> Markup {
    html! {
        p.reading { b { (it.name) } }
        p.reading.born { "born " b { (it.born) } }
        p.reading { (it.place) }
    }
}

/// A value, its number larger than its unit.
fn value(it: &Shown) -> Markup {
    let number = |it: &str| it.contains(|it: char| it.is_ascii_digit());
    let (value, unit) = match it.value.split_once(' ') {
        Some((value, unit)) if number(value) => (value, Some(unit)),
        _ => (it.value.as_str(), None),
    };
    html! { span.value { b { (value) } @if let Some(unit) = unit { "\u{a0}" (unit) } } }
}

fn reading_line(it: &Shown) -> Markup {
    html! {
        p.reading {
            span.sign { (it.name) } " " (value(it))
            @for (at, how) in it.how.iter().enumerate() {
                @if at > 0 { " \u{b7}" }
                " " span.how { span { (how) } }
            }
        }
    }
}

fn nothing_waits(view: &View) -> Markup {
    let (title, hint) = match (view.doing, &view.resident) {
        (Doing::MicrophoneLost, _) => (
            "Microphone lost",
            "Speech is not heard. Plug the microphone in again; until then, use Room and Type.",
        ),
        (Doing::Ended, _) => ("The round is over", "Start Sayback again for the next one."),
        (Doing::NobodySignedOn, _) => ("Nobody is signed on", "Sign on with your PIN."),
        (Doing::Asleep, _) => (
            "Not listening",
            "Say \u{201c}start listening\u{201d}, or touch it below.",
        ),
        (_, None) if view.moving_from.is_some() => (
            "Which room?",
            "Say the room of the right resident, or \u{201c}scratch that\u{201d} to move nothing.",
        ),
        (_, None) => ("Which room?", "Say \u{201c}room\u{201d} and its number."),
        (_, Some(_)) => (
            "Ready",
            "Say a vital sign and its value, such as \u{201c}pulse seventy two regular\u{201d}.",
        ),
    };
    html! {
        section.rests {
            h2 { (title) }
            p { (hint) }
            @if let Some(it) = &view.moving_from { p.moving { "To be moved, from " b { (it) } } }
            @if let Some(it) = view.said.as_ref().filter(|_| view.doing != Doing::NobodySignedOn) { p.said { span.label { "Said" } " " q { (it) } } }
        }
    }
}

fn side(view: &View) -> Markup {
    html! {
        @if !view.reports.is_empty() { (reports(view)) }
        @if view.resident.is_some() {
            section.kept {
                h2 { "Kept this round" @if !view.kept.is_empty() { " (" (view.kept.len()) ")" } }
                @if view.kept.is_empty() { p.none { "nothing yet" } }
                @else { ul tabindex="0" { @for it in &view.kept { (kept(it)) } } }
            }
            section.due {
                h2 { "Due" }
                @if view.due.is_empty() { p.none { "nothing" } }
                ul { @for it in &view.due { li { (it) } } }
            }
        }
        // Nothing that an aide must act on: not beside the question.
        @if let Some(it) = &view.link { p.home { span.label { "Home" } " " (it) } }
    }
}

fn kept(it: &Kept) -> Markup {
    html! {
        li {
            span.tick aria-hidden="true" { "\u{2713}" }
            span.sign { (it.reading.name) } " " (value(&it.reading))
            @if !it.flags.is_empty() { " " span.label.flag { "report" } }
            @if it.changed { " " span.label.flag { "changed" } }
            " " span.how {
                @for how in &it.reading.how { (how) " \u{b7} " }
                (it.measured_at.format("%H:%M"))
            }
        }
    }
}

fn reports(view: &View) -> Markup {
    let count = view.reports.len();
    // As insistent as what is spoken.
    let insists = view.reports.iter().any(|it| it.said_again > 2);
    let title = if insists {
        "Stop, and tell the nurse now"
    } else {
        "Report to the nurse"
    };
    html! {
        section.reports.insists[insists] {
            h2 { (title) @if count > 1 { " (" (count) ")" } }
            ul { @for it in &view.reports { (report(it)) } }
            (opens("reported", "Reported", "told"))
        }
    }
}

fn report(it: &Report) -> Markup {
    html! {
        li {
            @if !it.here { b { (it.who) } ": " }
            (it.what) " " span.how {
                (it.limit) " \u{b7} open since\u{a0}" (it.since.format("%H:%M"))
                @if it.said_again > 1 { " \u{b7} reminded\u{a0}" (it.said_again) "\u{a0}times" }
            }
        }
    }
}

const fn kind_class(kind: Kind) -> &'static str {
    match kind {
        Kind::Who => "person",
        Kind::Keep | Kind::Note => "offer",
        Kind::KeepUnlikely => "unlikely",
        Kind::Change => "change",
        Kind::Question => "question",
    }
}

const fn class_of(doing: Doing) -> &'static str {
    match doing {
        Doing::Listening => "listening",
        Doing::Saying => "saying",
        Doing::Asleep | Doing::NobodySignedOn | Doing::Ended => "resting",
        Doing::MicrophoneLost => "lost",
    }
}

/// What is not heard of what is shown, where that is something.
const fn not_heard(speech: Speech) -> Option<&'static str> {
    match speech {
        Speech::Earpiece => None,
        Speech::Room => Some("Names are not spoken"),
        Speech::Tones => Some("Nothing is spoken"),
    }
}

fn sound_kept(days: u16) -> String {
    let days = if days == 1 {
        "1 day".to_owned()
    } else {
        format!("{days} days")
    };
    format!("Sound kept {days}")
}

/// The picture and the words of what Sayback does. Each picture has an outline
/// of its own.
const fn doing(doing: Doing) -> (&'static str, &'static str) {
    match doing {
        Doing::Listening => (LISTENING, "Listening"),
        Doing::Saying => (SAYING, "Speaking"),
        Doing::Asleep => (ASLEEP, "Not listening"),
        Doing::MicrophoneLost => (LOST, "Microphone lost"),
        Doing::NobodySignedOn => (NOBODY, "Nobody is signed on"),
        Doing::Ended => (ASLEEP, "Round over"),
    }
}

const LISTENING: &str = r#"<svg viewBox="0 0 24 24" aria-hidden="true"><circle cx="6" cy="12" r="3.5"/><path d="M12 5.5a9 9 0 0 1 0 13M16.5 3a13.5 13.5 0 0 1 0 18"/></svg>"#;
const SAYING: &str = r#"<svg viewBox="0 0 24 24" aria-hidden="true"><path d="M3 4h18v12H11l-5 5v-5H3z"/><path d="M7 8.5h10M7 12h7"/></svg>"#;
const ASLEEP: &str = r#"<svg viewBox="0 0 24 24" aria-hidden="true"><path d="M15 3a9 9 0 1 0 6 14A11 11 0 0 1 15 3z"/></svg>"#;
const LOST: &str = r#"<svg viewBox="0 0 24 24" aria-hidden="true"><rect x="9" y="3" width="6" height="10" rx="3"/><path d="M6 11a6 6 0 0 0 12 0M12 17v4M3 3l18 18"/></svg>"#;
const NOBODY: &str = r#"<svg viewBox="0 0 24 24" aria-hidden="true"><circle cx="12" cy="8" r="4"/><path d="M4 21c1-6 4-8 8-8s7 2 8 8"/></svg>"#;
