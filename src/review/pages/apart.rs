//! Changes of a reading made by two who did not know of each other.

use maud::{Markup, html};

use super::acting::{may_act, token};
use super::parts::{how, loud, moment, staff, value};
use crate::facts::{Correction, Time};
use crate::review::acts::state_of;
use crate::review::index::{Act, Entry, Index};
use crate::review::sessions::Session;

/// What is to be looked at, and the choice.
pub fn apart(session: &Session, index: &Index, entry: &Entry, now: Time) -> Markup {
    let standing = index.standing(entry);
    let rivals: Vec<&Correction> = standing.rivals().collect();
    html! {
        @if let Some(unknown) = index.retracted_unaware(entry) {
            section.card.problem role="alert" {
                h2 { (loud("\u{25c6}", "retracted without knowing of a correction")) }
                p { "Whoever retracted this reading had not heard that " (staff(&unknown.by))
                    " had corrected it. It is retracted everywhere. See whether a reading is \
                    missing now, and ask for a recheck if so. A note takes this off the worklist." }
            }
        } @else if let Some(holds) = standing.holds().filter(|_| !rivals.is_empty() && !entry.retracted) {
            section.card.problem role="alert" {
                h2 { (loud("\u{25c6}", "corrected apart")) }
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

fn one(session: &Session, index: &Index, entry: &Entry, it: &Correction, now: Time) -> Markup {
    let by = index.acts(entry.id).iter().find(|act| act.id == it.id);
    let holds = entry.version == it.id;
    html! {
        li.item {
            div.what {
                span.value { b { (value(&it.new)) } " " span.soft { (how(&it.new)) } }
                p { @if holds { b { "holds now" } } @else { "does not hold" } ", "
                    @if let Some(Act { by, at, .. }) = by { (staff(by)) ", " (moment(*at, now)) }
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
