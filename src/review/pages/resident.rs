//! One resident: the last values, the ranges in force, what was asked and
//! remarked.

use maud::{Markup, html};

use super::acting::{Form, Outcome, choice, may_act, may_take, reason, to_act, token};
use super::enter::begin;
use super::find::about;
use super::layout::{Place, page};
use super::parts::{
    find_path, how, moment, place, resident_path, staff, state, states, value, what_was_due,
};
use super::trend;
use crate::residents::Resident;
use crate::review::index::{Index, Recheck};
use crate::review::now::Now;
use crate::review::sessions::Session;
use crate::speaking::wording::capital;
use crate::vitals::{Component, RangeOf, Value, VitalSign, body_mass_index, shown_source};

/// Of what was not taken, and of notes, so many are listed; the others are found.
const LISTED: usize = 12;

/// The page.
pub fn resident(
    session: &Session,
    index: &Index,
    resident: &Resident,
    (days, outcome): (u32, &Outcome),
    now: Now<'_>,
) -> Markup {
    let born = resident.birth_date.format("%B %-d, %Y");
    page(
        session,
        Place::Residents,
        &resident.name,
        &html! {
            p.trail { a href="/residents" { "Residents" } }
            div.head {
                h1 { (resident.name) }
                p { (place(resident)) ", born " (born) ", " (resident.id.0) }
            }
            (outcome.banner())
            p.take {
                a.button href={ (resident_path(&resident.id)) "/summary" } { "Page to print" }
                @if may_take(session) {
                    a.button href={ (resident_path(&resident.id)) "/csv" } { "Readings as CSV" }
                    a.button href={ (resident_path(&resident.id)) "/fhir" } { "Readings as FHIR" }
                }
                @if may_act(session) { (to_act()) }
            }
            div.columns {
                div {
                    div id="live" {
                        (last(index, resident, now))
                        (trend::all(index, resident, days, now))
                    }
                    (ranges(index, resident, now))
                    (asked(session, index, resident, now))
                }
                @if may_act(session) { div { (forms(session, index, resident, outcome, now)) } }
            }
        },
    )
}

fn last(index: &Index, resident: &Resident, now: Now<'_>) -> Markup {
    let path = resident_path(&resident.id);
    let rows: Vec<_> = VitalSign::ALL
        .into_iter()
        .filter_map(|sign| index.last(&resident.id, sign))
        .collect();
    let whole = |sign| {
        let entry = index.last(&resident.id, sign)?;
        match entry.measurement.value() {
            Value::One(quantity) => Some(quantity),
            _ => None,
        }
    };
    let weight_and_height = whole(VitalSign::Weight).zip(whole(VitalSign::Height));
    let bmi = weight_and_height.and_then(|(weight, height)| body_mass_index(weight, height));
    html! {
        section.card {
            h2 { "Last of each" }
            @if rows.is_empty() { p.none { "Nothing is recorded yet." } }
            @else {
                table.rows {
                    thead { tr {
                        th scope="col" { "Vital sign" } th scope="col" { "Last" }
                        th scope="col" { "Measured" } th scope="col" { "State" }
                    } }
                    tbody {
                        @for entry in &rows {
                            @let sign = entry.measurement.sign();
                            tr {
                                th scope="row" { a.name href={ (path) "/" (sign.tag()) } { (capital(sign.name())) } }
                                td { a href={ "/readings/" (entry.id) } { b { (value(&entry.measurement)) } }
                                    " " span.soft { (how(&entry.measurement)) } }
                                td.nowrap { (moment(entry.measured_at, now)) }
                                td { (states(index, entry)) }
                            }
                        }
                    }
                }
                @if let Some(bmi) = bmi {
                    p.soft { "Body-mass index, worked out from the last weight and height: " (bmi) " kg/m\u{b2}" }
                }
            }
        }
    }
}

