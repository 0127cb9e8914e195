//! Certificates and their ends: the home's own, which browsers believe, and that of the
//! home's server.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum_server::tls_rustls::RustlsConfig;
use chrono::{DateTime, TimeDelta, Utc};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject as _;
use x509_cert::der::Decode as _;

use super::station::Station;
use crate::facts::Time;

/// So long before its end a certificate is to be made anew: time enough for whoever makes
/// it, and for a look at the log once a month. Common practice, no source.
const SOON: TimeDelta = TimeDelta::days(30);

/// How often they are looked at.
const A_DAY: TimeDelta = TimeDelta::days(1);

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
    /// It is refused: it is over, or does not hold yet.
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

    /// Takes what the files hold now for the pages that go out from now on. Where that can't
    /// be used, the pages go out as before.
    pub(super) async fn read_again(&self, used: &RustlsConfig) -> Result<(), String> {
        let read = self.read().await;
        let read = read.map_err(|why| format!("{why}; the pages go out with the one before"))?;
        used.reload_from_config(read.get_inner());
        Ok(())
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
        let chain: Result<Vec<_>, _> = chain.collect();
        let chain = chain.map_err(|it| wrong(it.to_string()))?;
        let whose = Whose {
            name: format!("the certificate {path}"),
            refused: "browsers refuse these pages",
            after: " and start this anew with it",
        };
        validity(&chain, &whose, now).map_err(wrong)
    }
}

/// Whose certificate is looked at, for what is said of it.
#[derive(Debug)]
pub struct Whose {
    /// "the certificate home.pem"
    pub name: String,
    /// What happens where it does not hold.
    pub refused: &'static str,
    /// What else is to be done once there is a new one.
    pub after: &'static str,
}

/// How a certificate stands at this moment: it, and those between it and the root.
///
/// # Errors
/// Why that can't be told.
pub fn validity(
    chain: &[CertificateDer<'_>],
    whose: &Whose,
    now: Time,
) -> Result<Validity, String> {
    let mut times: Option<(DateTime<Utc>, DateTime<Utc>)> = None;
    for one in chain {
        let one = x509_cert::Certificate::from_der(one).map_err(|it| it.to_string())?;
        let validity = one.tbs_certificate.validity;
        let from = DateTime::from(validity.not_before.to_system_time());
        let until = DateTime::from(validity.not_after.to_system_time());
        let so_far = times.unwrap_or((from, until));
        times = Some((so_far.0.max(from), so_far.1.min(until)));
    }
    let (from, until) = times.ok_or("no certificate is in it")?;
    let shown = |at: DateTime<Utc>| {
        let at = at.with_timezone(now.offset());
        at.format("%Y-%m-%d %H:%M").to_string()
    };
    let Whose {
        name,
        refused,
        after,
    } = whose;
    Ok(if now < from {
        Validity::Refused(format!(
            "{name} is not valid before {} (or this machine's clock is wrong): {refused} until then",
            shown(from)
        ))
    } else if now > until {
        Validity::Refused(format!(
            "{name} has expired, on {} (or this machine's clock is wrong): {refused}; make a new \
             one from the same authority{after}",
            shown(until)
        ))
    } else if until - now.to_utc() <= SOON {
        let within = match (until - now.to_utc()).num_days() {
            0 => "within a day".to_owned(),
            1 => "in 1 day".to_owned(),
            days => format!("in {days} days"),
        };
        Validity::Soon(format!(
            "{name} expires on {}, {within}: make a new one from the same authority{after}",
            shown(until)
        ))
    } else {
        Validity::Good(format!("{name}, valid until {}", shown(until)))
    })
}

impl Validity {
    /// What somebody has to do something about, if anything.
    #[must_use]
    pub fn trouble(self) -> Option<String> {
        match self {
            Self::Good(_) => None,
            Self::Soon(why) | Self::Refused(why) => Some(why),
        }
    }
}

/// When certificates were looked at last, and what is wrong with them, or will be soon.
#[derive(Debug, Default)]
pub(super) struct Looked(Mutex<(Option<Time>, Vec<String>)>);

impl Looked {
    fn last(&self) -> MutexGuard<'_, (Option<Time>, Vec<String>)> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Station {
    /// What is wrong with the certificates, or will be soon, for whoever looks after the
    /// machines.
    #[must_use]
    pub fn certificates(&self) -> Vec<String> {
        self.certificates.last().1.clone()
    }

    /// Looks at the certificates once a day, since a station runs for months: at that of
    /// the pages, which is taken anew where it was changed, and at that of the home's server.
    pub(super) async fn look_at_certificates(
        self: &Arc<Self>,
        pages: Option<&(Certificate, RustlsConfig)>,
    ) {
        let now = self.now();
        let before = self.certificates.last().0;
        // A clock that was set back would be waited for.
        if before.is_some_and(|it| (now - it).abs() < A_DAY) {
            return;
        }
        let mut wrong = Vec::new();
        if let Some((certificate, used)) = pages {
            let read = match before {
                Some(_) => certificate.read_again(used).await,
                None => Ok(()),
            };
            let stands = read.and_then(|()| certificate.validity(now));
            wrong.extend(stands.map_or_else(Some, Validity::trouble));
        }
        let station = Arc::clone(self);
        let of_home = move || station.ask(|it| Ok(it.certificate(now)));
        match tokio::task::spawn_blocking(of_home).await {
            Ok(Ok(Ok(stands))) => wrong.extend(stands.and_then(Validity::trouble)),
            // That the home is away is said where it matters.
            Ok(Ok(Err(why))) => tracing::info!("{why}"),
            Ok(Err(_)) | Err(_) => {}
        }
        for why in &wrong {
            tracing::warn!("{why}");
        }
        *self.certificates.last() = (Some(now), wrong);
    }
}
