#![allow(warnings, clippy::all, clippy::pedantic)]
mod sound;
use sayback::grammar::*;
use sayback::hearing::*;
use sayback::understanding::*;
use sayback::vitals::*;
use std::collections::BTreeMap;
use std::path::Path;

fn hear(ear: &mut Ear<u8>, samples: &[i16]) -> Vec<Heard> {
    let mut s = samples.to_vec();
    s.extend(vec![0; 12800]);
    let mut h: Vec<Heard> = s.chunks(1600).filter_map(|b| ear.accept(b)).collect();
    h.extend(ear.finish());
    h
}

fn phrases(expect: Expect) -> Vec<String> {
    let g = Grammar::standard();
    let mut list = g.phrases(expect);
    let spec = std::env::var("SPEC").unwrap_or_default();
    let n = list.len();
    let mut rng = fastrand::Rng::with_seed(5);
    for part in spec.split(',').filter(|s| !s.is_empty()) {
        let (t, share) = part.split_once('=').unwrap();
        let count = (n as f64 * share.parse::<f64>().unwrap() / 100.0) as usize;
        for _ in 0..count {
            let r = list[rng.usize(..n)].clone();
            let words: Vec<&str> = r.split(' ').collect();
            let p = match t {
                "UR" => format!("[unk] {r}"),
                "RU" => format!("{r} [unk]"),
                "URU" => format!("[unk] {r} [unk]"),
                "W" => { let mut w = words.clone(); let at = rng.usize(..w.len()); w[at] = "[unk]"; w.join(" ") }
                "I" => { let mut w = words.clone(); let at = rng.usize(..=w.len()); w.insert(at, "[unk]"); w.join(" ") }
                "B" => { let w = words[rng.usize(..words.len())]; format!("[unk] {w} [unk]") }
                "G" => { let k = 1 + rng.usize(..8); vec!["[unk]"; k].join(" ") }
                t => t.replace('U', "[unk]").replace('_', " "),
            };
            list.push(p);
        }
    }
    list
}

#[test]
fn bench() {
    let g = Grammar::standard();
    let v = g.vocabulary();
    let ask: f32 = std::env::var("ASK").ok().and_then(|a| a.parse().ok()).unwrap_or(ASK_BELOW);
    let model = sound::model();
    let verbose = std::env::var("V").is_ok();
    let expects: Vec<(u8, Expect)> = std::env::var("EXP").unwrap_or("rc".into()).chars().map(|c| match c { 'r' => (0, Expect::Readings), 'c' => (1, Expect::Confirm), 'p' => (2, Expect::Place), _ => (3, Expect::Answer) }).collect();
    let manifest = std::fs::read_to_string("/tmp/bench/manifest.tsv").unwrap();
    let only = std::env::var("KIND").unwrap_or_default();
    for &(key, expect) in &expects {
        let list = phrases(expect);
        let t0 = std::time::Instant::now();
        let mut ear: Ear<u8> = Ear::new(model.clone());
        ear.set_phrases(key, &list).unwrap();
        let build = t0.elapsed().as_millis();
        ear.expect(key);
        let mut tally: BTreeMap<(String, &str), usize> = BTreeMap::new();
        let t0 = std::time::Instant::now();
        let mut secs = 0.0;
        for line in manifest.lines() {
            let f: Vec<&str> = line.split('\t').collect();
            let (file, kind, text) = (f[0], f[1], f[2]);
            if !only.is_empty() && !only.split(',').any(|k| k == kind) { continue; }
            let Ok(samples) = read_wav(Path::new(file)) else { println!("RESULT missing {file}"); continue };
            secs += samples.len() as f64 / 16000.0;
            let heard = hear(&mut ear, &samples);
            let pend: &[VitalSign] = match expect { Expect::Confirm | Expect::Answer => &[VitalSign::Pulse], _ => &[] };
            let c = Context { units: Units::UsCustomary, pending: pend, precautions: None, ask_below: ask };
            let ms: Vec<_> = heard.iter().map(|h| understand(h, &v, &c)).collect();
            let mut want: Vec<Measurement> = vec![];
            if kind.starts_with("read") {
                if let Ok(Utterance::Readings { claims, .. }) = understand(&Heard::from_text(text), &v, &c) { want = claims.into_iter().map(|c| c.measurement).collect(); }
            }
            let mut got = vec![]; let mut unclear = 0; let mut yes = 0; let mut other = 0; let (mut part, mut askpart) = (0, 0); let mut nameless = 0;
            for m in &ms { match m {
                Ok(Utterance::Readings { yes: y, claims, unclear: u }) => { got.extend(claims.iter().map(|c| c.measurement.clone())); unclear += u.len(); yes += y.is_some() as usize; }
                Ok(Utterance::Yes(_)) => yes += 1,
                Ok(Utterance::Part(p)) => if p.why.is_none() { part += 1 } else { askpart += 1 },
                Ok(_) => other += 1,
                Err(NotUnderstood::Unsure) | Err(NotUnderstood::Nameless) => nameless += 1,
                Err(_) => {}
            } }
            let res = if kind.starts_with("read") {
                if got == want { "right" }
                else if got.iter().any(|g| !want.iter().any(|w| w.sign() == g.sign() && w.value() == g.value())) { "WRONG" }
                else if got.iter().any(|g| !want.contains(g)) { "qualifier" }
                else if unclear > 0 || askpart > 0 { "asked" } else if nameless > 0 { "unsure" } else { "ignored" }
            } else if !got.is_empty() { "CLAIM" } else if yes > 0 { "YES" } else if part > 0 { "PART" } else if unclear > 0 { "asked" } else if askpart > 0 { "askpart" } else if other > 0 { "other" } else if nameless > 0 { "unsure" } else { "ignored" };
            *tally.entry((kind.to_string(), res)).or_default() += 1;
            if verbose && (res != "right" && res != "ignored" || std::env::var("VV").is_ok()) {
                println!("  {expect:?} {res} {kind} {} <{text}>", file.rsplit('/').next().unwrap());
                for (h, m) in heard.iter().zip(&ms) { println!("      \"{}\" {:.2} {:?}", h.text(), h.confidence(), m.as_ref().map(|m| format!("{m:?}").chars().take(400).collect::<String>())); }
            }
        }
        let mut kinds: BTreeMap<String, String> = BTreeMap::new();
        for ((k, r), n) in tally { let e = kinds.entry(k).or_default(); e.push_str(&format!(" {r}:{n}")); }
        println!("RESULT {expect:?} build {build} ms, rtf {:.3} spec={}", t0.elapsed().as_secs_f64() / secs, std::env::var("SPEC").unwrap_or_default());
        for (k, s) in kinds { println!("RESULT    {k:12} {s}"); }
    }
}
