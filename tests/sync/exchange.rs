//! What a recorder and its home say to each other, over a network that fails.

use std::path::Path;

use sayback::store::Store;
use sayback::sync::{Exchange, SyncError};

use super::proxy::Proxy;
use super::*;

/// A record of a recorder's own, with so many remarks.
struct Cart {
    _folder: tempfile::TempDir,
    store: Store,
}

impl Cart {
    fn with(facts: &[Fact<KeptReading>]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(&folder.path().join("record.db")).unwrap();
        store.append(&facts.iter().collect::<Vec<_>>()).unwrap();
        Self {
            _folder: folder,
            store,
        }
    }

    fn path(&self) -> &Path {
        self.store.path()
    }

    fn ids(&self) -> Vec<u128> {
        let facts = self.store.facts().unwrap();
        facts.iter().map(|it| it.id.as_u128()).collect()
    }
}

fn through(link: &Link, proxy: &Proxy) -> Link {
    Link {
        port: proxy.port,
        ..link.clone()
    }
}

fn asked(number: u128) -> Fact<KeptReading> {
    let body = Body::RecheckAsked {
        resident: ResidentId("AR-090".to_owned()),
        sign: sayback::vitals::VitalSign::Pulse,
        reason: "high".to_owned(),
    };
    fact(number, body)
}

fn retracted(number: u128) -> Fact<KeptReading> {
    let body = Body::Retracted {
        reading: Uuid::from_u128(number + 1_000_000),
        resident: ResidentId("AR-090".to_owned()),
        reason: "of another".to_owned(),
        over: Vec::new(),
    };
    fact(number, body)
}

#[test]
fn what_was_recorded_is_sent_and_what_is_needed_comes() {
    let aspen = Aspen::new();
    let mut cart = Cart::with(&notes(1..=450));
    let mut exchange = Exchange::new(&aspen.recorder);
    assert_eq!(cart.store.waiting(exchange.sent()).unwrap().facts, 450);
    let moved = exchange.run(&mut cart.store).unwrap();
    assert_eq!((moved.sent, moved.fetched), (450, 0));
    assert_eq!(cart.store.waiting(exchange.sent()).unwrap().facts, 0);
    let mut station = open(&aspen.station);
    assert_eq!(ids(&mut station), (1..=450).collect::<Vec<_>>());
    station
        .append(&[&asked(1001), &note(1002, "the nurse's"), &signature(1003)])
        .unwrap();
    cart.store.append(&[&note(451, "new")]).unwrap();
    let moved = exchange.run(&mut cart.store).unwrap();
    assert_eq!(
        (moved.sent, moved.fetched),
        (1, 1),
        "a recheck, and no remark or signature"
    );
    assert_eq!(*cart.ids().last().unwrap(), 1001);
    // What came is not sent back, and what is there does not come again.
    let moved = exchange.run(&mut cart.store).unwrap();
    assert_eq!((moved.sent, moved.fetched), (0, 0));
    let mut again = Exchange::new(&aspen.recorder);
    let moved = again.run(&mut cart.store).unwrap();
    assert_eq!((moved.sent, moved.fetched), (0, 0));
    assert_eq!(cart.store.waiting(again.sent()).unwrap().facts, 0);
    assert!(cart.store.check(&[]).unwrap().sound());
    assert!(station.check(&[]).unwrap().sound());
}

/// The link each fact had in the record that it comes from is kept with it.
#[test]
fn the_home_knows_each_facts_place_and_link_where_it_comes_from() {
    let aspen = Aspen::new();
    let mut cart = Cart::with(&notes(1..=3));
    Exchange::new(&aspen.recorder).run(&mut cart.store).unwrap();
    let mut superuser = Server::shared().superuser(&aspen.database).unwrap();
    let row =
        "SELECT sender_seq, encode(sender_hash, 'hex') FROM sayback.fact ORDER BY seq DESC LIMIT 1";
    let row = superuser.query_one(row, &[]).unwrap();
    let head = cart.store.head().unwrap().unwrap();
    assert_eq!(
        (row.get::<_, i64>(0), row.get::<_, String>(1)),
        (head.seq, head.hash)
    );
}

