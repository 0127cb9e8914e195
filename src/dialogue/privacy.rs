//! What is heard of what is shown. Every text goes through here on its way out,
//! so that none can be spoken past the home's choice.

use super::order::place_of;
use super::report::texts_of;
use super::{Dialogue, State};
use crate::residents::Speech;
use crate::speaking::{Saying, Tone, wording};

impl Dialogue {
    /// A text as the home wants it heard, in this state. `tones` are what stands
    /// for it where nothing is spoken.
    pub(super) fn saying(&self, state: &State, text: &str, tones: Vec<Tone>) -> Saying {
        let spoken = match self.home.bedside.speech {
            Speech::Earpiece => return Saying::aloud(text),
            Speech::Room => self.without_names(state, text),
            Speech::Tones => String::new(),
        };
        let tones = if spoken.is_empty() { tones } else { Vec::new() };
        let shown = text.to_owned();
        Saying {
            shown,
            spoken,
            tones,
        }
    }

    /// Something the recorder itself has to say, such as the question that
    /// waits once its microphone is back.
    #[must_use]
    pub fn notice(&self, state: &State, text: &str) -> Saying {
        let tone = if text.ends_with('?') {
            Tone::Question
        } else {
            Tone::Refused
        };
        self.saying(state, text, vec![tone])
    }

    /// The text without a resident's name anywhere: a value is then of nobody
    /// whom the room could name. What is open for somebody who is not at this
    /// bedside goes without its value too.
    fn without_names(&self, state: &State, text: &str) -> String {
        let mut text = text.to_owned();
        for (id, open) in texts_of(&self.home, state, state.open_reports.iter()) {
            if state.resident.as_ref() != Some(id)
                && let Some(resident) = self.home.resident(id)
            {
                let elsewhere = format!("{}, on the screen.", place_of(resident));
                text = text.replace(&open, &elsewhere);
            }
        }
        let mut residents: Vec<_> = self.home.residents.iter().collect();
        // A name that holds another goes first.
        residents.sort_by_key(|it| std::cmp::Reverse(it.name.len()));
        for resident in residents {
            let born = wording::birth_date(resident.birth_date);
            let two = format!("{}, {born}.", resident.name);
            text = text.replace(&two, "Check the name on the screen.");
            let place = place_of(resident);
            let neutral = format!("the resident in {place}");
            for named in [
                format!("{} in {place}", resident.name),
                format!("{}, {place}", resident.name),
                resident.name.clone(),
            ] {
                text = text.replace(&named, &neutral);
            }
        }
        text
    }
}
