//! Homes spread over several servers: each has all of a home, and none knows of the
//! others.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use sayback::sync::{HomeRecord, Link, MemberKind, Sent};
use uuid::Uuid;

use super::drive::{fact, sent};
use super::postgres_server::{Server, enrol};

/// What a server needs so that every statement on it is counted, those inside of
/// functions too.
pub const COUNTED: [(&str, &str); 2] = [
    ("shared_preload_libraries", "pg_stat_statements"),
    ("pg_stat_statements.track", "all"),
];

#[derive(Debug)]
pub struct Split {
    pub facts: usize,
    pub puts: Vec<Duration>,
    pub took: Duration,
    /// How many homes each server has facts of.
    pub homes: Vec<usize>,
    /// The statements that looked at facts, homes or settings, and how often.
    pub statements: BTreeMap<String, i64>,
    /// Those that do not say of which home.
    pub of_no_home: Vec<String>,
}

/// So many homes, one after the other on the next server, with recorders that each
/// record a day, `hands` at once.
///
/// # Panics
/// When a home's record is not whole in the end, or is not on its own server alone.
pub fn split(
    servers: &[&Server],
    (homes, recorders, times, of_resident): (usize, usize, usize, usize),
    hands: usize,
) -> Split {
    let databases: Vec<String> = servers.iter().map(|it| it.database()).collect();
    let keepers: Vec<Link> = (0..homes)
        .map(|it| {
            let on = it % servers.len();
            servers[on].home(&databases[on], &format!("home-{it}"))
        })
        .collect();
    let carts = (0..recorders).flat_map(|number| {
        let label = format!("cart {number}");
        keepers
            .iter()
            .map(move |keeper| enrol(keeper, MemberKind::Recorder, &label))
    });
    let links: Vec<Link> = carts.collect();
    for (server, database) in servers.iter().zip(&databases) {
        let mut superuser = server.superuser(database).expect("a database");
        let counting = "CREATE EXTENSION pg_stat_statements; SELECT pg_stat_statements_reset()";
        superuser.batch_execute(counting).expect("counted");
    }
    let (next, puts) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    let began = Instant::now();
    std::thread::scope(|scope| {
        for _ in 0..hands {
            scope.spawn(|| {
                while let Some(link) = links.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let taken = day(link, times, of_resident);
                    puts.lock().expect("a list").extend(taken);
                }
            });
        }
    });
    let took = began.elapsed();
    for keeper in &keepers {
        let station = enrol(keeper, MemberKind::Station, "the desk");
        let report = HomeRecord::open(&station).and_then(|mut it| Ok(it.check(&[])?));
        let report = report.expect("a home");
        assert!(report.sound(), "{}: {:?}", keeper.home, report.findings);
        let own = recorders * times * of_resident;
        assert_eq!(report.facts, i64::try_from(own).expect("a number"));
    }
    let mut split = Split {
        facts: links.len() * times * of_resident,
        puts: puts.into_inner().expect("a list"),
        took,
        homes: Vec::new(),
        statements: BTreeMap::new(),
        of_no_home: Vec::new(),
    };
    for (on, (server, database)) in servers.iter().zip(&databases).enumerate() {
        let own = (0..homes).filter(|it| it % servers.len() == on);
        let own: BTreeSet<String> = own.map(|it| format!("home-{it}")).collect();
        look(server, database, &own, &mut split);
    }
    let all = split.statements.keys();
    split.of_no_home = all.filter(|it| !names_a_home(it)).cloned().collect();
    split
}

fn day(link: &Link, times: usize, of_resident: usize) -> Vec<Duration> {
    let mut home = HomeRecord::open(link).expect("a home");
    let round = Uuid::now_v7();
    let one = |number: usize| {
        let facts = (0..of_resident).map(|it| sent(&fact(round, number * of_resident + it)));
        let facts: Vec<Sent> = facts.collect();
        let began = Instant::now();
        home.put(&facts).expect("kept");
        began.elapsed()
    };
    (0..times).map(one).collect()
}

fn look(server: &Server, database: &str, own: &BTreeSet<String>, split: &mut Split) {
    let mut superuser = server.superuser(database).expect("a database");
    let there = "SELECT DISTINCT home FROM sayback.fact";
    let there = superuser.query(there, &[]).expect("rows");
    let there: BTreeSet<String> = there.iter().map(|row| row.get(0)).collect();
    assert_eq!(there, *own, "a home is on another's server");
    split.homes.push(there.len());
    // Members' own, and what the functions do for them.
    let asked = "SELECT query, calls FROM pg_stat_statements s JOIN pg_roles r ON r.oid = s.userid
        WHERE r.rolname LIKE 'sayback%' AND query ~ 'sayback\\.(fact|home|setting)\\y'";
    for row in superuser.query(asked, &[]).expect("rows") {
        let (statement, calls): (String, i64) = (row.get(0), row.get(1));
        let statement = statement.split_whitespace().collect::<Vec<_>>().join(" ");
        *split.statements.entry(statement).or_default() += calls;
    }
}

/// Whether a statement is about one home, by its text: a condition on the home's
/// column (`id` of the table `home`), or a row that begins with it.
fn names_a_home(statement: &str) -> bool {
    let of_home = statement.contains("home = ") || statement.contains("(home, ");
    let of_table = statement.contains("sayback.home ") && statement.contains("id = ");
    of_home || of_table
}
