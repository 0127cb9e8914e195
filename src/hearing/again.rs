//! Hearing an utterance a second time, when it is known what it is about.
//!
//! The first time, all that may be said is listened for, and so that talk is not
//! taken for readings, every word may follow every other at a small price. The
//! second time only the phrases of what was named are listened for, and a word
//! that no phrase has in that place costs much more. Each has its own mistakes:
//! what both hear is rarely wrong.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use vosk::Recognizer;

use super::alternatives::{self, Path as Transcript, best_with_confidence};
use super::frames::seconds;
use super::heard::Heard;
use super::kept_sound::LONGEST;
use super::model::{EarError, Model, checked};
use super::recognizer::RENEW_AFTER;
use super::tuning::Dither;
use super::wav::RATE;

/// Given to the recogniser at once, in samples (1 s).
const BLOCK: usize = RATE as usize;
/// The peak that softer sound is raised to, of 32,768: the recogniser was
/// trained on louder speech than a far or badly set microphone gives.
const PEAK: f32 = 12_000.0;
/// What is softer than this below [`PEAK`] is not speech, but a room.
const MOST_GAIN: f32 = 60.0;
/// How likely a transcript is taken to be that the other time did not give at
/// all: only the ten likeliest are given.
const LEAST: f64 = 0.005;

/// Recognisers for hearing again that wait for their next use, each megabytes: those of
/// the vital signs that come in a round mostly.
const KEPT: usize = 6;

/// Hears again, for one stream. Making a recogniser takes longer than hearing with it,
/// and the same vital signs come again, so that they are kept, for all streams together.
#[derive(Default)]
pub(super) struct Second {
    /// The last used at the end.
    kept: Arc<Mutex<Vec<Kept>>>,
    /// The one that was given the beginning of what is being said.
    begun: Option<(Kept, Beginning)>,
}

struct Kept {
    of: String,
    recognizer: Recognizer,
    /// Samples given to it since it was made; it counts time by them.
    fed: u64,
}

/// How much of an utterance a recogniser was given, and how.
struct Beginning {
    /// Which utterance of the stream.
    utterance: u64,
    samples: usize,
    gain: f32,
    dither: Dither,
}

/// An utterance of a stream, by number, and its sound so far.
pub(super) type Running<'a> = (u64, &'a [i16]);

impl Second {
    /// For another stream, with the same recognisers.
    pub(super) fn another(&self) -> Self {
        Self {
            kept: Arc::clone(&self.kept),
            begun: None,
        }
    }

    /// Begins to hear an utterance by the phrases `of` something before it has ended.
    ///
    /// # Errors
    /// [`EarError`] when the recogniser refuses the phrases, or fails.
    pub(super) fn begin(
        &mut self,
        model: &Model,
        of: &str,
        phrases: impl FnOnce() -> Vec<String>,
        sound: Running<'_>,
    ) -> Result<(), EarError> {
        let begun = self.on(model, of, phrases, sound)?;
        // Blocks as they would be without a beginning.
        let whole = sound.1.len() / BLOCK * BLOCK;
        self.begun = Some(given(begun, &sound.1[..whole])?);
        Ok(())
    }

    /// What an utterance's sound may be by the phrases `of` something, with times from
    /// where the sound begins. None when the recogniser gives nothing readable.
    ///
    /// # Errors
    /// [`EarError`] when the recogniser refuses the phrases, or fails.
    pub(super) fn transcripts(
        &mut self,
        model: &Model,
        of: &str,
        phrases: impl FnOnce() -> Vec<String>,
        sound: Running<'_>,
    ) -> Result<Option<Vec<Transcript>>, EarError> {
        let begun = self.on(model, of, phrases, sound)?;
        let (mut it, _) = given(begun, sound.1)?;
        let begins = seconds(it.fed) - seconds(sound.1.len() as u64);
        // This forgets what it learned of the voice, so that each time is as the first.
        let found = alternatives::transcripts(&mut it.recognizer, Recognizer::final_result);
        let Some(mut found) = found else {
            return Ok(None);
        };
        for transcript in &mut found {
            transcript.shift(-begins);
        }
        self.keep(it);
        Ok(Some(found))
    }

    /// The recogniser that has the beginning of this, or one that has nothing of it.
    fn on(
        &mut self,
        model: &Model,
        of: &str,
        phrases: impl FnOnce() -> Vec<String>,
        (utterance, sound): Running<'_>,
    ) -> Result<(Kept, Beginning), EarError> {
        let gain = gain(sound);
        if let Some((mut it, beginning)) = self.begun.take() {
            // Of what is longer the beginning is not kept.
            let same = beginning.utterance == utterance && sound.len() < LONGEST;
            if same && it.of == of && beginning.gain.to_bits() == gain.to_bits() {
                return Ok((it, beginning));
            }
            let _ = it.recognizer.final_result();
            self.keep(it);
        }
        let found = {
            let mut kept = self.kept();
            let at = kept.iter().rposition(|it| it.of == of);
            at.map(|at| kept.remove(at))
        };
        let it = match found {
            Some(it) => it,
            None => Kept {
                of: of.to_owned(),
                recognizer: model.recognizer(Some(&checked(&phrases())?))?,
                fed: 0,
            },
        };
        let nothing = Beginning {
            utterance,
            samples: 0,
            gain,
            dither: Dither::default(),
        };
        Ok((it, nothing))
    }

