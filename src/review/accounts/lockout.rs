//! How long someone who typed wrong passwords has to wait.

use std::time::Duration;

use rusqlite::{Connection, OptionalExtension as _, params};

use crate::facts::Time;

/// Wrong tries in a row that cost nothing.
pub const FREE_TRIES: u32 = 4;

/// The longest wait. Not longer, since anyone who can reach the page can make
/// any name wait; an administrator can end it with a new code.
pub const LONGEST: Duration = Duration::from_secs(15 * 60);

/// How long tries are remembered after the wait: a day of them gives nothing away
/// that [`LONGEST`] does not.
const DAY: i64 = 24 * 60 * 60;
/// So many names at most, those that wait longest first: anyone who can reach the
/// page can make up names.
const MOST_NAMES: u32 = 10_000;

/// The wait after so many wrong tries in a row: none at first, then a minute,
/// and twice as long each further time, up to [`LONGEST`].
#[must_use]
pub fn lock_after(failed: u32) -> Duration {
    let Some(doublings) = failed.checked_sub(FREE_TRIES + 1) else {
        return Duration::ZERO;
    };
    let minutes = 1_u64.checked_shl(doublings).unwrap_or(u64::MAX);
    Duration::from_secs(minutes.saturating_mul(60)).min(LONGEST)
}

/// The table in which wrong tries are counted.
pub(crate) const TRIES: &str = "
    CREATE TABLE tries (
        login  TEXT PRIMARY KEY,
        failed INTEGER NOT NULL,
        until  INTEGER NOT NULL
    ) STRICT;
";

/// The wrong tries of each name, in a file that has the table [`TRIES`].
pub(crate) struct Tries<'a>(pub &'a Connection);

impl Tries<'_> {
    /// The seconds that someone still has to wait, if any.
    pub(crate) fn left(&self, login: &str, now: Time) -> rusqlite::Result<Option<i64>> {
        let (_, until) = self.of(login)?;
        let left = until - now.timestamp();
        Ok((left > 0).then_some(left))
    }

    /// One more wrong try. Returns how long to wait now.
    pub(crate) fn wrong(&self, login: &str, now: Time) -> rusqlite::Result<Duration> {
        let failed = self.of(login)?.0 + 1;
        let lock = lock_after(failed);
        let until = now.timestamp() + i64::try_from(lock.as_secs()).unwrap_or(0);
        self.0.execute(
            "INSERT INTO tries (login, failed, until) VALUES (?1, ?2, ?3)
             ON CONFLICT (login) DO UPDATE SET failed = ?2, until = ?3",
            params![login, failed, until],
        )?;
        self.prune(now)?;
        Ok(lock)
    }

    fn prune(&self, now: Time) -> rusqlite::Result<()> {
        let old = "DELETE FROM tries WHERE until < ?";
        self.0.execute(old, [now.timestamp() - DAY])?;
        let count = "SELECT count(*) > ? FROM tries";
        if self.0.query_row(count, [MOST_NAMES], |row| row.get(0))? {
            let most = "DELETE FROM tries WHERE login NOT IN
                (SELECT login FROM tries ORDER BY until DESC, failed DESC LIMIT ?)";
            // Some more, so that not every try from then on has to look for one.
            self.0.execute(most, [MOST_NAMES / 2])?;
        }
        Ok(())
    }

    /// The right one was typed, or a new one was given.
    pub(crate) fn forget(&self, login: &str) -> rusqlite::Result<()> {
        let sql = "DELETE FROM tries WHERE login = ?";
        self.0.execute(sql, [login]).map(drop)
    }

    fn of(&self, login: &str) -> rusqlite::Result<(u32, i64)> {
        let row = self
            .0
            .prepare_cached("SELECT failed, until FROM tries WHERE login = ?")?
            .query_row([login], |row| Ok((row.get(0)?, row.get(1)?)))
            .optional()?;
        Ok(row.unwrap_or_default())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wait_doubles_up_to_the_longest() {
        let waits: Vec<u64> = (0..12).map(|it| lock_after(it).as_secs()).collect();
        let expected = [0, 0, 0, 0, 0, 60, 120, 240, 480, 900, 900, 900];
        assert_eq!(waits, expected);
        assert_eq!(lock_after(u32::MAX), LONGEST);
    }

    #[test]
    fn made_up_names_do_not_fill_the_file() {
        let connection = crate::store::in_memory().unwrap();
        connection.execute_batch(TRIES).unwrap();
        let tries = Tries(&connection);
        let noon = Time::parse_from_rfc3339("2026-03-12T12:00:00-05:00").unwrap();
        for _ in 0..=FREE_TRIES {
            tries.wrong("imarlow", noon).unwrap();
        }
        for it in 0..MOST_NAMES + 10 {
            tries.wrong(&it.to_string(), noon).unwrap();
        }
        let names = || {
            let count = "SELECT count(*) FROM tries";
            let count = connection.query_row(count, [], |row| row.get::<_, u32>(0));
            count.unwrap()
        };
        assert!(names() < MOST_NAMES);
        assert_eq!(
            tries.left("imarlow", noon).unwrap(),
            Some(60),
            "who waits stays"
        );
        let later = noon + chrono::TimeDelta::hours(25);
        tries.wrong("pquist", later).unwrap();
        assert_eq!(names(), 1);
    }
}
