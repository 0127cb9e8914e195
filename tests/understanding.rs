//! What is said and what it means, a line each.

use std::sync::LazyLock;

use proptest::prelude::*;
use sayback::grammar::{Expect, Grammar, Vocabulary};
use sayback::hearing::{Alternative, Heard};
use sayback::speaking::wording;
use sayback::understanding::{
    ASK_BELOW, Context, NotUnderstood, Unclear, Utterance, Why, understand,
};
use sayback::vitals::{Measurement, Qualifier, Supply, Units, Value, VitalSign};

static VOCABULARY: LazyLock<Vocabulary> = LazyLock::new(|| Grammar::standard().vocabulary());

fn context(pending: &[VitalSign], units: Units) -> Context<'_> {
    Context {
        pending,
        ..Context::at_rest(units, ASK_BELOW)
    }
}

fn meaning(said: &str) -> Result<Utterance, NotUnderstood> {
    understand(
        &Heard::from_text(said),
        &VOCABULARY,
        &context(&[], Units::UsCustomary),
    )
}

fn show(measurement: &Measurement) -> String {
    let value = match measurement.value() {
        Value::One(quantity) => format!("{} {}", quantity.value(), quantity.unit().symbol()),
        Value::Pressure {
            systolic,
            diastolic,
        } => {
            format!("{}/{}", systolic.value(), diastolic.value())
        }
        Value::Palpated { systolic } => format!("{}/P", systolic.value()),
        Value::Level(level) => level.tag().to_owned(),
        Value::NotRated => "not rated".to_owned(),
    };
    let qualifiers = measurement.qualifiers().iter().map(|it| match it {
        Qualifier::Supply(Supply::Oxygen(Some(litres))) => format!(", oxygen {litres} L"),
        other => format!(", {}", other.spoken()),
    });
    format!(
        "{} {value}{}",
        measurement.sign().name(),
        qualifiers.collect::<String>()
    )
}

fn show_all(utterance: &Utterance) -> String {
    let Utterance::Readings {
        claims, unclear, ..
    } = utterance
    else {
        return format!("{utterance:?}");
    };
    let claims = claims.iter().map(|it| show(&it.measurement));
    let unclear = unclear.iter().map(|Unclear { sign, why, .. }| {
        let why = match why {
            Why::Either(ways) => {
                let ways: Vec<String> = ways.iter().map(show).collect();
                format!("either {}", ways.join(" or "))
            }
            Why::Impossible(why) => format!("impossible, {why}"),
            Why::Gap => "gap".to_owned(),
            Why::Cut => "cut".to_owned(),
            Why::NoNumber => "no number".to_owned(),
            Why::NotANumber(words) => format!("no number in {words}"),
            Why::TwoQualifiers(a, b) => format!("{} and {}", a.spoken(), b.spoken()),
            Why::OnlySystolic { systolic, over } => {
                format!("{systolic}{}", if *over { " over what" } else { "" })
            }
            other => format!("{other:?}"),
        };
        format!("{}? {why}", sign.name())
    });
    claims.chain(unclear).collect::<Vec<_>>().join("; ")
}

/// Each line is `what is said => what it means`.
fn check(script: &str) {
    for line in script.lines().map(str::trim).filter(|it| !it.is_empty()) {
        let (said, expected) = line.split_once(" => ").expect("a line has both sides");
        let found = match meaning(said) {
            Ok(utterance) => show_all(&utterance),
            Err(why) => why.to_string(),
        };
        assert_eq!(found, expected, "{said}");
    }
}

