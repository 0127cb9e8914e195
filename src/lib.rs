//! Sayback: an offline, hands-free voice recorder for a vital-signs round.
//!
//! The path of a spoken word through the folders: [`hearing`] turns sound into
//! words.

pub mod grammar;
pub mod hearing;
pub mod residents;
pub mod understanding;
pub mod vitals;
