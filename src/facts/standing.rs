//! Which of the corrections of one reading holds. They are made on recorders that
//! were cut off and at stations, and arrive everywhere in another order, so this goes
//! by what the facts say and by nothing else.

use std::collections::{BTreeMap, BTreeSet};

use uuid::Uuid;

use super::{Body, Fact, Time, TimeChange};
use crate::vitals::Measurement;

/// A correction of a reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Correction {
    /// The fact that made it.
    pub id: Uuid,
    /// When it was made.
    pub at: Time,
    /// The facts that it was made over; see [`Body::Corrected`].
    pub over: Vec<Uuid>,
    /// Whether a nurse made it, at the station.
    pub by_nurse: bool,
    /// What had held for whoever made it.
    pub old: Measurement,
    /// What is right, in their eyes.
    pub new: Measurement,
    /// When it was measured, where that is corrected too.
    pub time: Option<TimeChange>,
}

impl Correction {
    /// The reading that a fact corrects, and how; none where it corrects nothing.
    #[must_use]
    pub fn of<R>(fact: &Fact<R>) -> Option<(Uuid, Self)> {
        let Body::Corrected {
            reading,
            over,
            by_nurse,
            old,
            new,
            time,
            ..
        } = &fact.body
        else {
            return None;
        };
        let correction = Self {
            id: fact.id,
            at: fact.at,
            over: over.clone(),
            by_nurse: *by_nurse,
            old: old.clone(),
            new: new.clone(),
            time: *time,
        };
        Some((*reading, correction))
    }

    fn order(&self) -> (Time, Uuid) {
        (self.at, self.id)
    }
}

/// How the corrections of a reading stand to each other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing<'a> {
    /// The fact of the reading.
    reading: Uuid,
    /// Each made over the one before, the first over what was recorded; the last
    /// holds.
    pub line: Vec<&'a Correction>,
    /// The newest ones that do not hold: made without knowing of the one that does,
    /// and unknown to all who corrected since. In order of time.
    pub apart: Vec<&'a Correction>,
}

impl<'a> Standing<'a> {
    /// Puts the corrections of a reading in order, in whichever they come.
    ///
    /// Where two were made over the same, without knowing of each other, a nurse's
    /// goes before an aide's, with all that was made over it; then the later one by
    /// its time; then the one with the greater identifier.
    #[must_use]
    pub fn of(
        reading: Uuid,
        recorded: &Measurement,
        made: impl IntoIterator<Item = &'a Correction>,
    ) -> Self {
        let mut made: Vec<&Correction> = made.into_iter().collect();
        made.sort_by_key(|it| it.order());
        made.dedup_by_key(|it| it.id);
        let tree = Tree::of(reading, recorded, &made);
        // Whoever corrected once more with both before them has decided.
        let known = made.iter().flat_map(|it| it.over.iter().skip(1).copied());
        let known: BTreeSet<Uuid> = known.collect();
        let decided = tree.best(&made, &known);
        // Only facts that someone made up know of each other.
        let best = decided.or_else(|| tree.best(&made, &BTreeSet::new()));
        let mut line = Vec::new();
        let mut up = best;
        while let Some(at) = up {
            line.push(made[at]);
            up = tree.over[at];
        }
        line.reverse();
        let newest = |at: &usize| tree.after[*at].is_empty() && !known.contains(&made[*at].id);
        let apart = (0..made.len())
            .filter(newest)
            .filter(|at| Some(*at) != best);
        let apart = apart.map(|at| made[at]).collect();
        Self {
            reading,
            line,
            apart,
        }
    }

    /// The correction that holds; none where what was recorded does.
    #[must_use]
    pub fn holds(&self) -> Option<&'a Correction> {
        self.line.last().copied()
    }

    /// When it was measured, where that was corrected: what is corrected later leaves the
    /// time as it is, unless it says another.
    #[must_use]
    pub fn measured_at(&self) -> Option<Time> {
        let times = self.line.iter().rev().filter_map(|it| it.time);
        times.map(|it| it.new).next()
    }

    /// The fact by which what holds now holds.
    #[must_use]
    pub fn version(&self) -> Uuid {
        self.holds().map_or(self.reading, |it| it.id)
    }

    /// What a correction that is made now is made over.
    #[must_use]
    pub fn over(&self) -> Vec<Uuid> {
        let apart = self.apart.iter().map(|it| it.id);
        std::iter::once(self.version()).chain(apart).collect()
    }

    /// The ones apart that say something else than what holds: to be looked at.
    pub fn rivals(&self) -> impl Iterator<Item = &'a Correction> {
        let holds = self.holds().map(|it| &it.new);
        let at = self.measured_at();
        let apart = self.apart.iter().copied();
        apart.filter(move |it| {
            let other_time = it.time.is_some_and(|it| Some(it.new) != at);
            Some(&it.new) != holds || other_time
        })
    }
}

