//! A page about each resident, to print: who, what to mind, the ranges in force
//! and the last readings.

use chrono::NaiveDate;
use maud::{Markup, html};

use super::page::{Style, Who, day_and_time, lacking, not_taken, open_reports, page, reading};
use super::{Chart, Entry, Selection};
use crate::residents::{Home, Resident};
use crate::speaking::wording::capital;
use crate::vitals::{Component, Precautions, RangeOf, VitalSign, shown_source};

/// How many readings of each vital sign are shown: what fits a page.
const SHOWN: usize = 6;

/// Pages about the home's residents, or about the one selected.
#[must_use]
pub fn summary(chart: &Chart, home: &Home, selection: &Selection, style: Style) -> String {
    let wanted = |it: &&Resident| {
        let only = selection.resident.as_ref();
        only.is_none_or(|only| *only == it.id)
    };
    let residents = home.residents.iter().filter(wanted);
    let body = html! {
        @for resident in residents { (about(chart, home, resident, selection)) }
    };
    page(&format!("{}: summary", home.name), style, &body)
}

fn about(chart: &Chart, home: &Home, resident: &Resident, selection: &Selection) -> Markup {
    let own = |it: &&Entry| {
        it.record.resident == resident.id && selection.takes(&resident.id, it.changed_at)
    };
    let entries: Vec<&Entry> = chart.readings.iter().filter(own).collect();
    let last = entries.last().map(|it| it.measured_at);
    let who = Who::of(chart, home, &resident.id);
    let open = open_reports(entries.iter().copied());
    let unread = chart.unread.iter().filter(|it| it.concerns(&resident.id));
    html! {
        section.resident {
            header {
                div {
                    h1 { (who.name) }
                    p.beside {
                        "born " (resident.birth_date) " · " (resident.id.0)
                        @if let Some(place) = &who.place { " · " (place) }
                    }
                }
                p {
                    (home.name) br;
                    @match last {
                        Some(at) => { "last reading " (day_and_time(at)) }
                        None => { "no reading" }
                    }
                }
            }
            (lacking(unread.count()))
            @if !open.is_empty() {
                div.open {
                    h2 { "Not yet reported" }
                    ul {
                        @for (entry, why) in &open {
                            li { (capital(why)) span.how { (day_and_time(entry.measured_at)) } }
                        }
                    }
                }
            }
            (to_mind(&resident.care.precautions))
            (ranges(chart, home, resident, last.map(|it| it.date_naive())))
            (readings(chart, home, &entries))
            (missed(chart, resident, selection))
            (remarks(chart, resident, selection))
        }
    }
}

fn to_mind(it: &Precautions) -> Markup {
    let mut words = Vec::new();
    match it.oxygen_flow {
        Some(flow) => words.push(format!("oxygen, {} L/min ordered", flow.litres_a_minute())),
        None if it.on_oxygen => words.push("on oxygen".to_owned()),
        None => {}
    }
    let flags = [
        (it.low_saturation_target, "saturation target 88 to 92 %"),
        (it.mouth_breather, "breathes through the mouth"),
        (it.no_rectal, "no rectal temperature"),
        (it.irregular_pulse, "pulse known to be irregular"),
    ];
    words.extend(flags.iter().filter(|it| it.0).map(|it| it.1.to_owned()));
    let limbs = it.limbs_not_to_use.iter();
    words.extend(limbs.map(|(limb, why)| format!("no cuff: {} ({})", limb.spoken(), why.tag())));
    if let Some(chair) = it.chair_weight {
        let (value, unit) = (chair.value(), chair.unit().symbol());
        words.push(format!("empty wheelchair {value} {unit}"));
    }
    html! {
        @if !words.is_empty() {
            h2 { "To mind" }
            ul { @for word in &words { li { (capital(word)) } } }
        }
    }
}

fn ranges(chart: &Chart, home: &Home, resident: &Resident, day: Option<NaiveDate>) -> Markup {
    let day = day.unwrap_or(NaiveDate::MAX);
    let found = RangeOf::ALL.into_iter().filter_map(|of| {
        let (sign, component): (VitalSign, Component) = of.target();
        let range = chart.range_on(home, &resident.id, (sign, component), day)?;
        let name = if component == Component::Whole {
            sign.name().to_owned()
        } else {
            format!("{} pressure", component.name(sign))
        };
        Some((name, range))
    });
    html! {
        h2 { "Ranges in force" }
        table {
            thead {
                tr {
                    th scope="col" { "Of" }
                    th scope="col" { "From" }
                    th scope="col" { "To" }
                    th scope="col" { "Set by" }
                }
            }
            tbody {
                @for (name, range) in found {
                    tr {
                        th scope="row" { (capital(&name)) }
                        td.number data-of="From" { (range.bounds.low) }
                        td.number data-of="To" { (range.bounds.high) " " (range.bounds.unit.symbol()) }
                        td { small { (shown_source(&range.source)) } }
                    }
                }
            }
        }
    }
}

fn readings(chart: &Chart, home: &Home, entries: &[&Entry]) -> Markup {
    let of = |sign: VitalSign| {
        let own = entries
            .iter()
            .filter(|it| it.measurement.sign() == sign)
            .rev()
            .take(SHOWN);
        own.copied().collect::<Vec<_>>()
    };
    let signs = VitalSign::ALL.map(|sign| (sign, of(sign)));
    html! {
        h2 { "Last readings, the newest first" }
        @if entries.is_empty() { p.none { "None." } }
        table {
            tbody {
                @for (sign, last) in signs.iter().filter(|it| !it.1.is_empty()) {
                    tr {
                        th scope="row" { (capital(sign.name())) }
                        @for entry in last {
                            td { (reading(chart, home, entry, "%Y-%m-%d %H:%M")) }
                        }
                        @for _ in last.len()..SHOWN { td {} }
                    }
                }
            }
        }
    }
}

fn missed(chart: &Chart, resident: &Resident, selection: &Selection) -> Markup {
    let own = chart.missed.iter().rev().filter(|it| {
        *it.resident == resident.id
            && it.retracted.is_none()
            && selection.takes(&resident.id, it.changed_at)
    });
    let last: Vec<_> = own.take(SHOWN).collect();
    html! {
        @if !last.is_empty() {
            h2 { "Not taken lately" }
            ul {
                @for missed in last {
                    li {
                        (missed.act.at.format("%Y-%m-%d")) " "
                        @if missed.signs.is_empty() { "all that was due" }
                        @else { (crate::speaking::wording::names(missed.signs)) }
                        (not_taken(missed))
                    }
                }
            }
        }
    }
}

fn remarks(chart: &Chart, resident: &Resident, selection: &Selection) -> Markup {
    let own = chart
        .remarks
        .iter()
        .rev()
        .filter(|it| *it.resident == resident.id && selection.takes(&resident.id, it.act.at));
    let own: Vec<_> = own.collect();
    html! {
        @if !own.is_empty() {
            h2 { "Notes, the newest first" }
            ul {
                @for it in own.iter().take(SHOWN) {
                    li {
                        (it.act.text) " "
                        span.how { (day_and_time(it.act.at)) ", " (it.act.by.name) ", " (it.act.by.title) }
                    }
                }
            }
            @if own.len() > SHOWN { p.beside { "and " (own.len() - SHOWN) " more, older" } }
        }
    }
}
