//! The player on a reading's page: who may listen, to what, until when.

use axum::body::Body as Content;
use axum::http::{HeaderMap, Response, StatusCode, header};
use chrono::TimeDelta;
use http_body_util::BodyExt as _;
use sayback::facts::{Body, Time};
use sayback::hearing::{By, Heard, Sound, read_wav_bytes};
use sayback::residents::KeptSound;
use sayback::review::accounts::Role;
use sayback::store::Store;
use uuid::Uuid;

use super::browser::{Browser, DESK, HAND, NIGHT};
use super::open::{Open, in_order};
use super::site::{Site, Visitor, key_in};
use super::{conversation, made};

/// A tone that the ear of a test could tell from any other: two seconds of it.
fn tone(period: i16) -> Sound {
    let samples: Vec<i16> = (0..32_000_i32)
        .map(|at| i16::try_from(at % i32::from(period)).unwrap() * 100)
        .collect();
    Sound::new(&samples)
}

fn yes_tone() -> Sound {
    Sound::new(&tone(60).samples()[..8_000])
}

fn said(words: &str, sound: Option<Sound>) -> Heard {
    Heard {
        sound,
        ..Heard::from_text(words)
    }
}

/// Edith Hollin's pulse is taken, and this happens then. Returns the reading.
fn pulse(site: &Site, at: Time, then: Vec<Heard>) -> Uuid {
    let mut words = vec![
        said("room one bed one", Some(tone(90))),
        said("yes", Some(tone(91))),
    ];
    words.extend(then);
    let facts = conversation::facts_of(&made::home(4), at, words.into_iter());
    let mut store = Store::open(&site.record()).unwrap();
    let kept = site.station.index().home().kept_sound;
    let kept = kept.map(|_| KeptSound {
        days: 14,
        megabytes: 10,
    });
    store
        .keep_sound(kept, &key_in(site.folder.path()), at)
        .unwrap();
    store.append(&facts.iter().collect::<Vec<_>>()).unwrap();
    site.station.refresh().unwrap();
    let read = |it: &&sayback::facts::Fact<_>| matches!(it.body, Body::Read(_));
    facts.iter().rfind(read).unwrap().id
}

fn spoken(site: &Site, at: Time) -> Uuid {
    let yes = said("yes", Some(yes_tone()));
    pulse(
        site,
        at,
        vec![said("pulse seventy two regular", Some(tone(40))), yes],
    )
}

fn lately() -> Time {
    made::now() - TimeDelta::minutes(20)
}

async fn ask(
    site: &Site,
    visitor: &Visitor<'_>,
    path: &str,
    range: Option<&str>,
) -> (StatusCode, HeaderMap, Vec<u8>) {
    let mut request = visitor.request("GET", path, String::new());
    if let Some(range) = range {
        let headers = request.headers_mut();
        headers.insert(header::RANGE, range.parse().unwrap());
    }
    let answer: Response<Content> = site.send(request).await;
    let (parts, body) = answer.into_parts();
    let bytes = body.collect().await.unwrap().to_bytes();
    (parts.status, parts.headers, bytes.to_vec())
}

fn log(site: &Site) -> Vec<(String, String)> {
    let lines = site.station.accounts().log_lines(50).unwrap().into_iter();
    let lines = lines.map(|it| (it.who, it.what));
    lines
        .filter(|(_, what)| what.contains("listened"))
        .collect()
}

#[tokio::test]
async fn a_nurse_hears_the_very_samples_and_the_log_says_who_listened() {
    let site = Site::keeping_sound(14);
    let id = spoken(&site, lately());
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get(&format!("/readings/{id}")).await;
    assert!(page.contains("As spoken <time"), "{page}");
    assert!(
        page.contains("kept until <time") && page.contains("Mar 26, 11:20"),
        "{page}"
    );
    assert_eq!(page.matches("<audio ").count(), 2, "{page}");
    assert!(
        log(&site).is_empty(),
        "nobody has listened by opening the page"
    );

    let path = format!("/readings/{id}/sound");
    let (status, headers, wav) = ask(&site, &nurse, &path, None).await;
    assert_eq!(status, StatusCode::OK);
    assert_eq!(headers[header::CONTENT_TYPE], "audio/wav");
    assert_eq!(headers[header::CACHE_CONTROL], "no-store");
    assert_eq!(headers[header::ACCEPT_RANGES], "bytes");
    let policy = headers[header::CONTENT_SECURITY_POLICY].to_str().unwrap();
    assert!(policy.contains("media-src 'self'"));
    assert_eq!(read_wav_bytes(&wav).unwrap(), tone(40).samples());
    let listened = (
        "imarlow".to_owned(),
        format!("listened to the reading {id}"),
    );
    assert_eq!(log(&site), [listened]);

    let yes = format!("/readings/{id}/sound-of-yes");
    let (_, _, wav) = ask(&site, &nurse, &yes, None).await;
    assert_eq!(read_wav_bytes(&wav).unwrap(), yes_tone().samples());
    assert_eq!(log(&site).len(), 2);
}

