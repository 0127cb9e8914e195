//! The tables that the bench prints, all from what was judged.

use std::fmt::Write as _;

use super::judge::{Judge, Outcome};
use super::report::{self, Judged, table};
use super::simulate;
use super::texts::Split;

/// Rounds with the readings as they were heard, in the rooms that the goals name.
fn simulated(judge: &Judge, readings: &[&Judged], answers: &[&Judged]) -> String {
    const HEADER: &str = "\n| Simulated aide | readings | wrong offered, % (95 %) | yes to a wrong one | of these not stored at once | wrong stored, % (95 %) | right stored at first try, % (95 %) |\n|---|---|---|---|---|---|---|\n";
    let yes: Vec<&Judged> = answers
        .iter()
        .copied()
        .filter(|it| it.text == "yes")
        .collect();
    if yes.is_empty() || readings.is_empty() {
        return String::new();
    }
    let mut text = HEADER.to_owned();
    let clean: Vec<&Judged> = readings
        .iter()
        .copied()
        .filter(|it| it.way == "clean")
        .collect();
    for (room, drawn) in [("quiet", &clean[..]), ("all rooms", readings)] {
        if drawn.is_empty() {
            continue;
        }
        for (aide, careless) in [("truthful", 0), ("yes to 1 in 10 wrong read-backs", 10)] {
            let tally = simulate::run(judge, drawn, &yes, 10_000, careless);
            text += &tally.row(&format!("{aide}, {room}"));
        }
    }
    text
}

/// What there is to say of these utterances.
pub fn tables(judge: &Judge, split: Split, judged: &[Judged]) -> String {
    let of = |set: &str| -> Vec<&Judged> {
        judged.iter().filter(|it| it.set.starts_with(set)).collect()
    };
    let readings = of("readings");
    let clean: Vec<&Judged> = readings
        .iter()
        .copied()
        .filter(|it| it.way == "clean")
        .collect();
    let mut text = String::new();
    text += &table("Readings, by room", &readings, |it| it.way.clone());
    text += &table("Readings in the quiet, by voice", &clean, |it| {
        it.voice.clone()
    });
    text += &table("Readings in the quiet, by vital sign", &clean, |it| {
        it.sign.clone()
    });
    text += &table("Microphones", &of("microphones"), |it| {
        format!("{}, {}", it.set.trim_start_matches("microphones: "), it.way)
    });
    text += &table("Numbers like another", &of("pairs"), |it| {
        format!("{}, {}", it.set, it.way)
    });
    text += &table("People's digits", &of("people"), |it| {
        format!("{}, {}", it.set, it.voice)
    });
    text += &table(
        "Answers",
        &[of("yes and no"), of("corrections")].concat(),
        |it| it.set.clone(),
    );
    text += &table("Rooms and beds", &of("rooms"), |it| {
        format!("{}, {}", it.set, it.way)
    });
    text += &simulated(judge, &readings, &of("yes and no"));
    text += &table("Engines on the same sound", &of("same sound"), |it| {
        format!("{}, {}", it.engine, it.way)
    });
    let talk = of("talk");
    text += &table(
        "Other talk (right: let pass; wrong: offered)",
        &talk,
        |it| it.set.clone(),
    );
    if split == Split::Tune {
        text += &report::lengths(&clean);
    }
    if talk.is_empty() {
        return text;
    }
    let hours = talk.iter().map(|it| it.seconds).sum::<f64>() / 3_600.0;
    let offered = talk
        .iter()
        .filter(|it| it.outcome == Outcome::Wrong)
        .count();
    #[allow(clippy::cast_precision_loss, reason = "a count")]
    let hourly = offered as f64 / hours.max(1e-9);
    let _ = writeln!(
        text,
        "\nSpurious read-backs: {offered} in {hours:.2} hours of talk, {hourly:.1} an hour."
    );
    text
}