    fn keep(&self, it: Kept) {
        let mut kept = self.kept();
        if it.fed < RENEW_AFTER {
            kept.push(it);
        }
        if kept.len() > KEPT {
            kept.remove(0);
        }
    }

    fn kept(&self) -> MutexGuard<'_, Vec<Kept>> {
        // One that failed half-way was taken out.
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Gives a recogniser what it does not have yet of a sound.
fn given(
    (mut it, mut begun): (Kept, Beginning),
    sound: &[i16],
) -> Result<(Kept, Beginning), EarError> {
    for block in sound.get(begun.samples..).unwrap_or_default().chunks(BLOCK) {
        it.fed += block.len() as u64;
        begun.samples += block.len();
        let louder = raised(block, begun.gain);
        let given = it.recognizer.accept_waveform(begun.dither.add(&louder));
        given.map_err(|_| EarError::Failed)?;
    }
    Ok((it, begun))
}

fn gain(sound: &[i16]) -> f32 {
    let peak = sound.iter().map(|it| it.unsigned_abs()).max();
    (PEAK / f32::from(peak.unwrap_or(1).max(1))).clamp(1.0, MOST_GAIN)
}

fn raised(sound: &[i16], gain: f32) -> Vec<i16> {
    #[allow(clippy::cast_possible_truncation, reason = "at most full scale")]
    let louder = |it: &i16| (f32::from(*it) * gain) as i16;
    sound.iter().map(louder).collect()
}

/// What was heard, by the transcripts of both times, of which the differences count
/// `belief` times. Those of the second time count from `start`, in seconds of the stream.
pub(super) fn both(
    heard: Heard,
    (first, mut second): (&[Transcript], Vec<Transcript>),
    start: f64,
    belief: f64,
) -> Heard {
    if first.is_empty() || second.is_empty() {
        return heard;
    }
    for it in &mut second {
        it.shift(start);
    }
    match best_with_confidence(&agreed(first, &second), belief) {
        Some(found) => Heard {
            clipped: heard.clipped,
            by: heard.by,
            ..found
        },
        None => heard,
    }
}

/// The transcripts of both, each as likely as both times together make it, the
/// likeliest first.
fn agreed(first: &[Transcript], second: &[Transcript]) -> Vec<Transcript> {
    let [once, twice] = [first, second].map(shares);
    let of = |shares: &HashMap<String, f64>, text: &str| {
        shares.get(text).copied().unwrap_or(0.0).max(LEAST).ln()
    };
    let mut seen = Vec::new();
    let mut all = Vec::new();
    for it in first.iter().chain(second) {
        let text = it.text();
        if !seen.contains(&text) {
            all.push(Transcript {
                score: of(&once, &text) + of(&twice, &text),
                words: it.words.clone(),
            });
            seen.push(text);
        }
    }
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    all
}

/// How likely each text is, together 1.
fn shares(transcripts: &[Transcript]) -> HashMap<String, f64> {
    let best = transcripts.first().map_or(0.0, |it| it.score);
    let weight = |it: &Transcript| match (it.score - best).exp() {
        weight if weight.is_finite() => weight.min(1.0),
        _ => 1.0,
    };
    let total: f64 = transcripts.iter().map(weight).sum();
    let mut shares = HashMap::new();
    for it in transcripts {
        *shares.entry(it.text()).or_insert(0.0) += weight(it) / total;
    }
    shares
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::hearing::read_wav;

    /// Also when others were heard by it between.
    #[test]
    fn a_recogniser_that_is_kept_hears_as_the_first_time() {
        let model = Model::open(Path::new("assets/model-en-us")).unwrap();
        let sound = |name: &str| read_wav(&Path::new("audio-fixtures/speech").join(name)).unwrap();
        let mut second = Second::default();
        let mut made = 0;
        let mut hear = |sound: &[i16]| {
            let phrases = || {
                made += 1;
                let words = "blood pressure one fifty two over eighty eight left arm sitting yes";
                words.split(' ').map(str::to_owned).collect()
            };
            let found = second.transcripts(&model, "blood pressure", phrases, (0, sound));
            found.unwrap().unwrap()
        };
        let pressure = sound("pressure-152-88.wav");
        let first = hear(&pressure);
        assert!(first[0].text().contains("one fifty two over"), "{first:?}");
        assert_eq!(hear(&sound("yes-slt.wav"))[0].text(), "yes");
        let again = hear(&pressure);
        assert_eq!(made, 1);
        assert_same(&again, &first);
    }

    /// Times are counted from another beginning, and rounded.
    fn assert_same(found: &[Transcript], wanted: &[Transcript]) {
        let plain = |all: &[Transcript]| -> Vec<(String, f64)> {
            all.iter().map(|it| (it.text(), it.score)).collect()
        };
        assert_eq!(plain(found), plain(wanted));
        let words = |all: &[Transcript]| all.iter().flat_map(|it| it.words.clone()).collect();
        let words: [Vec<_>; 2] = [words(found), words(wanted)];
        for (found, wanted) in words[0].iter().zip(&words[1]) {
            assert!((found.1 - wanted.1).abs() < 0.01, "{found:?} {wanted:?}");
        }
    }

    /// However often, and whatever came of what was begun before.
    #[test]
    fn what_is_begun_in_a_pause_is_heard_the_same() {
        let model = Model::open(Path::new("assets/model-en-us")).unwrap();
        let sound = |name: &str| read_wav(&Path::new("audio-fixtures/speech").join(name)).unwrap();
        let phrases = || {
            let words = "blood pressure one fifty two over eighty eight left arm sitting yes";
            words.split(' ').map(str::to_owned).collect()
        };
        let pressure = sound("pressure-152-88.wav");
        let hear = |second: &mut Second, sound: (u64, &[i16])| {
            let found = second.transcripts(&model, "blood pressure", phrases, sound);
            found.unwrap().unwrap()
        };
        let once = hear(&mut Second::default(), (0, &pressure));
        let mut second = Second::default();
        let mut begin = |utterance, sound: &[i16]| {
            let sound = (utterance, sound);
            second
                .begin(&model, "blood pressure", phrases, sound)
                .unwrap();
            let (_, begun) = second.begun.as_ref().unwrap();
            assert_eq!(begun.samples, sound.1.len() / BLOCK * BLOCK);
        };
        // Talk that came to nothing; the beginning, and more of it.
        begin(0, &sound("yes-slt.wav").repeat(3));
        for samples in [20_000, 20_500, 50_000] {
            begin(1, &pressure[..samples]);
        }
        assert_same(&hear(&mut second, (1, &pressure)), &once);
        // It became louder than it was.
        let mut louder = pressure.clone();
        louder.iter_mut().take(30_000).for_each(|it| *it /= 4);
        let once = hear(&mut Second::default(), (0, &louder));
        second
            .begin(&model, "blood pressure", phrases, (2, &louder[..20_000]))
            .unwrap();
        assert_same(&hear(&mut second, (2, &louder)), &once);
    }

    fn transcripts(all: &[(&str, f64)]) -> Vec<Transcript> {
        let transcript = |(text, score): &(&str, f64)| Transcript {
            score: *score,
            words: (0_u8..)
                .zip(text.split(' '))
                .map(|(at, word)| (word.to_owned(), f32::from(at), f32::from(at) + 0.9))
                .collect(),
        };
        all.iter().map(transcript).collect()
    }

    fn heard(first: &[(&str, f64)], second: &[(&str, f64)]) -> Heard {
        let first = transcripts(first);
        let once = best_with_confidence(&first, 1.0).unwrap();
        both(once, (&first, transcripts(second)), 0.0, 1.0)
    }

    #[test]
    fn what_both_hear_is_surer_than_either() {
        let times = [
            [("pulse eighty", 0.0), ("pulse eighteen", -1.0)],
            [("pulse eighty", 0.0), ("pulse forty", -1.0)],
        ];
        let heard = heard(&times[0], &times[1]);
        assert_eq!(heard.text(), "pulse eighty");
        assert!(heard.confidence() > 0.95, "{heard:?}");
        let texts: Vec<&str> = heard
            .alternatives
            .iter()
            .map(|it| it.text.as_str())
            .collect();
        assert_eq!(texts, ["pulse eighteen", "pulse forty"]);
    }

    #[test]
    fn where_they_disagree_neither_is_sure() {
        let heard = heard(&[("pulse fifty", 0.0)], &[("pulse fifteen", 0.0)]);
        assert!(heard.confidence() <= 0.5, "{heard:?}");
        assert!(heard.alternatives[0].behind < 0.1, "{heard:?}");
    }

    #[test]
    fn the_second_time_decides_what_the_first_left_open() {
        let first = [("pulse a four", 0.0), ("pulse eight four", -0.3)];
        let heard = heard(&first, &[("pulse eight four", 0.0), ("pulse a four", -5.0)]);
        assert_eq!(heard.text(), "pulse eight four");
        assert!(heard.confidence() > 0.9, "{heard:?}");
    }

    #[test]
    fn nothing_heard_again_leaves_the_first() {
        assert_eq!(heard(&[("yes", 0.0)], &[]).text(), "yes");
    }

    #[test]
    fn soft_sound_is_raised_and_never_beyond_full_scale() {
        let raised = |sound: &[i16]| raised(sound, gain(sound));
        assert_eq!(raised(&[100, -400]), [3_000, -12_000]);
        assert_eq!(raised(&[i16::MIN, 5]), [i16::MIN, 5]);
        assert_eq!(raised(&[2, 0]), [120, 0]);
        assert!(raised(&[]).is_empty());
    }
}
