//! What all pages share: the record and its fold, the accounts, who is signed
//! in, and the clock.

use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError, RwLock, RwLockReadGuard};
use std::time::Duration;

use tokio::sync::watch;

use super::accounts::{AccountError, Accounts};
use super::acts::{NewFact, Refused};
use super::index::Index;
use super::sessions::Sessions;
use crate::facts::{ChainHead, Fact, Time};
use crate::residents::{Home, ResidentId};
use crate::store::{Key, SoundError, SoundPart, Stands, Store, StoreError};

/// How many facts are read from the record at a time.
const BATCH: usize = 20_000;
/// How often the record is asked for what other programs appended.
const EVERY: Duration = Duration::from_secs(1);

/// The nurse's station.
pub struct Station {
    store: Mutex<Store>,
    index: RwLock<Index>,
    changed: watch::Sender<i64>,
    accounts: Mutex<Accounts>,
    pub(super) sessions: Sessions,
    clock: fn() -> Time,
    pub(super) secure: bool,
}

impl Station {
    /// A station on an open record. `secure` says that pages go out over TLS.
    ///
    /// # Errors
    /// [`StoreError`] when the record cannot be read.
    pub fn new(
        home: Home,
        store: Store,
        accounts: Accounts,
        clock: fn() -> Time,
        secure: bool,
    ) -> Result<Self, StoreError> {
        let station = Self {
            store: Mutex::new(store),
            index: RwLock::new(Index::new(home)),
            changed: watch::Sender::new(0),
            accounts: Mutex::new(accounts),
            sessions: Sessions::default(),
            clock,
            secure,
        };
        station.refresh()?;
        Ok(station)
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

    fn store(&self) -> MutexGuard<'_, Store> {
        self.store.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Tells of every change to the record, by the place of its last fact.
    pub fn changes(&self) -> watch::Receiver<i64> {
        self.changed.subscribe()
    }

    /// A fact in full.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn fact(&self, id: uuid::Uuid) -> Result<Option<Fact>, StoreError> {
        self.store().fact(id)
    }

    /// Everything that belongs to a round.
    ///
    /// # Errors
    /// [`StoreError`] when the record cannot be read.
    pub fn facts_of_round(&self, round: uuid::Uuid) -> Result<Vec<Fact>, StoreError> {
        self.store().facts_of_round(round)
    }

    /// Everything about a resident.
    ///
    /// # Errors
    /// [`StoreError`] when the record cannot be read.
    pub fn facts_about(&self, resident: &ResidentId) -> Result<Vec<Fact>, StoreError> {
        self.store().facts_about(resident)
    }

    /// Where the record stands.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn head(&self) -> Result<Option<ChainHead>, StoreError> {
        self.store().head()
    }

    /// Whether sound is kept, and can be listened to.
    #[must_use]
    pub fn keeps_sound(&self) -> bool {
        self.store().keeps_sound()
    }

    /// What became of a kept sound of a reading; none where none was ever kept.
    ///
    /// # Errors
    /// [`SoundError`] when that cannot be read.
    pub fn sound_stands(
        &self,
        reading: uuid::Uuid,
        part: SoundPart,
    ) -> Result<Option<Stands>, SoundError> {
        let now = self.now();
        self.store().sound_stands(reading, part, now)
    }

    /// The samples of a kept sound of a reading, 16 kHz mono; none where there
    /// are none, or no more.
    ///
    /// # Errors
    /// [`SoundError`] when they cannot be read.
    pub fn sound(
        &self,
        reading: uuid::Uuid,
        part: SoundPart,
    ) -> Result<Option<Vec<i16>>, SoundError> {
        let now = self.now();
        self.store().sound(reading, part, now)
    }

    /// Deletes kept sound that is over, now and then.
    pub fn let_sound_go(&self) {
        let now = self.now();
        self.store().let_sound_go(now);
    }

    /// Takes in what was appended to the record by whoever.
    ///
    /// # Errors
    /// [`StoreError`] when the record cannot be read.
    pub fn refresh(&self) -> Result<(), StoreError> {
        self.catch_up(&self.store())
    }

    fn catch_up(&self, store: &Store) -> Result<(), StoreError> {
        loop {
            let seq = self.index().seq();
            let new = store.facts_after(seq, BATCH)?;
            if new.is_empty() {
                return Ok(());
            }
            let mut index = self.index.write().unwrap_or_else(PoisonError::into_inner);
            index.extend(new);
            self.changed.send_replace(index.seq());
        }
    }

    /// Does one thing: looks at the record as it stands, appends what that asks
    /// for, and takes it in. Nobody else of this station can append in between.
    ///
    /// # Errors
    /// [`Refused`] in words; nothing is stored then.
    pub fn act(
        &self,
        make: impl FnOnce(&Index) -> Result<Vec<NewFact>, Refused>,
    ) -> Result<(), Refused> {
        let mut store = self.store();
        let broken = |error: StoreError| format!("Nothing was stored: {error}.");
        self.catch_up(&store).map_err(broken)?;
        let facts = make(&self.index())?;
        store
            .append(&facts.iter().collect::<Vec<_>>())
            .map_err(broken)?;
        self.catch_up(&store).map_err(broken)
    }

    /// Keeps up with the record until dropped with its runtime.
    pub async fn keep_up(self: std::sync::Arc<Self>) {
        let mut every = tokio::time::interval(EVERY);
        every.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
        loop {
            every.tick().await;
            let station = std::sync::Arc::clone(&self);
            let refresh = move || {
                station.let_sound_go();
                station.refresh()
            };
            let done = tokio::task::spawn_blocking(refresh).await;
            if let Ok(Err(error)) = done {
                tracing::error!("{error}");
            }
        }
    }
}
