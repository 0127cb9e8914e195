//! A reading taken again: when to measure, on which limb, and then both values.

use chrono::Duration;

use super::kept::KeptHere;
use super::order::place_of;
use super::seen::Running;
use super::turn::Turn;
use crate::facts::{ReadingRecord, Time};
use crate::residents::{Resident, ResidentId};
use crate::speaking::wording;
use crate::vitals::{Measurement, Qualifier, Qualifiers, VitalSign};

/// A vital sign that is to be measured again.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Rechecking {
    sign: VitalSign,
    /// What it was first.
    first: Measurement,
}

/// What is to be measured again of a resident who was left meanwhile.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Elsewhere {
    resident: ResidentId,
    place: String,
    what: Rechecking,
    until: Time,
    /// Whether it was said that the time has come.
    said: bool,
}

impl Rechecking {
    pub(super) const fn sign(&self) -> VitalSign {
        self.sign
    }

    /// What to say when it may be measured.
    pub(super) fn text(&self) -> String {
        let how = how(self.first.qualifiers(), self.sign);
        let name = wording::capital(self.sign.name());
        format!("{name}: measure again{how}, and say it.")
    }
}

impl Elsewhere {
    pub(super) fn seen(&self) -> Option<Running> {
        (!self.said).then(|| Running {
            name: format!("recheck of the {}, {}", self.what.sign.name(), self.place),
            until: Some(self.until),
            count: false,
        })
    }
}

