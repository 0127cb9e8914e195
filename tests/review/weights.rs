//! What a page says of a weight against earlier ones.

use chrono::Days;
use rust_decimal::{Decimal, dec};
use sayback::facts::Time;
use sayback::review::accounts::Role;
use sayback::store::Store;
use sayback::vitals::{Numbers, Unit, VitalSign};

use super::clocks::put;
use super::made::{self, Writer};
use super::site::Site;

/// The page's table of a resident who had these weights in pounds so many days ago, without
/// its tags.
async fn compared(weights: &[(u64, Decimal)]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let mut out = Writer::new(&path);
    for (ago, pounds) in weights {
        let when: Time = made::now() - Days::new(*ago);
        let pounds = Numbers::One(*pounds);
        let weight = made::measure(VitalSign::Weight, pounds, Unit::Pound, &[]);
        put(&mut out, "AR-000", weight, when);
    }
    out.end();
    let record = Store::open(&path).unwrap();
    let site = Site::on(folder, made::home(1), record, false);
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get("/residents/AR-000/weight").await;
    let (_, of) = page.split_once("Against earlier weights").expect(&page);
    let (of, _) = of.split_once("</section>").unwrap();
    let texts = of.split('<').filter_map(|it| Some(it.split_once('>')?.1));
    texts.collect::<Vec<_>>().concat()
}

/// The manual's worked example: 172 pounds a month ago, 192 half a year ago, now 169.
#[tokio::test]
async fn the_worked_example_is_on_the_page() {
    let page = compared(&[(180, dec!(192)), (30, dec!(172)), (0, dec!(169))]).await;
    assert!(
        page.contains("172 lb 30 days earlier\u{25bc}1.7 % less5 %"),
        "{page}"
    );
    let reported = "192 lb 180 days earlier\u{25bc}12 % less\u{25c7}to report10 %";
    assert!(page.contains(reported), "{page}");
}

/// What is not to be reported is never shown as the share from which on it is.
#[tokio::test]
async fn a_change_just_short_of_the_share_is_not_shown_as_the_share() {
    let page = compared(&[(30, dec!(200)), (0, dec!(190.1))]).await;
    assert!(page.contains("\u{25bc}4.95 % less5 % or more"), "{page}");
    let page = compared(&[(30, dec!(200)), (0, dec!(190))]).await;
    assert!(page.contains("\u{25bc}5 % less\u{25c7}to report"), "{page}");
    let page = compared(&[(30, dec!(200)), (0, dec!(200))]).await;
    assert!(page.contains("=no change5 % or more"), "{page}");
}

/// Of a last weight that is old itself, too.
#[tokio::test]
async fn an_old_weight_is_compared_with_those_before_it() {
    let page = compared(&[(480, dec!(200)), (300, dec!(170))]).await;
    assert!(
        page.contains("200 lb 180 days earlier\u{25bc}15 % less"),
        "{page}"
    );
}
