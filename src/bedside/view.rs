//! What the bedside screen shows: a plain value made from the state of the
//! conversation. Pure; the time comes in.

use chrono::{Datelike as _, NaiveDate};
use serde::Serialize;
use uuid::Uuid;

use super::choices::{
    Choice, beds, kinds, nth, nurses, one_sign, reasons, recorders, rooms, why_not,
};
use crate::dialogue::{Dialogue, Phase, Question, State};
use crate::facts::{Body, Fact, KeptReading, Raised, ReadBack, Time};
use crate::hearing::By;
use crate::residents::{Resident, ResidentId, Speech};
use crate::round::{Shown, over_limit};
use crate::speaking::wording;
use crate::vitals::rules::Step;
use crate::vitals::{Source, shown_source};

/// Everything on the screen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct View {
    /// When it was so.
    pub at: Time,
    /// The home.
    pub home: String,
    /// Who records; none while nobody is signed on.
    pub aide: Option<String>,
    /// What Sayback does just now.
    pub doing: Doing,
    /// The resident being recorded.
    pub resident: Option<Person>,
    /// What waits for an answer.
    pub waiting: Option<Waiting>,
    /// The number of what waits, which an answer brings back.
    pub asked: u64,
    /// What was heard last.
    pub heard: Option<HeardLine>,
    /// What was said last.
    pub said: Option<String>,
    /// What is kept of this resident in this round, the newest first.
    pub kept: Vec<Kept>,
    /// What is due here.
    pub due: Vec<String>,
    /// Reports that no nurse has yet, this resident's first.
    pub reports: Vec<Report>,
    /// What runs down.
    pub timers: Vec<Timer>,
    /// Whose record readings were kept in by mistake, until it is known whose
    /// they are.
    pub moving_from: Option<String>,
    /// What is heard of what is shown.
    pub speech: Speech,
    /// For how many days the sound of confirmed readings is kept, where it is.
    pub sound_days: Option<u16>,
    /// Something about the machine.
    pub notice: Option<String>,
    /// How the record stands with its home, where it has one.
    pub link: Option<String>,
    /// The rooms there are.
    pub rooms: Vec<Choice>,
    /// The nurses one can have reported to.
    pub nurses: Vec<Choice>,
}

/// What Sayback does just now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Doing {
    /// It hears.
    Listening,
    /// It speaks, and hears nothing meanwhile.
    Saying,
    /// It hears nothing but "start listening".
    Asleep,
    /// There is no microphone just now.
    MicrophoneLost,
    /// Nobody is signed on.
    NobodySignedOn,
    /// The round is over.
    Ended,
}

/// A resident as shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Person {
    /// Name: the first identifier.
    pub name: String,
    /// "Room 4, bed 2".
    pub place: String,
    /// Birth date in full: the second identifier.
    pub born: String,
}

/// Something that waits for an answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Waiting {
    /// What kind of answer.
    pub kind: Kind,
    /// The question in short.
    pub question: String,
    /// A person to be identified.
    pub person: Option<Person>,
    /// Readings.
    pub readings: Vec<Shown>,
    /// What is kept now, where it is to be changed, without what stays as it is.
    pub was: Option<Shown>,
    /// Something else that was read back, in words.
    pub words: Option<String>,
    /// Answers to choose from.
    pub choices: Vec<Choice>,
}

/// What kind of answer is waited for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A yes or no to a resident.
    Who,
    /// A yes, a no or another value.
    Keep,
    /// The same, for a value far from the usual.
    KeepUnlikely,
    /// A yes or no to something noted: not taken, or reported.
    Note,
    /// A yes or no to a change of what is kept.
    Change,
    /// One of the choices, or words.
    Question,
}

impl Kind {
    /// Whether yes and no are answers.
    #[must_use]
    pub const fn is_yes_or_no(self) -> bool {
        !matches!(self, Self::Question)
    }
}

