//! Finding readings, what was not taken, and notes.

use maud::{Markup, html};
use uuid::Uuid;

use super::layout::{Place, page};
use super::parts::{
    counted, moment, reading_link, resident_link, staff, state, states, value, what_was_due,
};
use crate::review::fields::Fields;
use crate::review::index::{Entry, Index, Missed, Query, Remark};
use crate::review::now::Now;
use crate::review::sessions::Session;
use crate::vitals::VitalSign;

/// Lines on a page.
const PAGE: usize = 50;

/// What is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    Readings,
    Missed,
    Notes,
}

impl What {
    /// Each with its name in an address, and what it is called there.
    const ALL: [(Self, &'static str, &'static str); 3] = [
        (Self::Readings, "", "readings"),
        (Self::Missed, "not-taken", "what was not taken"),
        (Self::Notes, "notes", "notes"),
    ];

    fn of(fields: &Fields) -> Self {
        let named = Self::ALL.into_iter();
        let mut named = named.filter(|it| it.1 == fields.get("what"));
        named.next().map_or(Self::Readings, |it| it.0)
    }
}

/// The page: the form, and what was found.
pub fn find(session: &Session, index: &Index, fields: &Fields, now: Now<'_>) -> Markup {
    let query = Query {
        who: fields.get("who").to_owned(),
        from: fields.date("from"),
        to: fields.date("to"),
        sign: VitalSign::from_tag(fields.get("sign")),
        flagged: fields.get("flagged") == "on",
    };
    let what = What::of(fields);
    let at: usize = fields.get("page").parse().unwrap_or(1).clamp(1, 1_000_000);
    let skip = (at - 1) * PAGE;
    let (one, total, rows) = match what {
        What::Readings => {
            let found = index.find(&query, skip, PAGE);
            ("reading", found.total, readings(index, &found.page, now))
        }
        What::Missed => {
            let found = index.find_missed(&query);
            let page = found.iter().skip(skip).take(PAGE).copied();
            ("refusal or omission", found.len(), missed(index, page, now))
        }
        What::Notes => {
            let found = index.find_remarks(&query);
            let page = found.iter().skip(skip).take(PAGE).copied();
            ("note", found.len(), notes(index, page, now))
        }
    };
    let pages = total.div_ceil(PAGE).max(1);
    let to = |page: usize| format!("/find?{}", fields.query_with("page", &page.to_string()));
    page(
        session,
        Place::Find,
        "Find",
        &html! {
            h1 { "Find" }
            (form(fields, &query, what))
            section.card aria-labelledby="found" {
                h2 id="found" {
                    (counted(total, one))
                    @if pages > 1 { span.soft { ", page " (at) " of " (pages) } }
                }
                @if query.from.zip(query.to).is_some_and(|(from, to)| to < from) {
                    p { "The day in \u{201c}From\u{201d} is after the one in \u{201c}To\u{201d}." }
                } @else if total == 0 { p.none { "Nothing matches." } }
                @else if total <= skip { p.none { "There is no page " (at) "." } }
                @else { table.rows { (rows) } }
                @if pages > 1 {
                    nav.pages aria-label="Pages of what was found" {
                        @if at > 1 { a.button rel="prev" href=(to((at - 1).min(pages))) { "Newer" } }
                        @if at < pages { a.button rel="next" href=(to(at + 1)) { "Older" } }
                    }
                }
            }
        },
    )
}

fn form(fields: &Fields, query: &Query, what: What) -> Markup {
    html! {
        form.filters method="get" action="/find" aria-label="What to find" role="search" {
            label { "What"
                select name="what" {
                    @for (it, name, called) in What::ALL {
                        option value=(name) selected[it == what] { (called) }
                    }
                }
            }
            label { "Name, room, wing or ID" input name="who" value=(query.who) autocomplete="off"; }
            label { "From" input type="date" name="from" value=(fields.get("from")); }
            label { "To" input type="date" name="to" value=(fields.get("to")); }
            label { "Vital sign"
                select name="sign" {
                    option value="" { "all" }
                    @for sign in VitalSign::ALL {
                        option value=(sign.tag()) selected[query.sign == Some(sign)] { (sign.name()) }
                    }
                }
            }
            label.check { input type="checkbox" name="flagged" checked[query.flagged]; "Only outside the range, or raised by a rule" }
            button.main { "Find" }
        }
    }
}

fn readings(index: &Index, found: &[&Entry], now: Now<'_>) -> Markup {
    html! {
        thead { tr {
            th scope="col" { "Measured" } th scope="col" { "Resident" }
            th scope="col" { "Reading" } th scope="col" { "State" }
        } }
        tbody {
            @for entry in found {
                tr {
                    td.nowrap { (moment(entry.measured_at, now)) }
                    td { (resident_link(index, index.resident_of(entry))) }
                    td { (reading_link(entry)) }
                    td { (states(index, entry)) }
                }
            }
        }
    }
}

fn missed<'a>(index: &Index, found: impl Iterator<Item = &'a Missed>, now: Now<'_>) -> Markup {
    html! {
        thead { tr {
            th scope="col" { "When" } th scope="col" { "Resident" }
            th scope="col" { "Not taken" } th scope="col" { "Why" } th scope="col" { "Recorded by" }
        } }
        tbody {
            @for it in found {
                tr {
                    td.nowrap { (moment(it.at, now)) }
                    td { (resident_link(index, &it.resident)) }
                    td { (what_was_due(it)) }
                    td { (state("\u{2013}", it.reason.spoken())) }
                    td { (staff(&it.by)) }
                }
            }
        }
    }
}

fn notes<'a>(index: &Index, found: impl Iterator<Item = Remark<'a>>, now: Now<'_>) -> Markup {
    html! {
        thead { tr {
            th scope="col" { "When" } th scope="col" { "Resident" }
            th scope="col" { "Note" } th scope="col" { "By" }
        } }
        tbody {
            @for it in found {
                tr {
                    td.nowrap { (moment(it.at, now)) }
                    td { (resident_link(index, it.resident)) }
                    td { (it.text) (about(index, it.reading)) }
                    td { (staff(it.by)) }
                }
            }
        }
    }
}

/// The reading that a note is about, as a link.
pub fn about(index: &Index, reading: Option<Uuid>) -> Markup {
    let entry = reading.and_then(|it| index.reading(it));
    html! {
        @if let Some(entry) = entry {
            " " span.soft { "about " a href={ "/readings/" (entry.id) } {
                (entry.measurement.sign().name()) " " (value(&entry.measurement))
            } }
        }
    }
}
