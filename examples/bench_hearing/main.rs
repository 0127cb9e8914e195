//! The speech bench: how well Sayback hears, printed as tables and written as
//! JSON. `make bench-hearing` runs it; docs/hearing.md says how and what came of it.

mod judge;
mod listen;
mod others;
mod people;
mod report;
mod room;
mod simulate;
mod tables;
mod texts;
#[path = "../../tests/truthful/truth.rs"]
#[allow(dead_code, reason = "the test uses the rest")]
mod truth;
mod voices;
mod waits;
mod wanted;

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::fmt::Write as _;
use std::path::PathBuf;

use sayback::dialogue::State;
use sayback::grammar::{Expect, Grammar};
use sayback::hearing::{Heard, Model, read_wav, with_best_kernels};
use sayback::round::model_for;
use sayback::store::hex;
use sayback::vitals::VitalSign;
use sha2::{Digest as _, Sha256};

use judge::{Judge, Outcome};
use listen::{Listener, seconds, texts};
use others::{Ran, Same};
use report::Judged;
use room::{Microphone, Noise, Room, Way};
use tables::tables;
use texts::{Item, Kind};
use voices::{Order, babble, speak};
use wanted::Wanted;

type Anything<T> = Result<T, Box<dyn std::error::Error>>;

/// Python with the other engines and the Piper voice.
pub fn python() -> PathBuf {
    std::env::var_os("BENCH_PYTHON")
        .map_or_else(|| "out/bench/engines/bin/python".into(), PathBuf::from)
}

fn main() -> Anything<()> {
    with_best_kernels();
    let wanted = Wanted::from_arguments()?;
    let bench = Bench::new(&wanted)?;
    let mut judged = Vec::new();
    let part = |name: &str| wanted.parts.split(',').any(|it| it == name);
    if part("people") {
        bench.people(&mut judged)?;
    }
    if part("readings") {
        bench.readings(&mut judged)?;
    }
    if part("microphones") {
        bench.microphones(&mut judged)?;
    }
    if part("pairs") {
        bench.pairs(&mut judged)?;
    }
    if part("answers") {
        bench.answers(&mut judged)?;
    }
    if part("places") {
        bench.places(&mut judged)?;
    }
    if part("talk") {
        bench.talk(&mut judged)?;
    }
    if part("waits") {
        waits::run(&bench)?;
    }
    if part("others") {
        bench.others(&mut judged)?;
    }
    print!("{}", tables(&bench.judge, wanted.half.split, &judged));
    let file = format!("out/bench/{}.json", wanted.half.name());
    std::fs::write(&file, serde_json::to_string_pretty(&report::json(&judged))?)?;
    println!("\nEvery utterance is in {file}.");
    Ok(())
}

struct Bench<'a> {
    wanted: &'a Wanted,
    judge: Judge,
    grammar: Grammar,
    model: Model,
    room: Room,
}

impl<'a> Bench<'a> {
    fn new(wanted: &'a Wanted) -> Anything<Self> {
        let (model, grammar) = model_for(&wanted.model, Grammar::standard())?;
        Ok(Self {
            judge: Judge::new()?,
            grammar,
            model,
            room: Room::new(&babble()?),
            wanted,
        })
    }

    fn ways(&self) -> Vec<Way> {
        let mut ways = Way::all();
        ways.retain(|it| self.wanted.has(*it));
        ways
    }

