//! The simulations of `examples/home_scale` with few facts: what is asserted there
//! is asserted here.

use super::postgres_server::Server;
use super::{drive, plans, split};

#[test]
fn recorders_whose_links_drop_lose_and_double_nothing() {
    let done = drive::links_that_drop(Server::shared(), 5, 600);
    assert_eq!(done.facts, 3000);
    assert!(
        done.cuts > 3 && done.failed > 3,
        "it never dropped: {done:?}"
    );
    println!("figure: {} facts, {} cuts: 0 lost", done.facts, done.cuts);
}

/// Each home pays for itself alone: an insert and no look at another's facts, and
/// nobody waits but for one of the same home.
#[test]
fn many_homes_on_one_database_leave_each_other_alone() {
    // Alone, or what other tests do would be counted too.
    let server = Server::start();
    let many = drive::many_homes(&server, (12, 2, 10, 8), 8);
    assert_eq!(many.facts, 12 * 2 * 10 * 8);
    let facts = i64::try_from(many.facts).unwrap();
    assert_eq!(many.rows[0], facts, "{many:?}");
    assert_eq!(
        many.rows[1],
        facts / 8,
        "a home's row once an append: {many:?}"
    );
    assert_eq!(many.scans[0], 0, "a table was read through: {many:?}");
    assert!(many.fetched <= facts, "others' facts were read: {many:?}");
    assert_eq!(many.waits[1], 0, "a home waited for another: {many:?}");
    assert_eq!(many.puts.len(), 12 * 2 * 10);

    let plans = plans::plans(&server, &many.desk);
    assert_eq!(plans.len(), 5);
    for plan in &plans {
        assert_eq!(plan.scans, 0, "{plan:?}");
        assert!(plan.thrown_away < 0.5, "{plan:?}");
        assert!(plan.rows > 0.0, "{plan:?}");
    }
}

/// Homes on two servers: each whole on its own, and no statement is about more than one
/// home.
#[test]
fn homes_on_several_servers_have_nothing_to_do_with_each_other() {
    let [one, two] = [(); 2].map(|()| Server::start_with(&split::COUNTED));
    let split = split::split(&[&one, &two], (6, 2, 5, 8), 4);
    assert_eq!(split.homes, [3, 3]);
    assert_eq!(split.facts, 6 * 2 * 5 * 8);
    assert_eq!(split.puts.len(), 6 * 2 * 5);
    let calls: i64 = split.statements.values().sum();
    assert!(split.statements.len() > 4 && calls > 480, "{split:?}");
    let puts = |it: &&String| it.starts_with("INSERT INTO sayback.fact");
    assert!(split.statements.keys().any(|it| puts(&it)), "{split:?}");
    assert!(split.of_no_home.is_empty(), "{:#?}", split.of_no_home);
}
