//! Recorders by the dozen and homes by the hundred on one database, and what that
//! costs it. The tests run the same with small numbers.

use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use fastrand::Rng;
use postgres::fallible_iterator::FallibleIterator as _;
use postgres::{Client, SimpleQueryMessage};
use sayback::facts::{Body, Fact, KeptReading, NO_ROUND, Time, VERSION};
use sayback::residents::{ResidentId, Staff};
use sayback::store::Store;
use sayback::sync::{Exchange, HomeRecord, Link, MemberKind, Sent, SyncError};
use tempfile::TempDir;
use uuid::Uuid;

use super::postgres_server::{Server, enrol, raw};
use super::proxy::Proxy;

/// A fact is so long in a record of rounds: a reading with the words heard and read
/// back has some 600 bytes.
const LENGTH: usize = 330;

/// A remark of a reading's length. Remarks are not fetched by other recorders, so
/// that what is measured is the way to the home.
pub fn fact(round: Uuid, number: usize) -> Fact<KeptReading> {
    let at = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").expect("a time");
    Fact {
        id: Uuid::now_v7(),
        version: VERSION,
        at,
        by: Staff {
            name: "Dana Whitlock".to_owned(),
            title: "nursing aide".to_owned(),
        },
        round,
        body: Body::Noted {
            resident: ResidentId(format!("AR-{:03}", number % 60)),
            about: None,
            text: format!("remark {number} {}", "x".repeat(LENGTH)),
        },
    }
}

pub fn sent(fact: &Fact<KeptReading>) -> Sent {
    Sent {
        id: fact.id,
        fact: serde_json::to_value(fact).expect("a fact").to_string(),
        seq: None,
        hash: None,
    }
}

/// A duration that so many of a hundred do not exceed, in milliseconds.
pub fn percentile(times: &mut [Duration], percent: usize) -> f64 {
    times.sort_unstable();
    let at = (times.len() * percent / 100).min(times.len().saturating_sub(1));
    times.get(at).map_or(0.0, |it| it.as_secs_f64() * 1000.0)
}

/// What became of recorders whose links drop.
#[derive(Debug)]
pub struct Dropped {
    pub facts: usize,
    /// Connections cut off in the middle.
    pub cuts: u32,
    /// Exchanges that failed and were done again.
    pub failed: usize,
    /// Recorders that were started anew, and compared all with the home.
    pub restarts: usize,
    pub took: Duration,
    /// How long a batch of 200 took meanwhile, over a link that holds.
    pub batches: Vec<Duration>,
    /// What the one who only reads saw, in order: as many as there are.
    pub read: i64,
}

