//! The home's record as the nurse's station uses it: the home itself, its
//! residents and limits, is among what the database keeps.

use std::time::{Duration, Instant};

use postgres::Client;
use uuid::Uuid;

use super::connect::certificate_of_home;
use super::home_record::reading;
use super::{HomeRecord, Link, MemberKind, Setting, SyncError, Version};
use crate::facts::{ChainHead, Fact, Time};
use crate::residents::{Home, ResidentId};
use crate::review::acts::NewFact;
use crate::review::{Arrivals, Ledger, Recorder, Validity};
use crate::store::{Readable, StoreError, Stored};
use crate::vitals::HomeLimits;

/// How often the settings are looked at.
const SETTINGS: Duration = Duration::from_secs(5);
/// How often it is asked when something of each recorder arrived.
const RECORDERS: Duration = Duration::from_secs(20);

/// Which settings are in force: the version of each, 0 where there is none.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Versions {
    roster: i32,
    limits: i32,
}

/// A home's record, for a station.
pub struct HomeLedger {
    record: HomeRecord,
    known: Versions,
    looked: Option<Instant>,
    asked: Option<Instant>,
}

impl HomeLedger {
    /// Whether a link is a station's.
    ///
    /// # Errors
    /// [`SyncError::Refused`] says whose it is.
    pub fn serves(link: &Link) -> Result<(), SyncError> {
        if link.kind == MemberKind::Station {
            return Ok(());
        }
        let why = format!(
            "this link is a {}'s; enrol a station and give its link file",
            link.kind.name()
        );
        Err(SyncError::Refused { id: None, why })
    }

    /// Signs on as a station, and returns the home as it is now.
    ///
    /// # Errors
    /// [`SyncError`] says why it can't.
    pub fn open(link: &Link) -> Result<(Self, Home), SyncError> {
        Self::serves(link)?;
        let mut record = HomeRecord::open(link)?;
        let (known, home) = in_force(&mut record)?;
        let home = home.map_err(SyncError::Database)?;
        let looked = Some(Instant::now());
        let ledger = Self {
            record,
            known,
            looked,
            asked: None,
        };
        Ok((ledger, home))
    }

    /// After it was cut off nothing is known: the station has put all away.
    fn heed<T>(&mut self, read: Result<T, StoreError>) -> Result<T, StoreError> {
        if let Err(StoreError::CutOff(_)) = &read {
            (self.known, self.looked) = (Versions::default(), None);
            self.asked = None;
        }
        read
    }
}

impl Ledger for HomeLedger {
    fn facts_after(&mut self, seq: i64, most: usize) -> Result<Vec<Stored>, StoreError> {
        let facts = self.record.facts_after(seq, most);
        self.heed(facts)
    }

    fn append_at(&mut self, seq: i64, facts: &[&NewFact]) -> Result<bool, StoreError> {
        let appended = self.record.append_at(seq, facts);
        self.heed(appended)
    }

    fn fact(&mut self, id: Uuid) -> Result<Option<Fact>, StoreError> {
        self.record.fact(id)
    }

    fn facts_of_round(&mut self, round: Uuid) -> Result<Readable, StoreError> {
        self.record.facts_of_round(round)
    }

    fn facts_about(&mut self, resident: &ResidentId) -> Result<Readable, StoreError> {
        self.record.facts_about(resident)
    }

    fn head(&mut self) -> Result<Option<ChainHead>, StoreError> {
        self.record.head().map(Some)
    }

    /// A roster or limits that can't be read leave the home as it was.
    fn changed_home(&mut self) -> Result<Option<Home>, StoreError> {
        if self.looked.is_some_and(|it| it.elapsed() < SETTINGS) {
            return Ok(None);
        }
        let newest = self.record.twice(versions).map_err(reading);
        let newest = self.heed(newest)?;
        self.looked = Some(Instant::now());
        if newest == self.known {
            return Ok(None);
        }
        let (known, home) = in_force(&mut self.record).map_err(reading)?;
        self.known = known;
        if let Err(why) = &home {
            tracing::error!("{why}");
        }
        Ok(home.ok())
    }

    fn recorders(&mut self) -> Result<Option<Vec<Recorder>>, StoreError> {
        if self.asked.is_some_and(|it| it.elapsed() < RECORDERS) {
            return Ok(None);
        }
        let members = self.record.members().map_err(reading);
        let members = self.heed(members)?;
        self.asked = Some(Instant::now());
        let sending = members
            .into_iter()
            .filter(|it| it.kind == MemberKind::Recorder.name() && it.revoked.is_none());
        let recorders = sending.map(|it| Recorder {
            label: it.label,
            arrived: it.last_sent.map(|at| at.fixed_offset()),
        });
        Ok(Some(recorders.collect()))
    }

    fn certificate(&mut self, now: Time) -> Result<Option<Validity>, String> {
        let stands = certificate_of_home(self.record.link(), now);
        stands.map(Some).map_err(|it| it.to_string())
    }

    fn arrivals(&mut self, ids: &[Uuid]) -> Result<Arrivals, StoreError> {
        self.record.arrivals(ids)
    }
}

/// Their numbers alone: a roster is long, and changes seldom.
fn versions(client: &mut Client, link: &Link) -> Result<Versions, SyncError> {
    // On a connection that is still open one who was cut off sees no row, and no error.
    let mine: Option<String> = client.query_one("SELECT sayback.my_home()", &[])?.get(0);
    if mine.is_none() {
        return Err(SyncError::CutOff("it was cut off".to_owned()));
    }
    let newest = "SELECT name, max(version) FROM sayback.setting WHERE home = $1 GROUP BY name";
    let mut versions = Versions::default();
    for row in client.query(newest, &[&link.home])? {
        match row.get(0) {
            "roster" => versions.roster = row.get(1),
            "limits" => versions.limits = row.get(1),
            _ => {}
        }
    }
    Ok(versions)
}

/// The home as its newest settings say, or what is wrong with them.
fn in_force(record: &mut HomeRecord) -> Result<(Versions, Result<Home, String>), SyncError> {
    let roster = record.setting(Setting::Roster)?;
    let limits = record.setting(Setting::Limits)?;
    let number = |it: &Option<Version>| it.as_ref().map_or(0, |it| it.version);
    let known = Versions {
        roster: number(&roster),
        limits: number(&limits),
    };
    let home = || {
        let roster = roster.ok_or(
            "the home has no roster yet; its keeper puts one in force, see `sayback home --help`",
        )?;
        let mut home = Home::from_toml(&roster.text)
            .map_err(|error| format!("the home's roster, version {}: {error}", roster.version))?;
        if let Some(limits) = limits {
            let read = HomeLimits::parse(&limits.text, home.units);
            let read = read.map_err(|error| {
                format!("the home's limits, version {}, {error}", limits.version)
            })?;
            home.set_limits(&read);
        }
        Ok(home)
    };
    Ok((known, home()))
}
