//! What became of the readings that an open report compares with.

use maud::{Markup, html};

use super::parts::{loud, moment, staff, value};
use crate::review::acts::act_word;
use crate::review::compared::gone;
use crate::review::index::{ActKind, Flag, Index};
use crate::review::now::Now;

/// A line for each that does not hold any more, below the report.
pub fn compared_with(index: &Index, flag: &Flag, now: Now<'_>) -> Markup {
    html! {
        @for it in gone(index, flag) {
            p {
                (loud("\u{25cb}", "compares with what was changed since")) " "
                a href={ "/readings/" (it.entry.id) } { (value(it.was)) }
                " of " (moment(it.entry.measured_at, now)) " was " (act_word(&it.act.kind))
                @if matches!(it.act.kind, ActKind::Corrected { .. }) {
                    " to " b { (value(&it.entry.measurement)) }
                }
                " by " (staff(&it.act.by)) ", " (moment(it.act.at, now))
                @match &it.act.kind {
                    ActKind::Corrected { reason, .. } | ActKind::Retracted { reason, .. } => {
                        ": \u{201c}" (reason) "\u{201d}"
                    }
                    ActKind::Noted(_) => {}
                }
            }
        }
    }
}
