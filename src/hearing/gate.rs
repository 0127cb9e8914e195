//! Not decoding silence: a gate before the recogniser.
//!
//! Decoding costs a live stream as much in silence as in speech. The gate lets
//! sound through from [`BEFORE`] ahead of the first that rises above the room to
//! [`AFTER`] behind the last, each sample once and in order; what is left out is
//! the quiet between. The start of a word is soft long before it is loud, which
//! is what the time ahead is for.
//!
//! Loudness is looked at twice: as it is, and with the low notes taken away, where
//! ventilation is loud and an "s" is not. Either opens the gate. The room's own
//! loudness is followed, so a ventilation that is turned on holds the gate open
//! for some seconds ([`RISE`]) and not for ever. While the recogniser has words
//! that are not concluded the gate stays open whatever the loudness is. Talk, a
//! television or a rattling cart opens it: they are not told from speech here.

use std::collections::VecDeque;

use super::frames::{FRAME_TIME, Frames};
use super::level::{FLOOR, rms};
use super::wav::RATE;

/// What is let through ahead of the block in which the rise is seen, in samples: half a
/// second ahead of the rise itself, which is seen some frames late.
const BEFORE: usize = RATE as usize * 55 / 100;
/// The gate closes when it has been quiet for so long, in samples (1.2 s): the
/// recogniser ends an utterance after half a second of silence, and sees it some
/// tenths of a second late.
const AFTER: usize = RATE as usize * 12 / 10;
/// A quieter room than this, in dBFS, is taken to be as loud as this: the crackle
/// of an empty line is no speech.
const QUIETEST_ROOM: f32 = -72.0;
/// How far sound must rise above the room, in dB: with all its notes, whose
/// loudness sways in ventilation, and without the low ones.
const MARGINS: [f32; 2] = [5.0, 4.0];
/// How fast the room is taken to become louder, in dB a second: a ventilation
/// that is turned on, 15 dB louder, holds the gate open for ten seconds.
const RISE: f32 = 1.5;
/// How much of a frame's difference is taken over: three frames, so that one
/// click is no word and a short "t" is one.
const SMOOTH: f32 = 0.35;
/// How much of a step down the room follows in a frame: dips of ventilation are
/// not the room.
const SINK: f32 = 0.03;

/// A gate for one stream.
#[derive(Debug, Clone)]
pub(super) struct Gate {
    open: bool,
    /// Samples since the last that rose above the room.
    quiet: usize,
    /// The last samples that were not let through.
    held: VecDeque<i16>,
    frames: Frames,
    /// With all notes, and without the low ones.
    rooms: [Room; 2],
    last: i16,
}

impl Default for Gate {
    /// Open, until the room is known to be quiet.
    fn default() -> Self {
        Self {
            open: true,
            quiet: 0,
            held: VecDeque::with_capacity(BEFORE + RATE as usize / 10),
            frames: Frames::default(),
            rooms: MARGINS.map(Room::new),
            last: 0,
        }
    }
}

impl Gate {
    /// Takes the next samples, and gives those that the recogniser is to have now.
    /// `busy` says whether it has words that are not concluded; it is asked only
    /// when the gate would close.
    pub(super) fn pass(&mut self, block: &[i16], busy: impl FnOnce() -> bool) -> Vec<i16> {
        let rises = self.rises(block);
        self.quiet = if rises { 0 } else { self.quiet + block.len() };
        if self.open && self.quiet >= AFTER && !busy() {
            self.open = false;
        }
        if rises {
            self.open = true;
        }
        self.held.extend(block);
        if self.open {
            return self.held.drain(..).collect();
        }
        let over = self.held.len().saturating_sub(BEFORE);
        self.held.drain(..over);
        Vec::new()
    }

    /// What is held back is of no interest any more.
    pub(super) fn forget(&mut self) {
        self.held.clear();
    }

    #[cfg(test)]
    pub(super) const fn is_open(&self) -> bool {
        self.open
    }

    fn rises(&mut self, block: &[i16]) -> bool {
        let (rooms, last) = (&mut self.rooms, &mut self.last);
        let mut rises = false;
        self.frames.push(block, |frame| {
            let high = without_low_notes(frame, last);
            let levels = [rms(frame), rms(&high)];
            for (room, level) in rooms.iter_mut().zip(levels) {
                rises |= room.frame(level);
            }
        });
        rises
    }
}

/// The difference from sample to sample.
fn without_low_notes(frame: &[i16], last: &mut i16) -> Vec<i16> {
    let mut before = std::mem::replace(last, frame.last().copied().unwrap_or_default());
    let difference = |it: &i16| it.saturating_sub(std::mem::replace(&mut before, *it));
    frame.iter().map(difference).collect()
}

/// How loud a room is when nobody speaks.
#[derive(Debug, Clone)]
struct Room {
    margin: f32,
    /// Smoothed, in dBFS; none before the first frame.
    level: Option<f32>,
    floor: f32,
}

impl Room {
    const fn new(margin: f32) -> Self {
        Self {
            margin,
            level: None,
            floor: FLOOR,
        }
    }

