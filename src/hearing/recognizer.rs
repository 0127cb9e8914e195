//! Frames in, utterances out: the speech recogniser behind a small face.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::Arc;
use std::time::{Duration, Instant};

use vosk::{DecodingState, Recognizer};

use super::again::{self, Second};
use super::alternatives::{Path as Transcript, best_with_confidence, transcripts};
use super::frames::seconds;
use super::gate::Gate;
use super::heard::{Heard, UNKNOWN};
use super::kept_sound::KeptSound;
use super::level::ClipDetector;
use super::model::{EarError, Model, checked};
use super::near::Near;
use super::nearest::{Loudness, Nearest};
use super::noise;
use super::pause::Pauses;
use super::slot::Slot;
use super::steady::Steady;
use super::tuning::Dither;
use super::wav::RATE;
use crate::metrics;

/// The longest block given to the decoder at once, in samples (100 ms): it
/// looks for the end of an utterance only between blocks.
const BLOCK: usize = RATE as usize / 10;
/// Shorter silences end nothing: they are inside words.
const SHORTEST_PAUSE: Duration = Duration::from_millis(250);
/// After a pause of this length the recogniser has decoded all that was said
/// before it: of 47 short sentences of nine synthetic voices, the last had its
/// words together 0.37 s after its sound ended.
const DECODED: Duration = Duration::from_millis(450);
/// How much longer than otherwise a reading may go on whose last word fits nothing, in
/// samples (1.2 s). The recogniser counts such a word as silence, so that talk of unknown
/// words ends; but a strange accent or noise makes one of a known word in the middle of a
/// reading too, and half of the reading was lost. What came of it is in
/// docs/hearing-tried.md.
const UNKNOWN_GOES_ON: u64 = 12 * RATE as u64 / 10;
/// The longest utterance, in samples (30 s). A television never pauses.
const LONGEST_UTTERANCE: u64 = 30 * RATE as u64;
/// How long a recogniser goes on learning a voice and a room, in samples (90 s).
/// Having learned makes it right more often (with 30 s, 347 of 400 readings of
/// the bench's tune half were, instead of 357), but it keeps all the sound it
/// learned from, about 60 kB for each second.
const LEARN_FROM: u64 = 90 * RATE as u64;
/// A recogniser is made anew after this many samples (8 h), because the library
/// counts them in 32 bits, signed.
pub(super) const RENEW_AFTER: u64 = 8 * 3_600 * RATE as u64;

/// Listens to one stream for whatever is expected at the moment.
///
/// `K` names an expectation, such as a state of the dialogue. Each has its own
/// recogniser, made ahead of time, so that changing from one to another is free.
pub struct Ear<K> {
    model: Model,
    slots: HashMap<K, Slot>,
    expected: Option<K>,
    /// Samples of the stream so far, heard or not.
    position: u64,
    /// Samples that were decoded.
    decoded: u64,
    /// Samples since the last utterance ended.
    running: u64,
    /// Samples since the recogniser found it to be over, for as long as it does.
    over: u64,
    /// How many have ended.
    ended: u64,
    /// None to decode silence too.
    gate: Option<Gate>,
    clips: ClipDetector,
    pauses: Pauses,
    steady: Steady,
    near: Near,
    dither: Dither,
    kept: KeptSound,
    /// The same as it was decoded.
    decoded_sound: KeptSound,
    /// What the last utterance may have been.
    transcripts: Vec<Transcript>,
    nearest: Nearest,
    second: Second,
}

impl<K: Eq + Hash + Clone> Ear<K> {
    /// An ear for another stream, with the same phrases and the same model.
    ///
    /// # Errors
    /// [`EarError`] when the recogniser refuses what it took before.
    pub fn another(&self) -> Result<Self, EarError> {
        let mut another = Self::new(self.model.clone());
        another.second = self.second.another();
        for (key, slot) in &self.slots {
            let slot = Slot::new(&self.model, slot.phrases.clone())?;
            another.slots.insert(key.clone(), slot);
        }
        Ok(another)
    }
}

impl<K: Eq + Hash> Ear<K> {
    /// An ear that expects nothing yet.
    #[must_use]
    pub fn new(model: Model) -> Self {
        Self {
            model,
            slots: HashMap::new(),
            expected: None,
            position: 0,
            decoded: 0,
            running: 0,
            over: 0,
            ended: 0,
            gate: Some(Gate::default()),
            clips: ClipDetector::default(),
            pauses: Pauses::default(),
            steady: Steady::default(),
            near: Near::default(),
            dither: Dither::default(),
            kept: KeptSound::default(),
            decoded_sound: KeptSound::default(),
            transcripts: Vec::new(),
            nearest: Nearest::default(),
            second: Second::default(),
        }
    }

