//! The nurse's station, from outside: over HTTP, and in a browser.

mod acting;
mod apart;
mod arrival;
mod away;
#[path = "../browser/mod.rs"]
mod browser;
mod by_hand;
mod clocks;
mod compared;
#[path = "../conversation/mod.rs"]
mod conversation;
#[path = "../crowd/mod.rs"]
mod crowd;
mod door;
mod find;
mod linked;
mod lists;
mod looked_at;
#[allow(
    clippy::format_push_string,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    reason = "made-up data; nothing here is hot or exact"
)]
mod made;
mod moved;
mod on_paper;
mod open;
mod pages;
mod palpated;
mod score;
mod shown;
mod signed;
mod site;
mod sound;
mod spoken;
mod time;
mod weights;
mod withdrawn;
