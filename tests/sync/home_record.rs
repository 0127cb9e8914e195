//! The home's record does what a record in a file does.

use sayback::facts::Body;
use sayback::store::Store;
use sayback::sync::SyncError;

use super::*;

#[test]
fn the_chain_is_the_one_of_a_record_in_a_file() {
    let aspen = Aspen::new();
    let mut home = open(&aspen.station);
    let folder = tempfile::tempdir().unwrap();
    let mut file = Store::open(&folder.path().join("record.db")).unwrap();
    assert_eq!(Some(home.head().unwrap()), file.head().unwrap());
    let mut facts = notes(1..=3);
    facts.push(note(4, "öß, \"quoted\", 5 °C, \u{1F642}, \n a second line"));
    facts.push(signature(5));
    let mut greenwich = note(6, "where the offset is none");
    greenwich.at = time("2026-03-02T07:30:00.25+00:00");
    facts.push(greenwich);
    facts.push(signature(7));
    let facts: Vec<_> = facts.iter().collect();
    file.append(&facts[..2]).unwrap();
    file.append(&facts[2..]).unwrap();
    home.append(&facts[..4]).unwrap();
    home.append(&facts[4..]).unwrap();
    assert_eq!(Some(home.head().unwrap()), file.head().unwrap());
    let of_file = file.check(&[]).unwrap();
    let head = of_file.head.clone().unwrap();
    let report = home.check(&[head]).unwrap();
    assert!(report.sound(), "{:?}", report.findings);
    assert_eq!((report.facts, report.signatures), (7, 2));
    assert_eq!(report.signatures, of_file.signatures);
}

#[test]
fn it_finds_facts_as_a_record_in_a_file_does() {
    let aspen = Aspen::new();
    let mut home = open(&aspen.station);
    let folder = tempfile::tempdir().unwrap();
    let mut file = Store::open(&folder.path().join("record.db")).unwrap();
    let mut facts = notes(1..=4);
    facts[1].round = Uuid::from_u128(77);
    facts[3].round = Uuid::from_u128(77);
    let other = ResidentId("AR-042".to_owned());
    facts[2].body = Body::Noted {
        resident: other.clone(),
        about: None,
        text: "another".to_owned(),
    };
    let all: Vec<_> = facts.iter().collect();
    file.append(&all).unwrap();
    home.append(&all).unwrap();
    let round = Uuid::from_u128(77);
    assert_eq!(
        home.facts_of_round(round).unwrap(),
        file.facts_of_round(round).unwrap()
    );
    assert_eq!(home.facts_of_round(round).unwrap().facts.len(), 2);
    assert_eq!(
        home.facts_about(&other).unwrap(),
        file.facts_about(&other).unwrap()
    );
    assert_eq!(home.facts_about(&other).unwrap().facts.len(), 1);
    // What a newer version sent is no damage here either.
    let mut newer = sent(&note(5, ""));
    newer.fact = newer.fact.replace("\"text\":\"\"", "\"text\":{}");
    home.put(&[newer]).unwrap();
    let read = home.facts_about(&ResidentId("AR-090".to_owned())).unwrap();
    assert_eq!((read.facts.len(), read.unread.len()), (3, 1));
    assert_eq!(read.unread[0].id, Uuid::from_u128(5));
    let report = home.check(&[]).unwrap();
    assert_eq!((report.findings, report.unread), (vec![], 1));
    let id = Uuid::from_u128(3);
    assert_eq!(home.fact(id).unwrap(), file.fact(id).unwrap());
    assert!(home.fact(id).unwrap().is_some());
    assert_eq!(home.fact(Uuid::from_u128(99)).unwrap(), None);
    let after = |stored: Vec<sayback::store::Stored>| -> Vec<(i64, Uuid)> {
        stored
            .into_iter()
            .map(|it| (it.seq, it.fact.unwrap().id))
            .collect()
    };
    assert_eq!(
        after(home.facts_after(1, 2).unwrap()),
        after(file.facts_after(1, 2).unwrap())
    );
}

