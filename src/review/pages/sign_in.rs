//! Pages for whoever is not, or not yet, signed in.

use maud::{Markup, html};

use super::layout::{Place, bare, page};
use crate::review::accounts::SHORTEST;
use crate::review::fields::Fields;
use crate::review::sessions::Session;

/// The form to sign in; a name that was typed with a wrong password stays.
pub fn sign_in(home: &str, csrf: &str, typed: &Fields, problem: Option<&str>) -> Markup {
    let login = typed.get("login");
    bare(
        "Sign in",
        &html! {
            section.card.narrow {
                p.soft { (home) }
                h1 { "Sign in" }
                @if let Some(problem) = problem { p.problem role="alert" { (problem) } }
                form method="post" action="/sign-in" {
                    input type="hidden" name="csrf" value=(csrf);
                    input type="hidden" name="to" value=(typed.get("to"));
                    label { "Sign-in name"
                        input name="login" autocomplete="username" autocapitalize="none"
                            spellcheck="false" required value=(login) autofocus[login.is_empty()];
                    }
                    label { "Password or one-time code"
                        input type="password" name="password" autocomplete="current-password" required
                            autofocus[!login.is_empty()];
                    }
                    button.main { "Sign in" }
                }
                p.soft { "Forgotten? The administrator can give you a new one-time code." }
            }
        },
    )
}

/// The form for another password.
pub fn password(session: &Session, problem: Option<&str>) -> Markup {
    let must = session.user.must_choose;
    page(
        session,
        Place::Elsewhere,
        "Password",
        &html! {
            section.card.narrow {
                h1 { "Choose a password" }
                p { "At least " (SHORTEST) " characters. A few words that only you would put \
                     together are good; it need not have digits or signs." }
                @if let Some(problem) = problem { p.problem role="alert" { (problem) } }
                form method="post" action="/password" {
                    input type="hidden" name="csrf" value=(session.csrf);
                    // Lets a password manager know whose password it is.
                    input type="text" name="username" value=(session.user.login)
                        autocomplete="username" hidden;
                    @if !must {
                        label { "Present password"
                            input type="password" name="old" autocomplete="current-password" required;
                        }
                    }
                    label { "New password"
                        input type="password" name="password" autocomplete="new-password"
                            minlength=(SHORTEST) required;
                    }
                    label { "The same again"
                        input type="password" name="again" autocomplete="new-password" required;
                    }
                    button.main { "Keep this password" }
                }
            }
        },
    )
}

/// Shown in place of a page that was left open.
pub fn left_open(session: &Session) -> Markup {
    page(
        session,
        Place::Elsewhere,
        "Left open",
        &html! {
            section.card.narrow {
                h1 { "This page was left open" }
                p { "Nothing is shown until you go on." }
                p { a.button.main href="/" { "Go on as " (session.user.staff.name) } }
            }
        },
    )
}
