//! Enrolment, and its end.

use sayback::sync::SyncError;

use super::*;

#[test]
fn who_is_cut_off_is_refused_at_once_also_on_an_open_connection() {
    let aspen = Aspen::new();
    let mut recorder = open(&aspen.recorder);
    recorder.put(&all_sent(&notes(1..=2))).unwrap();
    // Another connection of the same, which nobody ends: by the rules alone.
    let mut keeper = open(&aspen.keeper);
    let mut superuser = Server::shared().superuser(&aspen.database).unwrap();
    let only_marked = "UPDATE sayback.member SET revoked_at = now() WHERE label = 'the cart'";
    superuser.batch_execute(only_marked).unwrap();
    assert!(matches!(
        recorder.put(&[sent(&note(3, "x"))]),
        Err(SyncError::CutOff(_))
    ));
    assert!(
        recorder.facts_after(0, 9).unwrap().is_empty(),
        "it sees nothing any more"
    );
    assert!(recorder.head().is_err());
    let unmarked = "UPDATE sayback.member SET revoked_at = NULL WHERE label = 'the cart'";
    superuser.batch_execute(unmarked).unwrap();
    recorder.put(&[sent(&note(3, "x"))]).unwrap();

    assert_eq!(keeper.revoke("the cart").unwrap(), 1, "one open connection");
    let refused = recorder.put(&[sent(&note(4, "x"))]).unwrap_err();
    assert!(matches!(refused, SyncError::CutOff(_)), "{refused:?}");
    assert!(matches!(
        HomeRecord::open(&aspen.recorder),
        Err(SyncError::CutOff(_))
    ));
    // What it sent stays.
    assert_eq!(ids(&mut open(&aspen.station)), [1, 2, 3]);
    let again = keeper.revoke("the cart").unwrap_err();
    assert!(again.to_string().contains("nobody called that"), "{again}");
}

/// In the middle of a transaction that was begun before.
#[test]
fn a_transaction_of_who_is_cut_off_ends_with_nothing() {
    let aspen = Aspen::new();
    let mut raw = postgres_server::raw(&aspen.recorder);
    let mut transaction = raw.transaction().unwrap();
    let put = "SELECT sayback.put(ARRAY[$1::text::uuid], ARRAY[$2], ARRAY[NULL::bigint], ARRAY[NULL::bytea])";
    let one = sent(&note(1, "x"));
    let id = one.id.to_string();
    transaction.query_one(put, &[&id, &one.fact]).unwrap();
    open(&aspen.keeper).revoke("the cart").unwrap();
    assert!(transaction.commit().is_err());
    assert_eq!(ids(&mut open(&aspen.station)), [] as [u128; 0]);
}

#[test]
fn a_label_is_one_members_until_it_is_cut_off() {
    let aspen = Aspen::new();
    let mut keeper = open(&aspen.keeper);
    let again = keeper.enrol(MemberKind::Recorder, "the cart").unwrap_err();
    assert!(again.to_string().contains("enrolled already"), "{again}");
    keeper.revoke("the cart").unwrap();
    let next = keeper.enrol(MemberKind::Recorder, "the cart").unwrap();
    assert_ne!(next.role, aspen.recorder.role);
    open(&next).put(&[sent(&note(1, "x"))]).unwrap();
    let members = keeper.members().unwrap();
    let shown: Vec<_> = members
        .iter()
        .map(|it| {
            (
                it.label.as_str(),
                it.kind.as_str(),
                it.revoked.is_some(),
                it.last_sent.is_some(),
            )
        })
        .collect();
    assert_eq!(
        shown,
        [
            ("the installer", "keeper", false, false),
            ("the cart", "recorder", false, true),
            ("the desk", "station", false, false),
            ("the cart", "recorder", true, false),
        ]
    );
}

#[test]
fn a_home_is_begun_once_and_brought_up_to_date_without_loss() {
    let aspen = Aspen::new();
    open(&aspen.recorder).put(&all_sent(&notes(1..=2))).unwrap();
    let server = Server::shared();
    let mut superuser = server.superuser(&aspen.database).unwrap();
    let address = server.address(&aspen.database);
    let home = ("aspen", "Another name");
    let same = sayback::sync::init(&mut superuser, home, "the installer", &address);
    let same = same.unwrap_err().to_string();
    assert!(same.contains("enrolled already"), "{same}");
    let (second, new) = sayback::sync::init(&mut superuser, home, "another", &address).unwrap();
    assert!(!new);
    assert_eq!(open(&second).members().unwrap().len(), 4);
    assert_eq!(ids(&mut open(&aspen.station)), [1, 2]);
    assert!(open(&aspen.station).check(&[]).unwrap().sound());
}

/// Who may make roles and owns the database need not be its superuser.
#[test]
fn the_databases_owner_can_begin_a_home_without_being_superuser() {
    let server = Server::shared();
    let database = server.database();
    let mut superuser = server.superuser(&database).unwrap();
    superuser
        .batch_execute(&format!(
            "CREATE ROLE installer_{database} LOGIN CREATEROLE; ALTER DATABASE {database} OWNER TO installer_{database}; \
             SET SESSION AUTHORIZATION installer_{database}"
        ))
        .unwrap();
    let address = server.address(&database);
    let made = sayback::sync::init(&mut superuser, ("birch", "Birch"), "keeper", &address);
    let (keeper, new) = made.unwrap();
    assert!(new);
    let recorder = enrol(&keeper, MemberKind::Recorder, "cart");
    assert_eq!(open(&recorder).put(&[sent(&note(1, "x"))]).unwrap(), 1);
    assert_eq!(open(&keeper).revoke("cart").unwrap(), 0);
}
