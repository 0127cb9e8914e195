//! Limits in layers that are never mixed up: what is impossible is refused by
//! the types; what is unlikely is measured again; what is outside the
//! resident's own range is reported.

mod bounds;

use std::collections::BTreeMap;
use std::fmt;

use chrono::{DateTime, FixedOffset, NaiveDate};
use serde::{Deserialize, Serialize};

use super::defaults::{outside_range, unlikely_range};
use super::derived::is_narrow;
use super::{HomeLimits, Measurement, Quantity, Unit, Units, VitalSign};

pub use bounds::{Bounds, Side};

/// The part of a measurement that a limit applies to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Component {
    /// The only number there is.
    Whole,
    /// Systolic pressure.
    Systolic,
    /// Diastolic pressure.
    Diastolic,
}

impl Component {
    /// The name of this part of `sign`, as spoken.
    #[must_use]
    pub const fn name(self, sign: VitalSign) -> &'static str {
        match self {
            Self::Whole => sign.name(),
            Self::Systolic => "systolic",
            Self::Diastolic => "diastolic",
        }
    }

    /// The name of this part of a reading, which may be a pressure by palpation.
    #[must_use]
    pub const fn name_of(self, sign: VitalSign, palpated: bool) -> &'static str {
        match (self, palpated) {
            (Self::Systolic, true) => "systolic by palpation",
            _ => self.name(sign),
        }
    }
}

/// Which layer of limits spoke. The impossible is not among them: it is refused
/// by [`Measurement::new`] and never becomes a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Layer {
    /// Far from the usual: recheck before believing it.
    Unlikely,
    /// Outside the resident's range: report to the nurse.
    OutsideRange,
    /// Changed against the resident's own history or baseline: report to the
    /// nurse. Said by [`rules`](super::rules), never by [`Limits::judge`].
    Changed,
}

/// Who or what set a limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// A default of this program, with the publication it comes from, or
    /// "common practice, no source".
    Default(String),
    /// The home, for all its residents.
    Home {
        /// The policy, as the home names it.
        policy: String,
        /// The day from which it holds.
        on: NaiveDate,
    },
    /// A nurse, for this resident.
    Nurse {
        /// The nurse who set it.
        name: String,
        /// The day it was set.
        on: NaiveDate,
    },
}

impl Source {
    /// The day from which the limit holds; `None` for a default, which always
    /// held.
    #[must_use]
    pub const fn since(&self) -> Option<NaiveDate> {
        match self {
            Self::Default(_) => None,
            Self::Home { on, .. } | Self::Nurse { on, .. } => Some(*on),
        }
    }

    /// The words that name the source when a finding is spoken. A publication
    /// is for the screen and the record, not for the ear.
    #[must_use]
    pub fn spoken(&self) -> String {
        match self {
            Self::Default(_) => "by the usual limits".to_owned(),
            Self::Home { .. } => "by this home's limits".to_owned(),
            Self::Nurse { name, .. } => format!("by the range {name} set"),
        }
    }
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Default(publication) => f.write_str(publication),
            Self::Home { policy, on } => write!(f, "{policy}, {on}"),
            Self::Nurse { name, on } => write!(f, "{name}, {on}"),
        }
    }
}

/// A limit that a measurement has crossed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// Which layer.
    pub layer: Layer,
    /// Which vital sign.
    pub sign: VitalSign,
    /// Which part of it.
    pub component: Component,
    /// Whether it is a pressure by palpation: whoever is told has to know.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub palpated: bool,
    /// Below or above.
    pub side: Side,
    /// The value as said.
    pub value: Quantity,
    /// The range in force.
    pub bounds: Bounds,
    /// Who set it.
    pub source: Source,
}

impl Finding {
    /// The name of what crossed the limit: "systolic by palpation".
    #[must_use]
    pub const fn name(&self) -> &'static str {
        self.component.name_of(self.sign, self.palpated)
    }
}

/// A range and who set it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Range {
    /// The range.
    pub bounds: Bounds,
    /// Who set it.
    pub source: Source,
}

/// When a range is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum When {
    /// The newest there is.
    Newest,
    /// At the end of a day.
    Day(NaiveDate),
    /// At a moment, such as that of a reading.
    Moment(DateTime<FixedOffset>),
}

