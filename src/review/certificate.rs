//! The home's own certificate: where it is, and how long browsers believe it.

use std::path::PathBuf;

use axum_server::tls_rustls::RustlsConfig;
use chrono::{DateTime, TimeDelta, Utc};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject as _;
use x509_cert::der::Decode as _;

use crate::facts::Time;

/// So long before its end a certificate is to be made anew: time enough for whoever makes
/// it, and for a look at the log once a month. Common practice, no source.
const SOON: TimeDelta = TimeDelta::days(30);

/// The home's own certificate and its key, as PEM files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Certificate {
    /// The certificate, with those between it and the root, if any.
    pub chain: PathBuf,
    /// Its private key.
    pub key: PathBuf,
}

/// How a certificate stands in time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Validity {
    /// It is good for more than a month.
    Good(String),
    /// It ends soon.
    Soon(String),
    /// Browsers refuse it: it is over, or does not hold yet.
    Refused(String),
}

impl Certificate {
    pub(super) async fn read(&self) -> Result<RustlsConfig, String> {
        let config = RustlsConfig::from_pem_file(&self.chain, &self.key);
        config.await.map_err(|error| {
            let (chain, key) = (self.chain.display(), self.key.display());
            format!("the certificate {chain} with the key {key} can't be used: {error}")
        })
    }

    /// Whether it can be used, with its key, and how it stands at this moment.
    ///
    /// # Errors
    /// Why it can't be used, in words.
    pub fn examine(&self, now: Time) -> Result<Validity, String> {
        let runtime = tokio::runtime::Builder::new_current_thread().build();
        let runtime = runtime.map_err(|error| error.to_string())?;
        runtime.block_on(self.read())?;
        self.validity(now)
    }

    /// How it stands at this moment: it, and those between it and the root.
    ///
    /// # Errors
    /// Why that can't be told, in words.
    pub fn validity(&self, now: Time) -> Result<Validity, String> {
        let path = self.chain.display();
        let wrong = |why: String| format!("the certificate {path} can't be read: {why}");
        let chain =
            CertificateDer::pem_file_iter(&self.chain).map_err(|it| wrong(it.to_string()))?;
        let mut times: Option<(DateTime<Utc>, DateTime<Utc>)> = None;
        for one in chain {
            let one = one.map_err(|it| wrong(it.to_string()))?;
            let one = x509_cert::Certificate::from_der(&one).map_err(|it| wrong(it.to_string()))?;
            let validity = one.tbs_certificate.validity;
            let from = DateTime::from(validity.not_before.to_system_time());
            let until = DateTime::from(validity.not_after.to_system_time());
            let so_far = times.unwrap_or((from, until));
            times = Some((so_far.0.max(from), so_far.1.min(until)));
        }
        let (from, until) = times.ok_or_else(|| wrong("no certificate is in it".to_owned()))?;
        let shown = |at: DateTime<Utc>| {
            let at = at.with_timezone(now.offset());
            at.format("%Y-%m-%d %H:%M").to_string()
        };
        let days = (until - now.to_utc()).num_days();
        Ok(if now < from {
            Validity::Refused(format!(
                "the certificate {path} is not valid before {} (or this machine's clock is \
                 wrong): browsers refuse these pages until then",
                shown(from)
            ))
        } else if now > until {
            Validity::Refused(format!(
                "the certificate {path} has expired, on {} (or this machine's clock is wrong): \
                 browsers refuse these pages; make a new one from the same authority and start \
                 this anew with it",
                shown(until)
            ))
        } else if until - now.to_utc() <= SOON {
            Validity::Soon(format!(
                "the certificate {path} expires on {}, {}: make a new one from the same authority",
                shown(until),
                match days {
                    0 => "within a day".to_owned(),
                    1 => "in 1 day".to_owned(),
                    _ => format!("in {days} days"),
                }
            ))
        } else {
            Validity::Good(format!("{path}, valid until {}", shown(until)))
        })
    }
}