/// So many recorders, each with its own record and a link that drops at random,
/// send so many facts each. Then everything is looked through.
///
/// # Panics
/// When anything is lost, doubled, changed, or does not follow.
pub fn links_that_drop(server: &Server, recorders: usize, each: usize) -> Dropped {
    let database = server.database();
    let keeper = server.home(&database, "aspen");
    let station = enrol(&keeper, MemberKind::Station, "the desk");
    let probe = enrol(&keeper, MemberKind::Recorder, "the probe");
    let links: Vec<Link> = (0..recorders)
        .map(|it| enrol(&keeper, MemberKind::Recorder, &format!("cart {it}")))
        .collect();
    let carts: Vec<(TempDir, Store)> = links.iter().map(|_| filled(each)).collect();
    let (failed, restarts) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let cuts = AtomicU64::new(0);
    let (over, all_put) = (AtomicBool::new(false), AtomicBool::new(false));
    let (batches, read) = (Mutex::new(Vec::new()), Mutex::new(0));
    let began = Instant::now();
    let mut took = Duration::ZERO;
    let mut kept = Vec::new();
    std::thread::scope(|scope| {
        let threads: Vec<_> = carts
            .into_iter()
            .zip(&links)
            .enumerate()
            .map(|(number, ((folder, mut store), link))| {
                let (failed, restarts, cuts) = (&failed, &restarts, &cuts);
                scope.spawn(move || {
                    let proxy = Proxy::to(link.port);
                    let port = proxy.port;
                    let link = Link {
                        port,
                        ..link.clone()
                    };
                    let mut rng = Rng::with_seed(number as u64);
                    let mut exchange = Exchange::new(&link);
                    loop {
                        // Less than what all of them have, so that each is cut.
                        let most = i64::try_from(each * 600).unwrap_or(i64::MAX);
                        proxy.cut_after(rng.i64(2_000..most.max(20_000)));
                        match exchange.run(&mut store) {
                            Ok(_) => break,
                            Err(SyncError::Unreachable(_)) => {}
                            Err(error) => panic!("{error}"),
                        }
                        failed.fetch_add(1, Ordering::Relaxed);
                        if rng.u8(0..4) == 0 {
                            exchange = Exchange::new(&link);
                            restarts.fetch_add(1, Ordering::Relaxed);
                        }
                    }
                    let cut = proxy.cuts.load(Ordering::Relaxed);
                    cuts.fetch_add(u64::from(cut), Ordering::Relaxed);
                    (folder, store)
                })
            })
            .collect();
        let probing = scope.spawn(|| {
            let mut home = HomeRecord::open(&probe).expect("a home");
            while !over.load(Ordering::Relaxed) {
                let facts: Vec<Sent> = (0..200).map(|it| sent(&fact(NO_ROUND, it))).collect();
                let began = Instant::now();
                home.put(&facts).expect("a batch");
                batches.lock().expect("a list").push(began.elapsed());
                std::thread::sleep(Duration::from_millis(100));
            }
        });
        scope.spawn(|| {
            // As a station does: what comes after the last it saw.
            let mut home = HomeRecord::open(&station).expect("a home");
            let mut seq = 0;
            loop {
                let done = all_put.load(Ordering::SeqCst);
                let facts = home.facts_after(seq, 5000).expect("facts");
                for stored in &facts {
                    assert_eq!(stored.seq, seq + 1, "one was missed");
                    seq = stored.seq;
                }
                if facts.is_empty() {
                    if done {
                        break;
                    }
                    std::thread::sleep(Duration::from_millis(50));
                }
            }
            *read.lock().expect("a number") = seq;
        });
        for thread in threads {
            kept.push(thread.join().expect("a recorder"));
        }
        took = began.elapsed();
        over.store(true, Ordering::Relaxed);
        probing.join().expect("the probe");
        all_put.store(true, Ordering::SeqCst);
    });
    let batches = batches.into_inner().expect("a list");
    let read = read.into_inner().expect("a number");
    let mut superuser = server.superuser(&database).expect("a database");
    for ((_folder, store), link) in kept.iter().zip(&links) {
        same(&mut superuser, store, link, each);
    }
    let probed = batches.len() * 200;
    let report = HomeRecord::open(&station).and_then(|mut it| Ok(it.check(&[])?));
    let report = report.expect("a home");
    assert!(report.sound(), "{:?}", report.findings);
    let all = i64::try_from(recorders * each + probed).expect("a number");
    assert_eq!((report.facts, read), (all, all), "lost or doubled");
    Dropped {
        facts: recorders * each,
        cuts: u32::try_from(cuts.into_inner()).unwrap_or(u32::MAX),
        failed: failed.into_inner(),
        restarts: restarts.into_inner(),
        took,
        batches,
        read,
    }
}

fn filled(facts: usize) -> (TempDir, Store) {
    let folder = tempfile::tempdir().expect("a folder");
    let mut store = Store::open(&folder.path().join("record.db")).expect("a record");
    let round = Uuid::now_v7();
    let all: Vec<_> = (0..facts).map(|it| fact(round, it)).collect();
    for part in all.chunks(1000) {
        store
            .append(&part.iter().collect::<Vec<_>>())
            .expect("kept");
    }
    (folder, store)
}

