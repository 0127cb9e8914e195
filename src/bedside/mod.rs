//! The bedside screen: a page on this machine that shows the round as it goes,
//! readable at two metres, and takes answers by hand.
//!
//! [`View`] is what it shows; [`Bedside`] is a [`crate::round::Screen`] that
//! keeps it; [`app`] is the page.

mod choices;
mod hand;
mod page;
mod screen;
mod server;
mod view;

pub use choices::Choice;
pub use screen::Bedside;
pub use server::{KEY_COOKIE, Link, TOUCHES, app, open};
pub use view::{Doing, HeardLine, Kept, Kind, Person, Report, Timer, View, Waiting};
