//! Which recorder a round came from, on the nurse's pages: said where there are several.

use sayback::review::accounts::Role;
use tokio::task::block_in_place;

use super::station::{Cart, ROUND, aspen, desk};
use super::*;

/// What comes to several places of the worklist: one that was not taken, and one that is
/// reported.
const MUCH: [&str; 8] = [
    "room nine",
    "yes",
    "temperature refused",
    "yes",
    "pulse one thirty",
    "yes",
    "end of round",
    "end of round",
];

fn part<'a>(page: &'a str, id: &str) -> &'a str {
    let start = page.find(&format!("id=\"{id}\"")).expect(page);
    page[start..].split("</section>").next().unwrap()
}

/// How often each of the two recorders is named in a part of a page.
fn named(part: &str) -> [usize; 2] {
    [" on the cart", " on the spare"].map(|it| part.matches(it).count())
}

#[tokio::test(flavor = "multi_thread")]
async fn where_there_are_several_recorders_each_round_and_row_says_from_which() {
    let (aspen, site) = block_in_place(|| {
        let aspen = aspen();
        let mut cart = Cart::new(&aspen.recorder);
        cart.hears(&MUCH);
        cart.exchanges();
        let site = desk(&aspen.station);
        (aspen, site)
    });
    let round = site.station.index().rounds().next().unwrap().id;
    let round = format!("/rounds/{round}");
    let mut nurse = site.visitor(Role::Nurse).await;
    for path in ["/rounds", &round, "/worklist"] {
        let (_, page) = nurse.get(path).await;
        assert_eq!(named(&page), [0, 0], "there is one recorder: {page}");
    }

    // A second is enrolled, and has sent nothing yet.
    let (second, site) = block_in_place(|| {
        let second = enrol(&aspen.keeper, MemberKind::Recorder, "the spare");
        drop(site);
        (second, desk(&aspen.station))
    });
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/rounds").await;
    assert_eq!(named(part(&page, "latest")), [1, 0], "{page}");

    block_in_place(|| {
        let mut spare = Cart::new(&second);
        spare.rounds = 5;
        spare.hears(&ROUND);
        spare.exchanges();
        site.station.refresh().unwrap();
    });
    let (_, page) = nurse.get(&round).await;
    let (_, head) = page.split_once("<h1>").unwrap();
    let (head, _) = head.split_once("</div>").unwrap();
    assert!(head.contains(" on the cart. "), "{head}");
    let (_, page) = nurse.get("/rounds").await;
    assert_eq!(named(part(&page, "latest")), [1, 1], "{page}");
    let (_, page) = nurse.get("/worklist").await;
    // By resident it shows the latest pulse.
    for (id, expected) in [("reports", [1, 1]), ("missed", [1, 0]), ("round", [0, 1])] {
        let part = part(&page, id);
        assert_eq!(named(part), expected, "{id}: {part}");
    }

    // What one that was cut off has sent came from there all the same.
    let site = block_in_place(|| {
        open(&aspen.keeper).revoke("the spare").unwrap();
        drop(site);
        desk(&aspen.station)
    });
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/rounds").await;
    assert_eq!(named(part(&page, "latest")), [1, 1], "{page}");
    block_in_place(|| drop(site));
}
