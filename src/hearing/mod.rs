//! Sound in, words out.

mod heard;

pub use heard::{Heard, UNKNOWN, Word};
