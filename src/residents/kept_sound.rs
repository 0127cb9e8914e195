//! Whether the home keeps how confirmed readings sounded, and for how long.

use serde::{Deserialize, Serialize};

/// The longest that sound may be kept, in days: a quarter. Common practice, no
/// source.
const MOST_DAYS: u16 = 90;
/// The most megabytes that a home may set aside for it.
const MOST_MEGABYTES: u32 = 100_000;

/// What a home that keeps the sound of confirmed readings has chosen. A home
/// that says nothing keeps none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "Entry")]
pub struct KeptSound {
    /// For how many days, 1 to 90, from when it was spoken.
    pub days: u16,
    /// How many megabytes of it there may be, 1 to 100000. What comes when they
    /// are full is not kept.
    pub megabytes: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    days: i64,
    #[serde(default = "megabytes")]
    megabytes: i64,
}

/// Two thousand, which is some 17 hours of speech.
const fn megabytes() -> i64 {
    2_000
}

impl TryFrom<Entry> for KeptSound {
    type Error = String;

    fn try_from(entry: Entry) -> Result<Self, String> {
        let days = u16::try_from(entry.days).ok();
        let days = days.filter(|it| (1..=MOST_DAYS).contains(it));
        let megabytes = u32::try_from(entry.megabytes).ok();
        let megabytes = megabytes.filter(|it| (1..=MOST_MEGABYTES).contains(it));
        Ok(Self {
            days: days.ok_or_else(|| {
                format!(
                    "kept_sound.days: {}; expected 1 to {MOST_DAYS} days; to keep no sound, \
                     leave [kept_sound] out",
                    entry.days
                )
            })?,
            megabytes: megabytes.ok_or_else(|| {
                format!(
                    "kept_sound.megabytes: {}; expected 1 to {MOST_MEGABYTES}",
                    entry.megabytes
                )
            })?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::residents::Home;

    fn home(kept_sound: &str) -> Result<Home, String> {
        let text = format!(
            "name = \"H\"\naides = [{{ name = \"Dana Whitlock\", title = \"nursing aide\" }}]\n\
             residents = []\n{kept_sound}"
        );
        Home::from_toml(&text).map_err(|it| it.to_string())
    }

    #[test]
    fn a_home_that_says_nothing_keeps_none() {
        assert_eq!(home("").unwrap().kept_sound, None);
    }

    #[test]
    fn days_are_read_and_written() {
        let two_weeks = home("[kept_sound]\ndays = 14\n").unwrap();
        let expected = KeptSound {
            days: 14,
            megabytes: 2_000,
        };
        assert_eq!(two_weeks.kept_sound, Some(expected));
        let written = two_weeks.to_toml().unwrap();
        assert_eq!(Home::from_toml(&written).unwrap(), two_weeks, "{written}");
    }

    #[test]
    fn what_cannot_be_says_what_can() {
        for (entry, expected) in [
            ("days = 0", "1 to 90 days"),
            ("days = 91", "1 to 90 days"),
            ("days = -3", "leave [kept_sound] out"),
            ("days = 14\nmegabytes = 0", "1 to 100000"),
            ("days = \"two weeks\"", "invalid type"),
            ("megabytes = 10", "kept_sound.days: missing"),
            ("days = 14\nforever = true", "unknown field `forever`"),
        ] {
            let said = home(&format!("[kept_sound]\n{entry}\n")).unwrap_err();
            assert!(said.contains(expected), "{entry}: {said}");
        }
    }
}
