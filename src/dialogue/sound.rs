//! Whoever records is told that the home keeps how it sounded.

use super::turn::Turn;

impl Turn<'_> {
    /// Says for how long the sound of what is confirmed is kept, where it is.
    pub(super) fn say_sound_is_kept(&mut self) {
        if let Some(kept) = self.dialogue.home.kept_sound {
            let days = match kept.days {
                1 => "a day".to_owned(),
                days => format!("{days} days"),
            };
            self.say(&format!(
                "The sound of confirmed readings is kept for {days}."
            ));
        }
    }
}
