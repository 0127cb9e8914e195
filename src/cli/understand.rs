//! `hear` and `understand`: what was said, and what it means.

use std::io::Write;
use std::path::{Path, PathBuf};

use sayback::grammar::{Expect, Grammar, Vocabulary};
use sayback::hearing::{Ear, Heard, RATE, read_wav};
use sayback::round::{listen_for, model_for};
use sayback::understanding::{ASK_BELOW, Context, NotUnderstood, Utterance};
use sayback::vitals::{Units, VitalSign};
use serde::Serialize;

use super::commands::{Message, finished, message, model_folder};
use super::home::read_home;
use super::show::meaning_line;
use super::{End, Meaning, Model};

/// What is needed to say what words mean.
struct Understanding {
    grammar: Grammar,
    vocabulary: Vocabulary,
    units: Units,
    pending: Vec<VitalSign>,
}

impl Understanding {
    fn new(arguments: &Meaning) -> Result<Self, Message> {
        let home = arguments.home.as_deref().map(read_home).transpose()?;
        let mut grammar = Grammar::standard();
        let mut units = if arguments.metric {
            Units::Metric
        } else {
            Units::default()
        };
        if let Some(home) = &home {
            grammar = grammar.for_home(home).map_err(message)?;
            units = home.units;
        }
        Ok(Self {
            vocabulary: grammar.vocabulary(),
            grammar,
            units,
            pending: arguments.pending.iter().map(|it| it.0).collect(),
        })
    }

    fn of(&self, heard: &Heard) -> Result<Utterance, NotUnderstood> {
        let context = Context {
            pending: &self.pending,
            last: self.pending.last().copied(),
            ..Context::at_rest(self.units, ASK_BELOW)
        };
        sayback::understanding::understand(heard, &self.vocabulary, &context)
    }
}

/// One utterance as `hear` and `understand` print it.
#[derive(Serialize)]
struct Line<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    file: Option<&'a Path>,
    text: String,
    #[serde(flatten)]
    heard: &'a Heard,
    #[serde(skip_serializing_if = "Option::is_none")]
    meaning: Option<Utterance>,
    #[serde(skip_serializing_if = "Option::is_none")]
    reason: Option<NotUnderstood>,
}

impl<'a> Line<'a> {
    fn new(
        file: Option<&'a Path>,
        heard: &'a Heard,
        meaning: Result<Utterance, NotUnderstood>,
    ) -> Self {
        let (meaning, reason) = match meaning {
            Ok(meaning) => (Some(meaning), None),
            Err(reason) => (None, Some(reason)),
        };
        Self {
            file,
            text: heard.text(),
            heard,
            meaning,
            reason,
        }
    }

    fn print(&self, json: bool) -> Result<End, Message> {
        let mut out = anstream::stdout().lock();
        let written = if json {
            writeln!(out, "{}", serde_json::to_string(self).map_err(message)?)
        } else {
            let file = self
                .file
                .map(|it| format!("{}: ", it.display()))
                .unwrap_or_default();
            let meaning = match (&self.meaning, &self.reason) {
                (Some(meaning), _) => meaning_line(meaning),
                (None, Some(reason)) => reason.to_string(),
                (None, None) => String::new(),
            };
            writeln!(out, "{file}“{}”\n    {meaning}", self.text)
        };
        finished(written)
    }
}

/// What was said in recordings, and what it means.
pub fn hear(
    files: &[PathBuf],
    meaning: &Meaning,
    model: &Model,
    expect: Expect,
    json: bool,
) -> Result<End, Message> {
    let meant = Understanding::new(meaning)?;
    let mut sounds = Vec::new();
    for file in files {
        sounds.push((file, read_wav(file).map_err(message)?));
    }
    let folder = model_folder(model)?;
    let (model, grammar) = model_for(&folder, meant.grammar.clone()).map_err(message)?;
    for (file, sound) in sounds {
        // Each file is a stream of its own, with a recogniser that has heard
        // nothing before.
        let mut ear = Ear::new(model.clone());
        listen_for(&mut ear, expect, &grammar).map_err(message)?;
        ear.expect(expect);
        let mut heard: Vec<Heard> = sound
            .chunks(RATE as usize / 10)
            .filter_map(|it| ear.accept(it))
            .collect();
        heard.extend(ear.finish());
        for heard in &heard {
            Line::new(Some(file), heard, meant.of(heard)).print(json)?;
        }
        if heard.is_empty() && !json {
            anstream::println!("{}: nothing was heard", file.display());
        }
    }
    Ok(End::Done)
}

/// What words mean.
pub fn understand(words: &str, meaning: &Meaning, json: bool) -> Result<End, Message> {
    let meant = Understanding::new(meaning)?;
    let heard = Heard::from_text(words);
    Line::new(None, &heard, meant.of(&heard)).print(json)
}
