//! Who may do what: every role with every action, right and wrong.

use super::*;

const FUNCTIONS: [(&str, &str); 10] = [
    // What it does; who may: r recorder, s station, k keeper.
    (
        "SELECT sayback.put(ARRAY['00000000-0000-0000-0000-00000000000a'::uuid], ARRAY[$$NOTE$$], ARRAY[NULL::bigint], ARRAY[NULL::bytea])",
        "rs",
    ),
    (
        "SELECT sayback.put(ARRAY['00000000-0000-0000-0000-00000000000b'::uuid], ARRAY[$$RECHECK$$], ARRAY[NULL::bigint], ARRAY[NULL::bytea])",
        "s",
    ),
    ("SELECT sayback.head_for_append()", "s"),
    ("SELECT sayback.lacking(ARRAY[]::uuid[])", "rs"),
    (
        "SELECT sayback.set_setting('limits', 'x', 'me', NULL)",
        "sk",
    ),
    ("SELECT sayback.members()", "sk"),
    (
        "SELECT sayback.enrol('recorder', 'WHO', 'SCRAM-SHA-256$4096:AAAA$AAAA:AAAA')",
        "k",
    ),
    ("SELECT sayback.revoke('nobody there')", "k"),
    ("SELECT sayback.end_sessions_of_revoked()", "k"),
    ("SELECT sayback.my_home()", "rsk"),
];

/// What nobody may do, whoever signs on.
const NEVER: [&str; 24] = [
    "INSERT INTO sayback.fact SELECT * FROM sayback.fact",
    "INSERT INTO sayback.fact (home, seq, id, round, at, kind, fact, hash, sender) VALUES ('aspen', 99, gen_random_uuid(), gen_random_uuid(), '', '', '', '', '')",
    "UPDATE sayback.fact SET fact = ''",
    "UPDATE sayback.fact SET fact = '' WHERE false",
    "DELETE FROM sayback.fact",
    "TRUNCATE sayback.fact",
    "TRUNCATE sayback.setting",
    "INSERT INTO sayback.setting (home, name, version, text, by, sender) VALUES ('aspen', 'roster', 99, '', '', '')",
    "UPDATE sayback.setting SET text = ''",
    "DELETE FROM sayback.setting",
    "INSERT INTO sayback.member (role, home, kind, label) VALUES (session_user || 'x', 'aspen', 'station', 'me')",
    "UPDATE sayback.member SET kind = 'station'",
    "DELETE FROM sayback.member",
    "UPDATE sayback.home SET seq = 0",
    "DELETE FROM sayback.home",
    "SELECT sayback.new_member('aspen', 'station', 'me too', 'SCRAM-SHA-256$')",
    "SELECT sayback.new_home('mine', 'Mine')",
    "SELECT sayback.caller('recorder', 'station', 'keeper')",
    "ALTER TABLE sayback.fact DISABLE ROW LEVEL SECURITY",
    "ALTER TABLE sayback.fact DISABLE TRIGGER ALL",
    "SET ROLE sayback_owner",
    "SET SESSION AUTHORIZATION sayback_owner",
    "CREATE TABLE sayback.mine (x int)",
    "CREATE FUNCTION public.int8send(bigint) RETURNS bytea LANGUAGE sql AS 'SELECT NULL::bytea'",
];

fn allowed(client: &mut postgres::Client, sql: &str) -> Result<(), String> {
    // Rolled back, so that each is tried on the same.
    let mut transaction = client.transaction().unwrap();
    let done = transaction.batch_execute(sql);
    done.map_err(|error| error.as_db_error().unwrap().message().to_owned())
}

