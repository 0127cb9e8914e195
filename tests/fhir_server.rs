//! Readings sent to a FHIR server that this project did not write: HAPI FHIR's
//! REST server with its in-memory store, which parses and validates every
//! request before it takes it.

mod chart;

use std::collections::BTreeSet;
use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use chart::{everything, home};
use sayback::facts::{Body, Fact};
use sayback::review::export::fhir::{Bundle, Links, PatientSystem, resources, transactions};
use sayback::review::export::post::{Access, Retry, Server};
use sayback::review::export::{Chart, Selection};
use serde_json::Value;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

struct Outside {
    program: Child,
    base: String,
}

impl Outside {
    fn start() -> Self {
        let jars = Path::new(ROOT).join("assets/fhir-validator");
        assert!(jars.is_dir(), "HAPI FHIR is missing; run: make setup-test");
        let mut program = Command::new("java")
            .args(["-XX:TieredStopAtLevel=1", "-XX:+UseSerialGC", "-cp"])
            .arg(jars.join("*"))
            .arg(Path::new(ROOT).join("tests/fhir-validator/Serve.java"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("java runs; make setup-test installs it");
        let said = BufReader::new(program.stdout.take().expect("its output"));
        let base = said.lines().next().expect("an address").expect("text");
        assert!(base.starts_with("http://127.0.0.1:"), "{base}");
        Self { program, base }
    }

    fn send(&self, bundle: &Bundle) -> Result<(), String> {
        let access = Access {
            retry: Retry {
                tries: 1,
                first: Duration::from_millis(1),
                longest: Duration::from_millis(1),
            },
            ..Access::default()
        };
        let server = Server::new(&self.base, access).expect("a good address");
        let sent = server.send(bundle, |_, _| {});
        sent.map_err(|error| error.to_string())
    }

    /// All resources of a kind that it holds.
    fn holds(&self, kind: &str) -> Vec<Value> {
        let address = format!("{}/{kind}?_count=1000", self.base);
        let mut answer = ureq::get(address).call().expect("an answer");
        let text = answer.body_mut().read_to_string().expect("text");
        let bundle: Value = serde_json::from_str(&text).expect("JSON");
        let entries = bundle["entry"].as_array().cloned().unwrap_or_default();
        let mut all: Vec<Value> = entries
            .into_iter()
            .map(|it| it["resource"].clone())
            .collect();
        assert_eq!(bundle["total"], all.len(), "all on one page");
        all.sort_by_key(|it| it["identifier"][0]["value"].to_string());
        all
    }
}

impl Drop for Outside {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

fn bundles(facts: &[Fact], size: usize) -> Vec<Bundle> {
    let (home, chart) = (home(), Chart::of(facts));
    let system = PatientSystem::of_home(&home);
    let all = Selection::default();
    let (patients, written) = resources(&chart, &home, &system, Links::Bundle, &all);
    transactions(patients, written, size)
}

/// One run for all, since most of its time is the server's start.
#[test]
fn another_makers_server_takes_everything_and_holds_it_once() {
    let outside = Outside::start();
    let facts = everything();
    let later = |it: &Fact| matches!(it.body, Body::Corrected { .. } | Body::Retracted { .. });
    let first: Vec<Fact> = facts.iter().filter(|it| !later(it)).cloned().collect();
    assert!(first.len() < facts.len(), "something is corrected later");

    for bundle in bundles(&first, 7) {
        outside.send(&bundle).expect("taken");
    }
    let before = outside.holds("Observation");
    let people = outside.holds("Patient");
    let statuses = |all: &[Value], status: &str| {
        let with = all.iter().filter(|it| it["status"] == status);
        with.count()
    };
    assert!(before.len() > 20, "{}", before.len());
    assert_eq!(statuses(&before, "amended"), 0);
    assert_eq!(statuses(&before, "entered-in-error"), 0);

    // Everything again, with what was corrected since, in other portions.
    for bundle in bundles(&facts, 50) {
        outside.send(&bundle).expect("taken");
    }
    let after = outside.holds("Observation");
    assert_eq!(outside.holds("Patient").len(), people.len());
    let identifiers = |all: &[Value]| -> BTreeSet<String> {
        let own = all
            .iter()
            .map(|it| it["identifier"][0]["value"].to_string());
        own.collect()
    };
    assert_eq!(identifiers(&after).len(), after.len(), "each is there once");
    assert!(identifiers(&after).is_superset(&identifiers(&before)));
    assert!(statuses(&after, "amended") > 0);
    assert!(statuses(&after, "entered-in-error") > 0);

    // The proof can fail: what is no Observation is refused by the server.
    let mut broken = bundles(&first, 1).remove(0);
    for entry in &mut broken.entry {
        if let sayback::review::export::fhir::Resource::Observation(it) = &mut entry.resource {
            it.status = "finished";
        }
    }
    let refused = outside.send(&broken).expect_err("refused");
    assert!(refused.contains("refused (HTTP 4"), "{refused}");
    assert_eq!(
        outside.holds("Observation"),
        after,
        "and nothing is changed"
    );
}
