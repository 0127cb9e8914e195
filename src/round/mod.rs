//! A round: the dialogue joined to a record, a voice and a screen. The events
//! come from a script ([`Rehearsal`]) or a microphone ([`Live`]).

mod live;
mod mouth;
mod patience;
mod pins;
mod rehearsal;
mod screen;
mod script;
mod tutorial;

use std::collections::HashSet;

use thiserror::Error;
use uuid::Uuid;

use crate::dialogue::{Action, Dialogue, Event, Phase, State};
use crate::facts::{Record, Time};
use crate::grammar::{Expect, Grammar};
use crate::hearing::{Ear, EarError, Heard, Model, Words};
use crate::residents::Home;
use crate::speaking::{Saying, VoiceError};
use crate::store::{Store, StoreError};
use crate::understanding::NotUnderstood;

pub use live::Live;
pub use mouth::Mouth;
pub use pins::{PinError, Pins, Refused, SHORTEST_PIN};
pub use rehearsal::{Outcome, Rehearsal};
pub use screen::{Both, PASSED_OVER, Screen, Shown, Silent, Terminal, crossed, over_limit, shown};
pub use script::{Script, ScriptError};
pub use tutorial::{LESSONS, Tutorial};

/// What ends a round before its time.
#[derive(Debug, Error)]
pub enum RoundError {
    /// The record.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The recogniser.
    #[error(transparent)]
    Ear(#[from] EarError),
    /// The voice.
    #[error(transparent)]
    Voice(#[from] VoiceError),
    /// A file of the script, a device, or a file to write to.
    #[error("{0}")]
    Other(String),
}

/// What the dialogue waits for after a turn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Waiting {
    /// What is expected, or none when the round has ended.
    pub expect: Option<Expect>,
    /// Seconds of silence that are an answer.
    pub patience: Option<u32>,
    /// When the next timer of the dialogue ends.
    pub wake: Option<Time>,
    /// When the next one ends to the second.
    pub sharp: Option<Time>,
    /// Whether the dialogue wants to know when this turn's words were said.
    pub tell: bool,
    /// Whether this turn said anything, so that the wait starts anew.
    pub spoke: bool,
}

/// A dialogue under way. `say` is told what to say after it is stored.
pub struct Round<'a> {
    /// With the ranges that were set meanwhile.
    dialogue: Dialogue,
    state: State,
    store: &'a mut Store,
    /// All of the record, up to the fact at `seen`.
    record: Record,
    seen: i64,
    /// What was added here since.
    own: HashSet<Uuid>,
    /// Whether anyone else added to it since the round began.
    others: bool,
    tutorial: Option<Tutorial>,
}

impl<'a> Round<'a> {
    /// Opens a round on a record: what was pending there is said and closed.
    /// Returns what is to be said, and what is waited for.
    ///
    /// # Errors
    /// [`StoreError`] when the record cannot be read or written; without a
    /// record there is no round. What came from the home and can't be read is said
    /// and passed over.
    pub fn open(
        dialogue: &Dialogue,
        store: &'a mut Store,
        now: Time,
        screen: &mut dyn Screen,
    ) -> Result<(Self, Turn), StoreError> {
        let (mut record, mut seen) = (Record::default(), 0);
        let mut unread = 0;
        for stored in store.facts_after(0, usize::MAX)? {
            seen = stored.seq;
            match stored.fact {
                Ok(fact) => record.add(&fact),
                // Another's, most likely of a newer version.
                Err(error) if store.came(seen)? => {
                    tracing::warn!("{error}");
                    unread += 1;
                }
                Err(error) => return Err(error),
            }
        }
        if unread > 0 {
            screen.notice(&format!(
                "{unread} of the entries that came from the home can't be read by this Sayback, \
                 and are not taken into account. Is there a newer one?"
            ));
        }
        // A fresh random seed for the identifiers of this round's facts.
        let random = Uuid::new_v4().as_u64_pair().0;
        let (state, actions) = dialogue.begin(&record, random, now);
        let mut round = Self {
            dialogue: dialogue.clone(),
            state,
            store,
            record,
            seen,
            own: HashSet::new(),
            others: false,
            tutorial: None,
        };
        screen.speech(dialogue.home().bedside.speech);
        round.store(&actions, screen)?;
        screen.state(dialogue, &round.state, now);
        Ok((round, Turn::of(actions)))
    }

    /// Takes one event: what it makes is stored first, and only then said. When
    /// it cannot be stored, the dialogue goes on from where it was and says so.
    pub fn take(&mut self, event: &Event, now: Time, screen: &mut dyn Screen) -> Turn {
        if matches!(self.state.phase(), Phase::Identify(_)) {
            self.take_news();
        }
        let mut turn = self.step(event, now, screen);
        screen.state(&self.dialogue, &self.state, now);
        if matches!(event, Event::Heard(_)) && self.state.passed_over() {
            screen.passed_over();
        }
        if let Some(tutorial) = &mut self.tutorial
            && let Some(ask) = tutorial.after(&self.state, turn.say.is_some())
        {
            turn.add(&ask);
        }
        turn
    }

