//! The fuzz targets over their seeds, and over each seed made by hand damaged in
//! some ways: an ordinary test, with no fuzzer. Seeds that a fuzzer found are
//! called so, and are run as they are.

#[path = "../fuzz/targets.rs"]
mod targets;

use std::path::Path;

use fastrand::Rng;

/// How many damaged ones there are of each seed.
const DAMAGED: usize = 25;
/// Of targets that make many pages, or sync a disk, of each input.
const DAMAGED_SLOW: usize = 4;
const SLOW: [&str; 2] = ["shown", "settings"];

#[test]
fn every_seed_and_what_is_near_it_is_taken_or_refused() {
    let mut rng = Rng::with_seed(9);
    for (name, target) in targets::ALL {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("fuzz/seeds")
            .join(name);
        let mut seeds: Vec<(String, Vec<u8>)> = std::fs::read_dir(&folder)
            .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
            .map(|it| {
                let it = it.unwrap();
                let name = it.file_name().into_string().unwrap();
                (name, std::fs::read(it.path()).unwrap())
            })
            .collect();
        seeds.sort();
        assert!(seeds.len() >= 2, "{name} has too few seeds");
        for (file, seed) in seeds {
            target(&seed);
            let damages = match name {
                _ if file.starts_with("found-") => 0,
                slow if SLOW.contains(&slow) => DAMAGED_SLOW,
                _ => DAMAGED,
            };
            for _ in 0..damages {
                target(&damaged(&seed, &mut rng));
            }
        }
    }
}

fn damaged(seed: &[u8], rng: &mut Rng) -> Vec<u8> {
    let mut bytes = seed.to_vec();
    for _ in 0..rng.usize(1..6) {
        if bytes.is_empty() {
            return vec![rng.u8(..)];
        }
        let at = rng.usize(0..bytes.len());
        match rng.u8(0..5) {
            0 => bytes[at] ^= 1 << rng.u8(0..8),
            1 => bytes.truncate(at),
            2 => drop(bytes.remove(at)),
            3 => bytes.insert(at, *rng.choice(b"\"{}[]<>;:=,|*+\n09-\xff\0").unwrap()),
            _ => {
                let end = (at + rng.usize(0..200)).min(bytes.len());
                let piece = bytes[at..end].to_vec();
                bytes.splice(at..at, piece);
            }
        }
    }
    bytes
}
