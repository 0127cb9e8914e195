//! Connections to the home's `PostgreSQL`: over TLS, to whoever has the home's
//! certificate, and in no other way.

use std::io::{self, Read as _, Write as _};
use std::net::{TcpStream, ToSocketAddrs as _};
use std::sync::Arc;
use std::time::Duration;

use postgres::config::{Host, SslMode};
use postgres::{Client, Config, NoTls};
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, ServerName};
use rustls::{ClientConfig, ClientConnection, RootCertStore};
use tokio_postgres_rustls::MakeRustlsConnect;

use super::error::Sought;
use super::{Link, SyncError};
use crate::facts::Time;
use crate::review::{Validity, Whose, validity};

/// The longest to wait for a connection, and for the other end to say that it got
/// what was sent.
const PATIENCE: Duration = Duration::from_secs(10);
/// The longest that one request may take.
const REQUEST: Duration = Duration::from_secs(120);

/// Signs on as a member.
pub(super) fn member(link: &Link) -> Result<Client, SyncError> {
    let mut config = Config::new();
    config
        .host(&link.host)
        .port(link.port)
        .dbname(&link.database)
        .user(&link.role)
        .password(&link.password.0);
    over_tls(config, link.ca.as_bytes(), true)
}

/// Connects over TLS, and believes certificates of this authority only.
pub(super) fn over_tls(mut config: Config, ca: &[u8], by_link: bool) -> Result<Client, SyncError> {
    let tls = tls(ca).map_err(SyncError::NotTheHome)?;
    config.ssl_mode(SslMode::Require);
    usual(&mut config);
    let connected = config.connect(MakeRustlsConnect::new(tls));
    connected.map_err(|error| sought(&config, by_link).failed(error))
}

/// How the certificate that the home's server shows stands at a moment. What connects says
/// only that it is believed, until the day on which it is not.
///
/// # Errors
/// [`SyncError`] says why that can't be told.
pub fn certificate_of_home(link: &Link, now: Time) -> Result<Validity, SyncError> {
    let place = format!("{}:{}", link.host, link.port);
    let wrong = |why: String| SyncError::Unreachable(format!("the certificate of {place}: {why}"));
    let chain = shown(link).map_err(|error| wrong(error.to_string()))?;
    let whose = Whose {
        name: format!("the certificate of the home's server {place}"),
        refused: "no recorder and no station believes it",
        after: " and let the server read it (docs/home.md), or nothing is sent from then on",
    };
    validity(&chain, &whose, now).map_err(wrong)
}

/// The certificates that the home's server shows, its own first, once it has proved that it
/// is the home's. Nobody signs on.
fn shown(link: &Link) -> io::Result<Vec<CertificateDer<'static>>> {
    // SSLRequest: its length, and 1234 and 5679 (PostgreSQL's manual, "Message Formats").
    const WISH: [u8; 8] = [0, 0, 0, 8, 0x04, 0xd2, 0x16, 0x2f];
    let mut stream = Err(io::ErrorKind::NotFound.into());
    for address in (&*link.host, link.port).to_socket_addrs()? {
        stream = TcpStream::connect_timeout(&address, PATIENCE);
        if stream.is_ok() {
            break;
        }
    }
    let mut stream = stream?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    stream.write_all(&WISH)?;
    let mut answer = [0];
    stream.read_exact(&mut answer)?;
    if answer != *b"S" {
        return Err(io::Error::other("it offers no TLS"));
    }
    let tls = tls(link.ca.as_bytes()).map_err(io::Error::other)?;
    let name = ServerName::try_from(link.host.clone()).map_err(io::Error::other)?;
    let mut tls = ClientConnection::new(Arc::new(tls), name).map_err(io::Error::other)?;
    while tls.is_handshaking() {
        tls.complete_io(&mut stream)?;
    }
    let chain = tls.peer_certificates().unwrap_or_default();
    let chain = chain.iter().map(|it| it.clone().into_owned()).collect();
    tls.send_close_notify();
    // What matters was shown; that it was not said goodbye to harms nobody.
    let _ = tls.complete_io(&mut stream);
    Ok(chain)
}

fn sought(config: &Config, by_link: bool) -> Sought {
    let host = match config.get_hosts() {
        [Host::Tcp(host), ..] => host.clone(),
        [Host::Unix(path), ..] => path.display().to_string(),
        [] => String::new(),
    };
    let port = config.get_ports().first().unwrap_or(&5432);
    Sought {
        place: format!("{host}:{port}"),
        database: config.get_dbname().unwrap_or_default().to_owned(),
        user: config.get_user().unwrap_or_default().to_owned(),
        by_link,
    }
}

/// Connects through a socket on this machine, which has no TLS and no network.
pub(super) fn on_this_machine(mut config: Config) -> Result<Client, SyncError> {
    config.ssl_mode(SslMode::Disable);
    usual(&mut config);
    let connected = config.connect(NoTls);
    connected.map_err(|error| sought(&config, false).failed(error))
}

fn usual(config: &mut Config) {
    config
        .application_name("sayback")
        .connect_timeout(PATIENCE)
        .tcp_user_timeout(PATIENCE)
        .keepalives_idle(PATIENCE)
        .options(&format!("-c statement_timeout={}", REQUEST.as_millis()));
}

/// The certificates of an authority.
pub(super) fn authority(ca: &[u8]) -> Result<RootCertStore, String> {
    let mut roots = RootCertStore::empty();
    for certificate in CertificateDer::pem_slice_iter(ca) {
        let certificate = certificate.map_err(|error| format!("its authority: {error}"))?;
        let added = roots.add(certificate);
        added.map_err(|error| format!("its authority: {error}"))?;
    }
    if roots.is_empty() {
        return Err("no certificate of its authority is given".to_owned());
    }
    Ok(roots)
}

fn tls(ca: &[u8]) -> Result<ClientConfig, String> {
    let roots = authority(ca)?;
    let ring = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(ring).with_safe_default_protocol_versions();
    let config = config.map_err(|error| error.to_string())?;
    Ok(config.with_root_certificates(roots).with_no_client_auth())
}
