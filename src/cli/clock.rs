//! The clock of this machine, as the home goes by it.

use chrono::{Local, TimeDelta, Utc};
use sayback::residents::Offsets;

/// Nothing is said to have been measured longer ago.
const BACK: TimeDelta = TimeDelta::days(2);
/// No recorder runs longer without being started again.
const AHEAD: TimeDelta = TimeDelta::days(1000);

/// Which offsets from UTC this machine's clock has, and will have.
pub fn offsets_here() -> Offsets {
    let now = Utc::now();
    Offsets::between(now - BACK, now + AHEAD, |at| {
        *at.with_timezone(&Local).fixed_offset().offset()
    })
}
