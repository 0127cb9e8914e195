//! Bundles sent to a stand-in for a FHIR server that is as strict as one may be:
//! it checks method, path, headers and every entry, keeps what it is sent by
//! identifier, answers as FHIR says, and fails when it is told to. What a server
//! of another make takes is proven in `fhir_server.rs`.

mod chart;

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use chart::{Round, home, pulse};
use sayback::facts::Fact;
use sayback::review::export::fhir::{
    Bundle, Links, PatientSystem, observations, patients, transactions,
};
use sayback::review::export::post::{Access, PostError, Retry, Server};
use sayback::review::export::{Chart, Selection};
use serde_json::{Value, json};

/// What the stand-in does with the next request, before it is asked in earnest.
#[derive(Clone, Copy)]
enum Mood {
    /// Answers with this status, and these header lines.
    Says(u16, &'static str),
    /// Takes the bundle and breaks off without an answer.
    TakesAndHangsUp,
    /// Answers 200 with something that is not FHIR.
    Babbles,
}

#[derive(Default)]
struct Kept {
    moods: Vec<Mood>,
    requests: usize,
    /// By query; the value is the resource and how often it was written.
    resources: BTreeMap<String, (Value, usize)>,
    complaints: Vec<String>,
}

struct StandIn {
    address: String,
    kept: Arc<Mutex<Kept>>,
}

impl StandIn {
    fn with(moods: &[Mood]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let address = format!("http://{}/fhir", listener.local_addr().expect("bound"));
        let kept = Arc::new(Mutex::new(Kept {
            moods: moods.iter().rev().copied().collect(),
            ..Kept::default()
        }));
        let shared = Arc::clone(&kept);
        std::thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                serve(&stream, &shared);
            }
        });
        Self { address, kept }
    }

    fn kept(&self) -> std::sync::MutexGuard<'_, Kept> {
        self.kept.lock().expect("not poisoned")
    }

    fn server(&self) -> Server {
        let access = Access {
            token: Some("a-token".to_owned()),
            retry: Retry {
                tries: 3,
                first: Duration::from_millis(2),
                longest: Duration::from_millis(20),
            },
            ..Access::default()
        };
        Server::new(&self.address, access).expect("a good address")
    }
}

/// One request a connection: simple, and a retry can't lean on an old one.
fn serve(stream: &TcpStream, kept: &Mutex<Kept>) {
    let mut reader = BufReader::new(stream);
    let mut head = Vec::new();
    for line in reader.by_ref().lines() {
        let line = line.expect("text");
        if line.is_empty() {
            break;
        }
        head.push(line);
    }
    if head.is_empty() {
        return;
    }
    let header = |name: &str| {
        let mut lines = head[1..].iter().filter_map(|it| it.split_once(": "));
        lines
            .find(|(key, _)| key.eq_ignore_ascii_case(name))
            .map(|(_, value)| value.to_owned())
    };
    let length = header("content-length").and_then(|it| it.parse().ok());
    let mut body = vec![0; length.unwrap_or(0)];
    reader.read_exact(&mut body).expect("a whole body");

    let mut kept = kept.lock().expect("not poisoned");
    kept.requests += 1;
    let mut expect = |what: &str, found: Option<&str>, expected: &str| {
        if found != Some(expected) {
            kept.complaints
                .push(format!("{what}: {found:?}, expected {expected:?}"));
        }
    };
    expect(
        "request",
        head.first().map(String::as_str),
        "POST /fhir HTTP/1.1",
    );
    for (name, expected) in [
        ("content-type", "application/fhir+json"),
        ("accept", "application/fhir+json"),
        ("authorization", "Bearer a-token"),
    ] {
        expect(name, header(name).as_deref(), expected);
    }
    let mood = kept.moods.pop();
    let (status, more, answer) = match mood {
        Some(Mood::Says(status, more)) => (status, more, outcome("as it was told to")),
        Some(Mood::Babbles) => (200, "", json!("welcome")),
        Some(Mood::TakesAndHangsUp) => {
            // That it was taken is what the sender does not learn.
            let _ = kept.take(&body);
            return;
        }
        None => match kept.take(&body) {
            Ok(entries) => (200, "", entries),
            Err(problem) => (422, "", outcome(&problem)),
        },
    };
    let answer = answer.to_string();
    let _ = write!(
        &mut &*stream,
        "HTTP/1.1 {status} Said\r\nContent-Type: application/fhir+json\r\n{more}\
         Content-Length: {}\r\nConnection: close\r\n\r\n{answer}",
        answer.len()
    );
}

