//! Trends: the drawing, what it says in words, and the numbers behind it.

use std::fmt::Write as _;

use maud::{Markup, PreEscaped, html};

use super::layout::{Place, page};
use super::parts::{
    counted, find_path, how, identified_link, moment, resident_path, state, states, value,
};
use crate::residents::Resident;
use crate::review::fields::Fields;
use crate::review::index::Index;
use crate::review::now::Now;
use crate::review::sessions::Session;
use crate::review::trend::{SPANS, Size, Trend, USUAL_SPAN, draw, weight_compared};
use crate::speaking::wording::capital;
use crate::vitals::{BY_PALPATION, Component, VitalSign, shown_source};

/// Marks in a large drawing, and in a small one.
const MARKS: (usize, usize) = (80, 40);
/// Rows of the table beside it.
const ROWS: usize = 60;

/// The span that a query asks for.
pub fn span(fields: &Fields) -> u32 {
    let days = fields.get("days").parse().ok();
    days.filter(|it| SPANS.contains(it)).unwrap_or(USUAL_SPAN)
}

fn span_name(days: u32) -> String {
    match days {
        365 => "a year".to_owned(),
        1095 => "3 years".to_owned(),
        days => format!("{days} days"),
    }
}

/// Links to the other spans.
pub fn spans(path: &str, days: u32) -> Markup {
    html! {
        nav.spans aria-label="Time shown" {
            @for it in SPANS {
                a.button href={ (path) "?days=" (it) } aria-current=[(it == days).then_some("true")] {
                    (span_name(it))
                }
            }
        }
    }
}

/// What a drawing shows, for those who do not see it.
fn in_words(trend: &Trend, who: &str, days: u32) -> String {
    let round = |it: f64| (it * 10.0).round() / 10.0;
    let mut text = format!(
        "{} of {who}, {}: {}",
        capital(trend.sign.name()),
        span_name(days),
        counted(trend.readings, "reading")
    );
    if trend.palpated > 0 {
        let _ = write!(text, ", {} {BY_PALPATION}", trend.palpated);
    }
    for (part, name) in [(0, "systolic "), (1, "diastolic ")] {
        if let Some((low, high)) = trend.extent(part) {
            let name = if trend.usual.len() == 2 { name } else { "" };
            let (low, high, unit) = (round(low), round(high), trend.unit.symbol());
            let _ = write!(text, ", {name}{low} to {high} {unit}");
        }
    }
    let flagged: usize = trend.marks.iter().map(|it| it.flagged).sum();
    match (trend.bands.is_empty(), flagged) {
        (true, 0) => text,
        (true, _) => text + &format!(", {flagged} to report"),
        (false, _) => text + &format!(", {flagged} outside the range or raised by a rule"),
    }
}

fn figure(trend: &Trend, size: Size, who: &str, days: u32, now: Now<'_>) -> Markup {
    let label = in_words(trend, who, days);
    html! {
        @match draw(trend, size, &label, now) {
            Ok(svg) => { (PreEscaped(svg)) }
            Err(_) => { p.none { "It can't be drawn; the numbers are below." } }
        }
    }
}

/// Every vital sign of a resident, small.
pub fn all(index: &Index, resident: &Resident, days: u32, now: Now<'_>) -> Markup {
    let path = resident_path(&resident.id);
    let trends: Vec<_> = VitalSign::ALL
        .into_iter()
        .filter_map(|sign| Trend::of(index, resident, sign, (days, MARKS.1), now))
        .collect();
    html! {
        section.card {
            h2 id="trends" { "Trends" }
            (spans(&path, days))
            @if trends.is_empty() { p.none { "Nothing to draw in this time." } }
            div.charts {
                @for trend in &trends {
                    figure.chart {
                        figcaption {
                            a.name href={ (path) "/" (trend.sign.tag()) "?days=" (days) } { (capital(trend.sign.name())) }
                            " " span.soft { (trend.unit.symbol()) }
                        }
                        (figure(trend, Size::Small, &resident.name, days, now))
                    }
                }
            }
            @if !trends.is_empty() { (key(&trends.iter().collect::<Vec<_>>(), &[])) }
        }
    }
}

/// One vital sign.
pub fn trend(
    session: &Session,
    index: &Index,
    resident: &Resident,
    sign: VitalSign,
    fields: &Fields,
    now: Now<'_>,
) -> Markup {
    let days = span(fields);
    let path = format!("{}/{}", resident_path(&resident.id), sign.tag());
    let [trend, slim] =
        [MARKS.0, MARKS.1].map(|marks| Trend::of(index, resident, sign, (days, marks), now));
    page(
        session,
        Place::Residents,
        &format!("{} of {}", capital(sign.name()), resident.name),
        &html! {
            p.trail { (identified_link(index, &resident.id)) }
            div.head {
                h1 {
                    (capital(sign.name())) ", " (span_name(days))
                    @if let Some(trend) = &trend { " " span.soft { (trend.unit.symbol()) } }
                }
            }
            (spans(&path, days))
            div id="live" {
                section.card {
                    @match trend.as_ref().zip(slim.as_ref()) {
                        None => { p.none { "Nothing to draw in this time." } }
                        Some((trend, slim)) => {
                            figure.chart {
                                // A phone would shrink the large one until nobody can read it.
                                div.wide { (figure(trend, Size::Large, &resident.name, days, now)) }
                                div.slim { (figure(slim, Size::Small, &resident.name, days, now)) }
                                figcaption { (key(&[trend], &[slim])) }
                            }
                        }
                    }
                }
                @if sign == VitalSign::Weight { (weights(index, resident, now)) }
                (table(index, resident, sign, days, now))
            }
        },
    )
}

