//! What the pages are made from: a fold over the record, held in memory and
//! kept up to date fact by fact, so that no page reads the record anew.
//!
//! It holds what lists and trends need. What only the page of one reading shows
//! (the words heard and read back) stays on disk and is fetched by identifier.

mod entries;
mod fold;
mod on_paper;
mod query;
mod stand;

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::sync::Arc;

use uuid::Uuid;

use crate::facts::{Fact, Pending, Time};
use crate::residents::{Home, Resident, ResidentId, Staff};
use crate::review::Recorder;
use crate::vitals::{Measurement, VitalSign};

use entries::Mark;
pub use entries::{
    Act, ActKind, Closed, ClosedHow, Entry, Flag, Held, Missed, Note, RangeChange, Recheck, Round,
    Stage,
};
pub use query::{Found, Query, Remark};

/// The fold.
#[derive(Debug)]
pub struct Index {
    home: Home,
    /// The recorders that send to this record.
    recorders: Vec<Recorder>,
    /// Which recorder sent a round, by what people call it.
    sent_by: HashMap<Uuid, Arc<str>>,
    /// All that ever sent one.
    senders: BTreeSet<Arc<str>>,
    seq: i64,
    damaged: usize,
    people: Names<ResidentId>,
    staff: Names<Staff>,
    values: HashSet<Arc<Measurement>>,
    readings: Vec<Entry>,
    /// One of each reading.
    marks: Vec<Mark>,
    at: HashMap<Uuid, u32>,
    by_time: Vec<u32>,
    by_resident: HashMap<ResidentId, Vec<u32>>,
    latest: HashMap<ResidentId, BTreeMap<VitalSign, u32>>,
    /// What was recorded at first, of readings that were corrected.
    recorded: HashMap<Uuid, Arc<Measurement>>,
    /// When it was measured, as was recorded at first, of readings whose time was corrected.
    recorded_at: HashMap<Uuid, Time>,
    /// Readings that nurses entered by hand.
    by_hand: HashSet<Uuid>,
    apart: BTreeSet<Uuid>,
    acts: HashMap<Uuid, Vec<Act>>,
    moved: HashMap<Uuid, Uuid>,
    flags: HashMap<Uuid, Flag>,
    flags_of: HashMap<Uuid, Vec<Uuid>>,
    closed: HashMap<Uuid, Closed>,
    /// The facts by which flags were withdrawn.
    withdrawn: HashMap<Uuid, Uuid>,
    open: BTreeSet<Uuid>,
    pending: BTreeMap<Uuid, (Pending, Time, Uuid)>,
    held: Vec<Held>,
    missed: Vec<Missed>,
    rechecks: Vec<Recheck>,
    notes: HashMap<ResidentId, Vec<Note>>,
    ranges: HashMap<ResidentId, Vec<RangeChange>>,
    set: Vec<Fact>,
    rounds: BTreeMap<Uuid, Round>,
    /// Whom aides identified last under each identifier, and when.
    identified: HashMap<ResidentId, (Time, Resident)>,
}

/// Values that occur many times, each kept once.
#[derive(Debug)]
struct Names<T> {
    all: Vec<T>,
}

impl<T: PartialEq + Clone> Names<T> {
    const fn new() -> Self {
        Self { all: Vec::new() }
    }

    fn of(&mut self, value: &T) -> u32 {
        // There are few, and the one sought is usually among the latest.
        let at = self.all.iter().rposition(|it| it == value);
        let at = at.unwrap_or_else(|| {
            self.all.push(value.clone());
            self.all.len() - 1
        });
        u32::try_from(at).unwrap_or(u32::MAX)
    }
}

impl Index {
    /// An index of nothing yet, for a home.
    #[must_use]
    pub fn new(home: Home) -> Self {
        Self {
            home,
            recorders: Vec::new(),
            sent_by: HashMap::new(),
            senders: BTreeSet::new(),
            seq: 0,
            damaged: 0,
            people: Names::new(),
            staff: Names::new(),
            values: HashSet::new(),
            readings: Vec::new(),
            marks: Vec::new(),
            at: HashMap::new(),
            by_time: Vec::new(),
            by_resident: HashMap::new(),
            latest: HashMap::new(),
            recorded: HashMap::new(),
            recorded_at: HashMap::new(),
            by_hand: HashSet::new(),
            apart: BTreeSet::new(),
            acts: HashMap::new(),
            moved: HashMap::new(),
            flags: HashMap::new(),
            flags_of: HashMap::new(),
            closed: HashMap::new(),
            withdrawn: HashMap::new(),
            open: BTreeSet::new(),
            pending: BTreeMap::new(),
            held: Vec::new(),
            missed: Vec::new(),
            rechecks: Vec::new(),
            notes: HashMap::new(),
            ranges: HashMap::new(),
            set: Vec::new(),
            rounds: BTreeMap::new(),
            identified: HashMap::new(),
        }
    }