impl From<NaiveDate> for When {
    fn from(day: NaiveDate) -> Self {
        Self::Day(day)
    }
}

impl From<DateTime<FixedOffset>> for When {
    fn from(moment: DateTime<FixedOffset>) -> Self {
        Self::Moment(moment)
    }
}

/// From when a range holds: the day as a file has it, from its beginning, or the
/// moment at which it was set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Since {
    day: NaiveDate,
    moment: Option<DateTime<FixedOffset>>,
}

impl Since {
    const fn day(day: NaiveDate) -> Self {
        Self { day, moment: None }
    }

    fn is_past(self, when: When) -> bool {
        match (when, self.moment) {
            (When::Newest, _) => true,
            (When::Day(day), _) => self.day <= day,
            (When::Moment(now), Some(moment)) => moment <= now,
            (When::Moment(now), None) => self.day <= now.date_naive(),
        }
    }
}

/// A range of the resident's own, and from when it holds; none where it was withdrawn, and
/// the home's held again.
type Dated = (Since, Option<Range>);

/// The limits that apply to one resident: the nurse's ranges for this resident,
/// each kept with when it was set; below them the home's; below those the
/// defaults.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Limits {
    /// Oldest first.
    own: BTreeMap<(VitalSign, Component), Vec<Dated>>,
    home: HomeLimits,
}

impl Limits {
    /// Sets the resident's own range for a component of a vital sign, from the
    /// beginning of its day. Earlier ranges are kept; of two set on one day the
    /// later call holds.
    pub fn set(&mut self, sign: VitalSign, component: Component, range: Range) {
        let day = range.source.since().unwrap_or(NaiveDate::MIN);
        self.insert((sign, component), Since::day(day), Some(range));
    }

    /// The same, from a moment on; none withdraws the one that was set, and the
    /// home's holds from then on.
    pub fn set_at(
        &mut self,
        sign: VitalSign,
        component: Component,
        range: Option<Range>,
        moment: DateTime<FixedOffset>,
    ) {
        let since = Since {
            day: moment.date_naive(),
            moment: Some(moment),
        };
        self.insert((sign, component), since, range);
    }

    fn insert(&mut self, of: (VitalSign, Component), since: Since, range: Option<Range>) {
        let dated = self.own.entry(of).or_default();
        let after = dated.partition_point(|it| it.0 <= since);
        dated.insert(after, (since, range));
    }

    /// Sets a range that is not among those set already.
    pub fn set_once(&mut self, sign: VitalSign, component: Component, range: Range) {
        let mut set = self.own.get(&(sign, component)).into_iter().flatten();
        if !set.any(|(_, it)| it.as_ref() == Some(&range)) {
            self.set(sign, component, range);
        }
    }

    /// Takes back every range that was set for a component of a vital sign.
    pub fn forget(&mut self, sign: VitalSign, component: Component) {
        self.own.remove(&(sign, component));
    }

    /// Puts a home's limits below the resident's own ranges.
    pub fn set_home(&mut self, home: HomeLimits) {
        self.home = home;
    }

    /// The home's limits.
    #[must_use]
    pub const fn home(&self) -> &HomeLimits {
        &self.home
    }

    /// The same without the home's limits, as before it set any.
    #[must_use]
    pub fn without_home(&self) -> Self {
        Self {
            own: self.own.clone(),
            home: HomeLimits::default(),
        }
    }

    /// The home's limits, unless they did not hold yet.
    fn home_on(&self, when: When) -> Option<&HomeLimits> {
        let since = self.home.since().map(Since::day);
        let holds = since.is_none_or(|it| it.is_past(when));
        holds.then_some(&self.home)
    }

    /// Every range that was ever set for this resident, oldest first.
    pub fn own(&self) -> impl Iterator<Item = (VitalSign, Component, Vec<&Range>)> {
        self.own.iter().map(|(&(sign, component), dated)| {
            let ranges = dated.iter().filter_map(|(_, range)| range.as_ref());
            (sign, component, ranges.collect())
        })
    }

