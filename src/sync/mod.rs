//! Several recorders, one home: the home's record in `PostgreSQL`.
//!
//! Each recorder works on its own record and sends what it recorded when it can
//! reach the home ([`HomeRecord::put`]: in any order, twice if need be). Facts have
//! identifiers of their own and are never changed, so there is nothing to merge.
//! `schema.sql` says who may do what; `docs/home.md` says it in words.

mod admin;
mod check;
mod connect;
mod enrol;
mod error;
mod exchange;
mod files;
mod home_record;
mod ledger;
mod link;
mod linked;
mod settings;
mod status;

pub use admin::Environment;
pub use connect::certificate_of_home;
pub use enrol::{Address, Member, init};
pub use error::{SyncError, Trouble};
pub use exchange::{Exchange, Moved};
pub use files::{Files, limits_of, replace, usable};
pub use home_record::{HomeRecord, Sent};
pub use ledger::HomeLedger;
pub use link::{Link, MemberKind, Password};
pub use linked::{Linked, send_once};
pub use settings::{Replaced, Setting, Version};
pub use status::{LinkStatus, SentAs, read_status};

/// The tables, functions and rights of a database for homes.
pub const SCHEMA: &str = include_str!("schema.sql");
/// The version of the tables.
const FORM: i32 = 1;
