//! What is said while the record of a station can't be read.

use crate::facts::Time;

/// Since when the record can't be read, and why.
#[derive(Debug, Clone)]
pub struct Away {
    pub(super) since: Time,
    pub(super) why: String,
    /// It is not merely out of reach: this station may not read it any more.
    pub(super) cut_off: bool,
}

impl std::fmt::Display for Away {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let since = self.since.format("%H:%M");
        if self.cut_off {
            return write!(
                f,
                "Since {since} {}. Nothing of the home is shown here any more, and nothing is \
                 kept here. If that is a mistake, whoever enrols the home's machines makes a new \
                 link file; the station is then started anew with it.",
                self.why
            );
        }
        write!(
            f,
            "Since {since} {}. Nothing can be stored until it is back. It is tried again all the \
             time.",
            self.why
        )
    }
}

impl Away {
    /// The same, on a page that shows something all the same.
    #[must_use]
    pub fn over_a_page(&self) -> String {
        if self.cut_off {
            return self.to_string();
        }
        format!("{self} What is shown is as it was then.")
    }
}
