//! Sayback: an offline, hands-free voice recorder for a vital-signs round.
//!
//! The path of a spoken word through the folders: [`hearing`] turns sound into
//! words, and [`speaking`] words into sound; [`devices`] finds the microphone and
//! the loudspeaker.

pub mod devices;
pub mod hearing;
pub mod speaking;
