//! The voice that always works: the espeak-ng program, run once per sentence.

use std::io::{Read, Write};
use std::process::{Command, Stdio};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::time::Duration;

use super::engine::{Audio, Voice, VoiceError, plain};
use crate::hearing::read_wav_at_own_rate;

/// How long a sentence may take to synthesise. It takes about 20 ms.
const PATIENCE: Duration = Duration::from_secs(10);

/// How espeak-ng speaks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EspeakSettings {
    /// The program, found on the path unless it is one.
    pub program: String,
    /// One of its voices, as `espeak-ng --voices` lists them.
    pub voice: String,
    /// Words per minute, 80 to 450. A read-back should be slower than talk.
    pub words_per_minute: u16,
}

impl Default for EspeakSettings {
    fn default() -> Self {
        Self {
            program: "espeak-ng".into(),
            voice: "en-us".into(),
            words_per_minute: 165,
        }
    }
}

/// The espeak-ng program as a [`Voice`].
#[derive(Debug)]
pub struct Espeak {
    settings: EspeakSettings,
}

impl Espeak {
    /// The voice with its settings; checks that the program runs.
    ///
    /// # Errors
    /// [`VoiceError::NotInstalled`] says what to install.
    pub fn new(settings: EspeakSettings) -> Result<Self, VoiceError> {
        let espeak = Self { settings };
        let mut command = Command::new(&espeak.settings.program);
        command.arg("--version");
        espeak.run(command, "")?;
        Ok(espeak)
    }

    fn failed(&self, reason: impl Into<String>) -> VoiceError {
        VoiceError::Failed {
            program: self.settings.program.clone(),
            reason: reason.into(),
        }
    }

    /// Runs a command with a text on its standard input; gives what it wrote.
    fn run(&self, mut command: Command, text: &str) -> Result<Vec<u8>, VoiceError> {
        let program = || self.settings.program.clone();
        let cannot_run = |source: std::io::Error| match source.kind() {
            std::io::ErrorKind::NotFound => VoiceError::NotInstalled {
                program: program(),
                package: "espeak-ng",
            },
            _ => VoiceError::CannotRun {
                program: program(),
                source,
            },
        };
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(cannot_run)?;
        let (mut input, output, errors) =
            (child.stdin.take(), child.stdout.take(), child.stderr.take());

        // Reading elsewhere, so that a child that hangs can be given up on. The
        // text is bounded and fits a pipe, so writing it can't block.
        let (done, finished) = channel();
        std::thread::spawn(move || {
            let mut sound = Vec::new();
            let mut complaint = Vec::new();
            let read = output.map_or(Ok(0), |mut output| output.read_to_end(&mut sound));
            // Errors are few and short, so they can wait in their pipe.
            let _ = errors.map_or(Ok(0), |mut errors| errors.read_to_end(&mut complaint));
            let _ = done.send((read, sound, complaint));
        });
        let written = input
            .as_mut()
            .map_or(Ok(()), |input| input.write_all(text.as_bytes()));
        drop(input);
        let (read, sound, complaint) = match finished.recv_timeout(PATIENCE) {
            Ok(result) => result,
            Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => {
                let _ = child.kill();
                let _ = child.wait();
                return Err(VoiceError::Stuck {
                    program: program(),
                    after: PATIENCE,
                });
            }
        };
        let status = child.wait().map_err(cannot_run)?;
        if !status.success() {
            let complaint = String::from_utf8_lossy(&complaint);
            let first = complaint.lines().find(|line| !line.trim().is_empty());
            return Err(self.failed(first.map_or_else(|| status.to_string(), str::to_owned)));
        }
        written.and(read.map(drop)).map_err(cannot_run)?;
        Ok(sound)
    }
}

impl Voice for Espeak {
    fn name(&self) -> &str {
        &self.settings.voice
    }

    fn synthesize(&mut self, text: &str) -> Result<Audio, VoiceError> {
        let text = plain(text);
        if !text.chars().any(char::is_alphanumeric) {
            return Ok(Audio {
                rate: 22_050,
                samples: Vec::new(),
            });
        }
        let speed = self.settings.words_per_minute.clamp(80, 450);
        let mut command = Command::new(&self.settings.program);
        // The text goes through a pipe: arguments are for all to see in the list
        // of processes, and this is health information.
        command
            .args(["--stdout", "--stdin", "-b", "1", "-z"])
            .args(["-s", &speed.to_string(), "-v", &self.settings.voice]);
        let sound = self.run(command, &text)?;
        let (rate, samples) =
            read_wav_at_own_rate(&sound).map_err(|error| self.failed(error.to_string()))?;
        Ok(Audio { rate, samples })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_program_says_what_to_install() {
        let settings = EspeakSettings {
            program: "no-such-espeak".into(),
            ..EspeakSettings::default()
        };
        let text = Espeak::new(settings).unwrap_err().to_string();
        assert!(
            text.contains("no-such-espeak") && text.contains("apt-get install"),
            "{text}"
        );
    }

    #[test]
    fn a_program_that_fails_is_quoted() {
        let settings = EspeakSettings {
            program: "false".into(),
            ..EspeakSettings::default()
        };
        assert!(matches!(
            Espeak::new(settings),
            Err(VoiceError::Failed { .. })
        ));
    }
}
