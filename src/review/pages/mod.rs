//! The pages themselves: what is on them, and nothing of how they got there.

mod acting;
mod apart;
mod compared;
mod enter;
mod find;
mod layout;
mod lists;
mod measure;
mod on_paper;
mod parts;
mod people;
mod reading;
mod resident;
mod rounds;
mod sign_in;
mod sound;
mod trend;
mod worklist;

pub use acting::{Form, Outcome};
pub use enter::{enter, read_back, read_move};
pub use find::find;
pub use layout::problem;
pub use lists::residents;
pub use parts::resident_path;
pub use people::{NewCode, log, people};
pub use reading::{Behind, reading};
pub use resident::resident;
pub use rounds::{List, round, rounds, rounds_before};
pub use sign_in::{left_open, password, sign_in};
pub use sound::OfSound;
pub use trend::{span, trend};
pub use worklist::worklist;
