//! The script of a rehearsal: one line for each thing that happens.
//!
//! ```text
//! home demo-home.toml              the home's file, beside the script
//! aide Dana Whitlock               who records; the first aide when left out
//! at 2026-03-02T07:30:00-05:00     when it begins
//! wav room-nine.wav                the aide speaks, from a recording
//! text pulse seventy two           the aide speaks, given as text
//! silence                          nobody speaks
//! expect Pulse seven two           the last answer must contain this
//! wait 20                          minutes pass
//! wait 30 seconds                  seconds pass
//! ```

use std::path::{Path, PathBuf};

use chrono::Duration;
use thiserror::Error;

use crate::facts::Time;

/// What is wrong with a script.
#[derive(Debug, Error)]
pub enum ScriptError {
    /// The file cannot be read.
    #[error("cannot read the script {}: {problem}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        problem: String,
    },
    /// A line that is no line of a script.
    #[error("{}, line {line}: {problem}", path.display())]
    Line {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: usize,
        /// What is wrong, and what would be right.
        problem: String,
    },
}

/// One thing that happens.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Step {
    Wav(PathBuf),
    Text(String),
    Silence,
    Expect(String),
    Wait(Duration),
}

/// A script.
#[derive(Debug, Clone, PartialEq)]
pub struct Script {
    /// The home's file.
    pub home: PathBuf,
    /// Who records, by name.
    pub aide: Option<String>,
    /// When it begins.
    pub at: Option<Time>,
    pub(super) steps: Vec<(usize, Step)>,
    /// The script's own file.
    pub path: PathBuf,
}

impl Script {
    /// Whether the script has recordings, so that an ear is needed.
    #[must_use]
    pub fn has_sound(&self) -> bool {
        self.steps.iter().any(|(_, it)| matches!(it, Step::Wav(_)))
    }

    /// Reads a script; files it names are beside it.
    ///
    /// # Errors
    /// [`ScriptError`] names the line and what would be right.
    pub fn read(path: &Path) -> Result<Self, ScriptError> {
        let text = std::fs::read_to_string(path).map_err(|error| ScriptError::Unreadable {
            path: path.to_owned(),
            problem: error.to_string(),
        })?;
        Self::parse(path, &text)
    }

    /// As [`Script::read`], from text that is already there.
    ///
    /// # Errors
    /// [`ScriptError`] names the line and what would be right.
    pub fn parse(path: &Path, text: &str) -> Result<Self, ScriptError> {
        let beside = |name: &str| path.parent().unwrap_or(Path::new("")).join(name);
        let mut home = None;
        let mut script = Self {
            home: PathBuf::new(),
            aide: None,
            at: None,
            steps: Vec::new(),
            path: path.to_owned(),
        };
        for (index, line) in text.lines().enumerate() {
            let wrong = |problem: String| ScriptError::Line {
                path: path.to_owned(),
                line: index + 1,
                problem,
            };
            let line = line.trim();
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            let (word, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
            let rest = rest.trim();
            if rest.is_empty() != (word == "silence") {
                let needs = if word == "silence" {
                    "stands alone"
                } else {
                    "needs something after it"
                };
                return Err(wrong(format!("\"{word}\" {needs}")));
            }
            let step = match word {
                "home" => {
                    home = Some(beside(rest));
                    continue;
                }
                "aide" => {
                    script.aide = Some(rest.to_owned());
                    continue;
                }
                "at" => {
                    let time = Time::parse_from_rfc3339(rest).map_err(|error| {
                        wrong(format!(
                            "{error}; expected a time like 2026-03-02T07:30:00-05:00"
                        ))
                    })?;
                    script.at = Some(time);
                    continue;
                }
                "wav" => Step::Wav(beside(rest)),
                "text" => Step::Text(rest.to_owned()),
                "silence" => Step::Silence,
                "expect" => Step::Expect(rest.to_owned()),
                "wait" => {
                    let (number, unit): (&str, fn(i64) -> Duration) = rest
                        .strip_suffix(" seconds")
                        .map_or((rest, Duration::minutes), |it| (it, Duration::seconds));
                    let number: u32 = number.parse().map_err(|_| {
                        wrong(format!(
                            "\"{rest}\" is not a number of minutes, nor one of \"seconds\""
                        ))
                    })?;
                    Step::Wait(unit(i64::from(number)))
                }
                other => {
                    return Err(wrong(format!(
                        "\"{other}\" is not known; expected home, aide, at, wav, text, silence, expect or wait"
                    )));
                }
            };
            script.steps.push((index + 1, step));
        }
        script.home = home.ok_or_else(|| ScriptError::Line {
            path: path.to_owned(),
            line: 1,
            problem: "the script names no home; expected a line \"home FILE\"".to_owned(),
        })?;
        Ok(script)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Result<Script, ScriptError> {
        Script::parse(Path::new("folder/a.script"), text)
    }

    #[test]
    fn files_are_beside_the_script() {
        let script = parse("home h.toml\n\n# words\nwav a.wav\nsilence\nwait 5").unwrap();
        assert_eq!(script.home, Path::new("folder/h.toml"));
        assert_eq!(script.steps[0], (4, Step::Wav("folder/a.wav".into())));
        assert_eq!(script.steps.len(), 3);
    }

    #[test]
    fn a_wrong_line_is_named() {
        for (text, line) in [
            ("text yes", 1),
            ("home h.toml\nspeak yes", 2),
            ("home h.toml\nat noon", 2),
            ("home h.toml\nwait long", 2),
            ("home h.toml\nwav", 2),
            ("home h.toml\nsilence please", 2),
        ] {
            match parse(text) {
                Err(ScriptError::Line { line: found, .. }) => assert_eq!(found, line, "{text}"),
                other => panic!("{text}: {other:?}"),
            }
        }
    }
}
