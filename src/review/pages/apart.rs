//! Changes of a reading made by two who did not know of each other.

use maud::{Markup, html};

use super::acting::{may_act, token};
use super::parts::{how, large_reading_link, moment, on, resident_link, staff, states, value};
use super::worklist::{MOST, count, more};
use crate::facts::Correction;
use crate::review::acts::state_of;
use crate::review::index::{Act, ActKind, Entry, Index};
use crate::review::now::Now;
use crate::review::sessions::Session;

/// What is to be looked at, and the choice.
pub fn apart(session: &Session, index: &Index, entry: &Entry, now: Now<'_>) -> Markup {
    let standing = index.standing(entry);
    let rivals: Vec<&Correction> = standing.rivals().collect();
    html! {
        @if let Some(unknown) = index.retracted_unaware(entry) {
            section.card.problem role="alert" {
                h2 { "Retracted without knowing of a correction" }
                p { "Whoever retracted this reading had not heard that " (staff(&unknown.by))
                    " had corrected it. It is retracted everywhere. See whether a reading is \
                    missing now, and ask for a recheck if so. A note takes this off the worklist." }
            }
        } @else if let Some(holds) = standing.holds().filter(|_| !rivals.is_empty() && !entry.retracted) {
            section.card.problem role="alert" {
                h2 { "Corrected by two apart" }
                p { "These were made without knowing of each other. " b { (value(&holds.new)) }
                    " holds for now, on every recorder and here. Look at both, and choose." }
                ul.items {
                    (one(session, index, entry, holds, now))
                    @for it in &rivals { (one(session, index, entry, it, now)) }
                }
                p.soft { "A nurse's correction goes before an aide's; of two alike the later one." }
            }
        }
    }
}

/// Those of the worklist.
pub fn to_decide(index: &Index, all: &[&Entry], now: Now<'_>) -> Markup {
    html! {
        @if !all.is_empty() {
            section.card aria-labelledby="apart" {
                h2 id="apart" { "Changed by two apart" (count(all.len())) }
                p.soft { "Neither knew of the other. Look at both: one of them holds for now." }
                ol.items {
                    @for it in all.iter().take(MOST) {
                        li.item {
                            div.what {
                                (resident_link(index, index.resident_of(it)))
                                (large_reading_link(it))
                                (in_short(index, it))
                            }
                            div.when {
                                (states(index, it))
                                p.soft { (moment(it.measured_at, now)) ", "
                                    (index.recorder_of(it).name) (on(index.sender_of(it))) }
                            }
                        }
                    }
                }
                (more(all.len()))
            }
        }
    }
}

fn in_short(index: &Index, entry: &Entry) -> Markup {
    let standing = index.standing(entry);
    let whose = |it: &Correction| {
        let act = index.acts(entry.id).iter().find(|act| act.id == it.id);
        act.map_or_else(String::new, |it| format!("{}\u{2019}s ", it.by.name))
    };
    html! {
        @if let Some(unknown) = index.retracted_unaware(entry) {
            p { "Retracted, while " (unknown.by.name) " corrected it" }
        } @else if let Some(holds) = standing.holds() {
            p { (whose(holds)) b { (value(&holds.new)) } " holds; "
                @for it in standing.rivals() { (whose(it)) b { (value(&it.new)) } " does not. " }
            }
        }
    }
}

fn one(session: &Session, index: &Index, entry: &Entry, it: &Correction, now: Now<'_>) -> Markup {
    let act = index.acts(entry.id).iter().find(|act| act.id == it.id);
    let holds = entry.version == it.id;
    html! {
        li.item {
            div.what {
                span.value { b { (value(&it.new)) } " " span.soft { (how(&it.new)) }
                    @if let Some(time) = it.time { " measured " (moment(time.new, now)) } }
                p { @if holds { b { "holds now" } } @else { "does not hold" } ", "
                    @if let Some(Act { by, at, .. }) = act { (staff(by)) ", " (moment(*at, now)) }
                }
                p.soft { "instead of " (value(&it.old))
                    @if let Some(time) = it.time { " measured " (moment(time.old, now)) }
                    @if let Some(Act { kind: ActKind::Corrected { reason, .. }, .. }) = act {
                        ": " (reason)
                    }
                }
            }
            @if may_act(session) {
                form method="post" action={ "/readings/" (entry.id) "/decide" } {
                    (token(session))
                    input type="hidden" name="seen" value=(state_of(index, entry.id));
                    input type="hidden" name="right" value=(it.id);
                    button.main[holds] { (value(&it.new)) " is right" }
                }
            }
        }
    }
}
