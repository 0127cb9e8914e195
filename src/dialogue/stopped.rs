//! What a stop of the program leaves: what waited for a yes, or was still being asked
//! about, is said at the start of the next round. What is read back is on record as an
//! offer; what is not is put there as soon as something is asked about it.

use super::kept::KeptHere;
use super::state::Draft;
use super::turn::Turn;
use super::{Phase, Question};
use crate::facts::{Body, Dropped, Pending, Unfinished};
use crate::residents::ResidentId;
use crate::speaking::wording;
use crate::vitals::VitalSign;

impl Turn<'_> {
    /// Says and closes what waited when the program stopped.
    pub(super) fn say_stopped(&mut self, pending: Pending) {
        self.keep(Body::Dropped {
            offer: pending.offer,
            why: Dropped::Stopped,
            unfinished: pending.unfinished.is_some(),
        });
        if pending.settled {
            return;
        }
        let whose = self.who(&pending.resident);
        let (read_back, moved) = (pending.read_back, pending.moves.first());
        let from = moved.map(|it| self.who(&it.resident));
        // Only what was kept in the same round can be changed by voice.
        let text = match (pending.unfinished, from) {
            (None, None) => format!(
                "When Sayback stopped, this was waiting for a yes and was not kept. {whose}: {read_back} Please take it again."
            ),
            (None, Some(from)) => format!(
                "When Sayback stopped, a move from {from} to {whose} was waiting for a yes: {read_back} It was not moved. Tell the nurse."
            ),
            (Some(Unfinished::Readings(signs)), _) => {
                let (were, it) = match signs.as_slice() {
                    [_] => ("was", "it"),
                    _ => ("were", "them"),
                };
                let names = wording::names(&signs);
                format!(
                    "When Sayback stopped, {names} of {whose} {were} not finished: measure {it} again."
                )
            }
            (Some(Unfinished::Change(sign)), _) => format!(
                "When Sayback stopped, a change of the {} of {whose} was waiting for a yes. It was not changed. Tell the nurse.",
                sign.name()
            ),
            (Some(Unfinished::Move(signs)), _) => format!(
                "When Sayback stopped, a move from {whose} was not finished: {}. It was not moved. Tell the nurse.",
                wording::names(&signs)
            ),
        };
        self.say(&text);
    }

    /// Puts on record what is under way, where that has changed.
    pub(super) fn note_unfinished(&mut self) {
        let now = self.under_way();
        let noted = self.state.unfinished.as_ref();
        if noted.map(|(_, whose, what)| (whose, what)) == now.as_ref().map(|it| (&it.0, &it.1)) {
            return;
        }
        if let Some((offer, ..)) = self.state.unfinished.take() {
            self.keep(Body::Dropped {
                offer,
                why: Dropped::Replaced,
                unfinished: true,
            });
        }
        let Some((resident, unfinished)) = now else {
            return;
        };
        let offer = self.keep(Body::Offered {
            resident: resident.clone(),
            read_back: as_text(&unfinished),
            readings: Vec::new(),
            moves: Vec::new(),
            unfinished: Some(unfinished.clone()),
        });
        self.state.unfinished = Some((offer, resident, unfinished));
    }

    /// What a stop would lose now, and whose it is.
    fn under_way(&self) -> Option<(ResidentId, Unfinished)> {
        let state = &self.state;
        if state.ended {
            return None;
        }
        if let Some(moving) = &state.moving {
            let kept = state.kept.get(moving.from()).into_iter().flatten();
            let moved = kept.filter(|it| moving.readings().contains(&it.id));
            let signs = moved.map(KeptHere::sign).collect();
            return Some((moving.from().clone(), Unfinished::Move(signs)));
        }
        let resident = state.resident.clone()?;
        if let Phase::ConfirmChange(change) = &state.phase {
            return Some((resident, Unfinished::Change(change.sign())));
        }
        let asked = match &state.phase {
            Phase::Asking(Question::Value(unclear)) => Some(unclear.sign),
            _ => None,
        };
        let drafts = state.drafts.iter().map(Draft::sign);
        let unclear = state.unclear.iter().map(|it| it.sign);
        let mut signs: Vec<VitalSign> = Vec::new();
        for sign in asked.into_iter().chain(drafts).chain(unclear) {
            if !signs.contains(&sign) {
                signs.push(sign);
            }
        }
        (!signs.is_empty()).then_some((resident, Unfinished::Readings(signs)))
    }
}

/// For a nurse's page, and for a program that knows only what was read back.
fn as_text(it: &Unfinished) -> String {
    let (signs, what) = match it {
        Unfinished::Readings(signs) => (signs.as_slice(), "not finished"),
        Unfinished::Change(sign) => (std::slice::from_ref(sign), "a change not confirmed"),
        Unfinished::Move(signs) => (signs.as_slice(), "a move not finished"),
    };
    format!("{}: {what}.", wording::capital(&wording::names(signs)))
}