#[test]
fn numbers_as_people_say_them() {
    check(
        "pulse one twenty eight => pulse 128 /min
         pulse one hundred and twenty eight => pulse 128 /min
         pulse one two eight => pulse 128 /min
         pulse one oh eight => pulse 108 /min
         temperature ninety eight point six oral => temperature 98.6 °F, oral
         temperature ninety eight six oral => temperature 98.6 °F, oral
         temp one oh one point two rectal => temperature 101.2 °F, rectal
         temp one oh one two => temperature 101.2 °F
         temperature a hundred tympanic => temperature 100 °F, tympanic
         temperature one hundred point four => temperature 100.4 °F
         weight two fifteen => weight 215 lb
         weight one fifty three and a half pounds => weight 153.5 lb
         weight one hundred fifty three pounds eight ounces => weight 153.5 lb
         weight seventy point two kilos => weight 70.2 kg
         height five foot four and a half => height 64.5 in
         height sixty four inches => height 64 in
         height five feet eleven inches => height 71 in
         height one hundred sixty two centimeters => height 162 cm
         oxygen saturation ninety four percent on room air => oxygen saturation 94 %, on room air
         pulse ox ninety one on two liters => oxygen saturation 91 %, oxygen 2 L
         sats ninety on oxygen three liters => oxygen saturation 90 %, oxygen 3 L
         saturation ninety two percent on twenty liters => oxygen saturation? no number in 90 2 … 20 …
         saturation a hundred percent on one liter => oxygen saturation 100 %, oxygen 1 L",
    );
}

#[test]
fn blood_pressure_is_one_number_over_another() {
    check(
        "blood pressure one twenty eight over seventy six left arm sitting => blood pressure 128/76, left arm, sitting
         left arm blood pressure one ten over sixty lying down => blood pressure 110/60, left arm, lying
         pressure one hundred over a hundred => blood pressure? impossible, systolic 100 must be more than diastolic 100
         blood pressure one twenty eighty => blood pressure 120/80
         blood pressure one twenty => blood pressure? 120
         blood pressure one hundred thirty five millimeters of mercury => blood pressure? 135
         blood pressure seventy over one twenty => blood pressure? impossible, systolic 70 must be more than diastolic 120
         blood pressure one twenty over eighty left arm blood pressure one thirty over eighty right arm => blood pressure 120/80, left arm; blood pressure 130/80, right arm",
    );
}

#[test]
fn a_name_heard_inside_a_reading_puts_both_in_doubt() {
    check(
        "pulse forty pain one beats a minute carotid => pulse? gap; pain? gap
         height five foot breathing inches => height? gap; respiration? gap
         pulse rate a hundred height forty two beats a minute => pulse? gap; height? gap
         pulse seventy two beats a minute pain two out of ten => pulse 72 /min; pain 2 points",
    );
}

#[test]
fn ounces_that_were_lost_after_pounds_are_missed() {
    check(
        "weight a hundred and forty four pounds [unk] => weight? gap
         weight a hundred and forty four pounds on the lift scale => weight 144 lb, lift scale
         pulse seventy two beats a minute [unk] => pulse 72 /min",
    );
}

#[test]
fn several_readings_in_one_breath_keep_their_own_qualifiers() {
    check(
        "blood pressure one twenty eight over seventy six left arm sitting pulse seventy two regular strong => blood pressure 128/76, left arm, sitting; pulse 72 /min, regular, strong
         pulse seventy two regular respiration eighteen shallow => pulse 72 /min, regular; respiration 18 /min, shallow
         pulse seventy two oral temperature ninety eight point six => pulse 72 /min; temperature 98.6 °F, oral
         oral temperature ninety nine pulse eighty irregular weak => temperature 99 °F, oral; pulse 80 /min, irregular, weak"
            .replace(", irregular", ", not regular, irregular")
            .as_str(),
    );
}

#[test]
fn a_self_correction_leaves_what_was_said_last() {
    check(
        "respiration eighteen no sixteen => respiration 16 /min
         pulse eighty two correction eighty four regular => pulse 84 /min, regular
         temperature ninety eight point six sorry ninety nine point six oral => temperature 99.6 °F, oral
         blood pressure one twenty over eighty make that one thirty over eighty => blood pressure 130/80
         temperature ninety nine oral no axillary => temperature 99 °F, axillary
         blood pressure one twenty over eighty left arm no right arm => blood pressure 120/80, right arm
         pulse eighteen no respiration eighteen => respiration 18 /min
         blood pressure one twenty over eighty no eighty two => blood pressure? 82",
    );
}

