//! What a monitor is told of the running program, and what is logged: all of it
//! about the machine, nothing about anyone.

#![cfg(unix)]

mod metered;

use std::io::{BufRead as _, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, SystemTime};

use metered::{Metrics, parsed};
use serde_json::Value;
use tempfile::TempDir;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");
const HOME: &str = "audio-fixtures/demo-home.toml";
const PATIENCE: Duration = Duration::from_secs(60);

/// The program, running, and the lines it writes.
struct Running {
    program: Child,
    shown: Receiver<String>,
    folder: TempDir,
}

impl Running {
    fn start(arguments: &[&str], folder: TempDir) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
        command.args(arguments).current_dir(ROOT);
        command.env("SAYBACK_LOG", "trace");
        command.env("SAYBACK_KEY_FILE", folder.path().join("record.key"));
        let log = std::fs::File::create(folder.path().join("log")).unwrap();
        let pipes = command.stdin(Stdio::null()).stdout(Stdio::piped());
        let mut program = pipes.stderr(log).spawn().unwrap();
        let lines = BufReader::new(program.stdout.take().unwrap()).lines();
        let (write, shown) = channel();
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                if write.send(line).is_err() {
                    break;
                }
            }
        });
        Self {
            program,
            shown,
            folder,
        }
    }

    /// The rest of a line, from a word on.
    fn shows(&self, word: &str) -> String {
        loop {
            let line = self.shown.recv_timeout(PATIENCE);
            let line = line.unwrap_or_else(|_| panic!("{word:?} is not shown: {}", self.log()));
            if let Some(at) = line.find(word) {
                return line[at..].to_owned();
            }
        }
    }

    fn metrics(&self) -> String {
        let url = self.shows("The metrics are at ");
        url.trim_start_matches("The metrics are at ").to_owned()
    }

    fn log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("log")).unwrap()
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

#[test]
fn the_parser_refuses_what_is_not_openmetrics() {
    let good = "# TYPE a counter\na_total 1\n# EOF\n";
    assert!(parsed(good).status.success());
    for bad in [
        "# TYPE a counter\na_total 1\n",
        "# TYPE a counter\na 1\n# EOF\n",
    ] {
        assert!(!parsed(bad).status.success(), "{bad:?}");
    }
}

#[test]
fn the_station_tells_of_its_requests_and_of_nobody() {
    let folder = tempfile::tempdir().unwrap();
    let store = folder.path().join("record.db");
    let arguments = [
        "serve",
        "--home",
        HOME,
        "--listen",
        "127.0.0.1:0",
        "--metrics",
        "127.0.0.1:0",
        "--log-format",
        "json",
        "--store",
        store.to_str().unwrap(),
    ];
    let station = Running::start(&arguments, folder);
    let metrics = station.metrics();
    let page = station.shows("http://127");
    let page = page.split_whitespace().next().unwrap();
    let ask = ureq::Agent::config_builder().http_status_as_error(false);
    let ask: ureq::Agent = ask.max_redirects(0).build().into();
    for (path, status) in [
        ("/sign-in", 200),
        ("/residents/AR-090?who=Delgado", 303),
        ("/residents/AR-090?who=Delgado", 303),
        ("/Rosa-Delgado", 404),
    ] {
        let answer = ask.get(format!("{page}{path}")).call().unwrap();
        assert_eq!(answer.status().as_u16(), status, "{path}");
    }
    let told = Metrics::at(&metrics);
    let requests = |route: &str, status: &str| {
        let labels = [("site", "station"), ("route", route), ("status", status)];
        told.get("sayback_http_requests_total", &labels)
    };
    assert_eq!(requests("/sign-in", "200"), Some(1.0), "{}", told.text);
    assert_eq!(requests("/residents/{id}", "303"), Some(2.0));
    assert_eq!(requests("none", "404"), Some(1.0));
    let version = [("version", env!("CARGO_PKG_VERSION"))];
    assert_eq!(told.get("sayback_build_info", &version), Some(1.0));
    let started = told.get("process_start_time_seconds", &[]).unwrap();
    let now = SystemTime::UNIX_EPOCH.elapsed().unwrap().as_secs_f64();
    assert!((0.0..600.0).contains(&(now - started)), "{started}");
    assert_eq!(told.get("sayback_open_reports", &[]), Some(0.0));
    // Nothing is sent to a home here.
    assert_eq!(told.get("sayback_unsent_facts", &[]), None);

    let mut answered = 0;
    for line in station.log().lines() {
        let line: Value = serde_json::from_str(line).unwrap_or_else(|_| panic!("{line}"));
        answered += usize::from(line["route"] == "/residents/{id}" && line["status"] == 303);
    }
    assert_eq!(answered, 2, "{}", station.log());
    for private in ["Rosa", "Delgado", "AR-090"] {
        assert!(!told.text.contains(private), "{}", told.text);
        assert!(!station.log().contains(private), "{}", station.log());
    }
}

