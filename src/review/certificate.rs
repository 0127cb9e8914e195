//! Certificates and their ends: the home's own, which browsers believe, and that of the
//! home's server.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

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

/// How often the clock is asked whether a day is over.
const EVERY: Duration = Duration::from_secs(1);

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
    async fn read(&self) -> Result<RustlsConfig, String> {
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

/// The certificate that pages go out with. Those who serve them for months take what its
/// files hold by then, and need no new start.
#[derive(Debug)]
pub struct InUse {
    files: Certificate,
    used: RustlsConfig,
}

impl InUse {
    pub(super) async fn of(files: Certificate) -> Result<Self, String> {
        let used = files.read().await?;
        Ok(Self { files, used })
    }

    pub(super) fn tls(&self) -> RustlsConfig {
        self.used.clone()
    }

    /// Takes what the files hold now for the pages that go out from now on. Where that can't
    /// be used, the pages go out as before.
    async fn read_again(&self) -> Result<(), String> {
        let read = self.files.read().await;
        let read = read.map_err(|why| format!("{why}; the pages go out with the one before"))?;
        self.used.reload_from_config(read.get_inner());
        Ok(())
    }

    /// What is wrong with it, or will be soon. It was read at the start, and is read again at
    /// each later look.
    async fn look(&self, now: Time, look: Look) -> Option<String> {
        let read = match look {
            Look::First => Ok(()),
            Look::Again => self.read_again().await,
        };
        let stands = read.and_then(|()| self.files.validity(now));
        stands.map_or_else(Some, Validity::trouble)
    }

    /// Looks at it once a day for as long as its pages go out, where nothing else does.
    pub(super) async fn keep_up(self, clock: fn() -> Time) {
        let mut daily = Daily::default();
        let mut every = tokio::time::interval(EVERY);
        loop {
            every.tick().await;
            let now = clock();
            // Of the first, whoever started this has been told.
            if let Some(Look::Again) = daily.look(now)
                && let Some(why) = self.look(now, Look::Again).await
            {
                tracing::warn!("{why}");
            }
        }
    }
}

/// A look at certificates.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Look {
    /// The one at the start.
    First,
    /// One after a day.
    Again,
}

/// When certificates were looked at last, by the clock on the wall: one that counts how long
/// a program runs stands still while the machine sleeps.
#[derive(Debug, Default)]
struct Daily(Option<Time>);

impl Daily {
    /// The look that is due now, if any.
    fn look(&mut self, now: Time) -> Option<Look> {
        let look = match self.0 {
            None => Look::First,
            // A clock that was set back would be waited for.
            Some(last) if (now - last).abs() < A_DAY => return None,
            Some(_) => Look::Again,
        };
        self.0 = Some(now);
        Some(look)
    }
}

/// When a station's certificates were looked at last, and what is wrong with them, or will
/// be soon.
#[derive(Debug, Default)]
pub(super) struct Looked(Mutex<(Daily, Vec<String>)>);

impl Looked {
    fn last(&self) -> MutexGuard<'_, (Daily, Vec<String>)> {
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

    /// Looks at the certificates once a day: at that of the pages, and at that of the home's
    /// server.
    pub(super) async fn look_at_certificates(self: &Arc<Self>, pages: Option<&InUse>) {
        let now = self.now();
        let due = self.certificates.last().0.look(now);
        let Some(look) = due else {
            return;
        };
        let of_pages = match pages {
            Some(pages) => pages.look(now, look).await,
            None => None,
        };
        let station = Arc::clone(self);
        let of_home = move || station.ask(|it| Ok(it.certificate(now)));
        let of_home = match tokio::task::spawn_blocking(of_home).await {
            Ok(Ok(Ok(stands))) => stands.and_then(Validity::trouble),
            // That the home is away is said where it matters.
            Ok(Ok(Err(why))) => {
                tracing::info!("{why}");
                None
            }
            Ok(Err(_)) | Err(_) => None,
        };
        // Of that of the pages, whoever started this has been told at the start.
        let untold = of_pages.iter().filter(|_| look == Look::Again);
        for why in untold.chain(&of_home) {
            tracing::warn!("{why}");
        }
        self.certificates.last().1 = of_pages.into_iter().chain(of_home).collect();
    }
}
