//! A kept reading, of which a test says only what it is about.

use sayback::facts::{ReadingRecord, Time};
use sayback::hearing::By;
use sayback::residents::ResidentId;
use sayback::vitals::Measurement;
use uuid::Uuid;

/// A reading that was spoken and confirmed at once.
pub fn reading(resident: ResidentId, measurement: Measurement, at: Time) -> ReadingRecord {
    ReadingRecord {
        offer: Uuid::now_v7(),
        resident,
        measurement,
        measured_at: at,
        spoken_at: at,
        heard: "as it was said".to_owned(),
        confidence: 0.97,
        read_back: "As it was read back".to_owned(),
        confirmed_at: at,
        second_look: false,
        working: None,
        device: None,
        went_on: Vec::new(),
        rivals: Vec::new(),
        given_by: By::Voice,
        confirmed_by: By::Voice,
        moved_from: None,
        by_hand: None,
        by_nurse: false,
    }
}
