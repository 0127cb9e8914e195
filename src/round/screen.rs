//! What is shown while a round goes on.

use std::io::Write;

use anstyle::{AnsiColor, Style};
use serde::Serialize;

use crate::dialogue::{Dialogue, State};
use crate::facts::{Body, Fact, KeptReading, Time};
use crate::hearing::{By, Heard, Level};
use crate::residents::{Home, ResidentId, Speech};
use crate::sync::LinkStatus;
use crate::vitals::{Finding, Layer, Measurement, Side, Unit, Value};

/// Whoever watches a round.
pub trait Screen {
    /// Something was heard; `addressed` is false for side talk.
    fn heard(&mut self, now: Time, heard: &Heard, addressed: bool);
    /// Something is being said.
    fn said(&mut self, now: Time, text: &str);
    /// A fact is on the disk.
    fn stored(&mut self, fact: &Fact<KeptReading>);
    /// Something about the machine, not the residents.
    fn notice(&mut self, text: &str);
    /// What was heard last may have been for Sayback, and is not asked about:
    /// [`PASSED_OVER`].
    fn passed_over(&mut self) {}
    /// What is heard of what is shown, as the home has chosen; once, at the
    /// beginning.
    fn speech(&mut self, _: Speech) {}
    /// How loud it is, many times a second.
    fn level(&mut self, _: Level) {}
    /// The conversation stands like this now.
    fn state(&mut self, _: &Dialogue, _: &State, _: Time) {}
    /// What was being said is over.
    fn said_all(&mut self) {}
    /// The microphone is lost, or is back.
    fn microphone_lost(&mut self, _: bool) {}
    /// How the record stands with its home, where it has one.
    fn link(&mut self, _: &LinkStatus, _: Time) {}
}

/// What is shown instead of asking again.
pub const PASSED_OVER: &str = "not sure that this was for me: say it again, with its name";

/// Two who watch.
pub struct Both<'a>(pub &'a mut dyn Screen, pub &'a mut dyn Screen);

impl Screen for Both<'_> {
    fn heard(&mut self, now: Time, heard: &Heard, addressed: bool) {
        self.0.heard(now, heard, addressed);
        self.1.heard(now, heard, addressed);
    }

    fn said(&mut self, now: Time, text: &str) {
        self.0.said(now, text);
        self.1.said(now, text);
    }

    fn stored(&mut self, fact: &Fact<KeptReading>) {
        self.0.stored(fact);
        self.1.stored(fact);
    }

    fn notice(&mut self, text: &str) {
        self.0.notice(text);
        self.1.notice(text);
    }

    fn passed_over(&mut self) {
        self.0.passed_over();
        self.1.passed_over();
    }

    fn speech(&mut self, speech: Speech) {
        self.0.speech(speech);
        self.1.speech(speech);
    }

    fn level(&mut self, level: Level) {
        self.0.level(level);
        self.1.level(level);
    }

    fn state(&mut self, dialogue: &Dialogue, state: &State, now: Time) {
        self.0.state(dialogue, state, now);
        self.1.state(dialogue, state, now);
    }

    fn said_all(&mut self) {
        self.0.said_all();
        self.1.said_all();
    }

    fn microphone_lost(&mut self, lost: bool) {
        self.0.microphone_lost(lost);
        self.1.microphone_lost(lost);
    }

    fn link(&mut self, status: &LinkStatus, now: Time) {
        self.0.link(status, now);
        self.1.link(status, now);
    }
}

/// Nobody watches.
pub struct Silent;

impl Screen for Silent {
    fn heard(&mut self, _: Time, _: &Heard, _: bool) {}
    fn said(&mut self, _: Time, _: &str) {}
    fn stored(&mut self, _: &Fact<KeptReading>) {}
    fn notice(&mut self, _: &str) {}
}

