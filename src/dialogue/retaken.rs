//! Reports of readings that were measured again. None is closed by that: a first value that
//! was out of range is told to the nurse too. But what holds now is said first, and the
//! first value after it, as what it was.

use uuid::Uuid;

use super::State;
use super::kept::{KeptHere, is_own};
use super::report::spoken;
use crate::facts::{OpenReport, Raised};
use crate::speaking::wording;

impl State {
    /// The texts of open reports: those that hold of the last reading, then those of the
    /// readings that were measured again, each with what came of it.
    pub(super) fn in_order_of_retakes<'a>(
        &self,
        reports: &[&'a OpenReport],
    ) -> Vec<(&'a OpenReport, String)> {
        let (mut now, mut before) = (Vec::new(), Vec::new());
        for &report in reports {
            match self.measured_again(report) {
                None => now.push((report, spoken(&report.raised))),
                Some(last) => before.push((report, last)),
            }
        }
        let still: Vec<Uuid> = now.iter().map(|(it, _)| it.flag).collect();
        let mut said: Vec<Uuid> = Vec::new();
        let mut texts = now;
        for (at, (report, last)) in before.iter().enumerate() {
            let own = |(flag, it): &&(Uuid, Raised)| is_own(it) && still.contains(flag);
            let again: Vec<&Raised> = last.flags.iter().filter(own).map(|(_, it)| it).collect();
            let mut text = match &report.raised {
                Raised::Limit(was) if again.iter().any(|it| is_same_limit(it, &report.raised)) => {
                    let number = wording::digits(was.value.value());
                    format!("Before it was measured again: {} {number}.", was.name())
                }
                raised if again.is_empty() => spoken(raised),
                raised => format!("Before it was measured again: {}", spoken(raised)),
            };
            // Said once, after the last of what it was measured again for.
            let more = before[at + 1..].iter().any(|(_, it)| it.id == last.id);
            if again.is_empty() && !more && !said.contains(&last.id) {
                let now = wording::value(last.measurement.value());
                text = format!("{text} Measured again: {now}.");
                said.push(last.id);
            }
            texts.push((report, text));
        }
        texts
    }

    /// The last reading that the one of a report was measured again as, in the same way.
    fn measured_again(&self, report: &OpenReport) -> Option<&KeptHere> {
        if !is_own(&report.raised) {
            return None;
        }
        let here = self.kept.get(&report.resident)?;
        let raised = |it: &&KeptHere| it.flags.iter().any(|(flag, _)| *flag == report.flag);
        let first = here.iter().find(raised)?;
        let after = |it: &KeptHere| {
            let again = |next: &&KeptHere| next.first == Some(it.id) && is_same_way(it, next);
            here.iter().find(again)
        };
        std::iter::successors(after(first), |it| after(it)).last()
    }
}

fn is_same_way(first: &KeptHere, again: &KeptHere) -> bool {
    let (first, again) = (
        first.measurement.qualifiers(),
        again.measurement.qualifiers(),
    );
    let way = |it: &crate::vitals::Qualifier| it.kind().is_way();
    first.iter().filter(way).eq(again.iter().filter(way))
}

/// Whether both are of one part of a vital sign, and on one side of its range.
fn is_same_limit(a: &Raised, b: &Raised) -> bool {
    match (a, b) {
        (Raised::Limit(a), Raised::Limit(b)) => {
            (a.sign, a.component, a.side) == (b.sign, b.component, b.side)
        }
        _ => false,
    }
}
