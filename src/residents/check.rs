//! What to mind about a roster that is not wrong: names that are easily taken
//! for each other, words that the recogniser does not know, entries that
//! contradict each other.

use chrono::NaiveDate;

use super::names::{Alike, alike, spoken_words};
use super::{Home, Resident, ResidentId, Staff};
use crate::grammar::{Grammar, place_words};
use crate::vitals::{Method, Source};

/// A kind of notice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum NoticeKind {
    /// Residents with the same or like-sounding surnames.
    NameAlert,
    /// Two residents with one spoken name.
    SameSpokenName,
    /// A word the recogniser does not know.
    UnknownWord,
    /// Several residents in a room and one of them without a bed.
    NoBed,
    /// A date that has not come yet.
    FutureDate,
    /// A range or baseline set by someone who is not among the nurses.
    NotANurse,
    /// A usual method that the precautions speak against.
    Contradiction,
}

/// Something to mind about a roster.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// Which kind.
    pub kind: NoticeKind,
    /// The residents it is about; empty when it is about staff.
    pub about: Vec<ResidentId>,
    /// What to mind, and what to do.
    pub text: String,
}

impl Home {
    /// Everything to mind about this roster on `today`. `knows` says whether
    /// the recogniser has a word, given in lower case.
    #[must_use]
    pub fn check(&self, knows: &dyn Fn(&str) -> bool, today: NaiveDate) -> Vec<Notice> {
        let mut notices = Vec::new();
        let own = Grammar::standard().for_home(self).ok();
        for (index, one) in self.residents.iter().enumerate() {
            let others = &self.residents[index + 1..];
            notices.extend(others.iter().filter_map(|other| name_alert(one, other)));
            notices.extend(unheard(one, knows));
            notices.extend(self.without_bed(one));
            notices.extend(self.unheard_place(one, own.as_ref(), knows));
            notices.extend(dates_and_nurses(one, &self.nurses, today));
            notices.extend(contradictions(one));
        }
        let staff = self.nurses.iter().chain(&self.aides);
        notices.extend(staff.filter_map(|it| unheard_staff(self, it, knows)));
        notices.extend(same_staff(self));
        notices
    }

    fn without_bed(&self, resident: &Resident) -> Option<Notice> {
        let shared = self.in_room(&resident.room).count() > 1;
        let text = format!(
            "room {} has several residents and {} has no bed: give each a bed",
            resident.room, resident.name
        );
        (shared && resident.bed.is_none()).then(|| about(NoticeKind::NoBed, &[resident], text))
    }

    /// A resident whose room, or whose bed in a room of several, nobody can say.
    fn unheard_place(
        &self,
        resident: &Resident,
        own: Option<&Grammar>,
        knows: &dyn Fn(&str) -> bool,
    ) -> Option<Notice> {
        let Resident { room, name, .. } = resident;
        let is_said = |rule: &str, said: String| {
            said.split(' ').all(knows) && own.is_none_or(|own| own.accepts(rule, &said))
        };
        let text = if is_said("place.where", format!("room {}", place_words(room))) {
            let bed = resident.bed.as_ref()?;
            let alone = self.in_room(room).count() == 1;
            if alone || is_said("place.which-bed", format!("bed {}", place_words(bed))) {
                return None;
            }
            format!(
                "bed {bed} can't be said: call {name} by name, or name the beds of room {room} by \
                 numbers or letters"
            )
        } else {
            format!("room {room} can't be said: call {name} by name")
        };
        Some(about(NoticeKind::UnknownWord, &[resident], text))
    }
}

fn about(kind: NoticeKind, residents: &[&Resident], text: String) -> Notice {
    let about = residents.iter().map(|it| it.id.clone()).collect();
    Notice { kind, about, text }
}

fn name_alert(one: &Resident, other: &Resident) -> Option<Notice> {
    let both = [one, other];
    let how = match alike(one, other)? {
        Alike::SpokenName => {
            let text = format!(
                "{} and {} have one spoken name: give one an alias",
                one.name, other.name
            );
            return Some(about(NoticeKind::SameSpokenName, &both, text));
        }
        Alike::Surname => "have the same surname",
        Alike::SurnameBySound => "have surnames that sound alike",
        Alike::FirstName => "share a room and have first names that sound alike",
    };
    let text = format!(
        "name alert: {} (room {}) and {} (room {}) {how}",
        one.name, one.room, other.name, other.room
    );
    Some(about(NoticeKind::NameAlert, &both, text))
}

