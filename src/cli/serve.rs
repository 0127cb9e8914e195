//! `sayback serve`: the nurse's station.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use clap::Args;
use sayback::facts::Time;
use sayback::review::accounts::{self, Accounts};
use sayback::review::{Station, serve as answer};
use sayback::sync::{HomeLedger, Link, SyncError};

use super::clock::offsets_here;
use super::home::read_home;
use super::{End, MetricsArgs, TlsArgs, vault};

/// What `serve` is given.
#[derive(Args)]
pub struct Arguments {
    /// The home's file: residents, nurses and aides
    #[arg(long, required_unless_present = "link")]
    home: Option<PathBuf>,
    /// The record to show and append to
    #[arg(long, default_value = "record.db")]
    store: PathBuf,
    /// The link file of this station, where several recorders share one home's
    /// database: the record, the residents and the limits are then the ones there
    #[arg(long, conflicts_with_all = ["home", "store"])]
    link: Option<PathBuf>,
    /// The recorder of this record was linked to a home's database and is no more:
    /// nurses act on it again. While it is linked, the home refuses what they do here
    #[arg(long, conflicts_with = "link")]
    no_longer_linked: bool,
    /// The address to answer on; only this machine unless told otherwise
    #[arg(long, default_value = "127.0.0.1:8470")]
    listen: SocketAddr,
    #[command(flatten)]
    tls: TlsArgs,
    #[command(flatten)]
    metrics: MetricsArgs,
}

impl Arguments {
    /// Whether pages go out over TLS.
    const fn secure(&self) -> bool {
        self.tls.tls_cert.is_some()
    }
}

/// How long to wait before a home that can't be reached is tried again.
const AGAIN: Duration = Duration::from_secs(5);

/// Serves until interrupted.
pub fn serve(arguments: &Arguments) -> Result<End, String> {
    if arguments.store.to_string_lossy().starts_with("postgres") {
        return Err(
            "a home's database is given by its link file, which holds how to sign on: --link \
             link.toml"
                .to_owned(),
        );
    }
    arguments.metrics.open()?;
    let station = match (&arguments.link, &arguments.home) {
        (Some(link), _) => of_home(arguments, link)?,
        (None, Some(home)) => of_file(arguments, home)?,
        (None, None) => return Err("give --home or --link".to_owned()),
    };
    answer_until_interrupted(arguments, station)
}

/// A station on a record on this machine.
fn of_file(arguments: &Arguments, home: &Path) -> Result<Station, String> {
    let home = read_home(home)?;
    let mut store = vault::start(&arguments.store)?;
    super::sound::start(&mut store, &home)?;
    let known = accounts(arguments, store.path())?;
    // Three years of a large home take some seconds.
    anstream::println!("Reading the record {} ...", arguments.store.display());
    let station = Station::new(home, store, known, now, arguments.secure());
    let station = station
        .map_err(|it| it.to_string())?
        .with_offsets(offsets_here());
    if arguments.no_longer_linked {
        return Ok(station.no_longer_linked());
    }
    if station.linked() {
        anstream::println!(
            "This record can only be read here: its recorder is linked to a home's database, \
             which takes what nurses do only from a station with a link of its own. Start one \
             with --link; docs/home.md says how. If the recorder is linked no more, say \
             --no-longer-linked."
        );
    }
    Ok(station)
}

/// A station on the record of a home that several share. Its accounts are beside
/// the link file.
fn of_home(arguments: &Arguments, path: &Path) -> Result<Station, String> {
    let link = Link::read(path).map_err(|it| it.to_string())?;
    HomeLedger::serves(&link).map_err(|it| it.to_string())?;
    let known = accounts(arguments, path)?;
    let mut said = false;
    let (ledger, home) = loop {
        match HomeLedger::open(&link) {
            Err(SyncError::Unreachable(why)) if !said => {
                anstream::eprintln!(
                    "sayback: WARNING: the home can't be reached: {why}. It is tried until it can."
                );
                said = true;
            }
            Err(SyncError::Unreachable(_)) => std::thread::sleep(AGAIN),
            done => break done.map_err(|it| it.to_string())?,
        }
    };
    anstream::println!("Reading the record of {} ...", home.name);
    let station = Station::new(home, ledger, known, now, arguments.secure());
    Ok(station
        .map_err(|it| it.to_string())?
        .with_offsets(offsets_here()))
}

/// The accounts beside a file, with a word to whoever is the first.
fn accounts(arguments: &Arguments, beside: &Path) -> Result<Accounts, String> {
    let accounts = Station::accounts_with(beside, vault::used()?);
    let (known, code) = accounts.map_err(|it| it.to_string())?;
    if let Some(code) = code {
        anstream::println!(
            "No accounts yet. Sign in as \"{}\" with this one-time code; it is not shown again:\n\n    {code}\n",
            accounts::FIRST
        );
    }
    if !arguments.secure() && !arguments.listen.ip().is_loopback() {
        anstream::eprintln!(
            "sayback: WARNING: {} can be reached by other machines, and without TLS anyone on the \
             network can read what is sent, passwords included. Give --tls-cert and --tls-key.",
            arguments.listen
        );
    }
    Ok(known)
}

fn answer_until_interrupted(arguments: &Arguments, station: Station) -> Result<End, String> {
    let certificate = arguments.tls.certificate_to_use();
    let secure = certificate.is_some();
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|it| it.to_string())?;
    let scheme = if secure { "https" } else { "http" };
    runtime.block_on(answer(
        Arc::new(station),
        arguments.listen,
        certificate,
        |at| {
            anstream::println!("The nurse's station is at {scheme}://{at} (Ctrl-C ends it).");
        },
    ))?;
    Ok(End::Done)
}

fn now() -> Time {
    chrono::Local::now().fixed_offset()
}
