//! What a stop left in the write-ahead log.
//!
//! `SQLite` reads the log up to the first frame whose checksum is wrong, and
//! says nothing of what came after. After a loss of power that is right: what
//! was being written then was never acknowledged. After damage it is not: an
//! acknowledged fact would be gone without a word. So the log is looked at before
//! it is opened. The form is that of <https://sqlite.org/fileformat2.html>,
//! section 4; it is the same when the pages in it are encrypted.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// What is wrong with a log that was left.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum LogFault {
    /// The last thing written is not whole. It may have been cut off by a loss
    /// of power, before it was acknowledged.
    LastOne,
    /// Something before the last is not whole: what was acknowledged is lost.
    Several,
}

impl std::fmt::Display for LogFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::LastOne => {
                "The last thing written before the stop is not whole and was left out. Look whether \
                 the last reading is there; if it isn't, take it again"
            }
            Self::Several => {
                "Part of what was stored last is damaged and lost. Look which of the last readings \
                 are there, take the others again, and have the disk looked at"
            }
        })
    }
}

impl LogFault {
    /// What is wrong with the bytes of a log. None where nothing is.
    #[must_use]
    pub fn in_log(log: &[u8]) -> Option<Self> {
        if log.len() <= HEADER {
            return None;
        }
        let magic = word(log, 0);
        let mut sum = Sum {
            pair: (0, 0),
            big_endian: magic & 1 == 1,
        };
        sum.add(&log[..24]);
        let page = usize::try_from(word(log, 8)).unwrap_or(0);
        let known = matches!(magic, 0x377f_0682 | 0x377f_0683) && word(log, 4) == 3_007_000;
        if !known || sum.pair != (word(log, 24), word(log, 28)) || !page.is_power_of_two() {
            // The whole log goes by its header.
            return Some(Self::Several);
        }
        let salts = &log[16..24];
        let frames: Vec<&[u8]> = log[HEADER..].chunks_exact(FRAME + page).collect();
        let of_this_log = |it: &&&[u8]| &it[8..16] == salts;
        for (at, frame) in frames.iter().enumerate() {
            let mut next = sum;
            next.add(&frame[..8]);
            next.add(&frame[FRAME..]);
            let whole = next.pair == (word(frame, 16), word(frame, 20));
            if whole && of_this_log(&frame) {
                sum = next;
                continue;
            }
            // SQLite stops reading here. Frames of this log from here on were
            // written by someone; where their sum follows, only a salt is damaged.
            // All others are left over from before the log was begun anew.
            let lost = frames[at..].iter().filter(of_this_log);
            let finished = lost.clone().filter(|it| word(it, 4) != 0).count();
            return match (lost.count() + usize::from(whole), finished) {
                (0, _) => None,
                (_, 0 | 1) => Some(Self::LastOne),
                _ => Some(Self::Several),
            };
        }
        let cut = !(log.len() - HEADER).is_multiple_of(FRAME + page);
        cut.then_some(Self::LastOne)
    }
}

const HEADER: usize = 32;
const FRAME: usize = 24;

/// Looks at the log beside a database. None where nothing is wrong.
///
/// Another program may be writing it just now: what is not whole only for a
/// moment is no fault.
pub(super) fn fault(database: &Path) -> Option<LogFault> {
    let mut fault = None;
    for _ in 0..3 {
        fault = LogFault::in_log(&std::fs::read(beside(database, "-wal")).ok()?);
        fault?;
        std::thread::sleep(Duration::from_millis(10));
    }
    fault
}

/// The pages of which the log beside a database holds a newer copy. Until that is
/// written back, the database itself may hold half of one, or a hole in its place;
/// nobody reads them there.
pub(super) fn newer_pages(database: &Path) -> BTreeSet<u32> {
    let log = std::fs::read(beside(database, "-wal")).unwrap_or_default();
    let page = match log.get(..HEADER) {
        Some(header) => usize::try_from(word(header, 8)).unwrap_or(0),
        None => return BTreeSet::new(),
    };
    let frames = log[HEADER..].chunks_exact(FRAME.saturating_add(page));
    let of_this_log = frames.filter(|it| it[8..16] == log[16..24]);
    of_this_log.map(|it| word(it, 0)).collect()
}

/// The file beside a database with this ending.
pub(super) fn beside(database: &Path, ending: &str) -> PathBuf {
    let mut name = database.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

fn word(bytes: &[u8], at: usize) -> u32 {
    let mut word = [0; 4];
    word.copy_from_slice(&bytes[at..at + 4]);
    u32::from_be_bytes(word)
}

/// The running checksum of the log.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Sum {
    pair: (u32, u32),
    big_endian: bool,
}

impl Sum {
    fn add(&mut self, bytes: &[u8]) {
        let (mut a, mut b) = self.pair;
        for pair in bytes.chunks_exact(8) {
            let (x, y) = (word(pair, 0), word(pair, 4));
            let (x, y) = if self.big_endian {
                (x, y)
            } else {
                (x.swap_bytes(), y.swap_bytes())
            };
            a = a.wrapping_add(x).wrapping_add(b);
            b = b.wrapping_add(y).wrapping_add(a);
        }
        self.pair = (a, b);
    }
}
