//! What all pages share: the record and its fold, the accounts, who is signed
//! in, and the clock.

use std::collections::HashMap;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock, RwLockReadGuard};
use std::time::{Duration, Instant};

use chrono::NaiveDateTime;
use tokio::sync::watch;
use uuid::Uuid;

use super::accounts::{AccountError, Accounts};
use super::acts::{NewFact, NotDone, Refused};
use super::away::Away;
use super::certificate::{InUse, Looked};
use super::index::Index;
use super::ledger::{Arrivals, Ledger};
use super::now::Now;
use super::sessions::Sessions;
use crate::facts::{Body, ChainHead, Fact, Time};
use crate::metrics;
use crate::residents::{Home, Offsets, ResidentId};
use crate::store::{Key, Readable, SoundError, SoundPart, Stands, StoreError, Stored};

/// How many facts are read from the record at a time.
const BATCH: usize = 20_000;
/// How often the record is asked for what other programs appended.
const EVERY: Duration = Duration::from_secs(1);

/// How long an act is tried anew because others appended meanwhile: a recorder that
/// sends much at once may come first many times in a second. Nobody waits longer.
const TRY_FOR: Duration = Duration::from_secs(5);

/// Why nothing can be done on the record of a recorder that is linked to a home.
pub const AT_THE_HOME: &str = "This is the record of a recorder that is linked to the home\u{2019}s \
    database, and the home takes what nurses do only from a station with a link of its own. \
    Acknowledge, correct, retract and sign at the home\u{2019}s station; here it can only be read.";

/// The nurse's station.
pub struct Station {
    record: Mutex<Box<dyn Ledger>>,
    away: RwLock<Option<Away>>,
    linked: AtomicBool,
    /// Whoever runs it says that the recorder is linked to no home any more.
    unlinked: bool,
    index: RwLock<Index>,
    changed: watch::Sender<i64>,
    accounts: Mutex<Accounts>,
    pub(super) sessions: Sessions,
    clock: fn() -> Time,
    offsets: Offsets,
    pub(super) secure: bool,
    pub(super) certificates: Looked,
}

impl Station {
    /// A station on an open record. `secure` says that pages go out over TLS.
    ///
    /// # Errors
    /// [`StoreError`] when the record cannot be read.
    pub fn new(
        home: Home,
        record: impl Ledger + 'static,
        accounts: Accounts,
        clock: fn() -> Time,
        secure: bool,
    ) -> Result<Self, StoreError> {
        let station = Self {
            record: Mutex::new(Box::new(record)),
            away: RwLock::new(None),
            linked: AtomicBool::new(false),
            unlinked: false,
            index: RwLock::new(Index::new(home)),
            changed: watch::Sender::new(0),
            accounts: Mutex::new(accounts),
            sessions: Sessions::default(),
            clock,
            offsets: Offsets::fixed(*clock().offset()),
            secure,
            certificates: Looked::default(),
        };
        station.refresh()?;
        Ok(station)
    }

    /// The same, where the recorder of the record was linked to a home and is no
    /// more: nurses act here again.
    #[must_use]
    pub fn no_longer_linked(self) -> Self {
        Self {
            linked: AtomicBool::new(false),
            unlinked: true,
            ..self
        }
    }

    /// The same where the clocks are changed with the season. Without this the offset of
    /// the start is taken for all times.
    #[must_use]
    pub fn with_offsets(self, offsets: Offsets) -> Self {
        Self { offsets, ..self }
    }

    /// The moment at which a clock on the home's wall showed this, the first where there
    /// were two; none where there was none.
    #[must_use]
    pub fn moment(&self, shown: NaiveDateTime) -> Option<Time> {
        self.offsets.moments(shown).into_iter().next()
    }

