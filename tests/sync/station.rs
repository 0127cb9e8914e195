//! The nurse's station on a home in `PostgreSQL`: what a recorder sent is seen and
//! acted on, and what was done goes back to the recorder; with the home away for a
//! while; and with two stations at once.

use std::sync::{Arc, Barrier};
use std::time::{Duration, Instant};

use axum::http::StatusCode;
use chrono::TimeDelta;
use sayback::facts::{ReadingRecord, Time, residents_with_ranges};
use sayback::review::accounts::Role;
use sayback::review::acts::{self, Acting};
use sayback::store::Store;
use sayback::sync::{Exchange, HomeLedger, Moved, Setting};
use sayback::vitals::{Component, VitalSign};

use super::site::{Site, text};
use super::*;

pub const ROSTER: &str = include_str!("../../audio-fixtures/demo-home.toml");

/// A round in which a pulse is high, told to nobody though that is asked for.
pub const ROUND: [&str; 6] = [
    "room nine",
    "yes",
    "pulse one thirty",
    "yes",
    "end of round",
    "end of round",
];

pub fn put_roster(keeper: &Link, text: &str) {
    let set = open(keeper).set(Setting::Roster, text, "Ines Marlow", None);
    set.unwrap();
}

pub fn aspen() -> Aspen {
    let aspen = Aspen::new();
    put_roster(&aspen.keeper, ROSTER);
    aspen
}

pub fn desk(link: &Link) -> Site {
    let (ledger, home) = HomeLedger::open(link).unwrap();
    Site::on(tempfile::tempdir().unwrap(), home, ledger, false)
}

/// A home on a server of its own, with a station, to which a cart has sent a round.
pub fn after_a_round() -> (Server, Aspen, Cart, Site) {
    let server = Server::start();
    let aspen = Aspen::on(&server);
    put_roster(&aspen.keeper, ROSTER);
    let mut cart = Cart::new(&aspen.recorder);
    cart.hears(&ROUND);
    cart.exchanges();
    let site = desk(&aspen.station);
    (server, aspen, cart, site)
}

/// A recorder with its own record, and its link.
pub struct Cart {
    _folder: tempfile::TempDir,
    store: Store,
    link: Exchange,
    pub rounds: i64,
}

impl Cart {
    pub fn new(link: &Link) -> Self {
        let folder = tempfile::tempdir().unwrap();
        Self {
            store: Store::open(&folder.path().join("record.db")).unwrap(),
            _folder: folder,
            link: Exchange::new(link),
            rounds: 0,
        }
    }

    pub fn hears(&mut self, words: &[&str]) {
        self.rounds += 1;
        let begins = made::now() - chrono::TimeDelta::minutes(20 - self.rounds);
        let facts = conversation::facts(&HOME, begins, words);
        self.store
            .append(&facts.iter().collect::<Vec<_>>())
            .unwrap();
    }

    pub fn exchanges(&mut self) -> Moved {
        self.link.run(&mut self.store).unwrap()
    }
}

