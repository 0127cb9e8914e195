//! `sayback serve`: the nurse's station.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

use clap::Args;
use sayback::facts::Time;
use sayback::review::{Certificate, Station, accounts, serve as answer};

use super::home::read_home;
use super::{End, MetricsArgs, vault};

/// What `serve` is given.
#[derive(Args)]
pub struct Arguments {
    /// The home's file: residents, nurses and aides
    #[arg(long)]
    home: PathBuf,
    /// The record to show and append to
    #[arg(long, default_value = "record.db")]
    store: PathBuf,
    /// The address to answer on; only this machine unless told otherwise
    #[arg(long, default_value = "127.0.0.1:8470")]
    listen: SocketAddr,
    /// The home's own certificate, PEM; pages then go out over TLS only
    #[arg(long, requires = "tls_key")]
    tls_cert: Option<PathBuf>,
    /// The certificate's private key, PEM
    #[arg(long, requires = "tls_cert")]
    tls_key: Option<PathBuf>,
    #[command(flatten)]
    metrics: MetricsArgs,
}

/// Serves until interrupted.
pub fn serve(arguments: &Arguments) -> Result<End, String> {
    arguments.metrics.open()?;
    let home = read_home(&arguments.home)?;
    let mut store = vault::start(&arguments.store)?;
    super::sound::start(&mut store, &home)?;
    let accounts = Station::accounts_with(store.path(), vault::used()?);
    let (known, code) = accounts.map_err(|it| it.to_string())?;
    let certificate = arguments.tls_cert.clone().zip(arguments.tls_key.clone());
    let certificate = certificate.map(|(chain, key)| Certificate { chain, key });
    let secure = certificate.is_some();
    if let Some(code) = code {
        anstream::println!(
            "No accounts yet. Sign in as \"{}\" with this one-time code; it is not shown again:\n\n    {code}\n",
            accounts::FIRST
        );
    }
    if !secure && !arguments.listen.ip().is_loopback() {
        anstream::eprintln!(
            "sayback: WARNING: {} can be reached by other machines, and without TLS anyone on the \
             network can read what is sent, passwords included. Give --tls-cert and --tls-key.",
            arguments.listen
        );
    }
    // Three years of a large home take some seconds.
    anstream::println!("Reading the record {} ...", arguments.store.display());
    let station = Station::new(home, store, known, now, secure).map_err(|it| it.to_string())?;
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
