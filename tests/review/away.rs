//! A record that can't be reached for a while, and one to which others append at
//! the same time: with a ledger that does what it is told.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering::SeqCst};
use std::sync::{Arc, Mutex};

use axum::http::StatusCode;
use sayback::facts::{Body, ChainHead, Fact};
use sayback::residents::{Home, ResidentId};
use sayback::review::Ledger;
use sayback::review::accounts::Role;
use sayback::review::acts::NewFact;
use sayback::store::{Readable, Store, StoreError, Stored};
use sayback::vitals::{Component, VitalSign};
use uuid::Uuid;

use super::made;
use super::site::{Site, Visitor, text};

/// What befalls the record.
#[derive(Default)]
struct Fate {
    /// Nothing gets through.
    down: AtomicBool,
    /// What is stored is stored, and the answer is lost.
    mute: AtomicBool,
    /// So often, someone else appends between a look and an append.
    others: AtomicUsize,
    asked: AtomicUsize,
    /// The home that it keeps has changed to this.
    home: Mutex<Option<Home>>,
}

struct Far {
    store: Store,
    other: Store,
    fate: Arc<Fate>,
}

impl Far {
    fn through(&self) -> Result<(), StoreError> {
        self.fate.asked.fetch_add(1, SeqCst);
        if self.fate.down.load(SeqCst) {
            let why = "the home can't be reached: connection refused";
            return Err(StoreError::Read(why.to_owned()));
        }
        Ok(())
    }
}

impl Ledger for Far {
    fn facts_after(&mut self, seq: i64, most: usize) -> Result<Vec<Stored>, StoreError> {
        self.through()?;
        self.store.facts_after(seq, most)
    }

    fn append_at(&mut self, seq: i64, facts: &[&NewFact]) -> Result<bool, StoreError> {
        self.through()?;
        if self.fate.others.load(SeqCst) > 0 {
            self.fate.others.fetch_sub(1, SeqCst);
            let mut fact = facts[0].clone();
            fact.id = Uuid::now_v7();
            self.other.append(&[&fact])?;
        }
        let done = self.store.append_at(seq, facts);
        if self.fate.mute.load(SeqCst) {
            self.fate.down.store(true, SeqCst);
            return Err(StoreError::Unsure("connection reset".to_owned()));
        }
        done
    }

    fn fact(&mut self, id: Uuid) -> Result<Option<Fact>, StoreError> {
        self.through()?;
        self.store.fact(id)
    }

    fn facts_of_round(&mut self, round: Uuid) -> Result<Readable, StoreError> {
        self.through()?;
        self.store.facts_of_round(round)
    }

    fn facts_about(&mut self, resident: &ResidentId) -> Result<Readable, StoreError> {
        self.through()?;
        self.store.facts_about(resident)
    }

    fn head(&mut self) -> Result<Option<ChainHead>, StoreError> {
        self.through()?;
        self.store.head()
    }

    fn changed_home(&mut self) -> Result<Option<Home>, StoreError> {
        self.through()?;
        Ok(self.fate.home.lock().unwrap().take())
    }
}

fn far() -> (Site, Arc<Fate>) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let all = made::home(4);
    made::record(&path, &all, 30);
    let fate = Arc::new(Fate::default());
    let record = Far {
        store: Store::open(&path).unwrap(),
        other: Store::open(&path).unwrap(),
        fate: Arc::clone(&fate),
    };
    (Site::on(folder, all, record, false), fate)
}

fn acknowledged(site: &Site) -> usize {
    let facts = site.facts();
    let of = |it: &&Fact| matches!(it.body, Body::Acknowledged { .. });
    facts.iter().filter(of).count()
}

async fn acknowledge(site: &Site, nurse: &mut Visitor<'_>) -> (StatusCode, String) {
    let flag = site.station.index().open_reports().next().unwrap().id;
    let path = format!("/reports/{flag}/acknowledge");
    let answer = nurse.post(&path, "back=/worklist").await;
    (answer.status(), text(answer).await)
}

