//! The nurse's station: pages for a browser, made from the record.
//!
//! Everything shown is a fold over facts ([`index`]); everything a nurse does
//! appends facts ([`acts`]). [`accounts`] and [`sessions`] say who is who.

pub mod accounts;
pub mod acts;
mod away;
mod certificate;
mod compared;
pub mod export;
pub mod fields;
pub mod index;
mod ledger;
mod listen;
mod now;
mod pages;
pub mod sessions;
mod signing;
mod station;
mod trend;
mod web;
pub mod worklist;

pub use certificate::{Certificate, Validity, Whose, validity};
pub use ledger::{Arrival, Arrivals, Ledger, Recorder};
pub(crate) use listen::answer_apart;
pub use listen::{MOST_CONNECTIONS, serve};
pub use now::Now;
pub use signing::SinceSigned;
pub use station::Station;
pub use web::{FORM_COOKIE, LIVE, ROUTES, Who, app, session_cookie};
pub(crate) use web::{always, bounded, cookie, from_own_site, own_name, set_cookie};