#[test]
fn what_is_not_clear_is_asked_and_never_guessed() {
    check(
        "temperature one hundred two oral => temperature? either temperature 100.2 °F or temperature 102 °F
         height five four => height? either height 54 in or height 64 in
         pulse seventy [unk] => pulse? gap
         pulse [unk] seventy two => pulse? gap
         blood pressure one [unk] over eighty => blood pressure? gap
         pulse seventy two regular [unk] => pulse 72 /min, regular
         pulse => pulse? no number
         pulse eighteen sixteen => pulse? no number in 18 16
         pulse seventy two pulse seventy four => pulse? either pulse 72 /min or pulse 74 /min
         pulse seventy two regular irregular => pulse? regular and not regular, irregular
         temperature thirty seven two => temperature? impossible, temperature of 37.2 °F is not possible: it must be between 77 and 113 °F
         temperature thirty seven two celsius axillary => temperature 37.2 °C, axillary
         pulse three fifty => pulse? impossible, pulse of 350 /min is not possible: it must be between 20 and 300 /min
         temperature ninety nine left arm => temperature? impossible, temperature can't be left arm",
    );
}

#[test]
fn a_value_and_another_can_be_clear_and_not() {
    check(
        "temperature ninety eight point six oral pulse [unk] => temperature 98.6 °F, oral; pulse? no number",
    );
}

#[test]
fn talk_that_is_not_for_sayback_is_ignored() {
    for said in [
        "[unk]",
        "yes [unk]",
        "[unk] yes mean [unk]",
        "seventy two",
        "left arm",
        "make that",
        "on the [unk]",
        "yes no",
        "bed two asleep weight left height minute air",
    ] {
        assert!(meaning(said).is_err(), "{said}: {:?}", meaning(said));
    }
    assert_eq!(meaning(""), Err(NotUnderstood::Nothing));
    assert_eq!(meaning("the"), Err(NotUnderstood::Nothing));
}

/// A name in the middle of other talk: asked at most, and never offered.
#[test]
fn a_reading_amid_talk_is_not_offered() {
    check(
        "[unk] pulse seventy two => pulse 72 /min
         pulse seventy two regular [unk] => pulse 72 /min, regular
         [unk] weight one hundred and twenty pounds [unk] => weight? gap
         [unk] pulse seventy two regular [unk] => pulse? gap
         last flow room seventy two tall sixty eight and a half => \
            oxygen flow? impossible, oxygen flow of 72 L/min is not possible: \
            it must be between 0.1 and 15 L/min; height? Unsure(1.0)",
    );
}

/// A word that the grammar has only inside a longer phrase is what is left of
/// something else when it is alone: "a minute", "make that", "stop listening".
#[test]
fn a_piece_of_a_phrase_is_not_padding() {
    check(
        "pulse one two a => pulse? gap
         pulse is a hundred => pulse 100 /min
         pulse seventy that two => pulse? gap
         temperature ninety eight point m six oral => temperature? gap
         weight minute seventy => weight? gap",
    );
    for said in ["stop right minute", "make that mean", "on the minute ago"] {
        assert_eq!(meaning(said), Err(NotUnderstood::SideTalk), "{said}");
    }
}

#[test]
fn talk_does_not_answer_a_question() {
    let pending = [VitalSign::Pulse, VitalSign::BloodPressure];
    let context = context(&pending, Units::UsCustomary);
    let answer = |said: &str| understand(&Heard::from_text(said), &VOCABULARY, &context);
    for said in [
        "[unk] left arm",
        "[unk] eighty four",
        "[unk] lying down [unk]",
        "resident seventy two yes",
        "refused seventy two ago",
    ] {
        assert_eq!(answer(said), Err(NotUnderstood::SideTalk), "{said}");
    }
    for said in ["seventy [unk]", "left arm [unk]", "ninety was"] {
        let Ok(Utterance::Part(part)) = answer(said) else {
            panic!("{said}: {:?}", answer(said));
        };
        assert_eq!((part.value, part.why), (None, Some(Why::Gap)), "{said}");
    }
    // An unsure beginning and lost words together are not worth a question.
    let mut unsure = Heard::from_text("seventy [unk]");
    unsure.words[0].confidence = 0.4;
    let found = understand(&unsure, &VOCABULARY, &context);
    assert_eq!(found, Err(NotUnderstood::SideTalk));
}

