//! How fast the nurse's pages are for a home of 120 residents with three years
//! of records, about a million facts:
//!
//! ```sh
//! cargo run --release --example station_speed [FOLDER]
//! ```
//!
//! The made-up record is written into FOLDER (a temporary one when left out)
//! and used again if it is there. Each page is asked for 400 times in this
//! process, without a network; the figures are what the server needs for it.
//! Then, where the load generator wrk is installed (Debian package `wrk`), the
//! same pages are asked for over the loopback by 8 connections at once, which
//! is many more nurses than a home has.

#[path = "../tests/review/made.rs"]
#[allow(dead_code, reason = "the tests use what this does not")]
mod made;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode};
use http_body_util::BodyExt as _;
use sayback::facts::{Fact, NO_ROUND};
use sayback::residents::ResidentId;
use sayback::review::accounts::{Accounts, Role};
use sayback::review::{FORM_COOKIE, Station, app};
use sayback::store::{RawFact, Store};
use tower::ServiceExt as _;

const RESIDENTS: usize = 120;
const DAYS: u64 = 3 * 365;
const TIMES: usize = 400;
const MOST: Duration = Duration::from_millis(50);
const HEAVIEST: usize = 100_000;
const PAGES: [&str; 13] = [
    "/worklist",
    "/worklist?hours=720",
    "/residents",
    "/residents/AR-041",
    "/residents/AR-041?days=1095",
    "/residents/AR-041/blood_pressure?days=1095",
    "/residents/AR-041/weight?days=1095",
    "/rounds",
    "/find",
    "/find?who=hollin",
    "/find?who=nobody",
    "/find?flagged=on&sign=pulse&page=40",
    "/find?who=41&from=2024-01-01&to=2024-06-30",
];

#[tokio::main(flavor = "current_thread")]
async fn main() {
    let temporary = tempfile::tempdir().expect("a folder");
    let folder = std::env::args().nth(1).map(PathBuf::from);
    let folder = folder.unwrap_or_else(|| temporary.path().to_owned());
    let path = folder.join("record.db");
    let home = made::home(RESIDENTS);
    if !path.exists() {
        let begun = Instant::now();
        let facts = chained(&folder.join("unchained.db"), &path, &home);
        println!("made {facts} facts in {:.1?}", begun.elapsed());
    }
    let app = open(&path, home);
    let cookie = sign_in(&app).await;
    let mut bad = false;
    println!(
        "{:<44} {:>9} {:>9} {:>9} {:>8}",
        "page", "median", "p95", "worst", "bytes"
    );
    for path in PAGES {
        let mut taken = Vec::with_capacity(TIMES);
        let mut weight = 0;
        for _ in 0..TIMES {
            let begun = Instant::now();
            weight = get(&app, path, &cookie).await;
            taken.push(begun.elapsed());
        }
        taken.sort_unstable();
        let p95 = taken[TIMES * 95 / 100];
        bad |= p95 > MOST || weight > HEAVIEST;
        println!(
            "{path:<44} {:>9.1?} {p95:>9.1?} {:>9.1?} {weight:>8}",
            taken[TIMES / 2],
            taken[TIMES - 1]
        );
    }
    load(app, &cookie);
    if bad {
        println!("too slow or too heavy: at most {MOST:?} (p95) and {HEAVIEST} bytes are wanted");
        std::process::exit(1);
    }
}

/// What is made is written past the recorder; here it gets its chain.
fn chained(unchained: &Path, path: &Path, home: &sayback::residents::Home) -> usize {
    made::record(unchained, home, DAYS);
    let mut store = Store::open(path).expect("a record");
    let from = rusqlite::Connection::open(unchained).expect("a record");
    let mut select = from
        .prepare("SELECT fact FROM facts ORDER BY seq")
        .expect("facts");
    let texts = select
        .query_map([], |row| row.get::<_, String>(0))
        .expect("facts");
    let mut facts = 0;
    let mut some = Vec::new();
    for text in texts {
        let text = text.expect("a fact");
        let fact: Fact = serde_json::from_str(&text).expect("a fact");
        some.push(RawFact { id: fact.id, text });
        facts += 1;
        if some.len() == 5000 {
            store
                .append_fetched(&std::mem::take(&mut some))
                .expect("kept");
        }
    }
    store.append_fetched(&some).expect("kept");
    std::fs::remove_file(unchained).expect("it was made here");
    facts
}

