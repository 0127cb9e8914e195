//! Sayback: an offline, hands-free voice recorder for a vital-signs round.
//!
//! The path of a spoken word through the folders:
//!
//! | folder | what it does |
//! |---|---|
//! | [`hearing`] | sound becomes words, with the phrases of [`grammar`] |
//! | [`understanding`] | words become claims about [`vitals`], or a reason to ask |
//! | [`dialogue`] | claims are read back and confirmed, and become [`facts`] |
//! | [`store`] | facts are appended to the record and never changed |
//! | [`speaking`] | what is to be said back, and its sound |
//! | [`sync`] | facts of several recorders come together in one home |
//!
//! [`card`] prints what can be said. [`round`] joins them, for a rehearsal or a live microphone; [`bedside`] shows a
//! round on a screen, and takes answers by hand; [`residents`] are
//! the people it is about, and [`devices`] the microphones and loudspeakers;
//! [`metrics`] say what the machine does.
//! Understanding, dialogue and vitals are pure: time comes in as a value.

// What the tests share names this crate as they do, from inside it as well.
#[cfg(test)]
extern crate self as sayback;

pub mod bedside;
pub mod card;
pub mod devices;
pub mod dialogue;
pub mod facts;
pub mod grammar;
pub mod hearing;
pub mod metrics;
pub mod residents;
pub mod review;
pub mod round;
pub mod speaking;
pub mod store;
pub mod sync;
pub mod understanding;
pub mod vitals;
