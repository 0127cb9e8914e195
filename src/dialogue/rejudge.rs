//! What a change of a kept reading does to what was raised by it: a report that
//! does not hold any more is withdrawn and said to be; a nurse who was told
//! already is to be told of the change; what the right value raises is raised.

use uuid::Uuid;

use super::kept::{KeptHere, Told, is_own};
use super::report::spoken;
use super::turn::Turn;
use crate::facts::{Body, Raised};
use crate::residents::{Resident, ResidentId};
use crate::vitals::rules::{Flag, Rule, ToldWrong, fall_in_doubt, settle_scores, told_wrong};
use crate::vitals::{Measurement, VitalSign, Working, described};

/// What to say of a change.
#[derive(Debug, Default)]
pub(super) struct Said {
    /// What needs no report any more.
    pub(super) withdrawn: Vec<String>,
    /// What is to be reported.
    pub(super) raised: Vec<String>,
}

impl Turn<'_> {
    /// Corrects a kept reading, and says so.
    pub(super) fn correct_kept(
        &mut self,
        resident: &Resident,
        reading: Uuid,
        (to, working): (&Measurement, Option<Working>),
        reason: &str,
    ) {
        let Some(old) = self.kept_mut(resident, reading).map(|it| it.clone()) else {
            return;
        };
        self.forget(resident, &old);
        let history = self.state.histories.entry(resident.id.clone()).or_default();
        let mut new = old.clone();
        new.measurement = to.clone();
        history.push(new.reading());
        let now = self.raised_by(resident, &new.reading());
        let holds = |(_, it): &&(Uuid, Raised)| !is_own(it) || now.contains(it);
        let stands = old.flags.iter().filter(holds).map(|(flag, _)| *flag);
        let version = self.keep(Body::Corrected {
            reading,
            resident: resident.id.clone(),
            old: old.measurement.clone(),
            new: to.clone(),
            reason: reason.to_owned(),
            stands: stands.collect(),
            over: vec![old.version],
            by_nurse: false,
            time: None,
        });
        if let Some(kept) = self.kept_mut(resident, reading) {
            kept.measurement = to.clone();
            kept.working = working;
            kept.version = version;
        }
        let words = described(to);
        let said = self.judge_again(resident, &old, ToldWrong::Corrected(&words));
        self.say("Changed.");
        self.say_changed(&said);
    }

    /// Retracts a kept reading. Returns what to say after that.
    pub(super) fn retract_kept(
        &mut self,
        resident: &Resident,
        reading: Uuid,
        reason: &str,
        why: ToldWrong<'_>,
    ) -> Said {
        let here = self.state.kept.entry(resident.id.clone()).or_default();
        let Some(at) = here.iter().position(|it| it.id == reading) else {
            return Said::default();
        };
        let old = here.remove(at);
        self.forget(resident, &old);
        // What a nurse wanted taken again was not.
        self.state.rechecks.extend(old.settled.iter().cloned());
        self.keep(Body::Retracted {
            reading,
            resident: resident.id.clone(),
            reason: reason.to_owned(),
            over: vec![old.version],
        });
        self.judge_again(resident, &old, why)
    }

    pub(super) fn say_changed(&mut self, said: &Said) {
        for it in &said.withdrawn {
            self.say(it);
        }
        self.say_raised(&said.raised);
    }

    fn kept_mut(&mut self, resident: &Resident, reading: Uuid) -> Option<&mut KeptHere> {
        let here = self.state.kept.get_mut(&resident.id)?;
        here.iter_mut().find(|it| it.id == reading)
    }

    /// Takes a reading out of the resident's past, as it stood.
    fn forget(&mut self, resident: &Resident, old: &KeptHere) {
        let history = self.state.histories.entry(resident.id.clone()).or_default();
        history.remove(&old.reading());
        if old.sign() == VitalSign::BloodPressure && self.state.guided.take().is_some() {
            self.say("The lying and standing pressures are stopped, since one was changed. Start them again if they are needed.");
        }
    }

    /// Judges anew what the change of `old` can have changed: the reading
    /// itself, later ones of its vital sign, and scores of the visit.
    fn judge_again(&mut self, resident: &Resident, old: &KeptHere, why: ToldWrong<'_>) -> Said {
        let mut said = Said::default();
        let here = self.state.kept.get(&resident.id);
        let after = here.into_iter().flatten().filter(|it| {
            it.sign() == old.sign() && it.record.measured_at >= old.record.measured_at
        });
        let after: Vec<KeptHere> = after.cloned().collect();
        let gone_with = after.iter().all(|it| it.id != old.id);
        let mut gone: Vec<(Uuid, Raised)> = Vec::new();
        let mut new: Vec<(Uuid, Raised)> = Vec::new();
        if gone_with {
            gone.extend(old.flags.iter().filter(|(_, it)| is_own(it)).cloned());
        }
        gone.extend(old.flags.iter().filter(|(_, it)| is_told(it)).cloned());
        for kept in &after {
            let now = self.raised_by(resident, &kept.reading());
            let own = kept.flags.iter().filter(|(_, it)| is_own(it));
            gone.extend(own.clone().filter(|(_, it)| !now.contains(it)).cloned());
            let is_new = |it: &Raised| own.clone().all(|(_, was)| was != it);
            new.extend(now.into_iter().filter(is_new).map(|it| (kept.id, it)));
        }
        // The score was raised by whichever reading made the set complete.
        let kept = self.state.kept.get(&resident.id).into_iter().flatten();
        let all = kept.chain(gone_with.then_some(old));
        let scores = all.flat_map(|it| it.flags.clone());
        let scores: Vec<(Uuid, Raised)> = scores.filter(|(_, it)| it.score().is_some()).collect();
        let score = self.score(resident);
        match &score {
            Some((total, _)) => {
                let whose = resident.id.clone();
                self.state.scores.insert(whose, (*total, self.now));
            }
            None => drop(self.state.scores.remove(&resident.id)),
        }
        let raised = scores.iter().filter_map(|it| Some((it, it.1.score()?)));
        let (stale, score) = settle_scores(raised, score.map(|(_, flag)| flag));
        gone.extend(stale.into_iter().cloned());
        let carrier = if gone_with {
            let kept = self.state.kept.get(&resident.id);
            kept.and_then(|it| it.last()).map(|it| it.id)
        } else {
            Some(old.id)
        };
        if let (Some(score), Some(carrier)) = (score, carrier) {
            new.push((carrier, Raised::Rule(score)));
        }
        self.withdraw(resident, old, &gone, why, &mut said);
        self.doubt_standing_fall(resident, old, gone_with, &mut said);
        for (reading, raised) in new {
            let text = self.raise(resident, reading, raised);
            said.raised.push(text);
        }
        said
    }

    /// Remembers what a nurse was told, in case it turns out wrong.
    pub(super) fn remember_told(&mut self, resident: &ResidentId, flags: &[Uuid], to: &str) {
        let here = self.state.kept.get(resident).into_iter().flatten();
        let told = here.flat_map(|kept| {
            let of = kept.flags.iter().map(|(flag, _)| *flag);
            let told = Told {
                nurse: to.to_owned(),
                was: described(&kept.measurement),
            };
            of.filter(|it| flags.contains(it))
                .map(move |flag| (flag, told.clone()))
        });
        let told: Vec<(Uuid, Told)> = told.collect();
        self.state.told.extend(told);
    }

    /// Closes the open ones of some flags, and opens a report for each nurse who
    /// was told of the others.
    fn withdraw(
        &mut self,
        resident: &Resident,
        old: &KeptHere,
        gone: &[(Uuid, Raised)],
        why: ToldWrong<'_>,
        said: &mut Said,
    ) {
        let is_gone = |flag: &Uuid| gone.iter().any(|(it, _)| it == flag);
        for kept in self.state.kept.values_mut().flatten() {
            kept.flags.retain(|(flag, _)| !is_gone(flag));
        }
        let open = &self.state.open_reports;
        let open: Vec<Uuid> = open.iter().map(|it| it.flag).filter(is_gone).collect();
        if !open.is_empty() {
            let texts = gone.iter().filter(|(flag, _)| open.contains(flag));
            let texts: Vec<String> = texts.map(|(_, it)| without_order(it)).collect();
            let text = format!("No longer to report: {}", texts.join(" "));
            said.withdrawn.push(text);
            self.state.open_reports.retain(|it| !is_gone(&it.flag));
            self.keep(Body::Withdrawn {
                flags: open.clone(),
                resident: resident.id.clone(),
                reading: old.id,
            });
        }
        let mut told: Vec<Told> = Vec::new();
        for (flag, _) in gone {
            // A report of a correction that was not made yet falls due anew.
            let told_wrong = self.state.told_wrong.remove(flag);
            let told_wrong = told_wrong.filter(|_| open.contains(flag));
            if let Some(it) = self.state.told.remove(flag).or(told_wrong)
                && told.iter().all(|before| before.nurse != it.nurse)
            {
                told.push(it);
            }
        }
        for it in told {
            let flag = told_wrong(old.sign(), &it.nurse, &it.was, why);
            let text = self.raise(resident, old.id, Raised::Rule(flag));
            if let Some(report) = self.state.open_reports.last() {
                self.state.told_wrong.insert(report.flag, it);
            }
            said.raised.push(text);
        }
    }

    /// Lying and standing pressures were compared with what a reading was
    /// before: their report stays, and the nurse is to know.
    fn doubt_standing_fall(
        &mut self,
        resident: &Resident,
        old: &KeptHere,
        gone_with: bool,
        said: &mut Said,
    ) {
        if old.sign() != VitalSign::BloodPressure {
            return;
        }
        let kept = self.state.kept.get(&resident.id).into_iter().flatten();
        let all = kept.chain(gone_with.then_some(old));
        let fell = |(_, it): &&(Uuid, Raised)| {
            matches!(
                it,
                Raised::Rule(Flag {
                    rule: Rule::StandingFall,
                    ..
                })
            )
        };
        if all.flat_map(|it| &it.flags).find(fell).is_none() {
            return;
        }
        let text = self.raise(resident, old.id, Raised::Rule(fall_in_doubt()));
        said.raised.push(text);
    }
}

/// Whether it is a report of what a nurse was told wrongly.
const fn is_told(raised: &Raised) -> bool {
    matches!(
        raised,
        Raised::Rule(Flag {
            rule: Rule::ToldWrong,
            ..
        })
    )
}

/// What was raised, without the order to report it that may follow.
fn without_order(raised: &Raised) -> String {
    let text = spoken(raised);
    let first = text.split_once(". ").map(|(first, _)| format!("{first}."));
    first.unwrap_or(text)
}