/// Whether the home has each fact of a recorder once, byte for byte, in its order.
fn same(superuser: &mut Client, store: &Store, link: &Link, each: usize) {
    let own = store.unsent(0, usize::MAX).expect("facts");
    assert_eq!(own.len(), each);
    let all = "SELECT sender_seq, fact FROM sayback.fact WHERE home = $1 AND sender::text = $2 ORDER BY seq";
    let with: [&(dyn postgres::types::ToSql + Sync); 2] = [&link.home, &link.role];
    let mut rows = superuser.query_raw(all, with).expect("rows");
    let mut own = own.iter();
    while let Some(row) = rows.next().expect("a row") {
        let mine = own.next().expect("no more than the recorder has");
        assert_eq!(row.get::<_, Option<i64>>(0), Some(mine.seq));
        assert_eq!(row.get::<_, &str>(1), mine.text);
    }
    assert_eq!(own.count(), 0, "lost");
}

/// What many homes on one database cost it.
#[derive(Debug)]
pub struct Many {
    pub facts: usize,
    pub puts: Vec<Duration>,
    pub took: Duration,
    /// Bytes of write-ahead log, and records in it, of all that was put.
    pub wal: (f64, f64),
    /// Rows of `fact` inserted, of `home` updated, and of these in place.
    pub rows: [i64; 3],
    /// Whole tables read through: of `fact`, of `home`.
    pub scans: [i64; 2],
    /// Rows of `fact` fetched by index.
    pub fetched: i64,
    /// Pages asked for: of `fact` and its indexes, in memory or not.
    pub pages: [i64; 2],
    /// Who was seen waiting: for a row of the same home, of another, and while
    /// someone gave the table or an index its next page.
    pub waits: [usize; 3],
    /// A station of the last home.
    pub desk: Link,
}

/// So many homes with so many recorders each record a day: each of them so many
/// times a resident's facts, sent as they are kept. `hands` are how many do so at
/// the same moment.
///
/// # Panics
/// When a home's record is not whole in the end.
pub fn many_homes(
    server: &Server,
    (homes, recorders, times, of_resident): (usize, usize, usize, usize),
    hands: usize,
) -> Many {
    let database = server.database();
    let keepers: Vec<Link> = (0..homes)
        .map(|it| server.home(&database, &format!("home-{it}")))
        .collect();
    let mut links: Vec<Link> = Vec::new();
    for number in 0..recorders {
        for keeper in &keepers {
            let label = format!("cart {number}");
            links.push(enrol(keeper, MemberKind::Recorder, &label));
        }
    }
    let mut superuser = server.superuser(&database).expect("a database");
    let before = Counters::read(&mut superuser);
    let (next, over) = (AtomicUsize::new(0), AtomicBool::new(false));
    let (puts, waits) = (Mutex::new(Vec::new()), Mutex::new([0; 3]));
    let began = Instant::now();
    let mut took = Duration::ZERO;
    std::thread::scope(|scope| {
        let hand = || {
            let mut taken = Vec::new();
            loop {
                let Some(link) = links.get(next.fetch_add(1, Ordering::Relaxed)) else {
                    puts.lock().expect("a list").extend(taken);
                    return;
                };
                let mut home = HomeRecord::open(link).expect("a home");
                let round = Uuid::now_v7();
                for number in 0..times {
                    let facts: Vec<Sent> = (0..of_resident)
                        .map(|it| sent(&fact(round, number * of_resident + it)))
                        .collect();
                    let began = Instant::now();
                    home.put(&facts).expect("kept");
                    taken.push(began.elapsed());
                }
            }
        };
        let threads: Vec<_> = (0..hands).map(|_| scope.spawn(hand)).collect();
        scope.spawn(|| {
            let mut superuser = server.superuser(&database).expect("a database");
            while !over.load(Ordering::Relaxed) {
                let now = waiting(&mut superuser);
                let mut waits = waits.lock().expect("numbers");
                for (all, now) in waits.iter_mut().zip(now) {
                    *all += now;
                }
                drop(waits);
                std::thread::sleep(Duration::from_millis(20));
            }
        });
        for thread in threads {
            thread.join().expect("a hand");
        }
        took = began.elapsed();
        over.store(true, Ordering::Relaxed);
    });
    let after = Counters::read(&mut superuser);
    let mut desk = None;
    for keeper in &keepers {
        let station = enrol(keeper, MemberKind::Station, "the desk");
        let report = HomeRecord::open(&station).and_then(|mut it| Ok(it.check(&[])?));
        desk = Some(station);
        let report = report.expect("a home");
        assert!(report.sound(), "{}: {:?}", keeper.home, report.findings);
        let own = recorders * times * of_resident;
        assert_eq!(report.facts, i64::try_from(own).expect("a number"));
    }
    let number = |name: &str| after.of(name) - before.of(name);
    Many {
        facts: links.len() * times * of_resident,
        puts: puts.into_inner().expect("a list"),
        took,
        wal: (after.wal.0 - before.wal.0, after.wal.1 - before.wal.1),
        rows: [
            number("fact inserted"),
            number("home updated"),
            number("home in place"),
        ],
        scans: [number("fact scans"), number("home scans")],
        fetched: number("fact fetched"),
        pages: [number("fact pages"), number("fact index pages")],
        waits: waits.into_inner().expect("numbers"),
        desk: desk.expect("a home"),
    }
}

