//! The part of the grammar that the home's people fill in: residents called by
//! name, and staff who say that they record.

use super::jsgf::{Expansion, Rule};
use super::place::words;
use super::{Grammar, GrammarError, Vocabulary};
use crate::residents::{Home, Resident};

/// A resident called by name.
pub(super) const RESIDENT: &str = "people.resident";
/// "This is", and who records.
pub(super) const STAFF: &str = "people.staff";

impl Grammar {
    /// Adds the ways to call the home's people. A phrase that means something
    /// already keeps that meaning.
    pub(super) fn add_people(&mut self, home: &Home) -> Result<(), GrammarError> {
        let taken = Vocabulary::of(self)?;
        let residents = home.residents.iter().flat_map(Resident::called);
        let staff = home.staff().flat_map(|it| home.calls_of(it));
        let (residents, staff): (Vec<_>, Vec<_>) = (residents.collect(), staff.collect());
        for (rule, tag, mut phrases) in [(RESIDENT, "resident", residents), (STAFF, "staff", staff)]
        {
            phrases.sort_unstable();
            phrases.dedup();
            phrases.retain(|it| !taken.has(it));
            let tagged = |it: &String| {
                let tag = format!("{tag} {it}");
                (1, Expansion::Tagged(Box::new(words(it)), tag))
            };
            let forms: Vec<_> = phrases.iter().map(tagged).collect();
            if !forms.is_empty() {
                let body = Expansion::Choice(forms);
                let public = true;
                self.rules.insert(rule.to_owned(), Rule { public, body });
            }
        }
        Ok(())
    }

    /// This grammar without the names, of people and of beds, that hold a word the recogniser does not
    /// know, which it would refuse to listen for: those people are called by
    /// room, by name, by badge number or by office. The roster's check names them.
    #[must_use]
    pub fn known_to(mut self, knows: &dyn Fn(&str) -> bool) -> Self {
        for rule in [RESIDENT, STAFF, "place.nurse", "place.bed"] {
            let Some(Rule {
                public,
                body: Expansion::Choice(mut forms),
            }) = self.rules.remove(rule)
            else {
                continue;
            };
            forms.retain(|(_, form)| {
                let mut all = Vec::new();
                form.words(&mut all);
                all.iter().all(|it| knows(it))
            });
            if !forms.is_empty() {
                let body = Expansion::Choice(forms);
                self.rules.insert(rule.to_owned(), Rule { public, body });
            }
        }
        self
    }
}
