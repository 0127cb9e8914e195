//! What comes from the home: the link file, facts of others, and settings.

use std::cell::RefCell;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use sayback::dialogue::{Dialogue, Event};
use sayback::facts::{ChainHead, Fact, KeptReading};
use sayback::hearing::Heard;
use sayback::residents::ResidentId;
use sayback::review::Ledger;
use sayback::round::{Round, Silent};
use sayback::store::{RawFact, Readable, Store, StoreError, Stored};
use sayback::sync::{Files, Link, Version, limits_of, usable};
use tempfile::TempDir;
use uuid::Uuid;

use super::web::{ROUND, Site, recorded};
use super::{DIALOGUE, GRAMMAR, now, text};

/// Stands in the seeds where a password belongs, and where none does.
const SECRET: &str = "7719305527";

/// A link file. What is read is written as the same; what is refused is refused
/// without a word of the password.
pub fn link(data: &[u8]) {
    let Some(text) = text(data) else { return };
    let text = text.replace("SECRET", SECRET);
    match Link::parse(&text) {
        Ok(link) => {
            let written = link.text().expect("it can be written");
            assert_eq!(Link::parse(&written).expect("and read again"), link);
            if link.password.0 == SECRET {
                let rest = [&link.home, &link.label, &link.host, &link.database];
                let shown = format!("{link:?}");
                assert_eq!(
                    shown.contains(SECRET),
                    rest.iter().any(|it| it.contains(SECRET))
                        || link.role.contains(SECRET)
                        || link.ca.contains(SECRET)
                );
            }
        }
        Err(problem) => assert!(!problem.contains(SECRET), "{problem}"),
    }
}

/// Facts as the home hands them out: a line each, and an empty line between two
/// batches. What says no identifier has another's.
fn batches(text: &str) -> impl Iterator<Item = Vec<RawFact>> {
    let id = |line: &str| {
        let json: serde_json::Value = serde_json::from_str(line).ok()?;
        json["id"].as_str()?.parse().ok()
    };
    let one = move |line: &str| RawFact {
        id: id(line).unwrap_or(Uuid::from_u128(7)),
        text: line.to_owned(),
    };
    let batches = text.split("\n\n").take(4);
    batches.map(move |it| it.lines().take(20).map(one).collect())
}

/// Facts that a recorder fetches: all of a batch or none, each as its exact text,
/// twice as once, sound by the check; and whatever they say, a round can be held
/// after them, and what it keeps is kept.
pub fn fetched(data: &[u8]) {
    let Some(text) = text(data) else { return };
    let mut store = Store::in_memory().expect("a record");
    let own = recorded(&DIALOGUE);
    store
        .append(&own.iter().collect::<Vec<_>>())
        .expect("appended");
    let mut there = own.len();
    for batch in batches(text) {
        let head = store.head().expect("a head");
        match store.append_fetched(&batch) {
            Ok(new) => {
                there += new;
                assert_eq!(store.append_fetched(&batch).expect("again"), 0);
            }
            Err(StoreError::Refused { .. }) => {
                assert_eq!(store.head().expect("a head"), head, "a part of a batch");
            }
            Err(error) => panic!("{error}"),
        }
        assert_eq!(count(&store), there);
    }
    assert_eq!(
        store.unsent(0, usize::MAX).expect("unsent").len(),
        own.len()
    );
    held(&DIALOGUE, &mut store);
    // What only a newer version can read is not among them.
    assert_eq!(store.check(&[]).expect("a check").findings, vec![]);
}

fn count(store: &Store) -> usize {
    store.facts_after(0, usize::MAX).expect("facts").len()
}

/// A round with every word of [`ROUND`]. Its reading is stored.
fn held(dialogue: &Dialogue, store: &mut Store) {
    let before = count(store);
    let opened = Round::open(dialogue, store, now(), &mut Silent);
    let (mut round, _) = opened.expect("a round can begin");
    for (words, minute) in ROUND.iter().zip(1..) {
        let at = now() + chrono::TimeDelta::minutes(minute);
        round.take(&Event::Heard(Heard::from_text(words)), at, &mut Silent);
    }
    drop(round);
    let stored = store.facts_after(0, usize::MAX).expect("facts");
    let new = &stored[before..];
    assert!(!new.is_empty(), "a round is a fact");
    assert!(new.iter().all(|it| it.fact.is_ok()), "it can be read");
}

/// A record that a station reads while others write to it.
#[derive(Clone)]
struct Shared(Arc<Mutex<Store>>);

impl Shared {
    fn store(&self) -> MutexGuard<'_, Store> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Ledger for Shared {
    fn facts_after(&mut self, seq: i64, most: usize) -> Result<Vec<Stored>, StoreError> {
        self.store().facts_after(seq, most)
    }

    fn append_at(&mut self, seq: i64, facts: &[&Fact<KeptReading>]) -> Result<bool, StoreError> {
        self.store().append_at(seq, facts)
    }

    fn fact(&mut self, id: Uuid) -> Result<Option<Fact>, StoreError> {
        self.store().fact(id)
    }

    fn facts_of_round(&mut self, round: Uuid) -> Result<Readable, StoreError> {
        self.store().facts_of_round(round)
    }

    fn facts_about(&mut self, resident: &ResidentId) -> Result<Readable, StoreError> {
        self.store().facts_about(resident)
    }