/// Who waits just now: for a row of the same home, of another, and for a new page.
fn waiting(superuser: &mut Client) -> [usize; 3] {
    // A transaction or a tuple is a row's; `extend` is for the next page of a table.
    const WAITING: &str = "SELECT a.wait_event <> 'extend', m.home = n.home FROM pg_stat_activity a
        CROSS JOIN LATERAL unnest(pg_blocking_pids(a.pid)) AS blocking(pid)
        JOIN pg_stat_activity b ON b.pid = blocking.pid
        JOIN sayback.member m ON m.role = a.usename JOIN sayback.member n ON n.role = b.usename
        WHERE a.wait_event_type = 'Lock'";
    let mut waits = [0; 3];
    for row in superuser.query(WAITING, &[]).expect("rows") {
        let kind = match (row.get(0), row.get(1)) {
            (true, true) => 0,
            (true, false) => 1,
            (false, _) => 2,
        };
        waits[kind] += 1;
    }
    waits
}

struct Counters {
    wal: (f64, f64),
    all: Vec<(String, i64)>,
}

impl Counters {
    fn read(superuser: &mut Client) -> Self {
        // What other connections have counted is handed in after a second at most.
        std::thread::sleep(Duration::from_millis(1500));
        superuser
            .batch_execute("SELECT pg_stat_force_next_flush()")
            .expect("flushed");
        let wal = "SELECT wal_bytes::float8, wal_records::float8 FROM pg_stat_wal";
        let wal = superuser.query_one(wal, &[]).expect("a row");
        let counted = "SELECT t.relname::text, n_tup_ins, n_tup_upd, n_tup_hot_upd, seq_scan,
                idx_tup_fetch, heap_blks_read + heap_blks_hit, idx_blks_read + idx_blks_hit
            FROM pg_stat_user_tables t JOIN pg_statio_user_tables io USING (relid)
            WHERE t.schemaname = 'sayback'";
        let mut all = Vec::new();
        for row in superuser.query(counted, &[]).expect("rows") {
            let table: String = row.get(0);
            let names = [
                "inserted",
                "updated",
                "in place",
                "scans",
                "fetched",
                "pages",
                "index pages",
            ];
            for (at, name) in names.iter().enumerate() {
                let number: Option<i64> = row.get(at + 1);
                all.push((format!("{table} {name}"), number.unwrap_or(0)));
            }
        }
        Self {
            wal: (wal.get(0), wal.get(1)),
            all,
        }
    }

    fn of(&self, name: &str) -> i64 {
        let found = self.all.iter().find(|(it, _)| it == name);
        found.map_or(0, |(_, number)| *number)
    }
}

