//! What is read back before it is stored: a reading that is entered by hand, and one
//! that is moved to the right resident.

use maud::{Markup, html};

use super::acting::{Form, Outcome, token};
use super::layout::{Place, page};
use super::measure::{inputs, looked_again, when_taken};
use super::parts::{how, identified_link, moment, resident_path, staff, value};
use crate::facts::Raised;
use crate::residents::{Home, Resident};
use crate::review::acts::{
    LOOKED_AGAIN, Proposed, REMARK, SHOWN, SIGN, TAKEN_BY, TO, ToMove, WENT_ON,
};
use crate::review::fields::Fields;
use crate::review::index::{Entry, Index};
use crate::review::now::Now;
use crate::review::sessions::Session;
use crate::review::worklist::about;
use crate::speaking::wording::capital;
use crate::vitals::VitalSign;

/// The form for a reading of one vital sign. `typed` is what came back with it.
pub fn enter(
    session: &Session,
    index: &Index,
    (resident, sign): (&Resident, VitalSign),
    (outcome, typed): (&Outcome, Option<&Fields>),
    now: Now<'_>,
) -> Markup {
    let path = resident_path(&resident.id);
    let typed_in = |field: &str| typed.map_or("", |it| it.get(field));
    page(
        session,
        Place::Residents,
        &format!("Enter {} of {}", sign.name(), resident.name),
        &html! {
            p.trail { (identified_link(index, &resident.id)) }
            div.head {
                h1 { "Enter " (sign.name()) }
                p { "A reading that was written on paper. Nothing is stored by this page: what you \
                     typed is read back on the next one." }
            }
            (outcome.banner())
            section.card {
                form method="post" action={ (path) "/read-back" } {
                    (token(session))
                    input type="hidden" name=(SIGN) value=(sign.tag());
                    (inputs(sign, None, index.home().units.unspoken(sign), typed))
                    (when_taken(None, typed, now.at))
                    label { "Who took it"
                        input name=(TAKEN_BY) required minlength="3" maxlength="100"
                            autocomplete="off" list="staff" value=(typed_in(TAKEN_BY));
                    }
                    (people(index.home()))
                    label { "Remark, if there is one"
                        textarea name=(REMARK) rows="2" minlength="3" maxlength="500" {
                            (typed_in(REMARK))
                        }
                    }
                    div.inline {
                        button.main { "Read it back" }
                        a.button href=(path) { "Leave it" }
                    }
                }
            }
        },
    )
}

fn people(home: &Home) -> Markup {
    html! {
        datalist id="staff" {
            @for it in home.aides.iter().chain(&home.nurses) {
                option value=(staff(it)) {}
            }
        }
    }
}

/// A reading read back, to be stored by a yes.
pub fn read_back(
    session: &Session,
    index: &Index,
    (resident, it): (&Resident, &Proposed),
    (outcome, typed): (&Outcome, &Fields),
    now: Now<'_>,
) -> Markup {
    let path = resident_path(&resident.id);
    let sign = it.measurement.sign();
    page(
        session,
        Place::Residents,
        &format!(
            "Is this right? {} of {}",
            capital(sign.name()),
            resident.name
        ),
        &html! {
            p.trail { (identified_link(index, &resident.id)) }
            div.head { h1 { "Is this right?" } p { "Nothing is stored yet." } }
            (outcome.banner())
            section.card {
                dl {
                    dt { "Resident" }
                    dd { (identified_link(index, &resident.id)) }
                    dt { (capital(sign.name())) }
                    dd { b { (value(&it.measurement)) } " " (how(&it.measurement)) }
                    dt { "Taken" }
                    dd { (moment(it.at, now)) ", by " (it.taken_by) }
                    dt { "Kept with" }
                    dd { (kept_with(index, it, now)) }
                    @if let Some(remark) = &it.remark { dt { "Remark" } dd { (remark) } }
                    dt { "Entered by hand" }
                    dd { "by " (staff(&session.user.staff)) }
                    dt { "Read back" }
                    dd { q { (it.read_back.text()) } }
                }
                (will_raise(&it.raises))
                @for caution in &it.against { p.flag { (caution.say) } }
                form method="post" action={ (path) "/enter" } {
                    (token(session))
                    (carried(typed))
                    input type="hidden" name=(SHOWN) value=(it.read_back.text());
                    @if !it.against.is_empty() {
                        label { "Why it was taken so all the same"
                            textarea name=(WENT_ON) rows="2" minlength="3" maxlength="500" required {
                                (typed.get(WENT_ON))
                            }
                        }
                    }
                    @if it.unlikely { (looked_again(typed.get(LOOKED_AGAIN) == "on")) }
                    div.inline { button.main { "Yes, store it" } }
                }
                form.inline method="post" action={ (path) "/read-back" } {
                    (token(session))
                    (carried(typed))
                    input type="hidden" name="again" value="on";
                    button { "No, change it" }
                    a.button href=(path) { "Leave it" }
                }
            }
        },
    )
}