const PLAIN: Style = Style::new();
const DIM: Style = Style::new().dimmed();
const BOLD: Style = Style::new().bold();
const AIDE: Style = AnsiColor::Cyan.on_default();
const VOICE: Style = AnsiColor::Blue.on_default().bold();
const KEPT: Style = AnsiColor::Green.on_default().bold();
const REPORT: Style = AnsiColor::Yellow.on_default().bold().invert();

/// A round in a terminal: who speaks, what was heard, what was said back, what
/// was kept. Each line begins with a word that says which it is; colour only
/// helps.
pub struct Terminal<W> {
    out: W,
    aide: String,
    home: Home,
}

impl<W: Write> Terminal<W> {
    /// A terminal that shows a round of this aide in this home.
    pub fn new(out: W, aide: &str, home: &Home) -> Self {
        let aide = first_name(aide);
        let home = home.clone();
        Self { out, aide, home }
    }

    fn line(&mut self, left: &str, label: &str, style: Style, text: &str) {
        // A screen that is gone must not stop a round.
        let _ = writeln!(
            self.out,
            "{DIM}{left:>8}{DIM:#}  {style}{label:>9}{style:#}  {text}"
        );
    }

    fn name(&self, id: &ResidentId) -> String {
        let resident = self.home.resident(id);
        resident.map_or_else(|| id.0.clone(), |it| it.name.clone())
    }
}

/// Nothing for words without a rival: the recogniser's own certainty is no promise that
/// they were said.
fn sure(confidence: f32) -> String {
    let percent = (confidence * 100.0).floor();
    if percent < 100.0 {
        format!("{DIM}({percent:.0} % sure){DIM:#}")
    } else {
        String::new()
    }
}

impl<W: Write> Screen for Terminal<W> {
    fn heard(&mut self, now: Time, heard: &Heard, addressed: bool) {
        let time = now.format("%H:%M:%S").to_string();
        let sure = match heard.by {
            By::Voice => sure(heard.confidence()),
            By::Touch => format!("{DIM}(by hand){DIM:#}"),
        };
        let mut text = format!("“{}” {sure}", heard.text()).trim_end().to_owned();
        if !addressed {
            text = format!("{DIM}“{}” ignored: not for Sayback{DIM:#}", heard.text());
        }
        if heard.clipped {
            text.push_str(" (too loud: the sound is clipped)");
        }
        let aide = self.aide.clone();
        self.line(&time, &aide, AIDE, &text);
    }

    fn said(&mut self, _: Time, text: &str) {
        self.line("", "Sayback", VOICE, text);
    }

    fn stored(&mut self, fact: &Fact<KeptReading>) {
        // Who speaks may have changed.
        self.aide = first_name(&fact.by.name);
        match &fact.body {
            Body::Recorder => {
                let text = format!("{}, {}", fact.by.name, fact.by.title);
                self.line("", "recording", KEPT, &text);
            }
            Body::Read(reading) => {
                let record = reading.record();
                let mut text = shown(&record.measurement);
                if record.measured_at != record.spoken_at {
                    text.push_str(&record.measured_at.format(" (taken at %H:%M)").to_string());
                }
                self.line("", "kept", KEPT, &format!("{BOLD}{text}{BOLD:#}"));
            }
            Body::Flagged { finding, .. } => {
                self.line("", " REPORT ", REPORT, &crossed(finding));
            }
            Body::RuleMet { flag, .. } => {
                self.line("", " REPORT ", REPORT, &flag.say);
            }
            Body::NotTaken { signs, reason, .. } => {
                let names: Vec<&str> = signs.iter().map(|it| it.name()).collect();
                let names = if names.is_empty() {
                    "all that is due".to_owned()
                } else {
                    names.join(", ")
                };
                let text = format!("{names} not taken: {}", reason.spoken());
                self.line("", "noted", KEPT, &text);
            }
            Body::Noted { text, .. } => self.line("", "noted", KEPT, text),
            Body::Corrected { old, new, .. } => {
                let text = format!("{}, before: {}", shown(new), shown(old));
                self.line("", "changed", KEPT, &text);
            }
            Body::Retracted { reason, .. } => {
                self.line("", "retracted", KEPT, &format!("a reading, {reason}"));
            }
            Body::Withdrawn { flags, .. } => {
                self.line("", "withdrawn", KEPT, &format!("reports: {}", flags.len()));
            }
            Body::ReportedToNurse { to, .. } => {
                self.line("", "noted", KEPT, &format!("reported to {to}"));
            }
            Body::Unconfirmed { .. } => {
                self.line("", " HELD ", REPORT, "unconfirmed; not a reading");
            }
            Body::Identified { resident, .. } => {
                let name = self.name(resident);
                self.line("", "resident", KEPT, &format!("{BOLD}{name}{BOLD:#}"));
            }
            _ => {}
        }
    }

