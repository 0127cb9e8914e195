//! The recogniser ignores words that its model does not know, without an error:
//! every word that can be listened for is looked up.

mod sound;

use sayback::grammar::Grammar;
use sayback::hearing::Model;
use sayback::residents::Home;
use sound::model;

fn unknown(grammar: &Grammar, model: &Model) -> Vec<String> {
    let words = grammar.words();
    assert!(words.len() > 150, "only {} words", words.len());
    let unknown = words.into_iter().filter(|it| !model.knows(it));
    unknown.collect()
}

#[test]
fn the_model_knows_every_word_of_the_grammar() {
    assert_eq!(unknown(&Grammar::standard(), &model()), [""; 0]);
}

#[test]
fn the_model_knows_every_word_of_the_demo_home() {
    let home = Home::from_toml(include_str!("../audio-fixtures/demo-home.toml")).unwrap();
    let standard = Grammar::standard();
    let own = standard.clone().for_home(&home).unwrap();
    assert_ne!(own.words(), standard.words(), "the home adds its nurses");
    let model = model();
    let own = own.known_to(&|word| model.knows(word));
    assert_eq!(unknown(&own, &model), [""; 0]);
}

/// A name with a word that the model lacks is left out alone: its bearer is
/// called by room, and everyone else by name all the same.
#[test]
fn a_name_that_cannot_be_heard_takes_no_other_name_with_it() {
    let home = include_str!("../audio-fixtures/demo-home.toml");
    let home = Home::from_toml(&home.replace("Rosa Delgado", "Rosa Szczepanska")).unwrap();
    let all = Grammar::standard().for_home(&home).unwrap();
    let model = model();
    let heard = all.clone().known_to(&|word| model.knows(word));
    let has = |grammar: &Grammar, word: &str| grammar.words().iter().any(|it| it == word);
    assert!(has(&all, "szczepanska") && !has(&heard, "szczepanska"));
    assert!(has(&heard, "brandt") && has(&heard, "nine"));
    for word in ["mister", "missus", "miss", "this", "badge", "dana"] {
        assert!(model.knows(word), "{word}");
    }
    assert_eq!(unknown(&heard, &model), [""; 0]);
    // Not one name that can be heard.
    let nobody = all.known_to(&|_| false);
    assert!(!has(&nobody, "brandt") && has(&nobody, "nine"));
    assert!(!nobody.phrases(sayback::grammar::Expect::Place).is_empty());
}

#[test]
fn the_model_does_not_know_every_word() {
    for word in ["respirations", "qwrtz", "saybackish"] {
        assert!(!model().knows(word), "{word}");
    }
}
