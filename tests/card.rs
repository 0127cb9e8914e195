//! The card is true: what it says is a phrase of the grammar and is understood,
//! and nothing that can be said is missing.

use sayback::card::{ENTRIES, card, html, text};
use std::sync::LazyLock;

use sayback::grammar::{Grammar, Token, Vocabulary};
use sayback::hearing::Heard;
use sayback::understanding::{ASK_BELOW, Context, NotUnderstood, Utterance, understand};
use sayback::vitals::{Units, VitalSign};

fn meaning(phrase: &str, pending: &[VitalSign]) -> Result<Utterance, NotUnderstood> {
    static VOCABULARY: LazyLock<Vocabulary> = LazyLock::new(|| Grammar::standard().vocabulary());
    let context = Context {
        pending,
        ..Context::at_rest(Units::UsCustomary, ASK_BELOW)
    };
    understand(&Heard::from_text(phrase), &VOCABULARY, &context)
}

fn is_clear(meaning: &Result<Utterance, NotUnderstood>) -> bool {
    match meaning {
        Ok(Utterance::Readings {
            claims, unclear, ..
        }) => !claims.is_empty() && unclear.is_empty(),
        Ok(Utterance::Part(part)) => part.why.is_none() && part.whose.is_empty(),
        Ok(_) => true,
        Err(_) => false,
    }
}

#[test]
fn every_example_is_a_phrase_of_its_rule_and_is_understood() {
    let grammar = Grammar::standard();
    for entry in ENTRIES {
        for phrase in entry.say {
            assert!(
                grammar.accepts(entry.rule, phrase),
                "\"{phrase}\" is no phrase of <{}>",
                entry.rule
            );
            let alone = meaning(phrase, &[]);
            let about = VitalSign::ALL.map(|it| meaning(phrase, &[it]));
            assert!(
                is_clear(&alone) || about.iter().any(is_clear),
                "\"{phrase}\" is not understood: {alone:?}"
            );
            if let Some(sign) = entry.sign {
                let claims = alone.is_ok_and(|it| it.claim(sign).is_some());
                assert!(claims, "\"{phrase}\" is no {}", sign.name());
            }
        }
    }
}

#[test]
fn every_rule_that_can_be_said_is_on_the_card() {
    let grammar = Grammar::standard();
    for rule in grammar.public_rules() {
        let on_it = ENTRIES.iter().any(|it| it.rule == rule);
        assert!(
            on_it,
            "<{rule}> is not on the card: add it to src/card/entries.rs"
        );
    }
    for entry in ENTRIES {
        let rule = grammar.public_rules().any(|it| it == entry.rule);
        assert!(rule, "<{}> is no rule any more", entry.rule);
    }
}

#[test]
fn every_vital_sign_qualifier_and_command_is_on_the_card() {
    let grammar = Grammar::standard();
    let card = card(&grammar);
    let text = text(&card);
    let html = html(&card, &maud::html! {}).into_string();
    for sign in VitalSign::ALL {
        assert!(text.contains(&format!("  {}: \"", sign.name())), "{text}");
    }
    let mut commands = 0;
    let vocabulary = grammar.vocabulary();
    for (phrase, token) in vocabulary.phrases() {
        match token {
            Token::Say(_) => {
                commands += 1;
                let own = format!("\"{phrase}\"");
                assert!(text.contains(&own), "{phrase} is missing");
                let escaped = phrase.replace('\'', "&#39;");
                assert!(
                    html.contains(&phrase) || html.contains(&escaped),
                    "{phrase}"
                );
            }
            // By its own name, or by another way to say it.
            Token::Is(it) => {
                let same = |(_, other): &(String, &Token)| **other == Token::Is(*it);
                let any = vocabulary.phrases().filter(same);
                let any = any.map(|(phrase, _)| text.contains(&phrase));
                assert!(any.into_iter().any(|it| it), "{it:?} is missing");
            }
            _ => {}
        }
    }
    assert!(commands > 10, "{commands}");
}
