//! The log on standard error: for people, or one JSON object a line for what
//! collects logs.

use std::io::stderr;

use clap::{Args, ValueEnum};
use sayback::metrics::Complaints;
use tracing_subscriber::filter::{LevelFilter, filter_fn};
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;
use tracing_subscriber::{EnvFilter, Layer as _};

#[derive(Args)]
pub struct LogArgs {
    /// How the log on standard error is written; `SAYBACK_LOG` says how much
    ///
    /// Errors, where nothing else is said; with json, one object a line, from
    /// "info" on.
    #[arg(
        long,
        global = true,
        value_enum,
        env = "SAYBACK_LOG_FORMAT",
        hide_env = true,
        default_value_t = Format::Human
    )]
    log_format: Format,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// Lines for people
    Human,
    /// JSON, one object a line
    Json,
}

/// Begins the log.
pub fn begin(arguments: &LogArgs) {
    let json = arguments.log_format == Format::Json;
    let usual = if json { "info" } else { "error" };
    let level = EnvFilter::try_from_env("SAYBACK_LOG").unwrap_or_else(|_| EnvFilter::new(usual));
    // Only lines of our own: what a library logs of a request holds its path and
    // its headers.
    let own = filter_fn(|it| it.target().starts_with("sayback"));
    let lines = tracing_subscriber::fmt::layer().with_writer(stderr);
    let lines = if json {
        lines.json().flatten_event(true).boxed()
    } else {
        lines.boxed()
    };
    tracing_subscriber::registry()
        .with(lines.with_filter(level).with_filter(own))
        .with(Complaints.with_filter(LevelFilter::WARN))
        .init();
}
