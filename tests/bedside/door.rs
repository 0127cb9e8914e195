//! Who gets the page, and what is taken from it.

use std::io::Read as _;
use std::net::{SocketAddr, TcpStream};
use std::sync::{Arc, Mutex};

use axum::body::Body;
use axum::http::{Request, Response, StatusCode, header};
use http_body_util::BodyExt as _;
use sayback::bedside::{KEY_COOKIE, Place, TOUCHES, app, key_in, open};
use sayback::dialogue::Event;
use sayback::hearing::By;
use sayback::residents::Speech;
use sayback::review::LIVE;
use sayback::round::Pins;
use tower::ServiceExt as _;

use super::crowd::takes_every_place;
use super::rig::{Going, KEY, dialogue, link, now};

fn request(method: &str, path: &str, key: &str, body: &str) -> Request<Body> {
    Request::builder()
        .method(method)
        .uri(path)
        .header(header::HOST, "127.0.0.1:8471")
        .header(header::COOKIE, format!("{KEY_COOKIE}={key}"))
        .body(Body::from(body.to_owned()))
        .unwrap()
}

fn with(mut request: Request<Body>, name: &'static str, value: &str) -> Request<Body> {
    request.headers_mut().insert(name, value.parse().unwrap());
    request
}

async fn text(answer: Response<Body>) -> String {
    let bytes = answer.into_body().collect().await.unwrap().to_bytes();
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn form(asked: u64, field: &str) -> String {
    format!("csrf={KEY}&asked={asked}&{field}")
}

#[tokio::test]
async fn nothing_foreign_is_in_the_page_and_it_is_never_kept() {
    let (_screen, link, _given) = link(true);
    let answer = app(link)
        .oneshot(request("GET", "/", KEY, ""))
        .await
        .unwrap();
    assert_eq!(answer.status(), StatusCode::OK);
    let policy = answer.headers()[header::CONTENT_SECURITY_POLICY].clone();
    assert!(policy.to_str().unwrap().starts_with("default-src 'none';"));
    assert_eq!(answer.headers()[header::CACHE_CONTROL], "no-store");
    let page = text(answer).await;
    assert!(
        !page.contains("style=") && !page.contains("onclick"),
        "{page}"
    );
    assert!(page.contains("Which room?"), "{page}");
}

#[tokio::test]
async fn on_this_machine_the_page_gives_its_key_and_elsewhere_it_is_asked_for() {
    for (local, path, key, status) in [
        (true, "/", "", StatusCode::SEE_OTHER),
        (true, "/screen", "", StatusCode::FORBIDDEN),
        (true, "/live", "", StatusCode::FORBIDDEN),
        (false, "/", "", StatusCode::FORBIDDEN),
        (false, "/?key=wrong", "", StatusCode::FORBIDDEN),
        (false, "/?key=a-key-of-the-tests", "", StatusCode::SEE_OTHER),
        (false, "/", KEY, StatusCode::OK),
        (false, "/", "old", StatusCode::FORBIDDEN),
        (false, "/style.css", "", StatusCode::OK),
    ] {
        let (_screen, link, _given) = link(local);
        let answer = app(link).oneshot(request("GET", path, key, ""));
        let answer = answer.await.unwrap();
        assert_eq!(answer.status(), status, "{path} {key}");
        let cookie = answer.headers().get(header::SET_COOKIE);
        assert_eq!(
            cookie.is_some(),
            status == StatusCode::SEE_OTHER,
            "{path} {key}"
        );
    }
}

#[tokio::test]
async fn a_name_that_is_not_this_machines_own_is_not_answered_to() {
    for (host, status) in [
        ("127.0.0.1:8471", StatusCode::OK),
        ("[::1]:8471", StatusCode::OK),
        ("localhost:8471", StatusCode::OK),
        ("localhost", StatusCode::OK),
        ("elsewhere.example:8471", StatusCode::FORBIDDEN),
        ("127.0.0.1.elsewhere.example", StatusCode::FORBIDDEN),
        ("", StatusCode::FORBIDDEN),
    ] {
        let (_screen, link, _given) = link(true);
        let request = with(request("GET", "/", KEY, ""), "host", host);
        let answer = app(link).oneshot(request).await.unwrap();
        assert_eq!(answer.status(), status, "{host}");
    }
}

#[tokio::test]
async fn only_the_pages_own_forms_are_taken() {
    let good = form(0, "words=room+9");
    let post = || request("POST", "/say", KEY, &good);
    for (request, status) in [
        (post(), StatusCode::SEE_OTHER),
        (with(post(), LIVE, "1"), StatusCode::NO_CONTENT),
        (
            with(post(), "sec-fetch-site", "cross-site"),
            StatusCode::FORBIDDEN,
        ),
        (
            with(post(), "origin", "http://elsewhere.example"),
            StatusCode::FORBIDDEN,
        ),
        (
            with(post(), "origin", "http://127.0.0.1:8471"),
            StatusCode::SEE_OTHER,
        ),
        (
            request("POST", "/say", KEY, "asked=0&words=room+9"),
            StatusCode::FORBIDDEN,
        ),
        (
            request("POST", "/say", "wrong", &good),
            StatusCode::FORBIDDEN,
        ),
    ] {
        let (_screen, link, mut given) = link(true);
        let answer = app(link).oneshot(request).await.unwrap();
        assert_eq!(answer.status(), status);
        let taken = given.try_recv();
        assert_eq!(taken.is_ok(), status != StatusCode::FORBIDDEN);
        if let Ok(Event::Touched(taken)) = taken {
            assert_eq!(
                (taken.heard.text().as_str(), taken.heard.by, taken.asked),
                ("room nine", By::Touch, 0)
            );
        }
    }
}

#[tokio::test]
async fn what_can_not_be_taken_is_refused_in_words() {
    let long = form(0, &format!("words={}", "x".repeat(201)));
    for (body, status, why) in [
        (
            form(7, "answer=yes"),
            StatusCode::CONFLICT,
            "no longer what waits",
        ),
        (
            "csrf=a-key-of-the-tests&answer=yes".to_owned(),
            StatusCode::CONFLICT,
            "no longer what waits",
        ),
        (
            form(0, "words="),
            StatusCode::UNPROCESSABLE_ENTITY,
            "type 1 to 200",
        ),
        (long, StatusCode::UNPROCESSABLE_ENTITY, "type 1 to 200"),
    ] {
        for scripted in [true, false] {
            let (_screen, link, mut given) = link(true);
            let mut request = request("POST", "/say", KEY, &body);
            if scripted {
                request = with(request, LIVE, "1");
            }
            let answer = app(link).oneshot(request).await.unwrap();
            assert_eq!(answer.status(), status);
            let answer = text(answer).await;
            assert!(answer.contains(why), "{answer}");
            assert_eq!(answer.contains("<html"), !scripted);
            assert!(given.try_recv().is_err());
        }
    }
}

#[tokio::test]
async fn touches_that_pile_up_are_refused() {
    let (_screen, link, given) = link(true);
    let app = app(link);
    let body = form(0, "words=repeat");
    for at in 0..=TOUCHES {
        let answer = app.clone().oneshot(request("POST", "/say", KEY, &body));
        let full = answer.await.unwrap().status() == StatusCode::SERVICE_UNAVAILABLE;
        assert_eq!(full, at == TOUCHES, "{at}");
    }
    drop(given);
    let answer = app.oneshot(request("POST", "/say", KEY, &body));
    assert_eq!(answer.await.unwrap().status(), StatusCode::GONE);
}

#[tokio::test]
async fn signing_on_takes_the_pin_of_the_staff() {
    for (path, fields, status, taken) in [
        (
            "/sign-on",
            "who=Dana+Whitlock&pin=482915",
            StatusCode::SEE_OTHER,
            true,
        ),
        (
            "/sign-off",
            "who=dana+whitlock&pin=482915",
            StatusCode::SEE_OTHER,
            true,
        ),
        (
            "/sign-on",
            "who=Dana+Whitlock&pin=000000",
            StatusCode::FORBIDDEN,
            false,
        ),
        (
            "/sign-on",
            "who=Nobody&pin=482915",
            StatusCode::FORBIDDEN,
            false,
        ),
        ("/sign-on", "", StatusCode::FORBIDDEN, false),
    ] {
        let (_screen, mut link, mut given) = link(true);
        let mut pins = Pins::in_memory().unwrap();
        let dana = link.home.aides[0].clone();
        pins.set(&link.home, &dana, "482915").unwrap();
        link.pins = Some(Arc::new(Mutex::new(pins)));
        let answer = app(link).oneshot(request("POST", path, KEY, &form(0, fields)));
        assert_eq!(answer.await.unwrap().status(), status, "{path} {fields}");
        let event = given.try_recv().ok();
        let expected = match path {
            "/sign-on" => Event::SignedOn(dana),
            _ => Event::SignedOff(dana),
        };
        assert_eq!(event, taken.then_some(expected), "{path} {fields}");
    }
    // Where nobody has a PIN, nobody signs on, and no form from elsewhere does.
    let (_screen, link, mut given) = link(true);
    let fields = form(0, "who=Dana+Whitlock&pin=482915");
    let answer = app(link.clone()).oneshot(request("POST", "/sign-on", KEY, &fields));
    assert_eq!(answer.await.unwrap().status(), StatusCode::CONFLICT);
    let foreign = with(
        request("POST", "/sign-on", KEY, &fields),
        "origin",
        "http://elsewhere.example",
    );
    let answer = app(link).oneshot(foreign).await.unwrap();
    assert_eq!(answer.status(), StatusCode::FORBIDDEN);
    assert!(given.try_recv().is_err());
}

/// Where nothing is spoken, the screen itself asks to be read before a yes.
#[tokio::test]
async fn the_screen_says_what_is_not_heard() {
    let waits = ["room four bed two"];
    for (speech, read_first, not_heard) in [
        (Speech::Tones, true, "Nothing is spoken"),
        (Speech::Room, false, "Names are not spoken"),
    ] {
        let going = Going::heard_as(speech, &waits);
        let page = app(going.link.clone()).oneshot(request("GET", "/", KEY, ""));
        let page = text(page.await.unwrap()).await;
        assert!(page.contains(not_heard), "{page}");
        assert_eq!(page.contains("Read it first"), read_first, "{page}");
    }
    let going = Going::new(&waits);
    let page = app(going.link.clone()).oneshot(request("GET", "/", KEY, ""));
    let page = text(page.await.unwrap()).await;
    assert!(!page.contains("not spoken") && !page.contains("Nothing is spoken"));
}

#[test]
fn the_address_stays_as_it_is_where_its_key_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("screen.key");
    let start = |key: Option<String>| {
        let place = Place {
            key,
            ..Place::at(SocketAddr::from(([0, 0, 0, 0], 0)))
        };
        let (.., url) = open(place, &dialogue(), now(), None).unwrap();
        url.split_once("/?key=").unwrap().1.to_owned()
    };
    let kept = || Some(key_in(&file).unwrap());
    assert_eq!(start(kept()), start(kept()));
    assert_ne!(start(None), start(None));
}

/// Who holds connections open takes from the recorder what it needs to write.
#[test]
fn who_sends_nothing_is_not_waited_for() {
    let any = SocketAddr::from(([127, 0, 0, 1], 0));
    let (_screen, _touches, url) = open(Place::at(any), &dialogue(), now(), None).unwrap();
    let at = url.trim_start_matches("http://").trim_end_matches('/');
    let mut stream = TcpStream::connect(at).unwrap();
    let wait = std::time::Duration::from_secs(40);
    stream.set_read_timeout(Some(wait)).unwrap();
    let ended = stream.read_to_end(&mut Vec::new());
    assert!(ended.is_ok(), "it is waited for: {ended:?}");
}

/// Nor does who comes in numbers.
#[test]
fn who_finds_no_place_is_refused() {
    let any = SocketAddr::from(([127, 0, 0, 1], 0));
    let (_screen, _touches, url) = open(Place::at(any), &dialogue(), now(), None).unwrap();
    let at = url.trim_start_matches("http://").trim_end_matches('/');
    takes_every_place(at.parse().unwrap());
}
