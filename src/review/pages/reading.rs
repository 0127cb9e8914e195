//! One reading, with everything behind it.

use maud::{Markup, html};

use super::acting::{Form, Outcome, may_act, reason, to_act, token};
use super::apart::apart;
use super::compared::compared_with;
use super::layout::{Place, page};
use super::measure::{inputs, looked_again, when_taken};
use super::parts::{
    how, identified_link, in_short, lasted, moment, percent, place, resident_link, resident_path,
    side, staff, states, value,
};
use super::sound::{OfSound, sound};
use crate::facts::{Fact, Raised, ReadingRecord};
use crate::review::Arrival;
use crate::review::acts::{LOOKED_AGAIN, TO, act_word, scored_with, state_of};
use crate::review::index::{ActKind, ClosedHow, Entry, Index};
use crate::review::now::Now;
use crate::review::sessions::Session;
use crate::review::worklist::how_far;
use crate::speaking::wording::capital;
use crate::vitals::{VitalSign, mean_arterial_pressure, pulse_pressure, shown_source};

/// What is behind a reading: its line in the index and its fact in the record.
#[derive(Debug, Clone, Copy)]
pub struct Behind<'a> {
    /// As it stands now.
    pub entry: &'a Entry,
    /// As it was recorded.
    pub fact: &'a Fact,
    /// The reading in that fact.
    pub record: &'a ReadingRecord,
    /// From which recorder it came, and when, where it came from one.
    pub arrival: Option<&'a Arrival>,
    /// How it sounded.
    pub sound: &'a OfSound,
}

/// The page.
pub fn reading(
    session: &Session,
    index: &Index,
    behind: Behind<'_>,
    outcome: &Outcome,
    now: Now<'_>,
) -> Markup {
    let entry = behind.entry;
    let sign = entry.measurement.sign();
    let id = index.resident_of(entry);
    let trend = format!("{}/{}", resident_path(id), sign.tag());
    page(
        session,
        Place::Elsewhere,
        &format!("{} of {}", capital(sign.name()), index.name(id)),
        &html! {
            p.trail { (identified_link(index, id)) " \u{203a} " a href=(trend) { (sign.name()) } }
            div.head {
                h1 { (capital(sign.name())) " "
                    @if entry.retracted { s { (value(&entry.measurement)) } }
                    @else { (value(&entry.measurement)) }
                }
                p { (how(&entry.measurement)) }
                p { (states(index, entry)) }
                @if may_act(session) { p { (to_act()) } }
            }
            (outcome.banner())
            @if may_act(session) { (acknowledge(session, index, entry)) }
            (apart(session, index, entry, now))
            div.columns {
                div {
                    (spoken(index, behind, now))
                    (sound(session, entry.id, behind.record, behind.sound, now))
                    (limits(index, entry, now))
                    (history(index, behind, now))
                }
                @if may_act(session) {
                    div { (forms(session, index, entry, outcome, now)) }
                }
            }
        },
    )
}

