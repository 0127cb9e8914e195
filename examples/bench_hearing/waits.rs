//! How long the aide waits: from the end of what was said to the end of the utterance, while
//! the noise of the room goes on. A noise in which the end is not found costs time, and an
//! end that is found too soon cuts a reading in the middle.

use std::fmt::Write as _;

use sayback::hearing::Heard;

use super::judge::Outcome;
use super::listen::{Listener, seconds};
use super::people::trimmed;
use super::room::{Noise, Way, samples};
use super::voices::Voice;
use super::{Anything, Bench, texts};

/// The noise goes on for so many seconds after the speech, and before it.
const AFTER: f32 = 21.0;
const BEFORE: f32 = 2.0;
/// An end so close to that of the speech, in seconds, is its end: the last sound of a word
/// may be soft.
const SLACK: f32 = 0.2;

const WAYS: [Way; 7] = [
    Way::Clean,
    Way::Noise(Noise::Ventilation, 10.0),
    Way::Noise(Noise::Cart, 10.0),
    Way::Noise(Noise::Babble, 20.0),
    Way::Noise(Noise::Babble, 10.0),
    Way::Noise(Noise::Television, 20.0),
    Way::Noise(Noise::Television, 10.0),
];

pub fn run(bench: &Bench<'_>) -> Anything<()> {
    let wanted = bench.wanted;
    let mut items = texts::readings(wanted.split, 2 * wanted.noisy);
    items.retain(|it| bench.judge.is_offered(&it.text));
    items.truncate(wanted.noisy);
    let sounds = bench.sounds(&items)?;
    let mut table = "\n| How long the aide waits | n | right | wrong offered | cut in the middle | median, s | 90 % within, s | over 3 s | no end in 21 s |\n|---|---|---|---|---|---|---|---|---|\n".to_owned();
    for way in WAYS {
        if let Some(only) = &wanted.ways
            && !only.split(',').any(|it| way.name().starts_with(it))
        {
            continue;
        }
        let (mut waits, mut cut, mut never) = (Vec::new(), 0, 0);
        let (mut right, mut wrong) = (0, 0);
        for voice in Voice::of(wanted.split) {
            let mut listener: Listener<'_> = bench.listener(&[&bench.judge.waiting])?;
            for (item, sound) in items
                .iter()
                .zip(&sounds)
                .filter(|(it, _)| it.voice == voice)
            {
                let speech = trimmed(sound);
                let starts = samples(BEFORE + SLACK);
                let ends = samples(BEFORE) + speech.len();
                let enough = ends - samples(SLACK);
                let seed = item.number as u64 + 1;
                let sound = bench.room.record(&speech, way, seed, (BEFORE, AFTER));
                let mut all = listener.until(&bench.judge.waiting, &sound, enough);
                // What ended before somebody spoke was the room.
                all.retain(|(_, at)| *at > starts);
                match all.last() {
                    Some((_, at)) if *at >= enough => {
                        waits.push((seconds(*at) - seconds(ends)).max(0.0));
                    }
                    _ => never += 1,
                }
                cut += usize::from(all.iter().any(|(_, at)| *at < enough));
                let heard: Vec<Heard> = all.into_iter().map(|it| it.0).collect();
                let outcome = bench.judge.reading(&item.text, &heard);
                right += usize::from(outcome == Outcome::Right);
                wrong += usize::from(outcome == Outcome::Wrong);
            }
        }
        waits.sort_by(f64::total_cmp);
        let share = |of: usize| {
            waits
                .get(waits.len() * of / 100)
                .copied()
                .unwrap_or(f64::NAN)
        };
        let _ = writeln!(
            table,
            "| {} | {} | {right} | {wrong} | {cut} | {:.2} | {:.2} | {} | {never} |",
            way.name(),
            items.len(),
            share(50),
            share(90),
            waits.iter().filter(|it| **it > 3.0).count(),
        );
    }
    print!("{table}");
    Ok(())
}
