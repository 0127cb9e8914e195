//! The early-warning score after a nurse's change of one of its readings. Values: Royal
//! College of Physicians, NEWS2 (2017): respiration 22 scores 2, saturation 93 % on air 2,
//! temperature 38.2 °C 1, systolic 105 1, pulse 95 1, alert 0: 7.

use sayback::facts::{Body, Raised, Record};
use sayback::review::accounts::Role;
use sayback::store::Store;
use sayback::vitals::rules::Rule;
use sayback::vitals::{HomeLimits, Units, VitalSign};

use super::acting::reading;
use super::site::{Site, Visitor};
use super::{conversation, made};

const ON: &str = "policy = \"P\"\non = \"2026-02-01\"\nearly_warning_score = true\n";

const UNWELL: [&str; 14] = [
    "room one bed one",
    "yes",
    "respiration twenty two",
    "yes",
    "saturation ninety three percent on room air",
    "yes",
    "temperature thirty eight point two celsius oral",
    "yes",
    "blood pressure one oh five over seventy left arm sitting",
    "yes",
    "pulse ninety five",
    "yes",
    "alertness alert",
    "yes",
];

/// A station on the record of one visit, in a home that has the score turned on.
fn after(words: &[&str]) -> Site {
    with(ON, words, |it| it)
}

/// The same, with limits as given, where a report of a rule says what `say` makes of it.
fn with(limits: &str, words: &[&str], say: impl Fn(String) -> String) -> Site {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let mut home = made::home(4);
    home.set_limits(&HomeLimits::parse(limits, Units::UsCustomary).unwrap());
    let begins = made::now() - chrono::TimeDelta::minutes(20);
    let mut facts = conversation::facts(&home, begins, words);
    for fact in &mut facts {
        if let Body::RuleMet { flag, .. } = &mut fact.body {
            flag.say = say(std::mem::take(&mut flag.say));
        }
    }
    let mut store = Store::open(&path).unwrap();
    store.append(&facts.iter().collect::<Vec<_>>()).unwrap();
    Site::on(folder, home, store, false)
}

/// What the open reports of a score say, the same at the station and on a recorder.
fn scores(site: &Site) -> Vec<String> {
    let say = |raised: &Raised| match raised {
        Raised::Rule(it) if it.rule == Rule::EarlyWarning => Some(it.say.clone()),
        _ => None,
    };
    let index = site.station.index();
    let here: Vec<String> = index
        .open_reports()
        .filter_map(|it| say(&it.raised))
        .collect();
    let record = Record::of(&site.facts());
    let there = record.open_reports().filter_map(|it| say(&it.raised));
    assert_eq!(here, there.collect::<Vec<_>>());
    here
}

/// Which score is listed before an older report is told by the visit and the home's limits,
/// and not by what the report says.
#[tokio::test]
async fn a_score_to_be_told_at_once_is_listed_before_what_is_older() {
    let mut words = vec!["room one bed two", "yes", "pulse one thirty regular", "yes"];
    words.extend(UNWELL);
    let at_nine = format!("{ON}[rules]\nearly_warning_urgent = 9\n");
    for (limits, first) in [(ON, true), (&at_nine, false)] {
        for say in ["", "Report to the nurse now.", "Tell her."] {
            let site = with(limits, &words, |_| format!("A score. {say}"));
            let mut nurse = site.visitor(Role::Nurse).await;
            let (_, list) = nurse.get("/worklist").await;
            let (_, reports) = list.split_once("id=\"reports\"").expect(&list);
            let score = reports.find("A score. ").expect(reports);
            let older = reports.find("130 ").expect(reports);
            assert_eq!(score < older, first, "{limits} {say}: {reports}");
            assert_eq!(
                reports.matches("to be looked at first").count(),
                usize::from(first)
            );
        }
    }
}

async fn correct(nurse: &mut Visitor<'_>, site: &Site, sign: VitalSign, fields: &str) {
    let id = reading(site, sign);
    let seen = site.station.index().acts(id).len();
    let fields = format!("seen={seen}&{fields}&reason=misread");
    nurse
        .does(&format!("/readings/{id}/correct"), &fields)
        .await;
}

