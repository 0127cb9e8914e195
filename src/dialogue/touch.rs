//! Answers given by hand. A screen can show what no longer waits: the voice was
//! quicker, or the network slower. So an answer by hand brings back the number
//! of the question that it saw, and answers that question or none.

use super::turn::Turn;
use super::{Dialogue, State};
use crate::grammar::Command;
use crate::hearing::Heard;
use crate::understanding::{NotUnderstood, Utterance};

/// Words given by hand, and what the screen showed then.
#[derive(Debug, Clone, PartialEq)]
pub struct Touched {
    /// The words.
    pub heard: Heard,
    /// The number of the question on the screen: [`State::asked`].
    pub asked: u64,
}

/// What is said to an answer whose question is gone.
pub const STALE: &str = "This is no longer what waits.";

impl Dialogue {
    pub(super) fn touched(&self, turn: &mut Turn<'_>, touched: &Touched) {
        let meaning = self.meaning(&turn.state, &touched.heard);
        let problem = if is_stale(&turn.state, touched, &meaning) {
            STALE
        } else if turn.state.asleep || !is_talk(&meaning) {
            return self.heard(turn, &touched.heard);
        } else {
            // A hand on the screen is meant for Sayback: it is never left
            // without an answer.
            "That could not be understood."
        };
        turn.say(problem);
        if turn.waiting() {
            turn.ask_again();
        } else {
            turn.keep_last_said();
        }
    }
}

type Meaning = Result<Utterance, NotUnderstood>;

const fn is_talk(meaning: &Meaning) -> bool {
    matches!(
        meaning,
        Err(NotUnderstood::SideTalk | NotUnderstood::Nothing)
    )
}

/// Whether words by hand are for a question that no longer waits. Commands that
/// keep and drop nothing are as good at any time, and so is a room where going
/// there stops nothing.
fn is_stale(state: &State, touched: &Touched, meaning: &Meaning) -> bool {
    use Command::{Help, Lead, Missing, Repeat, StartListening, StopListening, WhoIsLeft};
    let at_any_time = match meaning {
        Ok(Utterance::Command(it)) => matches!(
            it,
            Help | Lead | Missing | Repeat | StartListening | StopListening | WhoIsLeft
        ),
        Ok(Utterance::Place(place)) => place.room.is_some() && state.running().next().is_none(),
        Ok(Utterance::LastValue(_) | Utterance::Did(..)) => true,
        _ => false,
    };
    !at_any_time && touched.asked != state.asked()
}
