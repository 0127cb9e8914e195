//! Counts and waits. Several may run at once, while the aide goes on.
//!
//! A count runs from the end of the word "Start" to the beginning of the word
//! "Stop", as they left the loudspeaker: [`Event::Said`](super::Event::Said)
//! brings these times. When "Stop" comes more than [`LATE`] after its time, the
//! time of the count is not known, and it is not used. On a loudspeaker a count
//! is right within a quarter of a second (`tests/live_round.rs`). Nothing else is
//! said while somebody counts: what is over by then is said after "Stop".

use chrono::Duration;

use super::recheck::Rechecking;
use super::seen::Running;
use super::turn::Turn;
use super::{Action, Phase, Question};
use crate::facts::Time;
use crate::speaking::wording;
use crate::understanding::{Manner, Part, Unclear, Utterance, Why};
use crate::vitals::{
    CountError, LATE_SECONDS, Qualifier, QualifierKind, Qualifiers, Rhythm, VitalSign, period,
};

/// How late "Stop" may be.
const LATE: Duration = Duration::seconds(LATE_SECONDS as i64);
/// Between two ticks of a count.
const TICK: i32 = 5;

/// Something that takes a time.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Timer {
    what: Timed,
    length: Duration,
    /// When it began; none until "Start" has been said.
    began: Option<Time>,
}

#[derive(Debug, Clone, PartialEq)]
enum Timed {
    Count(Count),
    /// A wait, by name.
    Wait(String),
    /// A wait until a vital sign may be measured again.
    Recheck(Rechecking),
}

/// Beats or breaths being counted.
#[derive(Debug, Clone, PartialEq)]
struct Count {
    sign: VitalSign,
    seconds: u16,
    /// How many ticks were given, where they are wanted.
    ticks: Option<i32>,
    /// What is known of the reading already.
    qualifiers: Qualifiers,
}

/// A count whose "Stop" is being said.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Stopping {
    due: Time,
    count: Unclear,
}

impl Timer {
    fn ends(&self) -> Option<Time> {
        self.began.map(|it| it + self.length)
    }

    pub(super) fn name(&self) -> String {
        match &self.what {
            Timed::Count(count) => format!("{} count", count.sign.name()),
            Timed::Wait(name) => name.clone(),
            Timed::Recheck(it) => format!("recheck of the {}", it.sign().name()),
        }
    }

    pub(super) const fn is_recheck(&self) -> bool {
        matches!(self.what, Timed::Recheck(_))
    }

    pub(super) fn seen(&self) -> Running {
        Running {
            name: self.name(),
            until: self.ends(),
            count: matches!(self.what, Timed::Count(_)),
        }
    }
}