    /// The home, with the ranges that nurses set in the record.
    #[must_use]
    pub const fn home(&self) -> &Home {
        &self.home
    }

    /// Forgets everything about everyone.
    pub fn forget(&mut self) {
        *self = Self::new(Home {
            nurses: Vec::new(),
            aides: Vec::new(),
            badges: BTreeMap::new(),
            residents: Vec::new(),
            ..self.home.clone()
        });
    }

    /// Puts the home as it is now in the place of the one before, with the ranges
    /// that nurses set in the record.
    pub fn set_home(&mut self, home: Home) {
        self.home = home;
        for fact in &self.set {
            self.home.take_range(fact);
        }
    }

    /// The recorders that send to this record, by what they are called.
    #[must_use]
    pub fn recorders(&self) -> &[Recorder] {
        &self.recorders
    }

    /// Takes note of when something of each recorder arrived.
    pub fn set_recorders(&mut self, recorders: Vec<Recorder>) {
        self.recorders = recorders;
    }

    /// Takes note of which recorder sent a round.
    pub fn set_sender(&mut self, round: Uuid, recorder: &str) {
        let known = self.senders.get(recorder).map(Arc::clone);
        let label = known.unwrap_or_else(|| Arc::from(recorder));
        self.senders.insert(Arc::clone(&label));
        self.sent_by.insert(round, label);
    }

    /// What people call the recorder of a round, where the home has or had more than one:
    /// of one there is nothing to tell apart.
    #[must_use]
    pub fn sender_of_round(&self, round: Uuid) -> Option<&str> {
        let sender = self.sent_by.get(&round)?;
        let mut enrolled = self.recorders.iter();
        let several = self.senders.len() > 1 || enrolled.any(|it| *it.label != **sender);
        several.then_some(sender)
    }

    /// The same of a reading's recorder; none of what a nurse entered or moved at the
    /// station.
    #[must_use]
    pub fn sender_of(&self, entry: &Entry) -> Option<&str> {
        let round = (!self.is_by_hand(entry)).then_some(entry.round)?;
        self.sender_of_round(round)
    }

    /// The place in the record up to which this has been folded.
    #[must_use]
    pub const fn seq(&self) -> i64 {
        self.seq
    }

    /// How many facts could not be read.
    #[must_use]
    pub const fn damaged(&self) -> usize {
        self.damaged
    }

