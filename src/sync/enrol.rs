//! Beginning a home, and letting recorders and stations in and out.

use chrono::{DateTime, Utc};
use postgres::Client;
use postgres_protocol::password::scram_sha_256;

use super::error::beginning;
use super::link::Password;
use super::{HomeRecord, Link, MemberKind, SyncError};
use crate::store::hex;
use crate::vitals::{LONGEST_TEXT, too_long};

/// Where the database is for those who are enrolled.
#[derive(Debug, Clone)]
pub struct Address {
    /// Name or address, as in its certificate.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// The database.
    pub database: String,
    /// Certificates of its authority, PEM.
    pub ca: String,
}

/// A member of a home.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Member {
    /// What people call it.
    pub label: String,
    /// What it may do: "recorder", "station" or "keeper".
    pub kind: String,
    /// Its login.
    pub role: String,
    /// When it was enrolled.
    pub enrolled: DateTime<Utc>,
    /// When it was cut off.
    pub revoked: Option<DateTime<Utc>>,
    /// When something of it arrived last.
    pub last_sent: Option<DateTime<Utc>>,
}

/// As the table has it.
fn is_short_name(id: &str) -> Result<(), SyncError> {
    let letter = |it: char| it.is_ascii_lowercase() || it.is_ascii_digit();
    let right =
        id.len() <= 40 && id.starts_with(letter) && id.chars().all(|it| letter(it) || it == '-');
    right.then_some(()).ok_or_else(|| {
        SyncError::Setup(format!(
            "\"{id}\" is no short name: small letters, digits and hyphens, 40 at most, such as \
             alder-ridge"
        ))
    })
}

/// As long as one in a home's file may be.
fn is_name(name: &str) -> Result<(), SyncError> {
    if name.trim().is_empty() {
        return Err(SyncError::Setup("the home's name is missing".to_owned()));
    }
    if too_long(name) {
        let why = format!("the home's name is too long; {LONGEST_TEXT} characters at most");
        return Err(SyncError::Setup(why));
    }
    Ok(())
}

/// What enrolment does: a password that is new, and the link that has it.
fn enrolled(
    kind: MemberKind,
    label: &str,
    home: &str,
    address: &Address,
    make: impl FnOnce(&str) -> Result<String, SyncError>,
) -> Result<Link, SyncError> {
    if !(1..=60).contains(&label.chars().count()) {
        let why = "a label has 1 to 60 letters: it is what people call the machine";
        return Err(SyncError::Setup(why.to_owned()));
    }
    let mut random = [0; 32];
    getrandom::fill(&mut random).map_err(|error| SyncError::Database(error.to_string()))?;
    let password = hex(&random);
    // The server and its log never see the password.
    let role = make(&scram_sha_256(password.as_bytes()))?;
    Ok(Link {
        home: home.to_owned(),
        kind,
        label: label.to_owned(),
        host: address.host.clone(),
        port: address.port,
        database: address.database.clone(),
        role,
        password: Password(password),
        ca: address.ca.clone(),
    })
}

/// Makes the tables where there are none, or brings their functions and rights up
/// to date; and a home where there is none of this identifier. Whoever does so must
/// be the database's superuser, or its owner with the right to make roles. Returns
/// the link of a new keeper of the home, and whether the home is new.
///
/// # Errors
/// [`SyncError`]; nothing is changed.
pub fn init(
    client: &mut Client,
    (id, name): (&str, &str),
    keeper: &str,
    address: &Address,
) -> Result<(Link, bool), SyncError> {
    is_short_name(id)?;
    is_name(name)?;
    let mut transaction = client.transaction()?;
    transaction.batch_execute("SELECT pg_advisory_xact_lock(5399481)")?;
    transaction
        .batch_execute(super::SCHEMA)
        .map_err(beginning)?;
    transaction.batch_execute("SET LOCAL ROLE sayback_owner")?;
    let new = transaction.query_one("SELECT sayback.new_home($1, $2)", &[&id, &name])?;
    let new = new.get(0);
    let link = enrolled(MemberKind::Keeper, keeper, id, address, |verifier| {
        let make = "SELECT sayback.new_member($1, 'keeper', $2, $3)::text";
        let role = transaction.query_one(make, &[&id, &keeper, &verifier]);
        let role = role.map_err(|error| {
            already(
                error,
                keeper,
                "give this keeper another name with --label. A keeper whose file is lost is cut \
                 off by the new one (sayback home revoke)",
            )
        });
        Ok(role?.get(0))
    })?;
    transaction.commit()?;
    Ok((link, new))
}

impl HomeRecord {
    /// Enrols a recorder, a station or another keeper: makes a login for it alone.
    /// Only a keeper may.
    ///
    /// # Errors
    /// [`SyncError`]; nobody is enrolled.
    pub fn enrol(&mut self, kind: MemberKind, label: &str) -> Result<Link, SyncError> {
        let link = self.link().clone();
        let address = Address {
            host: link.host,
            port: link.port,
            database: link.database,
            ca: link.ca,
        };
        let client = self.client()?;
        enrolled(kind, label, &link.home, &address, |verifier| {
            let enrol = "SELECT sayback.enrol($1, $2, $3)::text";
            let role = client.query_one(enrol, &[&kind.name(), &label, &verifier]);
            let role = role.map_err(|error| {
                already(
                    error,
                    label,
                    "cut it off first (sayback home revoke), or take another label",
                )
            });
            Ok(role?.get(0))
        })
    }

    /// Cuts off whoever is enrolled under this label, at once, also where a
    /// connection is open. What it sent stays. Returns how many connections were
    /// ended.
    ///
    /// # Errors
    /// [`SyncError`].
    pub fn revoke(&mut self, label: &str) -> Result<u64, SyncError> {
        let client = self.client()?;
        client.query_one("SELECT sayback.revoke($1)", &[&label])?;
        // After the commit, so that none comes back.
        let ended = client.query_one("SELECT sayback.end_sessions_of_revoked()", &[])?;
        Ok(ended.get::<_, i64>(0).unsigned_abs())
    }

    /// Everyone who is or was enrolled.
    ///
    /// # Errors
    /// [`SyncError`].
    pub fn members(&mut self) -> Result<Vec<Member>, SyncError> {
        let rows = self.twice(|client, _| {
            let members = "SELECT label, kind, role::text, enrolled_at, revoked_at, last_sent \
                FROM sayback.members()";
            Ok(client.query(members, &[])?)
        })?;
        let members = rows.iter().map(|row| Member {
            label: row.get(0),
            kind: row.get(1),
            role: row.get(2),
            enrolled: row.get(3),
            revoked: row.get(4),
            last_sent: row.get(5),
        });
        Ok(members.collect())
    }
}

fn already(error: postgres::Error, label: &str, what_to_do: &str) -> SyncError {
    let unique = postgres::error::SqlState::UNIQUE_VIOLATION;
    if error.code() != Some(&unique) {
        return error.into();
    }
    SyncError::Setup(format!("\"{label}\" is enrolled already: {what_to_do}"))
}
