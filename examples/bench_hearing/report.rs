//! The figures: counted outcomes, shares with their confidence intervals, tables
//! and JSON.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use sayback::hearing::Heard;
use serde_json::{Value, json};

use super::judge::Outcome;

/// One judged utterance.
pub struct Judged {
    /// What is counted together: "readings", "people", "yes and no" …
    pub set: String,
    pub way: String,
    pub engine: String,
    pub voice: String,
    pub sign: String,
    pub text: String,
    pub heard: String,
    /// The same with everything the recogniser said of it.
    pub raw: Vec<Heard>,
    pub outcome: Outcome,
    pub seconds: f64,
}

/// Counted outcomes.
#[derive(Debug, Default, Clone, Copy)]
pub struct Count {
    pub all: usize,
    pub right: usize,
    pub wrong: usize,
    pub part: usize,
    pub asked: usize,
    pub nothing: usize,
}

impl Count {
    pub fn of<'a>(judged: impl Iterator<Item = &'a Judged>) -> Self {
        let mut count = Self::default();
        for it in judged {
            count.all += 1;
            *match it.outcome {
                Outcome::Right => &mut count.right,
                Outcome::Wrong => &mut count.wrong,
                Outcome::PartOnly => &mut count.part,
                Outcome::Asked => &mut count.asked,
                Outcome::Nothing => &mut count.nothing,
            } += 1;
        }
        count
    }
}

/// Wilson's interval of a share, at 95 % (E. B. Wilson, "Probable inference, the
/// law of succession, and statistical inference", 1927).
#[allow(clippy::cast_precision_loss, reason = "counts")]
pub fn wilson(hits: usize, all: usize) -> (f64, f64) {
    if all == 0 {
        return (0.0, 1.0);
    }
    let z = 1.959_964;
    let (n, p) = (all as f64, hits as f64 / all as f64);
    let middle = p + z * z / (2.0 * n);
    let half = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    let scale = 1.0 + z * z / n;
    (
        ((middle - half) / scale).max(0.0),
        ((middle + half) / scale).min(1.0),
    )
}

/// "97.5 (95.1–98.7)", in percent.
#[allow(clippy::cast_precision_loss, reason = "counts")]
pub fn share(hits: usize, all: usize) -> String {
    if all == 0 {
        return "–".to_owned();
    }
    let (low, high) = wilson(hits, all);
    let percent = 100.0 * hits as f64 / all as f64;
    format!("{percent:.1} ({:.1}–{:.1})", 100.0 * low, 100.0 * high)
}

/// A table by one property of the utterances, in the order of first appearance.
pub fn table(title: &str, judged: &[&Judged], by: impl Fn(&Judged) -> String) -> String {
    if judged.is_empty() {
        return String::new();
    }
    let mut order: Vec<String> = Vec::new();
    let mut groups: BTreeMap<String, Vec<&Judged>> = BTreeMap::new();
    for &it in judged {
        let key = by(it);
        if !order.contains(&key) {
            order.push(key.clone());
        }
        groups.entry(key).or_default().push(it);
    }
    let mut text = format!(
        "\n| {title} | n | right at first try, % (95 %) | wrong offered, % (95 %) | part only, % | asked again, % | nothing, % |\n|---|---|---|---|---|---|---|\n"
    );
    for key in order {
        let count = Count::of(groups[&key].iter().copied());
        #[allow(clippy::cast_precision_loss, reason = "counts")]
        let percent = |it: usize| 100.0 * it as f64 / count.all as f64;
        let _ = writeln!(
            text,
            "| {key} | {} | {} | {} | {:.1} | {:.1} | {:.1} |",
            count.all,
            share(count.right, count.all),
            share(count.wrong, count.all),
            percent(count.part),
            percent(count.asked),
            percent(count.nothing),
        );
    }
    text
}

/// How long words last that are not drawn out before a pause, in hundredths of a
/// second, of utterances heard right: the table of `understanding/lasting.rs`.
pub fn lengths(judged: &[&Judged]) -> String {
    const PAUSE: f32 = 0.12;
    const LEAST: usize = 8;
    let mut lasted: BTreeMap<&str, Vec<f32>> = BTreeMap::new();
    let right = judged.iter().filter(|it| it.outcome == Outcome::Right);
    for words in right.flat_map(|it| &it.raw).map(|it| &it.words) {
        for pair in words
            .windows(2)
            .filter(|it| it[1].start - it[0].end < PAUSE)
        {
            let length = (pair[0].end - pair[0].start).max(0.03);
            lasted.entry(&pair[0].text).or_default().push(length.ln());
        }
    }
    lasted.retain(|_, it| it.len() >= LEAST);
    let mut text = "\nLengths of words:".to_owned();
    for (word, all) in lasted {
        #[allow(clippy::cast_precision_loss, reason = "a count")]
        let mean = (all.iter().sum::<f32>() / all.len() as f32).exp();
        let _ = write!(text, " (\"{word}\", {:.0}.0),", 100.0 * mean);
    }
    text + "\n"
}

pub fn json(judged: &[Judged]) -> Value {
    let each = judged.iter().map(|it| {
        json!({
            "set": it.set, "way": it.way, "engine": it.engine, "voice": it.voice,
            "sign": it.sign, "text": it.text, "heard": it.heard,
            "outcome": format!("{:?}", it.outcome), "seconds": it.seconds, "raw": it.raw,
        })
    });
    Value::Array(each.collect())
}