/// Where it will be found again.
fn kept_with(index: &Index, it: &Proposed, now: Now<'_>) -> Markup {
    let round = it.round.and_then(|it| index.round(it));
    html! {
        @match round {
            Some(round) => {
                "the round of " (moment(round.opened, now)) ", " (round.by.name)
                @if !round.signed.is_empty() { ", which is then to be signed again" }
            },
            None => "its shift: no round that is known here went on then",
        }
    }
}

/// What was typed goes along unseen, but for what this page asks for itself.
fn carried(typed: &Fields) -> Markup {
    let own = ["csrf", "again", WENT_ON, LOOKED_AGAIN, SHOWN];
    html! {
        @for (name, value) in typed.all().filter(|(name, _)| !own.contains(name)) {
            input type="hidden" name=(name) value=(value);
        }
    }
}

fn will_raise(raises: &[Raised]) -> Markup {
    let mut of: Vec<&str> = raises.iter().map(about).collect();
    of.dedup();
    html! {
        @if !of.is_empty() {
            p.flag { "It will be on the worklist as an open report: " (of.join(", ")) "." }
        }
    }
}

/// A move read back, to be stored by a yes.
pub fn read_move(
    session: &Session,
    index: &Index,
    (entry, it): (&Entry, &ToMove),
    (outcome, typed): (&Outcome, &Fields),
    now: Now<'_>,
) -> Markup {
    let sign = entry.measurement.sign();
    let to = it.read_back.resident();
    page(
        session,
        Place::Elsewhere,
        &format!("Is this right? {} to be moved", capital(sign.name())),
        &html! {
            p.trail { (identified_link(index, index.resident_of(entry))) }
            div.head { h1 { "Is this right?" } p { "Nothing is stored yet." } }
            (outcome.banner())
            section.card {
                dl {
                    dt { (capital(sign.name())) }
                    dd { b { (value(&entry.measurement)) } " " (how(&entry.measurement)) }
                    dt { "Measured" }
                    dd { (moment(entry.measured_at, now)) }
                    dt { "Stored by" }
                    dd { (staff(index.recorder_of(entry))) }
                    dt { "Moved from" }
                    dd { (identified_link(index, index.resident_of(entry))) }
                    dt { "Moved to" }
                    dd { b { (identified_link(index, to)) } }
                    dt { "Read back" }
                    dd { q { (it.read_back.text()) } }
                }
                p.soft { "It is retracted with the first and stored with the second, both or neither. \
                     It stays visible with the first, marked, and no longer counts there. What it \
                     raised there is withdrawn." }
                (will_raise(&it.raises))
                form method="post" action={ "/readings/" (entry.id) "/move" } {
                    (token(session))
                    input type="hidden" name="seen" value=(typed.get("seen"));
                    input type="hidden" name=(TO) value=(to.0);
                    input type="hidden" name=(SHOWN) value=(it.read_back.text());
                    @if it.unlikely { (looked_again(typed.get(LOOKED_AGAIN) == "on")) }
                    div.inline {
                        button.main { "Yes, move it" }
                        a.button href={ "/readings/" (entry.id) } { "Leave it where it is" }
                    }
                }
            }
        },
    )
}

/// The form on a resident's page that begins with the vital sign.
pub fn begin(path: &str, outcome: &Outcome) -> Markup {
    html! {
        details open[outcome.refused(Form::Enter)] {
            summary { "Enter a reading from paper" }
            form method="get" action={ (path) "/enter" } {
                (super::acting::choice(SIGN, outcome.typed(Form::Enter, SIGN),
                    VitalSign::ALL.map(|it| (it.tag(), it.name().to_owned()))))
                p.soft { "For what was written down because the recorder was broken, or was taken by \
                     somebody else. It is marked as entered by hand, in your name." }
                button.main { "Next" }
            }
        }
    }
}
