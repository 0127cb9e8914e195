//! What a database finds out about its own file.

use std::path::Path;

use rusqlite::Connection;

use super::check::about;
use super::report::{Finding, What};
use super::wal::newer_pages;

/// How often a database is looked through before a page is called damaged.
const LOOKS: usize = 3;

/// What the database finds out about itself, page by page.
///
/// Pages are read past all locks and past the log: one that another process is
/// writing looks damaged then, and whole a moment later. What is damaged is so each
/// time, and not only because its newest copy is still in the log.
pub(super) fn damage(connection: &Connection, encrypted: bool) -> rusqlite::Result<Vec<Finding>> {
    let mut found = problems(connection, encrypted)?;
    for _ in 1..LOOKS {
        if found.is_empty() {
            break;
        }
        let again = problems(connection, encrypted)?;
        found.retain(|it| again.contains(it));
    }
    let finding = |problem| about(None, None, What::File { problem });
    Ok(found.into_iter().map(finding).collect())
}

fn problems(connection: &Connection, encrypted: bool) -> rusqlite::Result<Vec<String>> {
    let mut found = Vec::new();
    let pragmas = [
        "PRAGMA cipher_integrity_check",
        "PRAGMA integrity_check(20)",
    ];
    for pragma in &pragmas[usize::from(!encrypted)..] {
        let mut ask = connection.prepare(pragma)?;
        let lines = ask.query_map([], |row| row.get::<_, String>(0))?;
        for problem in lines {
            found.push(problem?);
        }
    }
    found.retain(|it| it != "ok");
    // The log can be long, and is seldom needed.
    if let Some(path) = connection.path()
        && found.iter().any(|it| of_page(it).is_some())
    {
        let newer = newer_pages(Path::new(path));
        found.retain(|it| of_page(it).is_none_or(|page| !newer.contains(&page)));
    }
    Ok(found)
}

/// The page that a problem is about, where it is about the file as it lies there.
fn of_page(problem: &str) -> Option<u32> {
    let page = problem.strip_prefix("HMAC verification failed for page ")?;
    page.parse().ok()
}
