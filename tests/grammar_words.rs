//! Every word that the grammar can ask for is a word the recogniser's model
//! knows; one it does not know would never be heard.

mod sound;

use std::path::Path;

use sayback::grammar::{Expect, Grammar};
use sayback::residents::Home;

fn unknown(grammar: &Grammar) -> Vec<String> {
    let model = sound::model();
    let words = grammar.words().into_iter();
    words.filter(|it| !model.knows(it)).collect()
}

fn home(file: &str) -> Home {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(file);
    Home::from_toml(&std::fs::read_to_string(path).unwrap()).unwrap()
}

#[test]
fn the_model_knows_every_word_of_the_grammar() {
    let grammar = Grammar::standard();
    assert!(grammar.words().len() > 150);
    assert_eq!(unknown(&grammar), [""; 0]);
}

#[test]
fn the_model_knows_every_word_of_the_homes_that_come_with_it() {
    for file in [
        "audio-fixtures/demo-home.toml",
        "tests/dialogues/homes/care.toml",
    ] {
        let grammar = Grammar::standard().for_home(&home(file)).unwrap();
        assert_eq!(unknown(&grammar), [""; 0], "{file}");
    }
}

/// The phrase lists hold only words of the grammar, so that the check above
/// covers what the recogniser is really given.
#[test]
fn the_phrase_lists_are_made_of_the_grammars_words() {
    let grammar = Grammar::standard()
        .for_home(&home("audio-fixtures/demo-home.toml"))
        .unwrap();
    let words = grammar.words();
    for expect in Expect::ALL {
        let phrases = grammar.phrases(expect);
        assert!(!phrases.is_empty(), "{expect:?}");
        for word in phrases.iter().flat_map(|it| it.split(' ')) {
            let known = words.binary_search_by(|it| it.as_str().cmp(word)).is_ok();
            assert!(known || word == "[unk]", "{expect:?}: {word}");
        }
    }
}