#[tokio::test]
async fn a_correction_has_the_score_of_its_visit_judged_anew() {
    let site = after(&UNWELL);
    let seven = "Early-warning score 7. Report to the nurse now.";
    assert_eq!(scores(&site), [seven]);
    let mut nurse = site.visitor(Role::Nurse).await;
    // Another value of the same score changes nothing about it.
    let same = "value=38.3&unit=celsius&method=oral";
    correct(&mut nurse, &site, VitalSign::Temperature, same).await;
    assert_eq!(scores(&site), [seven]);

    let usual = "value=16&unit=per_minute";
    correct(&mut nurse, &site, VitalSign::Respiration, usual).await;
    assert_eq!(
        scores(&site),
        ["Early-warning score 5. Report to the nurse."]
    );
    let respiration = reading(&site, VitalSign::Respiration);
    let (_, page) = nurse.get(&format!("/readings/{respiration}")).await;
    assert!(page.contains("Early-warning score 5.") && page.contains("<b>open</b>"));
    let alertness = reading(&site, VitalSign::Alertness);
    let (_, page) = nurse.get(&format!("/readings/{alertness}")).await;
    let gone = "withdrawn by Ines Marlow with the change of the reading";
    assert!(
        page.contains("Early-warning score 7.") && page.contains(gone),
        "{page}"
    );
    let (_, list) = nurse.get("/worklist").await;
    assert!(list.contains("Early-warning score 5.") && !list.contains("score 7."));
    // The reading that carries it is a usual one, and says what else is scored.
    let (_, page) = nurse.get(&format!("/readings/{respiration}")).await;
    let (_, made_of) = page.split_once("What is scored").expect(&page);
    let (made_of, _) = made_of.split_once("</p>").unwrap();
    let pulse = reading(&site, VitalSign::Pulse);
    assert_eq!(made_of.matches("<a ").count(), 6, "{made_of}");
    assert!(made_of.contains(&format!("/readings/{pulse}")), "{made_of}");
    let (_, row) = list.split_once("id=\"round\"").unwrap();
    assert!(
        row.contains("respiration 16\u{a0}/min, <b>early-warning score"),
        "{row}"
    );
    let flag = site
        .station
        .index()
        .open_reports()
        .find(|it| it.raised.score().is_some())
        .map(|it| it.id);
    let path = format!("/reports/{}/acknowledge", flag.unwrap());
    nurse.does(&path, "back=/worklist").await;
    let (_, list) = nurse.get("/worklist").await;
    let (_, row) = list.split_once("id=\"round\"").unwrap();
    assert!(
        row.contains("respiration 16\u{a0}/min,") && !row.contains("early-warning score"),
        "{row}"
    );

    let slower = "value=80&unit=per_minute&rhythm=regular";
    correct(&mut nurse, &site, VitalSign::Pulse, slower).await;
    assert_eq!(scores(&site), [""; 0], "4 is reported by nobody");
}

#[tokio::test]
async fn a_correction_can_raise_a_score_that_stays_open() {
    let mut well = UNWELL;
    well[2] = "respiration sixteen";
    well[4] = "saturation ninety eight percent on room air";
    well[6] = "temperature thirty seven celsius oral";
    let site = after(&well);
    assert_eq!(scores(&site), [""; 0]);
    let mut nurse = site.visitor(Role::Nurse).await;
    let fast = "value=135&unit=per_minute&rhythm=regular";
    correct(&mut nurse, &site, VitalSign::Pulse, fast).await;
    let said = ["Early-warning score 4. Pulse scores 3. Report to the nurse."];
    assert_eq!(scores(&site), said);
    // What the pulse itself raised was seen by whoever typed it.
    let open = site.station.index().open_reports().count();
    assert_eq!(open, 1);
}

#[tokio::test]
async fn without_a_reading_there_is_no_score() {
    let site = after(&UNWELL);
    let mut nurse = site.visitor(Role::Nurse).await;
    let id = reading(&site, VitalSign::OxygenSaturation);
    let path = format!("/readings/{id}/retract");
    nurse.does(&path, "seen=0&reason=of+another").await;
    assert_eq!(scores(&site), [""; 0]);
    let withdrawn = |it: &&sayback::facts::Fact| matches!(it.body, Body::Withdrawn { .. });
    assert_eq!(site.facts().iter().filter(withdrawn).count(), 1);
}

/// One of the six was measured hours before: there was no whole set, and so no score.
#[tokio::test]
async fn a_corrected_time_takes_a_reading_out_of_its_visit_and_back() {
    let site = after(&UNWELL);
    let mut nurse = site.visitor(Role::Nurse).await;
    let id = reading(&site, VitalSign::Pulse);
    let path = format!("/readings/{id}/time");
    let early = "seen=0&day=2026-03-12&clock=06:10&reason=of+the+morning";
    nurse.does(&path, early).await;
    assert_eq!(scores(&site), [""; 0]);
    let (_, page) = nurse.get(&format!("/readings/{id}")).await;
    assert!(page.contains("today 06:10"), "{page}");
    let back = "seen=1&day=2026-03-12&clock=11:25&reason=it+was+right";
    nurse.does(&path, back).await;
    let seven = "Early-warning score 7. Report to the nurse now.";
    assert_eq!(scores(&site), [seven], "raised anew, and open");
}

/// With a reading that was on paper the set is whole.
#[tokio::test]
async fn a_reading_entered_by_hand_completes_the_score_of_its_visit() {
    let site = after(&UNWELL[..12]);
    assert_eq!(scores(&site), [""; 0]);
    let mut nurse = site.visitor(Role::Nurse).await;
    let said = "Alertness alert, taken by Dana Whitlock on March 12, 2026 at 11:30.";
    let fields = format!(
        "sign=alertness&alertness=alert&day=2026-03-12&clock=11:30&taken_by=Dana+Whitlock&shown={}",
        super::by_hand::encoded(said)
    );
    nurse.does("/residents/AR-000/enter", &fields).await;
    assert_eq!(
        scores(&site),
        ["Early-warning score 7. Report to the nurse now."]
    );
}

/// A score that the home turned on later is not held against what was before.
#[tokio::test]
async fn a_home_that_has_no_score_gets_none() {
    let site = after(&UNWELL);
    let mut home = made::home(4);
    let later = ON.replace("2026-02-01", "2026-03-13");
    home.set_limits(&HomeLimits::parse(&later, Units::UsCustomary).unwrap());
    let store = Store::open(&site.record()).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let before = scores(&site);
    let later = Site::on(folder, home, store, false);
    let mut nurse = later.visitor(Role::Nurse).await;
    let id = reading(&site, VitalSign::Respiration);
    let fields = "seen=0&value=28&unit=per_minute&reason=misread";
    nurse.does(&format!("/readings/{id}/correct"), fields).await;
    site.station.refresh().unwrap();
    assert_eq!(scores(&site), before, "it stays as the aide left it");
}