/// Wherever it is cut: each try goes a little further, nothing comes twice, nothing
/// is lost.
#[test]
fn a_link_cut_in_the_middle_of_a_batch_loses_nothing() {
    let aspen = Aspen::new();
    let proxy = Proxy::to(aspen.recorder.port);
    let link = through(&aspen.recorder, &proxy);
    let mut cart = Cart::with(&notes(1..=900));
    open(&aspen.station)
        .append(
            &(2000..=2400)
                .map(retracted)
                .collect::<Vec<_>>()
                .iter()
                .collect::<Vec<_>>(),
        )
        .unwrap();
    let mut random = fastrand::Rng::with_seed(7);
    let mut exchange = Exchange::new(&link);
    let (mut failed, mut done) = (0, false);
    for tried in 0..400 {
        // Some cuts fall into signing on, some into a batch, some into its answer.
        proxy.cut_after(random.i64(2_000..400_000));
        if tried % 5 == 4 {
            // The program was started anew.
            exchange = Exchange::new(&link);
        }
        match exchange.run(&mut cart.store) {
            Ok(_) => {
                done = true;
                if failed > 20 {
                    break;
                }
                // All is there: something new.
                let first = 10_000 + u128::from(random.u32(0..1_000_000)) * 100;
                let more = notes(first..=first + 60);
                cart.store.append(&more.iter().collect::<Vec<_>>()).unwrap();
            }
            Err(error) => {
                assert!(
                    matches!(
                        error,
                        SyncError::Unreachable(_)
                            | SyncError::Database(_)
                            | SyncError::NotTheHome(_)
                    ),
                    "{error:?}"
                );
                failed += 1;
            }
        }
    }
    proxy.mend();
    exchange.run(&mut cart.store).unwrap();
    assert!(done && failed > 20, "{failed} failed");
    println!(
        "cut {} times, {failed} tries failed",
        proxy.cuts.load(std::sync::atomic::Ordering::SeqCst)
    );
    let mut station = open(&aspen.station);
    let (mut here, mut there) = (cart.ids(), ids(&mut station));
    here.sort_unstable();
    there.sort_unstable();
    assert_eq!(here, there);
    assert!(here.len() >= 1301);
    let report = station.check(&[]).unwrap();
    assert!(report.sound(), "{:?}", report.findings);
    assert!(cart.store.check(&[]).unwrap().sound());
}

#[test]
fn a_server_that_stops_and_starts_is_found_again() {
    let server = Server::start();
    let aspen = Aspen::on(&server);
    let mut cart = Cart::with(&notes(1..=10));
    let mut exchange = Exchange::new(&aspen.recorder);
    let mut station = open(&aspen.station);
    exchange.run(&mut cart.store).unwrap();
    for round in 1..=3_u128 {
        server.down();
        let more = notes(round * 100..=round * 100 + 5);
        cart.store.append(&more.iter().collect::<Vec<_>>()).unwrap();
        let error = exchange.run(&mut cart.store).unwrap_err();
        assert!(matches!(error, SyncError::Unreachable(_)), "{error:?}");
        assert_eq!(cart.store.waiting(exchange.sent()).unwrap().facts, 6);
        assert!(station.head().is_err());
        server.up();
        assert_eq!(exchange.run(&mut cart.store).unwrap().sent, 6);
        assert!(station.check(&[]).unwrap().sound());
    }
    assert_eq!(ids(&mut station), cart.ids());
}

#[test]
fn what_the_home_refuses_keeps_nothing_else_back() {
    let aspen = Aspen::new();
    let mut facts = notes(1..=5);
    // Made by a station that used this record before it was a recorder's.
    facts.insert(2, asked(20));
    let mut cart = Cart::with(&facts);
    open(&aspen.station)
        .append(&[&note(4, "another text")])
        .unwrap();
    let mut exchange = Exchange::new(&aspen.recorder);
    assert_eq!(exchange.run(&mut cart.store).unwrap().sent, 4);
    let refused: Vec<_> = exchange.refused().collect();
    assert_eq!(refused.len(), 1, "{refused:?}");
    assert!(
        refused[0].contains("a recorder may not send"),
        "{refused:?}"
    );
    cart.store.append(&[&note(6, "goes on")]).unwrap();
    assert_eq!(exchange.run(&mut cart.store).unwrap().sent, 1);
}

/// The database would take more for a time than a recorder reads.
#[test]
fn the_home_takes_no_time_that_no_recorder_reads() {
    let aspen = Aspen::new();
    let mut recorder = open(&aspen.recorder);
    for (time, taken) in [
        ("infinity", false),
        ("yesterday", false),
        ("2026-03-02", false),
        ("2026-03-02 07:30:00-05:00", false),
        ("2026-03-02T24:00:00-05:00", false),
        ("2026-03-02T07:30:00.123-05:00", true),
        ("2026-03-02T12:30:00Z", true),
    ] {
        let mut one = sent(&note(1, "x"));
        let mut fact: serde_json::Value = serde_json::from_str(&one.fact).unwrap();
        fact["at"] = time.into();
        fact["id"] = Uuid::new_v4().to_string().into();
        one.id = fact["id"].as_str().unwrap().parse().unwrap();
        one.fact = fact.to_string();
        let put = recorder.put(&[one]);
        assert_eq!(put.is_ok(), taken, "{time}: {put:?}");
    }
}