#[test]
fn facts_come_twice_and_in_any_order() {
    let aspen = Aspen::new();
    let mut recorder = open(&aspen.recorder);
    let facts = all_sent(&notes(1..=9));
    assert_eq!(recorder.put(&facts[5..]).unwrap(), 4);
    assert_eq!(recorder.put(&facts[..7]).unwrap(), 5);
    assert_eq!(recorder.put(&facts).unwrap(), 0);
    // Twice in one batch too.
    let twice = [sent(&note(10, "x")), sent(&note(10, "x"))];
    assert_eq!(recorder.put(&twice).unwrap(), 1);
    assert_eq!(ids(&mut recorder), [6, 7, 8, 9, 1, 2, 3, 4, 5, 10]);
    let wanted = [3, 11, 12].map(Uuid::from_u128);
    assert_eq!(recorder.lacking(&wanted).unwrap(), wanted[1..]);
    assert!(recorder.check(&[]).unwrap().sound());
}

#[test]
fn the_same_identifier_with_another_text_is_refused_and_takes_its_batch_with_it() {
    let aspen = Aspen::new();
    let mut recorder = open(&aspen.recorder);
    recorder.put(&all_sent(&notes(1..=2))).unwrap();
    let head = recorder.head().unwrap();
    let batch = [
        sent(&note(3, "new")),
        sent(&note(2, "another")),
        sent(&note(4, "new")),
    ];
    match recorder.put(&batch) {
        Err(SyncError::Refused { id, why }) => {
            assert_eq!(id, Some(Uuid::from_u128(2)));
            assert!(why.contains("another text"), "{why}");
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(ids(&mut recorder), [1, 2]);
    assert_eq!(recorder.head().unwrap(), head);
}

#[test]
fn what_is_no_fact_is_refused_and_its_text_told_nobody() {
    let aspen = Aspen::new();
    let mut recorder = open(&aspen.recorder);
    let good = sent(&note(1, "good"));
    let changed = |from: &str, to: &str| {
        let fact = good.fact.replace(from, to);
        assert_ne!(fact, good.fact);
        Sent {
            fact,
            ..good.clone()
        }
    };
    let id = good.id.to_string();
    let bad = [
        changed("}", ""),
        changed("noted", "invented"),
        changed("\"kind\"", "\"sort\""),
        changed("2026-03-02T", "Maple Ridge secret "),
        changed(&id, "00000000-0000-0000-0000-0000000000ff"),
        changed("\"round\":\"0", "\"round\":\"x"),
        changed("good", "\\u0000"),
        changed("good", &"long ".repeat(30_000)),
    ];
    for it in bad {
        let refused = recorder.put(&[sent(&note(5, "other")), it.clone()]);
        let Err(SyncError::Refused { id, why }) = &refused else {
            panic!("{refused:?} of {}", it.fact);
        };
        assert_eq!(*id, Some(good.id));
        assert!(!why.contains("secret") && !why.contains("Maple"), "{why}");
        assert_eq!(ids(&mut recorder), [] as [u128; 0]);
    }
    assert_eq!(recorder.put(&[good]).unwrap(), 1);
}

#[test]
fn a_signature_holds_the_head_it_follows_whatever_comes_between() {
    let aspen = Aspen::new();
    let stop = std::sync::atomic::AtomicBool::new(false);
    std::thread::scope(|all| {
        let sending = all.spawn(|| {
            let mut recorder = open(&aspen.recorder);
            let mut number = 1000;
            while !stop.load(std::sync::atomic::Ordering::Relaxed) {
                recorder
                    .put(&all_sent(&notes(number..=number + 4)))
                    .unwrap();
                number += 5;
            }
            number
        });
        let mut station = open(&aspen.station);
        for number in 1..=40 {
            station
                .append(&[&note(number * 2, "seen"), &signature(number * 2 + 1)])
                .unwrap();
        }
        stop.store(true, std::sync::atomic::Ordering::Relaxed);
        assert!(sending.join().unwrap() > 1000);
        let report = station.check(&[]).unwrap();
        assert!(report.sound(), "{:?}", report.findings);
        assert_eq!(report.signatures, 40);
    });
}

/// Whoever reads on from where they were has missed nothing, though many append.
#[test]
fn nothing_comes_before_what_was_read() {
    let aspen = Aspen::new();
    let senders = ["one", "two", "three"];
    let links = senders.map(|it| enrol(&aspen.keeper, MemberKind::Recorder, it));
    std::thread::scope(|all| {
        for (at, link) in (0_u128..).zip(&links) {
            all.spawn(move || {
                let mut recorder = open(link);
                for batch in 0..20 {
                    let first = at * 10_000 + batch * 10 + 1;
                    recorder.put(&all_sent(&notes(first..=first + 9))).unwrap();
                }
            });
        }
        let mut station = open(&aspen.station);
        let (mut seq, mut read) = (0, Vec::new());
        while read.len() < 600 {
            for stored in station.facts_after(seq, 50).unwrap() {
                assert_eq!(stored.seq, seq + 1);
                seq = stored.seq;
                read.push(stored.fact.unwrap().id);
            }
        }
        read.sort();
        read.dedup();
        assert_eq!(read.len(), 600);
    });
}

#[test]
fn what_was_changed_in_the_database_is_found() {
    let aspen = Aspen::new();
    open(&aspen.recorder).put(&all_sent(&notes(1..=5))).unwrap();
    let mut station = open(&aspen.station);
    let known = station.head().unwrap();
    let mut superuser = Server::shared().superuser(&aspen.database).unwrap();
    // Not even the superuser by accident.
    for tamper in [
        "UPDATE sayback.fact SET fact = replace(fact, 'before', 'after')",
        "DELETE FROM sayback.fact WHERE seq = 5",
        "TRUNCATE sayback.fact",
    ] {
        let refused = superuser.batch_execute(tamper).unwrap_err();
        assert!(
            refused.as_db_error().unwrap().message().contains("never"),
            "{refused:?}"
        );
    }
    let tampers = [
        (
            "UPDATE sayback.fact SET fact = replace(fact, 'before', 'after') WHERE seq = 3",
            Some(3),
        ),
        (
            "UPDATE sayback.fact SET at = replace(at, '07', '08') WHERE seq = 2",
            Some(2),
        ),
        (
            "UPDATE sayback.fact SET resident = 'AR-001' WHERE seq = 4",
            Some(4),
        ),
        (
            "UPDATE sayback.fact SET hash = sha256(hash) WHERE seq = 1",
            Some(1),
        ),
        ("DELETE FROM sayback.fact WHERE seq = 2", Some(2)),
        ("DELETE FROM sayback.fact WHERE seq = 5", None),
        ("UPDATE sayback.home SET seq = 4", None),
        ("DELETE FROM sayback.fact", None),
    ];
    for (tamper, row) in tampers {
        let mut transaction = superuser.transaction().unwrap();
        // The guards put aside, as who may do all can.
        let aside = "SET LOCAL session_replication_role = replica";
        transaction.batch_execute(aside).unwrap();
        transaction
            .batch_execute("CREATE TABLE public.kept AS TABLE sayback.fact")
            .unwrap();
        transaction
            .batch_execute("CREATE TABLE public.stood AS TABLE sayback.home")
            .unwrap();
        transaction.batch_execute(tamper).unwrap();
        transaction.commit().unwrap();
        let report = station.check(std::slice::from_ref(&known)).unwrap();
        assert!(!report.sound(), "{tamper}");
        if let Some(row) = row {
            let first = &report.findings[0];
            assert_eq!(first.row, Some(row), "{tamper}: {first}");
        }
        let back = "BEGIN; SET LOCAL session_replication_role = replica; \
            DELETE FROM sayback.fact; INSERT INTO sayback.fact TABLE public.kept; \
            UPDATE sayback.home h SET seq = s.seq, hash = s.hash FROM public.stood s WHERE s.id = h.id; \
            DROP TABLE public.kept, public.stood; COMMIT";
        superuser.batch_execute(back).unwrap();
        assert!(
            station.check(std::slice::from_ref(&known)).unwrap().sound(),
            "{tamper}"
        );
    }
    let guard = "ALTER TABLE sayback.fact DISABLE TRIGGER fact_never_changes";
    superuser.batch_execute(guard).unwrap();
    let report = station.check(&[]).unwrap();
    assert!(
        report.findings[0]
            .to_string()
            .contains("fact_never_changes"),
        "{report:?}"
    );
}