fn reading(facts: &[Fact]) -> (Uuid, ReadingRecord) {
    let read = facts.iter().rev().find_map(|it| match &it.body {
        Body::Read(record) => Some((it.id, record.clone())),
        _ => None,
    });
    read.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_recorder_sent_is_acted_on_and_what_was_done_goes_back() {
    let (aspen, mut cart, site) = tokio::task::block_in_place(|| {
        let aspen = aspen();
        let mut cart = Cart::new(&aspen.recorder);
        let site = desk(&aspen.station);
        cart.hears(&ROUND);
        cart.exchanges();
        (aspen, cart, site)
    });
    let (id, record) = reading(&cart.store.facts().unwrap());
    let round = cart.store.fact(id).unwrap().unwrap().round;
    let mut nurse = site.visitor(Role::Nurse).await;
    assert!(site.station.index().is_empty());
    site.station.refresh().unwrap();
    let (_, page) = nurse.get("/worklist").await;
    assert!(
        page.contains("Rosa Delgado") && page.contains("130"),
        "{page}"
    );
    let (status, page) = nurse.get(&format!("/readings/{id}")).await;
    assert_eq!(status, StatusCode::OK);
    assert!(page.contains("pulse one thirty"), "what was heard: {page}");

    let flag = site.station.index().open_reports().next().unwrap().id;
    let resident = &record.resident.0;
    for (path, fields) in [
        (format!("/reports/{flag}/acknowledge"), "back=/worklist"),
        (
            format!("/readings/{id}/correct"),
            "seen=0&value=103&unit=per_minute&reason=heard+wrong",
        ),
        (
            format!("/residents/{resident}/range"),
            "of=pulse&low=50&high=104",
        ),
        (format!("/rounds/{round}/sign"), ""),
    ] {
        nurse.does(&path, fields).await;
    }
    for form in [
        format!("/rounds/{round}/fhir"),
        format!("/residents/{resident}/csv"),
    ] {
        assert_eq!(nurse.get(&form).await.0, StatusCode::OK, "{form}");
    }

    tokio::task::block_in_place(|| {
        cart.exchanges();
        let facts = cart.store.facts().unwrap();
        let home = residents_with_ranges(&HOME, &facts);
        let limits = &home.resident(&record.resident).unwrap().limits;
        let range = limits.range(VitalSign::Pulse, Component::Whole).unwrap();
        assert_eq!(range.bounds.high.to_string(), "104", "it flows back");
        let kinds = |of: fn(&Body) -> bool| facts.iter().filter(|it| of(&it.body)).count();
        assert!(kinds(|it| matches!(it, Body::Acknowledged { .. })) >= 1);
        assert_eq!(kinds(|it| matches!(it, Body::Corrected { .. })), 1);
        assert!(cart.store.check(&[]).unwrap().sound());
        let report = open(&aspen.station).check(&[]).unwrap();
        assert!(report.sound(), "{:?}", report.findings);
        assert_eq!(report.signatures, 1);
        // Nothing of it is sent back.
        let before = report.facts;
        assert_eq!(cart.exchanges().sent, 0);
        assert_eq!(open(&aspen.station).check(&[]).unwrap().facts, before);
    });
}

/// The pages keep what they have while the database is gone, store nothing and say
/// so, and go on by themselves.
#[tokio::test(flavor = "multi_thread")]
async fn a_home_that_is_away_comes_back_by_itself() {
    let (server, _aspen, mut cart, site) = tokio::task::block_in_place(after_a_round);
    let mut nurse = site.visitor(Role::Nurse).await;
    let keeping_up = tokio::spawn(Arc::clone(&site.station).keep_up(None));
    assert!(nurse.get("/worklist").await.1.contains("Rosa Delgado"));
    let flag = site.station.index().open_reports().next().unwrap().id;
    let acknowledge = format!("/reports/{flag}/acknowledge");

    tokio::task::block_in_place(|| server.down());
    until(|| site.station.away().is_some()).await;
    let began = Instant::now();
    let (status, page) = nurse.get("/worklist").await;
    assert_eq!(status, StatusCode::OK);
    assert!(page.contains("Rosa Delgado"), "what was there stays");
    assert!(page.contains("the home can't be reached"), "{page}");
    let answer = nurse.post(&acknowledge, "back=/worklist").await;
    assert_eq!(answer.status(), StatusCode::CONFLICT);
    assert!(text(answer).await.contains("Nothing can be stored"));
    assert!(
        began.elapsed() < Duration::from_secs(5),
        "nobody waits for it"
    );

    tokio::task::block_in_place(|| server.up());
    until(|| site.station.away().is_none()).await;
    nurse.does(&acknowledge, "back=/worklist").await;
    tokio::task::block_in_place(|| {
        cart.hears(&[
            "room nine",
            "yes",
            "temperature ninety eight point six oral",
            "yes",
        ]);
        cart.exchanges();
    });
    until(|| site.station.index().len() == 2).await;
    assert!(!nurse.get("/worklist").await.1.contains("be reached"));
    keeping_up.abort();
}

pub async fn until(so: impl Fn() -> bool) {
    let began = Instant::now();
    while !so() {
        assert!(began.elapsed() < Duration::from_secs(40), "it never is");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// Both see the same reports and both acknowledge each of them at the same moment,
/// while a recorder sends: each is acknowledged once.
#[test]
fn two_stations_at_once_do_each_thing_once() {
    const REPORTS: u128 = 6;
    let aspen = aspen();
    let mut cart = Cart::new(&aspen.recorder);
    for _ in 0..REPORTS {
        cart.hears(&ROUND);
    }
    cart.exchanges();
    let second = enrol(&aspen.keeper, MemberKind::Station, "the other desk");
    let sites = [desk(&aspen.station), desk(&second)];
    let flags: Vec<Uuid> = sites[0]
        .station
        .index()
        .open_reports()
        .map(|it| it.id)
        .collect();
    assert!(flags.len() as u128 >= REPORTS, "{}", flags.len());
    let together = Barrier::new(3);
    let acting = Acting {
        by: nurse(),
        at: made::now(),
    };
    let done: usize = std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut home = open(&aspen.recorder);
            together.wait();
            for number in 1..=60 {
                home.put(&[sent(&note(number, "meanwhile"))]).unwrap();
            }
        });
        let act = |site: &Site| {
            let station = Arc::clone(&site.station);
            let (flags, acting, together) = (&flags, &acting, &together);
            scope.spawn(move || {
                together.wait();
                let acknowledge = |flag: &&Uuid| {
                    station
                        .act(|it| acts::acknowledge(it, **flag, acting))
                        .is_ok()
                };
                flags.iter().filter(acknowledge).count()
            })
        };
        let threads = [act(&sites[0]), act(&sites[1])];
        threads.into_iter().map(|it| it.join().unwrap()).sum()
    });
    assert_eq!(done, flags.len(), "each by one of them");
    let mut home = open(&aspen.station);
    let report = home.check(&[]).unwrap();
    assert!(report.sound(), "{:?}", report.findings);
    let facts = home.facts_after(0, usize::MAX).unwrap();
    let of = |it: &&sayback::store::Stored| {
        matches!(it.fact.as_ref().unwrap().body, Body::Acknowledged { .. })
    };
    assert_eq!(facts.iter().filter(of).count(), flags.len());
    for site in &sites {
        site.station.refresh().unwrap();
        assert_eq!(site.station.index().open_reports().count(), 0);
        assert_eq!(site.station.index().seq(), report.facts);
    }
}

