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
    assert_eq!(unknown(&own, &model()), [""; 0]);
}

#[test]
fn the_model_does_not_know_every_word() {
    for word in ["respirations", "qwrtz", "saybackish"] {
        assert!(!model().knows(word), "{word}");
    }
}
