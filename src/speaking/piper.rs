//! An optional natural voice: a Piper model in a Python process that stays, so
//! that the model is loaded once.

use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::time::Duration;

use super::engine::{Audio, Voice, VoiceError, plain};

/// The other end of the pipe.
const SCRIPT: &str = include_str!("piper.py");
/// How long loading the voice may take. It takes about a second.
const LOADING: Duration = Duration::from_secs(60);
/// How long a sentence may take to synthesise. It takes about a fifth of a second.
const PATIENCE: Duration = Duration::from_secs(10);
/// The longest answer that is believed, in bytes (about twenty minutes).
const LONGEST_ANSWER: u32 = 64 * 1024 * 1024;
/// What to call it in messages.
const PROGRAM: &str = "the natural voice";

/// A Piper voice as a [`Voice`]. A process that died is started again for the
/// next sentence.
pub struct Piper {
    python: PathBuf,
    model: Option<PathBuf>,
    process: Option<Process>,
}

struct Process {
    child: Child,
    input: ChildStdin,
    answers: Receiver<Answer>,
}

/// The sound or the reason there is none; `None` when the process is gone.
type Answer = Option<Result<Audio, String>>;

impl Piper {
    /// Starts the voice that `setup/natural-voice` put in a folder, and waits
    /// until it is loaded, about a second.
    ///
    /// # Arguments
    /// `model` is another Piper model (`.onnx`) to use with the same programs.
    ///
    /// # Errors
    /// Says what to install, or why it would not start.
    pub fn open(folder: &Path, model: Option<&Path>) -> Result<Self, VoiceError> {
        let python = folder.join("bin").join("python");
        let mut piper = Self {
            python,
            model: model.map(Path::to_owned),
            process: None,
        };
        piper.process = Some(piper.start()?);
        Ok(piper)
    }

    fn start(&self) -> Result<Process, VoiceError> {
        let mut command = Command::new(&self.python);
        command.args(["-c", SCRIPT]).args(&self.model);
        start(command, LOADING)
    }
}

impl Voice for Piper {
    fn name(&self) -> &'static str {
        "natural"
    }

    fn synthesize(&mut self, text: &str) -> Result<Audio, VoiceError> {
        let text = plain(text);
        if !text.chars().any(char::is_alphanumeric) {
            return Ok(Audio {
                rate: 22_050,
                samples: Vec::new(),
            });
        }
        let mut process = match self.process.take() {
            Some(process) => process,
            None => self.start()?,
        };
        let audio = process.ask(&text, PATIENCE)?;
        // Kept only after a good answer: one that failed or hangs is started anew.
        self.process = Some(process);
        Ok(audio)
    }
}

fn failed(reason: impl Into<String>) -> VoiceError {
    VoiceError::Failed {
        program: PROGRAM.to_owned(),
        reason: reason.into(),
    }
}

fn start(mut command: Command, patience: Duration) -> Result<Process, VoiceError> {
    let spawned = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|source| match source.kind() {
            ErrorKind::NotFound => VoiceError::NaturalVoiceMissing,
            _ => VoiceError::CannotRun {
                program: PROGRAM.to_owned(),
                source,
            },
        });
    let mut child = spawned?;
    let pipes = child.stdin.take().zip(child.stdout.take());
    let (input, mut output) = pipes.ok_or_else(|| failed("it has no pipes"))?;
    let (sender, answers) = sync_channel(1);
    std::thread::spawn(move || {
        loop {
            let answer = read_answer(&mut output);
            let over = answer.is_none();
            if sender.send(answer).is_err() || over {
                return;
            }
        }
    });
    let process = Process {
        child,
        input,
        answers,
    };
    process.answer(patience)?;
    Ok(process)
}

impl Process {
    fn ask(&mut self, text: &str, patience: Duration) -> Result<Audio, VoiceError> {
        let line = format!("{text}\n");
        let written = self
            .input
            .write_all(line.as_bytes())
            .and_then(|()| self.input.flush());
        written.map_err(|_| failed("its process ended"))?;
        self.answer(patience)
    }

    fn answer(&self, patience: Duration) -> Result<Audio, VoiceError> {
        match self.answers.recv_timeout(patience) {
            Ok(Some(Ok(audio))) => Ok(audio),
            Ok(Some(Err(reason))) => Err(failed(reason)),
            Ok(None) | Err(RecvTimeoutError::Disconnected) => Err(failed("its process ended")),
            Err(RecvTimeoutError::Timeout) => Err(VoiceError::Stuck {
                program: PROGRAM.to_owned(),
                after: patience,
            }),
        }
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Reads one answer; see the script.
fn read_answer(output: &mut impl Read) -> Answer {
    let mut number = || {
        let mut bytes = [0; 4];
        output
            .read_exact(&mut bytes)
            .ok()
            .map(|()| u32::from_le_bytes(bytes))
    };
    let (rate, length) = (number()?, number()?);
    if length > LONGEST_ANSWER {
        return None;
    }
    let mut body = vec![0; length as usize];
    output.read_exact(&mut body).ok()?;
    if rate == 0 {
        return Some(Err(String::from_utf8_lossy(&body).into_owned()));
    }
    let samples = body
        .chunks_exact(2)
        .map(|pair| i16::from_le_bytes([pair[0], pair[1]]));
    Some(Ok(Audio {
        rate,
        samples: samples.collect(),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A process that plays the other end, as a shell script.
    fn fake(script: &str) -> Result<Process, VoiceError> {
        let mut command = Command::new("sh");
        command.args(["-c", script]);
        start(command, Duration::from_secs(5))
    }

    const READY: &str = r"printf '\042\126\000\000\000\000\000\000'; ";

    #[test]
    fn answers_are_read_one_by_one() {
        let script = format!(
            "{READY} while read -r line; do printf '\\042\\126\\0\\0\\004\\0\\0\\0\\001\\0\\377\\377'; done"
        );
        let mut process = fake(&script).unwrap();
        for _ in 0..3 {
            let audio = process.ask("yes", PATIENCE).unwrap();
            assert_eq!(
                audio,
                Audio {
                    rate: 22_050,
                    samples: vec![1, -1]
                }
            );
        }
    }

    #[test]
    fn a_process_that_complains_dies_or_hangs_is_an_error() {
        let complains = fake(r"printf '\000\000\000\000\004\000\000\000oops'")
            .err()
            .unwrap();
        assert!(complains.to_string().contains("oops"), "{complains}");
        let dies = fake("exit 1").err().unwrap();
        assert!(matches!(dies, VoiceError::Failed { .. }), "{dies}");
        let absurd = fake(r"printf '\001\000\000\000\377\377\377\377'; sleep 5")
            .err()
            .unwrap();
        assert!(matches!(absurd, VoiceError::Failed { .. }), "{absurd}");
        let mut hangs = fake(&format!("{READY} exec sleep 60")).unwrap();
        let error = hangs.ask("yes", Duration::from_millis(100)).unwrap_err();
        assert!(matches!(error, VoiceError::Stuck { .. }), "{error}");
        let mut gone = fake(&format!("{READY} exit 0")).unwrap();
        assert!(gone.ask("yes", Duration::from_secs(5)).is_err());
    }

    #[test]
    fn a_missing_voice_says_how_to_install_it() {
        let error = Piper::open(Path::new("no/such/folder"), None)
            .err()
            .unwrap();
        assert!(error.to_string().contains("setup/natural-voice"), "{error}");
    }
}
