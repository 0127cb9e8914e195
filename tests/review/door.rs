//! Who gets in, and what each may do.

use axum::http::{StatusCode, header};
use sayback::facts::Body;
use sayback::review::accounts::{FREE_TRIES, Role};
use sayback::review::{LIVE, ROUTES, Who};

use super::site::{PASSWORD, Site, Visitor, text};

/// A path of the made-up record for each route.
fn path(site: &Site, route: &str) -> String {
    let facts = site.facts();
    let id = |wanted: fn(&Body) -> bool| {
        let found = facts.iter().rev().find(|it| wanted(&it.body));
        found.unwrap().id.to_string()
    };
    let id = if route.starts_with("/reports") {
        id(|it| matches!(it, Body::Flagged { .. }))
    } else if route.starts_with("/readings") {
        id(|it| matches!(it, Body::Read(_)))
    } else if route.starts_with("/rounds") {
        facts.last().unwrap().round.to_string()
    } else if route.starts_with("/people") {
        "mbell".to_owned()
    } else {
        "AR-000".to_owned()
    };
    route.replace("{id}", &id).replace("{sign}", "pulse")
}

/// Every route for every role, and for someone who is not signed in.
#[tokio::test]
async fn each_role_may_do_what_it_may_and_nothing_else() {
    let site = Site::new();
    // Tried, and let in, of strangers and of the three roles.
    let (mut tried, mut let_in) = (0, 0);
    for &(method, route, who) in ROUTES {
        if route == "/sign-out" {
            continue;
        }
        let path = path(&site, route);
        let mut stranger = Visitor::stranger(&site);
        let status = match method {
            "GET" => stranger.get(&path).await.0,
            _ => stranger.post(&path, "").await.status(),
        };
        let turned_away = match (who, method) {
            (Who::Anyone, "GET") => matches!(status, StatusCode::OK) || route == "/idle",
            (Who::Anyone, _) => status == StatusCode::FORBIDDEN,
            (_, "GET") => matches!(status, StatusCode::SEE_OTHER | StatusCode::UNAUTHORIZED),
            _ => status == StatusCode::UNAUTHORIZED,
        };
        assert!(turned_away, "stranger {method} {route}: {status}");
        tried += 1;
        let_in += usize::from(who == Who::Anyone);
        for role in Role::ALL {
            // A session of its own, since some routes end it.
            let visitor = site.visitor(role).await;
            let body = match method {
                "GET" => String::new(),
                _ => format!("csrf={}", visitor.csrf),
            };
            let answer = site.send(visitor.request(method, &path, body)).await;
            let status = answer.status();
            let refused = status == StatusCode::FORBIDDEN;
            if route == "/sign-in" && method == "POST" {
                continue;
            }
            assert_eq!(
                refused,
                !who.includes(role),
                "{role:?} {method} {route}: {status}"
            );
            // Sound is mostly not there; tests/review/sound.rs looks where it is.
            if !route.contains("/sound") {
                assert_ne!(status, StatusCode::NOT_FOUND, "{role:?} {method} {route}");
            }
            assert_ne!(status, StatusCode::METHOD_NOT_ALLOWED, "{method} {route}");
            tried += 1;
            let_in += usize::from(!refused);
        }
    }
    let refused = tried - let_in;
    println!(
        "figure: {tried} combinations of a route with a role, or with nobody signed in: {let_in} \
         allowed and let in, {refused} not allowed and all refused"
    );
}

#[tokio::test]
async fn a_nurses_act_by_an_aide_is_refused_and_noted() {
    let site = Site::new();
    let before = site.facts().len();
    let path = path(&site, "/reports/{id}/acknowledge");
    let mut aide = site.visitor(Role::Aide).await;
    let answer = aide.post(&path, "").await;
    assert_eq!(answer.status(), StatusCode::FORBIDDEN);
    assert!(text(answer).await.contains("It was not done, and noted."));
    assert_eq!(site.facts().len(), before);
    let line = site.station.accounts().log_lines(1).unwrap().remove(0);
    assert_eq!(line.who, "dwhitlock");
    assert_eq!(line.what, format!("refused (aide): POST {path}"));
    let (_, log) = site.visitor(Role::Administrator).await.get("/log").await;
    assert!(log.contains("refused (aide)"));
}

