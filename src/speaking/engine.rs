//! What every voice has in common.

use std::fmt;
use std::time::Duration;

use thiserror::Error;

/// Quieter samples are not heard: a two-hundredth of full scale.
const AUDIBLE: u16 = 164;

/// Sound, one channel, 16 bits.
#[derive(Clone, PartialEq, Eq)]
pub struct Audio {
    /// Samples per second.
    pub rate: u32,
    /// The samples.
    pub samples: Vec<i16>,
}

impl Audio {
    /// Silence of a given length.
    #[must_use]
    pub fn silence(rate: u32, length: Duration) -> Self {
        let samples = length.as_millis() * u128::from(rate) / 1_000;
        Self {
            rate,
            samples: vec![0; usize::try_from(samples).unwrap_or(0)],
        }
    }

    /// How long it plays.
    #[must_use]
    pub fn duration(&self) -> Duration {
        self.lasting(self.samples.len())
    }

    #[allow(clippy::cast_precision_loss, reason = "exact for 2^53 samples")]
    fn lasting(&self, samples: usize) -> Duration {
        Duration::from_secs_f64(samples as f64 / f64::from(self.rate.max(1)))
    }

    /// Silence before the first word and after the last.
    #[must_use]
    pub fn quiet_ends(&self) -> (Duration, Duration) {
        let loud = |it: &i16| it.unsigned_abs() > AUDIBLE;
        let length = self.samples.len();
        let first = self.samples.iter().position(loud).unwrap_or(length);
        let last = self.samples.iter().rposition(loud);
        let after = last.map_or(0, |it| length - 1 - it);
        (self.lasting(first), self.lasting(after))
    }

    /// Bytes of memory that the samples take.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.samples.len() * size_of::<i16>()
    }
}

// Thousands of numbers help nobody, and what was said stays out of logs.
impl fmt::Debug for Audio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Audio({:?} at {} Hz)", self.duration(), self.rate)
    }
}

/// Why a text could not be spoken.
#[derive(Debug, Error)]
pub enum VoiceError {
    /// The speech program isn't there.
    #[error("{program} is not installed; install it (on Debian: apt-get install {package})")]
    NotInstalled {
        /// The program that was looked for.
        program: String,
        /// The package that has it.
        package: &'static str,
    },
    /// The optional natural voice isn't there.
    #[error("the natural voice is not installed; run setup/natural-voice, or use another voice")]
    NaturalVoiceMissing,
    /// The speech program could not be started or talked to.
    #[error("{program} cannot be run: {source}")]
    CannotRun {
        /// The program.
        program: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// The speech program ended with an error, or its sound makes no sense.
    #[error("{program} failed: {reason}; check that its voices are installed")]
    Failed {
        /// The program.
        program: String,
        /// Its own words, or what was wrong with what it gave.
        reason: String,
    },
    /// The speech program didn't answer.
    #[error("{program} did not answer within {} s and was stopped", .after.as_secs())]
    Stuck {
        /// The program.
        program: String,
        /// How long it was waited for.
        after: Duration,
    },
}

/// Something that can say a text.
pub trait Voice {
    /// What to call this voice on the screen and in notes.
    fn name(&self) -> &str;

    /// The sound of a text. Text without anything to say gives no samples.
    ///
    /// # Errors
    /// Says why it could not be spoken and what to do.
    fn synthesize(&mut self, text: &str) -> Result<Audio, VoiceError>;
}

impl<V: Voice + ?Sized> Voice for Box<V> {
    fn name(&self) -> &str {
        (**self).name()
    }

    fn synthesize(&mut self, text: &str) -> Result<Audio, VoiceError> {
        (**self).synthesize(text)
    }
}

/// The longest text that is spoken, in characters (about two minutes).
const LONGEST_TEXT: usize = 2_000;

/// Text with nothing in it but words and punctuation. Speech programs take
/// phoneme codes in `[[ ]]`, and markup in `< >`; a resident's name or a
/// nurse's note must not be able to make them say something else.
pub(super) fn plain(text: &str) -> String {
    let spaced: String = text
        .chars()
        .take(LONGEST_TEXT)
        .map(|c| {
            if is_code(c) || is_invisible(c) {
                ' '
            } else {
                c
            }
        })
        .collect();
    let words: Vec<&str> = spaced.split_whitespace().collect();
    words.join(" ")
}

fn is_code(c: char) -> bool {
    matches!(
        c,
        '[' | ']' | '<' | '>' | '{' | '}' | '|' | '\\' | '_' | '&'
    )
}

/// Characters that change how a text is read and not how it looks.
fn is_invisible(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}')
        || matches!(c, '\u{2060}'..='\u{2069}' | '\u{feff}' | '\u{e000}'..='\u{f8ff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations() {
        let audio = Audio::silence(22_050, Duration::from_millis(500));
        assert_eq!(audio.samples.len(), 11_025);
        assert_eq!(audio.duration(), Duration::from_millis(500));
        assert_eq!(audio.bytes(), 22_050);
        assert_eq!(
            Audio {
                rate: 0,
                samples: vec![]
            }
            .duration(),
            Duration::ZERO
        );
    }

    #[test]
    fn codes_and_markup_become_spaces() {
        assert_eq!(plain("Mrs [[h@l'oU]] Ruiz"), "Mrs h@l'oU Ruiz");
        assert_eq!(
            plain("<break time='9s'/>yes\u{1b}[2J\n ok"),
            "break time='9s'/ yes 2J ok"
        );
        assert_eq!(plain(" \t\n\u{200b}"), "");
        assert_eq!(
            plain("Pulse 7 2, régulière. Yes?"),
            "Pulse 7 2, régulière. Yes?"
        );
        assert!(plain(&"a".repeat(1_000_000)).len() <= LONGEST_TEXT);
    }

    #[test]
    fn a_word_begins_and_ends_where_it_is_heard() {
        let mut audio = Audio::silence(1_000, Duration::from_secs(3));
        audio.samples[500..2_000].fill(1_000);
        audio.samples[2_100] = 20;
        let (before, after) = audio.quiet_ends();
        assert_eq!(before, Duration::from_millis(500));
        assert_eq!(after, Duration::from_secs(1));
        let (before, _) = Audio::silence(1_000, Duration::from_secs(3)).quiet_ends();
        assert_eq!(before, Duration::from_secs(3));
    }
}
