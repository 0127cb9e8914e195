//! Rounds, and signing one.

use maud::{Markup, html};
use uuid::Uuid;

use super::acting::{Outcome, may_act, may_take, token};
use super::layout::{Place, page};
use super::on_paper::{of_shift, outside_rounds};
use super::parts::{
    counted, large_reading_link, loud, moment, on, reading_link, resident_link, staff, state,
    states, value, what_was_due,
};
use super::worklist::count;
use crate::review::acts::LONGEST_AGO;
use crate::review::index::{Entry, Index, Round, Stage};
use crate::review::now::Now;
use crate::review::sessions::Session;
use crate::speaking::wording::capital;

/// Rounds on a page.
const PAGE: usize = 60;
/// Of those that wait for a nurse, the first page has so many.
const FIRST: usize = 300;

/// A list of rounds, each reached page by page to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum List {
    /// Nobody ended them.
    NotEnded,
    /// Ended, and not signed.
    Unsigned,
    /// Every round.
    All,
}

impl List {
    /// The list that an address names.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "" => Some(Self::All),
            "not-ended" => Some(Self::NotEnded),
            "unsigned" => Some(Self::Unsigned),
            _ => None,
        }
    }

    const fn name(self) -> &'static str {
        match self {
            Self::NotEnded => "not-ended",
            Self::Unsigned => "unsigned",
            Self::All => "",
        }
    }

    fn has(self, round: &Round, now: Now<'_>) -> bool {
        match self {
            Self::NotEnded => round.stage(now.at) == Stage::NotEnded,
            Self::Unsigned => round.stage(now.at) == Stage::Unsigned,
            Self::All => true,
        }
    }

    fn before(self, id: Uuid) -> String {
        match self {
            Self::All => format!("/rounds?before={id}"),
            list => format!("/rounds?list={}&before={id}", list.name()),
        }
    }
}

fn standing(index: &Index, round: &Round, now: Now<'_>) -> Markup {
    let open = index.open_of_round(round.id).count();
    let since = &round.since_signed;
    html! {
        @if open > 0 { (loud("\u{25c6}", &counted(open, "open report"))) }
        @if since.came { (loud("\u{25c6}", "more came since it was signed")) }
        @if !since.changed.is_empty() { (loud("\u{25c6}", "changed since it was signed")) }
        @match round.stage(now.at) {
            Stage::Signed => (state("\u{2713}", "signed")),
            Stage::Unsigned if round.signed.is_empty() => (state("\u{25cb}", "not signed")),
            Stage::Unsigned => (state("\u{25cb}", "to be signed again")),
            Stage::NotEnded => {
                (loud("\u{25c6}", "not ended")) " "
                span.soft { "nothing since " (moment(round.last, now)) }
            }
            Stage::GoingOn => (state("\u{2026}", "going on")),
        }
    }
}

/// The rounds that wait for a nurse, and the latest.
pub fn rounds(session: &Session, index: &Index, now: Now<'_>) -> Markup {
    let section = |list: List, id: &str, heading: &str, most: usize| {
        let all = || index.rounds().filter(|it| list.has(it, now));
        let (total, page) = (all().count(), all().take(most).collect::<Vec<_>>());
        html! {
            @if total > 0 {
                section.card aria-labelledby=(id) {
                    h2 id=(id) { (heading) @if list != List::All { (count(total)) } }
                    @if list == List::NotEnded {
                        p.soft { "Whoever recorded did not end them, and recorded nothing in them \
                             for hours. Look at them and sign them as the others." }
                    }
                    (table(index, &page, now))
                    @if let Some(last) = page.last().filter(|_| total > most) {
                        p.soft { "The latest " (most) " of " (total) "." }
                        nav.pages aria-label={ "Pages of: " (heading) } {
                            a.button rel="next" href=(list.before(last.id)) { "Older" }
                        }
                    }
                }
            }
        }
    };
    page(
        session,
        Place::Rounds,
        "Rounds",
        &html! {
            h1 { "Rounds" }
            (section(List::NotEnded, "not-ended", "Not ended", FIRST))
            @if index.rounds().next().is_none() {
                section.card { p.none { "No round is recorded yet." } }
            }
            (section(List::Unsigned, "unsigned", "Ended and not signed", FIRST))
            (section(List::All, "latest", "The latest", PAGE))
            (outside_rounds(index, now))
        },
    )
}

/// Rounds of a list that began before one of them: so a page stays what it is while
/// others begin.
pub fn rounds_before(
    session: &Session,
    index: &Index,
    list: List,
    before: Uuid,
    now: Now<'_>,
) -> Markup {
    let older = || index.rounds_before(before).filter(|it| list.has(it, now));
    let page_of: Vec<&Round> = older().take(PAGE).collect();
    let mut newer = index.rounds_from(before).filter(|it| list.has(it, now));
    let newer = newer.nth(PAGE).map(|it| list.before(it.id));
    let next = page_of.last().filter(|_| older().count() > PAGE);
    let heading = match list {
        List::NotEnded => "Older rounds, not ended",
        List::Unsigned => "Older rounds, not signed",
        List::All => "Older rounds",
    };
    page(
        session,
        Place::Rounds,
        heading,
        &html! {
            p.trail { a href="/rounds" { "Rounds" } }
            h1 { (heading) }
            section.card {
                @if page_of.is_empty() { p.none { "There are none that are older." } }
                @else { (table(index, &page_of, now)) }
                nav.pages aria-label="Pages of rounds" {
                    a.button rel="prev" href=(newer.as_deref().unwrap_or("/rounds")) { "Newer" }
                    @if let Some(last) = next {
                        a.button rel="next" href=(list.before(last.id)) { "Older" }
                    }
                }
            }
        },
    )
}