#[tokio::test]
async fn the_log_shows_what_was_before_many_refusals() {
    let site = Site::new();
    let made = "made the account pquist (nurse)";
    site.station
        .accounts()
        .log(super::made::now(), "admin", made);
    let mut aide = site.visitor(Role::Aide).await;
    for _ in 0..400 {
        aide.get("/log").await;
    }
    let mut admin = site.visitor(Role::Administrator).await;
    let (_, log) = admin.get("/log").await;
    assert!(log.contains("refused (aide): GET /log") && log.contains("400 times since"));
    assert!(log.contains(made) && !log.contains("rel=\"next\""), "{log}");
    for line in 0..150 {
        let what = format!("took round {line} as CSV");
        site.station
            .accounts()
            .log(super::made::now(), "imarlow", &what);
    }
    let (_, log) = admin.get("/log").await;
    assert!(!log.contains(made));
    let (_, next) = log.split_once("rel=\"next\" href=\"").unwrap();
    let (_, older) = admin.get(next.split('"').next().unwrap()).await;
    assert!(
        older.contains(made) && older.contains("The newest"),
        "{older}"
    );
    let (status, page) = admin.get("/log?before=zzz").await;
    assert_eq!(status, StatusCode::NOT_FOUND);
    assert!(page.contains("There is no such page of the log"));
}

/// The file has a bound, however long someone goes on.
#[tokio::test]
async fn refusals_do_not_fill_the_log() {
    let site = Site::new();
    let mut aide = site.visitor(Role::Aide).await;
    for at in 0..1_200 {
        aide.get(&format!("/log?before={at}")).await;
    }
    let lines = site.station.accounts().log_lines(5_000).unwrap();
    let refused = lines.iter().filter(|it| it.what.starts_with("refused ("));
    let refused = refused.count();
    assert!((1_000..1_064).contains(&refused), "{refused}");
    let signed_in = |it: &sayback::review::accounts::LogLine| it.what == "signed in";
    assert!(lines.iter().any(signed_in), "what the aide did stays");
}

#[tokio::test]
async fn a_form_without_its_token_is_refused() {
    let site = Site::new();
    let before = site.facts().len();
    let posts = ROUTES.iter().filter(|(method, ..)| *method == "POST");
    for (_, route, who) in posts {
        let role = Role::ALL.into_iter().find(|it| who.includes(*it)).unwrap();
        let mut visitor = site.visitor(role).await;
        let right = visitor.csrf.clone();
        for wrong in ["", "0000", &right[1..]] {
            visitor.csrf = wrong.to_owned();
            let answer = visitor.post(&path(&site, route), "").await;
            assert_eq!(answer.status(), StatusCode::FORBIDDEN, "{route} {wrong}");
        }
    }
    assert_eq!(site.facts().len(), before);
}

#[tokio::test]
async fn a_form_from_another_site_is_refused() {
    let site = Site::new();
    let visitor = site.visitor(Role::Nurse).await;
    for (name, value) in [
        ("origin", "https://elsewhere.example"),
        ("origin", "null"),
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
    ] {
        let body = format!("csrf={}&text=hello", visitor.csrf);
        let mut request = visitor.request("POST", "/residents/AR-000/note", body);
        request.headers_mut().insert(name, value.parse().unwrap());
        let answer = site.send(request).await;
        assert_eq!(answer.status(), StatusCode::FORBIDDEN, "{name} {value}");
    }
}

#[tokio::test]
async fn wrong_passwords_lock_the_name() {
    let site = Site::new();
    let mut visitor = Visitor::stranger(&site);
    for _ in 0..FREE_TRIES {
        let answer = visitor.sign_in("imarlow", "wrong").await;
        assert_eq!(answer.status(), StatusCode::UNAUTHORIZED);
        assert!(
            text(answer).await.contains("don&#39;t belong together") || visitor.cookies.len() == 1
        );
    }
    for password in ["wrong", PASSWORD] {
        let answer = visitor.sign_in("imarlow", password).await;
        assert_eq!(answer.status(), StatusCode::TOO_MANY_REQUESTS);
        assert!(text(answer).await.contains("Too many wrong tries"));
    }
    site.visitor(Role::Aide).await;
}

/// Sooner or later somebody types a password where the name belongs.
#[tokio::test]
async fn what_is_nobodys_name_is_in_no_log() {
    let site = Site::new();
    let mut visitor = Visitor::stranger(&site);
    visitor.sign_in("teal kettle sings", "").await;
    visitor.sign_in("imarlow", "wrong").await;
    let lines = site.station.accounts().log_lines(2).unwrap();
    let who: Vec<_> = lines.iter().map(|it| (&*it.who, &*it.what)).collect();
    let wrong = "wrong name or password";
    assert_eq!(who, [("imarlow", wrong), ("nobody here", wrong)]);
}

#[tokio::test]
async fn a_form_that_is_too_long_is_refused() {
    let site = Site::new();
    let mut visitor = Visitor::stranger(&site);
    visitor.get("/sign-in").await;
    let answer = visitor.post("/sign-in", &"a".repeat(17 * 1024)).await;
    assert_eq!(answer.status(), StatusCode::PAYLOAD_TOO_LARGE);
}