fn ranges(index: &Index, resident: &Resident, now: Now<'_>) -> Markup {
    let in_force = RangeOf::ALL.into_iter().filter_map(|of| {
        let (sign, component) = of.target();
        let range = resident.limits.range_on(sign, component, now.at)?;
        let bounds = range
            .bounds
            .to(index.home().units.unspoken(sign))?
            .rounded();
        Some((name(sign, component), bounds, range.source))
    });
    let changes = index.ranges(&resident.id);
    html! {
        section.card {
            h2 { "Ranges in force" }
            table.rows {
                thead { tr { th scope="col" { "Of" } th scope="col" { "Range" } th scope="col" { "Set by" } } }
                tbody {
                    @for (name, bounds, source) in in_force {
                        tr {
                            th scope="row" { (name) }
                            td.nowrap { (bounds.low) "\u{2013}" (bounds.high) " " (bounds.unit.symbol()) }
                            td { (shown_source(&source)) }
                        }
                    }
                }
            }
            @if !changes.is_empty() {
                h3 { "Set at this station" }
                table.stack {
                    thead { tr {
                        th scope="col" { "Of" } th scope="col" { "Before" } th scope="col" { "After" }
                        th scope="col" { "Who and when" }
                    } }
                    tbody {
                        @for it in changes.iter().rev() {
                            @let (sign, component) = it.target;
                            tr {
                                th scope="row" { (name(sign, component)) }
                                @let unit = index.home().units.unspoken(sign);
                                td data-of="Before" {
                                    @if let Some(it) = it.before.and_then(|b| b.to(unit)) {
                                        @let it = it.rounded();
                                        s { (it.low) "\u{2013}" (it.high) }
                                    } @else { "none" }
                                }
                                td data-of="After" {
                                    @match it.after {
                                        Some(it) => { b { (it.low) "\u{2013}" (it.high) } " " (it.unit.symbol()) }
                                        None => { b { "withdrawn" } ": the home\u{2019}s again" }
                                    }
                                }
                                td data-of="Who" { (staff(&it.by)) ", " (moment(it.at, now)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn name(sign: VitalSign, component: Component) -> String {
    capital(component.name(sign))
}

fn asked(session: &Session, index: &Index, resident: &Resident, now: Now<'_>) -> Markup {
    let own = |it: &&Recheck| it.resident == resident.id;
    let rechecks: Vec<_> = index.open_rechecks().filter(own).collect();
    let withdrawn = index.rechecks().iter().rev().filter(own);
    let withdrawn = withdrawn.filter_map(|it| Some((it, index.closed(it.id)?)));
    let withdrawn: Vec<_> = withdrawn.take(LISTED).collect();
    let missed = index.missed_of(&resident.id);
    let notes = index.remarks_of(&resident.id);
    let all = |what: &str, of: usize| {
        html! {
            @if of > LISTED { p.soft {
                "The latest " (LISTED) " of " (of) ". "
                a href={ (find_path(&resident.id)) "&what=" (what) } { "All of them" }
            } }
        }
    };
    html! {
        @if !rechecks.is_empty() {
            section.card {
                h2 { "Rechecks asked for" }
                ul.plain {
                    @for it in rechecks {
                        li { (state("\u{21bb}", it.sign.name())) " " (it.reason)
                            p.soft { (staff(&it.by)) ", " (moment(it.at, now)) }
                            @if may_act(session) {
                                form.inline method="post" action={ (resident_path(&resident.id)) "/recheck/withdraw" } {
                                    (token(session))
                                    input type="hidden" name="recheck" value=(it.id);
                                    button aria-label={ "Withdraw the recheck of " (it.sign.name()) } { "Withdraw" }
                                }
                            }
                        }
                    }
                }
            }
        }
        @if !withdrawn.is_empty() {
            section.card {
                h2 { "Rechecks withdrawn" }
                ul.plain {
                    @for (it, back) in &withdrawn {
                        li { s { (it.sign.name()) " " (it.reason) }
                            p.soft { "asked for by " (staff(&it.by)) ", " (moment(it.at, now))
                                "; withdrawn by " (staff(&back.by)) ", " (moment(back.at, now)) } }
                    }
                }
            }
        }
        @if !missed.is_empty() {
            section.card {
                h2 id="missed" { "Not taken" }
                ul.plain {
                    @for it in missed.iter().take(LISTED) {
                        li { (what_was_due(it)) " " (state("\u{2013}", it.reason.spoken()))
                            p.soft { (staff(&it.by)) ", " (moment(it.at, now)) } }
                    }
                }
                (all("not-taken", missed.len()))
            }
        }
        @if !notes.is_empty() {
            section.card {
                h2 id="notes" { "Notes" }
                ul.plain {
                    @for it in notes.iter().take(LISTED) {
                        li { (it.text) (about(index, it.reading))
                            p.soft { (staff(it.by)) ", " (moment(it.at, now)) } }
                    }
                }
                (all("notes", notes.len()))
            }
        }
    }
}

fn forms(
    session: &Session,
    index: &Index,
    resident: &Resident,
    outcome: &Outcome,
    now: Now<'_>,
) -> Markup {
    let ranges = RangeOf::ALL.map(|of| {
        let (sign, component) = of.target();
        let unit = index.home().units.unspoken(sign).symbol();
        (of.tag(), format!("{}, {unit}", name(sign, component)))
    });
    let own = RangeOf::ALL.into_iter().filter_map(|of| {
        let (sign, component) = of.target();
        let range = resident.limits.own_on(sign, component, now.at)?;
        let called = format!("{}, set by {}", name(sign, component), range.source);
        Some((of.tag(), called))
    });
    let own: Vec<_> = own.collect();
    let signs = VitalSign::ALL.map(|it| (it.tag(), it.name().to_owned()));
    let to = |what: &str| format!("{}/{what}", resident_path(&resident.id));
    let typed = |form, field| outcome.typed(form, field);
    html! {
        section.card {
            h2 id="act" { "Act" }
            (begin(&resident_path(&resident.id), outcome))
            details open[outcome.refused(Form::Range)] {
                summary { "Set a range" }
                form method="post" action=(to("range")) {
                    (token(session))
                    (choice("of", typed(Form::Range, "of"), ranges))
                    div.grid {
                        label { "Low" input name="low" inputmode="decimal" autocomplete="off" required
                            value=(typed(Form::Range, "low")); }
                        label { "High" input name="high" inputmode="decimal" autocomplete="off" required
                            value=(typed(Form::Range, "high")); }
                    }
                    p.soft { "In force from today, for this resident, in your name. Earlier readings \
                         keep the range of their day." }
                    button.main { "Set the range" }
                }
            }
            @if !own.is_empty() {
                details open[outcome.refused(Form::WithdrawRange)] {
                    summary { "Withdraw a range" }
                    form method="post" action=(to("range/withdraw")) {
                        (token(session))
                        (choice("of", typed(Form::WithdrawRange, "of"), own))
                        p.soft { "The home\u{2019}s range, or else the usual one, is in force again from \
                             today. Earlier readings keep the range of their day." }
                        button.main { "Withdraw the range" }
                    }
                }
            }
            details open[outcome.refused(Form::Recheck)] {
                summary { "Ask for a recheck" }
                form method="post" action=(to("recheck")) {
                    (token(session))
                    (choice("sign", typed(Form::Recheck, "sign"), signs))
                    (reason("Why, as the aide will hear it", "reason", typed(Form::Recheck, "reason")))
                    button.main { "Ask for it" }
                }
            }
            details open[outcome.refused(Form::Note)] {
                summary { "Add a note" }
                form method="post" action=(to("note")) {
                    (token(session))
                    (reason("Note", "text", typed(Form::Note, "text")))
                    button.main { "Record the note" }
                }
            }
        }
    }
}