    /// The resident's own range in force at a moment, or at the end of a day: the
    /// newest set until then.
    #[must_use]
    pub fn own_on(
        &self,
        sign: VitalSign,
        component: Component,
        when: impl Into<When>,
    ) -> Option<&Range> {
        self.changed_on(sign, component, when)?.1
    }

    /// What a nurse did last about the resident's own range until a moment or the end
    /// of a day: the day of it, and the range that was set, or none where it was taken
    /// back.
    #[must_use]
    pub fn changed_on(
        &self,
        sign: VitalSign,
        component: Component,
        when: impl Into<When>,
    ) -> Option<(NaiveDate, Option<&Range>)> {
        let when = when.into();
        let dated = self.own.get(&(sign, component))?;
        let mut newest = dated.iter().rev();
        let (since, range) = newest.find(|(since, _)| since.is_past(when))?;
        Some((since.day, range.as_ref()))
    }

    /// The newest range: the resident's own, else the home's, else the default.
    /// `None` for weight and height where neither nurse nor home has set one:
    /// no range fits everyone.
    #[must_use]
    pub fn range(&self, sign: VitalSign, component: Component) -> Option<Range> {
        self.range_on(sign, component, When::Newest)
    }

    /// Like [`range`](Self::range), at a moment or at the end of a day.
    #[must_use]
    pub fn range_on(
        &self,
        sign: VitalSign,
        component: Component,
        when: impl Into<When>,
    ) -> Option<Range> {
        let said = Units::UsCustomary.unspoken(sign);
        self.in_force(sign, component, when.into(), said)
    }

    fn in_force(
        &self,
        sign: VitalSign,
        component: Component,
        when: When,
        said: Unit,
    ) -> Option<Range> {
        let own = self.own_on(sign, component, when).cloned();
        own.or_else(|| self.homes_on(sign, component, when, said))
    }

    /// The range that holds for everyone of the home at a moment or at the end of a day:
    /// the home's, else the default for the unit that is `said`.
    #[must_use]
    pub fn homes_on(
        &self,
        sign: VitalSign,
        component: Component,
        when: impl Into<When>,
        said: Unit,
    ) -> Option<Range> {
        let home = self.home_on(when.into());
        let home = home.and_then(|it| it.outside_range(sign, component));
        let usual = || outside_range(sign, component, said);
        home.cloned().or_else(usual)
    }

    /// Every limit that `measurement` crosses, the gravest layer first, by the
    /// newest ranges. [`judge_on`](Self::judge_on) is for a reading of another
    /// time.
    #[must_use]
    pub fn judge(&self, measurement: &Measurement) -> Vec<Finding> {
        self.judge_on(measurement, When::Newest)
    }

    /// Whether `measurement` is far from the usual, so that it is asked about once more.
    #[must_use]
    pub fn is_unlikely(&self, measurement: &Measurement, when: impl Into<When>) -> bool {
        let mut findings = self.judge_on(measurement, when).into_iter();
        findings.any(|it| it.layer == Layer::Unlikely) || is_narrow(measurement)
    }

    /// Every limit that `measurement` crosses by the ranges in force when it was
    /// taken, the gravest layer first.
    #[must_use]
    pub fn judge_on(&self, measurement: &Measurement, when: impl Into<When>) -> Vec<Finding> {
        let when = when.into();
        let home = self.home_on(when);
        let sign = measurement.sign();
        let mut findings = Vec::new();
        for (component, value) in measurement.components() {
            let unlikely = home.and_then(|it| it.unlikely_range(sign, component));
            let layers = [
                (
                    Layer::Unlikely,
                    unlikely
                        .cloned()
                        .or_else(|| unlikely_range(sign, component)),
                ),
                (
                    Layer::OutsideRange,
                    self.in_force(sign, component, when, value.unit()),
                ),
            ];
            for (layer, range) in layers {
                let Some(Range { bounds, source }) = range else {
                    continue;
                };
                if let Some(side) = bounds.beyond(value) {
                    findings.push(Finding {
                        layer,
                        sign,
                        component,
                        palpated: measurement.is_palpated(),
                        side,
                        value,
                        bounds,
                        source,
                    });
                }
            }
        }
        findings.sort_by_key(|finding| finding.layer);
        findings
    }
}

#[cfg(test)]
mod tests;