#[tokio::test]
async fn cookies_and_headers_are_strict() {
    let site = Site::new();
    let mut visitor = Visitor::stranger(&site);
    let answer = visitor.sign_in("imarlow", PASSWORD).await;
    let cookie = answer.headers()[header::SET_COOKIE].to_str().unwrap();
    assert!(
        cookie.ends_with("; Path=/; HttpOnly; SameSite=Strict"),
        "{cookie}"
    );
    for path in ["/sign-in", "/worklist", "/nowhere", "/style.css"] {
        let answer = site.send(visitor.request("GET", path, String::new())).await;
        let header = |name: &str| answer.headers()[name].to_str().unwrap().to_owned();
        let policy = header("content-security-policy");
        assert!(policy.contains("default-src 'none'"), "{path}");
        assert!(!policy.contains("unsafe"), "{path}");
        assert_eq!(header("x-content-type-options"), "nosniff");
        assert_eq!(header("x-frame-options"), "DENY");
        let cached = if path == "/style.css" {
            "private"
        } else {
            "no-store"
        };
        assert!(header("cache-control").contains(cached), "{path}");
    }
}

#[tokio::test]
async fn nothing_comes_from_outside_and_nothing_is_inline() {
    let site = Site::new();
    let mut nurse = site.visitor(Role::Nurse).await;
    for &(method, route, who) in ROUTES {
        if method != "GET" || !who.includes(Role::Nurse) || route == "/live" {
            continue;
        }
        let (_, page) = nurse.get(&path(&site, route)).await;
        // A file to take away is no page; FHIR's codes are addresses.
        if route.ends_with("/fhir") {
            continue;
        }
        for banned in ["style=\"", "<style", "onclick", "http://", "https://"] {
            let known = page.replace("http://www.w3.org/2000/svg", "");
            assert!(!known.contains(banned), "{route} has {banned}");
        }
    }
}

#[tokio::test]
async fn a_user_with_a_code_chooses_a_password_first() {
    let site = Site::new();
    let mut admin = site.visitor(Role::Administrator).await;
    let fields = "login=pquist&name=Peter+Quist&title=licensed+practical+nurse&role=nurse";
    let page = text(admin.post("/people", fields).await).await;
    let (_, rest) = page.split_once("<p class=\"code\">").unwrap();
    let code = &rest[..14];
    let mut new = Visitor::stranger(&site);
    new.sign_in("pquist", code).await;
    let (status, _) = new.get("/worklist").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "to the password first");
    let weak = new.post("/password", "password=short&again=short").await;
    assert_eq!(weak.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let chosen = "password=seven+slow+herons&again=seven+slow+herons";
    new.does("/password", chosen).await;
    let (status, _) = new.get("/worklist").await;
    assert_eq!(status, StatusCode::OK);
    admin.post("/people/PQuist/close", "").await;
    let (status, _) = new.get("/worklist").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "closing ends the session");
    admin.post("/people/pquist/open", "").await;
    new.sign_in("pquist", "seven slow herons").await;
    assert_eq!(new.get("/worklist").await.0, StatusCode::OK);
    admin.post("/people/%20pquist/code", "").await;
    let (status, _) = new.get("/worklist").await;
    assert_eq!(status, StatusCode::SEE_OTHER, "so does a new code");
}

#[tokio::test]
async fn signing_in_leads_to_where_one_wanted_but_never_outside() {
    let site = Site::new();
    for (to, expected) in [
        ("/find?who=Rosa", "/find?who=Rosa"),
        ("//elsewhere.example", "/"),
        ("https://elsewhere.example", "/"),
        ("/\\elsewhere.example", "/"),
    ] {
        let mut visitor = Visitor::stranger(&site);
        visitor.get("/sign-in").await;
        visitor.csrf = visitor.cookies[0].1.clone();
        let to = to.replace('?', "%3F").replace('=', "%3D");
        let fields = format!(
            "login=imarlow&password={}&to={to}",
            PASSWORD.replace(' ', "+")
        );
        let answer = visitor.post("/sign-in", &fields).await;
        assert_eq!(answer.headers()[header::LOCATION], expected);
    }
}

#[tokio::test]
async fn a_page_that_renews_itself_is_told_of_the_end() {
    let site = Site::new();
    let stranger = Visitor::stranger(&site);
    let mut request = stranger.request("GET", "/worklist", String::new());
    request.headers_mut().insert(LIVE, "1".parse().unwrap());
    let answer = site.send(request).await;
    assert_eq!(answer.status(), StatusCode::UNAUTHORIZED);
}