fn spoken(index: &Index, behind: Behind<'_>, now: Now<'_>) -> Markup {
    let Behind { fact, record, .. } = behind;
    let late = record.measured_at != record.spoken_at;
    let at_station = record.by_nurse;
    html! {
        section.card {
            h2 { "How it was recorded" }
            dl {
                @if let Some(it) = &record.by_hand {
                    dt { "Entered by hand" }
                    dd { "by " (staff(&it.entered_by)) ", " (moment(record.spoken_at, now)) }
                    dt { "Taken by" }
                    dd { (it.taken_by) }
                } @else if record.given_by.is_voice() {
                    dt { "Heard" }
                    dd { q { (record.heard) } " " span.soft { "the speech recognition was " (percent(record.confidence)) " sure" } }
                } @else {
                    dt { "Given" }
                    dd { q { (record.heard) } " " span.soft { "typed on the bedside screen, all or in part" } }
                }
                @if !record.rivals.is_empty() {
                    dt { "May have been" }
                    @for it in &record.rivals {
                        dd { (value(&it.measurement)) " " span.soft {
                            (how(&it.measurement)) " " (percent(it.share)) " likely"
                        } }
                    }
                }
                dt { "Read back" }
                dd { q { (record.read_back) } }
                dt { "Confirmed" }
                dd { @if at_station { "yes, at the station" } @else if record.confirmed_by.is_voice() { "yes" } @else { "yes, by touch" } ", " (moment(record.confirmed_at, now)) ", by " (staff(&fact.by)) }
                @if record.second_look {
                    dt { "Asked again" }
                    dd { "far from the usual, so it was asked about once more and confirmed" }
                }
                dt { "Measured" }
                dd {
                    @if let Some(recorded) = index.recorded_at(behind.entry.id) {
                        (moment(behind.entry.measured_at, now)) ", corrected; recorded as "
                        s { (moment(recorded, now)) }
                    } @else { (moment(record.measured_at, now)) }
                    @if late && record.by_hand.is_none() { ", said " (moment(record.spoken_at, now)) }
                }
                @if let Some(it) = behind.arrival {
                    dt { "Recorder" }
                    dd { (it.recorder) (arrived_late(it, behind.entry, now)) }
                }
                @if let Some(from) = &record.moved_from {
                    dt { "First kept" }
                    dd {
                        "by mistake for " (resident_link(index, &from.resident)) ", and "
                        a href={ "/readings/" (from.reading) } { "moved from that record" }
                        @if at_station { " by " (staff(&fact.by)) }
                        @if let Some(first) = index.reading(from.reading) {
                            "; first stored by " (staff(index.recorder_of(first)))
                        }
                    }
                }
                @if let Some(to) = index.moved_to(behind.entry.id) {
                    dt { "Moved" }
                    dd {
                        "to the record of " (resident_link(index, index.resident_of(to))) ": "
                        a href={ "/readings/" (to.id) } { "the reading there" }
                    }
                }
                @if let Some(round) = index.round(behind.entry.round) {
                    dt { "Round" }
                    dd {
                        a href={ "/rounds/" (round.id) } { "of " (moment(round.opened, now)) }
                        ", " (round.by.name)
                    }
                }
                dt { "Recorded as" }
                dd { (value(&record.measurement)) " " span.soft { (how(&record.measurement)) } }
            }
        }
    }
}

fn arrived_late(it: &Arrival, entry: &Entry, now: Now<'_>) -> Markup {
    html! {
        @if let Some(late) = it.late(entry.measured_at) {
            ", arrived " (moment(it.at, now)) ", " b { (lasted(late)) " after it was taken" }
        }
    }
}

fn limits(index: &Index, entry: &Entry, now: Now<'_>) -> Markup {
    let resident = index.home().resident(index.resident_of(entry));
    let sign = entry.measurement.sign();
    let ranges: Vec<_> = entry
        .measurement
        .components()
        .into_iter()
        .filter_map(|(component, said)| {
            let range = resident?
                .limits
                .range_on(sign, component, entry.measured_at)?;
            Some((
                component.name(sign),
                range.bounds.beside(said),
                range.source,
            ))
        })
        .collect();
    let measurement = &entry.measurement;
    html! {
        section.card {
            h2 { "Limits when it was measured" }
            @if ranges.is_empty() { p.none { "No range applies to this." } }
            dl {
                @for (name, bounds, source) in &ranges {
                    dt { (capital(name)) }
                    dd { (bounds.low) "\u{2013}" (bounds.high) " " (bounds.unit.symbol())
                        br; span.soft { (shown_source(source)) } }
                }
                @if let (Some(mean), Some(pulse)) =
                    (mean_arterial_pressure(measurement), pulse_pressure(measurement)) {
                    dt { "Worked out" }
                    dd { "mean arterial pressure " (mean) " mmHg, pulse pressure " (pulse) " mmHg" }
                }
            }
            @for flag in index.flags_of(entry.id) {
                p.flag {
                    @match &flag.raised {
                        Raised::Limit(it) => {
                            @let (far, end) = how_far(it);
                            @let (shape, side) = side(it.side);
                            span.shape aria-hidden="true" { (shape) }
                            (capital(it.name())) " " (it.value.value()) ": " (far) " "
                            (it.value.unit().symbol()) " " (side) " " (end)
                        }
                        Raised::Rule(it) => {
                            (it.say) " " span.soft { (it.limit) " (" (shown_source(&it.source)) ")" }
                        }
                    }
                    ", flagged " (moment(flag.at, now))
                    @if let Some(closed) = index.closed(flag.id) {
                        "; "
                        @match &closed.how {
                            ClosedHow::Told(to) => { "reported to " (to) " by " (closed.by.name) }
                            ClosedHow::Withdrawn => {
                                "withdrawn by " (closed.by.name) " with the change of the reading"
                            }
                            ClosedHow::Acknowledged => { "acknowledged by " (staff(&closed.by)) }
                        }
                        ", " (moment(closed.at, now))
                    } @else { "; " b { "open" } }
                }
                @if flag.raised.score().is_some() { (scored(index, entry)) }
                @if index.closed(flag.id).is_none() { (compared_with(index, flag, now)) }
            }
        }
    }
}

