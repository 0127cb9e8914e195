//! What the nearest voice said, beside voices that are further away.
//!
//! A television goes on talking, and its words come into one utterance with a "yes". By
//! the words alone nobody can tell whose they are; by how loud they are, one can.

use super::alternatives::{Path as Transcript, Spoken, best_with_confidence};
use super::frames::FRAME;
use super::heard::{Heard, UNKNOWN};
use super::level::{FLOOR, rms};
use super::wav::RATE;

/// What is softer than the loudest word by more than this, in dB, is further away: people
/// make their own words softer too, but hardly so much ([`super::near`]).
const FURTHER: f32 = 14.0;
/// Where somebody else goes on speaking, this is enough. With it, 26 of 60 answers of the
/// speech bench's tune half were taken beside a television 10 dB softer, instead of 4.
const BESIDE_ANOTHER: f32 = 7.0;
/// The loudest part of a word tells how loud it is: so many frames (100 ms). What is longer
/// has soft sounds in it too.
const LOUDEST: usize = 10;

/// Who answers is softer than when a reading was said by this at most, in dB.
const SOFTER: f32 = 10.0;
/// An answer that is softer by more than this, in dB, may be another's: from half a metre
/// to more than two. It is a choice; no source is known.
const ANOTHER: f32 = 14.0;

/// Whose voice is the nearest, in one stream.
#[derive(Debug, Default)]
pub(super) struct Nearest {
    /// Whether somebody else went on speaking beside the last utterance.
    beside: bool,
    /// How loud its loudest known word was, in dBFS.
    last: Option<f32>,
    /// How loud whoever is answered now was, in dBFS.
    voice: Option<f32>,
}

impl Nearest {
    /// An utterance ended, beside another who goes on speaking or not.
    pub(super) fn ended(&mut self, beside: bool, best: &[Spoken], loudness: &Loudness) {
        self.beside = beside;
        self.last = loudness.loudest(best);
    }

    /// Something else is waited for now, because of the last utterance.
    pub(super) fn taken(&mut self) {
        self.voice = self.last.or(self.voice);
    }

    /// What the nearest voice said of the last utterance, where words of somebody further
    /// away are in it too. `None` where there are none, or where that voice is softer than
    /// the one that is answered.
    pub(super) fn said(&self, transcripts: &[Transcript], loudness: &Loudness) -> Option<Heard> {
        let near = nearest(transcripts, loudness, self.beside)?;
        let level = loudness.loudest(&near.first()?.words)?;
        if self.is_softer(level, SOFTER) {
            None
        } else {
            best_with_confidence(&near, 1.0)
        }
    }

    /// Whether the last utterance may be another's than the one who is answered, by how
    /// soft it is. True once for each: who has moved away is heard the second time.
    pub(super) fn is_another(&mut self) -> bool {
        let another = self.last.is_some_and(|it| self.is_softer(it, ANOTHER));
        if another {
            self.voice = None;
        }
        another
    }

    /// Whether a voice so loud is softer by this than the one who is answered.
    fn is_softer(&self, level: f32, by: f32) -> bool {
        self.voice.is_some_and(|it| level < it - by)
    }
}

/// The sound of an utterance, by its loudness.
pub(super) struct Loudness {
    /// Of each frame, as power.
    frames: Vec<f32>,
    /// In seconds of the stream.
    begin: f64,
}

impl Loudness {
    /// Of a sound that ends at this time, in seconds of the stream.
    #[allow(clippy::cast_precision_loss, reason = "half a minute of samples")]
    pub(super) fn of(sound: &[i16], end: f64) -> Self {
        let power = |frame: &[i16]| 10_f32.powf(rms(frame) / 10.0);
        Self {
            frames: sound.chunks_exact(FRAME).map(power).collect(),
            begin: end - sound.len() as f64 / f64::from(RATE),
        }
    }

    /// How loud a word is, in dBFS.
    fn word(&self, (_, from, to): &Spoken) -> f32 {
        let (from, to) = (self.at(*from), self.at(*to));
        let frames = self.frames.get(from..to).unwrap_or_default();
        #[allow(clippy::cast_precision_loss, reason = "10 at most")]
        let mean = |it: &[f32]| it.iter().sum::<f32>() / it.len() as f32;
        let parts = frames.windows(LOUDEST.min(frames.len().max(1)));
        let loudest = parts.map(mean).fold(0.0, f32::max);
        (10.0 * loudest.log10()).max(FLOOR)
    }

    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "frames of half a minute"
    )]
    fn at(&self, time: f32) -> usize {
        let frame = (f64::from(time) - self.begin) * f64::from(RATE) / FRAME as f64;
        (frame.max(0.0).round() as usize).min(self.frames.len())
    }

    /// How loud the loudest known word is, in dBFS.
    fn loudest(&self, words: &[Spoken]) -> Option<f32> {
        let known = words.iter().filter(|it| it.0 != UNKNOWN);
        known.map(|it| self.word(it)).reduce(f32::max)
    }
}

