//! What runs while a resident is left, or the round is ended.

use chrono::Duration;

use super::timers::{Timer, names};
use super::turn::Turn;

/// Asked to leave again within this time, the aide means it.
const MEANT: Duration = Duration::minutes(1);

impl Turn<'_> {
    /// Leaving a resident while something runs says so first. True when it did. A recheck
    /// goes on wherever the aide is.
    pub(super) fn timers_say_first(&mut self) -> bool {
        let here = self.state.timers.iter();
        let stopped = here.filter(|it| !it.is_recheck());
        self.running_says_first(stopped.map(Timer::name).collect())
    }

    /// So does ending the round, which ends all of them.
    pub(super) fn all_say_first(&mut self) -> bool {
        let all = self.state.running().map(|it| it.name);
        self.running_says_first(all.collect())
    }

    fn running_says_first(&mut self, mut running: Vec<String>) -> bool {
        let asked = self.state.leave_asked.replace(self.now);
        if self.state.guided.is_some() {
            running.push("standing pressures".to_owned());
        }
        if running.is_empty() || asked.is_some_and(|it| self.now - it <= MEANT) {
            return false;
        }
        let running = running.join(", ");
        self.say(&format!(
            "Still running: {running}. Say it again to leave; it is stopped then."
        ));
        // By hand too, it is said again only to this.
        self.state.asked += 1;
        true
    }

    /// Stops everything that runs, and says so.
    pub(super) fn drop_timers(&mut self) {
        let timers = std::mem::take(&mut self.state.timers);
        self.state.stopping = None;
        self.state.leave_asked = None;
        if !timers.is_empty() {
            self.say(&format!("Stopped: {}.", names(&timers).join(", ")));
        }
    }
}
