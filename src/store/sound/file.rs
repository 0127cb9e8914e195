//! The file itself.

use std::path::Path;

use chrono::{DateTime, TimeDelta};
use rusqlite::{Connection, Transaction, TransactionBehavior, params};
use uuid::Uuid;

use super::{LONGEST, SoundError, SoundPart, SoundReport, Stands, WhyGone};
use crate::facts::{Body, Fact, KeptReading, Time};
use crate::hearing::{RATE, Sound};
use crate::residents::KeptSound;
use crate::store::connect::{Look, look};
use crate::store::damage::damage;
use crate::store::error::plain;
use crate::store::key::Key;
use crate::store::{Found, OwnFile};

const FILE: OwnFile = OwnFile {
    application: 0x5361_7953,
    form: 1,
    tables: &[TABLE],
};
/// How often what must go is looked for.
const EVERY: TimeDelta = TimeDelta::minutes(5);
/// Samples are two bytes.
const WIDTH: usize = 2;

const TABLE: &str = "
    CREATE TABLE sounds (
        reading TEXT NOT NULL,
        part    TEXT NOT NULL,
        spoken  INTEGER NOT NULL,
        until   INTEGER NOT NULL,
        bytes   INTEGER NOT NULL,
        sound   BLOB,
        gone    INTEGER,
        why     TEXT,
        PRIMARY KEY (reading, part)
    ) STRICT;
    CREATE INDEX sounds_to_go ON sounds (gone, until, bytes);
";

/// The file of kept sound.
pub(in crate::store) struct Sounds {
    connection: Connection,
    settings: KeptSound,
    /// Facts up to here were looked at.
    seen: i64,
    /// When what must go is looked for next.
    next: Option<Time>,
}

impl Sounds {
    /// Opens the file, or makes it. Sound is never written unencrypted.
    pub(super) fn open(path: &Path, key: &Key, settings: KeptSound) -> Result<Self, SoundError> {
        let wrong = |problem: String| SoundError::File {
            path: path.to_owned(),
            problem,
        };
        if *key == Key::None || look(path).is_ok_and(|it| it == Look::Plain) {
            return Err(wrong("sound is only kept encrypted".to_owned()));
        }
        let connection = OwnFile::open(path, key).map_err(wrong)?;
        Self::on(connection, settings)
            .map_err(|it| wrong(plain(&it)))?
            .ok_or_else(|| wrong("it holds something else, or is of a newer Sayback".to_owned()))
    }

    fn on(connection: Connection, settings: KeptSound) -> rusqlite::Result<Option<Self>> {
        // No log that would keep what was deleted for a while: one file, and a
        // journal that goes with each change.
        connection.execute_batch(
            "PRAGMA secure_delete = ON; PRAGMA temp_store = MEMORY; PRAGMA journal_mode = DELETE;",
        )?;
        let found = FILE.prepare(&connection)?;
        if !matches!(found, Found::Own | Found::Nothing) {
            return Ok(None);
        }
        Ok(Some(Self {
            connection,
            settings,
            seen: 0,
            next: None,
        }))
    }

    /// Keeps, deletes or moves what belongs to facts that were just stored.
    /// Returns what went wrong with any of it.
    pub(super) fn follow(&self, facts: &[&Fact<KeptReading>]) -> Result<(), SoundError> {
        let concerned =
            |it: &&Fact<KeptReading>| matches!(it.body, Body::Read(_) | Body::Retracted { .. });
        if !facts.iter().any(concerned) {
            return Ok(());
        }
        // Synced once: "Kept." is said after it.
        let transaction = self.immediate()?;
        let done = self.follow_each(facts);
        transaction.commit()?;
        done
    }

