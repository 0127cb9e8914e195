//! What the program does, as numbers for a monitor: counts, times and states of
//! the machine, and nothing about anyone. No name, reading, room or identifier
//! is in a label or a value; every label is a word of the program's own.
//!
//! The numbers are those of this process, and are kept whether or not anyone
//! asks. [`open`] answers who does, in OpenMetrics text.

mod requests;
mod round;
mod server;

use std::fmt;
use std::sync::LazyLock;
use std::sync::atomic::AtomicU64;
use std::time::{Duration, SystemTime};

use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::{Registry, Unit};
use tracing::{Event, Level, Subscriber};
use tracing_subscriber::Layer;
use tracing_subscriber::layer::Context;

use crate::facts::{Body, Fact, KeptReading};

pub(crate) use requests::count as count_request;
pub use round::Counted;
pub use server::{MEDIA_TYPE, open};

/// Labels: words of the program's own.
type Labels<const N: usize> = [(&'static str, &'static str); N];
type Seconds = Counter<f64, AtomicU64>;
type Moment = Gauge<f64, AtomicU64>;

struct Metrics {
    registry: Registry,
    facts: Counter,
    append: Histogram,
    append_errors: Counter,
    readings: Family<Labels<1>, Counter>,
    utterances: Family<Labels<2>, Counter>,
    sound: Seconds,
    recognising: Seconds,
    read_back: Histogram,
    open_reports: Gauge,
    requests: Family<[(&'static str, String); 3], Counter>,
    complaints: Family<Labels<1>, Counter>,
    // Not shown where nothing is sent to a home.
    unsent: Family<Labels<0>, Gauge>,
    sent_at: Family<Labels<0>, Moment>,
}

static METRICS: LazyLock<Metrics> = LazyLock::new(Metrics::new);

impl Metrics {
    fn new() -> Self {
        let mut it = Self {
            registry: Registry::default(),
            facts: Counter::default(),
            // From a quiet disk to one that other programs keep busy.
            append: Histogram::new([
                0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0,
            ]),
            append_errors: Counter::default(),
            readings: Family::default(),
            utterances: Family::default(),
            sound: Seconds::default(),
            recognising: Seconds::default(),
            read_back: Histogram::new([
                0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0,
            ]),
            open_reports: Gauge::default(),
            requests: Family::default(),
            complaints: Family::default(),
            unsent: Family::default(),
            sent_at: Family::default(),
        };
        it.register();
        it
    }

    /// Names and help. The encoder adds units, `_total`, and the full stop.
    fn register(&mut self) {
        let all = &mut self.registry;
        let started = Moment::default();
        started.set(since_1970(SystemTime::now()));
        all.register_with_unit(
            "process_start_time",
            "When the program began, in seconds since 1970 UTC",
            Unit::Seconds,
            started,
        );
        let all = all.sub_registry_with_prefix("sayback");
        let version = Info::new([("version", env!("CARGO_PKG_VERSION"))]);
        all.register("build", "The version of the program", version);
        let facts = self.facts.clone();
        all.register("facts_appended", "Facts that are on the disk", facts);
        all.register_with_unit(
            "append",
            "Time from the wish to append until the facts were on the disk",
            Unit::Seconds,
            self.append.clone(),
        );
        let errors = self.append_errors.clone();
        all.register(
            "append_errors",
            "Appends that failed; nothing was kept",
            errors,
        );
        all.register(
            "readings",
            "Readings by what became of them: kept by a yes, dropped, never answered (unconfirmed), \
             or not understood surely enough and asked for again (asked_again)",
            self.readings.clone(),
        );
        all.register(
            "utterances",
            "Utterances, by voice or by touch, and whether they were for the recorder",
            self.utterances.clone(),
        );
        all.register_with_unit(
            "recognised_sound",
            "Sound given to the recogniser",
            Unit::Seconds,
            self.sound.clone(),
        );
        all.register_with_unit(
            "recogniser_work",
            "Time the recogniser took for it; by the sound's it is the real-time factor",
            Unit::Seconds,
            self.recognising.clone(),
        );
        all.register_with_unit(
            "read_back",
            "Time from when an utterance was recognised to the first sound of the answer",
            Unit::Seconds,
            self.read_back.clone(),
        );
        let open = self.open_reports.clone();
        all.register("open_reports", "Reports that no nurse has yet", open);
        all.register(
            "http_requests",
            "Requests answered, by site, route and status",
            self.requests.clone(),
        );
        let complaints = self.complaints.clone();
        all.register(
            "log_lines",
            "Warnings and errors logged, shown or not",
            complaints,
        );
        let unsent = self.unsent.clone();
        all.register(
            "unsent_facts",
            "Facts that the home does not have yet",
            unsent,
        );
        all.register_with_unit(
            "last_sent_time",
            "When facts were last sent to the home, in seconds since 1970 UTC",
            Unit::Seconds,
            self.sent_at.clone(),
        );
    }
}

fn since_1970(at: SystemTime) -> f64 {
    let passed = at.duration_since(SystemTime::UNIX_EPOCH);
    passed.unwrap_or_default().as_secs_f64()
}

/// Notes when the program began. Without this it is when something was first
/// counted.
pub fn begin() {
    LazyLock::force(&METRICS);
}

/// Facts were appended, or not, in this time.
pub(crate) fn appended(facts: &[&Fact<KeptReading>], took: Duration, done: bool) {
    if !done {
        METRICS.append_errors.inc();
        return;
    }
    let seconds = took.as_secs_f64();
    tracing::debug!(appended = facts.len(), seconds, "on the disk");
    METRICS.append.observe(seconds);
    METRICS.facts.inc_by(facts.len() as u64);
    for fact in facts {
        match &fact.body {
            Body::Read(_) => readings("kept", 1),
            Body::Dropped {
                unfinished: false, ..
            } => readings("dropped", 1),
            Body::Unconfirmed { .. } => readings("unconfirmed", 1),
            _ => {}
        }
    }
}

fn readings(outcome: &'static str, more: u64) {
    let counter = METRICS.readings.get_or_create(&[("outcome", outcome)]);
    counter.inc_by(more);
}

/// The recogniser was given sound of this length, and took this time.
pub(crate) fn recognised(sound: f64, took: Duration) {
    METRICS.sound.inc_by(sound);
    METRICS.recognising.inc_by(took.as_secs_f64());
}

/// An answer began so long after what it answers was recognised.
pub(crate) fn answered(after: Duration) {
    METRICS.read_back.observe(after.as_secs_f64());
}

/// So many reports are open.
pub(crate) fn open_reports(count: usize) {
    let count = i64::try_from(count).unwrap_or(i64::MAX);
    METRICS.open_reports.set(count);
}

/// So many facts wait to be sent to the home; some were just sent, at this time.
pub fn sending(unsent: i64, sent: Option<SystemTime>) {
    METRICS.unsent.get_or_create(&[]).set(unsent);
    if let Some(at) = sent {
        METRICS.sent_at.get_or_create(&[]).set(since_1970(at));
    }
}

/// All of it, as OpenMetrics text
/// (<https://github.com/prometheus/OpenMetrics/blob/v1.0.0/specification/OpenMetrics.md>).
///
/// # Errors
/// None, in memory.
pub fn text() -> Result<String, fmt::Error> {
    let mut text = String::new();
    encode(&mut text, &METRICS.registry)?;
    Ok(text)
}

/// Counts warnings and errors, whether or not they are shown.
pub struct Complaints;

impl<S: Subscriber> Layer<S> for Complaints {
    fn on_event(&self, event: &Event<'_>, _: Context<'_, S>) {
        let level = match *event.metadata().level() {
            Level::ERROR => "error",
            Level::WARN => "warning",
            _ => return,
        };
        METRICS.complaints.get_or_create(&[("level", level)]).inc();
    }
}