/// What the score of a visit is made from: its page is that of the last of them.
fn scored(index: &Index, entry: &Entry) -> Markup {
    html! {
        p.soft {
            "What is scored, as it stands now: "
            @for (at, it) in scored_with(index, entry).into_iter().enumerate() {
                @if at > 0 { ", " }
                a href={ "/readings/" (it.id) } {
                    (it.measurement.sign().name()) " " (value(&it.measurement))
                }
            }
        }
    }
}

fn history(index: &Index, behind: Behind<'_>, now: Now<'_>) -> Markup {
    let acts = index.acts(behind.entry.id);
    let line = index.standing(behind.entry).line;
    html! {
        section.card {
            h2 { "What was done to it since" }
            @if acts.is_empty() { p.none { "Nothing: it stands as it was recorded." } }
            @else {
                table.stack {
                    thead { tr {
                        th scope="col" { "What" } th scope="col" { "Before" } th scope="col" { "After" }
                        th scope="col" { "Why" } th scope="col" { "Who and when" }
                    } }
                    tbody {
                        @for act in acts {
                            tr {
                                th scope="row" { (act_word(&act.kind)) }
                                @match &act.kind {
                                    ActKind::Corrected { it, reason, .. } => {
                                        td data-of="Before" { s { (value(&it.old)) } " " span.soft { (how(&it.old)) }
                                            @if let Some(time) = it.time { br; s { (moment(time.old, now)) } } }
                                        td data-of="After" { b { (value(&it.new)) } " " span.soft { (how(&it.new)) }
                                            @if let Some(time) = it.time { br; b { (moment(time.new, now)) } } }
                                        td data-of="Why" {
                                            (reason)
                                            @if !line.iter().any(|on| on.id == it.id) {
                                                br;
                                                b { "Made apart" @if it.new != *behind.entry.measurement { "; does not hold" } "." }
                                            }
                                        }
                                    }
                                    ActKind::Retracted { reason, .. } => {
                                        td data-of="Before" { s { (value(&behind.entry.measurement)) } }
                                        td data-of="After" { "no longer counts" }
                                        td data-of="Why" { (reason) }
                                    }
                                    ActKind::Noted(text) => {
                                        td data-of="Note" colspan="3" { (text) }
                                    }
                                }
                                td data-of="Who" { (staff(&act.by)) ", " (moment(act.at, now)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What waits for a nurse comes first, on a small screen too.
fn acknowledge(session: &Session, index: &Index, entry: &Entry) -> Markup {
    html! {
        @for flag in index.flags_of(entry.id).filter(|it| index.closed(it.id).is_none()) {
            form.inline method="post" action={ "/reports/" (flag.id) "/acknowledge" } {
                (token(session))
                input type="hidden" name="back" value={ "/readings/" (entry.id) };
                button.main { "Acknowledge: " (in_short(&flag.raised)) }
            }
        }
    }
}

/// Whose it may be: everyone in the home but the one with whom it is stored.
fn residents(index: &Index, entry: &Entry, typed: &str) -> Markup {
    let own = index.resident_of(entry);
    let mut all: Vec<_> = index.home().residents.iter().collect();
    all.retain(|it| it.id != *own);
    all.sort_by(|a, b| a.name.cmp(&b.name));
    html! {
        label { "Whose it is"
            select name=(TO) required {
                option value="" { "choose" }
                @for it in all {
                    option value=(it.id.0) selected[typed == it.id.0] {
                        (it.name) ", " (place(it)) ", born " (it.birth_date.format("%B %-d, %Y"))
                    }
                }
            }
        }
    }
}

fn forms(
    session: &Session,
    index: &Index,
    entry: &Entry,
    outcome: &Outcome,
    now: Now<'_>,
) -> Markup {
    let to = |what: &str| format!("/readings/{}/{what}", entry.id);
    let seen = state_of(index, entry.id);
    let sign = entry.measurement.sign();
    let usual = index.home().units.unspoken(sign);
    let typed = outcome.refused(Form::Correct).then_some(&outcome.typed);
    html! {
        section.card {
            h2 id="act" { "Act" }
            @if !entry.retracted {
                details open[outcome.refused(Form::Correct)] {
                    summary { "Correct" }
                    form method="post" action=(to("correct")) {
                        (token(session))
                        input type="hidden" name="seen" value=(seen);
                        (inputs(sign, Some(&entry.measurement), usual, typed))
                        @if typed.is_some() && sign != VitalSign::Alertness {
                            (looked_again(outcome.typed(Form::Correct, LOOKED_AGAIN) == "on"))
                        }
                        (reason("Why it is wrong", "reason", outcome.typed(Form::Correct, "reason")))
                        p.soft { "What was recorded stays visible. Open reports of this reading are \
                             acknowledged with it." }
                        button.main { "Record the correction" }
                    }
                }
                details open[outcome.refused(Form::Time)] {
                    summary { "Correct the time" }
                    form method="post" action=(to("time")) {
                        (token(session))
                        input type="hidden" name="seen" value=(seen);
                        (when_taken(Some(now.shown(entry.measured_at)),
                            outcome.refused(Form::Time).then_some(&outcome.typed), now.at))
                        (reason("Why it is wrong", "reason", outcome.typed(Form::Time, "reason")))
                        p.soft { "What was recorded stays visible. The trend, the score of its visit \
                             and what leaves for the chart follow the right time." }
                        button.main { "Record the time" }
                    }
                }
                details open[outcome.refused(Form::Move)] {
                    summary { "Wrong resident" }
                    form method="get" action=(to("move")) {
                        input type="hidden" name="seen" value=(seen);
                        (residents(index, entry, outcome.typed(Form::Move, TO)))
                        p.soft { "It is shown once more before anything is stored. Then it is retracted \
                             here and stored with the right resident, both or neither." }
                        button.main { "Show the move" }
                    }
                }
                details open[outcome.refused(Form::Retract)] {
                    summary { "Retract" }
                    form method="post" action=(to("retract")) {
                        (token(session))
                        input type="hidden" name="seen" value=(seen);
                        (reason("Why it must not stand", "reason", outcome.typed(Form::Retract, "reason")))
                        p.soft { "It stays visible, marked as retracted, and no longer counts. This \
                             can't be undone." }
                        button.main { "Retract the reading" }
                    }
                }
            }
            details open[outcome.refused(Form::Note)] {
                summary { "Add a note" }
                form method="post" action=(to("note")) {
                    (token(session))
                    (reason("Note", "text", outcome.typed(Form::Note, "text")))
                    button.main { "Record the note" }
                }
            }
        }
    }
}