/// A resident whose name can't be heard, why, and what would do instead.
fn unheard(resident: &Resident, knows: &dyn Fn(&str) -> bool) -> Option<Notice> {
    let name = resident.spoken_name();
    let why = match spoken_words(&name) {
        None => "it has letters that the recogniser has no words with".to_owned(),
        Some(words) => {
            let unknown: Vec<String> = words
                .iter()
                .filter(|it| !knows(it))
                .map(|it| format!("\"{it}\""))
                .collect();
            if unknown.is_empty() {
                return None;
            }
            format!("the recogniser does not know {}", unknown.join(" and "))
        }
    };
    let lower = name.to_lowercase();
    let sayable: Vec<&str> = lower.split_whitespace().filter(|it| knows(it)).collect();
    let example = match sayable.as_slice() {
        [] => String::new(),
        some => format!(", such as \"{}\"", some.join(" ")),
    };
    let text = format!(
        "{name} can be called by room only, not by name: {why}. To call by name, \
         set an alias of words it knows{example}"
    );
    Some(about(NoticeKind::UnknownWord, &[resident], text))
}

/// Staff of one name: they would sign on as one another.
fn same_staff(home: &Home) -> Vec<Notice> {
    let staff: Vec<&Staff> = home.staff().collect();
    let again = |(at, it): (usize, &&Staff)| {
        let same = staff[..at].iter().any(|other| other.name == it.name);
        let text = format!(
            "two of the staff are called {}: add a middle name or initial",
            it.name
        );
        same.then(|| about(NoticeKind::SameSpokenName, &[], text))
    };
    staff.iter().enumerate().filter_map(again).collect()
}

/// One of the staff whose name can't be heard.
fn unheard_staff(home: &Home, staff: &Staff, knows: &dyn Fn(&str) -> bool) -> Option<Notice> {
    let words = spoken_words(&staff.name);
    if words.is_some_and(|words| words.iter().all(|it| knows(it))) {
        return None;
    }
    let badge = if home.badges.contains_key(&staff.name) {
        "say the badge number"
    } else {
        "give a badge number, which can"
    };
    let text = format!("{} can't be understood when spoken: {badge}", staff.name);
    Some(about(NoticeKind::UnknownWord, &[], text))
}

fn dates_and_nurses(resident: &Resident, nurses: &[Staff], today: NaiveDate) -> Vec<Notice> {
    let ranges = resident.limits.own().flat_map(|(_, _, ranges)| ranges);
    let by_nurse = ranges.filter_map(|range| match &range.source {
        Source::Nurse { name, on } => Some((name, *on)),
        Source::Home { .. } | Source::Default(_) => None,
    });
    let baselines = resident.care.baselines.values();
    let set: Vec<_> = by_nurse
        .chain(baselines.map(|it| (&it.nurse, it.on)))
        .collect();
    let mut notices = Vec::new();
    for (nurse, on) in set {
        if !nurses.iter().any(|it| it.name == *nurse) {
            let text = format!(
                "{}: set by {nurse}, who is not among the home's nurses",
                resident.name
            );
            notices.push(about(NoticeKind::NotANurse, &[resident], text));
        }
        if on > today {
            let text = format!("{}: set for {on}, which has not come yet", resident.name);
            notices.push(about(NoticeKind::FutureDate, &[resident], text));
        }
    }
    if resident.birth_date > today {
        let text = format!(
            "{}: birth date {} has not come yet",
            resident.name, resident.birth_date
        );
        notices.push(about(NoticeKind::FutureDate, &[resident], text));
    }
    notices.dedup();
    notices
}