#[test]
fn every_role_may_do_its_own_and_nothing_else() {
    let aspen = Aspen::new();
    open(&aspen.recorder).put(&all_sent(&notes(1..=2))).unwrap();
    let recheck = sayback::facts::Body::RecheckAsked {
        resident: ResidentId("AR-090".to_owned()),
        sign: sayback::vitals::VitalSign::Pulse,
        reason: "high".to_owned(),
    };
    let recheck = sent(&fact(11, recheck)).fact;
    let note = sent(&note(10, "x")).fact;
    let mut tried = 0;
    for (link, letter) in [
        (&aspen.recorder, 'r'),
        (&aspen.station, 's'),
        (&aspen.keeper, 'k'),
    ] {
        let mut client = postgres_server::raw(link);
        for (sql, may) in FUNCTIONS {
            let sql = sql
                .replace("NOTE", &note)
                .replace("RECHECK", &recheck)
                .replace("WHO", &link.role);
            let done = allowed(&mut client, &sql);
            if may.contains(letter) {
                let in_order = done.is_ok()
                    || done
                        .as_ref()
                        .is_err_and(|it| it.contains("nobody called that"));
                assert!(in_order, "{letter}: {sql}: {done:?}");
            } else {
                let why = done.expect_err(&sql);
                let refused = ["permission denied", "may not"]
                    .iter()
                    .any(|it| why.contains(it));
                assert!(refused, "{letter}: {sql}: {why}");
            }
            tried += 1;
        }
        for sql in NEVER {
            let why = allowed(&mut client, sql).expect_err(sql);
            let refused = ["permission denied", "must be owner"]
                .iter()
                .any(|it| why.contains(it));
            assert!(refused, "{letter}: {sql}: {why}");
            tried += 1;
        }
        for (table, may) in [
            ("fact", "rs"),
            ("member", "sk"),
            ("setting", "rsk"),
            ("home", "rsk"),
        ] {
            let read = allowed(&mut client, &format!("SELECT * FROM sayback.{table}"));
            assert_eq!(
                read.is_ok(),
                may.contains(letter),
                "{letter} reads {table}: {read:?}"
            );
            tried += 1;
        }
    }
    assert_eq!(tried, 3 * (10 + 24 + 4));
}

#[test]
fn a_recorder_makes_only_what_an_aide_can() {
    let aspen = Aspen::new();
    let mut client = postgres_server::raw(&aspen.station);
    let kinds = |client: &mut postgres::Client, of: &str| -> Vec<String> {
        let mut superuser = Server::shared().superuser(&aspen.database).unwrap();
        let _ = client;
        superuser
            .query_one("SELECT sayback.kinds_of($1)", &[&of])
            .unwrap()
            .get(0)
    };
    let recorder = kinds(&mut client, "recorder");
    let station = kinds(&mut client, "station");
    let only: Vec<_> = station.iter().filter(|it| !recorder.contains(it)).collect();
    assert_eq!(
        only,
        ["acknowledged", "range_set", "recheck_asked", "signed"]
    );
    // Every kind there is, and no other: by what the program says it knows.
    let unknown = serde_json::from_str::<sayback::facts::Body>("{\"kind\":\"?\"}").unwrap_err();
    let unknown = unknown.to_string();
    let known: Vec<&str> = unknown.split('`').skip(3).step_by(2).collect();
    let mut of_sql: Vec<&str> = station.iter().map(String::as_str).collect();
    let mut of_program = known.clone();
    of_sql.sort_unstable();
    of_program.sort_unstable();
    assert_eq!(of_sql, of_program);
}

#[test]
fn another_home_in_the_same_database_is_not_there() {
    let aspen = Aspen::new();
    let keeper = Server::shared().home(&aspen.database, "birch");
    let recorder = enrol(&keeper, MemberKind::Recorder, "the cart");
    let station = enrol(&keeper, MemberKind::Station, "the desk");
    open(&aspen.recorder).put(&all_sent(&notes(1..=5))).unwrap();
    // The same identifiers in another home are other facts.
    open(&recorder).put(&[sent(&note(1, "of birch"))]).unwrap();
    for link in [&recorder, &station] {
        let mut client = postgres_server::raw(link);
        for (sql, there) in [
            ("SELECT count(*) FROM sayback.fact", 1),
            ("SELECT count(*) FROM sayback.fact WHERE home = 'aspen'", 0),
            ("SELECT count(*) FROM sayback.home", 1),
            ("SELECT count(*) FROM sayback.setting", 0),
            (
                "SELECT count(*) FROM sayback.lacking(ARRAY['00000000-0000-0000-0000-000000000002'::uuid])",
                1,
            ),
        ] {
            let found: i64 = client.query_one(sql, &[]).unwrap().get(0);
            assert_eq!(found, there, "{sql}");
        }
    }
    let mut client = postgres_server::raw(&station);
    let members: i64 = client
        .query_one("SELECT count(*) FROM sayback.member", &[])
        .unwrap()
        .get(0);
    assert_eq!(members, 3);
    let mut other = open(&keeper);
    let itself = other.revoke("the installer").unwrap_err().to_string();
    assert!(itself.contains("by another keeper"), "{itself}");
    other.revoke("the cart").unwrap();
    assert!(HomeRecord::open(&recorder).is_err());
    assert!(
        HomeRecord::open(&aspen.recorder).is_ok(),
        "of the same label, elsewhere"
    );
    assert_eq!(ids(&mut open(&station)), [1]);
    assert!(open(&station).check(&[]).unwrap().sound());
    assert!(open(&aspen.station).check(&[]).unwrap().sound());
}
