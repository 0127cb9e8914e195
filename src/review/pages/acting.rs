//! What forms have in common: the token, what was typed, and how it went.

use maud::{Markup, html};

use crate::review::accounts::Role;
use crate::review::acts::NotDone;
use crate::review::fields::Fields;
use crate::review::sessions::Session;

/// How the last act went, and what was typed when it did not go well.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Outcome {
    /// What was done, as a word of the address.
    pub done: String,
    /// Why it was not done.
    pub problem: Option<NotDone>,
    /// Which form it was.
    pub of: Option<Form>,
    /// What was typed into it.
    pub typed: Fields,
}

/// A form on a page with several.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Acknowledges a report.
    Acknowledge,
    /// Corrects a reading.
    Correct,
    /// Decides between corrections made apart.
    Decide,
    /// Retracts a reading.
    Retract,
    /// Adds a remark.
    Note,
    /// Sets a range.
    Range,
    /// Withdraws a range.
    WithdrawRange,
    /// Asks for a recheck.
    Recheck,
    /// Withdraws a recheck.
    WithdrawRecheck,
    /// Signs a round.
    Sign,
    /// Enters a reading by hand.
    Enter,
    /// Moves a reading to the right resident.
    Move,
    /// Corrects when a reading was measured.
    Time,
}

impl Form {
    /// The word in the address after it was done.
    #[must_use]
    pub const fn done(self) -> &'static str {
        match self {
            Self::Acknowledge => "acknowledged",
            Self::Correct => "corrected",
            Self::Decide => "decided",
            Self::Retract => "retracted",
            Self::Note => "noted",
            Self::Range => "range",
            Self::WithdrawRange => "range-withdrawn",
            Self::Recheck => "recheck",
            Self::WithdrawRecheck => "recheck-withdrawn",
            Self::Sign => "signed",
            Self::Enter => "entered",
            Self::Move => "moved",
            Self::Time => "time",
        }
    }
}

impl Outcome {
    /// The outcome that an address tells.
    #[must_use]
    pub fn told(fields: &Fields) -> Self {
        Self {
            done: fields.get("done").to_owned(),
            ..Self::default()
        }
    }

    /// Whether this form was sent and refused: it stays open.
    #[must_use]
    pub fn refused(&self, form: Form) -> bool {
        self.of == Some(form)
    }

    /// What was typed into a form, if it is the one that was refused.
    #[must_use]
    pub fn typed(&self, form: Form, field: &str) -> &str {
        if self.refused(form) {
            self.typed.get(field)
        } else {
            ""
        }
    }

    /// How it went, at the top of the page.
    pub(super) fn banner(&self) -> Markup {
        let said = match self.done.as_str() {
            "acknowledged" => "The report is acknowledged.",
            "corrected" => "The correction is recorded; what was recorded before stays visible.",
            "decided" => "It is decided, and holds on every recorder as soon as it is there.",
            "retracted" => "The reading is retracted and no longer counts; it stays visible.",
            "noted" => "The note is recorded.",
            "range" => "The range is set and in force from today.",
            "range-withdrawn" => "The range is withdrawn; the home\u{2019}s is in force again.",
            "recheck-withdrawn" => {
                "The recheck is withdrawn; an aide who has not heard of it yet will not."
            }
            "recheck" => "The recheck is asked for; the aide hears of it at the next visit.",
            "signed" => "The round is signed.",
            "entered" => "The reading is stored, marked as entered by hand.",
            "time" => "The time is corrected; what was recorded before stays visible.",
            "moved" => {
                "The reading is moved: it no longer counts here, and stands with the right resident."
            }
            _ => "",
        };
        html! {
            @if let Some(problem) = &self.problem {
                p.problem role="alert" {
                    @if let NotDone::Refused(_) = problem { b { "Nothing was stored. " } }
                    (problem)
                }
            } @else if !said.is_empty() {
                p.told role="status" { (said) }
            }
        }
    }
}

/// Whether forms are shown at all.
pub fn may_act(session: &Session) -> bool {
    may_take(session) && session.takes_acts
}

/// Whether readings may be taken along as files.
pub fn may_take(session: &Session) -> bool {
    session.user.role == Role::Nurse
}

/// Leads to the forms, which are far down a small page and behind many links: on a wide one,
/// where they are in sight, only keys come to it.
pub fn to_act() -> Markup {
    html! { a.button.to-act href="#act" { "Act" } }
}

/// The hidden field that every form brings back.
pub fn token(session: &Session) -> Markup {
    html! { input type="hidden" name="csrf" value=(session.csrf); }
}

/// The field for what an act is about: one of these, each with what it is called. None is
/// chosen beforehand.
pub fn choice(
    name: &str,
    typed: &str,
    all: impl IntoIterator<Item = (&'static str, String)>,
) -> Markup {
    html! {
        label { "Of"
            select name=(name) required {
                option value="" { "choose" }
                @for (value, called) in all {
                    option value=(value) selected[typed == value] { (called) }
                }
            }
        }
    }
}

/// The field for a reason.
pub fn reason(label: &str, name: &str, typed: &str) -> Markup {
    html! {
        label { (label)
            textarea name=(name) rows="2" minlength="3" maxlength="500" required { (typed) }
        }
    }
}