    /// Takes into account what others added to the record: the nurse's station here,
    /// or other recorders and the nurse through the home. Before a resident is
    /// identified, so that nothing changes under a reading.
    fn take_news(&mut self) {
        let added = match self.store.facts_after(self.seen, usize::MAX) {
            Ok(added) => added,
            Err(error) => return tracing::warn!("what others recorded is not known: {error}"),
        };
        let mut news = false;
        for stored in added {
            self.seen = stored.seq;
            let Ok(fact) = stored.fact else { continue };
            self.record.add(&fact);
            self.dialogue.take_range(&fact);
            news |= !self.own.remove(&fact.id);
        }
        if news {
            self.state.take_histories(&self.record);
        }
        self.others |= news;
        if self.others {
            self.state.take_reports(&self.record);
        }
    }

    /// Makes this a practice round, in the dialogue of [`Tutorial::dialogue`].
    /// `turn` is the one that opened it.
    pub fn practise(&mut self, tutorial: Tutorial, turn: &mut Turn) {
        turn.add(&tutorial.first());
        self.tutorial = Some(tutorial);
    }

    fn step(&mut self, event: &Event, now: Time, screen: &mut dyn Screen) -> Turn {
        let (next, actions) = self.dialogue.step(self.state.clone(), event, now);
        match self.store(&actions, screen) {
            Ok(()) => {
                self.state = next;
                Turn::of(actions)
            }
            Err(error) => {
                tracing::error!("{error}");
                screen.notice(&error.to_string());
                let event = Event::NotStored(error.to_string());
                let (next, actions) = self.dialogue.step(self.state.clone(), &event, now);
                self.state = next;
                Turn::of(actions)
            }
        }
    }

    fn store(&mut self, actions: &[Action], screen: &mut dyn Screen) -> Result<(), StoreError> {
        let facts: Vec<_> = actions
            .iter()
            .filter_map(|it| match it {
                Action::Keep(fact) => Some(fact.as_ref()),
                _ => None,
            })
            .collect();
        if !facts.is_empty() {
            self.store.append(&facts)?;
        }
        for fact in facts {
            self.own.insert(fact.id);
            screen.stored(fact);
        }
        if let Some(trouble) = self.store.sound_trouble() {
            screen.notice(&trouble);
        }
        Ok(())
    }

    /// What was heard, heard again where that is worth it, with how it sounded
    /// where the home keeps that. To be asked before the ear hears more.
    fn heard_whole(&self, heard: Heard, ear: &mut Ear<Expect>) -> Heard {
        // By the words of the first hearing, whose times are those of the stream.
        let kept = self.store.keeps_sound();
        let sound = kept.then(|| ear.sound_of(&heard)).flatten();
        let mut heard = heard_again(&self.dialogue, &self.state, ear, heard);
        heard.sound = sound;
        heard
    }

    /// Deletes kept sound that is over, now and then.
    fn let_sound_go(&mut self, now: Time) {
        self.store.let_sound_go(now);
    }

    /// Something the recorder itself has to say, as the home wants it heard.
    #[must_use]
    pub fn notice(&self, text: &str) -> Saying {
        self.dialogue.notice(&self.state, text)
    }

    /// The state of the conversation.
    #[must_use]
    pub const fn state(&self) -> &State {
        &self.state
    }

    /// As [`hear`], as the conversation stands, with how it sounded where the home keeps
    /// that.
    pub fn hear(&self, ear: &mut Ear<Expect>, samples: &[i16]) -> Option<Heard> {
        let heard = heard_first(&self.dialogue, &self.state, ear, samples)?;
        Some(self.heard_whole(heard, ear))
    }

    /// Whether an utterance means anything to the conversation as it stands, or
    /// would if it were heard surely.
    #[must_use]
    pub fn addressed(&self, event: &Event) -> bool {
        match event {
            Event::Heard(heard) => match self.dialogue.meaning(&self.state, heard) {
                Ok(_) | Err(NotUnderstood::Unsure) => true,
                Err(NotUnderstood::Nameless) => *self.state.phase() == Phase::Open,
                Err(_) => false,
            },
            _ => true,
        }
    }
}

/// What a turn leaves to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Turn {
    /// What to say.
    pub say: Option<Saying>,
    /// Whether to tick softly.
    pub click: bool,
    /// What is waited for then.
    pub waiting: Waiting,
}

