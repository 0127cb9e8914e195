//! The administrator's pages: who may sign in, and what happened at the door.

use maud::{Markup, html};

use super::layout::{Place, page};
use super::parts::state;
use crate::review::accounts::{LogPage, Role, User};
use crate::review::fields::Fields;
use crate::review::sessions::Session;
use crate::speaking::wording::capital;

/// A one-time code, to be shown this once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewCode {
    /// For whom.
    pub login: String,
    /// The code.
    pub code: String,
}

/// Everyone who may sign in, and the form for another; with a word on certificates that are
/// to be made anew, which nobody else here could do anything about.
pub fn people(
    session: &Session,
    (users, certificates): (&[User], &[String]),
    code: Option<&NewCode>,
    problem: Option<&str>,
    typed: &Fields,
) -> Markup {
    let row = |user: &User| {
        let act = |what: &str| format!("/people/{}/{what}", user.login);
        html! {
            tr {
                th scope="row" { (user.login) }
                td { (user.staff.name) ", " (user.staff.title) }
                td data-of="May" { (user.role.name()) }
                td {
                    @if !user.active { (state("\u{2715}", "closed")) }
                    @else if user.must_choose { (state("\u{25cb}", "one-time code")) }
                    @else { (state("\u{2713}", "open")) }
                }
                td { div.acts {
                    (button(session, &act("code"), "New code", &user.login))
                    @if user.active { (button(session, &act("close"), "Close", &user.login)) }
                    @else { (button(session, &act("open"), "Open", &user.login)) }
                } }
            }
        }
    };
    page(
        session,
        Place::People,
        "People",
        &html! {
            h1 { "People" }
            @if let Some(NewCode { login, code }) = code {
                section.card.told role="status" {
                    h2 { "One-time code for " (login) }
                    p.code { (code) }
                    p { "Shown this once, good for three days. It is used in place of the password, \
                         and then a password is chosen." }
                }
            }
            @for why in certificates { p.problem role="alert" { (capital(why)) "." } }
            @if let Some(problem) = problem { p.problem role="alert" { (problem) } }
            section.card {
                table.rows {
                    caption.unseen { "Accounts" }
                    thead { tr {
                        th scope="col" { "Sign-in name" } th scope="col" { "Name and title" }
                        th scope="col" { "May" } th scope="col" { "State" } th scope="col" { "Change" }
                    } }
                    tbody { @for user in users { (row(user)) } }
                }
            }
            section.card {
                h2 { "Another account" }
                form.grid method="post" action="/people" {
                    input type="hidden" name="csrf" value=(session.csrf);
                    label { "Sign-in name"
                        input name="login" autocomplete="off" autocapitalize="none"
                            value=(typed.get("login")) required;
                    }
                    label { "Full name, as the record shows it"
                        input name="name" autocomplete="off" value=(typed.get("name")) required;
                    }
                    label { "Title"
                        input name="title" autocomplete="off" value=(typed.get("title"))
                            placeholder="registered nurse" required;
                    }
                    label { "May"
                        select name="role" required {
                            option value="" { "choose" }
                            @for role in Role::ALL {
                                option value=(role.name()) selected[typed.get("role") == role.name()] {
                                    (may(role))
                                }
                            }
                        }
                    }
                    button.main { "Make the account" }
                }
            }
        },
    )
}

const fn may(role: Role) -> &'static str {
    match role {
        Role::Aide => "aide: look",
        Role::Nurse => "nurse: look and act",
        Role::Administrator => "administrator: accounts only",
    }
}

fn button(session: &Session, to: &str, word: &str, whose: &str) -> Markup {
    html! {
        form method="post" action=(to) {
            input type="hidden" name="csrf" value=(session.csrf);
            button aria-label={ (word) " for " (whose) } { (word) }
        }
    }
}

/// What happened at the door.
pub fn log(session: &Session, log: &LogPage, older: bool) -> Markup {
    page(
        session,
        Place::Log,
        "Log",
        &html! {
            div.head {
                h1 { "Log" }
                p.soft { "Who signed in, who was refused, who changed an account; newest first. The \
                     same refusal again is counted in one line. What nurses did to readings is in \
                     the record itself." }
            }
            section.card {
                table.rows {
                    caption.unseen { "Log" }
                    thead { tr {
                        th scope="col" { "When" } th scope="col" { "Who" } th scope="col" { "What" }
                    } }
                    tbody {
                        @for line in &log.lines {
                            tr {
                                td.nowrap { (line.at) }
                                td { (line.who) }
                                td { (line.what) @if line.times > 1 {
                                    span.soft { ", " (line.times) " times since " (line.since) }
                                } }
                            }
                        }
                    }
                }
                @if log.lines.is_empty() { p.none { "Nothing is older." } }
                @if older || log.older.is_some() {
                    nav.pages aria-label="Pages of the log" {
                        @if older { a.button rel="prev" href="/log" { "The newest" } }
                        @if let Some(place) = log.older {
                            a.button rel="next" href={ "/log?before=" (place) } { "Older" }
                        }
                    }
                }
            }
        },
    )
}
