//! Readings from paper that belong to no round: with the shift they were taken in.

use maud::{Markup, html};

use super::parts::{moment, reading_link, resident_link, states};
use super::worklist::count;
use crate::facts::Time;
use crate::residents::shift_start;
use crate::review::index::{Entry, Index, Round};
use crate::review::now::Now;

/// So many are listed.
const MOST: usize = 60;

fn shift(index: &Index, at: Time, now: Now<'_>) -> Time {
    shift_start(&index.home().shifts, at, now.offsets)
}

/// All of them, the latest first, by shift.
pub fn outside_rounds(index: &Index, now: Now<'_>) -> Markup {
    let all = index.outside_rounds();
    let latest: Vec<(Time, &Entry)> = all
        .iter()
        .take(MOST)
        .map(|it| (shift(index, it.measured_at, now), *it))
        .collect();
    html! {
        @if !all.is_empty() {
            section.card aria-labelledby="outside" {
                h2 id="outside" { "Entered from paper, outside a round" (count(all.len())) }
                p.soft { "No round that was known here when they were entered went on when these were \
                     taken. They are on the page and the sheet of each round of their shift too, also of one \
                     that comes in later." }
                @for of_shift in latest.chunk_by(|a, b| a.0 == b.0) {
                    h3 { "The shift that began " (moment(of_shift[0].0, now)) }
                    (table(index, of_shift.iter().map(|it| it.1), now))
                }
                @if all.len() > MOST {
                    p.soft { "The latest " (MOST) " of " (all.len()) ". " a href="/find" { "Find older ones" } }
                }
            }
        }
    }
}

/// Those of the shift of a round; of both where it went on from one into the next.
pub fn of_shift(index: &Index, round: &Round, now: Now<'_>) -> Markup {
    let shifts = [round.opened, round.last].map(|it| shift(index, it, now));
    let mut all = index.outside_rounds();
    all.retain(|it| shifts.contains(&shift(index, it.measured_at, now)));
    html! {
        @if !all.is_empty() {
            section.card aria-labelledby="outside" {
                h2 id="outside" { "Entered from paper in this shift, outside a round" (count(all.len())) }
                p.soft { "These are not of this round, and not signed with it." }
                (table(index, all.into_iter(), now))
            }
        }
    }
}

fn table<'a>(index: &Index, all: impl Iterator<Item = &'a Entry>, now: Now<'_>) -> Markup {
    html! {
        table.rows {
            thead { tr {
                th scope="col" { "Resident" } th scope="col" { "Reading" }
                th scope="col" { "Measured" } th scope="col" { "State" }
            } }
            tbody {
                @for entry in all {
                    tr {
                        th scope="row" { (resident_link(index, index.resident_of(entry))) }
                        td { (reading_link(entry)) }
                        td.nowrap { (moment(entry.measured_at, now)) }
                        td { (states(index, entry)) }
                    }
                }
            }
        }
    }
}
