//! What an aide changed by voice, on the nurse's pages.

use sayback::facts::{Body, Fact};
use sayback::review::accounts::Role;
use uuid::Uuid;

use super::site::Site;

fn readings(site: &Site) -> Vec<(Uuid, String)> {
    let read = |it: Fact| match it.body {
        Body::Read(record) => Some((it.id, record.resident.0)),
        _ => None,
    };
    let facts = site.facts().into_iter();
    facts.filter_map(read).collect()
}

#[tokio::test]
async fn a_moved_reading_is_retracted_in_one_record_and_stands_in_the_other() {
    let site = Site::after(&[
        "room one bed one",
        "yes",
        "pulse one thirty",
        "yes",
        "wrong resident",
        "room one bed two",
        "yes",
        "yes",
    ]);
    let all = readings(&site);
    let [(wrong, edith), (right, walter)] = all.as_slice() else {
        panic!("{all:?}")
    };
    assert_eq!((edith.as_str(), walter.as_str()), ("AR-000", "AR-001"));
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get(&format!("/readings/{wrong}")).await;
    assert!(page.contains("no longer counts"), "{page}");
    assert!(page.contains("moved to another resident"), "{page}");
    assert!(
        page.contains(&format!("href=\"/readings/{right}\"")),
        "{page}"
    );
    assert!(page.contains("withdrawn by Dana Whitlock"), "{page}");
    let (_, page) = nurse.get(&format!("/readings/{right}")).await;
    assert!(page.contains("moved from that record"), "{page}");
    assert!(page.contains("Edith Hollin"), "{page}");
    assert!(
        page.contains(&format!("href=\"/readings/{wrong}\"")),
        "{page}"
    );
    assert!(page.contains("Nothing: it stands as it was recorded."));
    let (_, worklist) = nurse.get("/worklist").await;
    let open = |id: &Uuid| worklist.contains(&format!("/readings/{id}"));
    assert!(open(right) && !open(wrong), "{worklist}");
}

#[tokio::test]
async fn a_correction_by_voice_shows_both_values_who_and_why() {
    let site = Site::after(&[
        "room one bed one",
        "yes",
        "pulse one thirty regular",
        "yes",
        "reported to nurse marlow",
        "yes",
        "change the pulse to eighty",
        "yes",
    ]);
    let (id, _) = readings(&site)[0].clone();
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get(&format!("/readings/{id}")).await;
    assert!(page.contains("<s>130"), "{page}");
    assert!(page.contains("<b>80"), "{page}");
    assert!(
        page.contains("by voice: “change the pulse to eighty”"),
        "{page}"
    );
    assert!(page.contains("Dana Whitlock, nursing aide"), "{page}");
    let (_, worklist) = nurse.get("/worklist").await;
    assert!(
        worklist.contains(
            "Ines Marlow was told of pulse 130, regular. It is corrected to 80, regular."
        ),
        "{worklist}"
    );
}
