//! How long someone who typed wrong passwords has to wait.

use std::time::Duration;

/// Wrong tries in a row that cost nothing.
pub const FREE_TRIES: u32 = 4;

/// The longest wait. Not longer, since anyone who can reach the page can make
/// any name wait; an administrator can end it with a new code.
pub const LONGEST: Duration = Duration::from_secs(15 * 60);

/// The wait after so many wrong tries in a row: none at first, then a minute,
/// and twice as long each further time, up to [`LONGEST`].
#[must_use]
pub fn lock_after(failed: u32) -> Duration {
    let Some(doublings) = failed.checked_sub(FREE_TRIES + 1) else {
        return Duration::ZERO;
    };
    let minutes = 1_u64.checked_shl(doublings).unwrap_or(u64::MAX);
    Duration::from_secs(minutes.saturating_mul(60)).min(LONGEST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wait_doubles_up_to_the_longest() {
        let waits: Vec<u64> = (0..12).map(|it| lock_after(it).as_secs()).collect();
        let expected = [0, 0, 0, 0, 0, 60, 120, 240, 480, 900, 900, 900];
        assert_eq!(waits, expected);
        assert_eq!(lock_after(u32::MAX), LONGEST);
    }
}