/// The pages under load, as an outside tool sees them.
fn load(app: Router, cookie: &str) {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = listener.local_addr().expect("an address");
    listener.set_nonblocking(true).expect("a listener");
    std::thread::spawn(move || {
        let mut runtime = tokio::runtime::Builder::new_current_thread();
        let runtime = runtime.enable_all().build().expect("a runtime");
        runtime.block_on(async move {
            axum_server::from_tcp(listener)
                .expect("a server")
                .serve(app.into_make_service())
                .await
        })
    });
    let cookie = format!("cookie: {cookie}");
    for (at, path) in PAGES.iter().enumerate() {
        let url = format!("http://{address}{path}");
        let wrk = std::process::Command::new("wrk")
            .args([
                "--threads=1",
                "--connections=8",
                "--duration=5s",
                "--latency",
            ])
            .args(["--header", &cookie, &url])
            .output();
        let Ok(output) = wrk else {
            return println!("\nwrk is not installed: no load was made");
        };
        let text = String::from_utf8_lossy(&output.stdout);
        let after = |name: &str| {
            let line = text.lines().find_map(|it| it.trim().strip_prefix(name));
            line.map_or("-", str::trim).to_owned()
        };
        if at == 0 {
            println!(
                "\n{:<44} {:>9} {:>9} {:>9} {:>9}",
                "page, by wrk, 8 connections", "median", "p90", "p99", "a second"
            );
        }
        println!(
            "{path:<44} {:>9} {:>9} {:>9} {:>9}  {}",
            after("50%"),
            after("90%"),
            after("99%"),
            after("Requests/sec:"),
            after("Non-2xx or 3xx responses:").replace('-', "")
        );
    }
}

fn open(path: &Path, home: sayback::residents::Home) -> Router {
    let begun = Instant::now();
    let store = Store::open(path).expect("a record");
    println!("opened the file in {:.1?}", begun.elapsed());
    let begun = Instant::now();
    assert!(store.check(&[]).expect("a record").sound());
    println!("checked, all of it, in {:.1?}", begun.elapsed());
    whole_round_and_resident(&store);
    let begun = Instant::now();
    let (accounts, _) = Accounts::in_memory().expect("accounts");
    let made = accounts.create("imarlow", &made::nurse(), Role::Nurse, made::now());
    made.expect("an account");
    accounts
        .choose("imarlow", "teal kettle sings")
        .expect("a password");
    let station = Station::new(home, store, accounts, made::now, false).expect("a station");
    let readings = station.index().len();
    println!(
        "folded in {:.1?}: {readings} readings, {}",
        begun.elapsed(),
        memory()
    );
    app(Arc::new(station))
}

/// What the pages ask the record for by round and by resident.
fn whole_round_and_resident(store: &Store) {
    let some = store.facts_after(500_000, 4000).expect("facts");
    let rounds: BTreeSet<_> = some
        .iter()
        .map(|it| it.fact.as_ref().unwrap().round)
        .collect();
    let rounds = rounds.into_iter().filter(|it| *it != NO_ROUND).take(20);
    let taken = rounds.map(|round| {
        let begun = Instant::now();
        (
            store.facts_of_round(round).expect("facts").facts.len(),
            begun.elapsed(),
        )
    });
    median("all of a round", taken.collect());
    let taken = (0..20).map(|number| {
        let begun = Instant::now();
        let resident = ResidentId(format!("AR-{number:03}"));
        (
            store.facts_about(&resident).expect("facts").facts.len(),
            begun.elapsed(),
        )
    });
    median("all about a resident", taken.collect());
}

fn median(what: &str, mut taken: Vec<(usize, Duration)>) {
    taken.sort_by_key(|it| it.1);
    let (facts, time) = taken[taken.len() / 2];
    println!(
        "{what}: {time:.1?} (median of {}), {facts} facts",
        taken.len()
    );
}

/// What this process holds in memory, where the system tells.
fn memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|it| it.strip_prefix("VmRSS:"));
    line.map_or_else(String::new, |it| format!("{} of memory", it.trim()))
}

async fn get(app: &Router, path: &str, cookie: &str) -> usize {
    let request = Request::get(path).header("cookie", cookie);
    let request = request.body(Body::empty()).expect("a request");
    let answer = app.clone().oneshot(request).await.expect("an answer");
    assert_eq!(answer.status(), StatusCode::OK, "{path}");
    let body = answer.into_body().collect().await.expect("a page");
    body.to_bytes().len()
}

async fn sign_in(app: &Router) -> String {
    let fields = "csrf=same&login=imarlow&password=teal+kettle+sings";
    let request = Request::post("/sign-in")
        .header("cookie", format!("{FORM_COOKIE}=same"))
        .body(Body::from(fields))
        .expect("a request");
    let answer = app.clone().oneshot(request).await.expect("an answer");
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    let cookie = answer.headers()["set-cookie"].to_str().expect("a cookie");
    cookie.split(';').next().expect("a cookie").to_owned()
}
