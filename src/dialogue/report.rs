//! Reports to the nurse: open until spoken, and repeated until then.

use std::collections::BTreeSet;

use super::turn::Turn;
use super::{Phase, State};
use crate::facts::{Body, OpenReport, Raised};
use crate::residents::{Home, Resident, ResidentId};
use crate::speaking::{Tone, wording};

impl Turn<'_> {
    pub(super) fn reported(&mut self, key: Option<&str>) {
        let Some(key) = key else {
            return self.reported_to_whom();
        };
        // Another nurse than the one that was read back.
        if matches!(self.state.phase, Phase::ConfirmReport { .. }) {
            self.state.phase = self.idle();
        }
        if self.pending_says_first() {
            return;
        }
        let home = &self.dialogue.home;
        let nurse = key.parse().ok().and_then(|at: usize| home.nurses.get(at));
        let to = nurse.map_or_else(|| "the charge nurse".to_owned(), |it| it.name.clone());
        let flags = self.reports_meant();
        if flags.is_empty() {
            return self.no_report_here();
        }
        let read_back = format!("Reported to {to}: {}", self.report_texts());
        self.prompt(&format!("{read_back} Yes?"));
        self.state.phase = Phase::ConfirmReport { to, read_back };
    }

    /// The name of the nurse was not understood: without an answer the report would be
    /// taken for noted.
    fn reported_to_whom(&mut self) {
        if self.reports_meant().is_empty() {
            self.no_report_here();
        } else {
            self.refuse(
                "Reported to whom? Say reported to nurse, and the name; or reported to the charge nurse.",
            );
        }
        self.keep_last_said();
        if self.waiting() {
            self.ask_again();
        }
    }

    /// Whoever told the nurse of somebody else would take that for noted.
    fn no_report_here(&mut self) {
        self.say("There is no open report here.");
        if !self.state.open_reports.is_empty() {
            self.say("One is open elsewhere: go there first, or say done.");
        }
    }

    pub(super) fn report_confirmed(&mut self, to: &str, read_back: &str) {
        self.state.phase = self.idle();
        let meant = self.reports_meant();
        let residents: BTreeSet<_> = meant
            .iter()
            .map(|&at| self.state.open_reports[at].resident.clone())
            .collect();
        for resident in residents {
            let flags = meant.iter().map(|&at| &self.state.open_reports[at]);
            let flags = flags
                .filter(|it| it.resident == resident)
                .map(|it| it.flag)
                .collect::<Vec<_>>();
            self.remember_told(&resident, &flags, to);
            self.keep(Body::ReportedToNurse {
                resident,
                flags,
                to: to.to_owned(),
                read_back: read_back.to_owned(),
            });
        }
        let mut at = 0;
        self.state.open_reports.retain(|_| {
            at += 1;
            !meant.contains(&(at - 1))
        });
        self.say("Noted, with the time.");
    }

    /// Says what readings raised, and what to do.
    pub(super) fn say_raised(&mut self, raised: &[String]) {
        if !raised.is_empty() {
            for (at, it) in raised.iter().enumerate() {
                if !raised[..at].contains(it) {
                    self.say(it);
                }
            }
            self.say("Report to the nurse now, and say reported to, and who.");
        }
    }

    /// The open reports that "reported" closes: this resident's, or all when no
    /// resident is named.
    fn reports_meant(&self) -> Vec<usize> {
        let here = self.state.resident.as_ref();
        let mut meant: Vec<usize> = (0..self.state.open_reports.len()).collect();
        meant.retain(|&at| here.is_none_or(|id| self.state.open_reports[at].resident == *id));
        meant
    }

    fn report_texts(&self) -> String {
        let meant = self.reports_meant();
        let meant = meant.iter().map(|&at| &self.state.open_reports[at]);
        let texts = texts_of(&self.dialogue.home, &self.state, meant).into_iter();
        texts.map(|(_, text)| text).collect::<Vec<_>>().join(" ")
    }

    /// Says the open reports of the current resident, if any.
    pub(super) fn say_open_reports_here(&mut self) {
        if self.state.resident.is_some() && !self.reports_meant().is_empty() {
            self.say_open_reports();
        }
    }

    /// Says the open reports that "reported" would close.
    pub(super) fn say_open_reports(&mut self) {
        let meant = self.reports_meant();
        if !meant.is_empty() {
            let (first, last) = self.insist(&meant);
            let texts = self.report_texts();
            self.say(&format!("{first} {texts} {last}"));
            self.sound(Tone::Report);
        }
    }

    pub(super) fn say_missing(&mut self) {
        let Some(resident) = self.resident() else {
            self.say("No resident yet. Which room?");
            return;
        };
        self.say_due(resident, "Nothing is due here.");
        self.say_open_reports_here();
        if self.waiting() {
            self.ask_again();
        }
    }

    /// Says what is still due, or `otherwise`.
    fn say_due(&mut self, resident: &Resident, otherwise: &str) {
        let due = self.due(resident);
        if due.is_empty() {
            self.say(otherwise);
        } else {
            self.say(&format!("Still due: {}.", wording::names(&due)));
        }
    }

    pub(super) fn done(&mut self) {
        if self.pending_says_first() || self.timers_say_first() {
            return;
        }
        self.drop_move();
        self.depart();
        self.leave();
        self.say("Which room?");
    }

    /// What to know before leaving a resident.
    pub(super) fn depart(&mut self) {
        if let Some(resident) = self.resident() {
            self.say_due(resident, "");
            self.say(&format!("Done with {}.", resident.name));
            self.say_open_reports_here();
        }
    }

    pub(super) fn end_round(&mut self) {
        // What runs was said when the end was asked for first.
        if self.pending_says_first() || (!self.state.end_asked && self.all_say_first()) {
            return;
        }
        self.drop_move();
        let open = self.state.open_reports.len();
        let asks = open > 0 && !self.state.end_asked;
        if !asks {
            self.drop_timers();
        }
        self.leave();
        if asks {
            self.state.end_asked = true;
            self.state.asked += 1;
            self.say("The round is not closed.");
            self.say_open_reports();
            self.say("Say reported to, and who; or say end of round again to leave it open.");
            return;
        }
        self.keep(Body::RoundClosed { open_reports: open });
        let kept = self.state.kept.values().filter(|it| !it.is_empty());
        let readings: usize = kept.clone().map(Vec::len).sum();
        let residents = kept.count();
        let plural = |count: usize, word: &str| {
            let ending = if count == 1 { "" } else { "s" };
            format!("{count} {word}{ending}")
        };
        let (readings, residents) = (plural(readings, "reading"), plural(residents, "resident"));
        self.say(&format!("Round closed. {readings} of {residents} kept."));
        match self.left().len() {
            0 => {}
            1 => self.say("1 resident still has something due."),
            left => self.say(&format!("{left} residents still have something due.")),
        }
        if open > 0 {
            self.say_open_reports();
        }
        self.state.ended = true;
    }
}

