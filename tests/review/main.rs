//! The nurse's station, from outside: over HTTP, and in a browser.

mod acting;
mod browser;
mod door;
mod made;
mod pages;
mod site;
