//! The sound of one utterance, where the home keeps it. It goes with what was
//! understood from it, and is gone from memory when that is dropped.

use std::fmt;
use std::hash::Hash;
use std::sync::Arc;

use super::recognizer::Ear;
use super::wav::RATE;
use super::{Heard, Word};

/// What is kept before the first word and after the last, in seconds: soft
/// beginnings and ends of words are in it. More would be more of the room.
const AROUND: f64 = 0.3;

/// 16 kHz mono samples of one utterance. Cheap to clone.
#[derive(Clone, PartialEq, Eq)]
pub struct Sound(Arc<[i16]>);

impl Sound {
    /// These samples.
    #[must_use]
    pub fn new(samples: &[i16]) -> Self {
        Self(samples.into())
    }

    /// The samples.
    #[must_use]
    pub fn samples(&self) -> &[i16] {
        &self.0
    }
}

/// Its length, and nothing of what is in it.
impl fmt::Debug for Sound {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Sound({} samples)", self.0.len())
    }
}

impl<K: Eq + Hash> Ear<K> {
    /// The sound of an utterance that ended just now, from a little before its
    /// first word to a little after its last. To be called with what the ear gave
    /// for at most 100 ms of sound, before it is given more.
    #[must_use]
    pub fn sound_of(&self, heard: &Heard) -> Option<Sound> {
        let cut = cut(self.last_sound(), self.seconds(), &heard.words);
        cut.map(Sound::new)
    }
}

/// The part of `samples`, which end `end` seconds after the start of the stream,
/// that holds these words. None where they are not in it.
fn cut<'a>(samples: &'a [i16], end: f64, words: &[Word]) -> Option<&'a [i16]> {
    let (first, last) = (words.first()?, words.last()?);
    let rate = f64::from(RATE);
    #[allow(clippy::cast_precision_loss, reason = "half a minute of samples")]
    let length = samples.len() as f64;
    let at = |seconds: f64| (length - (end - seconds) * rate).round();
    let from = at(f64::from(first.start) - AROUND).max(0.0);
    let to = at(f64::from(last.end) + AROUND).min(length);
    if from >= to {
        return None;
    }
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between nothing and the length"
    )]
    samples.get(from as usize..to as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn word(start: f32, end: f32) -> Word {
        Word {
            text: "yes".to_owned(),
            start,
            end,
            confidence: 1.0,
        }
    }

    /// Ten seconds of samples, each of which says in which tenth of a second it is.
    fn samples() -> Vec<i16> {
        let tenth = RATE as usize / 10;
        (0..100).flat_map(|it| vec![it; tenth]).collect()
    }

    #[test]
    fn the_words_are_cut_out_with_a_little_around_them() {
        let samples = samples();
        // The ten seconds are the last of a stream of a hundred.
        let cut = cut(&samples, 100.0, &[word(94.0, 94.5), word(95.0, 96.0)]).unwrap();
        assert_eq!((cut[0], cut[cut.len() - 1]), (37, 62));
        assert_eq!(cut.len(), 26 * RATE as usize / 10);
    }

    #[test]
    fn no_more_is_cut_out_than_there_is() {
        let samples = samples();
        let all = cut(&samples, 10.0, &[word(0.1, 9.9)]).unwrap();
        assert_eq!(all.len(), samples.len());
        assert_eq!(cut(&samples, 10.0, &[]), None);
        assert_eq!(cut(&samples, 100.0, &[word(1.0, 2.0)]), None);
        assert_eq!(cut(&[], 0.0, &[word(0.0, 1.0)]), None);
    }

    #[test]
    fn what_is_in_it_is_not_in_a_log() {
        let shown = format!("{:?}", Sound::new(&[12_345; 3]));
        assert_eq!(shown, "Sound(3 samples)");
    }
}