impl Turn<'_> {
    /// "Recheck the pressure": waits as long as it must, and asks for it. With
    /// no vital sign named, what was out of range in this visit is meant. It may be wanted so
    /// many seconds from now.
    pub(super) fn recheck(&mut self, sign: Option<VitalSign>, seconds: u32) {
        let Some(resident) = self.resident() else {
            return self.first_the_room();
        };
        if self.pending_says_first() {
            return;
        }
        let signs = sign.map_or_else(|| self.flagged_signs(), |it| vec![it]);
        let sign = match signs.as_slice() {
            [one] => *one,
            [] => {
                return self.say("Nothing was out of range here. Say recheck, and the name.");
            }
            several => {
                let names = wording::names(several);
                return self.say(&format!("Which one: {names}? Say recheck, and the name."));
            }
        };
        let name = sign.name();
        let Some(first) = self.last_here(sign).cloned() else {
            return self.say(&format!(
                "No {name} was kept here in this visit. Measure it and say it."
            ));
        };
        let now = self.now;
        let how = how(first.measurement.qualifiers(), sign);
        let wanted = now + Duration::seconds(seconds.into());
        let until = self
            .again_from(resident, &first)
            .map_or(wanted, |it| it.max(wanted));
        let again = Rechecking {
            sign,
            first: first.measurement.clone(),
        };
        if until > now {
            let wait = wait((until - now).num_seconds());
            self.say(&format!(
                "Wait {wait} before the {name}{how}. I will say when."
            ));
            self.wait_for_recheck(again.clone(), until);
        } else {
            self.say(&again.text());
        }
        self.state.rechecking = Some(again);
    }

    /// The resident is left: what is to be measured again is said wherever the aide is then;
    /// what could be already, back here.
    pub(super) fn leave_rechecks(&mut self) {
        let Some(resident) = self.resident() else {
            return;
        };
        let elsewhere = |what, until, said| Elsewhere {
            resident: resident.id.clone(),
            place: place_of(resident),
            what,
            until,
            said,
        };
        let mut last = self.state.rechecking.take();
        for (what, until) in self.take_rechecks() {
            last.take_if(|it| *it == what);
            let name = what.sign.name();
            self.say(&format!("I will say when to recheck the {name} here."));
            self.state.elsewhere.push(elsewhere(what, until, false));
        }
        let now = self.now;
        let last = last.map(|what| elsewhere(what, now, true));
        self.state.elsewhere.extend(last);
    }

    /// Back at the resident, who is to be measured again now, or soon.
    pub(super) fn take_up_rechecks(&mut self) {
        let here = self.state.resident.clone();
        let elsewhere = &mut self.state.elsewhere;
        let mine = elsewhere.extract_if(.., |it| Some(&it.resident) == here.as_ref());
        for Elsewhere { what, until, .. } in mine.collect::<Vec<_>>() {
            if until > self.now {
                self.wait_for_recheck(what.clone(), until);
            } else {
                self.say(&what.text());
            }
            self.state.rechecking = Some(what);
        }
    }

    /// Says once what may be measured again elsewhere; never while something waits here,
    /// or is counted.
    pub(super) fn say_elsewhere(&mut self) {
        let known = self.state.staff.is_known() && !self.state.asleep;
        if !known || self.waiting() || self.counting() {
            return;
        }
        let now = self.now;
        let mut due = Vec::new();
        for it in &mut self.state.elsewhere {
            if !it.said && it.until <= now {
                it.said = true;
                let place = wording::capital(&it.place);
                due.push(format!("{place}: recheck the {}.", it.what.sign.name()));
            }
        }
        for text in due {
            self.say(&text);
        }
    }

    /// When the next of these has to be said; what waits for an answer needs no time.
    pub(super) fn elsewhere_wakes_at(&self) -> Option<Time> {
        let waits = self.state.elsewhere.iter().map(|it| it.until);
        waits.filter(|it| *it > self.now).min()
    }

    /// The vital signs of this visit whose last reading is out of range.
    fn flagged_signs(&self) -> Vec<VitalSign> {
        let is_flagged = |it: &VitalSign| self.last_here(*it).is_some_and(KeptHere::flagged);
        VitalSign::ALL.into_iter().filter(is_flagged).collect()
    }

    /// What was kept last of a vital sign in this visit.
    fn last_here(&self, sign: VitalSign) -> Option<&KeptHere> {
        let visit = self.state.visit;
        let of_visit = |it: &&KeptHere| it.visit == visit && it.sign() == sign;
        self.own_kept().filter(of_visit).last()
    }

    /// When a vital sign may be measured again: the cuff on the same limb after
    /// the home's wait, anything else when nothing speaks against it any more.
    fn again_from(&self, resident: &Resident, first: &KeptHere) -> Option<Time> {
        if first.sign() == VitalSign::BloodPressure {
            let wait = resident.limits.home().thresholds().cuff_again_minutes;
            return Some(first.record.measured_at + Duration::minutes(wait.into()));
        }
        let how = first.measurement.qualifiers();
        let cautions = self.cautions(resident, first.sign(), how).into_iter();
        cautions.filter_map(|it| it.wait_until).max()
    }

    /// What is measured again is measured the same way, unless another is said.
    pub(super) fn assume_same_way(&self, measurement: Measurement) -> Measurement {
        let sign = measurement.sign();
        let first = match &self.state.rechecking {
            Some(it) if it.sign == sign => it.first.qualifiers(),
            _ => return measurement,
        };
        let missing = |it: &Qualifier| {
            it.kind().is_way() && measurement.qualifiers().get(it.kind()).is_none()
        };
        let same: Vec<Qualifier> = first.iter().filter(missing).collect();
        let same = same.into_iter();
        same.fold(measurement, |it, how| it.clone().with(how).unwrap_or(it))
    }

    /// Whether a vital sign is being measured again on the aide's word.
    pub(super) fn is_rechecking(&self, sign: VitalSign) -> bool {
        self.state
            .rechecking
            .as_ref()
            .is_some_and(|it| it.sign == sign)
    }

    /// Says both values when what was to be measured again was kept.
    pub(super) fn rechecked(&mut self, record: &ReadingRecord) -> Option<String> {
        let sign = record.measurement.sign();
        let rechecking = self.state.rechecking.take_if(|it| it.sign == sign)?;
        self.drop_recheck_wait(sign);
        let first = wording::value(rechecking.first.value());
        let now = wording::value(record.measurement.value());
        let name = wording::capital(sign.name());
        Some(format!("{name} first {first}, now {now}."))
    }
}

/// A wait in words: seconds, or minutes rounded up.
fn wait(seconds: i64) -> String {
    let (number, unit) = match seconds {
        ..2 => return "one second".to_owned(),
        2..120 => (seconds, "seconds"),
        _ => ((seconds + 59) / 60, "minutes"),
    };
    format!("{} {unit}", wording::digits(number.into()))
}

/// How it was measured, as far as it must be the same: ", left arm, sitting".
pub(super) fn how(qualifiers: &Qualifiers, sign: VitalSign) -> String {
    let required = sign.required().iter().filter_map(|it| qualifiers.get(*it));
    let mut words = vec![""];
    for qualifier in required {
        words.push(qualifier.spoken());
    }
    words.join(", ")
}
