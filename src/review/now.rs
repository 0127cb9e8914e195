//! Now, for a page: with what the clock on the home's wall showed at any other moment.

use std::ops::Deref;

use chrono::{Days, NaiveDate, NaiveTime};

use crate::facts::Time;
use crate::residents::Offsets;

/// Now, and which offsets the home's clocks have when: a time of before they were changed
/// is shown as it was then, and not by the offset of now.
#[derive(Debug, Clone, Copy)]
pub struct Now<'a> {
    /// Now.
    pub at: Time,
    /// Which offsets hold when.
    pub offsets: &'a Offsets,
}

impl Now<'_> {
    /// A moment as the clock on the wall showed it.
    #[must_use]
    pub fn shown(&self, moment: Time) -> Time {
        self.offsets.shown(moment)
    }

    /// When a day began by the clock on the wall: where midnight was skipped, with the
    /// first moment after it.
    #[must_use]
    pub fn began(&self, day: NaiveDate) -> Time {
        let midnight = day.and_time(NaiveTime::MIN);
        let moments = self.offsets.moments(midnight).into_iter();
        let began = moments.chain(self.offsets.skipped(midnight)).next();
        began.unwrap_or(self.at)
    }

    /// When the day began that is so many days back: days are counted as people count them,
    /// and what was measured on that day is not left out because it is later today.
    #[must_use]
    pub fn days_back(&self, days: u32) -> Time {
        let day = self.date_naive().checked_sub_days(Days::new(days.into()));
        day.map_or(self.at, |day| self.began(day))
    }
}

impl Deref for Now<'_> {
    type Target = Time;

    fn deref(&self) -> &Time {
        &self.at
    }
}
