//! Who is signed in. Sessions are held in memory: a restart ends them all.

use std::collections::HashMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

use chrono::TimeDelta;
use subtle::ConstantTimeEq as _;

use super::accounts::{AccountError, User, random_token};
use crate::facts::Time;

/// Unused for so long, a session ends: a tablet that was put down shows nobody
/// anything.
pub const IDLE: TimeDelta = TimeDelta::minutes(15);
/// However much it is used, a session ends after a long shift.
pub const ABSOLUTE: TimeDelta = TimeDelta::hours(12);
/// So many at most; the one unused longest makes room.
const MOST: usize = 500;

/// One signed-in browser.
#[derive(Debug, Clone)]
pub struct Session {
    /// Who.
    pub user: User,
    /// What every form must bring back.
    pub csrf: String,
    /// What every page must say first, if anything.
    pub notice: Option<String>,
    /// Whether this station takes what nurses do.
    pub takes_acts: bool,
    began: Time,
    used: Time,
}

impl Session {
    fn ended(&self, now: Time) -> bool {
        now - self.used >= IDLE || now - self.began >= ABSOLUTE
    }

    /// Whether a form brought back this session's own token.
    #[must_use]
    pub fn csrf_matches(&self, sent: &str) -> bool {
        same(&self.csrf, sent)
    }
}

/// Compares two secrets in a time that tells nothing about them.
#[must_use]
pub fn same(one: &str, other: &str) -> bool {
    one.as_bytes().ct_eq(other.as_bytes()).into()
}

/// Everyone who is signed in.
#[derive(Debug, Default)]
pub struct Sessions {
    all: Mutex<HashMap<String, Session>>,
}

impl Sessions {
    fn all(&self) -> MutexGuard<'_, HashMap<String, Session>> {
        self.all.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Begins a session and returns the secret for its cookie.
    ///
    /// # Errors
    /// [`AccountError::Crypto`] when the system gives no random numbers.
    pub fn begin(&self, user: User, now: Time) -> Result<String, AccountError> {
        let (token, csrf) = (random_token()?, random_token()?);
        let session = Session {
            user,
            csrf,
            notice: None,
            takes_acts: true,
            began: now,
            used: now,
        };
        let mut all = self.all();
        all.retain(|_, it| !it.ended(now));
        if all.len() >= MOST {
            let oldest = all.iter().min_by_key(|(_, it)| it.used);
            if let Some(oldest) = oldest.map(|(token, _)| token.clone()) {
                all.remove(&oldest);
            }
        }
        all.insert(token.clone(), session);
        Ok(token)
    }

    /// The session of a cookie, if it has not ended. `touch` says that a person
    /// did something, rather than the page by itself.
    #[must_use]
    pub fn get(&self, token: &str, now: Time, touch: bool) -> Option<Session> {
        let mut all = self.all();
        let session = all.get_mut(token)?;
        if session.ended(now) {
            all.remove(token);
            return None;
        }
        if touch {
            session.used = now;
        }
        Some(session.clone())
    }

    /// Ends a session.
    pub fn end(&self, token: &str) {
        self.all().remove(token);
    }

    /// Ends every session of a user, whose account was closed or changed.
    pub fn end_all(&self, login: &str) {
        self.all().retain(|_, it| it.user.login != login);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::residents::Staff;
    use crate::review::accounts::Role;

    fn noon() -> Time {
        chrono::DateTime::parse_from_rfc3339("2026-03-12T12:00:00-05:00").unwrap()
    }

    fn user(login: &str) -> User {
        User {
            login: login.into(),
            staff: Staff {
                name: "Ines Marlow".into(),
                title: "registered nurse".into(),
            },
            role: Role::Nurse,
            must_choose: false,
            active: true,
        }
    }

    #[test]
    fn a_session_ends_when_unused_and_after_a_shift() {
        let sessions = Sessions::default();
        let token = sessions.begin(user("imarlow"), noon()).unwrap();
        let minutes = |it| noon() + TimeDelta::minutes(it);
        assert!(sessions.get(&token, minutes(14), true).is_some());
        assert!(sessions.get(&token, minutes(28), false).is_some());
        let ended = sessions.get(&token, minutes(29), true);
        assert!(ended.is_none(), "what the page does is no use");
        let token = sessions.begin(user("imarlow"), noon()).unwrap();
        for it in (0..12 * 60).step_by(10) {
            assert!(sessions.get(&token, minutes(it), true).is_some(), "{it}");
        }
        assert!(sessions.get(&token, minutes(12 * 60), true).is_none());
    }

    #[test]
    fn signing_out_ends_one_and_closing_ends_all() {
        let sessions = Sessions::default();
        let begin = |login| sessions.begin(user(login), noon()).unwrap();
        let (one, two, other) = (begin("imarlow"), begin("imarlow"), begin("pquist"));
        sessions.end(&one);
        assert!(sessions.get(&one, noon(), true).is_none());
        assert!(sessions.get(&two, noon(), true).is_some());
        sessions.end_all("imarlow");
        assert!(sessions.get(&two, noon(), true).is_none());
        assert!(sessions.get(&other, noon(), true).is_some());
    }

    #[test]
    fn the_number_of_sessions_is_bounded() {
        let sessions = Sessions::default();
        for _ in 0..MOST + 5 {
            sessions.begin(user("imarlow"), noon()).unwrap();
        }
        assert_eq!(sessions.all().len(), MOST);
    }
}