fn contradictions(resident: &Resident) -> Vec<Notice> {
    let (usual, precautions) = (&resident.care.usual, &resident.care.precautions);
    let mut found = Vec::new();
    if let Some(arm) = usual
        .arm
        .filter(|arm| precautions.limbs_not_to_use.contains_key(arm))
    {
        found.push(format!("the usual {} is not to be used", arm.spoken()));
    }
    match usual.temperature {
        Some(Method::Rectal) if precautions.no_rectal => {
            found.push("the usual method is rectal and the route is not to be used".to_owned());
        }
        Some(Method::Oral) if precautions.on_oxygen || precautions.mouth_breather => {
            found.push("the usual method is oral, and a precaution speaks against it".to_owned());
        }
        _ => {}
    }
    if precautions.oxygen_flow.is_some() && !precautions.on_oxygen {
        found.push("an oxygen flow is ordered and the resident is not on oxygen".to_owned());
    }
    let text = |it: String| format!("{}: {it}", resident.name);
    let notice = |it| about(NoticeKind::Contradiction, &[resident], text(it));
    found.into_iter().map(notice).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(residents: &str) -> Vec<(NoticeKind, String)> {
        let text = format!(
            "name = \"Larkfield House\"\n\
             nurses = [{{ name = \"Ines Marlow\", title = \"registered nurse\" }}]\n\
             aides = [{{ name = \"Tomas Reed\", title = \"nursing aide\" }}]\n{residents}"
        );
        let home = Home::from_toml(&text).unwrap();
        let today = NaiveDate::from_ymd_opt(2026, 3, 9).unwrap();
        let notices = home.check(&|word| word != "quillfeather", today);
        notices.into_iter().map(|it| (it.kind, it.text)).collect()
    }

    fn kinds(residents: &str) -> Vec<NoticeKind> {
        found(residents).into_iter().map(|it| it.0).collect()
    }

    fn person(id: u8, name: &str, more: &str) -> String {
        format!(
            "[[residents]]\nid = \"{id}\"\nroom = {id}\nname = \"{name}\"\n\
             birth_date = \"1938-04-21\"\n{more}\n"
        )
    }

    #[test]
    fn like_sounding_surnames_raise_a_name_alert() {
        let pair = |one, other| kinds(&(person(1, one, "") + &person(2, other, "")));
        assert_eq!(pair("Ada Brandt", "Rose Pelham"), []);
        assert_eq!(pair("Ada Brandt", "Rose Brandt"), [NoticeKind::NameAlert]);
        assert_eq!(pair("Ada Brandt", "Rose Brent"), [NoticeKind::NameAlert]);
        assert_eq!(
            pair("Ada Brandt", "ada brandt"),
            [NoticeKind::SameSpokenName]
        );
    }

    #[test]
    fn an_unknown_word_asks_for_an_alias() {
        let name = "Ada Quillfeather";
        assert_eq!(kinds(&person(1, name, "")), [NoticeKind::UnknownWord]);
        assert_eq!(kinds(&person(1, name, "alias = \"Ada Quill\"")), []);
        let said = &found(&person(1, name, ""))[0].1;
        let parts = [
            "by room only",
            "does not know \"quillfeather\"",
            "such as \"ada\"",
        ];
        assert!(parts.iter().all(|it| said.contains(it)), "{said}");
        assert_eq!(
            kinds(&person(1, "Ádá Pelham", "")),
            [NoticeKind::UnknownWord]
        );
    }

    #[test]
    fn a_room_or_bed_that_cannot_be_said_is_named() {
        let pair = |one: &str, other: &str| {
            let at = |id, name, bed: &str| {
                person(id, name, &format!("bed = \"{bed}\""))
                    .replace(&format!("room = {id}"), "room = 4")
            };
            found(&(at(1, "Ada Brandt", one) + &at(2, "Rose Pelham", other)))
        };
        assert_eq!(pair("A", "b"), []);
        assert_eq!(pair("01", "1A"), []);
        assert_eq!(pair("Window", "door"), []);
        for bed in ["left", "quillfeather"] {
            let notices = pair("A", bed);
            assert_eq!(notices.len(), 1, "{notices:?}");
            assert!(notices[0].1.contains(&format!("bed {bed} can't be said")));
        }
        let room =
            |room: u16| person(1, "Ada Brandt", "").replace("room = 1", &format!("room = {room}"));
        assert_eq!(found(&room(999)), []);
        assert!(found(&room(1204))[0].1.contains("room 1204 can't be said"));
    }

    #[test]
    fn two_of_the_staff_must_not_have_one_name() {
        let more = "[[aides]]\nname = \"Ines Marlow\"\ntitle = \"nursing aide\"\n";
        let text = "name = \"H\"\nresidents = []\n\
            nurses = [{ name = \"Ines Marlow\", title = \"registered nurse\" }]\n";
        let home = Home::from_toml(&format!("{text}{more}")).unwrap();
        let notices = home.check(&|_| true, NaiveDate::MIN);
        assert_eq!(notices.len(), 1);
        assert!(notices[0].text.contains("two of the staff"), "{notices:?}");
    }

    #[test]
    fn dates_nurses_beds_and_contradictions() {
        let range = |nurse, on| {
            format!("ranges.pulse = {{ low = 50, high = 90, nurse = \"{nurse}\", on = \"{on}\" }}")
        };
        let kinds_of = |more: &str| kinds(&person(1, "Ada Brandt", more));
        assert_eq!(kinds_of(&range("Ines Marlow", "2026-03-09")), []);
        assert_eq!(
            kinds_of(&range("Ines Marlow", "2026-03-10")),
            [NoticeKind::FutureDate]
        );
        assert_eq!(
            kinds_of(&range("Jo Finch", "2026-03-09")),
            [NoticeKind::NotANurse]
        );
        let oral = "usual.temperature = \"oral\"\nprecautions.on_oxygen = true";
        assert_eq!(kinds_of(oral), [NoticeKind::Contradiction]);
        let arm = "usual.arm = \"left\"\nprecautions.limbs_not_to_use.left = \"line\"";
        assert_eq!(kinds_of(arm), [NoticeKind::Contradiction]);
        let shared = person(1, "Ada Brandt", "bed = \"1\"")
            + &person(2, "Rose Pelham", "").replace("room = 2", "room = 1");
        assert_eq!(kinds(&shared), [NoticeKind::NoBed]);
    }
}
