//! Rounds, and signing one.

use maud::{Markup, html};

use super::acting::{Outcome, may_act, may_take, token};
use super::layout::{Place, page};
use super::parts::{
    counted, how, loud, moment, resident_link, staff, state, states, value, what_was_due,
};
use super::worklist::count;
use crate::facts::Time;
use crate::review::index::{Entry, Index, Round};
use crate::review::sessions::Session;
use crate::speaking::wording::capital;

/// Of the latest rounds, so many are listed.
const MOST: usize = 60;
/// Of those that wait to be signed; the others come up as these are signed.
const MOST_UNSIGNED: usize = 300;

fn standing(index: &Index, round: &Round) -> Markup {
    let open = index.open_of_round(round.id).count();
    html! {
        @if open > 0 { (loud("\u{25c6}", &counted(open, "open report"))) }
        @if !round.signed.is_empty() { (state("\u{2713}", "signed")) }
        @else if round.closed.is_some() { (state("\u{25cb}", "not signed")) }
        @else { (state("\u{2026}", "not ended")) }
    }
}

/// Rounds that wait to be signed, and the latest of all.
pub fn rounds(session: &Session, index: &Index, now: Time) -> Markup {
    let all = index.rounds().count();
    let unsigned = |it: &&Round| it.closed.is_some() && it.signed.is_empty();
    let unsigned: Vec<&Round> = index.rounds().filter(unsigned).collect();
    page(
        session,
        Place::Rounds,
        "Rounds",
        &html! {
            h1 { "Rounds" }
            section.card aria-labelledby="latest" {
                h2 id="latest" { "The latest" }
                @if all == 0 { p.none { "No round is recorded yet." } }
                @else { (table(index, index.rounds().take(MOST), now)) }
                @if all > MOST { p.soft { "The latest " (MOST) " of " (all) "." } }
            }
            @if !unsigned.is_empty() {
                section.card aria-labelledby="unsigned" {
                    h2 id="unsigned" { "Ended and not signed" (count(unsigned.len())) }
                    (table(index, unsigned.iter().copied().take(MOST_UNSIGNED), now))
                    @if let Some(more @ 1..) = unsigned.len().checked_sub(MOST_UNSIGNED) {
                        p.soft { "and " (more) " more, older; they are listed as these are signed." }
                    }
                }
            }
        },
    )
}

fn table<'a>(index: &Index, rounds: impl Iterator<Item = &'a Round>, now: Time) -> Markup {
    html! {
        table.rows {
            thead { tr {
                th scope="col" { "Began" } th scope="col" { "Recorded by" }
                th scope="col" { "Kept" } th scope="col" { "State" }
            } }
            tbody {
                @for round in rounds {
                    tr {
                        th scope="row" { a.name href={ "/rounds/" (round.id) } { (moment(round.opened, now)) } }
                        td { (staff(&round.by)) }
                        td { (kept(round)) }
                        td { (standing(index, round)) }
                    }
                }
            }
        }
    }
}

fn kept(round: &Round) -> String {
    let readings = counted(round.readings, "reading");
    format!(
        "{readings} of {}",
        counted(round.residents.len(), "resident")
    )
}

/// One round.
pub fn round(
    session: &Session,
    index: &Index,
    round: &Round,
    outcome: &Outcome,
    now: Time,
) -> Markup {
    let mut own: Vec<&Entry> = round
        .residents
        .iter()
        .flat_map(|id| {
            index
                .readings_of(id)
                .rev()
                .take_while(|it| it.measured_at >= round.opened - chrono::TimeDelta::days(1))
        })
        .filter(|it| it.round == round.id)
        .collect();
    // As they were said, those of one moment too.
    own.reverse();
    own.sort_by_key(|it| {
        let resident = index.home().resident(index.resident_of(it));
        let room = resident.and_then(|it| it.room.parse::<u32>().ok());
        (room, index.resident_of(it).clone(), it.measured_at)
    });
    let of_each = own.chunk_by(|a, b| index.resident_of(a) == index.resident_of(b));
    let missed = index.missed().iter().filter(|it| it.round == round.id);
    let held = index.held().iter().filter(|it| it.round == round.id);
    let date = round.opened.with_timezone(now.offset());
    let date = date.format("%b %-d, %Y, %H:%M");
    page(
        session,
        Place::Rounds,
        "Round",
        &html! {
            p.trail { a href="/rounds" { "Rounds" } }
            div.head {
                h1 { "Round of " (date) }
                p { (staff(&round.by)) ". " (kept(round)) "." }
                p { (standing(index, round)) }
                @for (by, at, _) in &round.signed { p { "Signed by " (staff(by)) ", " (moment(*at, now)) "." } }
            }
            (outcome.banner())
            p.take {
                a.button href={ "/rounds/" (round.id) "/sheet" } { "Sheet to print" }
                @if may_take(session) {
                    a.button href={ "/rounds/" (round.id) "/csv" } { "Readings as CSV" }
                    a.button href={ "/rounds/" (round.id) "/fhir" } { "Readings as FHIR" }
                }
            }
            @if may_act(session) {
                form.inline method="post" action={ "/rounds/" (round.id) "/sign" } {
                    (token(session))
                    button.main { "Sign this round" }
                    span.soft { "as " (staff(&session.user.staff)) }
                }
            }
            section.card {
                h2 { "Kept" }
                table.rows {
                    thead { tr {
                        th scope="col" { "Resident" } th scope="col" { "Reading" }
                        th scope="col" { "Measured" } th scope="col" { "State" }
                    } }
                    @for own in of_each {
                        tbody.together {
                            @for (at, entry) in own.iter().enumerate() {
                                tr {
                                    @if at == 0 {
                                        th scope="rowgroup" rowspan=(own.len()) {
                                            (resident_link(index, index.resident_of(entry)))
                                        }
                                    }
                                    td {
                                        a href={ "/readings/" (entry.id) } {
                                            (capital(entry.measurement.sign().name())) " " b { (value(&entry.measurement)) }
                                        }
                                        " " span.soft { (how(&entry.measurement)) }
                                    }
                                    td.nowrap { (moment(entry.measured_at, now)) }
                                    td { (states(index, entry)) }
                                }
                            }
                        }
                    }
                    tbody {
                        @for it in missed {
                            tr {
                                th scope="row" { (resident_link(index, &it.resident)) }
                                td { (what_was_due(it)) }
                                td.nowrap { (moment(it.at, now)) }
                                td { (state("\u{2013}", &format!("not taken: {}", it.reason.spoken()))) }
                            }
                        }
                        @for it in held {
                            tr {
                                th scope="row" { (resident_link(index, &it.resident)) }
                                td { @for it in &it.readings { (capital(it.sign().name())) " " (value(it)) " " } }
                                td.nowrap { (moment(it.at, now)) }
                                td { (state("\u{25cb}", "unconfirmed, not a reading")) }
                            }
                        }
                    }
                }
            }
        },
    )
}