/// What is said of something raised, without the order to report it: that is said once,
/// after all that is to be reported.
pub(super) fn spoken(raised: &Raised) -> String {
    let text = match raised {
        Raised::Limit(finding) => wording::finding(finding),
        Raised::Rule(flag) => wording::spelled(&flag.say),
    };
    let orders = [" Report to the nurse.", " Report to the nurse now."];
    let without = orders.iter().find_map(|it| text.strip_suffix(it));
    without.map_or_else(|| text.clone(), str::to_owned)
}

/// What was crossed or met, for each resident: the name once, and nothing twice.
pub(super) fn texts_of<'a>(
    home: &Home,
    state: &State,
    reports: impl Iterator<Item = &'a OpenReport>,
) -> Vec<(&'a ResidentId, String)> {
    let mut all: Vec<(&ResidentId, Vec<String>)> = Vec::new();
    let reports: Vec<&OpenReport> = reports.collect();
    for (report, said) in state.in_order_of_retakes(&reports) {
        match all.iter_mut().find(|(id, _)| *id == &report.resident) {
            Some((_, texts)) if texts.contains(&said) => {}
            Some((_, texts)) => texts.push(said),
            None => all.push((&report.resident, vec![said])),
        }
    }
    let named = |(id, texts): (&'a ResidentId, Vec<String>)| {
        let who = home.resident(id).map_or(id.0.as_str(), |it| &it.name);
        (id, format!("{who}: {}", texts.join(" ")))
    };
    all.into_iter().map(named).collect()
}
