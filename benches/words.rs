//! `cargo bench`: from words to their meaning, and from the grammar to a
//! recogniser. What an aide waits for is measured by `make figures`.

use std::hint::black_box;
use std::path::Path;

use criterion::{Criterion, criterion_group, criterion_main};
use sayback::grammar::{Expect, Grammar};
use sayback::hearing::{Ear, Heard};
use sayback::round::{listen_for, model_for};
use sayback::understanding::{ASK_BELOW, Context, understand};
use sayback::vitals::Units;

fn understanding(criterion: &mut Criterion) {
    let vocabulary = Grammar::standard().vocabulary();
    let context = Context::at_rest(Units::default(), ASK_BELOW);
    for (name, words) in [
        ("yes", "yes"),
        (
            "a pressure",
            "blood pressure one fifty two over eighty eight left arm sitting",
        ),
        (
            "three in one breath",
            "pulse eighty four regular respiration sixteen saturation ninety two percent on two liters",
        ),
        ("side talk", "did you sleep well [unk] [unk] my dear"),
    ] {
        let heard = Heard::from_text(words);
        criterion.bench_function(&format!("understand {name}"), |it| {
            it.iter(|| understand(black_box(&heard), &vocabulary, &context));
        });
    }
}

fn grammar(criterion: &mut Criterion) {
    criterion.bench_function("read the grammar", |it| it.iter(Grammar::standard));
    let (model, grammar) = model_for(Path::new("assets/model-en-us"), Grammar::standard())
        .expect("run `make setup` first");
    let mut group = criterion.benchmark_group("state");
    group.sample_size(10);
    group.bench_function("network Readings", |it| {
        it.iter(|| grammar.network(Expect::Readings));
    });
    for expect in Expect::ALL {
        group.bench_function(format!("listen for {expect:?}"), |it| {
            it.iter(|| {
                let mut ear = Ear::new(model.clone());
                listen_for(&mut ear, expect, &grammar).expect("known words");
                ear
            });
        });
    }
    group.finish();
}

criterion_group!(benches, understanding, grammar);
criterion_main!(benches);