    fn immediate(&self) -> rusqlite::Result<Transaction<'_>> {
        Transaction::new_unchecked(&self.connection, TransactionBehavior::Immediate)
    }

    fn follow_each(&self, facts: &[&Fact<KeptReading>]) -> Result<(), SoundError> {
        let mut done = Ok(());
        // A moved reading takes its sound along before the old one is retracted.
        for fact in facts {
            if let Body::Read(reading) = &fact.body
                && let Some(from) = &reading.record().moved_from
            {
                done = self.moved(from.reading, fact.id, fact.at).and(done);
            }
        }
        for fact in facts {
            let now = match &fact.body {
                Body::Read(reading) => self.keep(fact.id, reading),
                Body::Retracted { reading, .. } => {
                    self.let_go(*reading, fact.at, WhyGone::Retracted)
                }
                _ => continue,
            };
            done = now.and(done);
        }
        done
    }

    fn keep(&self, id: Uuid, reading: &KeptReading) -> Result<(), SoundError> {
        let record = reading.record();
        let parts = [
            (SoundPart::Reading, reading.sound(), record.spoken_at),
            (SoundPart::Yes, reading.yes_sound(), record.confirmed_at),
        ];
        for (part, sound, at) in parts {
            if let Some(sound) = sound {
                self.put(id, part, sound, at)?;
            }
        }
        Ok(())
    }

    fn put(&self, id: Uuid, part: SoundPart, sound: &Sound, at: Time) -> Result<(), SoundError> {
        let samples = sound.samples();
        if samples.len() > LONGEST * RATE as usize {
            let seconds = samples.len().div_ceil(RATE as usize);
            return Err(SoundError::TooLong { seconds });
        }
        let bytes: Vec<u8> = samples.iter().flat_map(|it| it.to_le_bytes()).collect();
        let length = i64::try_from(bytes.len()).unwrap_or(i64::MAX);
        let there = "SELECT coalesce(sum(bytes), 0) FROM sounds WHERE gone IS NULL";
        let mut there = self.connection.prepare_cached(there)?;
        let there: i64 = there.query_row([], |row| row.get(0))?;
        let megabytes = self.settings.megabytes;
        if there + length > i64::from(megabytes) * 1_000_000 {
            return Err(SoundError::Full { megabytes });
        }
        let until = at + TimeDelta::days(self.settings.days.into());
        self.connection
            .prepare_cached(
                "INSERT INTO sounds (reading, part, spoken, until, bytes, sound)
                 VALUES (?, ?, ?, ?, ?, ?)",
            )?
            .execute(params![
                id.to_string(),
                part.tag(),
                at.timestamp(),
                until.timestamp(),
                length,
                bytes
            ])?;
        Ok(())
    }

    /// Gives the sound of a reading to the one it was moved to. The yes does not
    /// go along: the move had one of its own.
    fn moved(&self, from: Uuid, to: Uuid, at: Time) -> Result<(), SoundError> {
        let (from, to, part) = (from.to_string(), to.to_string(), SoundPart::Reading.tag());
        let take = "UPDATE sounds SET reading = ? WHERE reading = ? AND part = ? AND gone IS NULL";
        let took = self.connection.execute(take, params![to, from, part])?;
        if took > 0 {
            let say = "INSERT INTO sounds (reading, part, spoken, until, bytes, gone, why)
                SELECT ?, part, spoken, until, 0, ?, ? FROM sounds WHERE reading = ? AND part = ?";
            let why = WhyGone::Moved.tag();
            let values = params![from, at.timestamp(), why, to, part];
            self.connection.execute(say, values)?;
        }
        Ok(())
    }

    fn let_go(&self, reading: Uuid, now: Time, why: WhyGone) -> Result<(), SoundError> {
        let mut go = self.connection.prepare_cached(
            "UPDATE sounds SET sound = NULL, bytes = 0, gone = ?, why = ?
             WHERE reading = ? AND gone IS NULL",
        )?;
        go.execute(params![now.timestamp(), why.tag(), reading.to_string()])?;
        Ok(())
    }

    /// Deletes what is over. Fewer days than when it was kept count at once;
    /// more do not: that is not what was said at the bedside.
    pub(super) fn let_go_on_time(&self, now: Time) -> Result<(), SoundError> {
        let days = i64::from(self.settings.days) * 24 * 3_600;
        let sooner = "UPDATE sounds SET until = spoken + ?1
            WHERE gone IS NULL AND until > spoken + ?1";
        self.connection.execute(sooner, [days])?;
        let go = "UPDATE sounds SET sound = NULL, bytes = 0, gone = ?1, why = ?2
            WHERE gone IS NULL AND until <= ?1";
        let values = params![now.timestamp(), WhyGone::Time.tag()];
        self.connection.execute(go, values)?;
        Ok(())
    }

    /// Deletes everything. Returns how many readings had a sound.
    pub(super) fn empty(&self) -> Result<i64, SoundError> {
        let count = "SELECT count(DISTINCT reading) FROM sounds WHERE gone IS NULL";
        let readings = self.connection.query_row(count, [], |row| row.get(0))?;
        self.connection.execute("DELETE FROM sounds", [])?;
        Ok(readings)
    }

    /// Whether it is time to look again for what must go. A clock that was set
    /// back is no reason to wait.
    pub(super) fn is_due(&self, now: Time) -> bool {
        self.next.is_none_or(|it| now >= it || it - now > EVERY)
    }

    /// Deletes what is over, and what belongs to retracted readings, whoever
    /// retracted them: `record` is where that stands.
    pub(super) fn sweep(&mut self, record: &Connection, now: Time) -> Result<(), SoundError> {
        let mut select = record.prepare_cached(
            "SELECT seq, json_extract(fact, '$.reading') FROM facts
             WHERE seq > ? AND kind = 'retracted' ORDER BY seq",
        )?;
        let last = "SELECT coalesce(max(seq), 0) FROM facts";
        let last: i64 = record.query_row(last, [], |row| row.get(0))?;
        let retracted = select.query_map([self.seen], |row| row.get::<_, Option<String>>(1))?;
        let transaction = self.immediate()?;
        for reading in retracted {
            if let Some(Ok(id)) = reading?.map(|it| it.parse()) {
                self.let_go(id, now, WhyGone::Retracted)?;
            }
        }
        self.let_go_on_time(now)?;
        transaction.commit()?;
        self.seen = last;
        self.next = Some(now + EVERY);
        Ok(())
    }

    pub(super) fn stands(
        &self,
        reading: Uuid,
        part: SoundPart,
        now: Time,
    ) -> Result<Option<Stands>, SoundError> {
        let time = |seconds: i64| {
            let at = DateTime::from_timestamp(seconds, 0).unwrap_or_default();
            at.with_timezone(now.offset())
        };
        let mut select = self.connection.prepare_cached(
            "SELECT spoken, until, gone, why FROM sounds WHERE reading = ? AND part = ?",
        )?;
        let mut rows = select.query(params![reading.to_string(), part.tag()])?;
        let Some(row) = rows.next()? else {
            return Ok(None);
        };
        let gone: Option<i64> = row.get(2)?;
        let why: Option<String> = row.get(3)?;
        Ok(Some(match gone {
            Some(at) => Stands::Gone {
                at: time(at),
                why: match why.as_deref() {
                    Some("retracted") => WhyGone::Retracted,
                    Some("moved") => WhyGone::Moved,
                    _ => WhyGone::Time,
                },
            },
            None => Stands::There {
                spoken: time(row.get(0)?),
                until: time(row.get(1)?),
            },
        }))
    }

    pub(super) fn samples(
        &self,
        reading: Uuid,
        part: SoundPart,
    ) -> Result<Option<Vec<i16>>, SoundError> {
        let mut select = self.connection.prepare_cached(
            "SELECT sound FROM sounds WHERE reading = ? AND part = ? AND gone IS NULL",
        )?;
        let mut rows = select.query(params![reading.to_string(), part.tag()])?;
        let Some(row) = rows.next()? else {
            return Ok(None);
        };
        let bytes: Vec<u8> = row.get(0)?;
        let samples = bytes.chunks_exact(WIDTH);
        let samples = samples.map(|it| i16::from_le_bytes([it[0], it[1]]));
        Ok(Some(samples.collect()))
    }

    pub(super) fn report(&self, now: Time) -> Result<SoundReport, SoundError> {
        if !damage(&self.connection, true)?.is_empty() {
            return Err(SoundError::Broken("the file is damaged".to_owned()));
        }
        let count = "SELECT count(DISTINCT reading), coalesce(sum(bytes), 0),
            count(DISTINCT CASE WHEN until <= ? THEN reading END)
            FROM sounds WHERE gone IS NULL";
        let report = self.connection.query_row(count, [now.timestamp()], |row| {
            Ok(SoundReport {
                readings: row.get(0)?,
                bytes: row.get(1)?,
                overdue: row.get(2)?,
            })
        });
        Ok(report?)
    }
}
