//! The clock of this machine, as the home goes by it.

use chrono::{Local, TimeDelta, Utc};
use sayback::residents::Offsets;

/// What was recorded is shown for ever, by the clock of then: further back than any record
/// goes.
const BACK: TimeDelta = TimeDelta::days(50 * 366);
/// Nothing runs longer without being started again.
const AHEAD: TimeDelta = TimeDelta::days(1000);

/// Which offsets from UTC this machine's clock has, and will have.
pub fn offsets_here() -> Offsets {
    let now = Utc::now();
    Offsets::between(now - BACK, now + AHEAD, |at| {
        *at.with_timezone(&Local).fixed_offset().offset()
    })
}
