//! One reading corrected by two apart, on the nurse's pages.

use sayback::facts::Body;
use sayback::review::accounts::Role;
use sayback::vitals::{Measurement, Numbers, Unit, VitalSign};

use super::acting::{PRESSURE, reading, refused};
use super::browser::DESK;
use super::made;
use super::open::{Open, in_order};
use super::site::Site;

/// The nurse and a recorder that was cut off correct one reading, neither knowing of
/// the other: what holds is the nurse's, all is said, and the nurse decides.
#[tokio::test]
async fn corrections_made_apart_are_on_the_worklist_until_a_nurse_decides() {
    let site = Site::new();
    let id = reading(&site, VitalSign::BloodPressure);
    let mut nurse = site.visitor(Role::Nurse).await;
    let path = format!("/readings/{id}/correct");
    for (seen, value) in [(0, 131), (1, 133)] {
        let fields = format!("seen={seen}&value={value}&over=77&{PRESSURE}&reason=read+off+wrong");
        nurse.does(&path, &fields).await;
    }
    let apart = "changed apart";
    for path in ["/worklist".to_owned(), format!("/readings/{id}")] {
        let (_, page) = nurse.get(&path).await;
        assert!(!page.contains(apart), "each knew of the one before");
    }

    // A recorder that was cut off corrected what was recorded at first.
    let corrected = |it: &Body| matches!(it, Body::Corrected { .. });
    let first = site.facts().into_iter().find(|it| corrected(&it.body));
    let mut first = first.expect("a correction");
    let Body::Corrected { by_nurse, new, .. } = &mut first.body else {
        unreachable!()
    };
    *by_nurse = false;
    let numbers = Numbers::Over(148.into(), 80.into());
    *new = Measurement::new(new.sign(), numbers, Unit::MmHg, new.qualifiers().clone()).unwrap();
    let mut recorder = made::Writer::join(&site.record());
    let aides = recorder.put(made::now(), &made::aide(0), first.round, first.body);
    recorder.end();
    site.station.refresh().unwrap();
    let (_, page) = nurse.get("/worklist?hours=8").await;
    assert!(
        page.contains("Changed by two apart") && page.contains(apart),
        "{page}"
    );
    let path = format!("/readings/{id}");
    let (_, page) = nurse.get(&path).await;
    let holds = |page: &str, what: &str| {
        let title = page.split("<h1>").nth(1).unwrap();
        title.split("</h1>").next().unwrap().contains(what)
    };
    assert!(
        holds(&page, "133/77"),
        "the nurse's, though it is earlier: {page}"
    );
    assert!(page.contains("148/80\u{a0}mmHg is right"), "{page}");
    assert_eq!(page.matches("Made apart; does not hold.").count(), 1);

    // No third one without a look.
    let decide = format!("{path}/decide");
    refused(&mut nurse, &decide, "seen=2", "meanwhile").await;
    refused(&mut nurse, &decide, "seen=3", "Choose which one").await;
    nurse.does(&decide, &format!("seen=3&right={aides}")).await;
    let (_, page) = nurse.get(&path).await;
    assert!(holds(&page, "148/80") && !page.contains(apart), "{page}");
    let (_, page) = nurse.get("/worklist?hours=8").await;
    assert!(!page.contains(apart), "{page}");
    let again = format!("seen=4&right={aides}");
    refused(&mut nurse, &decide, &again, "Nothing is left").await;
}

/// In a browser: both are before her, and one touch decides.
#[test]
fn a_nurse_looks_at_both_and_chooses() {
    let open = Open::new(4, 10);
    let pressure = |it: &Body| matches!(it, Body::Read(it) if it.measurement.sign() == VitalSign::BloodPressure);
    let id = open.fact(pressure);
    let facts = open.site.facts();
    let read = facts.iter().find(|it| it.id == id).unwrap();
    let Body::Read(record) = &read.body else {
        unreachable!()
    };
    let old = &record.measurement;
    let mut writer = made::Writer::join(&open.site.record());
    for (by_nurse, by, high) in [(true, made::nurse(), 133), (false, made::aide(0), 148)] {
        let numbers = Numbers::Over(high.into(), 77.into());
        let new = Measurement::new(old.sign(), numbers, Unit::MmHg, old.qualifiers().clone());
        let corrected = Body::Corrected {
            reading: id,
            resident: record.resident.clone(),
            old: old.clone(),
            new: new.unwrap(),
            reason: if by_nurse {
                "misread"
            } else {
                "by voice: \u{201c}change it\u{201d}"
            }
            .into(),
            stands: Vec::new(),
            over: vec![id],
            by_nurse,
            time: None,
        };
        writer.put(made::now(), &by, read.round, corrected);
    }
    writer.end();
    open.site.station.refresh().unwrap();
    let browser = open.visit(Role::Nurse, DESK);
    browser.wait(|it| it.text("main").contains("Changed by two apart"));
    in_order(&browser, "worklist");
    let both = browser.text("section[aria-labelledby=apart]");
    assert!(both.contains("Ines Marlow’s 133/77"), "{both}");
    assert!(both.contains("Dana Whitlock’s 148/77"), "{both}");
    browser.pictured("apart-worklist");
    browser.go(&open.address(&format!("/readings/{id}")));
    in_order(&browser, "apart");
    browser.pictured("apart-reading");
    assert!(browser.text("h1").contains("133/77"));
    browser.click("form[action$=decide] button:not(.main)");
    browser.wait(|it| it.text(".told").contains("It is decided"));
    assert!(browser.text("h1").contains("148/77"));
    in_order(&browser, "decided");
    browser.pictured("apart-decided");
}