impl Turn {
    /// Says this too, at the end.
    fn add(&mut self, text: &str) {
        let said = self.say.take().map(|it| it.shown);
        let both = said.map_or_else(|| text.to_owned(), |it| format!("{it} {text}"));
        self.say = Some(Saying::aloud(&both));
        self.waiting.spoke = true;
    }

    fn of(actions: Vec<Action>) -> Self {
        let mut turn = Self {
            say: None,
            waiting: Waiting {
                expect: None,
                patience: None,
                wake: None,
                sharp: None,
                tell: false,
                spoke: false,
            },
            click: false,
        };
        for action in actions {
            match action {
                Action::Say(saying) => turn.say = Some(saying),
                Action::Listen {
                    expect,
                    patience,
                    wake,
                    sharp,
                    tell,
                } => {
                    turn.waiting.expect = Some(expect);
                    turn.waiting.patience = patience;
                    turn.waiting.wake = wake;
                    turn.waiting.sharp = sharp;
                    turn.waiting.tell = tell;
                }
                Action::Click => turn.click = true,
                Action::Keep(_) | Action::End => {}
            }
        }
        turn.waiting.spoke = turn.say.is_some();
        turn
    }
}

/// Gives an ear the next samples of its stream, and gives what was said if that ended in
/// them, as a live round hears it.
pub fn hear(
    dialogue: &Dialogue,
    state: &State,
    ear: &mut Ear<Expect>,
    samples: &[i16],
) -> Option<Heard> {
    let heard = heard_first(dialogue, state, ear, samples)?;
    Some(heard_again(dialogue, state, ear, heard))
}

/// What an ear hears the first time. An utterance ends sooner where its words are all that
/// the conversation waits for, and in a pause what [`heard_again`] is likely to do after it
/// is begun.
fn heard_first(
    dialogue: &Dialogue,
    state: &State,
    ear: &mut Ear<Expect>,
    samples: &[i16],
) -> Option<Heard> {
    let pause = |words: &str| dialogue.pause_after(state, words)?.to_std().ok();
    let heard = ear.accept_until(samples, pause);
    if heard.is_none()
        && let Some(words) = ear.paused_after()
        && let Some(again) = dialogue.worth_beginning_again(state, words)
    {
        ear.begin_again(&again.name(), || dialogue.phrases_again(&again));
    }
    heard
}

/// What an ear heard last, heard again where the dialogue finds that worth it.
#[must_use]
pub fn heard_again(
    dialogue: &Dialogue,
    state: &State,
    ear: &mut Ear<Expect>,
    heard: Heard,
) -> Heard {
    // Of a reading no word may be left out; a yes or no may be alone among a television's.
    if !dialogue.is_answer(state, &heard)
        && let Some(near) = ear.nearest()
        && dialogue.is_answer(state, &near)
    {
        return near;
    }
    match dialogue.worth_hearing_again(state, &heard) {
        Some(again) => ear.hear_again(heard, &again.name(), || dialogue.phrases_again(&again)),
        None => heard,
    }
}

/// An ear with a recogniser for each state of the dialogue, in this home. Names
/// that the model does not know are not listened for.
///
/// # Errors
/// [`EarError`] when the model cannot be opened, or the grammar has a word that
/// the model does not know and that is no name.
pub fn ear_for(
    model: &std::path::Path,
    grammar: &Grammar,
    home: &Home,
) -> Result<Ear<Expect>, RoundError> {
    let grammar = grammar.clone().for_home(home);
    let grammar = grammar.map_err(|error| RoundError::Other(error.to_string()))?;
    let (model, grammar) = model_for(model, grammar)?;
    let mut ear = Ear::new(model);
    for expect in Expect::ALL {
        listen_for(&mut ear, expect, &grammar)?;
    }
    Ok(ear)
}

/// The model in a folder, made ready to listen for a grammar, and the grammar
/// without the names that the model does not know.
///
/// # Errors
/// As [`ear_for`].
pub fn model_for(folder: &std::path::Path, grammar: Grammar) -> Result<(Model, Grammar), EarError> {
    let words = Words::read(folder)?;
    let grammar = grammar.known_to(&|word| words.know(word));
    let network = grammar.network(Expect::Readings);
    Ok((Model::open_for(folder, &words, &network)?, grammar))
}

/// Makes an ear listen for one state of the dialogue. Its model is from
/// [`model_for`], with the same grammar.
///
/// # Errors
/// [`EarError`] when the model does not know a word of it.
pub fn listen_for(
    ear: &mut Ear<Expect>,
    expect: Expect,
    grammar: &Grammar,
) -> Result<(), EarError> {
    // A model holds one network. Readings gain most by one: nothing else is as long.
    match expect {
        Expect::Readings => ear.set_network(expect),
        _ => ear.set_phrases(expect, &grammar.phrases(expect)),
    }
}