    fn head(&mut self) -> Result<Option<ChainHead>, StoreError> {
        self.store().head()
    }
}

thread_local! {
    static SHOWN: RefCell<Option<(Site, Shared)>> = const { RefCell::new(None) };
}

/// So many inputs to one station: a new one costs a sign-in, and what has piled up
/// slows it.
const ANEW: usize = 60;

/// Facts of others, shown: every page about them that the station has.
pub fn shown(data: &[u8]) {
    let Some(text) = text(data) else { return };
    SHOWN.with_borrow_mut(|kept| {
        let (site, record) = kept.get_or_insert_with(|| {
            let record = Shared(Arc::new(Mutex::new(Store::in_memory().expect("a record"))));
            (Site::of(record.clone()), record)
        });
        let mut paths: Vec<String> = ["/worklist", "/residents", "/rounds", "/find"]
            .map(str::to_owned)
            .to_vec();
        for fact in batches(text).flatten().take(20) {
            if record
                .store()
                .append_fetched(std::slice::from_ref(&fact))
                .is_err()
            {
                continue;
            }
            let Ok(json) = serde_json::from_str::<serde_json::Value>(&fact.text) else {
                continue;
            };
            let said = |field: &str| json[field].as_str().unwrap_or_default().to_owned();
            let (resident, round) = (said("resident"), said("round"));
            paths.push(format!("/readings/{}", fact.id));
            for what in ["", "/summary", "/csv", "/fhir", "/weight", "/respiration"] {
                paths.push(format!("/residents/{resident}{what}"));
            }
            for what in ["", "/sheet", "/csv", "/fhir"] {
                paths.push(format!("/rounds/{round}{what}"));
            }
        }
        paths.sort();
        paths.dedup();
        site.station.refresh().expect("it can be read");
        for path in paths {
            let Some(request) = site.request("GET", &path, Vec::new()) else {
                continue;
            };
            let (status, _, page) = site.ask(request);
            // A fact that only a newer version can read is said to be one.
            let said = page.contains("in the record cannot be read");
            assert!(said || !status.is_server_error(), "{path}: {status}");
        }
        site.asked += 1;
        if site.asked as usize >= ANEW {
            *kept = None;
        }
    });
}

struct Home {
    folder: TempDir,
    files: Files,
}

thread_local! {
    static FILES: RefCell<Option<Home>> = const { RefCell::new(None) };
}

/// The roster's and the limits' versions as they come from the home, one after the
/// other. What is in force is always a text that came whole, or the one of before,
/// and roster and limits fit each other; a round can begin with them; what is
/// refused changes nothing; and who has both that are newest has them in force, if
/// they fit each other.
pub fn settings(data: &[u8]) {
    let Some(text) = text(data) else { return };
    FILES.with_borrow_mut(|kept| {
        let home = kept.get_or_insert_with(|| {
            let folder = tempfile::tempdir().expect("a folder");
            let files = Files::beside(&folder.path().join("home.toml"));
            Home { folder, files }
        });
        let roster = home.folder.path().join("home.toml");
        let limits = limits_of(&roster);
        std::fs::write(&roster, include_str!("seeds/roster_toml/demo.toml")).expect("a roster");
        for path in [&limits, &limits.with_extension("before.toml")] {
            let _ = std::fs::remove_file(path);
        }
        let read = |path: &Path| std::fs::read_to_string(path).ok();
        let mut newest = [None, None];
        for (number, part) in (1..=6).zip(text.split("\n=== ")) {
            let (kind, text) = part.split_once('\n').unwrap_or(("", part));
            let version = Version {
                version: number,
                text: text.to_owned(),
                by: "Ines Marlow".to_owned(),
                at: chrono::DateTime::UNIX_EPOCH,
            };
            newest[usize::from(kind == "limits")] = Some(version);
            let before = [read(&roster), read(&limits)];
            let (said, written) = home.files.put(newest[0].as_ref(), newest[1].as_ref());
            assert!(written, "{said:?}");
            let after = [read(&roster), read(&limits)];
            for at in [0, 1] {
                let new = newest[at].as_ref().map(|it| &it.text);
                assert!(after[at] == before[at] || after[at].as_ref() == new);
            }
            assert_eq!(said.is_empty(), {
                let there = |at: usize| newest[at].as_ref().map(|it| &it.text);
                [0, 1]
                    .iter()
                    .all(|at| there(*at).is_none_or(|it| before[*at].as_ref() == Some(it)))
            });
            if after != before {
                let roster_text = after[0].as_deref().expect("a roster");
                let in_force = usable(roster_text, after[1].as_deref()).expect("it fits");
                let staff = in_force.aides.clone();
                let dialogue = Dialogue::for_staff(in_force, staff, &GRAMMAR);
                recorded(&dialogue.expect("a round can begin"));
            }
            if let [Some(roster), Some(limits)] = &newest
                && after != [roster, limits].map(|it| Some(it.text.clone()))
            {
                let fits = usable(&roster.text, Some(&limits.text));
                assert!(fits.is_err(), "{said:?}");
            }
        }
        let names = std::fs::read_dir(home.folder.path()).expect("a folder");
        for name in names {
            let name = name.expect("a name").file_name();
            assert!(
                !name.to_string_lossy().ends_with("new"),
                "{}",
                name.display()
            );
        }
    });
}