/// What was heard.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeardLine {
    /// The words.
    pub text: String,
    /// Spoken or typed.
    pub by: By,
    /// Whether it was for Sayback.
    pub addressed: bool,
}

/// A reading that was kept.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Kept {
    /// The fact.
    pub id: Uuid,
    /// Of whom.
    pub resident: ResidentId,
    /// What.
    pub reading: Shown,
    /// When it was measured.
    pub measured_at: Time,
    /// What it raised and still holds: outside of a limit, or a rule that is met.
    pub flags: Vec<Uuid>,
    /// Whether it was changed after it was kept.
    pub changed: bool,
}

/// A report that is open.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// Name of the resident.
    pub who: String,
    /// What to report.
    pub what: String,
    /// Who or what set the limit: "limit set by Ines Marlow on Feb 12".
    pub limit: String,
    /// Since when.
    pub since: Time,
    /// Whether it is of the resident being recorded.
    pub here: bool,
    /// How often it was said again, with growing insistence.
    pub said_again: u32,
}

/// Something that runs down.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Timer {
    /// What it is for.
    pub name: String,
    /// When it is over; none until it has begun.
    pub until: Option<Time>,
    /// Whether somebody counts, and is not to be disturbed.
    pub count: bool,
}

impl View {
    /// The conversation as it stands. What is around it (heard, said, kept, the
    /// microphone) is left empty.
    #[must_use]
    pub fn of(dialogue: &Dialogue, state: &State, now: Time) -> Self {
        let home = dialogue.home();
        let resident = state.resident().and_then(|id| home.resident(id));
        let due = dialogue.due(state, now);
        Self {
            at: now,
            home: home.name.clone(),
            aide: state.recorder().map(|it| it.name.clone()),
            doing: match (state.ended(), state.asleep()) {
                (true, _) => Doing::Ended,
                _ if state.signed_on().is_empty() => Doing::NobodySignedOn,
                (_, true) => Doing::Asleep,
                _ => Doing::Listening,
            },
            resident: resident.map(Person::of),
            waiting: waiting(dialogue, state),
            asked: state.asked(),
            heard: None,
            said: None,
            kept: Vec::new(),
            due: due.iter().map(|it| it.name().to_owned()).collect(),
            reports: reports(dialogue, state),
            timers: timers(state),
            moving_from: state.moving_from().map(|it| name_of(dialogue, it)),
            speech: home.bedside.speech,
            sound_days: home.kept_sound.map(|it| it.days),
            notice: None,
            link: None,
            rooms: rooms(dialogue),
            nurses: nurses(dialogue),
        }
    }
}

impl Person {
    fn of(it: &Resident) -> Self {
        // A bed and its number are not to be broken over two lines.
        let bed = it.bed.as_ref().map(|bed| format!(", bed\u{a0}{bed}"));
        Self {
            name: it.name.clone(),
            place: format!("Room\u{a0}{}{}", it.room, bed.unwrap_or_default()),
            born: it.birth_date.format("%B %-d, %Y").to_string(),
        }
    }
}

