//! Remembers the sound of phrases that recur ("Yes?", "kept", "which arm?").

use std::collections::HashMap;

use super::engine::{Audio, Voice, VoiceError};

/// The most sound that is remembered, in bytes (about three minutes).
const MOST_BYTES: usize = 8 * 1024 * 1024;
/// The most phrases that are remembered.
const MOST_PHRASES: usize = 256;

/// A voice that says a phrase again without synthesising it again. What was used
/// longest ago is forgotten first. Nothing is written to disk: read-backs are
/// health information.
pub struct Cached<V> {
    voice: V,
    phrases: HashMap<String, Entry>,
    bytes: usize,
    clock: u64,
    most_bytes: usize,
    most_phrases: usize,
}

struct Entry {
    audio: Audio,
    used: u64,
}

impl<V: Voice> Cached<V> {
    /// A voice with nothing remembered yet.
    pub fn new(voice: V) -> Self {
        Self::with_limits(voice, MOST_BYTES, MOST_PHRASES)
    }

    fn with_limits(voice: V, most_bytes: usize, most_phrases: usize) -> Self {
        Self {
            voice,
            phrases: HashMap::new(),
            bytes: 0,
            clock: 0,
            most_bytes,
            most_phrases,
        }
    }

    fn remember(&mut self, text: &str, audio: &Audio) {
        // One long text must not push out all the short ones.
        if audio.bytes() > self.most_bytes / 4 {
            return;
        }
        while self.phrases.len() >= self.most_phrases
            || self.bytes + audio.bytes() > self.most_bytes
        {
            let oldest = self.phrases.iter().min_by_key(|(_, entry)| entry.used);
            let Some(oldest) = oldest.map(|(text, _)| text.clone()) else {
                return;
            };
            if let Some(entry) = self.phrases.remove(&oldest) {
                self.bytes -= entry.audio.bytes();
            }
        }
        self.bytes += audio.bytes();
        let entry = Entry {
            audio: audio.clone(),
            used: self.clock,
        };
        if let Some(old) = self.phrases.insert(text.to_owned(), entry) {
            self.bytes -= old.audio.bytes();
        }
    }
}

impl<V: Voice> Voice for Cached<V> {
    fn name(&self) -> &str {
        self.voice.name()
    }

    fn synthesize(&mut self, text: &str) -> Result<Audio, VoiceError> {
        self.clock += 1;
        if let Some(entry) = self.phrases.get_mut(text) {
            entry.used = self.clock;
            return Ok(entry.audio.clone());
        }
        let audio = self.voice.synthesize(text)?;
        self.remember(text, &audio);
        Ok(audio)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Says a text as its length in samples, and counts how often it was asked.
    struct Counting(usize);

    impl Voice for Counting {
        fn name(&self) -> &'static str {
            "counting"
        }

        fn synthesize(&mut self, text: &str) -> Result<Audio, VoiceError> {
            self.0 += 1;
            Ok(Audio {
                rate: 16_000,
                samples: vec![0; text.len()],
            })
        }
    }

    fn say(cached: &mut Cached<Counting>, text: &str) -> usize {
        assert_eq!(cached.synthesize(text).unwrap().samples.len(), text.len());
        assert!(cached.bytes <= cached.most_bytes && cached.phrases.len() <= cached.most_phrases);
        cached.voice.0
    }

    #[test]
    fn a_phrase_is_synthesised_once() {
        let mut cached = Cached::new(Counting(0));
        assert_eq!(say(&mut cached, "yes?"), 1);
        assert_eq!(say(&mut cached, "yes?"), 1);
        assert_eq!(say(&mut cached, "no?"), 2);
    }

    #[test]
    fn what_was_used_longest_ago_is_forgotten_first() {
        let mut cached = Cached::with_limits(Counting(0), 1_000, 2);
        say(&mut cached, "a");
        say(&mut cached, "b");
        say(&mut cached, "a");
        assert_eq!(say(&mut cached, "c"), 3);
        assert_eq!(say(&mut cached, "a"), 3, "still there");
        assert_eq!(say(&mut cached, "b"), 4, "was forgotten");
    }

    #[test]
    fn memory_is_bounded_and_a_long_text_pushes_nothing_out() {
        let mut cached = Cached::with_limits(Counting(0), 40, 100);
        for text in ["aaaa", "bbbb", "cccc", "dddd", "eeee", "ffff"] {
            say(&mut cached, text);
        }
        assert_eq!(cached.bytes, 40);
        say(&mut cached, &"x".repeat(50));
        assert_eq!(cached.bytes, 40);
    }

    #[test]
    fn a_failure_is_not_remembered() {
        struct Failing;
        impl Voice for Failing {
            fn name(&self) -> &'static str {
                "failing"
            }
            fn synthesize(&mut self, _: &str) -> Result<Audio, VoiceError> {
                Err(VoiceError::Failed {
                    program: "x".into(),
                    reason: "y".into(),
                })
            }
        }
        let mut cached = Cached::new(Failing);
        assert!(cached.synthesize("a").is_err());
        assert!(cached.phrases.is_empty());
    }
}