/// What the shapes mean, in the drawings of a page and in the slim ones that a phone
/// shows in their place.
fn key(wide: &[&Trend], slim: &[&Trend]) -> Markup {
    let any = |so: &dyn Fn(&Trend) -> bool| wide.iter().any(|it| so(it));
    let pressure = |it: &Trend| it.usual.len() == 2;
    let several = |it: &Trend| it.marks.iter().any(|it| it.count > 1);
    let usual = |it: &Trend, set: bool| it.usual.iter().flatten().any(|it| it.set == set);
    html! {
        ul.key {
            @if any(&|it| it.usual.len() == 1) { li { span.shape { "\u{25cf}" } " reading" } }
            @if any(&pressure) {
                li { span.shape { "\u{25a0}" } " systolic (sys.), joined to "
                    span.shape { "\u{25cb}" } " diastolic (dia.)" }
            }
            @if any(&|it| it.marks.iter().any(|it| it.parts.contains(&None))) {
                li { span.shape { "\u{25a0}" } " alone: by palpation, which gives no diastolic" }
            }
            @if any(&several) || slim.iter().any(|it| several(it)) {
                li.slim[!any(&several)] {
                    "where readings lie close: the median, on a bar from lowest to highest"
                }
            }
            @if any(&|it| !it.bands.is_empty()) {
                li { span.shape { "\u{25c7}" } " outside the range, or raised by a rule" }
                li { "shaded: the range in force on the day" }
            } @else if any(&|it| it.marks.iter().any(|it| it.flagged > 0)) {
                li { span.shape { "\u{25c7}" } " around it: to report" }
            }
            @if any(&|it| usual(it, true)) { li { "broken line, usual: set by a nurse" } }
            @if any(&|it| usual(it, false)) { li { "broken line, median: of the readings shown" } }
        }
    }
}

fn weights(index: &Index, resident: &Resident, now: Now<'_>) -> Markup {
    let compared = weight_compared(index, resident);
    let unit = index.home().units.unspoken(VitalSign::Weight);
    html! {
        section.card {
            h2 { "Against earlier weights" }
            @if let Some(last) = index.last(&resident.id, VitalSign::Weight) {
                p { "Compared: the last weight, " b { (value(&last.measurement)) } ", "
                    (moment(last.measured_at, now)) }
            }
            @if compared.is_empty() { p.none { "No earlier weight lies near enough to 30, 90 or 180 days." } }
            @else {
                table.rows {
                    thead { tr {
                        th scope="col" { "Over" } th scope="col" { "Weight then" }
                        th scope="col" { "Change" } th scope="col" { "Report at" }
                    } }
                    tbody {
                        @for it in &compared {
                            tr {
                                th scope="row" { (it.days) " days" }
                                td {
                                    @if let Some(number) = it.then.number(Component::Whole, unit) {
                                        (number.round_dp(1).normalize()) " " (unit.symbol())
                                    }
                                    " " span.soft { (it.apart) " days earlier" }
                                }
                                td {
                                    @let percent = it.shown();
                                    @if it.percent.is_zero() { (state("=", "no change")) }
                                    @else if it.percent.is_sign_negative() { (state("\u{25bc}", &format!("{percent} % less"))) }
                                    @else { (state("\u{25b2}", &format!("{percent} % more"))) }
                                    @if it.crossed { (state("\u{25c7}", "to report")) }
                                }
                                td data-of="Report at" { (it.limit) " % or more " span.soft { (shown_source(&it.source)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn table(index: &Index, resident: &Resident, sign: VitalSign, days: u32, now: Now<'_>) -> Markup {
    let from = now.days_back(days);
    let own: Vec<_> = index
        .readings_of(&resident.id)
        .rev()
        .take_while(|it| it.measured_at >= from)
        .filter(|it| it.measurement.sign() == sign)
        .collect();
    let find = format!("{}&sign={}", find_path(&resident.id), sign.tag());
    html! {
        section.card aria-labelledby="numbers" {
            h2 id="numbers" { "The numbers" }
            @if own.len() > ROWS {
                p { "The last " (ROWS) " of " (own.len()) ". " a href=(find) { "Find the others" } }
            }
            @if own.is_empty() { p.none { "None in this time." } }
            @else { table.rows {
                thead { tr {
                    th scope="col" { "Measured" } th scope="col" { "Reading" } th scope="col" { "State" }
                } }
                tbody {
                    @for entry in own.iter().take(ROWS) {
                        tr {
                            td.nowrap { (moment(entry.measured_at, now)) }
                            td { a.name href={ "/readings/" (entry.id) } { (value(&entry.measurement)) }
                                " " span.soft { (how(&entry.measurement)) } }
                            td { (states(index, entry)) }
                        }
                    }
                }
            } }
        }
    }
}