#[test]
fn a_bare_value_belongs_to_the_one_vital_sign_that_can_have_it() {
    let part = |said: &str, pending: &[VitalSign]| {
        let context = context(pending, Units::UsCustomary);
        match understand(&Heard::from_text(said), &VOCABULARY, &context) {
            Ok(Utterance::Part(part)) => *part,
            other => panic!("{said}: {other:?}"),
        }
    };
    let sign = |said: &str, pending: &[VitalSign]| {
        part(said, pending).value.map(|it| it.measurement.sign())
    };
    let (pulse, pressure) = (VitalSign::Pulse, VitalSign::BloodPressure);
    assert_eq!(sign("no eighty four", &[pulse]), Some(pulse));
    assert_eq!(
        sign("one twenty over eighty", &[pulse, pressure]),
        Some(pressure)
    );
    let both = [pulse, VitalSign::Respiration];
    assert_eq!(sign("twenty four", &both), None);
    assert_eq!(part("twenty four", &both).whose, both);
    assert_eq!(part("seventy [unk]", &[pulse]).why, Some(Why::Gap));
}

#[test]
fn a_word_that_is_doubted_is_asked_again() {
    let mut heard = Heard::from_text("pulse seventy two");
    heard.words[2].confidence = 0.49;
    let context = context(&[], Units::UsCustomary);
    let found = understand(&heard, &VOCABULARY, &context).unwrap();
    assert_eq!(show_all(&found), "pulse? Unsure(1.0)");
    heard.words[2].confidence = 0.5;
    let found = understand(&heard, &VOCABULARY, &context).unwrap();
    assert_eq!(show_all(&found), "pulse 72 /min");
}

#[test]
fn a_yes_that_is_not_sure_is_no_yes() {
    let mut heard = Heard::from_text("yes");
    let context = context(&[], Units::UsCustomary);
    assert!(matches!(
        understand(&heard, &VOCABULARY, &context),
        Ok(Utterance::Yes(_))
    ));
    heard.words[0].confidence = ASK_BELOW - 0.01;
    let unsure = Err(NotUnderstood::Unsure);
    assert_eq!(understand(&heard, &VOCABULARY, &context), unsure);
}

#[test]
fn a_rival_transcript_puts_what_was_heard_in_doubt() {
    let with_rival = |best: &str, rival: &str, behind: f32| {
        let text = rival.to_owned();
        let heard = Heard {
            alternatives: vec![Alternative { text, behind }],
            ..Heard::from_text(best)
        };
        understand(&heard, &VOCABULARY, &context(&[], Units::UsCustomary))
    };
    // Another value may have a third of the doubt that a word may have; this is
    // just as far behind as leaves the best one so sure.
    let sure = 1.0 - (1.0 - ASK_BELOW) / 3.0;
    let near = -(1.0 / sure - 1.0).ln() - 0.01;
    let found = with_rival("respiration fourteen", "respiration forty", near);
    let either = "respiration? either respiration 14 /min or respiration 40 /min";
    assert_eq!(show_all(&found.unwrap()), either);
    // What is impossible is no rival.
    let found = with_rival("pulse fifty", "pulse fifteen", near);
    assert_eq!(show_all(&found.unwrap()), "pulse 50 /min");
    let found = with_rival("pulse fifty regular", "pulse fifty irregular", near);
    assert!(show_all(&found.unwrap()).starts_with("pulse? either"));
    // A qualifier that may have been lost is asked for; one that was heard is not.
    let found = with_rival("pulse fifty", "pulse fifty weak", near);
    let either = "pulse? either pulse 50 /min or pulse 50 /min, weak";
    assert_eq!(show_all(&found.unwrap()), either);
    let found = with_rival("pulse fifty weak", "pulse fifty", near);
    assert_eq!(show_all(&found.unwrap()), "pulse 50 /min, weak");
    // That it was not taken at all is another claim.
    for refused in ["pulse fifty refused", "pulse refused"] {
        let found = with_rival("pulse fifty weak", refused, near);
        let shown = show_all(&found.unwrap());
        assert!(shown.starts_with("pulse? Unsure"), "{refused}: {shown}");
        let found = with_rival("respiration fourteen", refused, near);
        assert_eq!(
            show_all(&found.unwrap()),
            "respiration 14 /min",
            "{refused}"
        );
    }
    let found = with_rival("pulse fifty regular", "the pulse fifty regular", near);
    assert_eq!(show_all(&found.unwrap()), "pulse 50 /min, regular");
    let found = with_rival("respiration fourteen", "respiration forty", near + 0.02);
    let found = found.unwrap();
    assert_eq!(show_all(&found), "respiration 14 /min");
    // What is not asked about is remembered with what was taken.
    let Utterance::Readings { claims, .. } = found else {
        panic!("no reading");
    };
    let [rival] = claims[0].rivals.as_slice() else {
        panic!("{:?}", claims[0].rivals);
    };
    let said = wording::measurement(&rival.measurement);
    assert_eq!(said, "Respiration four zero");
    assert!((rival.share + claims[0].confidence - 1.0).abs() < 0.001);
}