fn waiting(dialogue: &Dialogue, state: &State) -> Option<Waiting> {
    let ask = |kind, question: &str| Waiting {
        kind,
        question: question.to_owned(),
        person: None,
        readings: Vec::new(),
        was: None,
        words: None,
        choices: Vec::new(),
    };
    let vocabulary = dialogue.vocabulary();
    // Who records comes before everything else.
    if state.recorder_offered() {
        return Some(note(ask(Kind::Note, "Who is recording?"), state));
    }
    if state.recorder().is_none() {
        let waiting = Waiting {
            choices: recorders(dialogue, state.signed_on()),
            ..ask(Kind::Question, "Who is recording?")
        };
        return (!waiting.choices.is_empty()).then_some(waiting);
    }
    Some(match state.phase() {
        Phase::Place | Phase::Open => return None,
        Phase::WhichBed(room) => Waiting {
            choices: beds(dialogue, room),
            ..ask(Kind::Question, state.question().unwrap_or("Which bed?"))
        },
        Phase::Identify(id) => Waiting {
            person: dialogue.home().resident(id).map(Person::of),
            ..ask(Kind::Who, "Right resident? Check the wristband.")
        },
        Phase::Confirming(offer) => {
            let readings = read_back(&offer.read_back);
            let (kind, question) = if offer.second_look {
                (Kind::KeepUnlikely, keep_unlikely(&readings))
            } else {
                (Kind::Keep, "Keep this?".to_owned())
            };
            Waiting {
                readings,
                ..ask(kind, &question)
            }
        }
        Phase::WhichKept(_) => {
            let of = one_sign(state.in_doubt()).map_or("of these", |it| it.name());
            Waiting {
                choices: nth(state.in_doubt()),
                ..ask(Kind::Question, &format!("Which {of}?"))
            }
        }
        Phase::ConfirmChange(change) => {
            let (kind, question) = match (change.to(), change.second_look()) {
                (Some(_), true) => (
                    Kind::KeepUnlikely,
                    "Far from the usual. Change it to this? Otherwise look again.",
                ),
                (Some(_), false) => (Kind::Change, "Change it to this?"),
                (None, _) => (Kind::Change, "Take this back?"),
            };
            let mut was = Shown::of(change.was());
            let Some(to) = change.to().map(Shown::of) else {
                return Some(Waiting {
                    readings: vec![was],
                    ..ask(kind, question)
                });
            };
            was.how.retain(|it| !to.how.contains(it));
            Waiting {
                was: Some(was),
                readings: vec![to],
                ..ask(kind, question)
            }
        }
        Phase::ConfirmMove(it) => {
            let name = |id| name_of(dialogue, id);
            let (from, to) = (name(it.from()), name(it.read_back().resident()));
            let question = format!("Move from {from} to {to}?");
            Waiting {
                readings: read_back(it.read_back()),
                ..ask(Kind::Change, &question)
            }
        }
        Phase::ConfirmNotTaken(..)
        | Phase::ConfirmRemark(_)
        | Phase::ConfirmReport { .. }
        | Phase::ConfirmSkip(_) => note(ask(Kind::Note, "Note this?"), state),
        Phase::WhySkip(_) => Waiting {
            choices: why_not(vocabulary),
            ..ask(Kind::Question, state.question().unwrap_or_default())
        },
        Phase::Asking(question) => Waiting {
            readings: state.unfinished().map(Shown::of).collect(),
            choices: match question {
                Question::Qualifier(_, kind) => kinds(vocabulary, *kind),
                Question::GoOn(..) => reasons(vocabulary),
                Question::Value(_) | Question::Correction { .. } => Vec::new(),
            },
            ..ask(Kind::Question, state.question().unwrap_or_default())
        },
    })
}

/// Asks so that a yes can mean one thing only.
fn keep_unlikely(readings: &[Shown]) -> String {
    let what = match readings {
        [one] => match one.value.split_once(' ') {
            Some((number, _)) if number.contains(|it: char| it.is_ascii_digit()) => number,
            _ => &one.value,
        },
        _ => return "Far from the usual. Keep these as they are? Otherwise measure again.".into(),
    };
    format!("Far from the usual. Keep {what} as it is? Otherwise measure again.")
}

/// The readings that were read back, each with what was read back beside it.
fn read_back(it: &ReadBack) -> Vec<Shown> {
    let readings = it.measurements();
    let each = readings.iter().zip(it.beside());
    let shown = each.map(|(it, beside)| {
        let mut shown = Shown::of(it);
        shown.how.extend(Some(beside).filter(|it| !it.is_empty()));
        shown
    });
    shown.collect()
}

