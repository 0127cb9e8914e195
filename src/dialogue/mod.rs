//! The conversation: a state machine, `(state, event, now) -> (state, actions)`.
//!
//! Pure: the time comes in as a value, identifiers come from a seed, and what
//! is to be said, stored or listened for goes out as [`Action`]s. Whole rounds
//! are tested as scripts.

mod again;
mod asking;
mod care;
mod change;
mod confirm;
mod felt;
mod how;
mod insist;
mod instead;
mod judge;
mod kept;
mod later;
mod leaving;
mod moved;
mod news;
mod order;
mod orthostatic;
mod part;
mod pause;
mod place;
mod privacy;
mod rate;
mod readings;
mod recheck;
mod rejudge;
mod report;
mod restraint;
mod retaken;
mod seen;
mod sound;
mod staff;
mod state;
mod stopped;
mod time;
mod timers;
mod touch;
mod tries;
mod turn;

use chrono::TimeDelta;

use crate::facts::{Body, Fact, KeptReading, Record, Time};
use crate::grammar::{Command, Expect, Grammar, GrammarError, Vocabulary};
use crate::hearing::Heard;
use crate::residents::{Home, Offsets, Speech, Staff};
use crate::speaking::Saying;
use crate::understanding::{ASK_BELOW, Context, NotUnderstood, Utterance, understand};

pub use again::Again;
pub(crate) use care::against;
pub use change::{Change, Doubt};
pub use felt::Remark;
pub use moved::Move;
pub use seen::Running;
pub use state::{Offer, Phase, Question, State};
pub use touch::{STALE, Touched};

use turn::Turn;

/// What happens to the conversation.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// Words were heard.
    Heard(Heard),
    /// Nothing was heard for as long as the last [`Action::Listen`] allowed.
    Silence,
    /// The time of the last [`Action::Listen`]'s `wake` or `sharp` has come.
    Tick,
    /// Words were given by hand, on a screen that showed what waits.
    Touched(Touched),
    /// What was said last left the loudspeaker, from its first sound to its last;
    /// where [`Action::Listen`] wants to be told.
    Said {
        /// When the first word began.
        began: Time,
        /// When the last word ended.
        ended: Time,
    },
    /// What was said last was not heard, although that was to be told.
    NotSaid,
    /// Someone signed on at the screen, with a PIN.
    SignedOn(Staff),
    /// Someone signed off.
    SignedOff(Staff),
    /// The facts of the last step could not be stored; the text says why. The
    /// state is the one before that step.
    NotStored(String),
}

/// What the conversation wants done, in this order.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Store this, durably, before anything after it is said.
    Keep(Box<Fact<KeptReading>>),
    /// Tick softly.
    Click,
    /// Show this and say of it what is to be heard, and hear nothing meanwhile.
    Say(Saying),
    /// Listen for this; `patience` is how many seconds of silence are an answer
    /// too, counted from the end of what was said.
    Listen {
        /// What is expected.
        expect: Expect,
        /// Seconds, or none for as long as it takes.
        patience: Option<u32>,
        /// When to send [`Event::Tick`], if a timer runs; it waits for who is
        /// speaking.
        wake: Option<Time>,
        /// When to send [`Event::Tick`] to the second, whoever speaks.
        sharp: Option<Time>,
        /// Whether to send [`Event::Said`] or [`Event::NotSaid`] about what was
        /// said.
        tell: bool,
    },
    /// The round is over.
    End,
}

/// Seconds of silence after a question before it is asked again.
pub const PATIENCE: u32 = 8;

/// A yes is meant for what was given up no longer ago; after that it is talk. Common
/// practice, no source.
const LATE: TimeDelta = TimeDelta::minutes(1);

/// What stays the same for a whole round.
#[derive(Debug, Clone)]
pub struct Dialogue {
    home: Home,
    signed_on: Vec<Staff>,
    grammar: Grammar,
    vocabulary: Vocabulary,
    ask_below: f32,
    offsets: Option<Offsets>,
}

impl Dialogue {
    /// A dialogue for a home, with one aide recording.
    ///
    /// # Errors
    /// [`GrammarError`] when the home's names do not fit the grammar.
    pub fn new(home: Home, aide: Staff, grammar: &Grammar) -> Result<Self, GrammarError> {
        Self::for_staff(home, vec![aide], grammar)
    }

