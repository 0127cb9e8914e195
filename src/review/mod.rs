//! What the nurse works with: folds over the facts.

pub mod export;
