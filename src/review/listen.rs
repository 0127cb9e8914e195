//! Answering the network: plainly, or over TLS with the home's own certificate.

use std::future::Ready;
use std::io;
use std::net::{SocketAddr, TcpListener};
use std::sync::{Arc, Once};
use std::time::Duration;

use axum::{Extension, Router};
use axum_server::accept::Accept;
use axum_server::tls_rustls::{RustlsAcceptor, RustlsConfig};
use axum_server::{Address, Handle, Server};
use tokio::net::TcpStream;
use tokio::sync::Semaphore;

use super::certificate::{Certificate, InUse};
use super::station::Station;
use super::web::app;
use crate::facts::Time;

/// How long open pages are waited for at the end.
const GRACE: Duration = Duration::from_secs(2);
/// How long a request may be on its way. Who is slower is no browser, and would hold a
/// connection for ever.
pub(super) const PATIENCE: Duration = Duration::from_secs(20);
/// The most connections that are open at once. A page that lies open has one, and six
/// while it loads. Linux gives a program 1024 files, and a recorder has two such doors:
/// three quarters are left to the record and all else.
pub const MOST_CONNECTIONS: usize = 128;

/// Answers until interrupted. `ready` is told the address that is listened on,
/// once it is.
///
/// # Errors
/// What is wrong with the address or the certificate, in words.
pub async fn serve(
    station: Arc<Station>,
    address: SocketAddr,
    certificate: Option<Certificate>,
    ready: impl FnOnce(SocketAddr),
) -> Result<(), String> {
    let listener = TcpListener::bind(address)
        .map_err(|error| format!("cannot listen on {address}: {error}"))?;
    let wrong = |error: io::Error| format!("cannot serve: {error}");
    listener.set_nonblocking(true).map_err(wrong)?;
    let address = listener.local_addr().map_err(wrong)?;

    let handle = Handle::new();
    let stop = handle.clone();
    tokio::spawn(async move {
        if tokio::signal::ctrl_c().await.is_ok() {
            stop.graceful_shutdown(Some(GRACE));
        }
    });
    let pages = match certificate {
        Some(certificate) => Some(InUse::of(certificate).await?),
        None => None,
    };
    let tls = pages.as_ref().map(InUse::tls);
    tokio::spawn(Arc::clone(&station).keep_up(pages));
    ready(address);
    answer(listener, tls, app(station), handle)
        .await
        .map_err(wrong)
}

async fn answer(
    listener: TcpListener,
    tls: Option<RustlsConfig>,
    pages: Router,
    handle: Handle<SocketAddr>,
) -> io::Result<()> {
    let pages = pages.into_make_service();
    let server = axum_server::from_tcp(listener)?.handle(handle);
    match tls {
        None => impatient(server.acceptor(Places::new())).serve(pages).await,
        Some(tls) => {
            // Who has not shown hands yet takes a place too.
            let over_tls = RustlsAcceptor::new(tls).acceptor(Places::new());
            impatient(server.acceptor(over_tls)).serve(pages).await
        }
    }
}

/// Room for so many connections and no more: a flood of them would else take the files
/// that the record needs to be written.
#[derive(Clone)]
struct Places {
    free: Arc<Semaphore>,
    full: Arc<Once>,
}

impl Places {
    fn new() -> Self {
        Self {
            free: Arc::new(Semaphore::new(MOST_CONNECTIONS)),
            full: Arc::new(Once::new()),
        }
    }
}

impl Accept<TcpStream, Router> for Places {
    type Stream = TcpStream;
    type Service = Router;
    type Future = Ready<io::Result<(TcpStream, Router)>>;

    /// The place goes with the pages of this connection, and is free when it ends. Who
    /// finds none is hung up on.
    fn accept(&self, stream: TcpStream, pages: Router) -> Self::Future {
        let place = Arc::clone(&self.free).try_acquire_owned();
        if place.is_err() {
            self.full.call_once(|| {
                tracing::warn!(
                    "{MOST_CONNECTIONS} connections are open at once, and more are refused; this \
                     is said once"
                );
            });
        }
        let place = place.map_err(io::Error::other);
        std::future::ready(place.map(|it| (stream, pages.layer(Extension(Arc::new(it))))))
    }
}

/// The same, waiting for nobody who sends nothing.
fn impatient<A: Address, Acc>(mut server: Server<A, Acc>) -> Server<A, Acc> {
    let heads = server.http_builder();
    heads.http1().header_read_timeout(PATIENCE);
    server.first_request_timeout(PATIENCE)
}

/// Answers on a thread of its own, so that nothing else the program does keeps
/// it waiting. `what` is answered there, for the log. A certificate comes with the clock by
/// which it is looked at.
pub(crate) fn answer_apart(
    what: &'static str,
    listener: TcpListener,
    certificate: Option<(Certificate, fn() -> Time)>,
    pages: Router,
) -> Result<(), String> {
    let wrong = |error: io::Error| format!("{what}: {error}");
    listener.set_nonblocking(true).map_err(wrong)?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(wrong)?;
    let mut tls = None;
    if let Some((certificate, clock)) = certificate {
        let in_use = runtime.block_on(InUse::of(certificate))?;
        tls = Some(in_use.tls());
        runtime.spawn(in_use.keep_up(clock));
    }
    std::thread::spawn(move || {
        let served = runtime.block_on(answer(listener, tls, pages, Handle::new()));
        if let Err(error) = served {
            tracing::error!("{what}: {error}");
        }
    });
    Ok(())
}
