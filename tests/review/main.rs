//! The nurse's station, from outside: over HTTP, and in a browser.

mod acting;
mod door;
mod made;
mod site;
