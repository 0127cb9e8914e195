//! Sound in, words out.

mod heard;

pub use heard::{Alternative, Heard, RIVAL_WITHIN, UNKNOWN, Word};
