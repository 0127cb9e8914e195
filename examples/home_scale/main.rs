//! How a home's database bears many recorders, and many homes one database:
//!
//! ```sh
//! cargo run --release --example home_scale -- [million | homes | appends | split] [SIZE]
//! ```
//!
//! Starts a PostgreSQL server of its own (Debian package `postgresql`) with
//! `fsync` and `synchronous_commit` on, in a temporary folder. Nothing of it is
//! left. `million` has SIZE facts in all (1,000,000), `homes` so many homes (200).
//! `split` has as many, on 1, 2 and 4 servers of this machine.

#[path = "drive.rs"]
mod drive;
#[path = "plans.rs"]
mod plans;
#[path = "../../tests/postgres/mod.rs"]
mod postgres_server;
#[path = "../../tests/sync/proxy.rs"]
#[allow(dead_code, reason = "links drop here and are not mended")]
mod proxy;
#[path = "split.rs"]
mod split;

use sayback::sync::{Link, MemberKind};

use drive::percentile;
use postgres_server::{Server, enrol};

const RECORDERS: usize = 50;
/// A recorder's day: three rounds of 20 residents, eight facts for each.
const DAY: (usize, usize) = (60, 8);
const A_HOME: usize = 3;
const HANDS: usize = 32;

const SETTINGS: [(&str, &str); 6] = [
    ("fsync", "on"),
    ("synchronous_commit", "on"),
    ("log_statement", "none"),
    ("max_connections", "200"),
    ("shared_buffers", "512MB"),
    ("max_wal_size", "4GB"),
];

fn main() {
    let mut words = std::env::args().skip(1);
    let what = words.next().unwrap_or_default();
    let size: Option<usize> = words.next().and_then(|it| it.parse().ok());
    if what == "split" {
        return on_several(size.unwrap_or(200));
    }
    let server = Server::start_with(&SETTINGS);
    match what.as_str() {
        "million" => million(&server, size.unwrap_or(1_000_000)),
        "homes" => homes(&server, size.unwrap_or(200)),
        "appends" => appends(&server, size.unwrap_or(500)),
        _ => {
            appends(&server, 500);
            homes(&server, 200);
            million(&server, 1_000_000);
            drop(server);
            on_several(200);
        }
    }
}

#[allow(clippy::cast_precision_loss, reason = "figures to read")]
fn on_several(homes: usize) {
    println!(
        "\n| servers | homes on each | facts | facts a second | {} facts kept, {HANDS} at once, \
         p50 / p95 | different statements on facts, homes, settings; how often; of no one home |\n\
         |---|---|---|---|---|---|",
        DAY.1
    );
    for count in [1, 2, 4] {
        let settings: Vec<_> = SETTINGS.into_iter().chain(split::COUNTED).collect();
        let servers: Vec<Server> = (0..count).map(|_| Server::start_with(&settings)).collect();
        let servers: Vec<&Server> = servers.iter().collect();
        let mut split = split::split(&servers, (homes, A_HOME, DAY.0, DAY.1), HANDS);
        println!(
            "| {count} | {:?} | {} | {:.0} | {:.1} / {:.1} ms | {}; {}; {} |",
            split.homes,
            split.facts,
            split.facts as f64 / split.took.as_secs_f64(),
            percentile(&mut split.puts, 50),
            percentile(&mut split.puts, 95),
            split.statements.len(),
            split.statements.values().sum::<i64>(),
            split.of_no_home.len()
        );
        for it in &split.of_no_home {
            println!("OF NO ONE HOME: {it}");
        }
    }
}

#[allow(clippy::cast_precision_loss, reason = "figures to read")]
fn million(server: &Server, facts: usize) {
    let mut done = drive::links_that_drop(server, RECORDERS, facts / RECORDERS);
    let seconds = done.took.as_secs_f64();
    println!("\n| {RECORDERS} recorders whose links drop | |\n|---|---|");
    println!("| facts sent | {} |", done.facts);
    println!("| lost, doubled, changed or out of a recorder's order | 0 |");
    println!("| the home's chain, walked through | whole |");
    println!("| connections cut off in the middle | {} |", done.cuts);
    println!(
        "| exchanges that failed and were done again | {} |",
        done.failed
    );
    println!(
        "| … of them after a start anew, all compared | {} |",
        done.restarts
    );
    println!(
        "| facts a second, all together | {:.0} |",
        done.facts as f64 / seconds
    );
    println!(
        "| a batch of 200 meanwhile, p50 / p95 ({}) | {:.0} / {:.0} ms |",
        done.batches.len(),
        percentile(&mut done.batches, 50),
        percentile(&mut done.batches, 95)
    );
    println!(
        "| read in order meanwhile, as a station does | {} |",
        done.read
    );
}

#[allow(clippy::cast_precision_loss, reason = "figures to read")]
fn homes(server: &Server, homes: usize) {
    let mut many = drive::many_homes(server, (homes, A_HOME, DAY.0, DAY.1), HANDS);
    let facts = many.facts as f64;
    let of = |number: i64| number as f64 / facts;
    println!("\n| {homes} homes with {A_HOME} recorders each, a day of each | |\n|---|---|");
    println!("| facts | {} |", many.facts);
    println!("| the chain of each home | whole |");
    println!(
        "| facts a second | {:.0} |",
        facts / many.took.as_secs_f64()
    );
    println!(
        "| {} facts kept, {HANDS} at once, p50 / p95 | {:.1} / {:.1} ms |",
        DAY.1,
        percentile(&mut many.puts, 50),
        percentile(&mut many.puts, 95)
    );
    println!(
        "| write-ahead log a fact | {:.0} bytes, {:.1} records |",
        many.wal.0 / facts,
        many.wal.1 / facts
    );
    println!(
        "| rows of `fact` inserted a fact | {:.2} |",
        of(many.rows[0])
    );
    println!(
        "| rows of `home` updated an append (of these in place) | {:.2} ({:.0} %) |",
        many.rows[1] as f64 / many.puts.len() as f64,
        100.0 * many.rows[2] as f64 / (many.rows[1] as f64).max(1.0)
    );
    println!(
        "| rows of `fact` fetched a fact | {:.2} |",
        of(many.fetched)
    );
    println!(
        "| pages asked for a fact: of `fact`, of its indexes | {:.1}, {:.1} |",
        of(many.pages[0]),
        of(many.pages[1])
    );
    println!("| times `fact` was read through | {} |", many.scans[0]);
    println!(
        "| seen waiting for a row of the same home, of another, for a new page | {}, {}, {} |",
        many.waits[0], many.waits[1], many.waits[2]
    );
    plans(server, &many.desk);
}

/// What one home asks, with all the others beside it.
fn plans(server: &Server, desk: &Link) {
    println!(
        "\n| asked by a station | found by | rows | pages | thrown away |\n|---|---|---|---|---|"
    );
    for plan in plans::plans(server, desk) {
        println!(
            "| {} | {} | {} | {} | {} |",
            plan.asked,
            plan.steps.join(", "),
            plan.rows,
            plan.pages,
            plan.thrown_away
        );
    }
}

fn appends(server: &Server, times: usize) {
    let database = server.database();
    let keeper = server.home(&database, "aspen");
    let cart = enrol(&keeper, MemberKind::Recorder, "the cart");
    println!("\n| put at once, on the disk and answered over TLS | p50 / p95 |\n|---|---|");
    for at_once in [1, 8, 200] {
        let mut taken = drive::appends(&cart, at_once, times);
        println!(
            "| {at_once} | {:.1} / {:.1} ms |",
            percentile(&mut taken, 50),
            percentile(&mut taken, 95)
        );
    }
}
