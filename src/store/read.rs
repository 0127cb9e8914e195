//! From stored texts to facts.

use super::error::StoreError;
use crate::facts::Fact;

/// So few texts are not worth a thread.
const FEW: usize = 500;

/// A fact with its place in the record. One that cannot be read does not hide
/// those after it.
#[derive(Debug)]
pub struct Stored {
    /// The place: later facts have greater ones.
    pub seq: i64,
    /// The fact, or why it cannot be read.
    pub fact: Result<Fact, StoreError>,
}

/// The error says where, and not what stands there: it goes to the log too.
pub(crate) fn parsed(id: String, json: &str) -> Result<Fact, StoreError> {
    serde_json::from_str(json).map_err(|error| {
        let what = match error.classify() {
            serde_json::error::Category::Data => "it is of no known form",
            _ => "it is no whole JSON",
        };
        let problem = format!("{what}, at character {}", error.column());
        StoreError::Damaged { id, problem }
    })
}

/// Reads texts, each with its place and identifier, on as many threads as the
/// machine has: a station that starts has a million to read.
pub(crate) fn read_all(texts: Vec<(i64, String, String)>) -> Vec<Stored> {
    let one = |(seq, id, text): (i64, String, String)| Stored {
        seq,
        fact: parsed(id, &text),
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let each = texts.len().div_ceil(threads);
    if each < FEW {
        return texts.into_iter().map(one).collect();
    }
    let mut parts = Vec::new();
    let mut rest = texts;
    while rest.len() > each {
        let after = rest.split_off(each);
        parts.push(std::mem::replace(&mut rest, after));
    }
    let mut all = Vec::with_capacity(parts.len() * each + rest.len());
    std::thread::scope(|scope| {
        let part = |texts: Vec<_>| scope.spawn(move || texts.into_iter().map(one).collect());
        let threads: Vec<_> = parts.into_iter().map(part).collect();
        let last: Vec<Stored> = rest.into_iter().map(one).collect();
        for thread in threads {
            let part: std::thread::Result<Vec<Stored>> = thread.join();
            all.extend(part.unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        }
        all.extend(last);
    });
    all
}