/// What was read back in words, for a yes or no.
fn note(waiting: Waiting, state: &State) -> Waiting {
    let words = state.question().unwrap_or_default();
    let words = Some(words.trim_end_matches(" Yes?").to_owned());
    Waiting { words, ..waiting }
}

/// A resident's name, or the identifier of one who has left the home's file.
fn name_of(dialogue: &Dialogue, id: &ResidentId) -> String {
    let found = dialogue.home().resident(id);
    found.map_or_else(|| id.0.clone(), |it| it.name.clone())
}

fn reports(dialogue: &Dialogue, state: &State) -> Vec<Report> {
    let report = |it: &crate::facts::OpenReport| {
        let (what, source) = match &it.raised {
            // A range is not torn at the end of a line: word joiners hold its dash.
            Raised::Limit(finding) => {
                let what = over_limit(finding).replace('\u{2013}', "\u{2060}\u{2013}\u{2060}");
                (what, &finding.source)
            }
            Raised::Rule(flag) => (flag.say.clone(), &flag.source),
        };
        Report {
            who: name_of(dialogue, &it.resident),
            what: wording::capital(&what),
            limit: limit(source, it.since),
            since: it.since,
            here: state.resident() == Some(&it.resident),
            said_again: state.insisted(it),
        }
    };
    let mut reports: Vec<Report> = state.open_reports().iter().map(report).collect();
    reports.sort_by_key(|it| !it.here);
    reports
}

fn limit(source: &Source, since: Time) -> String {
    let day = |on: &NaiveDate| {
        let year = if on.year() == since.year() {
            ""
        } else {
            ", %Y"
        };
        // Not to be broken over two lines.
        let day = on.format(&format!("%b %-d{year}")).to_string();
        day.replace(' ', "\u{a0}")
    };
    match source {
        Source::Nurse { name, on } => format!("limit set by {name} on {}", day(on)),
        Source::Home { policy, on } => format!("limit by {policy} of {}", day(on)),
        Source::Default(_) => format!("limit: {}", shown_source(source)),
    }
}

fn timers(state: &State) -> Vec<Timer> {
    let guided = state.guided().map(|it| (it.step(), it.say()));
    let guided = match guided {
        Some((Step::Wait { until, .. }, say)) => Some(Timer {
            name: say.to_owned(),
            until: Some(until),
            count: false,
        }),
        _ => None,
    };
    let running = state.running().map(|it| Timer {
        name: wording::capital(&it.name),
        until: it.until,
        count: it.count,
    });
    let mut timers: Vec<Timer> = running.chain(guided).collect();
    timers.sort_by_key(|it| (!it.count, it.until));
    timers
}

fn find(kept: &mut [Kept], id: Uuid) -> Option<&mut Kept> {
    kept.iter_mut().find(|it| it.id == id)
}

/// Takes a stored fact into what was kept in this round.
pub(super) fn take_in(kept: &mut Vec<Kept>, fact: &Fact<KeptReading>) {
    match &fact.body {
        Body::Read(reading) => {
            let record = reading.record();
            let reading = Kept {
                id: fact.id,
                resident: record.resident.clone(),
                reading: Shown::of(&record.measurement),
                measured_at: record.measured_at,
                flags: Vec::new(),
                changed: false,
            };
            kept.insert(0, reading);
        }
        Body::Corrected { reading, new, .. } => {
            if let Some(it) = find(kept, *reading) {
                it.reading = Shown::of(new);
                it.changed = true;
            }
        }
        Body::Flagged { reading, .. } | Body::RuleMet { reading, .. } => {
            if let Some(it) = find(kept, *reading) {
                it.flags.push(fact.id);
            }
        }
        Body::Withdrawn { flags, .. } => {
            for it in kept.iter_mut() {
                it.flags.retain(|it| !flags.contains(it));
            }
        }
        Body::Retracted { reading, .. } => kept.retain(|it| it.id != *reading),
        _ => {}
    }
}

#[cfg(test)]
mod tests;
