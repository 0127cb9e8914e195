//! The sheet of one round, to print: a line for each resident, a column for each
//! vital sign.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use maud::{Markup, html};
use uuid::Uuid;

use super::page::{
    Style, Who, all_shown, day_and_time, lacking, not_taken, open_reports, page, reading,
};
use super::{Chart, Entry, Missed, Remark, Round, Unconfirmed};
use crate::facts::NO_ROUND;
use crate::residents::{Home, Offsets, ResidentId, shift_start};
use crate::speaking::wording::capital;
use crate::vitals::VitalSign;

/// The sheet of a round, or of the last one; `None` where there is no such
/// round. With it is what nurses entered from paper in its shift and that is of no round;
/// `offsets` say when the shift was.
#[must_use]
pub fn round_sheet(
    chart: &Chart,
    home: &Home,
    round: Option<Uuid>,
    style: Style,
    offsets: &Offsets,
) -> Option<String> {
    let mut rounds = chart.rounds.iter().rev();
    let round = rounds.find(|it| round.is_none_or(|wanted| it.id == wanted))?;
    let of_round = Of {
        day: round.opened.at.date_naive(),
        readings: chart
            .readings
            .iter()
            .filter(|it| it.round == round.id)
            .collect(),
        outside: outside(chart, home, round, offsets),
        missed: chart
            .missed
            .iter()
            .filter(|it| it.round == round.id)
            .collect(),
        unconfirmed: chart
            .unconfirmed
            .iter()
            .filter(|it| it.round == round.id)
            .collect(),
        remarks: chart
            .remarks
            .iter()
            .filter(|it| it.round == round.id)
            .collect(),
    };
    let unread = chart.unread.iter().filter(|it| {
        let outside = it.round == NO_ROUND && !of_round.outside.is_empty();
        it.round == round.id || outside
    });
    let opened = day_and_time(round.opened.at);
    let title = format!("Round of {opened}");
    let body = html! {
        header {
            div { h1 { (title) } p.beside { (round.opened.text) } }
            p {
                (round.opened.by.name) ", " (round.opened.by.title) br;
                @match round.closed_at {
                    Some(at) => { "ended " (day_and_time(at)) }
                    None => { strong { "not ended" } }
                }
            }
        }
        (lacking(unread.count()))
        (of_round.needs_a_nurse(chart, home))
        (of_round.table(chart, home))
        (of_round.beside(chart, home))
        (nothing_recorded(home, &of_round.residents(true)))
        (signatures(chart, home, round))
        @if let Some(head) = &chart.head { p.beside { "Record " (head) } }
    };
    Some(page(&title, style, &body))
}

/// Readings of no round, taken in the shift of this one; in both where it went on from one
/// into the next.
fn outside<'a>(
    chart: &'a Chart<'a>,
    home: &Home,
    round: &Round,
    offsets: &Offsets,
) -> Vec<&'a Entry<'a>> {
    let own = chart.readings.iter().filter(|it| it.round == round.id);
    let recorded = own.filter(|it| !it.record.by_nurse);
    let last = recorded.map(|it| it.record.confirmed_at).max();
    let last = round.closed_at.max(last).unwrap_or(round.opened.at);
    let shift = |at| shift_start(&home.shifts, at, offsets);
    let shifts = [round.opened.at, last].map(shift);
    let outside = chart.readings.iter().filter(|it| it.round == NO_ROUND);
    outside
        .filter(|it| shifts.contains(&shift(it.measured_at)))
        .collect()
}

struct Of<'a> {
    /// The day in the title, which times alone are of.
    day: NaiveDate,
    readings: Vec<&'a Entry<'a>>,
    /// Entered from paper in this shift, and of no round.
    outside: Vec<&'a Entry<'a>>,
    missed: Vec<&'a Missed<'a>>,
    unconfirmed: Vec<&'a Unconfirmed<'a>>,
    remarks: Vec<&'a Remark<'a>>,
}