fn outcome(text: &str) -> Value {
    let issue = json!({ "severity": "error", "code": "invalid", "diagnostics": text });
    json!({ "resourceType": "OperationOutcome", "issue": [issue] })
}

impl Kept {
    /// A transaction: all of it or nothing.
    fn take(&mut self, body: &[u8]) -> Result<Value, String> {
        let bundle: Value = serde_json::from_slice(body).map_err(|it| it.to_string())?;
        if bundle["resourceType"] != "Bundle" || bundle["type"] != "transaction" {
            return Err("no transaction".to_owned());
        }
        let entries = bundle["entry"].as_array().ok_or("no entries")?;
        let urls: BTreeSet<_> = entries.iter().map(|it| it["fullUrl"].as_str()).collect();
        let mut changed = Vec::new();
        let mut answers = Vec::new();
        for entry in entries {
            let (resource, request) = (&entry["resource"], &entry["request"]);
            let kind = resource["resourceType"].as_str().unwrap_or_default();
            let identifier = &resource["identifier"][0];
            let part = |name: &str| identifier[name].as_str().unwrap_or_default();
            let of = format!("identifier={}%7C{}", part("system"), part("value"));
            let of = of.replace(' ', "%20");
            let text = |name: &str| request[name].as_str().unwrap_or_default();
            let there = self.resources.contains_key(&format!("{kind}?{of}"));
            let status =
                match (kind, text("method")) {
                    ("Patient", "POST")
                        if text("url") == "Patient" && text("ifNoneExist") == of =>
                    {
                        if there {
                            "200 OK"
                        } else {
                            "201 Created"
                        }
                    }
                    ("Observation", "PUT") if text("url") == format!("Observation?{of}") => {
                        if there { "200 OK" } else { "201 Created" }
                    }
                    _ => return Err(format!("a request that makes no sense: {request}")),
                };
            if resource.get("id").is_some() {
                return Err("an identifier that is the server's to give".to_owned());
            }
            let subject = &resource["subject"]["reference"];
            if kind == "Observation" && !urls.contains(&subject.as_str()) {
                return Err(format!("a subject that is not there: {subject}"));
            }
            // A conditional create leaves what is there as it is.
            if kind == "Observation" || !there {
                changed.push((format!("{kind}?{of}"), resource.clone()));
            }
            answers.push(json!({ "response": { "status": status } }));
        }
        for (key, resource) in changed {
            let kept = self.resources.entry(key).or_insert((Value::Null, 0));
            *kept = (resource, kept.1 + 1);
        }
        Ok(json!({ "resourceType": "Bundle", "type": "transaction-response", "entry": answers }))
    }
}

fn bundles(facts: &[Fact], size: usize) -> Vec<Bundle> {
    let (home, chart) = (home(), Chart::of(facts));
    let system = PatientSystem::of_home(&home);
    let all = observations(&chart, &home, &system, Links::Bundle, &Selection::default());
    let residents: BTreeSet<_> = chart
        .readings
        .iter()
        .map(|it| &it.record.resident)
        .collect();
    transactions(patients(&chart, &home, &system, &residents), all, size)
}

fn one_pulse() -> Bundle {
    let mut round = Round::new();
    round.read(pulse("72"));
    bundles(&round.facts, 10).remove(0)
}

fn send(stand_in: &StandIn, bundle: &Bundle) -> (Result<(), PostError>, Vec<String>) {
    let mut waits = Vec::new();
    let sent = stand_in
        .server()
        .send(bundle, |_, why| waits.push(why.to_owned()));
    (sent, waits)
}

