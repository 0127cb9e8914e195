//! How long the aide waits: from the end of what was said to the end of the utterance, while
//! the noise of the room goes on. A noise in which the end is not found costs time, and an
//! end that is found too soon cuts a reading in the middle.

use sayback::dialogue::State;
use sayback::hearing::Heard;

use super::judge::{Judge, Outcome};
use super::listen::seconds;
use super::people::trimmed;
use super::room::{Noise, Way, samples};
use super::texts::{self, Item, Kind};
use super::voices::Voice;
use super::{Anything, Bench};

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

/// What is said, in its order with its sound, what it is said to, and what came of it.
struct Said<'a> {
    name: &'static str,
    items: &'a [Item],
    sounds: &'a [Vec<i16>],
    state: &'a State,
    judge: fn(&Judge, &str, &[Heard]) -> Outcome,
}

pub fn run(bench: &Bench<'_>) -> Anything<()> {
    let (half, most) = (bench.wanted.half, bench.wanted.noisy);
    let readings = bench.offered(most);
    let mut answers = texts::answers(half, 2 * most);
    answers.retain(|it| it.kind == Kind::Answer);
    answers.truncate(most);
    let readings = Said {
        name: "reading",
        items: &readings,
        sounds: &bench.sounds(&readings)?,
        state: &bench.judge.waiting,
        judge: Judge::reading,
    };
    let answers = Said {
        name: "yes or no",
        items: &answers,
        sounds: &bench.sounds(&answers)?,
        state: &bench.judge.offered,
        judge: Judge::answer,
    };
    println!(
        "\n| How long the aide waits | n | right | wrong | cut in the middle | median, s | 90 % within, s | over 3 s | no end in 21 s |\n|---|---|---|---|---|---|---|---|---|"
    );
    // Who answers has said a reading before.
    for (said, before) in [(&readings, None), (&answers, Some(&readings))] {
        for way in WAYS {
            if bench.wanted.has(way) {
                println!("{}", row(bench, said, before, way)?);
            }
        }
    }
    Ok(())
}

impl<'a> Said<'a> {
    /// What a voice said.
    fn by(&self, voice: &Voice) -> Vec<(&'a Item, &'a Vec<i16>)> {
        let all = self.items.iter().zip(self.sounds);
        all.filter(|(it, _)| it.voice == voice).collect()
    }
}

fn row(
    bench: &Bench<'_>,
    said: &Said<'_>,
    before: Option<&Said<'_>>,
    way: Way,
) -> Anything<String> {
    let (mut waits, mut cut, mut never) = (Vec::new(), 0, 0);
    let (mut right, mut wrong) = (0, 0);
    for voice in bench.wanted.half.voices() {
        let mut states = vec![said.state];
        states.extend(before.map(|it| it.state));
        let mut listener = bench.listener(&states)?;
        let before = before.map(|it| (it.state, it.by(voice)));
        for (at, (item, sound)) in said.by(voice).into_iter().enumerate() {
            let seed = item.number as u64 + 1;
            let ends = |speech: &[i16]| samples(BEFORE) + speech.len();
            let mut hear = |state: &State, speech: &[i16]| {
                let sound = bench.room.record(speech, way, seed, (BEFORE, AFTER));
                listener.until(state, &sound, ends(speech) - samples(SLACK))
            };
            if let Some((state, readings)) = &before
                && !readings.is_empty()
            {
                hear(state, &trimmed(readings[at % readings.len()].1));
            }
            let speech = trimmed(sound);
            let all = hear(said.state, &speech);
            let ends = ends(&speech);
            let enough = ends - samples(SLACK);
            match all.last() {
                Some((_, at)) if *at >= enough => {
                    waits.push((seconds(*at) - seconds(ends)).max(0.0));
                }
                _ => never += 1,
            }
            // What ended before somebody spoke was the room.
            let inside = samples(BEFORE + SLACK)..enough;
            cut += usize::from(all.iter().any(|(_, at)| inside.contains(at)));
            let heard: Vec<Heard> = all.into_iter().map(|it| it.0).collect();
            let outcome = (said.judge)(&bench.judge, &item.text, &heard);
            right += usize::from(outcome == Outcome::Right);
            wrong += usize::from(outcome == Outcome::Wrong);
        }
    }
    waits.sort_by(f64::total_cmp);
    let share = |of: usize| {
        let at = waits.get(waits.len() * of / 100);
        at.copied().unwrap_or(f64::NAN)
    };
    Ok(format!(
        "| {}, {} | {} | {right} | {wrong} | {cut} | {:.2} | {:.2} | {} | {never} |",
        said.name,
        way.name(),
        said.items.len(),
        share(50),
        share(90),
        waits.iter().filter(|it| **it > 3.0).count(),
    ))
}
