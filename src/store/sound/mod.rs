//! How confirmed readings sounded, where the home keeps that for a time: a file
//! of its own beside the record, since the record never forgets and this must.
//!
//! It is encrypted with the record's key, always. What is deleted is overwritten
//! inside the file (`secure_delete`), and stays as a line that says when and why,
//! so that nobody has to guess whether there ever was a sound.

mod file;

use std::path::{Path, PathBuf};

use thiserror::Error;
use uuid::Uuid;

use self::file::Sounds;
use super::Store;
use super::error::{StoreError, plain};
use super::key::Key;
use super::wal::beside;
use crate::facts::{Fact, KeptReading, Time};
use crate::residents::KeptSound;

/// The longest sound that is kept, in seconds: no longer one is ever heard as
/// one utterance.
const LONGEST: usize = 30;
/// Why sound is not kept, or cannot be played. None of these touches a reading,
/// and none says anything of one.
#[derive(Debug, Error)]
pub enum SoundError {
    /// The file cannot be opened or made.
    #[error("the kept sound in {} can't be used: {problem}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why.
        problem: String,
    },
    /// Reading or writing.
    #[error("the kept sound can't be used: {0}")]
    Broken(String),
    /// As much is kept as may be.
    #[error(
        "the sound kept beside the record has reached the {megabytes} MB that the home allows, and \
         no more is kept until some is deleted; allow more with megabytes under [kept_sound], or \
         fewer days"
    )]
    Full {
        /// What is allowed.
        megabytes: u32,
    },
    /// Longer than any utterance.
    #[error("a sound of {seconds} seconds is not kept; {LONGEST} are the most")]
    TooLong {
        /// Its length, rounded up.
        seconds: usize,
    },
}

impl From<rusqlite::Error> for SoundError {
    fn from(error: rusqlite::Error) -> Self {
        Self::Broken(plain(&error))
    }
}

impl From<StoreError> for SoundError {
    fn from(error: StoreError) -> Self {
        Self::Broken(error.to_string())
    }
}

/// Which of the two sounds of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SoundPart {
    /// The utterance that gave the value.
    Reading,
    /// The yes.
    Yes,
}

impl SoundPart {
    const fn tag(self) -> &'static str {
        match self {
            Self::Reading => "reading",
            Self::Yes => "yes",
        }
    }
}

/// Why a sound is gone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyGone {
    /// Its time was over.
    Time,
    /// The reading was retracted.
    Retracted,
    /// It went with the reading to another record.
    Moved,
}

impl WhyGone {
    const fn tag(self) -> &'static str {
        match self {
            Self::Time => "time",
            Self::Retracted => "retracted",
            Self::Moved => "moved",
        }
    }
}

/// What became of a sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// It is there.
    There {
        /// When it was spoken.
        spoken: Time,
        /// When it goes.
        until: Time,
    },
    /// It was there.
    Gone {
        /// When it was deleted.
        at: Time,
        /// Why.
        why: WhyGone,
    },
}

/// What there is of kept sound, for who looks after the record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SoundReport {
    /// Readings with a sound.
    pub readings: i64,
    /// Bytes of sound.
    pub bytes: i64,
    /// How many of them should have gone by now.
    pub overdue: i64,
}

/// The file of kept sound that belongs to a record.
#[must_use]
pub fn sound_beside(record: &Path) -> PathBuf {
    record.with_extension("sound.db")
}

/// What became of kept sound when a record was opened for work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keeping {
    /// The home keeps none, and there was none.
    Off,
    /// The home keeps none any more: that of so many readings was deleted.
    Ended {
        /// How many; none where the file could not be opened, and was removed.
        readings: Option<i64>,
    },
    /// It is kept for so many days.
    For(u16),
}

/// How kept sound goes with a record.
#[derive(Default)]
pub(super) struct Sounding {
    file: Option<Sounds>,
    /// What went wrong last.
    last: Option<String>,
    /// The same, until it was told.
    trouble: Option<String>,
}

impl Sounding {
    /// Does what facts that were just stored ask for. A reading that is kept
    /// stays kept, whatever becomes of its sound.
    pub(super) fn follow(&mut self, facts: &[&Fact<KeptReading>]) {
        if let Some(file) = &self.file {
            let done = file.follow(facts);
            self.note(done);
        }
    }

