//! The worklist.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use chrono::TimeDelta;
use maud::{Markup, html};
use uuid::Uuid;

use super::acting::{Outcome, may_act, token};
use super::apart::to_decide;
use super::compared::compared_with;
use super::layout::{Place, page};
use super::parts::{
    counted, how, in_short, large_reading_link, lasted, loud, moment, on, place, resident_link,
    resident_path, side, state, states, value, what_was_due,
};
use crate::facts::{Raised, Time};
use crate::residents::{ResidentId, Staff};
use crate::review::fields::Fields;
use crate::review::index::{Entry, Flag, Index};
use crate::review::ledger::Arrivals;
use crate::review::now::Now;
use crate::review::sessions::Session;
use crate::review::worklist::{Filter, SPANS, Worklist, about, how_far, is_urgent};
use crate::speaking::wording::{capital, names};
use crate::vitals::{Component, Finding, shown_source};

/// Of each kind, so many are listed; the rest are counted.
pub const MOST: usize = 25;

/// After this long without anything of a recorder, that is said aloud: a shift is eight
/// hours, and most have a round in it.
const LONG: TimeDelta = TimeDelta::hours(8);

/// The page.
pub fn worklist(
    session: &Session,
    (index, arrivals): (&Index, &Arrivals),
    fields: &Fields,
    outcome: &Outcome,
    now: Now<'_>,
) -> Markup {
    let filter = Filter::of(fields);
    let list = Worklist::of(index, &filter, now);
    let back = format!("/worklist?{}", fields.query_with("done", ""));
    page(
        session,
        Place::Worklist,
        "Worklist",
        &html! {
            div.head {
                h1 { "Worklist" }
                p.soft id="as-of" { (index.home().name) ", " (now.format("%A, %B %-d, as of\u{a0}%H:%M")) }
                p.live.soft id="live-state" role="status" {}
            }
            (filters(index, &filter, now))
            (outcome.banner())
            div id="live" {
                @if index.damaged() > 0 {
                    p.problem role="alert" {
                        (index.damaged()) " facts of the record can't be read, so this page may lack \
                        something. Tell whoever looks after the recorder."
                    }
                }
                (reports(session, (index, arrivals), &list, &back, now))
                (to_decide(index, &list.apart, now))
                (attention(index, &list, now))
                (by_resident(index, &list, now))
                (recorders(index, now))
            }
        },
    )
}

