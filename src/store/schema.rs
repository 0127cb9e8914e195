//! The tables, and how a record of an older form becomes one of this form.

use rusqlite::{Connection, Transaction};

use super::chain::{Columns, Head};

/// Marks the file as a Sayback record (SQLite's `application_id`; "Sayb").
pub(super) const APPLICATION: i32 = 0x5361_7962;

/// The version of the tables and of the facts. Form 1 had no chain, form 2 nothing to find
/// facts by but their place and identifier, form 3 no blood pressure without a diastolic, form 4
/// none at a wrist or forearm: a version that knows none refuses the record, and does not call
/// it damaged.
pub(super) const SCHEMA: i32 = 5;

/// From this form on, facts are chained.
pub(super) const CHAINED: i32 = 2;

/// From this form on, facts are found by round and resident, and those that came from the
/// home are known.
pub(super) const FOUND: i32 = 3;

/// Whom a fact is about, if it is about one resident. What is no JSON, because
/// something else put it there, is about nobody.
pub(super) const RESIDENT: &str =
    "CASE WHEN json_valid(fact) THEN json_extract(fact, '$.resident') END";

/// What facts are found by, and which of them came from the home and are not
/// sent back there. The resident is worked out from the fact and so cannot
/// contradict it; the chain covers the fact.
fn find_by() -> String {
    format!(
        "ALTER TABLE facts ADD COLUMN resident TEXT GENERATED ALWAYS AS ({RESIDENT}) VIRTUAL;
         CREATE INDEX facts_of_round ON facts (round);
         CREATE INDEX facts_about ON facts (resident);
         CREATE TABLE came (seq INTEGER PRIMARY KEY) STRICT;"
    )
}

const FACTS: &str = "
    CREATE TABLE facts (
        seq   INTEGER PRIMARY KEY AUTOINCREMENT,
        id    TEXT NOT NULL UNIQUE,
        round TEXT NOT NULL,
        at    TEXT NOT NULL,
        kind  TEXT NOT NULL,
        fact  TEXT NOT NULL,
        chain BLOB
    ) STRICT;
";

const HEAD: &str = "
    CREATE TABLE head (
        one          INTEGER PRIMARY KEY CHECK (one = 1),
        seq          INTEGER NOT NULL,
        hash         BLOB NOT NULL,
        chained_from INTEGER NOT NULL
    ) STRICT;
";

/// The record refuses changes, whoever asks: these are named in a check when
/// one is gone.
pub(super) const GUARDS: [(&str, &str); 3] = [
    (
        "facts_never_change",
        "CREATE TRIGGER facts_never_change BEFORE UPDATE ON facts
    BEGIN SELECT RAISE(ABORT, 'facts are never changed; append a correction'); END",
    ),
    (
        "facts_never_replaced",
        "CREATE TRIGGER facts_never_replaced BEFORE INSERT ON facts
    WHEN EXISTS (SELECT 1 FROM facts WHERE id = NEW.id OR seq = NEW.seq)
    BEGIN SELECT RAISE(ABORT, 'facts are never changed; append a correction'); END",
    ),
    (
        "facts_never_go",
        "CREATE TRIGGER facts_never_go BEFORE DELETE ON facts
    BEGIN SELECT RAISE(ABORT, 'facts are never deleted; append a retraction'); END",
    ),
];

/// Makes the tables of an empty record.
pub(super) fn make(making: &Transaction<'_>) -> rusqlite::Result<()> {
    making.execute_batch(FACTS)?;
    making.execute_batch(HEAD)?;
    making.execute_batch(&find_by())?;
    for (_, guard) in GUARDS {
        making.execute_batch(guard)?;
    }
    Head::new(1).write(making)?;
    making.pragma_update(None, "application_id", APPLICATION)?;
    making.pragma_update(None, "user_version", SCHEMA)
}

/// From an older form to this one. All of it or nothing.
pub(super) fn raise(upgrade: &Transaction<'_>, from: i32) -> rusqlite::Result<()> {
    if from < CHAINED {
        chain(upgrade)?;
    }
    if from < FOUND {
        upgrade.execute_batch(&find_by())?;
    }
    upgrade.pragma_update(None, "user_version", SCHEMA)
}

/// From form 1 to form 2: every fact gets its link.
fn chain(upgrade: &Transaction<'_>) -> rusqlite::Result<()> {
    upgrade.execute_batch("DROP TRIGGER IF EXISTS facts_never_change")?;
    upgrade.execute_batch("ALTER TABLE facts ADD COLUMN chain BLOB")?;
    upgrade.execute_batch(HEAD)?;
    let last: i64 = upgrade.query_row("SELECT coalesce(max(seq), 0) FROM facts", [], |it| {
        it.get(0)
    })?;
    let mut head = Head::new(last + 1);
    {
        let mut select = upgrade.prepare(
            "SELECT seq, id, round, at, kind, fact FROM facts WHERE seq > ? ORDER BY seq LIMIT 1",
        )?;
        let mut update = upgrade.prepare("UPDATE facts SET chain = ? WHERE seq = ?")?;
        // By place and not with one cursor, which would walk what it changes.
        loop {
            let mut rows = select.query([head.seq])?;
            let Some(row) = rows.next()? else { break };
            head.follow(&Columns::of(row)?);
            drop(rows);
            update.execute(rusqlite::params![head.hash, head.seq])?;
        }
    }
    upgrade.execute_batch(GUARDS[0].1)?;
    head.write(upgrade)
}

/// Guards that are not there as they should be.
pub(super) fn missing_guards(connection: &Connection) -> rusqlite::Result<Vec<&'static str>> {
    let mut found = connection.prepare(
        "SELECT count(*) FROM sqlite_schema WHERE type = 'trigger' AND name = ? AND sql = ?",
    )?;
    let mut missing = Vec::new();
    for (name, sql) in GUARDS {
        let there: i64 = found.query_row([name, sql], |row| row.get(0))?;
        if there == 0 {
            missing.push(name);
        }
    }
    Ok(missing)
}
