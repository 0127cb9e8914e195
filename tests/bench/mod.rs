//! What the tests share of the speech bench (`make bench-hearing`, docs/hearing.md), with
//! the voices that the tests install anyway.

#![allow(
    dead_code,
    reason = "each test file uses some of it, and the bench the rest"
)]

#[path = "../../examples/bench_hearing/judge.rs"]
pub mod judge;
#[path = "../../examples/bench_hearing/listen.rs"]
pub mod listen;
#[path = "../../examples/bench_hearing/room.rs"]
pub mod room;
#[path = "../../examples/bench_hearing/texts.rs"]
pub mod texts;
#[path = "../truthful/truth.rs"]
mod truth;
#[path = "../../examples/bench_hearing/voices.rs"]
pub mod voices;

use std::path::PathBuf;

use sayback::hearing::read_wav;

use voices::{Order, Voice, speak};

pub type Anything<T> = Result<T, Box<dyn std::error::Error>>;

/// No voice of the tests needs it.
pub fn python() -> PathBuf {
    PathBuf::from("python3")
}

/// Whether the tests have this voice.
pub fn at_hand(voice: &Voice) -> bool {
    ["flite-", "espeak-"]
        .iter()
        .any(|it| voice.name.starts_with(it))
}

/// These texts as these voices say them.
pub fn spoken<'a>(
    said: impl Iterator<Item = (&'static Voice, &'a str)>,
) -> Anything<Vec<Vec<i16>>> {
    let folder = tempfile::tempdir()?;
    let order = |(at, (voice, text)): (usize, (&'static Voice, &str))| Order {
        voice,
        text: text.to_owned(),
        file: folder.path().join(format!("{at}.wav")),
    };
    let orders: Vec<Order> = said.enumerate().map(order).collect();
    speak(&orders)?;
    orders.iter().map(|it| Ok(read_wav(&it.file)?)).collect()
}
