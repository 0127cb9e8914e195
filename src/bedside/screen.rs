//! A round's screen that is a page: it keeps the present view, and tells
//! whoever shows it of every change.

use tokio::sync::watch;

use super::view::{Doing, HeardLine, Kept, View, take_in};
use crate::dialogue::{Dialogue, State};
use crate::facts::{Fact, KeptReading, Time};
use crate::hearing::Heard;
use crate::round::{PASSED_OVER, Screen, Shown};
use crate::sync::LinkStatus;

/// The bedside screen's end at the round.
pub struct Bedside {
    to: watch::Sender<View>,
    kept: Vec<Kept>,
    saying: bool,
    lost: bool,
}

impl Bedside {
    pub(super) const fn new(to: watch::Sender<View>) -> Self {
        Self {
            to,
            kept: Vec::new(),
            saying: false,
            lost: false,
        }
    }

    /// A screen whose present view can be looked at, without a page.
    #[must_use]
    pub fn watched(dialogue: &Dialogue, now: Time) -> (Self, watch::Receiver<View>) {
        let (to, views) = watch::channel(first(dialogue, now));
        (Self::new(to), views)
    }

    fn show(&self, change: impl FnOnce(&mut View)) {
        let doing = match (self.lost, self.saying) {
            (true, _) => Some(Doing::MicrophoneLost),
            (_, true) => Some(Doing::Saying),
            _ => None,
        };
        self.to.send_modify(|view| {
            change(view);
            view.doing = match view.doing {
                rest @ (Doing::Asleep | Doing::Ended | Doing::NobodySignedOn) => rest,
                _ => doing.unwrap_or(Doing::Listening),
            };
        });
    }
}

/// The view before the round has begun.
pub(super) fn first(dialogue: &Dialogue, now: Time) -> View {
    let (state, _) = dialogue.begin(&crate::facts::Record::default(), 0, now);
    View::of(dialogue, &state, now)
}

impl Screen for Bedside {
    fn heard(&mut self, now: Time, heard: &Heard, addressed: bool) {
        self.show(|view| {
            view.at = now;
            view.notice = None;
            view.heard = Some(HeardLine {
                text: heard.text(),
                by: heard.by,
                addressed,
            });
        });
    }

    fn said(&mut self, now: Time, text: &str) {
        self.saying = true;
        self.show(|view| {
            view.at = now;
            view.said = Some(text.to_owned());
        });
    }

    fn stored(&mut self, fact: &Fact<KeptReading>) {
        take_in(&mut self.kept, fact);
    }

    fn passed_over(&mut self) {
        self.notice(PASSED_OVER);
    }

    fn notice(&mut self, text: &str) {
        self.show(|view| view.notice = Some(text.to_owned()));
    }

    fn state(&mut self, dialogue: &Dialogue, state: &State, now: Time) {
        let mut next = View::of(dialogue, state, now);
        let here = |it: &&Kept| state.resident() == Some(&it.resident);
        // A nurse may have corrected it meanwhile.
        let as_it_stands = |it: &Kept| {
            let now = Shown::of(state.kept_here(&it.resident, it.id)?);
            Some(Kept {
                changed: it.changed || now != it.reading,
                reading: now,
                ..it.clone()
            })
        };
        let kept = self.kept.iter().filter(here);
        next.kept = kept.filter_map(as_it_stands).collect();
        self.show(|view| {
            next.heard = view.heard.take();
            next.said = view.said.take();
            next.notice = view.notice.take();
            next.link = view.link.take();
            *view = next;
        });
    }

    fn said_all(&mut self) {
        self.saying = false;
        self.show(|_| {});
    }

    fn link(&mut self, status: &LinkStatus, now: Time) {
        let line = status.brief(now.date_naive());
        self.show(|view| view.link = Some(line));
    }

    fn microphone_lost(&mut self, lost: bool) {
        self.lost = lost;
        self.show(|_| {});
    }
}
