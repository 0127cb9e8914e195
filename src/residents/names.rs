//! How people are called, and whose names are easily taken for each other.

use super::{Home, Resident, Staff, soundex};

/// Forms of address before a surname. Padding would not do: a surname alone is
/// talk to the resident.
const TITLES: [&str; 4] = ["mister", "missus", "miss", "resident"];

impl Resident {
    /// The name as spoken: the alias where there is one.
    #[must_use]
    pub fn spoken_name(&self) -> String {
        self.care.alias.clone().unwrap_or_else(|| self.name.clone())
    }

    /// The phrases by which an aide can call the resident, in lower case. None
    /// for a name with letters that are not in the recogniser's alphabet.
    #[must_use]
    pub fn called(&self) -> Vec<String> {
        let Some(words) = spoken_words(&self.spoken_name()) else {
            return Vec::new();
        };
        let whole = words.join(" ");
        let mut phrases = vec![format!("go to {whole}"), format!("resident {whole}")];
        if let [_, .., last] = words.as_slice() {
            phrases.push(whole.clone());
            let titled = TITLES.iter().map(|title| format!("{title} {last}"));
            phrases.extend(titled.flat_map(|it| [format!("go to {it}"), it]));
        }
        phrases
    }
}

/// Whether a text begins as a formula does, which a spreadsheet would work out.
pub(crate) fn begins_like_formula(text: &str) -> bool {
    text.starts_with(['=', '+', '-', '@', '\t', '\r'])
}

/// What would be right in place of a name out of another system that nobody could be
/// called by; none where it is right.
pub(crate) fn name_expected(name: &str) -> Option<&'static str> {
    if begins_like_formula(name) {
        Some("a full name, and nothing that begins like a formula")
    } else if name.contains(',') {
        Some("a full name as it is said, first name first, without a comma")
    } else {
        None
    }
}

/// A name's first and last word, also where the last name is written first.
fn first_and_last(name: &str) -> (&str, &str) {
    let (last, first) = name.split_once(',').unwrap_or((name, name));
    let first = first.split_whitespace().next().unwrap_or_default();
    (
        first,
        last.split_whitespace().next_back().unwrap_or_default(),
    )
}

/// The words of a name in lower case; none when one has letters that no word of
/// the recogniser has.
pub(crate) fn spoken_words(name: &str) -> Option<Vec<String>> {
    let lower = name.to_lowercase();
    let words = lower.split(|it: char| it.is_whitespace() || it == '-');
    let words: Vec<String> = words
        .filter(|it| !it.is_empty())
        .map(str::to_owned)
        .collect();
    let sayable = |it: char| it.is_ascii_lowercase() || it == '\'';
    let all = words.iter().all(|word| word.chars().all(sayable));
    (all && !words.is_empty()).then_some(words)
}

/// A badge number digit by digit.
fn badge_words(badge: &str) -> String {
    let digits = badge.chars().filter_map(|it| it.to_digit(10));
    let words = digits.map(|it| crate::speaking::wording::digits(it.into()));
    words.collect::<Vec<_>>().join(" ")
}

/// In what way two residents are easily taken for each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Alike {
    SpokenName,
    Surname,
    SurnameBySound,
    /// Two of one room whose first names sound alike.
    FirstName,
}

/// Whether two residents are easily taken for each other.
pub(super) fn alike(one: &Resident, other: &Resident) -> Option<Alike> {
    let same = |a: &str, b: &str| a.to_lowercase() == b.to_lowercase();
    let sounds = |a: &str, b: &str| soundex(a).is_some() && soundex(a) == soundex(b);
    let ((first, last), (other_first, other_last)) =
        (first_and_last(&one.name), first_and_last(&other.name));
    if same(&one.spoken_name(), &other.spoken_name()) {
        Some(Alike::SpokenName)
    } else if same(last, other_last) {
        Some(Alike::Surname)
    } else if sounds(last, other_last) {
        Some(Alike::SurnameBySound)
    } else if one.room == other.room && sounds(first, other_first) {
        Some(Alike::FirstName)
    } else {
        None
    }
}

impl Home {
    /// The residents who can be called by this phrase; see [`Resident::called`].
    #[must_use]
    pub fn called(&self, phrase: &str) -> Vec<&Resident> {
        let fits = |it: &&Resident| it.called().iter().any(|it| it == phrase);
        self.residents.iter().filter(fits).collect()
    }

    /// The residents who are easily taken for this one: the name alert.
    #[must_use]
    pub fn name_alerts(&self, resident: &Resident) -> Vec<&Resident> {
        let others = self.residents.iter().filter(|it| it.id != resident.id);
        others.filter(|it| alike(resident, it).is_some()).collect()
    }

