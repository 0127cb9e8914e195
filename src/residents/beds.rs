//! How a bed is said, and which labels are one bed. Homes write "1", "01", "A", "1A" or
//! "Window"; whoever says it cannot tell "A" from "a", nor "1" from "01".

use super::Resident;

/// The parts of a label as said: numbers without leading noughts, words in lower case.
/// "1A" is "1" and "a".
#[must_use]
pub fn bed_parts(label: &str) -> Vec<String> {
    let mut parts: Vec<String> = Vec::new();
    let mut last = ' ';
    for letter in label.to_lowercase().chars() {
        let sort = |it: char| (it.is_numeric(), it.is_alphabetic() || it == '\'');
        if sort(letter) != (false, false) {
            match parts.last_mut() {
                Some(part) if sort(last) == sort(letter) => part.push(letter),
                _ => parts.push(letter.to_string()),
            }
        }
        last = letter;
    }
    for part in &mut parts {
        if let Ok(number) = part.parse::<u16>() {
            *part = number.to_string();
        }
    }
    parts
}

/// What two labels of one bed have in common.
#[must_use]
pub fn bed_key(label: &str) -> String {
    bed_parts(label).join(" ")
}

impl Resident {
    /// The room and bed, such that two who have the same cannot be told apart by saying it.
    #[must_use]
    pub fn place_key(&self) -> (String, Option<String>) {
        (self.room.clone(), self.bed.as_deref().map(bed_key))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_that_are_said_alike_are_one() {
        for (one, other) in [
            ("1", "01"),
            ("A", "a"),
            ("1A", "1-a"),
            ("Window", " window "),
            ("#2", "2"),
        ] {
            assert_eq!(bed_key(one), bed_key(other), "{one} and {other}");
        }
        for (one, other) in [("1", "10"), ("A", "B"), ("1A", "1"), ("11", "1 1")] {
            assert_ne!(bed_key(one), bed_key(other), "{one} and {other}");
        }
    }
}
