//! Several recorders and one home, on a real `PostgreSQL` server.

#![cfg(unix)]

#[path = "../browser/mod.rs"]
mod browser;
#[path = "../conversation/mod.rs"]
mod conversation;
#[path = "../../examples/home_scale/drive.rs"]
#[allow(dead_code, reason = "not all of its figures are used here")]
mod drive;
#[path = "../review/made.rs"]
#[allow(dead_code, reason = "a part of it is used here")]
mod made;
#[path = "../../examples/home_scale/plans.rs"]
#[allow(dead_code, reason = "not all of its figures are used here")]
mod plans;
#[path = "../postgres/mod.rs"]
mod postgres_server;
#[path = "../review/site.rs"]
#[allow(dead_code, reason = "a part of it is used here")]
mod site;
#[path = "../../examples/home_scale/split.rs"]
#[allow(dead_code, reason = "not all of its figures are used here")]
mod split;

mod apart;
mod by_hand;
mod certificates;
mod command;
mod cut_off;
mod doors;
mod exchange;
mod from_which;
mod home_record;
mod linked;
mod members;
mod proxy;
mod relinked;
mod rights;
mod round;
mod scale;
mod served;
mod settings;
mod station;
mod words;

use std::sync::LazyLock;

use sayback::facts::{Body, Fact, KeptReading, NO_ROUND, Time, VERSION};
use sayback::residents::{Home, ResidentId, Staff};
use sayback::sync::{HomeRecord, Link, MemberKind, Sent};
use uuid::Uuid;

use postgres_server::{Server, enrol};

static HOME: LazyLock<Home> =
    LazyLock::new(|| Home::from_toml(include_str!("../../audio-fixtures/demo-home.toml")).unwrap());

fn nurse() -> Staff {
    HOME.nurses[0].clone()
}

fn time(text: &str) -> Time {
    Time::parse_from_rfc3339(text).unwrap()
}

fn fact(number: u128, body: Body<KeptReading>) -> Fact<KeptReading> {
    Fact {
        id: Uuid::from_u128(number),
        version: VERSION,
        at: time("2026-03-02T07:30:00-05:00"),
        by: nurse(),
        round: NO_ROUND,
        body,
    }
}

/// A remark, told from others by its number.
fn note(number: u128, text: &str) -> Fact<KeptReading> {
    let body = Body::Noted {
        resident: ResidentId("AR-090".to_owned()),
        about: None,
        text: text.to_owned(),
    };
    fact(number, body)
}

fn signature(number: u128) -> Fact<KeptReading> {
    let signed = Uuid::from_u128(7);
    fact(number, Body::Signed { signed, head: None })
}

fn notes(numbers: std::ops::RangeInclusive<u128>) -> Vec<Fact<KeptReading>> {
    numbers.map(|it| note(it, "as before")).collect()
}

/// A fact as a recorder sends it.
fn sent(fact: &Fact<KeptReading>) -> Sent {
    Sent {
        id: fact.id,
        fact: serde_json::to_value(fact).unwrap().to_string(),
        seq: None,
        hash: None,
    }
}

fn all_sent(facts: &[Fact<KeptReading>]) -> Vec<Sent> {
    facts.iter().map(sent).collect()
}

fn ids(record: &mut HomeRecord) -> Vec<u128> {
    let stored = record.facts_after(0, usize::MAX).unwrap();
    stored
        .into_iter()
        .map(|it| it.fact.unwrap().id.as_u128())
        .collect()
}

/// A database with one home: its keeper, a recorder and a station.
struct Aspen {
    database: String,
    keeper: Link,
    recorder: Link,
    station: Link,
}

impl Aspen {
    fn new() -> Self {
        Self::on(Server::shared())
    }

    fn on(server: &Server) -> Self {
        let database = server.database();
        let keeper = server.home(&database, "aspen");
        Self {
            recorder: enrol(&keeper, MemberKind::Recorder, "the cart"),
            station: enrol(&keeper, MemberKind::Station, "the desk"),
            keeper,
            database,
        }
    }
}

fn open(link: &Link) -> HomeRecord {
    HomeRecord::open(link).unwrap()
}
