//! The sound of the last utterance, to be looked at again.
//!
//! Bounded, so that a room that never falls silent takes no more memory than a
//! long sentence.

use super::wav::RATE;

/// The longest sound that is kept, in samples (30 s, 1 MB). Of a longer
/// utterance it is the end.
pub(super) const LONGEST: usize = 30 * RATE as usize;
/// How much of the sound before an utterance's first block belongs to it, in
/// samples (200 ms): it is known late that the one before has ended.
const LEAD: usize = RATE as usize / 5;

/// Keeps the sound of the utterance that runs, and of the one that ended last.
#[derive(Debug, Clone, Default)]
pub(super) struct KeptSound {
    running: Vec<i16>,
    last: Vec<i16>,
}

impl KeptSound {
    /// Takes the next samples of the stream.
    pub(super) fn push(&mut self, samples: &[i16]) {
        self.running.extend_from_slice(samples);
        // Seldom, so that what is dropped is not moved at every block.
        if self.running.len() > LONGEST + RATE as usize {
            self.running.drain(..self.running.len() - LONGEST);
        }
    }

    /// The utterance ended with the samples so far.
    pub(super) fn end(&mut self) {
        let excess = self.running.len().saturating_sub(LONGEST);
        self.running.drain(..excess);
        let lead = self.running[self.running.len().saturating_sub(LEAD)..].to_vec();
        self.last = std::mem::replace(&mut self.running, lead);
    }

    /// The sound of the utterance that runs, so far.
    pub(super) fn so_far(&self) -> &[i16] {
        &self.running
    }

    /// The sound of the utterance that ended last.
    pub(super) fn last(&self) -> &[i16] {
        &self.last
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_utterance_is_what_came_since_the_last_and_a_little_before() {
        let mut kept = KeptSound::default();
        kept.push(&vec![1; RATE as usize]);
        kept.push(&[2; 100]);
        assert!(kept.last().is_empty());
        kept.end();
        assert_eq!(kept.last().len(), RATE as usize + 100);
        kept.push(&[3; 50]);
        kept.end();
        assert_eq!(kept.last().len(), LEAD + 50);
        assert_eq!(
            &kept.last()[LEAD - 100..=LEAD],
            [&[2; 100][..], &[3]].concat()
        );
    }

    #[test]
    fn a_television_that_never_pauses_takes_no_more_memory() {
        let mut kept = KeptSound::default();
        for second in 0..100 {
            kept.push(&vec![second; RATE as usize]);
            assert!(kept.running.len() <= LONGEST + RATE as usize);
        }
        kept.end();
        assert_eq!(kept.last().len(), LONGEST);
        assert_eq!((kept.last()[0], kept.last()[LONGEST - 1]), (70, 99));
    }
}
