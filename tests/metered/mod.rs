//! The metrics of a running program, read by the parser of Prometheus's own
//! client for Python, which is strict about the OpenMetrics text format.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use serde_json::Value;

const PARSER: &str = "assets/openmetrics/prometheus_client-0.26.0-py3-none-any.whl";
const PROGRAM: &str = "\
import json, sys
from prometheus_client.openmetrics.parser import text_string_to_metric_families
families = text_string_to_metric_families(sys.stdin.read())
print(json.dumps([[s.name, s.labels, s.value] for f in families for s in f.samples]))";

/// What the parser makes of a text.
pub fn parsed(text: &str) -> Output {
    let parser = Path::new(env!("CARGO_MANIFEST_DIR")).join(PARSER);
    assert!(
        parser.is_file(),
        "{PARSER} is missing; run: make setup-test"
    );
    let mut python = Command::new("python3");
    python.args(["-c", PROGRAM]).env("PYTHONPATH", parser);
    let pipes = python.stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut running = pipes.stderr(Stdio::piped()).spawn().unwrap();
    let mut input = running.stdin.take().unwrap();
    input.write_all(text.as_bytes()).unwrap();
    drop(input);
    running.wait_with_output().unwrap()
}

/// What a program said of itself.
pub struct Metrics {
    pub text: String,
    samples: Vec<(String, BTreeMap<String, String>, f64)>,
}

impl Metrics {
    /// Asks at an address that a program has shown.
    pub fn at(url: &str) -> Self {
        let mut answer = ureq::get(url).call().unwrap();
        let kind = answer.headers()["content-type"].to_str().unwrap();
        assert_eq!(kind, sayback::metrics::MEDIA_TYPE);
        let text = answer.body_mut().read_to_string().unwrap();
        let read = parsed(&text);
        let why = String::from_utf8_lossy(&read.stderr);
        assert!(read.status.success(), "{why}\n{text}");
        let samples: Vec<(String, BTreeMap<String, String>, Value)> =
            serde_json::from_slice(&read.stdout).unwrap();
        let samples = samples.into_iter();
        let samples = samples.map(|(name, labels, it)| (name, labels, it.as_f64().unwrap()));
        let samples = samples.collect();
        Self { text, samples }
    }

    /// The value of one, where there is one with at least these labels.
    pub fn get(&self, name: &str, labels: &[(&str, &str)]) -> Option<f64> {
        let fits = |it: &BTreeMap<String, String>| {
            labels
                .iter()
                .all(|(name, value)| it.get(*name).is_some_and(|it| it == value))
        };
        let mut found = self
            .samples
            .iter()
            .filter(|(it, labels, _)| it == name && fits(labels));
        found.next().map(|it| it.2)
    }
}
