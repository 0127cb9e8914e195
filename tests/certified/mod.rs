//! Certificates for tests, and which one is shown at an address.

#![allow(dead_code, reason = "each test program uses its own part of this")]

use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;

use chrono::Datelike as _;
use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, IsCa, KeyPair};
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, ServerName};

/// An authority, and a certificate of it for this machine, PEM: the authority's,
/// the certificate and its key.
pub fn certificates() -> [String; 3] {
    certificates_for(20_000)
}

/// The same, good until midnight UTC so many days from now.
pub fn certificates_for(days: i64) -> [String; 3] {
    let end = chrono::Utc::now().date_naive() + chrono::TimeDelta::days(days);
    let [month, day] = [end.month(), end.day()].map(|it| u8::try_from(it).unwrap());
    let mut authority = CertificateParams::new(Vec::new()).unwrap();
    authority.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    let authority = CertifiedIssuer::self_signed(authority, KeyPair::generate().unwrap()).unwrap();
    let names = vec!["localhost".to_owned(), "127.0.0.1".to_owned()];
    let key = KeyPair::generate().unwrap();
    let mut certificate = CertificateParams::new(names).unwrap();
    certificate.not_after = rcgen::date_time_ymd(end.year(), month, day);
    let certificate = certificate.signed_by(&key, &authority).unwrap();
    [authority.pem(), certificate.pem(), key.serialize_pem()]
}

/// The certificate that is shown at an address to who believes this authority; none where
/// it is of another.
pub fn shown(at: SocketAddr, ca: &str) -> Option<Vec<u8>> {
    let mut roots = rustls::RootCertStore::empty();
    roots
        .add(CertificateDer::from_pem_slice(ca.as_bytes()).unwrap())
        .unwrap();
    let ring = Arc::new(rustls::crypto::ring::default_provider());
    let config = rustls::ClientConfig::builder_with_provider(ring);
    let config = config.with_safe_default_protocol_versions().unwrap();
    let config = config.with_root_certificates(roots).with_no_client_auth();
    let name = ServerName::try_from("localhost").unwrap();
    let mut tls = rustls::ClientConnection::new(Arc::new(config), name).unwrap();
    let mut stream = TcpStream::connect(at).unwrap();
    while tls.is_handshaking() {
        tls.complete_io(&mut stream).ok()?;
    }
    Some(tls.peer_certificates()?[0].to_vec())
}
