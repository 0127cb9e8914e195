//! Saying something: made into sound, kept in a WAV file, and played.

use crate::speaking::{Audio, Player, Playing, Saying, Tee, Voice, VoiceError, tones};

/// A voice with where its sound goes. Without a voice it is mute, and the words
/// are on the screen only.
#[derive(Default)]
pub struct Mouth {
    voice: Option<Box<dyn Voice>>,
    tee: Option<Tee>,
    player: Option<Player>,
}

impl Mouth {
    /// A mouth with a voice.
    #[must_use]
    pub fn new(voice: Box<dyn Voice>) -> Self {
        Self {
            voice: Some(voice),
            ..Self::default()
        }
    }

    /// Writes what is said into a WAV file too.
    #[must_use]
    pub fn with_tee(mut self, tee: Tee) -> Self {
        self.tee = Some(tee);
        self
    }

    /// Plays what is said.
    #[must_use]
    pub fn with_player(mut self, player: Player) -> Self {
        self.player = Some(player);
        self
    }

    /// Says what is to be heard of a saying, or plays the tones that stand for
    /// it. Returns the sound, and its playing where there is a player.
    /// What cannot be said is reported by the caller; the words stay on the
    /// screen.
    ///
    /// # Errors
    /// [`VoiceError`] when the voice or the WAV file fails.
    pub fn say(&mut self, saying: &Saying) -> Result<Option<(Audio, Option<Playing>)>, VoiceError> {
        let Some(voice) = &mut self.voice else {
            return Ok(None);
        };
        let audio = if saying.tones.is_empty() {
            voice.synthesize(&saying.spoken)?
        } else {
            tones(&saying.tones)
        };
        let playing = self.player.as_ref().map(|it| it.play(audio.clone()));
        if let Some(tee) = &mut self.tee
            && let Err(error) = tee.append(&audio)
        {
            tracing::warn!("what was said could not be written to the WAV file: {error}");
        }
        Ok(Some((audio, playing)))
    }

    /// Ticks softly, where there is a player.
    pub fn click(&self) {
        // What comes of so short a sound does not matter.
        drop(self.player.as_ref().map(|it| it.play(click())));
    }
}

/// 15 ms of a quiet 1 kHz tone: at 16 kHz, 16 samples are a period.
fn click() -> Audio {
    const PERIOD: [i16; 16] = [
        0, 383, 707, 924, 1000, 924, 707, 383, 0, -383, -707, -924, -1000, -924, -707, -383,
    ];
    Audio {
        rate: 16_000,
        samples: PERIOD.repeat(15),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::speaking::Tone;

    /// A voice that says how often it was asked.
    struct Counting;

    impl Voice for Counting {
        fn name(&self) -> &'static str {
            "counting"
        }

        fn synthesize(&mut self, text: &str) -> Result<Audio, VoiceError> {
            let samples = vec![1; text.len()];
            Ok(Audio {
                rate: 8_000,
                samples,
            })
        }
    }

    #[test]
    fn tones_take_the_place_of_words() {
        let mut mouth = Mouth::new(Box::new(Counting));
        let mut heard = |saying: &Saying| mouth.say(saying).unwrap().unwrap().0;
        let mut saying = Saying::aloud("Kept.");
        assert_eq!(heard(&saying).samples.len(), 5);
        saying.spoken = String::new();
        saying.tones = vec![Tone::Kept, Tone::Report];
        assert_eq!(heard(&saying), tones(&saying.tones));
        assert!(Mouth::default().say(&saying).unwrap().is_none());
    }
}
