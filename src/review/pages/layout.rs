//! What surrounds every page.

use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use maud::{DOCTYPE, Markup, html};

use crate::review::accounts::Role;
use crate::review::sessions::{IDLE, Session};

/// Where a page stands among the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    Worklist,
    Residents,
    Rounds,
    Find,
    People,
    Log,
    Elsewhere,
}

const CARERS: [(Place, &str, &str); 4] = [
    (Place::Worklist, "/worklist", "Worklist"),
    (Place::Residents, "/residents", "Residents"),
    (Place::Rounds, "/rounds", "Rounds"),
    (Place::Find, "/find", "Find"),
];
const ADMINISTRATORS: [(Place, &str, &str); 2] = [
    (Place::People, "/people", "People"),
    (Place::Log, "/log", "Log"),
];

/// A page for someone who is signed in.
pub fn page(session: &Session, place: Place, title: &str, main: &Markup) -> Markup {
    let user = &session.user;
    let nav = match user.role {
        Role::Aide | Role::Nurse => &CARERS[..],
        Role::Administrator => &ADMINISTRATORS[..],
    };
    let idle = format!("{};url=/idle", IDLE.num_seconds() + 5);
    frame(
        title,
        // The script does this too, and knows when someone is still typing.
        &html! { noscript { meta http-equiv="refresh" content=(idle); } },
        Some(IDLE.num_seconds()),
        &html! {
            nav aria-label="Pages" {
                ul {
                    @for (it, to, name) in nav {
                        li { a href=(to) aria-current=[(*it == place).then_some("page")] { (name) } }
                    }
                }
            }
            form.who method="post" action="/sign-out" {
                input type="hidden" name="csrf" value=(session.csrf);
                a href="/password" title="Change the password" {
                    b { (user.staff.name) } " " span.soft { (user.role.name()) }
                }
                button.quiet { "Sign out" }
            }
        },
        &html! {
            div id="notice" role="status" {
                @if let Some(notice) = &session.notice { p.problem { (notice) } }
            }
            (main)
        },
    )
}

/// A page for anyone.
pub fn bare(title: &str, main: &Markup) -> Markup {
    frame(title, &html! {}, None, &html! {}, main)
}

fn frame(title: &str, head: &Markup, idle: Option<i64>, bar: &Markup, main: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                (head)
                title { (title) " \u{b7} Sayback" }
                link rel="stylesheet" href="/style.css";
                link rel="icon" href="data:,";
                script src="/page.js" defer {}
            }
            body data-idle=[idle] {
                a.skip href="#main" { "Skip to the content" }
                header.bar {
                    a.mark href="/" { "Sayback" }
                    (bar)
                }
                main id="main" tabindex="-1" { (main) }
                footer {
                    p { "The care plan, facility policy and the licensed nurse decide." }
                    p.soft { "Sayback records and reminds; it does not diagnose." }
                }
            }
        }
    }
}

/// A page that says what is wrong.
pub fn problem(status: StatusCode, why: &str) -> Response {
    let heading = match status {
        StatusCode::NOT_FOUND => "Not here",
        StatusCode::GONE => "Cut off",
        StatusCode::INTERNAL_SERVER_ERROR => "Not to be had now",
        StatusCode::GATEWAY_TIMEOUT => "Not sure whether it was done",
        _ => "Not done",
    };
    let main = html! {
        section.card.narrow {
            h1 { (heading) }
            p role="alert" { (why) }
            @if status != StatusCode::GONE {
                p { a.button href="/" { "To the first page" } }
            }
        }
    };
    (status, bare(heading, &main)).into_response()
}
