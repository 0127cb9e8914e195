//! One reading, with everything behind it.

use maud::{Markup, html};

use super::acting::{Form, Outcome, may_act, reason, token};
use super::apart::apart;
use super::layout::{Place, page};
use super::parts::{
    how, identified_link, moment, percent, resident_link, resident_path, side, staff, states, value,
};
use super::sound::{OfSound, sound};
use crate::facts::{Fact, Raised, ReadingRecord, Time};
use crate::review::acts::{
    ALERTNESS, LOOKED_AGAIN, OVER, VALUE, act_word, qualifier_field, state_of,
};
use crate::review::index::{ActKind, ClosedHow, Entry, Index};
use crate::review::sessions::Session;
use crate::review::worklist::{about, how_far, part_name};
use crate::speaking::wording::capital;
use crate::vitals::{
    Alertness, Component, Measurement, Qualifier, QualifierKind, Quantity, Supply, Unit, Value,
    VitalSign, mean_arterial_pressure, pulse_pressure, shown_source,
};

/// What is behind a reading: its line in the index and its fact in the record.
#[derive(Debug, Clone, Copy)]
pub struct Behind<'a> {
    /// As it stands now.
    pub entry: &'a Entry,
    /// As it was recorded.
    pub fact: &'a Fact,
    /// The reading in that fact.
    pub record: &'a ReadingRecord,
    /// How it sounded.
    pub sound: &'a OfSound,
}

/// The page.
pub fn reading(
    session: &Session,
    index: &Index,
    behind: Behind<'_>,
    outcome: &Outcome,
    now: Time,
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
                    div { (forms(session, index, entry, outcome)) }
                }
            }
        },
    )
}

fn spoken(index: &Index, behind: Behind<'_>, now: Time) -> Markup {
    let Behind { fact, record, .. } = behind;
    let late = record.measured_at != record.spoken_at;
    html! {
        section.card {
            h2 { "How it was recorded" }
            dl {
                @if record.given_by.is_voice() {
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
                dd { @if record.confirmed_by.is_voice() { "yes" } @else { "yes, by touch" } ", " (moment(record.confirmed_at, now)) ", by " (staff(&fact.by)) }
                @if record.second_look {
                    dt { "Asked again" }
                    dd { "far from the usual, so it was asked about once more and confirmed" }
                }
                dt { "Measured" }
                dd { (moment(record.measured_at, now)) @if late { ", said " (moment(record.spoken_at, now)) } }
                @if let Some(from) = &record.moved_from {
                    dt { "First kept" }
                    dd {
                        "by mistake for " (resident_link(index, &from.resident)) ", and "
                        a href={ "/readings/" (from.reading) } { "moved from that record" }
                    }
                }
                @if let Some(to) = index.moved_to(behind.entry.id) {
                    dt { "Moved" }
                    dd {
                        "to the record of " (resident_link(index, index.resident_of(to))) ": "
                        a href={ "/readings/" (to.id) } { "the reading there" }
                    }
                }
                dt { "Recorded as" }
                dd { (value(&record.measurement)) " " span.soft { (how(&record.measurement)) } }
            }
        }
    }
}

fn limits(index: &Index, entry: &Entry, now: Time) -> Markup {
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
            let bounds = range.bounds.to(said.unit())?.rounded();
            Some((component.name(sign), bounds, range.source))
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
                            (capital(part_name(it))) " " (it.value.value()) ": " (far) " "
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
            }
        }
    }
}

fn history(index: &Index, behind: Behind<'_>, now: Time) -> Markup {
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
                                        td data-of="Before" { s { (value(&it.old)) } " " span.soft { (how(&it.old)) } }
                                        td data-of="After" { b { (value(&it.new)) } " " span.soft { (how(&it.new)) } }
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
                button.main { "Acknowledge: " (about(&flag.raised)) }
            }
        }
    }
}