/// What the home takes it finds sound, and a recorder that fetches it can store it:
/// the two read the same texts by different means.
#[test]
fn what_the_home_takes_a_recorder_takes() {
    let aspen = Aspen::new();
    let mut station = open(&aspen.station);
    let whole = sent(&asked(1)).fact;
    let odd = [
        ("at", r#""2026-03-02T07:30:00.5-05:00""#),
        ("at", r#""2026-03-02T07:30:00.1234567-05:00""#),
        ("at", r#""2026-03-02T07:30:00-00:00""#),
        ("at", r#""2026-03-02T07:30:00z""#),
        ("at", r#""2026-03-02T07:30:60-05:00""#),
        ("at", r#""2026-02-30T07:30:00-05:00""#),
        ("at", r#""0000-01-01T00:00:00Z""#),
        ("at", r#""9999-12-31T23:59:59Z""#),
        ("at", r#""2026-03-02T07:30:00+15:59""#),
        ("at", r#""2026-03-02T07:30:00+24:00""#),
        ("at", r#""2026-03-02T07:30\u003a00-05:00""#),
        ("round", r#""0000000000000000000000000000000A""#),
        ("round", r#""{00000000-0000-0000-0000-00000000000a}""#),
        ("round", r#""00000000-0000-0000-0000-00000000000A""#),
        ("round", "null"),
        ("kind", r#""recheck\u005fasked""#),
        ("kind", "[]"),
        ("resident", "5"),
        ("resident", "true"),
        ("resident", r#"{"a": [1, 2]}"#),
        ("resident", r#""AR-\u0030\u0039\u0030""#),
        ("resident", r#""AR-\u0000""#),
        ("resident", r#""\ud800""#),
        ("resident", r#""\ud83d\ude00""#),
        ("version", "1e400"),
        ("version", "1.0"),
        ("sign", r#""no such sign""#),
        ("by", "null"),
        ("reason", r#""\u007f \" \\ / <""#),
    ];
    let mut taken = 0;
    for (number, (field, value)) in (1_u128..).zip(odd) {
        let mut fact: serde_json::Value = serde_json::from_str(&whole).unwrap();
        let id = Uuid::from_u128(number);
        fact["id"] = id.to_string().into();
        fact[field] = "HERE".into();
        let text = fact.to_string().replace("\"HERE\"", value);
        let one = Sent {
            id,
            fact: text,
            seq: None,
            hash: None,
        };
        match station.put(&[one]) {
            Ok(new) => taken += new,
            Err(SyncError::Refused { id: about, .. }) => assert_eq!(about, Some(id)),
            Err(error) => panic!("{field} {value}: {error}"),
        }
    }
    let whole = |report: sayback::store::Report| {
        assert_eq!(report.findings, vec![]);
        assert!(report.unread > 0, "some of it only a newer version reads");
    };
    whole(station.check(&[]).unwrap());
    let mut cart = Cart::with(&[]);
    let mut exchange = Exchange::new(&aspen.recorder);
    let moved = exchange.run(&mut cart.store).unwrap();
    assert_eq!(exchange.refused().collect::<Vec<_>>(), [] as [&str; 0]);
    assert_eq!(moved.fetched as u64, taken);
    assert!(taken > 5, "{taken}");
    whole(cart.store.check(&[]).unwrap());
}

/// As from a home whose rules were others.
#[test]
fn what_cannot_be_stored_here_does_not_keep_back_what_comes_after() {
    let aspen = Aspen::new();
    let mut station = open(&aspen.station);
    let asked = |numbers: std::ops::RangeInclusive<u128>| numbers.map(asked).collect::<Vec<_>>();
    station
        .append(&asked(1..=3).iter().collect::<Vec<_>>())
        .unwrap();
    let mut superuser = Server::shared().superuser(&aspen.database).unwrap();
    superuser
        .batch_execute(
            "ALTER TABLE sayback.fact DISABLE TRIGGER ALL;
             UPDATE sayback.fact SET fact = replace(fact, '2026-03-02T', 'once ') WHERE seq = 2;
             ALTER TABLE sayback.fact ENABLE TRIGGER ALL",
        )
        .unwrap();
    let mut cart = Cart::with(&[]);
    let mut exchange = Exchange::new(&aspen.recorder);
    assert_eq!(exchange.run(&mut cart.store).unwrap().fetched, 2);
    assert_eq!(cart.ids(), [1, 3]);
    let refused: Vec<_> = exchange.refused().collect();
    assert!(
        matches!(refused[..], [it] if it.contains("can't be stored")),
        "{refused:?}"
    );
    station
        .append(&asked(4..=4).iter().collect::<Vec<_>>())
        .unwrap();
    assert_eq!(exchange.run(&mut cart.store).unwrap().fetched, 1);
    assert_eq!(exchange.refused().count(), 1, "it stays said");
    assert!(cart.store.check(&[]).unwrap().sound());
}

#[test]
fn two_recorders_each_get_what_the_other_recorded() {
    let aspen = Aspen::new();
    let other = enrol(&aspen.keeper, MemberKind::Recorder, "the other cart");
    let sides = [(&aspen.recorder, 1), (&other, 1_000)];
    std::thread::scope(|all| {
        for (link, first) in sides {
            all.spawn(move || {
                let mut cart = Cart::with(&[]);
                let mut exchange = Exchange::new(link);
                for batch in 0..20 {
                    let first = first + batch * 10;
                    let facts: Vec<_> = (first..first + 10).map(retracted).collect();
                    cart.store
                        .append(&facts.iter().collect::<Vec<_>>())
                        .unwrap();
                    exchange.run(&mut cart.store).unwrap();
                }
                for _ in 0..600 {
                    if cart.ids().len() == 400 {
                        break;
                    }
                    std::thread::sleep(std::time::Duration::from_millis(50));
                    exchange.run(&mut cart.store).unwrap();
                }
                let mut ids = cart.ids();
                ids.sort_unstable();
                let expected: Vec<u128> = (1..=200).chain(1_000..=1_199).collect();
                assert_eq!(ids, expected);
                assert!(cart.store.check(&[]).unwrap().sound());
            });
        }
    });
}

/// The device is lost and its record with it: what was sent comes back to the next.
#[test]
fn a_recorder_whose_record_is_lost_gets_back_what_it_sent() {
    let aspen = Aspen::new();
    let facts: Vec<_> = (1..=250).map(retracted).collect();
    let mut lost = Cart::with(&facts);
    Exchange::new(&aspen.recorder).run(&mut lost.store).unwrap();
    let mut next = Cart::with(&notes(901..=902));
    let mut exchange = Exchange::new(&aspen.recorder);
    let moved = exchange.run(&mut next.store).unwrap();
    assert_eq!((moved.sent, moved.fetched), (2, 250));
    assert_eq!(exchange.run(&mut next.store).unwrap().fetched, 0);
    assert_ne!(lost.path(), next.path());
}

/// A home whose database was put back from a backup gets again what it lost.
#[test]
fn a_home_that_was_put_back_gets_again_what_it_lost() {
    let aspen = Aspen::new();
    let mut cart = Cart::with(&notes(1..=5));
    let proxy = Proxy::to(aspen.recorder.port);
    let mut exchange = Exchange::new(&through(&aspen.recorder, &proxy));
    exchange.run(&mut cart.store).unwrap();
    let mut superuser = Server::shared().superuser(&aspen.database).unwrap();
    let backup =
        "CREATE TABLE public.f AS TABLE sayback.fact; CREATE TABLE public.h AS TABLE sayback.home";
    superuser.batch_execute(backup).unwrap();
    cart.store
        .append(&notes(6..=9).iter().collect::<Vec<_>>())
        .unwrap();
    exchange.run(&mut cart.store).unwrap();
    let restore = "BEGIN; SET LOCAL session_replication_role = replica; DELETE FROM sayback.fact; \
        INSERT INTO sayback.fact TABLE public.f; \
        UPDATE sayback.home h SET seq = s.seq, hash = s.hash FROM public.h s WHERE s.id = h.id; COMMIT";
    superuser.batch_execute(restore).unwrap();
    assert_eq!(ids(&mut open(&aspen.station)).len(), 5);
    // Cut off wherever in the looking, it still knows how the home stood.
    for bytes in (0..).step_by(200) {
        proxy.cut_after(bytes);
        if exchange.run(&mut cart.store).is_ok() {
            break;
        }
    }
    proxy.mend();
    exchange.run(&mut cart.store).unwrap();
    assert_eq!(ids(&mut open(&aspen.station)).len(), 9);
    assert!(open(&aspen.station).check(&[]).unwrap().sound());
}