impl Of<'_> {
    fn residents(&self, and_outside: bool) -> BTreeSet<&ResidentId> {
        let outside = self.outside.iter().filter(|_| and_outside);
        let read = self.readings.iter().chain(outside);
        let read = read.map(|it| &it.record.resident);
        let missed = self.missed.iter().map(|it| it.resident);
        read.chain(missed)
            .chain(self.remarks.iter().map(|it| it.resident))
            .chain(self.unconfirmed.iter().map(|it| it.resident))
            .collect()
    }

    fn needs_a_nurse(&self, chart: &Chart, home: &Home) -> Markup {
        let open = open_reports(self.readings.iter().chain(&self.outside).copied());
        let name = |id| Who::of(chart, home, id).name;
        html! {
            @if !open.is_empty() || !self.unconfirmed.is_empty() {
                div.open {
                    h2 { "Needs a nurse" }
                    ul {
                        @for (entry, why) in &open {
                            li {
                                strong { (name(&entry.record.resident)) } ": " (why)
                                ", not yet reported"
                            }
                        }
                        @for it in &self.unconfirmed {
                            li {
                                strong { (name(it.resident)) } ": read back and never confirmed, \
                                 not a reading: " (all_shown(it.readings))
                            }
                        }
                    }
                }
            }
        }
    }

    fn table(&self, chart: &Chart, home: &Home) -> Markup {
        let read = self.readings.iter().map(|it| it.measurement.sign());
        let missed = self.missed.iter().flat_map(|it| it.signs.iter().copied());
        let signs: BTreeSet<VitalSign> = read.chain(missed).collect();
        let mut residents: Vec<_> = self.residents(false).into_iter().collect();
        // As one walks: by room, those without one last.
        residents.sort_by_key(|id| {
            let resident = home.resident(id);
            let room = resident.and_then(|it| it.room.parse::<u32>().ok());
            let bed = resident.and_then(|it| it.bed.clone());
            (room.unwrap_or(u32::MAX), bed, *id)
        });
        html! {
            table {
                thead {
                    tr {
                        th scope="col" { "Resident" }
                        @for sign in &signs { th scope="col" { (capital(sign.name())) } }
                    }
                }
                tbody {
                    @for id in residents { (self.line(chart, home, id, &signs)) }
                }
            }
        }
    }

    fn beside(&self, chart: &Chart, home: &Home) -> Markup {
        html! {
            @if !self.remarks.is_empty() {
                h2 { "Noted for the nurse" }
                ul {
                    @for it in &self.remarks {
                        li {
                            strong { (Who::of(chart, home, it.resident).name) } ": " (it.act.text) " "
                            span.how { (day_and_time(it.act.at)) ", " (it.act.by.name) }
                        }
                    }
                }
            }
            @if !self.outside.is_empty() {
                h2 { "Entered from paper in this shift, outside a round" }
                table {
                    thead { tr {
                        th scope="col" { "Resident" } th scope="col" { "Vital sign" }
                        th scope="col" { "Reading" }
                    } }
                    tbody {
                        @for entry in &self.outside {
                            @let sign = capital(entry.measurement.sign().name());
                            tr {
                                th scope="row" { (identified(&Who::of(chart, home, &entry.record.resident))) }
                                td data-of="Vital sign" { div { (sign) } }
                                td data-of="Reading" { (reading(chart, home, entry, "%m-%d %H:%M")) }
                            }
                        }
                    }
                }
            }
        }
    }

    /// How a reading's time is written: with its day, where that is another.
    fn clock(&self, entry: &Entry) -> &'static str {
        if entry.measured_at.date_naive() == self.day {
            "%H:%M"
        } else {
            "%m-%d %H:%M"
        }
    }

    fn line(
        &self,
        chart: &Chart,
        home: &Home,
        id: &ResidentId,
        signs: &BTreeSet<VitalSign>,
    ) -> Markup {
        let who = Who::of(chart, home, id);
        let own = || self.missed.iter().filter(|it| it.resident == id);
        html! {
            tr {
                th scope="row" {
                    (identified(&who))
                    @for all in own().filter(|it| it.signs.is_empty()) { (not_taken(all)) }
                }
                @for sign in signs {
                    td data-of=(capital(sign.name())) {
                        @for entry in &self.readings {
                            @if entry.record.resident == *id && entry.measurement.sign() == *sign {
                                (reading(chart, home, entry, self.clock(entry)))
                            }
                        }
                        @for missed in own().filter(|it| it.signs.contains(sign)) {
                            (not_taken(missed))
                        }
                    }
                }
            }
        }
    }
}

fn identified(who: &Who) -> Markup {
    html! {
        (who.name)
        span.how {
            @if let Some(born) = who.born { "born " (born) br; }
            (who.place.as_deref().unwrap_or("no longer in the home's file"))
        }
    }
}

fn nothing_recorded(home: &Home, seen: &BTreeSet<&ResidentId>) -> Markup {
    let others = home.residents.iter().filter(|it| !seen.contains(&it.id));
    let others: Vec<String> = others
        .map(|it| format!("{} (room {})", it.name, it.room))
        .collect();
    html! {
        @if !others.is_empty() {
            p { strong { "Nothing recorded of: " } (others.join(", ")) }
        }
    }
}

fn signatures(chart: &Chart, home: &Home, round: &Round) -> Markup {
    let since = &round.since_signed;
    let changed = since.changed.iter();
    let changed = changed.filter_map(|id| chart.readings.iter().find(|it| it.id == *id));
    let changed: Vec<String> = changed
        .map(|it| {
            let name = Who::of(chart, home, &it.record.resident).name;
            format!("{} of {name}", it.measurement.sign().name())
        })
        .collect();
    html! {
        @for act in &round.signed {
            p {
                "Signed by " (act.by.name) ", " (act.by.title) ", " (day_and_time(act.at))
                @if !since.is_nothing() { ", as it was then" }
            }
        }
        @if since.came { p { strong { "More came since it was signed" } } }
        @if !changed.is_empty() {
            p { strong { "Changed since it was signed: " } (changed.join("; ")) }
        }
        @if round.signed.is_empty() || !since.is_nothing() {
            div.lines { div { "Aide" } div { "Nurse" } div { "Date and time" } }
        }
    }
}