    /// A dialogue for a home, with these staff signed on when a round begins.
    /// One alone records at once; of several, or with nobody, nothing is taken
    /// before it is known who records.
    ///
    /// # Errors
    /// As [`new`](Self::new).
    pub fn for_staff(
        home: Home,
        signed_on: Vec<Staff>,
        grammar: &Grammar,
    ) -> Result<Self, GrammarError> {
        let grammar = grammar.clone().for_home(&home)?;
        let vocabulary = grammar.vocabulary();
        Ok(Self {
            home,
            signed_on,
            grammar,
            vocabulary,
            ask_below: ASK_BELOW,
            offsets: None,
        })
    }

    /// Goes by the clock of this place, where clocks are changed; otherwise the offset of
    /// now holds always.
    pub fn set_offsets(&mut self, offsets: Offsets) {
        self.offsets = Some(offsets);
    }

    /// The home.
    #[must_use]
    pub const fn home(&self) -> &Home {
        &self.home
    }

    /// The words that are understood, the home's own among them.
    #[must_use]
    pub const fn vocabulary(&self) -> &Vocabulary {
        &self.vocabulary
    }

    /// Who is signed on when a round begins.
    #[must_use]
    pub fn staff(&self) -> &[Staff] {
        &self.signed_on
    }

    /// Begins a round. `record` is what the store held: what was pending when
    /// the program stopped is said and closed, and open reports stay open.
    /// `seed` makes the identifiers of this round's facts: take it from the
    /// system's random source.
    #[must_use]
    pub fn begin(&self, record: &Record, seed: u64, now: Time) -> (State, Vec<Action>) {
        let state = State::new(seed, record, self.signed_on.clone(), now);
        let mut turn = Turn::new(self, state, now);
        if turn.state.staff.is_known() {
            turn.open_round();
        } else {
            turn.say(&format!("{}.", self.home.name));
            turn.ask_who();
        }
        turn.finish()
    }

    /// Takes one event.
    #[must_use]
    pub fn step(&self, state: State, event: &Event, now: Time) -> (State, Vec<Action>) {
        let mut turn = Turn::new(self, state, now);
        match event {
            Event::Heard(heard) => self.heard(&mut turn, heard),
            Event::Touched(touched) => self.touched(&mut turn, touched),
            Event::Silence => turn.silence(),
            Event::Tick => {
                turn.tick();
                turn.tick_timers();
                turn.notice_absence();
            }
            Event::Said { began, ended } => turn.said(*began, *ended),
            Event::NotSaid => turn.not_said(),
            Event::SignedOn(_) | Event::SignedOff(_) => turn.signed(event),
            Event::NotStored(why) => {
                turn.refuse(&format!("That could not be stored: {why}. It is not kept."));
                turn.ask_again();
            }
        }
        turn.finish()
    }

    /// What an utterance means in this state; for showing and for `hear`.
    ///
    /// # Errors
    /// As [`understand`].
    pub fn meaning(&self, state: &State, heard: &Heard) -> Result<Utterance, NotUnderstood> {
        self.meaning_if_sure(state, heard, self.ask_below)
    }

    /// Whether this is a yes or no, heard surely, where one is waited for.
    #[must_use]
    pub fn is_answer(&self, state: &State, heard: &Heard) -> bool {
        state.expect() == Expect::Confirm
            && matches!(
                self.meaning(state, heard),
                Ok(Utterance::Yes(_) | Utterance::No)
            )
    }

    fn meaning_if_sure(
        &self,
        state: &State,
        heard: &Heard,
        ask_below: f32,
    ) -> Result<Utterance, NotUnderstood> {
        let pending = state.pending_signs();
        let (manners, kept) = (state.manners(), state.manners_kept());
        let context = Context {
            units: self.home.units,
            pending: &pending,
            last: state.said_last(),
            precautions: state
                .resident()
                .and_then(|id| self.home.resident(id))
                .map(|it| &it.care.precautions),
            ask_below,
            manners: &manners,
            kept: &kept,
        };
        let found = understand(heard, &self.vocabulary, &context);
        if found == Err(NotUnderstood::SideTalk) && state.takes_position() {
            return self
                .position(heard, &context)
                .ok_or(NotUnderstood::SideTalk);
        }
        found
    }

