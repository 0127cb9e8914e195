//! Open reports are said again with growing insistence: first as they are, then
//! with how long they have waited, and from the third time on with the request
//! to stop the round. None is ever dropped.

use super::turn::Turn;
use crate::facts::OpenReport;
use crate::speaking::wording;

impl Turn<'_> {
    /// How to begin and to end saying these reports, each said once more now.
    pub(super) fn insist(&mut self, reports: &[usize]) -> (String, &'static str) {
        let mut times = 0;
        let mut since = self.now;
        for at in reports {
            let OpenReport {
                flag,
                since: raised,
                ..
            } = &self.state.open_reports[*at];
            let said = self.state.insisted.entry(*flag).or_insert(0_u32);
            *said = said.saturating_add(1);
            times = times.max(*said);
            since = since.min(*raised);
        }
        let waited = waited((self.now - since).num_minutes());
        match times {
            0 | 1 => ("Still to report.".to_owned(), "Tell the nurse."),
            2 => (format!("Still to report{waited}."), "Tell the nurse."),
            _ => (
                format!("Stop the round and tell the nurse now. Still to report{waited}."),
                "Then say reported to, and who.",
            ),
        }
    }
}

/// ", and waiting for one five minutes"; nothing under a minute.
fn waited(minutes: i64) -> String {
    let (number, unit) = match minutes {
        ..1 => return String::new(),
        1..120 => (minutes, "minute"),
        _ => (minutes / 60, "hour"),
    };
    let ending = if number == 1 { "" } else { "s" };
    let number = wording::digits(number.into());
    format!(", and waiting for {number} {unit}{ending}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wait_is_said_in_minutes_and_then_in_hours() {
        let cases = [
            (0, ""),
            (1, ", and waiting for one minute"),
            (15, ", and waiting for one five minutes"),
            (119, ", and waiting for one one nine minutes"),
            (120, ", and waiting for two hours"),
        ];
        for (minutes, said) in cases {
            assert_eq!(waited(minutes), said);
        }
    }
}