fn table(index: &Index, rounds: &[&Round], now: Now<'_>) -> Markup {
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
                        td { (staff(&round.by)) span.soft { (on(index.sender_of_round(round.id))) } }
                        td { (kept(round)) }
                        td { (standing(index, round, now)) }
                    }
                }
            }
        }
    }
}

/// What was changed since the last signature, so that whoever signs again knows where to
/// look.
fn changed(index: &Index, round: &Round, now: Now<'_>) -> Markup {
    let changed = round.since_signed.changed.iter();
    let changed: Vec<&Entry> = changed.filter_map(|it| index.reading(*it)).collect();
    html! {
        @if !changed.is_empty() {
            section.card aria-labelledby="changed" {
                h2 id="changed" { "Changed since it was signed" (count(changed.len())) }
                p.soft { "The signature stays, and is of the round as it was then. Look at these, and \
                     sign the round again." }
                ol.items {
                    @for entry in changed {
                        li.item {
                            div.what {
                                (resident_link(index, index.resident_of(entry)))
                                (large_reading_link(entry))
                            }
                            div.when {
                                (how_changed(index, entry))
                                @match index.acts(entry.id).iter().rev().find(|it| it.changes()) {
                                    Some(act) => p.soft { (moment(act.at, now)) ", " (act.by.name) },
                                    None => p.soft { (index.recorder_of(entry).name) },
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn how_changed(index: &Index, entry: &Entry) -> Markup {
    let moved_here = index.is_moved_here(entry);
    html! {
        @if moved_here { (state("\u{2192}", "moved here")) }
        @if index.is_by_hand(entry) && !moved_here { (state("\u{270d}", "entered by hand")) }
        @if entry.corrected() { (state("\u{270e}", "corrected")) }
        @if index.moved_to(entry.id).is_some() {
            (state("\u{2715}", "moved to another resident"))
        } @else if entry.retracted {
            (state("\u{2715}", "retracted"))
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

fn head(index: &Index, round: &Round, now: Now<'_>) -> Markup {
    let date = now.shown(round.opened).format("%b %-d, %Y, %H:%M");
    html! {
        div.head {
            h1 { "Round of " (date) }
            p { (staff(&round.by)) (on(index.sender_of_round(round.id))) ". " (kept(round)) "." }
            p { (standing(index, round, now)) }
            @for (by, at, _) in &round.signed {
                p { "Signed by " (staff(by)) ", " (moment(*at, now))
                    @if !round.since_signed.is_nothing() { ", as it was then" } "." }
            }
        }
    }
}

/// One round.
pub fn round(
    session: &Session,
    index: &Index,
    round: &Round,
    outcome: &Outcome,
    now: Now<'_>,
) -> Markup {
    // A late entry may be of a day ago, and a time is corrected to so long ago at most.
    let first = round.opened - LONGEST_AGO - chrono::TimeDelta::days(1);
    let mut own: Vec<&Entry> = round
        .residents
        .iter()
        .flat_map(|id| {
            index
                .readings_of(id)
                .rev()
                .take_while(|it| it.measured_at >= first)
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
    page(
        session,
        Place::Rounds,
        "Round",
        &html! {
            p.trail { a href="/rounds" { "Rounds" } }
            (head(index, round, now))
            (outcome.banner())
            p.take {
                a.button href={ "/rounds/" (round.id) "/sheet" } { "Sheet to print" }
                @if may_take(session) {
                    a.button href={ "/rounds/" (round.id) "/csv" } { "Readings as CSV" }
                    a.button href={ "/rounds/" (round.id) "/fhir" } { "Readings as FHIR" }
                }
            }
            @let open = index.open_of_round(round.id).count();
            @if may_act(session) && open > 0 {
                p { "Before this round is signed: "
                    a href={ "/worklist?round=" (round.id) } { "acknowledge " (counted(open, "open report")) } }
            } @else if may_act(session) {
                form.inline method="post" action={ "/rounds/" (round.id) "/sign" } {
                    (token(session))
                    button.main { (if round.signed.is_empty() { "Sign this round" } else { "Sign it again" }) }
                    span.soft { "as " (staff(&session.user.staff)) }
                }
            }
            (changed(index, round, now))
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
                                    td { (reading_link(entry)) }
                                    td.nowrap { (moment(entry.measured_at, now)) }
                                    td { (states(index, entry)) }
                                }
                            }
                        }
                    }
                    (no_readings(index, round, now))
                }
            }
            (of_shift(index, round, now))
        },
    )
}

/// What was not taken, noted or left unconfirmed in a round.
fn no_readings(index: &Index, round: &Round, now: Now<'_>) -> Markup {
    let missed = index.missed().iter().filter(|it| it.round == round.id);
    let notes = index.notes().filter(|(_, it)| it.round == round.id);
    let held = index.held().iter().filter(|it| it.round == round.id);
    html! {
        tbody {
            @for it in missed {
                tr {
                    th scope="row" { (resident_link(index, &it.resident)) }
                    td { (what_was_due(it)) }
                    td.nowrap { (moment(it.at, now)) }
                    td { (state("\u{2013}", &format!("not taken: {}", it.reason.spoken()))) }
                }
            }
            @for (who, it) in notes {
                tr {
                    th scope="row" { (resident_link(index, who)) }
                    td { (it.text) }
                    td.nowrap { (moment(it.at, now)) }
                    td { (state("\u{201c}", "noted for the nurse")) }
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