/// The pages keep what they have and say so, nothing is stored without a word,
/// nobody waits for what can't be reached, and it goes on by itself.
#[tokio::test]
async fn a_record_that_is_away_is_said_to_be_and_comes_back() {
    let (site, fate) = far();
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, before) = nurse.get("/worklist").await;
    assert!(!before.contains("be reached"));
    let id = {
        let index = site.station.index();
        let days = chrono::TimeDelta::days(2);
        let last = index.since(made::now() - days).last().map(|it| it.id);
        last.unwrap()
    };
    let reading = format!("/readings/{id}");
    assert_eq!(nurse.get(&reading).await.0, StatusCode::OK);

    fate.down.store(true, SeqCst);
    assert!(site.station.refresh().is_err());
    let mut changes = site.station.changes();
    changes.mark_unchanged();
    let asked = fate.asked.load(SeqCst);
    let (status, page) = nurse.get("/worklist").await;
    assert_eq!(status, StatusCode::OK);
    let said = "Since 11:40 the record cannot be read: the home can&#39;t be reached: connection \
                refused. Nothing can be stored until it is back. It is tried again all the \
                time. What is shown is as it was then.";
    assert!(
        page.contains(&said.replace("&#39;", "'")) || page.contains(said),
        "{page}"
    );
    for list in ["/residents", "/rounds", "/find"] {
        assert!(nurse.get(list).await.1.contains("Since 11:40"), "{list}");
    }
    let (status, page) = nurse.get(&reading).await;
    assert_eq!(status, StatusCode::INTERNAL_SERVER_ERROR);
    assert!(
        page.contains("Since 11:40") && page.contains("Not to be had now"),
        "{page}"
    );
    assert!(!page.contains("What is shown"), "nothing is: {page}");
    let (status, page) = acknowledge(&site, &mut nurse).await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(page.contains("Nothing can be stored"), "{page}");
    assert_eq!(fate.asked.load(SeqCst), asked, "pages waited for it");
    assert_eq!(acknowledged(&site), 0);

    fate.down.store(false, SeqCst);
    site.station.refresh().unwrap();
    assert!(changes.has_changed().unwrap(), "open pages are told");
    let (_, page) = nurse.get("/worklist").await;
    assert!(!page.contains("Since 11:40"));
    let (status, _) = acknowledge(&site, &mut nurse).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    assert_eq!(acknowledged(&site), 1);
}

/// Where the answer was lost, it is not said that nothing was stored.
#[tokio::test]
async fn a_lost_answer_is_said_to_be_unsure() {
    let (site, fate) = far();
    let mut nurse = site.visitor(Role::Nurse).await;
    fate.mute.store(true, SeqCst);
    let flag = site.station.index().open_reports().next().unwrap().id;
    let (status, page) = acknowledge(&site, &mut nurse).await;
    assert_eq!(status, StatusCode::GATEWAY_TIMEOUT);
    assert!(page.contains("It may be stored or not"), "{page}");
    assert!(!page.contains("Nothing was stored") && !page.contains("Not done"));
    fate.mute.store(false, SeqCst);
    fate.down.store(false, SeqCst);
    site.station.refresh().unwrap();
    assert!(
        site.station.index().closed(flag).is_some(),
        "now it is known"
    );
}

/// Between a look at the record and an append, another station does the same
/// thing: it is done once.
#[tokio::test]
async fn what_another_station_has_done_meanwhile_is_seen_before_it_is_done_again() {
    let (site, fate) = far();
    let mut nurse = site.visitor(Role::Nurse).await;
    fate.others.store(1, SeqCst);
    let (status, page) = acknowledge(&site, &mut nurse).await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(page.contains("has already closed this report"), "{page}");
    assert_eq!(acknowledged(&site), 1);
}

/// A home that the record itself keeps takes the place of the one before, with
/// the ranges that nurses set.
#[tokio::test]
async fn a_changed_home_is_taken_in_with_the_ranges_set() {
    let (site, fate) = far();
    let mut nurse = site.visitor(Role::Nurse).await;
    let range = "of=systolic&low=105&high=155";
    nurse.does("/residents/AR-001/range", range).await;
    let new = made::home(6);
    let name = new.residents[5].name.clone();
    assert!(!nurse.get("/residents").await.1.contains(&name));
    *fate.home.lock().unwrap() = Some(new);
    site.station.refresh().unwrap();
    assert!(nurse.get("/residents").await.1.contains(&name));
    let index = site.station.index();
    let resident = index.home().resident(&ResidentId("AR-001".to_owned()));
    let range = resident
        .unwrap()
        .limits
        .range(VitalSign::BloodPressure, Component::Systolic);
    assert_eq!(range.unwrap().bounds.high.to_string(), "155");
}

/// Sound is on the recorder on which it was spoken, and never at the home's.
#[tokio::test]
async fn where_the_record_is_elsewhere_so_is_its_sound() {
    let (site, fate) = far();
    let mut home = made::home(4);
    home.kept_sound = Some(sayback::residents::KeptSound {
        days: 14,
        megabytes: 10,
    });
    *fate.home.lock().unwrap() = Some(home);
    site.station.refresh().unwrap();
    let facts = site.facts();
    let read = facts.iter().find(|it| matches!(it.body, Body::Read(_)));
    let mut nurse = site.visitor(Role::Nurse).await;
    let reading = format!("/readings/{}", read.unwrap().id);
    let (_, page) = nurse.get(&reading).await;
    assert!(page.contains("Sound stays on the recorder"), "{page}");
    assert!(!page.contains("<audio"));
    let (status, _) = nurse.get(&format!("{reading}/sound")).await;
    assert_eq!(status, StatusCode::NOT_FOUND);
}