    /// Whether words that were not heard surely are asked for again although
    /// nothing was asked: an aide who said "room nine" or "reported to" would
    /// otherwise wait in silence. A yes or no to nothing is side talk.
    fn worth_asking(&self, turn: &Turn<'_>, heard: &Heard) -> bool {
        let meaning = self.meaning_if_sure(&turn.state, heard, 0.0);
        !turn.state.asleep && !matches!(meaning, Ok(Utterance::Yes(_) | Utterance::No))
    }

    fn heard(&self, turn: &mut Turn<'_>, heard: &Heard) {
        let mut meaning = self.meaning(&turn.state, heard);
        if meaning == Err(NotUnderstood::SideTalk) && turn.may_be_an_answer(heard) {
            meaning = Err(NotUnderstood::Unsure);
        }
        if let Ok(utterance) = &mut meaning {
            turn.doubt_pieces(heard, utterance);
        }
        let counted = meaning.as_ref().is_ok_and(|it| turn.is_counted_aloud(it));
        if !counted && !turn.answers(heard, &meaning) {
            return;
        }
        let utterance = match meaning {
            // Whoever counts aloud is not to be disturbed.
            Ok(_) if counted => return,
            Ok(utterance) => utterance,
            Err(_) if turn.counting() => return,
            Err(NotUnderstood::Unsure) if turn.waiting() || self.worth_asking(turn, heard) => {
                turn.refuse("Please say that again.");
                return turn.keep_last_said();
            }
            Err(NotUnderstood::Nameless)
                if *turn.state.phase() == Phase::Open && turn.state.staff.is_known() =>
            {
                turn.refuse("Of what? Say the name and the value.");
                return turn.keep_last_said();
            }
            Err(NotUnderstood::SideTalk) if turn.is_late_how(heard) => {
                turn.refuse(
                    "That is kept already. To change how it was taken, say that was, and how.",
                );
                return turn.keep_last_said();
            }
            // Side talk and noise change nothing: not even the count of silences.
            Err(_) => return,
        };
        if turn.state.asleep {
            if utterance == Utterance::Command(Command::StartListening) {
                turn.state.asleep = false;
                turn.say("Listening.");
                turn.notice_absence();
                if turn.waiting() {
                    turn.ask_again();
                } else if !turn.state.staff.is_known() {
                    turn.ask_who();
                } else if let Some(resident) = turn.resident() {
                    // Never what was said last: "Kept" would be of what was not heard.
                    turn.say(&format!("Ready for {}.", resident.name));
                } else {
                    turn.say("Which room?");
                }
            }
            return;
        }
        turn.state.silences = 0;
        let given_up = turn.state.given_up.take();
        let late = given_up.is_some_and(|it| turn.now - it <= LATE);
        turn.notice_absence();
        if turn.state.staff.is_known() {
            turn.heard_now();
        }
        if turn.who_first(&utterance) {
            return turn.heard_now();
        }
        let utterance = match utterance {
            Utterance::Instead(what) => match turn.instead(*what) {
                Some(what) => what,
                None => return,
            },
            other => other,
        };
        let felt = self.felt_beside(heard, &utterance);
        match utterance {
            Utterance::Command(command) => turn.command(command),
            Utterance::Order(order) => turn.order(order, heard),
            Utterance::Place(place) => turn.place(&place),
            Utterance::Called { phrase, alone } => turn.called(&phrase, alone),
            // Answered before anything else.
            Utterance::ThisIs(_) | Utterance::Instead(_) => {}
            Utterance::Skip(reason) => turn.skip(Some(reason)),
            // Unanswered, it would be taken for kept.
            Utterance::Yes(_) if late && *turn.state.phase() == Phase::Open => {
                turn.refuse("That came too late: it is not kept. Say it again to keep it.");
            }
            Utterance::Yes(yes) => turn.yes(&yes),
            Utterance::No => turn.no(),
            Utterance::Readings {
                yes,
                no,
                claims,
                unclear,
            } => turn.readings(yes.as_ref(), no, claims, unclear),
            Utterance::Part(part) => turn.part(*part),
            Utterance::NotTaken { signs, reason } => turn.not_taken(signs, reason),
            Utterance::Reported { to } => turn.reported(to.as_deref()),
            Utterance::LastValue(sign) => turn.last_value(sign),
            Utterance::Did(activity, minutes) => turn.did(activity, minutes),
            Utterance::Reason(reason) => turn.reason(reason),
            Utterance::Felt(felt) => turn.felt(felt),
        }
        if let Some(felt) = felt {
            turn.felt(felt);
        }
    }
}

