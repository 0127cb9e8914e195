//! Out to the chart, and in from it.
//!
//! Everything here is a fold over the facts and the home: [`Chart`] gathers what
//! belongs to each reading, and the others write it down:
//!
//! | module | what it writes |
//! |---|---|
//! | [`fhir`] | FHIR R4 Observations and Patients, as Bundles and NDJSON |
//! | [`post`] | the same as transactions, to the home's own FHIR server |
//! | [`csv`] | one reading a line, for a spreadsheet |
//! | [`sheet`] and [`summary`] | pages to print |
//! | [`import`] | residents from FHIR Patients, the only way in |
//!
//! Only [`post`] touches the network, and only the address it is given.

mod chart;
pub mod csv;
pub mod fhir;
pub mod import;
mod page;
pub mod post;
pub mod sheet;
pub mod summary;
mod words;

pub use page::{STYLE, Style};

pub use chart::{
    Act, Cause, Change, Chart, Entry, Flag, Missed, Note, Remark, Retaken, Round, Selection,
    Unconfirmed,
};