/// How the database finds what a member asks for, and what it reads for that.
#[derive(Debug)]
pub struct Plan {
    pub asked: &'static str,
    /// The steps, outermost first.
    pub steps: Vec<String>,
    /// Tables read through from end to end.
    pub scans: usize,
    /// Rows looked at and thrown away.
    pub thrown_away: f64,
    pub rows: f64,
    pub pages: i64,
}

/// What recorders and stations ask, with what stands in for `$home`.
const QUESTIONS: [(&str, &str); 5] = [
    (
        "what came after a place",
        "SELECT seq, id, fact FROM sayback.fact WHERE home = $home AND seq > 20 ORDER BY seq LIMIT 20",
    ),
    (
        "a fact by its identifier",
        "SELECT fact FROM sayback.fact WHERE home = $home AND id = (SELECT id FROM sayback.fact WHERE home = $home AND seq = 7)",
    ),
    (
        "all of a round",
        "SELECT fact FROM sayback.fact WHERE home = $home AND round = (SELECT round FROM sayback.fact WHERE home = $home AND seq = 7) ORDER BY seq",
    ),
    (
        "all about a resident",
        "SELECT fact FROM sayback.fact WHERE home = $home AND resident = 'AR-007' ORDER BY seq",
    ),
    (
        "where the home stands",
        "SELECT seq, hash FROM sayback.home WHERE id = $home",
    ),
];

/// How what a member of one of the homes asks is found.
pub fn plans(server: &Server, desk: &Link) -> Vec<Plan> {
    let mut superuser = server.superuser(&desk.database).expect("a database");
    superuser.batch_execute("ANALYZE").expect("analysed");
    let (client, home) = (&mut raw(desk), &desk.home);
    let plan = |(asked, question): (&'static str, &str)| {
        let question = question.replace("$home", &format!("'{home}'"));
        let explain = format!("EXPLAIN (ANALYZE, BUFFERS, FORMAT JSON) {question}");
        let said = client.simple_query(&explain).expect("a plan");
        let text = said.iter().find_map(|it| match it {
            SimpleQueryMessage::Row(row) => row.get(0),
            _ => None,
        });
        let text: serde_json::Value = serde_json::from_str(text.expect("a plan")).expect("JSON");
        let mut plan = Plan {
            asked,
            steps: Vec::new(),
            scans: 0,
            thrown_away: 0.0,
            rows: text[0]["Plan"]["Actual Rows"].as_f64().unwrap_or(0.0),
            pages: 0,
        };
        let top = &text[0]["Plan"];
        for kind in ["Shared Hit Blocks", "Shared Read Blocks"] {
            plan.pages += top[kind].as_i64().unwrap_or(0);
        }
        walk(top, &mut plan);
        plan
    };
    QUESTIONS.into_iter().map(plan).collect()
}

fn walk(node: &serde_json::Value, plan: &mut Plan) {
    let kind = node["Node Type"].as_str().unwrap_or_default();
    let index = node["Index Name"].as_str().unwrap_or_default();
    plan.steps.push(format!("{kind} {index}").trim().to_owned());
    let table = node["Relation Name"].as_str().unwrap_or_default();
    // That of a home's own row is one page while there are few homes.
    plan.scans += usize::from(kind == "Seq Scan" && table == "fact");
    let removed = node["Rows Removed by Filter"].as_f64().unwrap_or(0.0);
    plan.thrown_away += if table == "fact" { removed } else { 0.0 };
    for below in node["Plans"].as_array().into_iter().flatten() {
        walk(below, plan);
    }
}

/// How long it takes until so many facts are on the home's disk, so many times.
pub fn appends(link: &Link, at_once: usize, times: usize) -> Vec<Duration> {
    let mut home = HomeRecord::open(link).expect("a home");
    let mut taken = Vec::with_capacity(times);
    for number in 0..times {
        let facts: Vec<Sent> = (0..at_once)
            .map(|it| sent(&fact(NO_ROUND, number + it)))
            .collect();
        let began = Instant::now();
        home.put(&facts).expect("kept");
        taken.push(began.elapsed());
    }
    taken
}