#[test]
fn a_round_tells_how_it_goes_and_of_nobody() {
    let folder = tempfile::tempdir().unwrap();
    let script = folder.path().join("round.script");
    let speech = format!("{ROOT}/audio-fixtures/speech");
    let lines = format!(
        "home {ROOT}/{HOME}\nat 2026-03-02T07:30:00-05:00\nwav {speech}/room-nine.wav\ntext yes\n\
         text pulse seventy two regular\ntext yes\ntext eighty four\ntext pulse sixty nine regular\ntext no\n\
         text turn the page please\ntext pulse\n\
         text blood pressure one ninety two over eighty eight left arm sitting\ntext yes\n"
    );
    std::fs::write(&script, lines).unwrap();
    let store = folder.path().join("record.db");
    let arguments = [
        "rehearse",
        script.to_str().unwrap(),
        "--silent",
        "--screen",
        "127.0.0.1:0",
        "--metrics",
        "127.0.0.1:0",
        "--voice",
        "none",
        "--store",
        store.to_str().unwrap(),
    ];
    let round = Running::start(&arguments, folder);
    let metrics = round.metrics();
    round.shows("REPORT");
    let told = Metrics::at(&metrics);
    let count = |name: &str| told.get(name, &[]).unwrap_or_else(|| panic!("{name}"));
    let readings = |outcome: &str| told.get("sayback_readings_total", &[("outcome", outcome)]);
    assert_eq!(readings("dropped"), Some(1.0), "{}", told.text);
    assert!(readings("kept") >= Some(1.0), "{}", told.text);
    assert!(readings("asked_again") >= Some(1.0), "{}", told.text);
    let utterances = |addressed: &str| {
        let labels = [("by", "voice"), ("addressed", addressed)];
        told.get("sayback_utterances_total", &labels)
    };
    // "Of what?" is asked of a number alone: it was for Sayback.
    assert_eq!(utterances("no"), Some(1.0), "{}", told.text);
    assert!(utterances("yes") >= Some(8.0), "{}", told.text);
    assert!(count("sayback_facts_appended_total") >= 8.0);
    assert!(count("sayback_append_seconds_count") >= 4.0);
    assert!(count("sayback_append_seconds_sum") > 0.0);
    assert!((0.5..10.0).contains(&count("sayback_recognised_sound_seconds_total")));
    assert!(count("sayback_recogniser_work_seconds_total") > 0.0);
    // Not in the numbers that are told: a time can have any digits.
    let without = |it: &str| match it.rsplit_once(' ') {
        Some((before, _)) if !it.starts_with('#') => before.to_owned(),
        _ => it.to_owned(),
    };
    let names: Vec<String> = told.text.lines().map(without).collect();
    for private in ["Rosa", "Delgado", "AR-090", "Whitlock", "192", "seventy"] {
        let is_told = names.iter().any(|it| it.contains(private));
        assert!(!is_told, "{private}: {}", told.text);
    }
}

#[test]
fn metrics_are_given_to_this_machine_only_and_to_its_own_name() {
    let refused = sayback::metrics::open("0.0.0.0:0".parse().unwrap()).unwrap_err();
    assert!(refused.contains("this machine only"), "{refused}");
    let at = sayback::metrics::open("127.0.0.1:0".parse().unwrap()).unwrap();
    let url = format!("http://{at}/metrics");
    Metrics::at(&url);
    let foreign = ureq::get(&url).header("host", "elsewhere.example").call();
    assert!(
        matches!(foreign, Err(ureq::Error::StatusCode(403))),
        "{foreign:?}"
    );
}

/// What a home's link tells is shown from then on.
#[test]
fn what_waits_to_be_sent_is_told_where_something_is_sent() {
    let sent = SystemTime::UNIX_EPOCH + Duration::from_secs(1_772_000_000);
    sayback::metrics::sending(7, None);
    sayback::metrics::sending(0, Some(sent));
    let at = sayback::metrics::open("127.0.0.1:0".parse().unwrap()).unwrap();
    let told = Metrics::at(&format!("http://{at}/metrics"));
    assert_eq!(told.get("sayback_unsent_facts", &[]), Some(0.0));
    let at = told.get("sayback_last_sent_time_seconds", &[]);
    assert_eq!(at, Some(1_772_000_000.0));
}