    /// Made once for each stream, for the states it will be in.
    fn listener(&self, states: &[&State]) -> Anything<Listener<'_>> {
        let expects: Vec<Expect> = states.iter().map(|it| it.expect()).collect();
        Listener::new(&self.model, &self.grammar, &self.judge.dialogue, &expects)
    }

    /// Recordings of these items, in their order.
    fn sounds(&self, items: &[Item]) -> Anything<Vec<Vec<i16>>> {
        let half = self.wanted.half.name();
        // By its text: what the grammar says otherwise now is spoken anew.
        let file = |it: &Item| {
            let text: String = hex(&Sha256::digest(&it.text)).chars().take(16).collect();
            PathBuf::from(format!("out/bench/{half}/{text}-{}.wav", it.voice.name))
        };
        let order = |it: &Item| Order {
            voice: it.voice,
            text: it.text.clone(),
            file: file(it),
        };
        let orders: Vec<Order> = items.iter().map(order).collect();
        speak(&orders)?;
        orders.iter().map(|it| Ok(read_wav(&it.file)?)).collect()
    }

    /// Each voice is a stream, and so is each way: what was learned of one is not
    /// carried into the other. `judge` gives the set that an item counts to, and
    /// what came of it.
    fn streams<'b>(
        &self,
        (items, sounds): (&'b [Item], &'b [Vec<i16>]),
        way: Way,
        state: &State,
        judge: impl Fn(&Item, &[Heard]) -> (&'static str, Outcome),
        judged: &mut Vec<Judged>,
    ) -> Anything<()> {
        let mut busy = (0.0, 0.0);
        for voice in self.wanted.half.voices() {
            let mut listener = self.listener(&[state])?;
            for (item, sound) in items.iter().zip(sounds).filter(|(it, _)| it.voice == voice) {
                let seed = item.number as u64 + 1;
                let sound = self.room.record(sound, way, seed, (0.3, 1.2));
                let heard = listener.hear(state, &sound);
                let (set, outcome) = judge(item, &heard);
                judged.push(Self::judged(item, set, way, heard, outcome, sound.len()));
            }
            busy.0 += listener.busy.as_secs_f64();
            busy.1 += listener.sound.as_secs_f64();
        }
        eprintln!(
            "{}: {:.0} s of sound, real-time factor {:.3}",
            way.name(),
            busy.1,
            busy.0 / busy.1
        );
        Ok(())
    }

    fn judged(
        item: &Item,
        set: &str,
        way: Way,
        heard: Vec<Heard>,
        outcome: Outcome,
        length: usize,
    ) -> Judged {
        let sign = item.signs.first().map_or("", |it| it.name());
        Judged {
            set: set.to_owned(),
            way: way.name(),
            engine: "sayback".to_owned(),
            voice: item.voice.name.to_owned(),
            sign: if item.signs.len() > 1 {
                "two in one breath".to_owned()
            } else {
                sign.to_owned()
            },
            text: item.text.clone(),
            heard: texts(&heard),
            raw: heard,
            outcome,
            seconds: seconds(length),
        }
    }

    /// So many readings. Some leave out what is required, and are asked for it: another
    /// matter.
    fn offered(&self, many: usize) -> Vec<Item> {
        let mut items = texts::readings(self.wanted.half, 2 * many);
        items.retain(|it| self.judge.is_offered(&it.text));
        items.truncate(many);
        items
    }

    fn readings(&self, judged: &mut Vec<Judged>) -> Anything<()> {
        let many = self.wanted.clean.max(self.wanted.noisy);
        let items = self.offered(many);
        let sounds = self.sounds(&items)?;
        let waiting = &self.judge.waiting;
        for way in self.ways() {
            let count = if way == Way::Clean {
                self.wanted.clean
            } else {
                self.wanted.noisy
            };
            let items = &items[..count.min(items.len())];
            let judge =
                |it: &Item, heard: &[Heard]| ("readings", self.judge.reading(&it.text, heard));
            self.streams((items, &sounds), way, waiting, judge, judged)?;
        }
        Ok(())
    }

    /// Where somebody else is as loud as the speech half a metre from the mouth.
    fn microphones(&self, judged: &mut Vec<Judged>) -> Anything<()> {
        let items = self.offered(self.wanted.noisy);
        let sounds = self.sounds(&items)?;
        for noise in [Noise::Babble, Noise::Television] {
            for microphone in Microphone::ALL {
                let way = Way::Noise(noise, microphone.gain());
                let judge = |it: &Item, heard: &[Heard]| {
                    (microphone.name(), self.judge.reading(&it.text, heard))
                };
                self.streams((&items, &sounds), way, &self.judge.waiting, judge, judged)?;
            }
        }
        Ok(())
    }

    /// Numbers that are easily taken for each other, by every voice.
    fn pairs(&self, judged: &mut Vec<Judged>) -> Anything<()> {
        let (sets, items): (Vec<_>, Vec<_>) = texts::pairs(self.wanted.half).into_iter().unzip();
        let sounds = self.sounds(&items)?;
        let mut ways = Way::three().to_vec();
        ways.retain(|it| self.wanted.has(*it));
        for way in ways {
            let judge =
                |it: &Item, heard: &[Heard]| (sets[it.number], self.judge.reading(&it.text, heard));
            self.streams((&items, &sounds), way, &self.judge.waiting, judge, judged)?;
        }
        Ok(())
    }

    fn answers(&self, judged: &mut Vec<Judged>) -> Anything<()> {
        let items = texts::answers(self.wanted.half, 200);
        let sounds = self.sounds(&items)?;
        let judge = |it: &Item, heard: &[Heard]| match it.kind {
            Kind::Correction => ("corrections", self.judge.correction(&it.text, heard)),
            _ => ("yes and no", self.judge.answer(&it.text, heard)),
        };
        let offered = &self.judge.offered;
        self.streams((&items, &sounds), Way::Clean, offered, judge, judged)
    }

    /// Rooms, when one is awaited and in the middle of readings.
    fn places(&self, judged: &mut Vec<Judged>) -> Anything<()> {
        let mut items = texts::places(self.wanted.half, &self.grammar, 3 * self.wanted.noisy);
        items.retain(|it| self.judge.is_place(&it.text));
        items.truncate(self.wanted.noisy);
        let sounds = self.sounds(&items)?;
        for way in [
            Way::Clean,
            Way::Noise(Noise::Babble, 20.0),
            Way::Noise(Noise::Ventilation, 10.0),
        ] {
            for (set, state) in [
                ("rooms, awaited", &self.judge.nowhere),
                ("rooms, amid readings", &self.judge.waiting),
            ] {
                let judge =
                    |it: &Item, heard: &[Heard]| (set, self.judge.place(state, &it.text, heard));
                self.streams((&items, &sounds), way, state, judge, judged)?;
            }
        }
        Ok(())
    }

    fn talk(&self, judged: &mut Vec<Judged>) -> Anything<()> {
        let items = texts::talk(self.wanted.half);
        let sounds = self.sounds(&items)?;
        let (waiting, offered) = (&self.judge.waiting, &self.judge.offered);
        let television = |snr| Way::Noise(Noise::Television, snr);
        for (set, state, way) in [
            ("talk, readings awaited", waiting, Way::Clean),
            ("talk, yes awaited", offered, Way::Clean),
            (
                "talk beside a television 20 dB softer, yes awaited",
                offered,
                television(20.0),
            ),
            (
                "talk beside a television 10 dB softer, yes awaited",
                offered,
                television(10.0),
            ),
        ] {
            let judge = |_: &Item, heard: &[Heard]| (set, self.judge.talk(state, heard));
            self.streams((&items, &sounds), way, state, judge, judged)?;
        }
        Ok(())
    }

    /// Every engine on the same sound. Readings of one vital sign only: a grammar
    /// of two is more than `PocketSphinx` can search (eight times real time).
    fn others(&self, judged: &mut Vec<Judged>) -> Anything<()> {
        let mut items = texts::readings(self.wanted.half, 4 * self.wanted.same);
        items.retain(|it| it.signs.len() == 1 && self.judge.is_offered(&it.text));
        items.truncate(self.wanted.same);
        let sounds = self.sounds(&items)?;
        let mut all = Vec::new();
        for way in Way::three() {
            for (item, sound) in items.iter().zip(&sounds) {
                let seed = item.number as u64 + 1;
                all.push(Same {
                    way: way.name(),
                    text: item.text.clone(),
                    sound: self.room.record(sound, way, seed, (0.3, 1.2)),
                });
            }
        }
        let waiting = &self.judge.waiting;
        let judge = |text: &str, heard: &[Heard]| self.judge.reading(text, heard);
        let mut listener = self.listener(&[waiting])?;
        let hear = |sound: &[i16]| {
            let heard = listener.hear(waiting, sound);
            (heard, listener.last.as_secs_f64())
        };
        let mut table = "\n| Engine, same sound | real-time factor | last call, median | peak memory of its process |\n|---|---|---|---|\n".to_owned();
        let mut row = |engine: &str, ran: Ran| {
            let _ = writeln!(
                table,
                "| {engine} | {:.3} | {:.0} ms | {:.0} MB |",
                ran.real_time,
                1_000.0 * ran.last,
                ran.memory
            );
            judged.extend(ran.judged);
        };
        row("sayback", others::ours(&all, hear, judge)?);
        for engine in others::ENGINES {
            match others::run(engine, &all, judge) {
                Ok(ran) => row(engine, ran),
                Err(error) => println!("{engine}: absent, {error}"),
            }
        }
        print!("{table}");
        Ok(())
    }

    fn people(&self, judged: &mut Vec<Judged>) -> Anything<()> {
        let Some(folder) = &self.wanted.people else {
            println!("People's digits: absent, no folder was given (--people DIR).");
            return Ok(());
        };
        let half = self.wanted.half;
        let mut names = Vec::new();
        for (sign, text) in [
            (VitalSign::Pulse, "pulse"),
            (VitalSign::Respiration, "respiration"),
        ] {
            let mut sounds = Vec::new();
            for voice in half.voices() {
                let file = PathBuf::from(format!("out/bench/names/{text}-{}.wav", voice.name));
                let order = Order {
                    voice,
                    text: text.to_owned(),
                    file,
                };
                speak(std::slice::from_ref(&order))?;
                sounds.push(people::trimmed(&read_wav(&order.file)?));
            }
            names.push((sign, sounds));
        }
        for with_name in [true, false] {
            let Some(all) =
                people::readings(folder, half.split, self.wanted.joined, &names, with_name)?
            else {
                println!(
                    "People's digits: absent, {} does not hold them.",
                    folder.display()
                );
                return Ok(());
            };
            let mut listeners: HashMap<u8, Listener<'_>> = HashMap::new();
            for it in &all {
                let asked = self.judge.asked(it.sign);
                let state = if with_name {
                    &self.judge.waiting
                } else {
                    &asked
                };
                let listener = match listeners.entry(it.person) {
                    Entry::Occupied(entry) => entry.into_mut(),
                    Entry::Vacant(entry) => entry.insert(self.listener(&[state])?),
                };
                let text = if with_name {
                    format!("{} {}", it.sign.name(), it.digits)
                } else {
                    it.digits.clone()
                };
                let heard = listener.hear(state, &it.sound);
                judged.push(Judged {
                    set: if with_name {
                        "people: name and digits"
                    } else {
                        "people: digits as answer"
                    }
                    .to_owned(),
                    way: "as recorded".to_owned(),
                    engine: "sayback".to_owned(),
                    voice: format!("person {}", it.person),
                    sign: it.sign.name().to_owned(),
                    outcome: self.judge.from(state, &text, &heard),
                    text,
                    heard: texts(&heard),
                    raw: heard,
                    seconds: seconds(it.sound.len()),
                });
            }
        }
        Ok(())
    }
}
