//! The bedside screen: a page on this machine that shows the round as it goes,
//! readable at two metres, and takes answers by hand.
//!
//! [`View`] is what it shows; [`Bedside`] is a [`crate::round::Screen`] that
//! keeps it; [`app`] is the page. Where the page is on a tablet, [`Tablet`] is its
//! microphone and loudspeaker.

mod choices;
mod hand;
mod key;
mod page;
mod screen;
mod server;
mod tablet;
mod view;

pub use choices::Choice;
pub use key::key_in;
pub use screen::Bedside;
pub use server::{KEY_COOKIE, Link, Place, TOUCHES, app, open};
pub use tablet::Tablet;
pub use view::{Doing, HeardLine, Kept, Kind, Person, Report, Timer, View, Waiting};
