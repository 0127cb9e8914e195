//! What is answered by hand: buttons for what waits, and sheets for the rest.

use maud::{Markup, html};

use super::choices::Choice;
use super::page::brief;
use super::view::{Doing, Kind, View};
use crate::vitals::VitalSign;

/// The field of a form whose words answer what waits; they are refused at once
/// when that is gone.
pub const ANSWER: &str = "answer";
/// The field whose words may be about anything.
pub const WORDS: &str = "words";

fn said(name: &str, words: &str) -> Choice {
    Choice {
        name: name.to_owned(),
        words: words.to_owned(),
    }
}

/// A button that says its words, about what waits.
fn button(it: &Choice, class: &str) -> Markup {
    html! { button name=(ANSWER) value=(it.words) class=[(!class.is_empty()).then_some(class)] { (it.name) } }
}

/// The standing commands: what is on the button, what it says, and its key with
/// Alt.
const COMMANDS: [(&str, &str, &str); 5] = [
    ("Repeat", "repeat", "r"),
    ("Missing?", "what's missing", "m"),
    ("Done", "done", "d"),
    ("Next", "next", "x"),
    ("Stop listening", "stop listening", "l"),
];

fn command(name: &str, words: &str, key: &str, class: &str) -> Markup {
    // What keeps or drops something is an answer to what is on the screen.
    let field = if matches!(key, "y" | "n" | "s") {
        ANSWER
    } else {
        WORDS
    };
    html! {
        button name=(field) value=(words) accesskey=(key) title={ "Alt+" (key.to_uppercase()) }
            class=[(!class.is_empty()).then_some(class)] { (name) }
    }
}

/// A button that opens a sheet, where the script runs; there is its own button for it
/// in any case.
pub(super) fn opens(sheet: &str, name: &str, class: &str) -> Markup {
    html! { button.opens.(class) type="button" data-open=(sheet) { (name) } }
}

pub(super) fn answers(view: &View, key: &str) -> Markup {
    let kind = view.waiting.as_ref().map(|it| it.kind);
    html! {
        form method="post" action="/say" {
            (hidden(view, key))
            @if view.doing == Doing::NobodySignedOn {
                (opens("sign-on", "Sign on", "wide"))
            } @else if view.doing == Doing::Ended {
            } @else if view.doing == Doing::Asleep {
                (command("Start listening", "start listening", "l", "wide"))
            } @else {
                @if let Some(kind) = kind {
                    @if kind.is_yes_or_no() {
                        (command("Yes", "yes", "y", "yes"))
                        (command("No", "no", "n", "no"))
                    }
                    @for it in view.waiting.iter().flat_map(|it| &it.choices) { (button(it, "choice")) }
                    @if matches!(kind, Kind::Keep | Kind::KeepUnlikely | Kind::Question) {
                        (command("Scratch that", "scratch that", "s", ""))
                    }
                } @else if view.timers.iter().any(|it| it.count) {
                    (button(&said("Stop the count", "cancel the count"), "choice"))
                } @else if view.moving_from.is_some() {
                    (button(&said("Move nothing", "scratch that"), ""))
                } @else if !view.timers.is_empty() {
                    (button(&said("Stop the timer", "stop"), ""))
                }
            }
        }
    }
}

/// What is seldom wanted by hand.
const MORE: [(&str, &str); 8] = [
    ("Who is left", "who is left"),
    ("Skip this resident", "skip"),
    ("Recheck", "recheck"),
    ("Wrong resident", "wrong resident"),
    ("Standing pressures", "standing pressures"),
    ("Stop", "stop"),
    ("Help", "help"),
    ("End of round", "end of round"),
];

fn hidden(view: &View, key: &str) -> Markup {
    html! {
        input type="hidden" name="csrf" value=(key);
        input type="hidden" name="asked" value=(view.asked);
    }
}

/// Typing, a number pad, rooms and the end of the round. It stays while the
/// live part changes, so that nothing is lost that is half typed.
pub(super) fn by_hand(view: &View, key: &str) -> Markup {
    html! {
        footer #by-hand {
            details #typing {
                summary accesskey="t" { "Type" }
                form method="post" action="/say" {
                    (hidden(view, key))
                    p #brief { (brief(view)) }
                    label for="words" { "What you would say, such as \u{201c}pulse 72 regular\u{201d}, or just the right value" }
                    div.line {
                        input #words name=(WORDS) required maxlength="200" autocomplete="off" autocapitalize="none"
                            spellcheck="false";
                        button { "Enter" }
                        button.close type="button" data-close="" { "Close" }
                    }
                    div.pad aria-label="Number pad" role="group" {
                        @for it in ["1", "2", "3", "4", "5", "6", "7", "8", "9", ".", "0", "/"] {
                            button type="button" data-type=(it) { (it) }
                        }
                        button.wide type="button" data-erase="" { "Erase" }
                    }
                    div.signs aria-label="Vital signs" role="group" {
                        @for it in VitalSign::ALL {
                            button type="button" data-type={ (it.name()) " " } { (it.name()) }
                        }
                    }
                }
            }
            details #rooms {
                summary accesskey="o" { "Room" }
                form method="post" action="/say" {
                    (hidden(view, key))
                    @for it in &view.rooms { button.room name=(WORDS) value=(it.words) { (it.name) } }
                }
            }
            details #reported {
                summary accesskey="e" { "Reported" }
                form method="post" action="/say" {
                    (hidden(view, key))
                    @for it in &view.nurses { (button(it, "")) }
                }
            }
            details #sign-on {
                summary { "Sign on" }
                form method="post" action="/sign-on" {
                    (hidden(view, key))
                    label { "Name or badge number" input name="who" required autocomplete="off"; }
                    label { "PIN" input name="pin" type="password" inputmode="numeric" required autocomplete="off"; }
                    button { "Sign on" }
                    button formaction="/sign-off" { "Sign off" }
                }
            }
            details #more {
                summary { "More" }
                form method="post" action="/say" {
                    (hidden(view, key))
                    @for (name, words) in MORE { button name=(WORDS) value=(words) { (name) } }
                }
                p { a href="/card" { "What you can say" } }
            }
            form.commands method="post" action="/say" {
                (hidden(view, key))
                @for (name, words, key) in COMMANDS { (command(name, words, key, "")) }
            }
            p #live role="status" {}
        }
    }
}