#[test]
fn a_value_without_a_name_is_told_from_side_talk() {
    assert_eq!(meaning("seventy two regular"), Err(NotUnderstood::Nameless));
    assert_eq!(
        meaning("one twenty over eighty"),
        Err(NotUnderstood::Nameless)
    );
    assert_eq!(meaning("[unk] seventy two"), Err(NotUnderstood::SideTalk));
}

#[test]
fn in_a_metric_home_the_unspoken_unit_is_metric() {
    let metric = context(&[], Units::Metric);
    let said =
        Heard::from_text("temperature thirty seven two oral weight seventy height one sixty");
    let found = understand(&said, &VOCABULARY, &metric).unwrap();
    assert_eq!(
        show_all(&found),
        "temperature 37.2 °C, oral; weight 70 kg; height 160 cm"
    );
}

/// The grammar cannot offer what the parser cannot take.
#[test]
fn every_phrase_of_the_grammar_is_understood() {
    let grammar = Grammar::standard();
    let pending = VitalSign::ALL;
    let mut rng = fastrand::Rng::with_seed(8);
    for rule in grammar.public_rules() {
        for _ in 0..400 {
            let said = grammar.draw(rule, &mut rng);
            let context = context(&pending, Units::UsCustomary);
            let found = understand(&Heard::from_text(&said), &VOCABULARY, &context);
            match found {
                Err(why) => panic!("<{rule}> \"{said}\": {why}"),
                // The draw does not know what is possible, so that some of
                // what it says is refused; but never as gibberish.
                Ok(Utterance::Readings { unclear, .. }) => {
                    for it in unclear {
                        let plain = matches!(
                            it.why,
                            Why::Either(_)
                                | Why::Impossible(_)
                                | Why::TwoQualifiers(..)
                                | Why::Arithmetic(_)
                                | Why::ChairWeight(_)
                                | Why::NoDiastolic(_)
                        );
                        // "No, the temperature" has it asked for.
                        let asked = rule == "conversation.instead" && it.why == Why::NoNumber;
                        assert!(plain || asked, "<{rule}> \"{said}\": {it:?}");
                    }
                }
                Ok(_) => {}
            }
        }
    }
}

#[test]
fn every_expectation_has_phrases() {
    let grammar = Grammar::standard();
    for expect in Expect::ALL {
        let phrases = grammar.phrases(expect);
        assert!(phrases.iter().all(|it| !it.is_empty()), "{expect:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Any words, known or not, in any order: an answer, never a panic, and
    /// never a value from next to a gap.
    #[test]
    fn no_words_panic(words in proptest::collection::vec(word(), 0..14)) {
        let said = words.join(" ");
        let pending = [VitalSign::Pulse, VitalSign::Weight];
        let context = context(&pending, Units::UsCustomary);
        let _ = understand(&Heard::from_text(&said), &VOCABULARY, &context);
    }

    #[test]
    fn any_text_is_taken(said in ".{0,60}") {
        let _ = meaning(&said);
    }

    #[test]
    fn a_gap_beside_a_number_never_gives_a_value(rate in 20_u16..300, at in 0_usize..6) {
        for form in sayback::grammar::spoken_forms(rate) {
            let mut words: Vec<&str> = form.split(' ').collect();
            words.insert(at.min(words.len()), "[unk]");
            let said = format!("pulse {}", words.join(" "));
            let claim = meaning(&said).ok().and_then(|it| it.claim(VitalSign::Pulse).cloned());
            prop_assert!(claim.is_none(), "{}", said);
        }
    }
}

fn word() -> impl Strategy<Value = String> {
    let words: Vec<String> = Grammar::standard().words();
    prop_oneof![
        4 => proptest::sample::select(words),
        1 => Just("[unk]".to_owned()),
        1 => "[a-z]{1,5}",
    ]
}