    /// Decodes silence too, which costs as much as speech. To compare.
    #[must_use]
    pub fn without_gate(mut self) -> Self {
        self.gate = None;
        self
    }

    /// Makes (or makes anew) the recogniser for one expectation. Speech that
    /// fits none of the phrases comes out as [`UNKNOWN`].
    ///
    /// # Errors
    /// Lists the words that the model doesn't know, or the phrase that isn't one.
    pub fn set_phrases(&mut self, key: K, phrases: &[String]) -> Result<(), EarError> {
        let mut list = checked(phrases)?;
        let mut unknown: Vec<String> = list
            .iter()
            .flat_map(|phrase| phrase.split_whitespace())
            .filter(|word| *word != UNKNOWN && !self.model.knows(word))
            .map(str::to_owned)
            .collect();
        unknown.sort();
        unknown.dedup();
        if !unknown.is_empty() {
            return Err(EarError::UnknownWords(unknown));
        }
        if !list.iter().any(|phrase| phrase == UNKNOWN) {
            list.push(UNKNOWN.to_owned());
        }
        self.listen(key, Some(list.into()))
    }

    /// As [`Ear::set_phrases`], for the network that the model was opened with.
    ///
    /// # Errors
    /// [`EarError::NoNetwork`] when it was opened without one.
    pub fn set_network(&mut self, key: K) -> Result<(), EarError> {
        self.listen(key, None)
    }

    fn listen(&mut self, key: K, phrases: Option<Arc<[String]>>) -> Result<(), EarError> {
        let slot = Slot::new(&self.model, phrases)?;
        if self.expected.as_ref() == Some(&key) {
            self.running = 0;
            self.clips = ClipDetector::default();
        }
        self.slots.insert(key, slot);
        Ok(())
    }

    /// Whether [`Ear::set_phrases`] was called for an expectation.
    #[must_use]
    pub fn has(&self, key: &K) -> bool {
        self.slots.contains_key(key)
    }

    /// Listens for something else from now on. What was said of an utterance
    /// that has not ended is dropped; call [`Ear::finish`] first to have it.
    /// An expectation without phrases hears nothing.
    pub fn expect(&mut self, key: K) {
        if self.expected.as_ref() == Some(&key) {
            return;
        }
        self.nearest.taken();
        self.drop_utterance();
        self.expected = Some(key);
    }

    /// Drops what was said of an utterance that has not ended.
    pub fn drop_utterance(&mut self) {
        if let Some(gate) = &mut self.gate {
            gate.forget();
        }
        if self.running > 0 {
            // The result is what is dropped. A plain reset would leave the last
            // tenths of a second inside, to turn up in the next utterance.
            let _ = self.conclude_and_forget();
        }
        self.steady.forget();
        self.near.forget();
    }

    /// Takes 16 kHz mono samples, any number of them, and gives an utterance if
    /// one ended in them. When several ended in one very long block, they come
    /// as one; 100 ms at a time keeps them apart and costs nothing.
    pub fn accept(&mut self, samples: &[i16]) -> Option<Heard> {
        self.accept_until(samples, |_| None)
    }

    /// As [`Ear::accept`], and ends an utterance sooner where the words so far
    /// are all that is waited for: `pause` gives the silence that then ends it.
    pub fn accept_until(
        &mut self,
        samples: &[i16],
        pause: impl Fn(&str) -> Option<Duration>,
    ) -> Option<Heard> {
        let started = Instant::now();
        let mut heard: Option<Heard> = None;
        for block in samples.chunks(BLOCK) {
            self.position += block.len() as u64;
            let through = self.let_through(block);
            for block in through.chunks(BLOCK) {
                let ended = self.accept_block(block);
                if let Some(next) = ended.or_else(|| self.ended_sooner(&pause)) {
                    heard = Some(match heard {
                        None => next,
                        Some(first) => {
                            // The sound is of the last of them only.
                            self.transcripts.clear();
                            first.and(next)
                        }
                    });
                }
            }
        }
        metrics::recognised(seconds(samples.len() as u64), started.elapsed());
        heard
    }

    /// What of the stream is to be decoded now.
    fn let_through(&mut self, block: &[i16]) -> Vec<i16> {
        let Some(gate) = &mut self.gate else {
            return block.to_vec();
        };
        let slot = self.expected.as_ref();
        let slot = slot.and_then(|key| self.slots.get_mut(key));
        let busy = slot.map(|it| || !it.recognizer.partial_result().partial.is_empty());
        gate.pass(block, || busy.is_some_and(|mut it| it()))
    }

