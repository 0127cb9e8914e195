//! How a reading sounded, on its page.

use maud::{Markup, html};
use uuid::Uuid;

use super::parts::moment;
use crate::facts::ReadingRecord;
use crate::review::accounts::Role;
use crate::review::now::Now;
use crate::review::sessions::Session;
use crate::store::{Stands, WhyGone};

/// What is known of the sound of a reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OfSound {
    /// The home keeps none.
    Off,
    /// It is on the recorder on which it was spoken, and this is another machine.
    Elsewhere,
    /// It cannot be looked at; why.
    Broken(String),
    /// What became of that of the reading and that of the yes; none where none
    /// was ever kept.
    Known {
        /// Of the utterance that gave the value.
        reading: Option<Stands>,
        /// Of the yes.
        yes: Option<Stands>,
    },
}

/// The section.
pub fn sound(
    session: &Session,
    id: Uuid,
    record: &ReadingRecord,
    of: &OfSound,
    now: Now<'_>,
) -> Markup {
    let typed = |it: bool| {
        if it {
            "None: it was given by hand."
        } else {
            "None was kept."
        }
    };
    html! {
        section.card #sound {
            h2 { "How it sounded" }
            @match of {
                _ if record.by_hand.is_some() => { p.none { "None: it was entered by hand." } }
                OfSound::Off => { p.none { "Sound is not kept here." } }
                OfSound::Elsewhere => {
                    p.none { "Sound stays on the recorder on which it was spoken." }
                }
                OfSound::Broken(why) => { p { "It can\u{2019}t be played now: " (why) "." } }
                OfSound::Known { reading, yes } => {
                    @let parts = [
                        ("The reading", "sound", reading, record.given_by),
                        ("The yes", "sound-of-yes", yes, record.confirmed_by),
                    ];
                    dl {
                        @for (name, path, stands, by) in parts {
                            dt { (name) }
                            dd {
                                @match stands {
                                    None => { span.none { (typed(!by.is_voice())) } }
                                    Some(it) => (part(session, &format!("/readings/{id}/{path}"), name, *it, now)),
                                }
                            }
                        }
                    }
                    p.soft { "Others in the room may be heard in it." }
                }
            }
        }
    }
}

fn part(session: &Session, path: &str, name: &str, stands: Stands, now: Now<'_>) -> Markup {
    match stands {
        Stands::There { spoken, until } => html! {
            "As spoken " (moment(spoken, now)) ", kept until " (moment(until, now)) "."
            @if session.user.role == Role::Nurse {
                audio controls preload="none" src=(path)
                    aria-label={ (name) ", as spoken at " (now.shown(spoken).format("%H:%M")) } {}
            } @else {
                " " span.soft { "Nurses can listen to it." }
            }
        },
        Stands::Gone { at, why } => html! {
            "It was deleted " (moment(at, now))
            @match why {
                WhyGone::Time => ": its time was over.",
                WhyGone::Retracted => " with the reading, which was retracted.",
                WhyGone::Moved => " here: it went with the reading to the other record.",
            }
        },
    }
}