    /// Takes one frame's loudness; whether it rises above the room.
    fn frame(&mut self, rms: f32) -> bool {
        let Some(before) = self.level else {
            self.level = Some(rms);
            self.floor = rms;
            return false;
        };
        let level = before + SMOOTH * (rms - before);
        self.level = Some(level);
        self.floor = if level > self.floor {
            self.floor + RISE * FRAME_TIME.as_secs_f32()
        } else {
            self.floor + SINK * (level - self.floor)
        };
        level > self.floor.max(QUIETEST_ROOM) + self.margin
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const SECOND: usize = RATE as usize;

    /// Noise of this loudness, in dBFS; `dark` takes the high notes away, as
    /// ventilation is.
    fn noise(rng: &mut fastrand::Rng, dbfs: f32, samples: usize, dark: bool) -> Vec<i16> {
        let (keep, level) = if dark { (0.9, 4.36) } else { (0.0, 1.0) };
        let high = 32_768.0 * 10_f32.powf(dbfs / 20.0) * 3.0_f32.sqrt() * level;
        let mut last = 0.0;
        let next = |_| {
            last = keep * last + (1.0 - keep) * (2.0 * rng.f32() - 1.0) * high;
            #[allow(clippy::cast_possible_truncation, reason = "below full scale")]
            let sample = last.clamp(-32_767.0, 32_767.0) as i16;
            sample
        };
        (0..samples).map(next).collect()
    }

    /// How much of a sound is let through, in seconds.
    #[allow(clippy::cast_precision_loss, reason = "minutes at most")]
    fn open_for(gate: &mut Gate, sound: &[i16]) -> f32 {
        let blocks = sound.chunks(SECOND / 20);
        let through: usize = blocks.map(|it| gate.pass(it, || false).len()).sum();
        through as f32 / SECOND as f32
    }

    #[test]
    fn a_quiet_room_is_not_decoded_and_no_more_is_ventilation() {
        for (dbfs, dark) in [
            (-96.0, false),
            (-70.0, false),
            (-44.0, true),
            (-30.0, true),
            (-30.0, false),
        ] {
            let mut rng = fastrand::Rng::with_seed(1);
            let mut gate = Gate::default();
            let sound = noise(&mut rng, dbfs, 60 * SECOND, dark);
            let open = open_for(&mut gate, &sound);
            assert!(open <= 1.3, "{dbfs} dBFS, dark {dark}: {open} s of 60");
        }
    }

    #[test]
    fn ventilation_that_is_turned_on_holds_it_open_for_some_seconds() {
        let mut rng = fastrand::Rng::with_seed(2);
        let mut gate = Gate::default();
        open_for(&mut gate, &noise(&mut rng, -65.0, 10 * SECOND, true));
        let open = open_for(&mut gate, &noise(&mut rng, -45.0, 60 * SECOND, true));
        assert!((8.0..18.0).contains(&open), "{open} s");
        assert!(!gate.is_open());
    }

    #[test]
    fn words_that_are_not_concluded_keep_it_open() {
        let mut gate = Gate::default();
        let quiet = vec![0; 10 * SECOND];
        let through: usize = quiet
            .chunks(800)
            .map(|it| gate.pass(it, || true).len())
            .sum();
        assert_eq!(through, quiet.len());
    }

    #[test]
    fn what_was_held_back_before_something_was_said_is_not_heard_after_it() {
        let mut rng = fastrand::Rng::with_seed(3);
        let mut gate = Gate::default();
        open_for(&mut gate, &noise(&mut rng, -70.0, 5 * SECOND, false));
        gate.forget();
        let loud = noise(&mut rng, -20.0, 800, false);
        assert_eq!(gate.pass(&loud, || false), loud);
    }

    /// Stretches of room and of something louder, each so many milliseconds long
    /// and so many dB above the room.
    fn stretches() -> impl Strategy<Value = Vec<(usize, usize, f32)>> {
        prop::collection::vec((400_usize..4_000, 60_usize..1_500, 10.0_f32..40.0), 1..6)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        #[test]
        fn all_from_before_speech_to_after_it_comes_through_once_and_in_order(
            seed in any::<u64>(),
            room in -80.0_f32..-40.0,
            dark in any::<bool>(),
            stretches in stretches(),
            blocks in prop::collection::vec(1_usize..1_601, 1..8),
        ) {
            let mut rng = fastrand::Rng::with_seed(seed);
            let mut sound = noise(&mut rng, room, 2 * SECOND, dark);
            let mut wanted = Vec::new();
            for (quiet, loud, above) in stretches {
                sound.extend(noise(&mut rng, room, quiet * SECOND / 1_000, dark));
                let from = sound.len();
                let level = (room.max(-65.0) + above).min(-3.0);
                sound.extend(noise(&mut rng, level, loud * SECOND / 1_000, dark));
                wanted.push((from.saturating_sub(SECOND / 2), sound.len() + AFTER - SECOND / 10));
            }
            sound.extend(noise(&mut rng, room, 2 * SECOND, dark));
            let mut gate = Gate::default();
            // What came through, as ranges of the sound.
            let mut came: Vec<(usize, usize)> = Vec::new();
            let (mut at, mut sizes) = (0, blocks.iter().cycle());
            while at < sound.len() {
                let next = (at + sizes.next().unwrap()).min(sound.len());
                let through = gate.pass(&sound[at..next], || false);
                at = next;
                let Some(from) = at.checked_sub(through.len()) else {
                    return Err(TestCaseError::fail("more came out than went in"));
                };
                prop_assert_eq!(&through[..], &sound[from..at]);
                if through.is_empty() {
                    continue;
                }
                match came.last_mut() {
                    Some((_, to)) if *to == from => *to = at,
                    last => {
                        prop_assert!(last.is_none_or(|(_, to)| *to < from), "twice, or out of order");
                        came.push((from, at));
                    }
                }
            }
            for (from, to) in wanted {
                let to = to.min(sound.len());
                prop_assert!(
                    came.iter().any(|(began, ended)| *began <= from && to <= *ended),
                    "{from} to {to} is not whole in {came:?}"
                );
            }
        }
    }
}
