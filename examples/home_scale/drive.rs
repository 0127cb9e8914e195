//! Recorders by the dozen and homes by the hundred on one database, and what that
//! costs it. The tests run the same with small numbers.

use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use fastrand::Rng;
use postgres::Client;
use postgres::fallible_iterator::FallibleIterator as _;
use sayback::facts::{Body, Fact, KeptReading, NO_ROUND, Time, VERSION};
use sayback::residents::{ResidentId, Staff};
use sayback::store::Store;
use sayback::sync::{Exchange, HomeRecord, Link, MemberKind, Sent, SyncError};
use tempfile::TempDir;
use uuid::Uuid;

use super::postgres_server::{Server, enrol};
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
    let cuts = AtomicU32::new(0);
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
                    let tried = sends_all(number as u64, &mut store, link, each);
                    failed.fetch_add(tried.failed, Ordering::Relaxed);
                    restarts.fetch_add(tried.restarts, Ordering::Relaxed);
                    cuts.fetch_add(tried.cuts, Ordering::Relaxed);
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
        scope.spawn(|| *read.lock().expect("a number") = reads_all(&station, &all_put));
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
        cuts: cuts.into_inner(),
        failed: failed.into_inner(),
        restarts: restarts.into_inner(),
        took,
        batches,
        read,
    }
}

/// What it took to send all.
#[derive(Default)]
struct Tried {
    failed: usize,
    restarts: usize,
    cuts: u32,
}

/// Sends all of a record over a link that is cut after some bytes, again and again.
fn sends_all(seed: u64, store: &mut Store, link: &Link, each: usize) -> Tried {
    let proxy = Proxy::to(link.port);
    let link = Link {
        port: proxy.port,
        ..link.clone()
    };
    let mut rng = Rng::with_seed(seed);
    let mut exchange = Exchange::new(&link);
    let mut tried = Tried::default();
    loop {
        // Less than what all of them have, so that each is cut.
        let most = i64::try_from(each * 600).unwrap_or(i64::MAX);
        proxy.cut_after(rng.i64(2_000..most.max(20_000)));
        match exchange.run(store) {
            Ok(_) => break,
            Err(SyncError::Unreachable(_)) => tried.failed += 1,
            Err(error) => panic!("{error}"),
        }
        if rng.u8(0..4) == 0 {
            exchange = Exchange::new(&link);
            tried.restarts += 1;
        }
    }
    tried.cuts = proxy.cuts.load(Ordering::Relaxed);
    tried
}

/// Reads as a station does, what comes after the last it saw, until all is put.
fn reads_all(station: &Link, all_put: &AtomicBool) -> i64 {
    let mut home = HomeRecord::open(station).expect("a home");
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
                return seq;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
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