#[test]
fn what_is_sent_twice_is_there_once_and_a_correction_arrives() {
    let stand_in = StandIn::with(&[]);
    let mut round = Round::new();
    let id = round.read(pulse("27"));
    round.read(pulse("71"));
    for _ in 0..2 {
        for bundle in bundles(&round.facts, 1) {
            send(&stand_in, &bundle).0.expect("taken");
        }
    }
    round.correct(id, pulse("27"), pulse("72"));
    for bundle in bundles(&round.facts, 10) {
        send(&stand_in, &bundle).0.expect("taken");
    }
    let kept = stand_in.kept();
    assert_eq!(kept.complaints, Vec::<String>::new());
    assert_eq!(kept.resources.len(), 3, "a resident and two readings");
    let corrected = kept
        .resources
        .iter()
        .find(|(key, _)| key.ends_with(&id.to_string()));
    let (_, (resource, written)) = corrected.expect("it is there");
    assert_eq!(*written, 3);
    assert_eq!(resource["status"], "amended");
    assert_eq!(resource["valueQuantity"]["value"], 72);
    let patient = kept.resources.iter().find(|it| it.0.starts_with("Patient"));
    assert_eq!(patient.map(|it| it.1.1), Some(1), "written once");
}

#[test]
fn a_server_that_fails_twice_is_asked_a_third_time() {
    for moods in [
        [Mood::Says(503, "Retry-After: 0\r\n"), Mood::Says(409, "")],
        [Mood::TakesAndHangsUp, Mood::Says(500, "")],
        [Mood::TakesAndHangsUp, Mood::TakesAndHangsUp],
    ] {
        let stand_in = StandIn::with(&moods);
        let (sent, waits) = send(&stand_in, &one_pulse());
        sent.expect("taken at last");
        assert_eq!(waits.len(), 2, "{waits:?}");
        let kept = stand_in.kept();
        assert_eq!((kept.requests, kept.resources.len()), (3, 2));
        assert_eq!(kept.complaints, Vec::<String>::new());
    }
}

#[test]
fn a_server_that_goes_on_failing_is_left_alone() {
    let stand_in = StandIn::with(&[Mood::Says(503, ""); 9]);
    let (sent, _) = send(&stand_in, &one_pulse());
    let said = sent.expect_err("never taken").to_string();
    assert_eq!(
        said,
        "not taken after 3 tries, the last: HTTP 503: as it was told to; send it again later"
    );
    assert_eq!(stand_in.kept().requests, 3);
}

#[test]
fn a_refusal_is_told_at_once_and_not_tried_again() {
    for status in [400, 401, 403, 404, 412, 422] {
        let stand_in = StandIn::with(&[Mood::Says(status, "")]);
        let (sent, waits) = send(&stand_in, &one_pulse());
        let said = sent.expect_err("refused").to_string();
        let expected = format!("the server refused (HTTP {status}): as it was told to");
        assert_eq!(said, expected);
        assert_eq!((stand_in.kept().requests, waits.len()), (1, 0));
    }
}

#[test]
fn readings_go_nowhere_else() {
    let elsewhere = StandIn::with(&[]);
    let here = StandIn::with(&[Mood::Says(307, "Location: https://elsewhere.example/\r\n")]);
    let (sent, _) = send(&here, &one_pulse());
    let said = sent.expect_err("not followed").to_string();
    assert!(
        said.contains("moved to https://elsewhere.example/"),
        "{said}"
    );
    assert_eq!(elsewhere.kept().requests, 0);
}

#[test]
fn an_answer_that_is_not_fhir_is_no_success() {
    let stand_in = StandIn::with(&[Mood::Babbles]);
    let (sent, _) = send(&stand_in, &one_pulse());
    let said = sent.expect_err("not FHIR").to_string();
    assert!(said.contains("check the address"), "{said}");
}

#[test]
fn a_server_that_is_not_there_or_does_not_speak_tls_is_named_as_such() {
    let stand_in = StandIn::with(&[]);
    let address = stand_in.address.replace("http:", "https:");
    let retry = Retry {
        tries: 1,
        ..Retry::default()
    };
    let access = || Access {
        retry,
        ..Access::default()
    };
    let tls = Server::new(&address, access()).expect("a good address");
    let sent = tls.send(&one_pulse(), |_, _| {});
    assert!(matches!(sent, Err(PostError::GaveUp { tries: 1, .. })));
    // A port that was free a moment ago.
    let free = TcpListener::bind("127.0.0.1:0").and_then(|it| it.local_addr());
    let address = format!("http://{}/fhir", free.expect("a port"));
    let gone = Server::new(&address, access()).expect("a good address");
    let said = gone.send(&one_pulse(), |_, _| {}).expect_err("nobody");
    assert!(said.to_string().contains("refused"), "{said}");
}