#[test]
fn a_roster_that_changed_is_taken_in_and_a_broken_one_is_not() {
    let aspen = Aspen::new();
    let none = HomeLedger::open(&aspen.station).err().unwrap().to_string();
    assert!(none.contains("no roster yet"), "{none}");
    put_roster(&aspen.keeper, ROSTER);
    let site = desk(&aspen.station);
    let name = || site.station.index().home().name.clone();
    let before = name();
    put_roster(&aspen.keeper, "name = 7");
    let named = |name: &str| format!("\nname = \"{name}\"\n");
    let new = ROSTER.replacen(&named(&before), &named("Alder Bend House"), 1);
    let began = Instant::now();
    while began.elapsed() < Duration::from_secs(7) {
        site.station.refresh().unwrap();
        std::thread::sleep(Duration::from_millis(500));
    }
    assert_eq!(name(), before, "a broken one changes nothing");
    put_roster(&aspen.keeper, &new);
    while name() == before {
        assert!(began.elapsed() < Duration::from_secs(60));
        site.station.refresh().unwrap();
        std::thread::sleep(Duration::from_millis(500));
    }
    assert_eq!(name(), "Alder Bend House");
}

/// A nurse sees which recorders there are, and since when nothing of one has arrived.
#[tokio::test(flavor = "multi_thread")]
async fn the_worklist_says_when_something_of_each_recorder_arrived() {
    fn nine_hours_on() -> Time {
        real_now() + TimeDelta::hours(9)
    }
    fn real_now() -> Time {
        chrono::Utc::now().fixed_offset()
    }
    let aspen = tokio::task::block_in_place(|| {
        let aspen = aspen();
        let mut cart = Cart::new(&aspen.recorder);
        cart.hears(&ROUND);
        cart.exchanges();
        enrol(&aspen.keeper, MemberKind::Recorder, "the spare");
        let lost = enrol(&aspen.keeper, MemberKind::Recorder, "the lost");
        open(&aspen.keeper).revoke(&lost.label).unwrap();
        aspen
    });
    for (clock, silent) in [(real_now as fn() -> Time, false), (nine_hours_on, true)] {
        let site = tokio::task::block_in_place(|| {
            let (ledger, home) = HomeLedger::open(&aspen.station).unwrap();
            let folder = tempfile::tempdir().unwrap();
            let site = Site::at(folder, (home, ledger), false, (clock, None));
            site.station.refresh().unwrap();
            site
        });
        let mut nurse = site.visitor(Role::Nurse).await;
        let (_, page) = nurse.get("/worklist").await;
        let (_, recorders) = page.split_once("id=\"recorders\"").expect(&page);
        let of = |label: &str| {
            let (_, after) = recorders.split_once(label).expect(label);
            after.split("</li>").next().unwrap().to_owned()
        };
        assert!(of("the spare").contains("nothing so far"), "{recorders}");
        assert!(of("the cart").contains("<time"), "{recorders}");
        assert_eq!(
            of("the cart").contains("nothing for 9 h"),
            silent,
            "{recorders}"
        );
        for other in ["the lost", "the desk"] {
            assert!(!recorders.contains(other), "{other}: {recorders}");
        }
        tokio::task::block_in_place(|| drop(site));
    }
}