impl Turn<'_> {
    /// "Count pulse": says when to start, and later when to stop.
    pub(super) fn start_count(&mut self, sign: VitalSign, seconds: Option<u16>, ticks: bool) {
        let Some(resident) = self.resident() else {
            return self.first_the_room();
        };
        if self.counting() {
            return self.say("A count is running. Say stop to end it.");
        }
        // Refused before anything that waits is taken up.
        if let Err(why) = period(sign, seconds, false) {
            return self.refuse_count(why);
        }
        let Some(qualifiers) = self.take_asked(sign) else {
            return;
        };
        let uneven = Some(Qualifier::Rhythm(Rhythm::Irregular));
        let known = sign == VitalSign::Pulse && resident.care.precautions.irregular_pulse;
        let irregular = known || qualifiers.get(QualifierKind::Rhythm) == uneven;
        if irregular && seconds.is_some_and(|it| it < 60) {
            self.say("Irregular: the full minute.");
        }
        let Ok(seconds) = period(sign, seconds, irregular) else {
            return;
        };
        self.say(&format!(
            "{}, {} seconds. Start.",
            wording::capital(sign.name()),
            wording::digits(seconds.into())
        ));
        self.state.timers.push(Timer {
            what: Timed::Count(Count {
                sign,
                seconds,
                ticks: ticks.then_some(0),
                qualifiers,
            }),
            length: Duration::seconds(seconds.into()),
            began: None,
        });
        // "Start" said once more would begin another count in the aide's head.
        self.keep_last_said();
    }

    fn refuse_count(&mut self, why: CountError) {
        let why = wording::capital(&wording::spelled(&why.to_string()));
        self.say(&format!("{why}."));
        if self.waiting() {
            self.ask_again();
        }
    }

    /// Takes what waits for a value of `sign`, which is to be counted now, and
    /// returns the qualifiers that are known. None when something else waits.
    fn take_asked(&mut self, sign: VitalSign) -> Option<Qualifiers> {
        let mut qualifiers = Qualifiers::default();
        match &self.state.phase {
            Phase::Asking(Question::Value(asked)) if asked.sign == sign => {
                qualifiers = asked.qualifiers.clone();
                self.state.phase = Phase::Open;
            }
            Phase::Open => {}
            _ => {
                self.say("This comes first.");
                self.ask_again();
                return None;
            }
        }
        Some(qualifiers)
    }

    /// "Time three minutes".
    pub(super) fn start_wait(&mut self, thermometer: bool, seconds: u32) {
        if self.state.resident.is_none() {
            return self.first_the_room();
        }
        let (number, unit) = if seconds.is_multiple_of(60) {
            (seconds / 60, "minute")
        } else {
            (seconds, "second")
        };
        let ending = if number == 1 { "" } else { "s" };
        let length = format!("{} {unit}{ending}", wording::digits(number.into()));
        let (name, said) = if thermometer {
            ("thermometer".to_owned(), format!("Thermometer, {length}."))
        } else {
            (length.clone(), format!("{}.", wording::capital(&length)))
        };
        self.say(&format!("{said} I will say when."));
        self.push_wait(
            Timed::Wait(name),
            self.now + Duration::seconds(seconds.into()),
        );
        if self.waiting() {
            self.ask_again();
        }
    }

    /// Says at `until` what may be measured again.
    pub(super) fn wait_for_recheck(&mut self, what: Rechecking, until: Time) {
        self.drop_recheck_wait(what.sign());
        self.push_wait(Timed::Recheck(what), until);
    }

    /// Takes out the waits for a recheck, and when they end.
    pub(super) fn take_rechecks(&mut self) -> Vec<(Rechecking, Time)> {
        let timers = std::mem::take(&mut self.state.timers);
        let mut rechecks = Vec::new();
        for timer in timers {
            match (timer.ends(), timer.what) {
                (Some(until), Timed::Recheck(what)) => rechecks.push((what, until)),
                (_, what) => self.state.timers.push(Timer { what, ..timer }),
            }
        }
        rechecks
    }

    /// What was waited for has been measured.
    pub(super) fn drop_recheck_wait(&mut self, sign: VitalSign) {
        let of = |it: &Timer| matches!(&it.what, Timed::Recheck(of) if of.sign() == sign);
        self.state.timers.retain(|it| !of(it));
    }

    fn push_wait(&mut self, what: Timed, until: Time) {
        self.state.leave_asked = None;
        self.state.timers.push(Timer {
            what,
            length: until - self.now,
            began: Some(self.now),
        });
    }

    /// Whether somebody counts, or is about to.
    pub(super) fn counting(&self) -> bool {
        self.state.count().is_some()
    }

    /// Whether what was understood is what somebody says who counts, and not
    /// for Sayback: a number, a yes. Commands and named readings are.
    pub(super) fn is_counted_aloud(&self, utterance: &Utterance) -> bool {
        let aloud = matches!(
            utterance,
            Utterance::Part(_) | Utterance::Yes(_) | Utterance::No | Utterance::Reason(_)
        );
        // A yes to who records is one, whoever counts.
        aloud
            && !self.state.staff.is_offered()
            && self.counting()
            && self.state.phase == Phase::Open
            && !self.state.waits_for_standing()
    }

    /// What was said has left the loudspeaker, in this time.
    pub(super) fn said(&mut self, began: Time, ended: Time) {
        for timer in &mut self.state.timers {
            timer.began.get_or_insert(ended);
        }
        if let Some(stopping) = self.state.stopping.take()
            && began - stopping.due > LATE
        {
            self.forget_unclear(stopping.count.sign, &stopping.count.qualifiers);
            self.too_late(stopping.count, began - stopping.due);
        }
    }

    /// What was said was not heard.
    pub(super) fn not_said(&mut self) {
        let before = self.state.timers.len();
        self.state.timers.retain(|it| it.began.is_some());
        if self.state.timers.len() < before {
            self.say("Start could not be said. Nothing is counted.");
            self.ask_again_if_waiting();
        }
        if let Some(stopping) = self.state.stopping.take() {
            self.forget_unclear(stopping.count.sign, &stopping.count.qualifiers);
            self.too_late(stopping.count, LATE);
        }
    }

    /// "Stop" came too late: nobody knows over how long it was counted.
    fn too_late(&mut self, count: Unclear, late: Duration) {
        let seconds = wording::digits(late.num_seconds().into());
        let why = format!("stop came {seconds} seconds late, so that count is not used");
        let again = format!("{why}; say count {} to count again", count.sign.name());
        self.ask_count(Unclear {
            why: Why::Arithmetic(again),
            manner: None,
            ..count
        });
    }

    /// Asks for the number that was counted, after what is asked already.
    fn ask_count(&mut self, count: Unclear) {
        self.state.unclear.push_front(count);
        if self.state.phase == Phase::Open {
            self.advance();
            self.who_before_that();
        } else {
            self.ask_again();
        }
    }

    /// Time passes for the count; then for the waits, unless it goes on.
    pub(super) fn tick_timers(&mut self) {
        self.tick_count();
        if self.counting() {
            return;
        }
        let now = self.now;
        let is_over = |it: &Timer| it.ends().is_some_and(|at| at <= now);
        let timers = std::mem::take(&mut self.state.timers);
        let (mut over, left): (Vec<Timer>, Vec<Timer>) = timers.into_iter().partition(is_over);
        self.state.timers = left;
        over.sort_by_key(Timer::ends);
        for timer in &over {
            let text = match &timer.what {
                Timed::Recheck(what) => what.text(),
                _ => format!("{}: time.", wording::capital(&timer.name())),
            };
            self.say(&text);
        }
        if !over.is_empty() && self.waiting() {
            self.ask_again();
        }
    }

    fn tick_count(&mut self) {
        let now = self.now;
        let Some(at) = self.state.count() else {
            return;
        };
        let timer = &mut self.state.timers[at];
        let (Some(began), Timed::Count(count)) = (timer.began, &mut timer.what) else {
            return;
        };
        let due = began + timer.length;
        if now < due {
            if let Some(ticks) = &mut count.ticks
                && now >= began + Duration::seconds(((*ticks + 1) * TICK).into())
            {
                *ticks += 1;
                self.act(Action::Click);
            }
            return;
        }
        let asked = Unclear {
            sign: count.sign,
            why: Why::Counted(count.seconds),
            qualifiers: count.qualifiers.clone(),
            taken: None,
            manner: Some(Manner::counted(count.sign, count.seconds)),
        };
        self.state.timers.remove(at);
        self.drop_rate_of(asked.sign);
        if now - due > LATE {
            return self.too_late(asked, now - due);
        }
        self.say("Stop.");
        let count = asked.clone();
        self.state.stopping = Some(Stopping { due, count });
        self.ask_count(asked);
    }

    /// When a wait is over, and when a count needs the next word to the second.
    pub(super) fn wakes(&self) -> (Option<Time>, Option<Time>) {
        if let Some(at) = self.state.count() {
            let timer = &self.state.timers[at];
            let next = timer.began.map(|began| {
                let tick = match &timer.what {
                    Timed::Count(Count {
                        ticks: Some(ticks), ..
                    }) => Duration::seconds(((ticks + 1) * TICK).into()),
                    _ => timer.length,
                };
                began + tick.min(timer.length)
            });
            return (None, next);
        }
        let waits = self.state.timers.iter().filter_map(Timer::ends);
        let waits = waits.chain(self.guided_wakes_at());
        (waits.chain(self.elsewhere_wakes_at()).min(), None)
    }

    /// An answer to "how many" that is not just the number. True when it was.
    pub(super) fn count_answered(&mut self, part: &Part) -> bool {
        let Phase::Asking(Question::Value(unclear)) = &self.state.phase else {
            return false;
        };
        let Why::Counted(seconds) = unclear.why else {
            return false;
        };
        let mut unclear = unclear.clone();
        let sign = unclear.sign;
        let fits = |it: &&Qualifier| sign.qualifiers().contains(&it.kind());
        part.qualifiers
            .iter()
            .filter(fits)
            .for_each(|it| unclear.qualifiers.set(*it));
        match (&part.value, &part.why) {
            (None, Some(why @ Why::Arithmetic(_))) => unclear.why = why.clone(),
            (None, None) if !part.qualifiers.is_empty() => {
                let uneven = Some(Qualifier::Rhythm(Rhythm::Irregular));
                if seconds < 60 && unclear.qualifiers.get(QualifierKind::Rhythm) == uneven {
                    let why = CountError::NeedsFullMinute { sign };
                    unclear.why = Why::Arithmetic(why.to_string());
                }
            }
            _ => return false,
        }
        if matches!(unclear.why, Why::Arithmetic(_)) {
            unclear.manner = None;
        }
        self.ask(Question::Value(unclear));
        true
    }

    /// "Stop": the count, or what is guided, or the waits, or the lead.
    pub(super) fn stop(&mut self) {
        if self.counting() {
            self.cancel_count();
        } else if self.state.guided.is_some() {
            self.stop_orthostatic();
        } else if self.state.timers.is_empty() {
            self.stop_leading();
        } else {
            self.cancel_timers();
        }
    }

    /// What is being counted, or is about to be.
    pub(super) fn counted_sign(&self) -> Option<VitalSign> {
        match &self.state.timers[self.state.count()?].what {
            Timed::Count(count) => Some(count.sign),
            _ => None,
        }
    }

    /// Counts this no longer. False when it was not counted.
    pub(super) fn drop_count_of(&mut self, sign: VitalSign) -> bool {
        let before = self.state.timers.len();
        let of = |it: &Timer| matches!(&it.what, Timed::Count(count) if count.sign == sign);
        self.state.timers.retain(|it| !of(it));
        self.state.timers.len() < before
    }

    pub(super) fn cancel_count(&mut self) {
        let Some(at) = self.state.count() else {
            self.say("No count is running.");
            return self.ask_again_if_waiting();
        };
        self.state.timers.remove(at);
        self.say("The count is stopped. Nothing is counted.");
        self.ask_again_if_waiting();
    }

    pub(super) fn cancel_timers(&mut self) {
        let count = |it: &Timer| matches!(it.what, Timed::Count(_));
        let timers = std::mem::take(&mut self.state.timers);
        let (counts, waits): (Vec<Timer>, Vec<Timer>) = timers.into_iter().partition(count);
        self.state.timers = counts;
        let mut stopped = names(&waits);
        if stopped.is_empty() {
            let elsewhere = std::mem::take(&mut self.state.elsewhere).into_iter();
            stopped = elsewhere.filter_map(|it| Some(it.seen()?.name)).collect();
        }
        self.say(&if stopped.is_empty() {
            "No timer is running.".to_owned()
        } else {
            format!("Stopped: {}.", stopped.join(", "))
        });
        self.ask_again_if_waiting();
    }

    fn ask_again_if_waiting(&mut self) {
        if self.waiting() {
            self.ask_again();
        }
    }
}

pub(super) fn names(timers: &[Timer]) -> Vec<String> {
    timers.iter().map(Timer::name).collect()
}

impl super::State {
    /// Where among the timers the count is.
    fn count(&self) -> Option<usize> {
        let count = |it: &Timer| matches!(it.what, Timed::Count(_));
        self.timers.iter().position(count)
    }

    /// Whether the times of what is about to be said are needed.
    pub(super) fn wants_times(&self) -> bool {
        self.stopping.is_some() || self.timers.iter().any(|it| it.began.is_none())
    }
}