#[tokio::test]
async fn a_player_that_asks_for_a_part_is_given_it() {
    let site = Site::keeping_sound(14);
    let id = spoken(&site, lately());
    let nurse = site.visitor(Role::Nurse).await;
    let path = format!("/readings/{id}/sound");
    let (_, _, whole) = ask(&site, &nurse, &path, None).await;
    let last = whole.len() - 1;
    for (range, from, to) in [
        ("bytes=0-", 0, last),
        ("bytes=100-199", 100, 199),
        ("bytes=60000-", 60_000, last),
        ("bytes=-10", last - 9, last),
    ] {
        let (status, headers, part) = ask(&site, &nurse, &path, Some(range)).await;
        assert_eq!(status, StatusCode::PARTIAL_CONTENT, "{range}");
        let place = format!("bytes {from}-{to}/{}", whole.len());
        assert_eq!(headers[header::CONTENT_RANGE], place.as_str());
        assert!(part == whole[from..=to], "{range}");
    }
    // The first and the whole count as listening, going on from a place does not.
    assert_eq!(log(&site).len(), 2);
    let (status, headers, _) = ask(&site, &nurse, &path, Some("bytes=9999999-")).await;
    assert_eq!(status, StatusCode::RANGE_NOT_SATISFIABLE);
    assert_eq!(
        headers[header::CONTENT_RANGE],
        format!("bytes */{}", whole.len()).as_str()
    );
    let (status, _, all) = ask(&site, &nurse, &path, Some("bytes=0-1,5-6")).await;
    assert_eq!((status, all.len()), (StatusCode::OK, whole.len()));
}

#[tokio::test]
async fn nobody_but_a_nurse_may_listen() {
    let site = Site::keeping_sound(14);
    let id = spoken(&site, lately());
    for path in [
        format!("/readings/{id}/sound"),
        format!("/readings/{id}/sound-of-yes"),
    ] {
        for role in [Role::Aide, Role::Administrator] {
            let visitor = site.visitor(role).await;
            let (status, _, body) = ask(&site, &visitor, &path, None).await;
            assert_eq!(status, StatusCode::FORBIDDEN, "{role:?}");
            assert!(!body.starts_with(b"RIFF"));
            let line = site.station.accounts().log_lines(1).unwrap().remove(0);
            assert_eq!(line.what, format!("refused ({}): GET {path}", role.name()));
        }
        let stranger = Visitor::stranger(&site);
        let (status, _, body) = ask(&site, &stranger, &path, None).await;
        assert_eq!(status, StatusCode::SEE_OTHER);
        assert!(body.is_empty());
    }
    assert!(log(&site).is_empty());
    let (_, page) = site
        .visitor(Role::Aide)
        .await
        .get(&format!("/readings/{id}"))
        .await;
    assert!(
        page.contains("Nurses can listen to it.") && !page.contains("<audio"),
        "{page}"
    );
}

async fn page_and_sound(site: &Site, id: Uuid) -> (String, StatusCode) {
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get(&format!("/readings/{id}")).await;
    let (_, rest) = page.split_once("id=\"sound\"").unwrap();
    let section = rest.split("</section>").next().unwrap().to_owned();
    let path = format!("/readings/{id}/sound");
    let (status, _, _) = ask(site, &nurse, &path, None).await;
    (section, status)
}