    fn notice(&mut self, text: &str) {
        self.line("", "note", PLAIN, text);
    }

    fn passed_over(&mut self) {
        self.notice(PASSED_OVER);
    }

    fn speech(&mut self, speech: Speech) {
        match speech {
            Speech::Earpiece => {}
            Speech::Room => self.notice("names are shown here and not spoken"),
            Speech::Tones => self.notice(
                "nothing is spoken: read the screen before every yes. Tones: one is kept, two \
                 rising a question, two falling not kept, three a report",
            ),
        }
    }
}

fn first_name(name: &str) -> String {
    name.split_whitespace().next().unwrap_or(name).to_owned()
}

/// A measurement as shown: "Blood pressure 152/88 mmHg · left arm · sitting".
#[must_use]
pub fn shown(it: &Measurement) -> String {
    let Shown { name, value, how } = Shown::of(it);
    let mut text = format!("{name} {value}");
    for how in how {
        text.push_str(" · ");
        text.push_str(&how);
    }
    text
}

/// The parts of a measurement as shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Shown {
    /// "Blood pressure".
    pub name: String,
    /// "152/88 mmHg".
    pub value: String,
    /// "left arm", "sitting".
    pub how: Vec<String>,
}

impl Shown {
    /// The parts of a measurement.
    #[must_use]
    pub fn of(it: &Measurement) -> Self {
        Self {
            name: crate::speaking::wording::capital(it.sign().name()),
            value: value_shown(it),
            how: it.how(),
        }
    }
}

fn value_shown(it: &Measurement) -> String {
    match it.value() {
        Value::One(quantity) if quantity.unit() == Unit::Score => {
            format!("{} of 10", quantity.value())
        }
        Value::One(quantity) => {
            format!("{} {}", quantity.value(), quantity.unit().symbol())
        }
        Value::Pressure {
            systolic,
            diastolic,
        } => format!(
            "{}/{} {}",
            systolic.value(),
            diastolic.value(),
            systolic.unit().symbol()
        ),
        Value::Palpated { systolic } => {
            format!("{}/P {}", systolic.value(), systolic.unit().symbol())
        }
        Value::Level(level) => level.spoken().to_owned(),
        Value::NotRated => "could not be rated".to_owned(),
    }
}

/// A crossed limit as shown, with who set it.
#[must_use]
pub fn crossed(it: &Finding) -> String {
    format!("{} ({})", over_limit(it), it.source)
}

/// A crossed limit as shown: "systolic 152 mmHg is above 100–150".
#[must_use]
pub fn over_limit(it: &Finding) -> String {
    let side = match it.side {
        Side::Above => "above",
        Side::Below => "below",
    };
    let bounds = it.bounds.beside(it.value);
    let layer = match it.layer {
        Layer::Unlikely => "far from the usual: ",
        Layer::Changed => "changed: ",
        Layer::OutsideRange => "",
    };
    format!(
        "{layer}{} {} {} is {side} {}–{}",
        it.name(),
        it.value.value(),
        it.value.unit().symbol(),
        bounds.low,
        bounds.high
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_shown_as_wholly_sure() {
        assert_eq!(sure(1.0), "");
        assert!(sure(0.999).contains("(99 % sure)"));
    }
}