impl Turn<'_> {
    fn open_round(&mut self) {
        let stopped = self.state.unopened.take().unwrap_or_default();
        let home = self.dialogue.home.name.clone();
        self.keep(Body::RoundOpened { home: home.clone() });
        let by = self.state.staff.by();
        self.say(&format!("{home}. {} recording.", by.name));
        self.say_sound_is_kept();
        if self.dialogue.home.bedside.speech == Speech::Tones {
            self.say("Nothing is spoken here: read the screen before every yes.");
        }
        for pending in stopped {
            self.say_stopped(pending);
        }
        self.say_open_reports();
        self.say("Which room?");
    }

    fn command(&mut self, command: Command) {
        match command {
            Command::Repeat if self.counting() && !self.waiting() => {
                self.say("A count is running.");
                self.keep_last_said();
            }
            Command::Repeat | Command::StartListening => self.ask_again(),
            Command::Scratch => self.scratch(),
            Command::Orthostatic => self.start_orthostatic(),
            Command::Stop => self.stop(),
            Command::WrongResident => self.wrong_resident(),
            Command::CancelCount => self.cancel_count(),
            Command::CancelTimer => self.cancel_timers(),
            Command::Missing => self.say_missing(),
            Command::Done => self.done(),
            Command::Help => self.help(),
            Command::EndRound => self.end_round(),
            Command::Next => self.next(),
            Command::Back => self.back(),
            Command::Skip => self.skip(None),
            Command::Later => self.later(),
            Command::WhoIsLeft => self.who_is_left(),
            Command::Lead => self.lead(),
            Command::StopListening => {
                self.state.asleep = true;
                if self.counting() {
                    self.cancel_count();
                }
                self.say("Not listening. Say start listening when you need me.");
                self.keep_last_said();
            }
        }
    }

    fn help(&mut self) {
        self.say(match self.state.phase {
            Phase::Place | Phase::Identify(_) => {
                "Say room and its number, or the resident's name, or next. Then yes when the name is right."
            }
            Phase::Confirming(_) => {
                "Say yes to keep it, no to change it, the right value to replace it, or scratch that."
            }
            Phase::Asking(Question::GoOn(..)) => {
                "Say because the nurse said so, because the care plan allows it, because there is no other way, or because the resident asked. Or say what you measured another way, or scratch that."
            }
            Phase::Asking(_) => {
                "Answer the question, say the whole reading again, or say scratch that to drop it."
            }
            Phase::ConfirmChange(_) | Phase::ConfirmMove(_) => {
                "Say yes to change what is kept, or no to leave it as it is."
            }
            _ => {
                "Say a vital sign and its value, such as pulse seven two regular. Say refused after a name if it was not taken. Say count pulse, or recheck. Say change the pulse to, scratch the pulse, or wrong resident, to correct what is kept. Say lead me to be asked for each, next to go on, or done to finish here."
            }
        });
        if self.waiting() {
            self.ask_again();
        } else {
            // What was said last, such as "Kept", would be heard as of now.
            self.keep_last_said();
        }
    }

    /// Silence: asked once more, then held as unconfirmed or left.
    fn silence(&mut self) {
        let staff = &self.state.staff;
        if self.state.asleep || self.counting() || !(staff.is_known() || staff.is_offered()) {
            return;
        }
        self.state.silences += 1;
        if self.state.silences < 2 {
            self.ask_again();
        } else {
            self.state.silences = 0;
            if self.state.staff.is_offered() {
                self.nobody_answered();
            } else {
                self.give_up();
            }
        }
    }
}