    fn ended_sooner(&mut self, pause: impl Fn(&str) -> Option<Duration>) -> Option<Heard> {
        let quiet = self.pauses.quiet();
        let enough = pause(self.paused_after()?)?;
        if quiet < enough {
            return None;
        }
        if quiet < DECODED + self.held() {
            return self.conclude_and_forget();
        }
        self.conclude(Recognizer::result)
    }

    /// Ends the utterance now, as at the end of a file, and gives what was said.
    pub fn finish(&mut self) -> Option<Heard> {
        if self.running == 0 {
            return None;
        }
        let rest = self.steady.rest();
        self.decode(&rest).or_else(|| self.conclude_and_forget())
    }

    /// The samples of what ended last, as they came, with the silence around it;
    /// the end of it when it was longer than 30 s. To be taken right after
    /// [`Ear::accept`] or [`Ear::finish`] gave an utterance: silence, and what is
    /// dropped, ends too.
    #[must_use]
    pub fn last_sound(&self) -> &[i16] {
        self.kept.last()
    }

    /// Seconds of sound that were decoded; the rest was silence.
    #[must_use]
    pub fn decoded(&self) -> f64 {
        seconds(self.decoded)
    }

    /// The words so far of an utterance in which nobody speaks just now, if there are any:
    /// the time to [begin](Ear::begin_again) what comes after its end.
    pub fn paused_after(&mut self) -> Option<&str> {
        if self.running == 0 || self.pauses.quiet() < SHORTEST_PAUSE {
            return None;
        }
        let slot = self.slots.get_mut(self.expected.as_ref()?)?;
        let words = slot.recognizer.partial_result().partial;
        (!words.is_empty()).then_some(words)
    }

    /// Does now, in a pause, most of what [`Ear::hear_again`] with the same will have to do
    /// if the utterance ends with it. That hears the same, whether this was called or not.
    pub fn begin_again(&mut self, of: &str, phrases: impl FnOnce() -> Vec<String>) {
        let sound = (self.ended, self.decoded_sound.so_far());
        if let Err(error) = self.second.begin(&self.model, of, phrases, sound) {
            tracing::warn!("not begun to hear again: {error}");
        }
    }

    /// Hears the sound of the last utterance once more, for the phrases `of` something
    /// only, and gives what both times agree on; the first, when there is nothing to
    /// hear or it cannot be heard again. `phrases` are asked for when there is no
    /// recogniser for them yet.
    #[must_use]
    pub fn hear_again(
        &mut self,
        first: Heard,
        of: &str,
        phrases: impl FnOnce() -> Vec<String>,
    ) -> Heard {
        let sound = self.decoded_sound.last();
        // It was the one that runs when it was begun.
        let this = (self.ended.wrapping_sub(1), sound);
        let found = self.second.transcripts(&self.model, of, phrases, this);
        let second = match found {
            Ok(Some(second)) => second,
            Ok(None) => return first,
            Err(error) => {
                tracing::warn!("not heard again: {error}");
                return first;
            }
        };
        let start = self.seconds() - self.held().as_secs_f64() - seconds(sound.len() as u64);
        again::both(first, (&self.transcripts, second), start, self.belief())
    }

    /// What the nearest voice said of the last utterance, without the words of others
    /// further away; `None` where it has none, or nobody near spoke.
    #[must_use]
    pub fn nearest(&self) -> Option<Heard> {
        self.nearest.said(&self.transcripts, &self.loudness())
    }

    /// Whether the last utterance may be another's, by how soft it is; once after each change
    /// of what is expected.
    pub fn is_another(&mut self) -> bool {
        self.nearest.is_another()
    }

    fn loudness(&self) -> Loudness {
        Loudness::of(self.kept.last(), self.seconds())
    }

    /// How far the transcripts of the last utterance are believed. What a network
    /// makes of noise is a whole phrase; lists of phrases leave more open.
    fn belief(&self) -> f64 {
        let slot = self.expected.as_ref().and_then(|key| self.slots.get(key));
        match (slot, self.transcripts.first()) {
            (Some(slot), Some(best)) if slot.phrases.is_none() => {
                noise::belief(self.kept.last(), self.seconds(), &best.words)
            }
            _ => 1.0,
        }
    }

    /// Seconds of sound taken since the start of the stream.
    #[must_use]
    #[allow(clippy::cast_precision_loss, reason = "exact for 2^53 samples")]
    pub fn seconds(&self) -> f64 {
        self.position as f64 / f64::from(RATE)
    }

