//! The bedside screen, from outside: over HTTP, and in a browser.

#[path = "../browser/mod.rs"]
mod browser;
mod certificate;
#[path = "../certified/mod.rs"]
mod certified;
#[path = "../crowd/mod.rs"]
mod crowd;
mod door;
mod look;
mod rig;
mod round;
#[path = "../sound/mod.rs"]
mod sound;
mod tablet;