    fn note(&mut self, done: Result<(), SoundError>) {
        let trouble = done.err().map(|it| it.to_string());
        // A round goes on for hours: the same is told once.
        if let Some(text) = trouble.filter(|it| self.last.as_ref() != Some(it)) {
            tracing::warn!("{text}");
            self.last = Some(text.clone());
            self.trouble = Some(text);
        }
    }
}

impl Store {
    /// Keeps the sound of confirmed readings from now on, as the home has
    /// chosen, and deletes what is over. Where the home keeps none, all that is
    /// there from before is deleted.
    ///
    /// # Errors
    /// [`SoundError`]: no sound is kept then.
    pub fn keep_sound(
        &mut self,
        settings: Option<KeptSound>,
        key: &Key,
        now: Time,
    ) -> Result<Keeping, SoundError> {
        let path = sound_beside(&self.path);
        self.sounding = Sounding::default();
        let Some(settings) = settings else {
            return end(&path, key);
        };
        let mut file = Sounds::open(&path, key, settings)?;
        file.sweep(&self.connection, now)?;
        self.sounding.file = Some(file);
        Ok(Keeping::For(settings.days))
    }

    /// Whether sound is kept. What is heard is given its sound only then.
    #[must_use]
    pub const fn keeps_sound(&self) -> bool {
        self.sounding.file.is_some()
    }

    /// Deletes the sounds that are over or whose reading was retracted, where it
    /// is some minutes since that was last done.
    pub fn let_sound_go(&mut self, now: Time) {
        if let Some(file) = &mut self.sounding.file
            && file.is_due(now)
        {
            let done = file.sweep(&self.connection, now);
            self.sounding.note(done);
        }
    }

    /// What went wrong with keeping sound since this was last asked.
    pub fn sound_trouble(&mut self) -> Option<String> {
        self.sounding.trouble.take()
    }

    /// What became of a sound of a reading; none where none was ever kept. What
    /// is over is deleted first.
    ///
    /// # Errors
    /// [`SoundError::Broken`].
    pub fn sound_stands(
        &mut self,
        reading: Uuid,
        part: SoundPart,
        now: Time,
    ) -> Result<Option<Stands>, SoundError> {
        let Some(file) = &mut self.sounding.file else {
            return Ok(None);
        };
        file.let_go_on_time(now)?;
        file.stands(reading, part, now)
    }

    /// The samples of a sound of a reading, 16 kHz mono. None where there are
    /// none, or no more.
    ///
    /// # Errors
    /// [`SoundError::Broken`].
    pub fn sound(
        &mut self,
        reading: Uuid,
        part: SoundPart,
        now: Time,
    ) -> Result<Option<Vec<i16>>, SoundError> {
        let Some(file) = &mut self.sounding.file else {
            return Ok(None);
        };
        file.let_go_on_time(now)?;
        file.samples(reading, part)
    }
}

/// Deletes all, and the file with it.
fn end(path: &Path, key: &Key) -> Result<Keeping, SoundError> {
    if !path.exists() {
        return Ok(Keeping::Off);
    }
    // Overwritten first: what a file held that is only removed stays on the disk.
    let emptied = Sounds::open(path, key, NOTHING).and_then(|it| it.empty());
    for ending in ["", "-journal", "-wal", "-shm"] {
        match std::fs::remove_file(beside(path, ending)) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                return Err(SoundError::File {
                    path: path.to_owned(),
                    problem: error.to_string(),
                });
            }
            _ => {}
        }
    }
    let readings = emptied.inspect_err(|it| tracing::warn!("{it}")).ok();
    Ok(Keeping::Ended { readings })
}

/// What a home that keeps nothing keeps.
const NOTHING: KeptSound = KeptSound {
    days: 0,
    megabytes: 0,
};

/// What there is of kept sound beside a record; none where there is no file.
///
/// # Errors
/// [`SoundError`] when it cannot be opened or is damaged.
pub fn sound_report(
    record: &Path,
    key: &Key,
    now: Time,
) -> Result<Option<SoundReport>, SoundError> {
    let path = sound_beside(record);
    if !path.exists() {
        return Ok(None);
    }
    Sounds::open(&path, key, NOTHING)?.report(now).map(Some)
}