    /// How far what was decoded is behind what was let through.
    fn held(&self) -> Duration {
        self.steady.held() + self.near.held()
    }

    fn accept_block(&mut self, block: &[i16]) -> Option<Heard> {
        if !self.slots.contains_key(self.expected.as_ref()?) {
            return None;
        }
        self.running += block.len() as u64;
        self.clips.push(block);
        self.kept.push(block);
        self.pauses.push(block);
        let block = self.steady.pass(block);
        self.decode(&block)
    }

    fn decode(&mut self, block: &[i16]) -> Option<Heard> {
        let slot = self.slots.get_mut(self.expected.as_ref()?)?;
        let block = &self.near.pass(block)[..];
        self.decoded_sound.push(block);
        self.decoded += block.len() as u64;
        slot.fed += block.len() as u64;
        slot.learned += block.len() as u64;
        let enough = slot.learned >= LEARN_FROM;
        match slot.recognizer.accept_waveform(self.dither.add(block)) {
            Ok(DecodingState::Failed) | Err(_) => {
                tracing::warn!("the recogniser failed on a block of sound; starting it afresh");
                self.renew();
                None
            }
            Ok(DecodingState::Running) if self.running < LONGEST_UTTERANCE => {
                self.over = 0;
                None
            }
            Ok(DecodingState::Finalized) if self.goes_on(block.len()) => None,
            Ok(DecodingState::Finalized) if !enough => self.conclude(Recognizer::result),
            Ok(_) => self.conclude_and_forget(),
        }
    }

    /// Whether an utterance that the recogniser finds to be over, after this many samples
    /// more, is given a little longer.
    fn goes_on(&mut self, samples: usize) -> bool {
        self.over += samples as u64;
        let silent = self.pauses.quiet() >= SHORTEST_PAUSE;
        if silent || self.over >= UNKNOWN_GOES_ON || self.running >= LONGEST_UTTERANCE {
            return false;
        }
        let slot = self.expected.as_ref();
        let slot = slot.and_then(|key| self.slots.get_mut(key));
        // An answer is short: there is little in it to cut, and a television to wait for.
        let reading = slot.filter(|it| it.phrases.is_none());
        reading.is_some_and(|it| it.recognizer.partial_result().partial.ends_with(UNKNOWN))
    }

    /// Also decodes the last tenths of a second, which otherwise are left for
    /// the next utterance.
    fn conclude_and_forget(&mut self) -> Option<Heard> {
        if self.running == 0 {
            return None;
        }
        if let Some(slot) = self
            .expected
            .as_ref()
            .and_then(|key| self.slots.get_mut(key))
        {
            slot.learned = 0;
        }
        self.conclude(Recognizer::final_result)
    }

    /// Takes the result out of the recogniser, and makes ready for the next
    /// utterance.
    fn conclude(
        &mut self,
        result: for<'a> fn(&'a mut Recognizer) -> vosk::CompleteResult<'a>,
    ) -> Option<Heard> {
        self.running = 0;
        self.over = 0;
        self.ended += 1;
        self.kept.end();
        self.decoded_sound.end();
        self.pauses.begin();
        let beside = self.near.is_crowded();
        self.near.begin();
        let clipped = std::mem::take(&mut self.clips).clipped();
        let held = self.held().as_secs_f64();
        let slot = self.slots.get_mut(self.expected.as_ref()?)?;
        let transcripts = transcripts(&mut slot.recognizer, result);
        let offset = seconds(self.position) - held - seconds(slot.fed);
        let worn_out = slot.fed > RENEW_AFTER;
        let Some(mut transcripts) = transcripts else {
            tracing::warn!("the recogniser gave an unreadable result; starting it afresh");
            self.renew();
            return None;
        };
        if worn_out {
            self.renew();
        }
        for it in &mut transcripts {
            it.shift(offset);
        }
        self.transcripts = transcripts;
        let best = self.transcripts.first().map_or(&[][..], |it| &it.words);
        self.nearest.ended(beside, best, &self.loudness());
        let mut heard = best_with_confidence(&self.transcripts, self.belief())?;
        heard.clipped = clipped;
        Some(heard)
    }

    fn renew(&mut self) {
        self.running = 0;
        self.clips = ClipDetector::default();
        let Some(slot) = self
            .expected
            .as_ref()
            .and_then(|key| self.slots.get_mut(key))
        else {
            return;
        };
        match Slot::new(&self.model, slot.phrases.clone()) {
            Ok(anew) => *slot = anew,
            Err(error) => tracing::error!("{error}"),
        }
    }
}
