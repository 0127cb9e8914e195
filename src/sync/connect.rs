//! Connections to the home's `PostgreSQL`: over TLS, to whoever has the home's
//! certificate, and in no other way.

use std::sync::Arc;
use std::time::Duration;

use postgres::config::{Host, SslMode};
use postgres::{Client, Config, NoTls};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject as _;
use rustls::{ClientConfig, RootCertStore};
use tokio_postgres_rustls::MakeRustlsConnect;

use super::error::Sought;
use super::{Link, SyncError};

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