/// When something of each recorder arrived: what one has recorded since and could not send
/// is not on this page.
fn recorders(index: &Index, now: Now<'_>) -> Markup {
    let silent = |at: Time| now.at.signed_duration_since(at);
    html! {
        @if !index.recorders().is_empty() {
            section.card aria-labelledby="recorders" {
                h2 id="recorders" { "Recorders" }
                p.soft {
                    "When something of each arrived last. One that nobody used sends nothing; one \
                    that can't reach the home keeps what it records, and it is not on this page yet."
                }
                ul.items {
                    @for it in index.recorders() {
                        li.item {
                            div.what { (it.label) }
                            div.when {
                                @match it.arrived {
                                    Some(at) => {
                                        @if silent(at) >= LONG {
                                            (loud("\u{25c6}", &format!("nothing for {}", lasted(silent(at)))))
                                        }
                                        p.soft { (moment(at, now)) }
                                    }
                                    None => p.soft { "nothing so far" }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn filters(index: &Index, filter: &Filter, now: Now<'_>) -> Markup {
    let mut rooms: Vec<&str> = index
        .home()
        .residents
        .iter()
        .map(|it| it.room.as_str())
        .collect();
    rooms.sort_by_key(|it| it.parse::<u32>().unwrap_or(u32::MAX));
    rooms.dedup();
    let wings = index.home().residents.iter();
    let wings: BTreeSet<&str> = wings.filter_map(|it| it.wing.as_deref()).collect();
    let span = |hours: u32| match hours {
        0..24 => format!("last {hours} hours"),
        24 => "last 24 hours".to_owned(),
        hours => format!("last {} days", hours / 24),
    };
    html! {
        form.filters method="get" action="/worklist" aria-label="What is shown" {
            @if !wings.is_empty() {
                label { "Wing"
                    select name="wing" {
                        option value="" { "all" }
                        @for wing in wings {
                            option value=(wing) selected[filter.wing == wing] { (wing) }
                        }
                    }
                }
            }
            label { "Room"
                select name="room" {
                    option value="" { "all" }
                    @for room in rooms { option selected[filter.room == room] { (room) } }
                }
            }
            label { "Round"
                select name="round" {
                    option value="" { "all" }
                    @for round in index.rounds().take(12) {
                        option value=(round.id) selected[filter.round == Some(round.id)] {
                            (now.shown(round.opened).format("%b %-d, %H:%M")) ", " (round.by.name)
                            (on(index.sender_of_round(round.id)))
                        }
                    }
                }
            }
            label { "Recorded by"
                select name="aide" {
                    option value="" { "everyone" }
                    @for aide in index.staff() {
                        option selected[filter.aide == aide.name] { (aide.name) }
                    }
                }
            }
            label { "Time"
                select name="hours" {
                    @for hours in SPANS {
                        option value=(hours) selected[filter.hours == hours] { (span(hours)) }
                    }
                }
            }
            button { "Show" }
        }
    }
}

fn reports(
    session: &Session,
    (index, arrivals): (&Index, &Arrivals),
    list: &Worklist<'_>,
    back: &str,
    now: Now<'_>,
) -> Markup {
    let sender = |flag: &Flag| index.sender_of(index.reading(flag.reading)?);
    let report = |flag: &Flag| {
        html! {
            li.item {
                div.what {
                    (resident_link(index, &flag.resident))
                    @match &flag.raised {
                        Raised::Limit(it) => {
                            @let (shape, side) = side(it.side);
                            @let (far, end) = how_far(it);
                            @let unit = it.value.unit().symbol();
                            a.value href={ "/readings/" (flag.reading) } {
                                span.shape aria-hidden="true" { (shape) }
                                (capital(it.name())) " " b { (it.value.value()) " " (unit) }
                            }
                            (taken(index, flag, now))
                            p { (far) " " (unit) " " (side) " " (end) " "
                                span.soft { "(" (shown_source(&it.source)) ")" } }
                        }
                        Raised::Rule(it) => {
                            a.value href={ "/readings/" (flag.reading) } {
                                (capital(about(&flag.raised)))
                                @if let (Some(_), Some(entry)) = (it.sign, index.reading(flag.reading)) {
                                    " " b { (value(&entry.measurement)) }
                                }
                            }
                            @if it.sign.is_some() { (taken(index, flag, now)) }
                            p { (it.say) " " span.soft { (it.limit) " (" (shown_source(&it.source)) ")" } }
                        }
                    }
                    (compared_with(index, flag, now))
                }
                div.when {
                    @if is_urgent(index, flag) { (loud("\u{25c6}", "to be looked at first")) }
                    p { "open for " b { (lasted(now.at - flag.at)) } span.soft { ", since " (moment(flag.at, now)) } }
                    p.soft { "recorded by " (flag.by.name) (on(sender(flag))) }
                    @if let Some(it) = arrivals.get(&flag.id) && let Some(late) = it.late(flag.at) {
                        p { "arrived " (moment(it.at, now)) ", " b { (lasted(late)) " after it was raised" } }
                    }
                }
                @if may_act(session) {
                    form method="post" action={ "/reports/" (flag.id) "/acknowledge" } {
                        (token(session))
                        input type="hidden" name="back" value=(back);
                        button.main aria-label={
                            "Acknowledge: " (index.name(&flag.resident)) ", " (in_short(&flag.raised))
                        } { "Acknowledge" }
                    }
                }
            }
        }
    };
    let all = index.open_reports().count();
    html! {
        section.card aria-labelledby="reports" {
            h2 id="reports" { "Open reports" (count(list.reports.len())) }
            @if all == 0 {
                p.none { "No report is open." }
            } @else if list.reports.is_empty() {
                p { "None among these; " b { (all) " open in all" } ". " a href="/worklist" { "Show all" } }
            } @else {
                p.soft { "First what is far from the usual or to be reported at once, then the oldest." }
                ol.items { @for flag in list.reports.iter().take(MOST) { (report(flag)) } }
                (more(list.reports.len()))
                @if all > list.reports.len() {
                    p.soft { (all) " open in all. " a href="/worklist" { "Show all" } }
                }
            }
        }
    }
}

/// How and when the reading was taken that a report is of; both numbers where the report is
/// of one.
fn taken(index: &Index, flag: &Flag, now: Now<'_>) -> Markup {
    let both = |it: &Finding| it.component != Component::Whole;
    html! {
        @if let Some(entry) = index.reading(flag.reading) {
            @let how = how(&entry.measurement);
            p.soft {
                @if let Raised::Limit(it) = &flag.raised && both(it) { "of " (value(&entry.measurement)) ", " }
                @if !how.is_empty() { (how) ", " }
                "measured " (moment(entry.measured_at, now))
            }
        }
    }
}

pub fn count(of: usize) -> Markup {
    html! { @if of > 0 { " " span.count { (of) } } }
}

pub fn more(of: usize) -> Markup {
    html! {
        @if of > MOST { p.soft { "and " (of - MOST) " more; choose a room, a round or less time." } }
    }
}

fn attention(index: &Index, list: &Worklist<'_>, now: Now<'_>) -> Markup {
    let item = |who: &ResidentId, what: &Markup, badge: &Markup, when: Time, by: &Markup| {
        html! {
            li.item {
                div.what { (resident_link(index, who)) (what) }
                div.when { (badge) p.soft { (moment(when, now)) ", " (by) } }
            }
        }
    };
    let kept = |entry: &Entry| {
        let what = html! {
            (large_reading_link(entry))
            p.soft { (how(&entry.measurement)) }
        };
        let by = html! { (index.recorder_of(entry).name) (on(index.sender_of(entry))) };
        item(
            index.resident_of(entry),
            &what,
            &states(index, entry),
            entry.measured_at,
            &by,
        )
    };
    let in_round = |by: &Staff, round: Uuid| html! { (by.name) (on(index.sender_of_round(round))) };
    let unconfirmed = list.held.len() + list.pending.len();
    html! {
        @if !list.remarks.is_empty() {
            section.card aria-labelledby="remarks" {
                h2 id="remarks" { "Noted for the nurse" (count(list.remarks.len())) }
                ol.items {
                    @for (who, it) in list.remarks.iter().take(MOST) {
                        (item(who, &html! { p { (it.text) } }, &html! {}, it.at, &in_round(&it.by, it.round)))
                    }
                }
                (more(list.remarks.len()))
            }
        }
        @if unconfirmed > 0 {
            section.card aria-labelledby="held" {
                h2 id="held" { "Not confirmed" (count(unconfirmed)) }
                p.soft { "Begun or read back, and never answered with yes. These are not readings." }
                ol.items {
                    @for (it, at, round) in list.pending.iter().take(MOST) {
                        li.item {
                            div.what { (resident_link(index, &it.resident)) p { "\u{201c}" (it.read_back) "\u{201d}" } }
                            div.when { (state("\u{25cb}", "recorder stopped"))
                                p.soft { (moment(*at, now)) (on(index.sender_of_round(*round))) } }
                        }
                    }
                    @for it in list.held.iter().take(MOST) {
                        @let what = html! {
                            @for reading in &it.readings {
                                p { (capital(reading.sign().name())) " " (value(reading)) " "
                                    span.soft { (how(reading)) } }
                            }
                        };
                        (item(&it.resident, &what, &state("\u{25cb}", "unconfirmed"), it.at, &in_round(&it.by, it.round)))
                    }
                }
                (more(unconfirmed))
            }
        }
        @if !list.unsure.is_empty() {
            section.card aria-labelledby="unsure" {
                h2 id="unsure" { "Unclear words: check" (count(list.unsure.len())) }
                ol.items { @for it in list.unsure.iter().take(MOST) { (kept(it)) } }
                (more(list.unsure.len()))
            }
        }
        @if !list.unlikely.is_empty() {
            section.card aria-labelledby="unlikely" {
                h2 id="unlikely" { "Far from the usual, and confirmed" (count(list.unlikely.len())) }
                ol.items { @for it in list.unlikely.iter().take(MOST) { (kept(it)) } }
                (more(list.unlikely.len()))
            }
        }
        @if !list.missed.is_empty() {
            section.card aria-labelledby="missed" {
                h2 id="missed" { "Not taken" (count(list.missed.len())) }
                ol.items {
                    @for it in list.missed.iter().take(MOST) {
                        @let what = html! { p { (what_was_due(it)) } };
                        (item(&it.resident, &what, &state("\u{2013}", it.reason.spoken()), it.at, &in_round(&it.by, it.round)))
                    }
                }
                (more(list.missed.len()))
            }
        }
        @if !list.rechecks.is_empty() {
            section.card aria-labelledby="rechecks" {
                h2 id="rechecks" { "Rechecks asked for" (count(list.rechecks.len())) }
                ol.items {
                    @for it in list.rechecks.iter().take(MOST) {
                        @let what = html! { p { b { (capital(it.sign.name())) } ": " (it.reason) } };
                        (item(&it.resident, &what, &state("\u{21bb}", "recheck"), it.at, &html! { (it.by.name) }))
                    }
                }
                (more(list.rechecks.len()))
            }
        }
    }
}

/// Values that were taken so close to one another are of one visit, and share
/// its time.
const VISIT: TimeDelta = TimeDelta::minutes(10);

/// What was taken, by visit, the newest first: the time of each, and its values.
fn visits<'a>(taken: &[&'a Entry], now: Now<'_>) -> Vec<(Time, Vec<&'a Entry>)> {
    let mut newest_first = taken.to_vec();
    newest_first.sort_by_key(|it| Reverse(it.measured_at));
    let day = |at: Time| now.shown(at).date_naive();
    let mut visits: Vec<(Time, Vec<&Entry>)> = Vec::new();
    for entry in newest_first {
        let at = entry.measured_at;
        match visits.last_mut() {
            Some((last, visit)) if *last - at <= VISIT && day(*last) == day(at) => {
                visit.push(entry);
            }
            _ => visits.push((at, vec![entry])),
        }
    }
    for (_, visit) in &mut visits {
        visit.sort_by_key(|it| it.measurement.sign());
    }
    visits
}

/// A value in a line with others, marked where it lies outside its range. The score of the
/// visit has a place of its own after the reading that carries it, which may be a usual one.
fn in_line(index: &Index, entry: &Entry) -> Markup {
    let mut open = index
        .flags_of(entry.id)
        .filter(|it| index.closed(it.id).is_none());
    html! {
        (value_in_line(index, entry))
        @if open.any(|it| it.raised.score().is_some()) {
            ", " (marked("early-warning score", OPEN))
        }
    }
}

fn value_in_line(index: &Index, entry: &Entry) -> Markup {
    let said = format!(
        "{} {}",
        entry.measurement.sign().name(),
        value(&entry.measurement)
    );
    let open = |it: &Flag| index.closed(it.id).is_none() && it.raised.score().is_none();
    if index.flags_of(entry.id).any(open) {
        marked(&said, OPEN)
    } else if entry.flagged {
        marked(&said, OUTSIDE)
    } else {
        html! { (said) }
    }
}

/// A visit is seldom of two recorders; then both are named.
fn from_recorders(index: &Index, visit: &[&Entry]) -> Markup {
    let all: BTreeSet<&str> = visit.iter().filter_map(|it| index.sender_of(it)).collect();
    let all: Vec<&str> = all.into_iter().collect();
    on((!all.is_empty()).then(|| all.join(" and ")).as_deref())
}

fn marked(said: &str, (shape, word): (&str, &str)) -> Markup {
    html! { b { (said) " " span aria-hidden="true" { (shape) } span.unseen { " " (word) } } }
}

const OPEN: (&str, &str) = ("\u{25c6}", "open report");
const OUTSIDE: (&str, &str) = ("\u{25c7}", "outside the range, or raised by a rule");

fn by_resident(index: &Index, list: &Worklist<'_>, now: Now<'_>) -> Markup {
    html! {
        section.card aria-labelledby="round" {
            h2 id="round" { "The round, by resident" }
            @if list.not_ended > 0 {
                p { a href="/rounds#not-ended" { (counted(list.not_ended, "round"))
                    (if list.not_ended == 1 { " was" } else { " were" }) " never ended" } }
            }
            @if list.unsigned > 0 {
                p { a href="/rounds#unsigned" { (counted(list.unsigned, "ended round"))
                    (if list.unsigned == 1 { " is" } else { " are" }) " not signed" } }
            }
            p.soft { (OPEN.0) " " (OPEN.1) " \u{b7} " (OUTSIDE.0) " " (OUTSIDE.1) "; no report open" }
            table.rows {
                thead { tr {
                    th scope="col" { "Resident" } th scope="col" { "Taken in the time shown" }
                    th scope="col" { "Due now" }
                } }
                tbody {
                    @for row in &list.rows {
                        tr {
                            th scope="row" {
                                a.name href=(resident_path(&row.resident.id)) { (row.resident.name) }
                                span.soft { (place(row.resident)) }
                            }
                            td {
                                @for (at, visit) in visits(&row.taken, now) {
                                    div {
                                        @for (at, entry) in visit.iter().enumerate() {
                                            @if at > 0 { ", " }
                                            (in_line(index, entry))
                                        }
                                        " " span.soft { (moment(at, now)) (from_recorders(index, &visit)) }
                                    }
                                }
                                @if row.taken.is_empty() { span.soft { "nothing" } }
                            }
                            td data-of="Due now" { (names(&row.due)) }
                        }
                    }
                }
            }
        }
    }
}
