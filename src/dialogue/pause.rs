//! How long a silence ends what is being said: less where the words so far are
//! all that is waited for, so that an aide is not kept waiting.

use chrono::Duration;

use super::state::State;
use super::{Dialogue, Phase};
use crate::grammar::Command;
use crate::hearing::{Heard, UNKNOWN};
use crate::residents::Resident;
use crate::understanding::{Claim, Place, Utterance};

/// A yes to what was read back needs no more words.
const AFTER_YES: Duration = Duration::milliseconds(280);
/// People pause for less than this inside a reading.
const AFTER_A_WHOLE: Duration = Duration::milliseconds(500);
/// The recogniser may take silence for the end of a word that it does not know, and go on
/// waiting: a reading would then be the end of the talk before it.
const AFTER_UNKNOWN: Duration = Duration::seconds(1);

impl Dialogue {
    /// The silence that ends an utterance with these words so far, or none where
    /// more is to be expected: a no is often followed by the right value, and a
    /// reading without its method by the method.
    #[must_use]
    pub fn pause_after(&self, state: &State, words: &str) -> Option<Duration> {
        // Talk that is no word of Sayback's may go on.
        if words.contains(UNKNOWN) {
            return Some(AFTER_UNKNOWN);
        }
        let meaning = match self.meaning(state, &Heard::from_text(words)).ok()? {
            Utterance::Instead(what) => *what,
            other => other,
        };
        match meaning {
            Utterance::Yes(_) if state.waits_for_yes() => Some(AFTER_YES),
            Utterance::Readings {
                claims, unclear, ..
            } if unclear.is_empty() && claims.iter().all(whole) => Some(AFTER_A_WHOLE),
            Utterance::Part(part) if part.why.is_none() => Some(AFTER_A_WHOLE),
            // "Skip" and why, "go back" and where to.
            Utterance::Command(Command::Skip | Command::Back) => None,
            Utterance::Place(place) if self.needs_no_bed(&place) => Some(AFTER_A_WHOLE),
            Utterance::Command(_)
            | Utterance::Skip(_)
            | Utterance::Called { alone: true, .. }
            | Utterance::NotTaken { .. }
            | Utterance::Reported { .. }
            | Utterance::LastValue(_)
            | Utterance::Felt(_)
            | Utterance::Reason(_) => Some(AFTER_A_WHOLE),
            _ => None,
        }
    }

    /// Whether a room, with its bed if that was said, is one resident's, and no other room's
    /// number begins like it: "room four" may go on with "two".
    fn needs_no_bed(&self, place: &Place) -> bool {
        let Some(room) = &place.room else {
            return false;
        };
        let longer = |it: &Resident| it.room != *room && it.room.starts_with(room.as_str());
        self.home.in_bed(room, place.bed.as_deref()).count() == 1
            && !self.home.residents.iter().any(longer)
    }
}

impl State {
    /// Whether a yes to what was read back is waited for.
    pub(super) fn waits_for_yes(&self) -> bool {
        let asked = matches!(
            self.phase,
            Phase::Identify(_)
                | Phase::Confirming(_)
                | Phase::ConfirmNotTaken(..)
                | Phase::ConfirmRemark(_)
                | Phase::ConfirmSkip(_)
                | Phase::ConfirmReport { .. }
                | Phase::ConfirmChange(_)
                | Phase::ConfirmMove(_)
        );
        self.staff.is_offered() || (asked && self.staff.is_known())
    }
}

fn whole(claim: &Claim) -> bool {
    let measurement = &claim.measurement;
    let qualifiers = measurement.qualifiers();
    qualifiers.missing(measurement.sign()).is_empty()
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::dialogue::Event;
    use crate::facts::{Record, Time};
    use crate::grammar::Grammar;
    use crate::residents::Home;

    /// The demo home's dialogue after these words.
    pub(in crate::dialogue) fn having_said(said: &[&str]) -> (Dialogue, State) {
        let home = Home::from_toml(include_str!("../../audio-fixtures/demo-home.toml")).unwrap();
        let aide = home.aides[0].clone();
        let dialogue = Dialogue::new(home, aide, &Grammar::standard()).unwrap();
        let now = Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap();
        let (mut state, _) = dialogue.begin(&Record::default(), 1, now);
        for words in said {
            let event = Event::Heard(Heard::from_text(words));
            state = dialogue.step(state, &event, now).0;
        }
        (dialogue, state)
    }

    fn after(said: &[&str], words: &str) -> Option<i64> {
        let (dialogue, state) = having_said(said);
        let pause = dialogue.pause_after(&state, words);
        pause.map(|it| it.num_milliseconds())
    }

    #[test]
    fn a_yes_that_is_waited_for_is_taken_soonest() {
        assert_eq!(after(&["room nine"], "yes"), Some(280));
        assert_eq!(after(&["room nine", "skip away"], "yes"), Some(280));
        assert_eq!(after(&[], "yes"), None);
    }

    #[test]
    fn what_may_go_on_is_waited_for() {
        for (said, pause) in [
            ("skip", None),
            ("skip away", Some(500)),
            ("go back", None),
            ("next", Some(500)),
            ("rosa delgado", Some(500)),
            // Nobody else has room nine, or one whose number begins so.
            ("room nine", Some(500)),
            ("room four", None),
            ("room four bed two", Some(500)),
            ("room", None),
            ("room seventy", None),
            ("this is dana whitlock", None),
        ] {
            assert_eq!(after(&[], said), pause, "{said}");
        }
    }

    #[test]
    fn a_whole_reading_waits_for_no_more_words() {
        let open = ["room nine", "yes"];
        assert_eq!(after(&open, "pulse seven two regular"), Some(500));
        assert_eq!(
            after(&open, "respiration eighteen pulse seven two regular"),
            Some(500)
        );
    }

    #[test]
    fn a_reading_without_its_method_waits_for_it() {
        let open = ["room nine", "yes"];
        for unfinished in [
            "temperature ninety eight point six",
            "pulse",
            "blood pressure one twenty over",
            "blood pressure one twenty over eighty",
        ] {
            assert_eq!(after(&open, unfinished), None, "{unfinished}");
        }
    }

    #[test]
    fn what_is_not_known_is_waited_for_and_not_for_ever() {
        let open = ["room nine", "yes"];
        for talk in ["[unk]", "pulse seven two regular [unk]"] {
            assert_eq!(after(&open, talk), Some(1_000), "{talk}");
        }
    }

    #[test]
    fn a_no_waits_for_the_right_value() {
        let offered = ["room nine", "yes", "pulse seven two regular"];
        assert_eq!(after(&offered, "no"), None);
        assert_eq!(after(&offered, "no eight two"), Some(500));
        assert_eq!(after(&offered, "done"), Some(500));
    }
}
