//! Sayback: an offline, hands-free voice recorder for a vital-signs round.
//!
//! The path of a spoken word through the folders: [`hearing`] turns sound into
//! words, with the phrases of [`grammar`]; [`understanding`] turns words into
//! claims about [`vitals`]; [`speaking`] says what is to be said back.
//! [`residents`] are the people it is about.

pub mod dialogue;
pub mod facts;
pub mod grammar;
pub mod hearing;
pub mod residents;
pub mod speaking;
pub mod understanding;
pub mod vitals;