/// What nobody could have acted on in time is said; else only from where it came.
#[tokio::test(flavor = "multi_thread")]
async fn a_reading_says_from_which_recorder_it_came_and_that_it_came_late_and_so_does_a_report() {
    fn real_now() -> Time {
        chrono::Utc::now().fixed_offset()
    }
    for (ago, late) in [(50, None), (340, Some("5 h "))] {
        let (site, id) = tokio::task::block_in_place(|| {
            let aspen = aspen();
            let mut cart = Cart::new(&aspen.recorder);
            let begins = real_now() - TimeDelta::minutes(ago);
            let facts = conversation::facts(&HOME, begins, &ROUND);
            cart.store
                .append(&facts.iter().collect::<Vec<_>>())
                .unwrap();
            cart.exchanges();
            let (ledger, home) = HomeLedger::open(&aspen.station).unwrap();
            let folder = tempfile::tempdir().unwrap();
            let site = Site::at(folder, (home, ledger), false, (real_now, None));
            (site, reading(&cart.store.facts().unwrap()).0)
        });
        let mut nurse = site.visitor(Role::Nurse).await;
        let (_, page) = nurse.get(&format!("/readings/{id}")).await;
        let (_, said) = page.split_once("<dt>Recorder</dt><dd>").expect(&page);
        let (said, _) = said.split_once("</dd>").unwrap();
        match late {
            None => assert_eq!(said, "the cart"),
            Some(late) => {
                assert!(said.starts_with("the cart, arrived <time"), "{said}");
                assert!(
                    said.contains(late) && said.contains(" after it was taken"),
                    "{said}"
                );
            }
        }
        let (_, page) = nurse.get("/worklist").await;
        let (_, reports) = page.split_once("id=\"reports\"").expect(&page);
        let (_, report) = reports.split_once("open for").expect(reports);
        let (report, _) = report.split_once("</li>").unwrap();
        let says = report.contains(" after it was raised");
        assert_eq!(says, late.is_some(), "{report}");
        tokio::task::block_in_place(|| drop(site));
    }
}

#[test]
fn only_a_stations_link_is_a_stations() {
    let aspen = aspen();
    for link in [&aspen.recorder, &aspen.keeper] {
        let error = HomeLedger::open(link).err().unwrap().to_string();
        assert!(error.contains("enrol a station"), "{error}");
    }
}