/// Transcripts without the words at both ends that are much softer than the loudest that is
/// known, `beside` another who goes on speaking or not. `None` where the likeliest has none
/// of these.
///
/// Nothing inside is left out, or "that's not correct" might become its contrary; and a
/// known word at the end only where it is very soft, for it may take a yes back.
fn nearest(
    transcripts: &[Transcript],
    loudness: &Loudness,
    beside: bool,
) -> Option<Vec<Transcript>> {
    let further = if beside { BESIDE_ANOTHER } else { FURTHER };
    let without_far = |it: &Transcript| {
        let loudest = loudness.loudest(&it.words).unwrap_or(FLOOR);
        let far = |word: &Spoken, by: f32| loudness.word(word) < loudest - by;
        let mut words = it.words.clone();
        words.drain(..words.iter().take_while(|it| far(it, further)).count());
        while words
            .pop_if(|it| far(it, if it.0 == UNKNOWN { further } else { FURTHER }))
            .is_some()
        {}
        Transcript {
            score: it.score,
            words,
        }
    };
    let near: Vec<Transcript> = transcripts.iter().map(without_far).collect();
    let fewer = near.first()?.words.len() < transcripts.first()?.words.len();
    fewer.then_some(near)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Words of half a second each, one after the other up to second 20 of a stream, each
    /// at this level in dBFS.
    #[allow(clippy::cast_precision_loss, reason = "a few words")]
    fn heard(words: &[(&str, f32)]) -> (Transcript, Loudness) {
        let half = RATE as usize / 2;
        let mut sound = Vec::new();
        let begin = 20.0 - 0.5 * words.len() as f32;
        let mut spoken = Vec::new();
        for (at, (word, level)) in words.iter().enumerate() {
            #[allow(clippy::cast_possible_truncation, reason = "below full scale")]
            let high = (32_767.0 * 10_f32.powf(level / 20.0)) as i16;
            sound.extend([high, -high].into_iter().cycle().take(half));
            let start = begin + 0.5 * at as f32;
            spoken.push(((*word).to_owned(), start, start + 0.5));
        }
        let transcript = Transcript {
            score: 0.0,
            words: spoken,
        };
        (transcript, Loudness::of(&sound, 20.0))
    }

    /// What is left of the words.
    fn left(words: &[(&str, f32)], beside: bool) -> Option<String> {
        let (transcript, loudness) = heard(words);
        let near = nearest(&[transcript], &loudness, beside)?;
        Some(near[0].text())
    }

    #[test]
    fn words_of_a_television_are_left_out() {
        let words = [("[unk]", -35.0), ("yes", -15.0), ("the", -33.0)];
        assert_eq!(left(&words, false).as_deref(), Some("yes"));
        let words = [("[unk]", -25.0), ("yes", -15.0), ("correct", -18.0)];
        assert_eq!(left(&words, true).as_deref(), Some("yes correct"));
    }

    #[test]
    fn words_of_one_voice_stay() {
        assert_eq!(left(&[("you", -27.0), ("no", -15.0)], false), None);
        assert_eq!(left(&[("you", -20.0), ("no", -15.0)], true), None);
        assert_eq!(left(&[("[unk]", -15.0), ("yes", -15.0)], true), None);
        assert_eq!(left(&[], true), None);
    }

    /// A word of this level ends.
    fn say(nearest: &mut Nearest, level: f32) {
        let (transcript, loudness) = heard(&[("pulse", level)]);
        nearest.ended(false, &transcript.words, &loudness);
    }

    #[test]
    fn an_answer_that_is_much_softer_than_the_reading_is_anothers_once() {
        let mut nearest = Nearest::default();
        let is_another = |nearest: &mut Nearest, level| {
            say(nearest, level);
            nearest.is_another()
        };
        assert!(!is_another(&mut nearest, -50.0), "nobody spoke before");
        say(&mut nearest, -15.0);
        nearest.taken();
        assert!(!is_another(&mut nearest, -28.0));
        assert!(is_another(&mut nearest, -30.0));
        assert!(!is_another(&mut nearest, -30.0), "again");
    }

    #[test]
    fn a_yes_among_other_words_counts_where_it_is_as_loud_as_the_reading() {
        let mut nearest = Nearest::default();
        say(&mut nearest, -15.0);
        nearest.taken();
        let said = |level| {
            let (transcript, loudness) = heard(&[("[unk]", -45.0), ("yes", level)]);
            let near = nearest.said(&[transcript], &loudness);
            near.map(|it| it.text())
        };
        assert_eq!(said(-20.0).as_deref(), Some("yes"));
        assert_eq!(said(-26.0), None);
    }

    #[test]
    fn nothing_inside_is_left_out_and_no_word_that_may_take_a_yes_back() {
        let not = [("that's", -15.0), ("[unk]", -32.0), ("correct", -15.0)];
        assert_eq!(left(&not, true), None);
        let taken_back = [("yes", -15.0), ("no", -24.0), ("eighty", -24.0)];
        assert_eq!(left(&taken_back, true), None);
        let beside = [("yes", -15.0), ("[unk]", -24.0)];
        assert_eq!(left(&beside, true).as_deref(), Some("yes"));
    }

    #[test]
    fn what_fits_no_word_is_no_measure_of_the_others() {
        // A door, and then an answer.
        assert_eq!(left(&[("[unk]", -3.0), ("yes", -25.0)], true), None);
        let only = [("[unk]", -30.0), ("[unk]", -10.0)];
        assert_eq!(left(&only, true), None);
    }

    #[test]
    fn the_loudest_tenth_of_a_second_of_a_word_is_how_loud_it_is() {
        let (transcript, loudness) = heard(&[("one", -60.0), ("two", -20.0)]);
        let mut word = transcript.words[1].clone();
        word.1 -= 0.4;
        assert!((loudness.word(&word) + 20.0).abs() < 0.1);
        assert!((loudness.loudest(&transcript.words).unwrap() + 20.0).abs() < 0.1);
        // Times that are outside of the sound.
        for (from, to) in [(1.0, 2.0), (20.5, 22.0), (19.0, 18.0), (f32::NAN, 30.0)] {
            let found = loudness.word(&("x".to_owned(), from, to));
            assert!(found.is_finite(), "{from} to {to}: {found}");
        }
    }
}