fn forms(session: &Session, index: &Index, entry: &Entry, outcome: &Outcome) -> Markup {
    let to = |what: &str| format!("/readings/{}/{what}", entry.id);
    let seen = state_of(index, entry.id);
    html! {
        section.card {
            h2 { "Act" }
            @if !entry.retracted {
                details open[outcome.refused(Form::Correct)] {
                    summary { "Correct" }
                    form method="post" action=(to("correct")) {
                        (token(session))
                        input type="hidden" name="seen" value=(seen);
                        (inputs(&entry.measurement, outcome))
                        (reason("Why it is wrong", "reason", outcome.typed(Form::Correct, "reason")))
                        p.soft { "What was recorded stays visible. Open reports of this reading are \
                             acknowledged with it." }
                        button.main { "Record the correction" }
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

/// The fields of a correction: what holds now, or what was typed and refused.
fn inputs(now: &Measurement, outcome: &Outcome) -> Markup {
    let sign = now.sign();
    let refused = outcome.refused(Form::Correct);
    let field = |name: &str, present: String| {
        if refused {
            outcome.typed.get(name).to_owned()
        } else {
            present
        }
    };
    let quantity = |of: Component| {
        let all = now.components();
        all.into_iter()
            .find_map(|(it, quantity)| (it == of).then_some(quantity))
    };
    let number = |it: Option<Quantity>| it.map_or_else(String::new, |it| it.value().to_string());
    html! {
        @if sign == VitalSign::Alertness {
            label { "Alertness"
                select name=(ALERTNESS) {
                    @for level in Alertness::ALL {
                        option value=(level.tag()) selected[now.value() == Value::Level(level)] {
                            (level.spoken())
                        }
                    }
                }
            }
        } @else {
            div.grid {
                @if sign == VitalSign::BloodPressure {
                    label { "Systolic"
                        input name=(VALUE) inputmode="decimal" autocomplete="off" required
                            value=(field(VALUE, number(quantity(Component::Systolic))));
                    }
                    label { "Diastolic"
                        input name=(OVER) inputmode="decimal" autocomplete="off" required
                            value=(field(OVER, number(quantity(Component::Diastolic))));
                    }
                } @else {
                    label { (capital(sign.name()))
                        input name=(VALUE) inputmode="decimal" autocomplete="off"
                            required[sign != VitalSign::Pain]
                            value=(field(VALUE, number(quantity(Component::Whole))));
                    }
                }
                (units(now, &field("unit", String::new())))
                @for &kind in sign.qualifiers() {
                    (choice(now, kind, &field(qualifier_field(kind), String::new()), refused))
                }
            }
            @if refused {
                label.check {
                    input type="checkbox" name=(LOOKED_AGAIN)
                        checked[outcome.typed.get(LOOKED_AGAIN) == "on"];
                    "I looked again: it is right, though far from the usual"
                }
            }
            @if sign == VitalSign::Pain {
                label.check { input type="checkbox" name="not_rated"; "The resident could not rate it" }
            }
        }
    }
}

fn units(now: &Measurement, typed: &str) -> Markup {
    const ALL: [Unit; 11] = [
        Unit::Fahrenheit,
        Unit::Celsius,
        Unit::PerMinute,
        Unit::MmHg,
        Unit::Percent,
        Unit::Pound,
        Unit::Kilogram,
        Unit::Inch,
        Unit::Centimetre,
        Unit::Score,
        Unit::LitreAMinute,
    ];
    let parts = now.components();
    let present = parts.first().map_or(Unit::Score, |(_, it)| it.unit());
    let chosen = Unit::from_tag(typed).unwrap_or(present);
    let like = ALL
        .into_iter()
        .filter(|it| it.canonical() == present.canonical());
    html! {
        label { "Unit"
            select name="unit" {
                @for unit in like { option value=(tag(unit)) selected[unit == chosen] { (unit.symbol()) } }
            }
        }
    }
}

/// The name by which [`Unit::from_tag`] knows a unit.
fn tag(unit: Unit) -> String {
    let value = serde_json::to_value(unit).unwrap_or_default();
    value.as_str().unwrap_or_default().to_owned()
}

fn choice(now: &Measurement, kind: QualifierKind, typed: &str, refused: bool) -> Markup {
    let sign = now.sign();
    let present = now.qualifiers().get(kind);
    let same = |tag: &str, it: Qualifier| {
        if refused {
            return tag == typed;
        }
        match (present, it) {
            (Some(Qualifier::Supply(Supply::Oxygen(_))), Qualifier::Supply(Supply::Oxygen(_))) => {
                true
            }
            (present, it) => present == Some(it),
        }
    };
    let litres = match present {
        Some(Qualifier::Supply(Supply::Oxygen(Some(litres)))) => litres.to_string(),
        _ => String::new(),
    };
    html! {
        label { (capital(&qualifier_field(kind).replace('_', " ")))
            select name=(qualifier_field(kind)) {
                @if !sign.required().contains(&kind) || present.is_none() { option value="" { "not said" } }
                @for (tag, it) in Qualifier::tagged().filter(|(_, it)| it.kind() == kind) {
                    option value=(tag) selected[same(tag, it)] { (it.spoken()) }
                }
            }
        }
        @if kind == QualifierKind::Supply {
            label { "Oxygen, L/min"
                input name="litres" inputmode="decimal" autocomplete="off" value=(litres);
            }
        }
    }
}