#[tokio::test]
async fn where_none_is_kept_the_page_says_so() {
    let site = Site::new();
    let id = spoken(&site, lately());
    let (page, status) = page_and_sound(&site, id).await;
    assert!(page.contains("Sound is not kept here."), "{page}");
    assert!(!page.contains("<audio"));
    assert_eq!(status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn what_was_never_kept_is_not_said_to_be_deleted() {
    let site = Site::keeping_sound(14);
    let typed = Heard {
        by: By::Touch,
        ..said("pulse seventy two regular", None)
    };
    let yes = said("yes", Some(yes_tone()));
    let id = pulse(&site, lately(), vec![typed, yes]);
    let (page, status) = page_and_sound(&site, id).await;
    assert!(page.contains("None: it was given by hand."), "{page}");
    assert_eq!(page.matches("<audio").count(), 1, "the yes: {page}");
    assert_eq!(status, StatusCode::NOT_FOUND);

    let site = Site::keeping_sound(14);
    let words = ["pulse seventy two regular", "yes"];
    let words = words.map(|it| said(it, None)).to_vec();
    let id = pulse(&site, lately(), words);
    let (page, status) = page_and_sound(&site, id).await;
    assert_eq!(page.matches("None was kept.").count(), 2, "{page}");
    assert!(!page.contains("deleted"), "{page}");
    assert_eq!(status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn what_is_over_is_gone_when_it_is_asked_for() {
    let site = Site::keeping_sound(14);
    let over = made::now() - TimeDelta::days(14) - TimeDelta::hours(1);
    let id = spoken(&site, over);
    let (page, status) = page_and_sound(&site, id).await;
    assert!(page.contains("It was deleted <time"), "{page}");
    assert!(page.contains("its time was over"), "{page}");
    assert!(!page.contains("<audio"));
    assert_eq!(status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_nurse_who_retracts_a_reading_deletes_its_sound() {
    let site = Site::keeping_sound(14);
    let id = spoken(&site, lately());
    let mut nurse = site.visitor(Role::Nurse).await;
    let (_, page) = nurse.get(&format!("/readings/{id}")).await;
    let (_, rest) = page.split_once("name=\"seen\" value=\"").unwrap();
    let seen = rest.split('"').next().unwrap();
    let fields = format!("seen={seen}&reason=wrong+cuff");
    nurse
        .does(&format!("/readings/{id}/retract"), &fields)
        .await;
    let (page, status) = page_and_sound(&site, id).await;
    assert!(
        page.contains("with the reading, which was retracted"),
        "{page}"
    );
    assert_eq!(status, StatusCode::NOT_FOUND);
}

/// What the player knows of its sound, in milliseconds, once it is loaded.
fn duration(browser: &Browser, which: usize) -> i64 {
    let load = format!(
        "const it = document.querySelectorAll('audio')[{which}];
         it.preload = 'auto'; it.load();"
    );
    browser.run(&load);
    let ready = format!(
        "const it = document.querySelectorAll('audio')[{which}];
         return it.error ? -1 : it.readyState < 1 ? 0 : Math.round(it.duration * 1000)"
    );
    browser.wait(|it| it.run(&ready) != 0);
    browser.run(&ready).as_i64().unwrap()
}

#[test]
fn the_player_of_a_browser_plays_it() {
    let site = Site::keeping_sound(14);
    let id = spoken(&site, lately());
    let open = Open::serve(site, None);
    for (look, name) in [
        (DESK, "sound"),
        (NIGHT, "sound-night"),
        (HAND, "sound-hand"),
    ] {
        let browser = open.visit(Role::Nurse, look);
        browser.go(&open.address(&format!("/readings/{id}")));
        let quiet = browser
            .run("return [...document.querySelectorAll('audio')].every(it => it.readyState == 0)");
        assert_eq!(quiet, true, "nothing is fetched before someone listens");
        in_order(&browser, name);
        browser.pictured(name);
        assert_eq!(duration(&browser, 0), 2_000);
        assert_eq!(duration(&browser, 1), 500);
        // From the middle to its end. Nothing plays before somebody touches the page.
        browser.click("h1");
        browser.run(
            "const it = document.querySelector('audio'); it.muted = true; it.currentTime = 1.5;
             window.ended = false; it.onended = () => window.ended = true; it.play()",
        );
        browser.wait(|it| it.run("return window.ended") == true);
        in_order(&browser, name);
    }
    assert!(log(&open.site).len() >= 6);
}