    /// Everyone who may record: aides, then nurses.
    pub fn staff(&self) -> impl Iterator<Item = &Staff> {
        self.aides.iter().chain(&self.nurses)
    }

    /// The phrases by which one of the staff says that they record, in lower
    /// case: by name, or by badge number digit by digit.
    #[must_use]
    pub fn calls_of(&self, staff: &Staff) -> Vec<String> {
        let name = spoken_words(&staff.name).map(|it| format!("this is {}", it.join(" ")));
        let badge = self.badges.get(&staff.name).map(|it| badge_words(it));
        let forms = badge.into_iter().flat_map(|zero| {
            let oh = zero.replace("zero", "oh");
            let oh = (oh != zero).then_some(oh);
            [Some(zero), oh].into_iter().flatten()
        });
        let badge = forms.map(|it| format!("this is badge {it}"));
        name.into_iter().chain(badge).collect()
    }

    /// The staff who can be called by this phrase; see
    /// [`calls_of`](Self::calls_of).
    #[must_use]
    pub fn staff_called(&self, phrase: &str) -> Vec<&Staff> {
        let fits = |it: &&Staff| self.calls_of(it).iter().any(|it| it == phrase);
        self.staff().filter(fits).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn home(residents: &str) -> Home {
        let text = format!(
            "name = \"H\"\naides = [{{ name = \"Tomas Reed\", title = \"aide\", badge = \"1204\" }}]\n{residents}"
        );
        Home::from_toml(&text).unwrap()
    }

    fn person(id: u8, room: u8, name: &str, more: &str) -> String {
        format!(
            "[[residents]]\nid = \"{id}\"\nroom = {room}\nbed = \"{id}\"\nname = \"{name}\"\n\
             birth_date = \"1938-04-21\"\n{more}\n"
        )
    }

    #[test]
    fn an_alias_takes_the_place_of_the_name() {
        let home = home(&person(1, 1, "Ada Quillfeather", "alias = \"Ada Quill\""));
        let called = home.residents[0].called();
        assert!(called.contains(&"ada quill".to_owned()));
        assert!(called.contains(&"missus quill".to_owned()));
        assert!(!called.iter().any(|it| it.contains("feather")));
    }

    #[test]
    fn a_last_name_is_one_wherever_it_stands() {
        for (one, other, so) in [
            ("Brandt, Ada", "Brandt, Rose", Some(Alike::Surname)),
            ("Ada Brandt", "Brandt, Rose", Some(Alike::Surname)),
            ("Brandt, Ada", "Moss, Ada", Some(Alike::FirstName)),
            ("Brandt, Ada", "Moss, Rose", None),
        ] {
            let home = home(&(person(1, 1, one, "") + &person(2, 1, other, "")));
            let [one, other] = home.residents.as_slice() else {
                unreachable!()
            };
            assert_eq!(alike(one, other), so, "{}, {}", one.name, other.name);
        }
    }

    /// One word alone is talk to the resident, not a call.
    #[test]
    fn one_word_is_called_with_something_before_it() {
        let home = home(&person(1, 1, "Ada Quillfeather", "alias = \"Ada\""));
        assert_eq!(home.residents[0].called(), ["go to ada", "resident ada"]);
    }

    #[test]
    fn a_surname_can_fit_two() {
        let home = home(&(person(1, 1, "Ada Brandt", "") + &person(2, 2, "Rose Brandt", "")));
        assert_eq!(home.called("miss brandt").len(), 2);
        assert_eq!(home.called("ada brandt").len(), 1);
        assert!(home.called("brandt").is_empty());
    }

    #[test]
    fn letters_outside_of_the_alphabet_cannot_be_called() {
        let home = home(&person(1, 1, "José Núñez", ""));
        assert!(home.residents[0].called().is_empty());
    }

    #[test]
    fn alerts_are_for_surnames_and_for_first_names_in_one_room() {
        let home = home(
            &(person(1, 1, "Ada Brandt", "")
                + &person(2, 2, "Rose Brent", "")
                + &person(3, 1, "Adda Pelham", "")
                + &person(4, 3, "Ada Stone", "")),
        );
        let alerts = |at: usize| {
            let found = home.name_alerts(&home.residents[at]);
            found.iter().map(|it| it.id.0.as_str()).collect::<Vec<_>>()
        };
        assert_eq!(alerts(0), ["2", "3"]);
        assert_eq!(alerts(1), ["1"]);
        assert_eq!(alerts(3), [""; 0]);
    }

    #[test]
    fn staff_are_called_by_name_or_badge() {
        let home = home(&person(1, 1, "Ada Brandt", ""));
        assert_eq!(home.staff_called("this is tomas reed").len(), 1);
        assert_eq!(home.staff_called("this is badge one two oh four").len(), 1);
        assert!(home.staff_called("tomas reed").is_empty());
    }
}
