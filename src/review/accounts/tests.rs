use chrono::{DateTime, TimeDelta};

use super::*;

fn noon() -> Time {
    DateTime::parse_from_rfc3339("2026-03-12T12:00:00-05:00").unwrap()
}

fn nurse() -> Staff {
    Staff {
        name: "Ines Marlow".into(),
        title: "registered nurse".into(),
    }
}

/// Accounts with a nurse who has chosen "teal kettle sings".
fn with_nurse() -> Accounts {
    let (accounts, _) = Accounts::in_memory().unwrap();
    let code = accounts.create("imarlow", &nurse(), Role::Nurse, noon());
    let user = accounts.sign_in("imarlow", &code.unwrap(), noon()).unwrap();
    assert!(user.must_choose);
    accounts.choose("imarlow", "teal kettle sings").unwrap();
    accounts
}

#[test]
fn the_first_start_makes_one_administrator() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("accounts.db");
    let (accounts, code) = Accounts::open(&path).unwrap();
    let user = accounts.sign_in(FIRST, &code.unwrap(), noon()).unwrap();
    assert_eq!(user.role, Role::Administrator);
    assert!(user.must_choose);
    drop(accounts);
    let (_, code) = Accounts::open(&path).unwrap();
    assert_eq!(code, None, "shown once");
}

#[test]
fn a_first_start_that_was_stopped_is_made_up_for() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("accounts.db");
    let (accounts, _) = Accounts::open(&path).unwrap();
    accounts
        .connection
        .execute("DELETE FROM users", [])
        .unwrap();
    drop(accounts);
    let (accounts, code) = Accounts::open(&path).unwrap();
    assert!(accounts.sign_in(FIRST, &code.unwrap(), noon()).is_ok());
}

#[test]
fn of_several_first_starts_at_once_one_makes_the_administrator() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("accounts.db");
    let open = || Accounts::open(&path).unwrap().1;
    let codes = std::thread::scope(|scope| {
        let starts = [(); 4].map(|()| scope.spawn(open));
        starts.map(|it| it.join().unwrap())
    });
    assert_eq!(codes.iter().flatten().count(), 1, "{codes:?}");
}

#[test]
fn another_programs_file_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    drop(crate::store::Store::open(&path).unwrap());
    assert!(Accounts::open(&path).is_err());
}

#[test]
fn a_chosen_password_signs_in_and_the_code_no_longer_does() {
    let accounts = with_nurse();
    let user = accounts
        .sign_in(" IMarlow ", "teal kettle sings", noon())
        .unwrap();
    assert_eq!((user.role, user.must_choose), (Role::Nurse, false));
    assert_eq!(user.staff, nurse());
    let refused = accounts.sign_in("imarlow", "abcd-efgh-jkmn", noon());
    assert_eq!(refused, Err(NotSignedIn::Wrong));
}

#[test]
fn wrong_tries_lock_the_name_for_longer_and_longer() {
    let accounts = with_nurse();
    for name in ["imarlow", "nobody"] {
        for _ in 0..FREE_TRIES {
            let refused = accounts.sign_in(name, "wrong", noon());
            assert_eq!(refused, Err(NotSignedIn::Wrong), "{name}");
        }
        let locked = accounts.sign_in(name, "wrong", noon());
        assert_eq!(locked, Err(NotSignedIn::Locked { seconds: 60 }));
    }
    let right = |later| {
        let now = noon() + TimeDelta::seconds(later);
        accounts.sign_in("imarlow", "teal kettle sings", now)
    };
    assert_eq!(right(59), Err(NotSignedIn::Locked { seconds: 1 }));
    let later = noon() + TimeDelta::seconds(60);
    let again = accounts.sign_in("imarlow", "wrong", later);
    assert_eq!(again, Err(NotSignedIn::Locked { seconds: 120 }));
    assert!(right(180).is_ok());
    let wrong = accounts.sign_in("imarlow", "wrong", later);
    assert_eq!(wrong, Err(NotSignedIn::Wrong), "counted anew");
}

#[test]
fn a_new_code_ends_a_lock_and_expires() {
    let accounts = with_nurse();
    for _ in 0..=FREE_TRIES {
        let _ = accounts.sign_in("imarlow", "wrong", noon());
    }
    let code = accounts.renew("imarlow", noon()).unwrap();
    let late = noon() + TimeDelta::days(4);
    let expired = accounts.sign_in("imarlow", &code, late);
    assert_eq!(expired, Err(NotSignedIn::Expired));
    assert!(accounts.sign_in("imarlow", &code, noon()).is_ok());
}

#[test]
fn a_closed_account_does_not_sign_in() {
    let accounts = with_nurse();
    accounts.set_active("imarlow", false).unwrap();
    let refused = accounts.sign_in("imarlow", "teal kettle sings", noon());
    assert_eq!(refused, Err(NotSignedIn::Wrong));
    let last = accounts.set_active(FIRST, false).unwrap_err();
    assert!(last.to_string().contains("last administrator"), "{last}");
}

