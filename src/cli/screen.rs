//! The bedside screen of a round, and the card.

use std::io::Write;
use std::time::Duration;

use sayback::bedside::{self, Bedside, Place};
use sayback::card;
use sayback::dialogue::{Dialogue, Event};
use sayback::facts::Time;
use sayback::grammar::Grammar;
use sayback::round::Pins;
use tokio::sync::mpsc;

use super::End;
use super::commands::{Message, finished};

/// How a rehearsal is watched.
pub struct Watched {
    pub quiet: bool,
    pub pace: Duration,
    pub screen: Option<Place>,
}

/// The page of a round, where one is wanted, and what is given on it by hand.
pub fn page(
    place: Option<Place>,
    dialogue: &Dialogue,
    at: Option<Time>,
    pins: Option<Pins>,
) -> Result<(Option<Bedside>, Option<mpsc::Receiver<Event>>), Message> {
    let Some(place) = place else {
        return Ok((None, None));
    };
    let (address, secure) = (place.address, place.certificate.is_some());
    let now = at.unwrap_or_else(|| chrono::Local::now().fixed_offset());
    let (page, touches, url) = bedside::open(place, dialogue, now, pins)?;
    if !secure && !address.ip().is_loopback() {
        anstream::eprintln!(
            "sayback: WARNING: {address} can be reached by other machines, and anyone on the network \
             can read what is sent. Whoever has the address below can answer."
        );
    }
    anstream::println!("The bedside screen is at {url}");
    Ok((Some(page), Some(touches)))
}

/// Prints the card of what can be said.
pub fn print_card(text: bool) -> Result<End, Message> {
    let card = card::card(&Grammar::standard());
    let card = if text {
        card::text(&card)
    } else {
        card::html(
            &card,
            &maud::html! { style { (maud::PreEscaped(card::STYLE)) } },
        )
        .into_string()
    };
    finished(write!(anstream::stdout(), "{card}"))
}
