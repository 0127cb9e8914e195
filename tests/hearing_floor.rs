//! A small part of the speech bench (`make bench-hearing`, docs/hearing.md), with
//! the voices that the tests install anyway: no figure falls below its floor.

mod bench;
mod sound;

use sayback::grammar::Grammar;
use sayback::round::model_for;

use bench::judge::{Judge, Outcome};
use bench::listen::{self, Listener};
use bench::room::{Noise, Room, Way};
use bench::texts::{self, Split};
use bench::voices::Half;
use bench::{Anything, at_hand};

/// Readings in each way.
const READINGS: usize = 30;

/// What is right of [`READINGS`] at least, and offered wrongly at most.
const FLOORS: [(Way, usize, usize); 2] = [
    (Way::Clean, 29, 0),
    (Way::Noise(Noise::Ventilation, 5.0), 27, 0),
];

#[test]
fn readings_are_heard_no_worse_than_before() -> Anything<()> {
    let half = Half::mixed(Split::Tune);
    let judge = Judge::new()?;
    let (model, grammar) = model_for(&sound::model_folder(), Grammar::standard())?;
    let mut items = texts::readings(half, 4 * READINGS);
    items.retain(|it| at_hand(it.voice) && judge.is_offered(&it.text));
    items.truncate(READINGS);
    let sounds = bench::spoken(items.iter().map(|it| (it.voice, &*it.text)))?;
    let room = Room::new(&sounds);
    for (way, right, wrong) in FLOORS {
        let mut outcomes = Vec::new();
        let mut missed = Vec::new();
        for voice in half.voices() {
            let expect = [judge.waiting.expect()];
            let mut listener = Listener::new(&model, &grammar, &judge.dialogue, &expect)?;
            for (item, sound) in items
                .iter()
                .zip(&sounds)
                .filter(|(it, _)| it.voice == voice)
            {
                let sound = room.record(sound, way, item.number as u64 + 1, (0.3, 1.2));
                let heard = listener.hear(&judge.waiting, &sound);
                let outcome = judge.reading(&item.text, &heard);
                if outcome != Outcome::Right {
                    missed.push(format!(
                        "{outcome:?}: {} | {}",
                        item.text,
                        listen::texts(&heard)
                    ));
                }
                outcomes.push(outcome);
            }
        }
        let count = |wanted: Outcome| outcomes.iter().filter(|it| **it == wanted).count();
        let (found_right, found_wrong) = (count(Outcome::Right), count(Outcome::Wrong));
        println!(
            "{}: {found_right} of {READINGS} right, {found_wrong} offered wrongly",
            way.name()
        );
        assert_eq!(outcomes.len(), READINGS);
        assert!(
            found_right >= right && found_wrong <= wrong,
            "{}: {found_right} right (at least {right}), {found_wrong} offered wrongly (at most {wrong})\n{}",
            way.name(),
            missed.join("\n")
        );
    }
    Ok(())
}