#[test]
fn wrong_fields_are_named() {
    let accounts = with_nurse();
    let cases = [
        ("x", nurse(), "2 to 32"),
        ("two words", nurse(), "2 to 32"),
        ("imarlow", nurse(), "taken"),
        (
            "pquist",
            Staff {
                name: " ".into(),
                title: "nurse".into(),
            },
            "full name",
        ),
        ("pquist", called(201, 1), "the full name is too long; 200"),
        ("pquist", called(1, 201), "the title is too long; 200"),
    ];
    for (login, staff, expected) in cases {
        let error = accounts
            .create(login, &staff, Role::Nurse, noon())
            .unwrap_err();
        assert!(error.to_string().contains(expected), "{login}: {error}");
    }
    accounts
        .create("pquist", &called(200, 200), Role::Nurse, noon())
        .unwrap();
}

fn called(name: usize, title: usize) -> Staff {
    Staff {
        name: "é".repeat(name),
        title: "é".repeat(title),
    }
}

#[test]
fn of_wrong_tries_only_the_last_stay_in_the_log() {
    let accounts = with_nurse();
    for _ in 0..6_000 {
        accounts.log(noon(), "nobody here", "wrong name or password");
    }
    let lines = accounts.log_lines(10_000).unwrap();
    let wrong = lines.iter().filter(|it| it.who == "nobody here").count();
    assert!((5_000..5_100).contains(&wrong), "{wrong}");
    assert!(lines.iter().any(|it| it.what == "signed in"), "others stay");
}

#[test]
fn of_refusals_the_last_of_each_person_stay_in_the_log() {
    let accounts = with_nurse();
    accounts.log_refused(noon(), "mbell", Role::Aide, "GET /log");
    // Never the line at which the file is looked through: that is another's each time.
    for at in 0..1_500 {
        accounts.log_refused(noon(), "dwhitlock", Role::Aide, &format!("GET /x/{at}"));
        accounts.log(noon(), "nobody here", "wrong name or password");
    }
    let lines = accounts.log_lines(10_000).unwrap();
    let refused = |who: &str| {
        let own = lines.iter().filter(|it| it.who == who);
        own.filter(|it| it.what.starts_with("refused (aide): "))
            .count()
    };
    let kept = refused("dwhitlock");
    assert!((1_000..1_064).contains(&kept), "{kept}");
    assert!(lines.iter().any(|it| it.what.ends_with("GET /x/1499")));
    assert_eq!(refused("mbell"), 1, "another's stay");
    assert!(lines.iter().any(|it| it.what == "signed in"), "others stay");
    // And none of them is as long as an address can be.
    let long = "/".repeat(60_000);
    accounts.log_refused(noon(), "dwhitlock", Role::Aide, &long);
    let line = accounts.log_lines(1).unwrap().remove(0);
    assert!(line.what.ends_with("/\u{2026}") && line.what.chars().count() < 230);
}

#[test]
fn the_log_tells_who_and_what() {
    let accounts = with_nurse();
    let _ = accounts.sign_in("imarlow", "wrong", noon());
    let lines = accounts.log_lines(2).unwrap();
    assert_eq!(lines[0].what, "wrong name or password");
    assert_eq!(lines[1].what, "signed in");
    assert_eq!(lines[0].at, "2026-03-12 12:00:00");
}

#[test]
fn what_must_be_logged_says_when_it_was_not() {
    let accounts = with_nurse();
    assert!(accounts.must_log(noon(), "imarlow", "took a round").is_ok());
    accounts.connection.execute("DROP TABLE log", []).unwrap();
    assert!(
        accounts
            .must_log(noon(), "imarlow", "took a round")
            .is_err()
    );
}

#[test]
fn refusals_push_nothing_out_of_reach() {
    let accounts = with_nurse();
    for _ in 0..500 {
        accounts.log(noon(), "dwhitlock", "refused (aide): GET /log");
    }
    let page = accounts.log_page(None).unwrap();
    assert_eq!(page.older, None);
    let (refused, others) = page.lines.split_first().unwrap();
    assert_eq!((&*refused.who, refused.times), ("dwhitlock", 500));
    assert!(others.iter().any(|it| it.what == "signed in"));

    // Of other paths each is its own line, on as many pages as it takes.
    for path in 0..250 {
        let what = format!("refused (aide): GET /people/{path}");
        accounts.log(noon(), "dwhitlock", &what);
        accounts.log(noon(), "dwhitlock", "refused (aide): GET /log");
    }
    let (mut before, mut lines) = (None, Vec::new());
    let mut pages = 0;
    loop {
        let page = accounts.log_page(before).unwrap();
        assert!(page.lines.len() <= 100);
        lines.extend(page.lines);
        pages += 1;
        before = page.older;
        if before.is_none() {
            break;
        }
    }
    let all = accounts.log_lines(10_000).unwrap();
    let told: u32 = lines.iter().map(|it| it.times).sum();
    assert_eq!(told as usize, all.len(), "each is counted once");
    assert_eq!(pages, 3);
    let found = |what: &str| lines.iter().filter(|it| it.what == what).count();
    assert_eq!(found("refused (aide): GET /people/0"), 1);
    assert_eq!(found("signed in"), 1);
}