    /// Now, with the offsets that the home's clocks have when.
    #[must_use]
    pub fn here_and_now(&self) -> Now<'_> {
        Now {
            at: self.now(),
            offsets: &self.offsets,
        }
    }

    /// Opens the accounts that belong to a record: a file beside it. Returns
    /// the one-time code of the first administrator when it made them.
    ///
    /// # Errors
    /// [`AccountError`] when the file cannot be used.
    pub fn accounts_beside(store: &Path) -> Result<(Accounts, Option<String>), AccountError> {
        Self::accounts_with(store, &Key::None)
    }

    /// The same, encrypted with the record's key.
    ///
    /// # Errors
    /// [`AccountError`] when the file cannot be used.
    pub fn accounts_with(
        store: &Path,
        key: &Key,
    ) -> Result<(Accounts, Option<String>), AccountError> {
        Accounts::open_with(&store.with_file_name("accounts.db"), key)
    }

    /// Now, with the home's offset from UTC.
    #[must_use]
    pub fn now(&self) -> Time {
        (self.clock)()
    }

    /// The fold as it stands.
    pub fn index(&self) -> RwLockReadGuard<'_, Index> {
        self.index.read().unwrap_or_else(PoisonError::into_inner)
    }

    /// The accounts.
    pub fn accounts(&self) -> MutexGuard<'_, Accounts> {
        self.accounts.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn record(&self) -> MutexGuard<'_, Box<dyn Ledger>> {
        self.record.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Set while the record can't be read.
    #[must_use]
    pub fn away(&self) -> Option<Away> {
        let away = self.away.read().unwrap_or_else(PoisonError::into_inner);
        away.clone()
    }

    /// Set while the home refuses this station: what it has in memory it may not
    /// show.
    #[must_use]
    pub fn cut_off(&self) -> Option<Away> {
        self.away().filter(|it| it.cut_off)
    }

    /// Whether the record is one of a recorder that is linked to a home: what
    /// nurses do is refused, as the home would refuse it later.
    #[must_use]
    pub fn linked(&self) -> bool {
        self.linked.load(Ordering::Relaxed)
    }

    /// A recorder can be linked while its station runs.
    fn look_at_link(&self, record: &mut dyn Ledger) -> Result<bool, StoreError> {
        let linked = !self.unlinked && record.linked()?;
        if self.linked.swap(linked, Ordering::Relaxed) != linked {
            self.changed.send_replace(self.index().seq());
        }
        Ok(linked)
    }

    /// Asks the record itself, and at once says no while it can't be read.
    pub(super) fn ask<T>(
        &self,
        question: impl FnOnce(&mut dyn Ledger) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        patiently(|| {
            self.there()?;
            let mut record = self.record();
            self.there()?;
            question(&mut **record)
        })
    }

    fn there(&self) -> Result<(), StoreError> {
        let away = self.away();
        away.map_or(Ok(()), |it| Err(StoreError::Away(it.to_string())))
    }

    /// Tells of every change to the record, by the place of its last fact.
    pub fn changes(&self) -> watch::Receiver<i64> {
        self.changed.subscribe()
    }

    /// A fact in full.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn fact(&self, id: Uuid) -> Result<Option<Fact>, StoreError> {
        self.ask(|it| it.fact(id))
    }

    /// Which recorder sent each of these facts, and when it arrived.
    ///
    /// # Errors
    /// [`StoreError`] when that cannot be read.
    pub fn arrivals(&self, ids: &[Uuid]) -> Result<Arrivals, StoreError> {
        if ids.is_empty() {
            return Ok(Arrivals::new());
        }
        self.ask(|it| it.arrivals(ids))
    }

    /// Everything that belongs to a round.
    ///
    /// # Errors
    /// [`StoreError`] when the record cannot be read.
    pub fn facts_of_round(&self, round: Uuid) -> Result<Readable, StoreError> {
        self.ask(|it| it.facts_of_round(round))
    }

    /// Everything about a resident.
    ///
    /// # Errors
    /// [`StoreError`] when the record cannot be read.
    pub fn facts_about(&self, resident: &ResidentId) -> Result<Readable, StoreError> {
        self.ask(|it| it.facts_about(resident))
    }

    /// Where the record stands.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn head(&self) -> Result<Option<ChainHead>, StoreError> {
        self.ask(|it| it.head())
    }

    /// Whether sound is kept beside this record, and can be listened to; none
    /// where the record is not on this machine.
    #[must_use]
    pub fn keeps_sound(&self) -> Option<bool> {
        self.record().file().map(|it| it.keeps_sound())
    }

    /// What became of a kept sound of a reading; none where none was ever kept.
    ///
    /// # Errors
    /// [`SoundError`] when that cannot be read.
    pub fn sound_stands(
        &self,
        reading: Uuid,
        part: SoundPart,
    ) -> Result<Option<Stands>, SoundError> {
        let now = self.now();
        patiently(|| match self.record().file() {
            Some(file) => file.sound_stands(reading, part, now),
            None => Ok(None),
        })
    }

    /// The samples of a kept sound of a reading, 16 kHz mono; none where there
    /// are none, or no more.
    ///
    /// # Errors
    /// [`SoundError`] when they cannot be read.
    pub fn sound(&self, reading: Uuid, part: SoundPart) -> Result<Option<Vec<i16>>, SoundError> {
        let now = self.now();
        patiently(|| match self.record().file() {
            Some(file) => file.sound(reading, part, now),
            None => Ok(None),
        })
    }

    /// Deletes kept sound that is over, now and then.
    pub fn let_sound_go(&self) {
        let now = self.now();
        if let Some(file) = self.record().file() {
            file.let_sound_go(now);
        }
    }

    /// Takes in what was appended to the record by whoever, and the home's own
    /// settings where the record keeps them.
    ///
    /// # Errors
    /// [`StoreError`] when the record cannot be read.
    pub fn refresh(&self) -> Result<(), StoreError> {
        patiently(|| {
            let mut record = self.record();
            let home = record.changed_home();
            if let Ok(Some(home)) = home {
                let mut index = self.index.write().unwrap_or_else(PoisonError::into_inner);
                index.set_home(home);
                self.changed.send_replace(index.seq());
            } else {
                self.note(home)?;
            }
            let recorders = self.note(record.recorders())?;
            if let Some(recorders) = recorders.filter(|it| self.index().recorders() != it) {
                let mut index = self.index.write().unwrap_or_else(PoisonError::into_inner);
                index.set_recorders(recorders);
                self.changed.send_replace(index.seq());
            }
            let linked = self.look_at_link(&mut **record);
            self.note(linked)?;
            self.catch_up(&mut **record)
        })
    }

    fn catch_up(&self, record: &mut dyn Ledger) -> Result<(), StoreError> {
        loop {
            let seq = self.index().seq();
            let new = self.note(record.facts_after(seq, BATCH))?;
            if new.is_empty() {
                self.back();
                return Ok(());
            }
            let opened = opened(&new);
            let senders = if opened.is_empty() {
                Arrivals::new()
            } else {
                self.note(record.arrivals(&opened.keys().copied().collect::<Vec<_>>()))?
            };
            let mut index = self.index.write().unwrap_or_else(PoisonError::into_inner);
            index.extend(new);
            for (fact, round) in &opened {
                if let Some(it) = senders.get(fact) {
                    index.set_sender(*round, &it.recorder);
                }
            }
            metrics::open_reports(index.open_reports().count());
            self.changed.send_replace(index.seq());
        }
    }

    /// Notes that the record cannot be read, and tells the pages when that is new.
    fn note<T>(&self, read: Result<T, StoreError>) -> Result<T, StoreError> {
        let Err(error) = &read else {
            return read;
        };
        let cut_off = matches!(error, StoreError::CutOff(_));
        let mut away = self.away.write().unwrap_or_else(PoisonError::into_inner);
        let now = Away {
            since: away.as_ref().map_or_else(|| self.now(), |it| it.since),
            why: error.to_string(),
            cut_off,
        };
        let new = away.as_ref().is_none_or(|it| it.why != now.why);
        if new {
            tracing::error!("{error}");
        }
        *away = Some(now);
        drop(away);
        if cut_off {
            let mut index = self.index.write().unwrap_or_else(PoisonError::into_inner);
            index.forget();
        }
        if new {
            self.changed.send_replace(self.index().seq());
        }
        read
    }

    /// The record can be read, and all of it was: before, a page would say that no report
    /// is open where one is not read again yet.
    fn back(&self) {
        let mut away = self.away.write().unwrap_or_else(PoisonError::into_inner);
        let was_away = away.take().is_some();
        drop(away);
        if was_away {
            self.changed.send_replace(self.index().seq());
        }
    }

    /// Does one thing: looks at the record as it stands, appends what that asks
    /// for, and takes it in. Where others append in between, it looks again.
    ///
    /// # Errors
    /// [`NotDone`] in words.
    pub fn act(
        &self,
        make: impl Fn(&Index) -> Result<Vec<NewFact>, Refused>,
    ) -> Result<(), NotDone> {
        let nothing = |error: StoreError| match error {
            StoreError::Away(why) => NotDone::Refused(why),
            StoreError::Unsure(_) => NotDone::Unsure(error.to_string()),
            error => NotDone::Refused(format!("{error}.")),
        };
        patiently(|| {
            self.there().map_err(nothing)?;
            let mut record = self.record();
            self.there().map_err(nothing)?;
            if self.look_at_link(&mut **record).map_err(nothing)? {
                return Err(NotDone::Refused(AT_THE_HOME.to_owned()));
            }
            let began = Instant::now();
            while began.elapsed() < TRY_FOR {
                self.catch_up(&mut **record).map_err(nothing)?;
                let seq = self.index().seq();
                let facts = make(&self.index()).map_err(NotDone::Refused)?;
                let facts: Vec<&NewFact> = facts.iter().collect();
                let appended = match record.append_at(seq, &facts) {
                    Err(error @ StoreError::CutOff(_)) => self.note(Err(error)),
                    appended => appended,
                };
                if appended.map_err(nothing)? {
                    // It is stored. That it can't be read again is said by itself.
                    let _ = self.catch_up(&mut **record);
                    return Ok(());
                }
            }
            let why = "Others are storing all the time. Try again.";
            Err(NotDone::Refused(why.to_owned()))
        })
    }

    /// Keeps up with the record until dropped with its runtime, and with the certificates.
    pub async fn keep_up(self: Arc<Self>, pages: Option<InUse>) {
        let mut every = tokio::time::interval(EVERY);
        every.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
        loop {
            every.tick().await;
            self.look_at_certificates(pages.as_ref()).await;
            let station = Arc::clone(&self);
            let keep_up = move || {
                station.let_sound_go();
                // Where it fails, that is noted, logged and shown.
                let _ = station.refresh();
            };
            let _ = tokio::task::spawn_blocking(keep_up).await;
        }
    }
}

/// The rounds that begin in these facts, by the fact that says so: who sent that sent the
/// round.
fn opened(facts: &[Stored]) -> HashMap<Uuid, Uuid> {
    let facts = facts.iter().filter_map(|it| it.fact.as_ref().ok());
    let opened = facts.filter(|it| matches!(it.body, Body::RoundOpened { .. }));
    opened.map(|it| (it.id, it.round)).collect()
}

/// Does what may wait for a disk or a network, without holding up other pages.
fn patiently<T>(wait: impl FnOnce() -> T) -> T {
    use tokio::runtime::{Handle, RuntimeFlavor};
    let here = Handle::try_current().map(|it| it.runtime_flavor());
    match here {
        Ok(RuntimeFlavor::MultiThread) => tokio::task::block_in_place(wait),
        _ => wait(),
    }
}