/// What each correction was made over, by places.
struct Tree {
    /// None for what was recorded.
    over: Vec<Option<usize>>,
    after: Vec<Vec<usize>>,
    /// Each later than the one that it was made over.
    order: Vec<usize>,
}

/// What decides between two: the time of the newest correction by a nurse, where there
/// is one; the time and the identifier of the newest of all.
type Rank = (Option<Time>, Time, Uuid);

impl Tree {
    fn of(reading: Uuid, recorded: &Measurement, made: &[&Correction]) -> Self {
        let places = made.iter().enumerate().map(|(at, it)| (it.id, at));
        let places: BTreeMap<Uuid, usize> = places.collect();
        let mut over: Vec<Option<usize>> = made
            .iter()
            .enumerate()
            .map(|(at, it)| {
                let over = it.over.first().filter(|it| **it != reading)?;
                places.get(over).copied().filter(|it| *it != at)
            })
            .collect();
        guess(&mut over, recorded, made);
        let mut after = vec![Vec::new(); made.len()];
        let mut first = Vec::new();
        for (at, over) in over.iter().enumerate() {
            match over {
                Some(over) => after[*over].push(at),
                None => first.push(at),
            }
        }
        let (mut order, mut reached) = (Vec::new(), vec![false; made.len()]);
        let mut left = first;
        for next in 0..made.len() {
            while let Some(at) = left.pop() {
                reached[at] = true;
                order.push(at);
                left.extend(&after[at]);
            }
            // Made over each other: someone made them up.
            if !reached[next] {
                if let Some(over) = over[next].take() {
                    after[over].retain(|it| *it != next);
                }
                left.push(next);
            }
        }
        order.extend(left);
        Self { over, after, order }
    }

    /// The newest one of the line that goes before all others.
    fn best(&self, made: &[&Correction], known: &BTreeSet<Uuid>) -> Option<usize> {
        let mut ranks: Vec<Option<(Rank, usize)>> = vec![None; made.len()];
        let mut best: Option<(Rank, usize)> = None;
        for &at in self.order.iter().rev() {
            let it = made[at];
            if self.after[at].is_empty() && !known.contains(&it.id) {
                ranks[at] = Some(((None, it.at, it.id), at));
            }
            let Some(((nurse, time, id), newest)) = ranks[at] else {
                continue;
            };
            let nurse = nurse.or(it.by_nurse.then_some(it.at));
            let rank = Some(((nurse, time, id), newest));
            let before = match self.over[at] {
                Some(over) => &mut ranks[over],
                None => &mut best,
            };
            *before = (*before).max(rank);
        }
        best.map(|(_, newest)| newest)
    }
}

/// Facts of before it was kept what a correction is made over: each goes to one that
/// made the value with which it begins.
fn guess(over: &mut [Option<usize>], recorded: &Measurement, made: &[&Correction]) {
    let old: Vec<usize> = (0..made.len())
        .filter(|at| made[*at].over.is_empty())
        .collect();
    // By their times alone they would be wrong where the clock was set back. An order
    // of all always ends with the same value. More than eight nobody makes.
    if old.len() <= 8
        && let Some(line) = in_line(recorded, &old, made)
    {
        for pair in line.windows(2) {
            over[pair[1]] = Some(pair[0]);
        }
        return;
    }
    for at in old {
        let before = made[..at].iter().rposition(|it| it.new == made[at].old);
        over[at] = before;
    }
}

fn in_line(holds: &Measurement, left: &[usize], made: &[&Correction]) -> Option<Vec<usize>> {
    if left.is_empty() {
        return Some(Vec::new());
    }
    let next = left.iter().filter(|at| made[**at].old == *holds);
    next.into_iter().find_map(|&next| {
        let others: Vec<usize> = left.iter().copied().filter(|it| *it != next).collect();
        let mut line = in_line(&made[next].new, &others, made)?;
        line.insert(0, next);
        Some(line)
    })
}

#[cfg(test)]
mod tests;
