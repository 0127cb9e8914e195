//! Finding readings.

use maud::{Markup, html};

use super::layout::{Place, page};
use super::parts::{counted, how, moment, resident_link, states, value};
use crate::facts::Time;
use crate::review::fields::Fields;
use crate::review::index::{Index, Query};
use crate::review::sessions::Session;
use crate::speaking::wording::capital;
use crate::vitals::VitalSign;

/// Readings on a page.
const PAGE: usize = 50;

/// The page: the form, and what was found.
pub fn find(session: &Session, index: &Index, fields: &Fields, now: Time) -> Markup {
    let query = Query {
        who: fields.get("who").to_owned(),
        from: fields.date("from"),
        to: fields.date("to"),
        sign: VitalSign::from_tag(fields.get("sign")),
        flagged: fields.get("flagged") == "on",
    };
    let at: usize = fields.get("page").parse().unwrap_or(1).clamp(1, 1_000_000);
    let found = index.find(&query, (at - 1) * PAGE, PAGE);
    let pages = found.total.div_ceil(PAGE).max(1);
    let to = |page: usize| format!("/find?{}", fields.query_with("page", &page.to_string()));
    page(
        session,
        Place::Find,
        "Find",
        &html! {
            h1 { "Find readings" }
            form.filters method="get" action="/find" aria-label="What to find" role="search" {
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
                label.check { input type="checkbox" name="flagged" checked[query.flagged]; "Outside range only" }
                button.main { "Find" }
            }
            section.card aria-labelledby="found" {
                h2 id="found" {
                    (counted(found.total, "reading"))
                    @if pages > 1 { span.soft { ", page " (at) " of " (pages) } }
                }
                @if found.page.is_empty() { p.none { "Nothing matches." } }
                @else {
                    table.rows {
                        thead { tr {
                            th scope="col" { "Measured" } th scope="col" { "Resident" }
                            th scope="col" { "Reading" } th scope="col" { "State" }
                        } }
                        tbody {
                            @for entry in &found.page {
                                tr {
                                    td.nowrap { (moment(entry.measured_at, now)) }
                                    td { (resident_link(index, index.resident_of(entry))) }
                                    td {
                                        a href={ "/readings/" (entry.id) } {
                                            (capital(entry.measurement.sign().name())) " "
                                            b { (value(&entry.measurement)) }
                                        }
                                        " " span.soft { (how(&entry.measurement)) }
                                    }
                                    td { (states(index, entry)) }
                                }
                            }
                        }
                    }
                }
                @if pages > 1 {
                    nav.pages aria-label="Pages of what was found" {
                        @if at > 1 { a.button rel="prev" href=(to(at - 1)) { "Newer" } }
                        @if at < pages { a.button rel="next" href=(to(at + 1)) { "Older" } }
                    }
                }
            }
        },
    )
}
