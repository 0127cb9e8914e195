//! The list of residents.

use maud::{Markup, html};

use super::layout::{Place, page};
use super::parts::{counted, loud, place, resident_path};
use crate::residents::ResidentId;
use crate::review::index::Index;
use crate::review::sessions::Session;

/// Everyone in the home, by room.
pub fn residents(session: &Session, index: &Index) -> Markup {
    let mut residents: Vec<_> = index.home().residents.iter().collect();
    residents.sort_by_key(|it| (it.room.parse().unwrap_or(u32::MAX), it.bed.clone()));
    let open = |id: &ResidentId| index.open_reports().filter(|it| it.resident == *id).count();
    page(
        session,
        Place::Residents,
        "Residents",
        &html! {
            h1 { "Residents" }
            section.card {
                table.rows {
                    thead { tr {
                        th scope="col" { "Name" } th scope="col" { "Room and bed" }
                        th scope="col" { "Born" } th scope="col" { "Reports" }
                    } }
                    tbody {
                        @for it in residents {
                            tr {
                                th scope="row" { a.name href=(resident_path(&it.id)) { (it.name) } }
                                td { (place(it)) }
                                td data-of="Born" { (it.birth_date.format("%b %-d, %Y")) }
                                td { @let open = open(&it.id);
                                    @if open > 0 { (loud("\u{25c6}", &counted(open, "open report"))) } }
                            }
                        }
                    }
                }
            }
        },
    )
}