    /// How many readings there are, retracted ones included.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.readings.len()
    }

    /// Whether there is no reading.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.readings.is_empty()
    }

    /// The resident of a reading.
    #[must_use]
    pub fn resident_of(&self, entry: &Entry) -> &ResidentId {
        &self.people.all[entry.who as usize]
    }

    /// Who recorded a reading.
    #[must_use]
    pub fn recorder_of(&self, entry: &Entry) -> &Staff {
        &self.staff.all[entry.by as usize]
    }

    /// Whether a nurse entered a reading by hand.
    #[must_use]
    pub fn is_by_hand(&self, entry: &Entry) -> bool {
        self.by_hand.contains(&entry.id)
    }

    /// Everyone who has recorded or acted, in order of first appearance.
    #[must_use]
    pub fn staff(&self) -> &[Staff] {
        &self.staff.all
    }

    /// Someone who is in the home's file or, with name and birth date alone, whom the
    /// record knows from before or after that.
    #[must_use]
    pub fn resident(&self, id: &ResidentId) -> Option<&Resident> {
        let identified = || self.identified.get(id).map(|(_, it)| it);
        self.home.resident(id).or_else(identified)
    }

    /// A resident's name, or the identifier of one who was never identified.
    #[must_use]
    pub fn name(&self, id: &ResidentId) -> String {
        let resident = self.resident(id);
        resident.map_or_else(|| id.0.clone(), |it| it.name.clone())
    }

    /// The reading recorded by this fact.
    #[must_use]
    pub fn reading(&self, id: Uuid) -> Option<&Entry> {
        self.at.get(&id).map(|&at| &self.readings[at as usize])
    }

    /// A resident's readings, in order of measurement, retracted ones included.
    #[must_use]
    pub fn readings_of(
        &self,
        resident: &ResidentId,
    ) -> impl DoubleEndedIterator<Item = &Entry> + ExactSizeIterator {
        let own = self.by_resident.get(resident).map_or(&[][..], |it| it);
        own.iter().map(|&at| &self.readings[at as usize])
    }

    /// Readings measured at or after `from`, in order of measurement.
    #[must_use]
    pub fn since(&self, from: Time) -> impl DoubleEndedIterator<Item = &Entry> {
        let start = self.by_time.partition_point(|&it| {
            let entry = &self.readings[it as usize];
            entry.measured_at < from
        });
        let after = self.by_time[start..].iter();
        after.map(|&at| &self.readings[at as usize])
    }

    /// The resident's last reading of a vital sign that counts.
    #[must_use]
    pub fn last(&self, resident: &ResidentId, sign: VitalSign) -> Option<&Entry> {
        let at = *self.latest.get(resident)?.get(&sign)?;
        self.readings.get(at as usize)
    }

    /// What was done to a reading, oldest first.
    #[must_use]
    pub fn acts(&self, reading: Uuid) -> &[Act] {
        self.acts.get(&reading).map_or(&[], |it| it)
    }

    /// The reading that this one was moved to, in the right resident's record.
    #[must_use]
    pub fn moved_to(&self, reading: Uuid) -> Option<&Entry> {
        self.reading(*self.moved.get(&reading)?)
    }

    /// The facts by which a reading is as it stands: its own, what was done to it, what it
    /// raised, and what became of that.
    #[must_use]
    pub fn facts_behind(&self, reading: Uuid) -> Vec<Uuid> {
        let acts = self.acts(reading).iter().map(|it| it.id);
        let flags = self.flags_of(reading).flat_map(|flag| {
            let closed = self.closed(flag.id).map(|it| it.id);
            let withdrawn = self.withdrawn.get(&flag.id).copied();
            [Some(flag.id), closed, withdrawn].into_iter().flatten()
        });
        [reading].into_iter().chain(acts).chain(flags).collect()
    }

    /// Whether a reading was moved here, from another resident's record.
    #[must_use]
    pub fn is_moved_here(&self, entry: &Entry) -> bool {
        self.moved.values().any(|it| *it == entry.id)
    }

    /// A flag.
    #[must_use]
    pub fn flag(&self, id: Uuid) -> Option<&Flag> {
        self.flags.get(&id)
    }

    /// The flags of a reading, oldest first.
    pub fn flags_of(&self, reading: Uuid) -> impl Iterator<Item = &Flag> {
        let ids = self.flags_of.get(&reading).map_or(&[][..], |it| it);
        ids.iter().filter_map(|it| self.flags.get(it))
    }

    /// How a flag was closed, or a recheck withdrawn, if it was.
    #[must_use]
    pub fn closed(&self, flag: Uuid) -> Option<&Closed> {
        self.closed.get(&flag)
    }

    /// Whether a flag was withdrawn with a change of its reading.
    #[must_use]
    pub fn is_withdrawn(&self, flag: Uuid) -> bool {
        self.withdrawn.contains_key(&flag)
    }

    /// Reports that are still open, oldest first.
    pub fn open_reports(&self) -> impl Iterator<Item = &Flag> {
        self.open.iter().filter_map(|it| self.flags.get(it))
    }

    /// What was read back and neither kept nor dropped by anyone: since when, and in
    /// which round.
    pub fn pending(&self) -> impl Iterator<Item = &(Pending, Time, Uuid)> {
        self.pending.values()
    }

    /// Readings that were never confirmed, oldest first.
    #[must_use]
    pub fn held(&self) -> &[Held] {
        &self.held
    }

    /// What was not taken, oldest first.
    #[must_use]
    pub fn missed(&self) -> &[Missed] {
        &self.missed
    }

    /// Rechecks that were asked for, whatever became of them, oldest first.
    #[must_use]
    pub fn rechecks(&self) -> &[Recheck] {
        &self.rechecks
    }

    /// Those that were neither measured since nor withdrawn.
    pub fn open_rechecks(&self) -> impl Iterator<Item = &Recheck> {
        self.rechecks.iter().filter(|it| {
            let last = self.last(&it.resident, it.sign);
            self.closed(it.id).is_none() && last.is_none_or(|last| last.measured_at <= it.at)
        })
    }

    /// Ranges set in the record for a resident, oldest first.
    #[must_use]
    pub fn ranges(&self, resident: &ResidentId) -> &[RangeChange] {
        self.ranges.get(resident).map_or(&[], |it| it)
    }

    /// A round.
    #[must_use]
    pub fn round(&self, id: Uuid) -> Option<&Round> {
        self.rounds.get(&id)
    }

    /// Rounds, newest first.
    pub fn rounds(&self) -> impl Iterator<Item = &Round> {
        self.rounds.values().rev()
    }

    /// Rounds that began before this one, newest first.
    pub fn rounds_before(&self, id: Uuid) -> impl Iterator<Item = &Round> {
        self.rounds.range(..id).map(|(_, it)| it).rev()
    }

    /// This round and those that began after it, oldest first.
    pub fn rounds_from(&self, id: Uuid) -> impl Iterator<Item = &Round> {
        self.rounds.range(id..).map(|(_, it)| it)
    }

    /// Reports of a round that are still open.
    pub fn open_of_round(&self, round: Uuid) -> impl Iterator<Item = &Flag> {
        self.open_reports().filter(move |it| it.round == round)
    }
}
