//! What is said: readings, answers and talk, drawn from a seed.
//!
//! The readings come from the generator of the truthful-aide test, which does not
//! use the weights of the recogniser's phrases, so that the bench does not ask
//! only for what the recogniser was told to expect.

use fastrand::Rng;
use sayback::grammar::Grammar;
use sayback::vitals::{Units, VitalSign};

use super::truth::Truth;
use super::voices::{Half, Voice};

/// Which half of the texts and voices: settings are chosen on one, and figures
/// are taken from the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Split {
    Tune,
    Test,
}

impl Split {
    const fn seed(self) -> u64 {
        match self {
            Self::Tune => 0x7431,
            Self::Test => 0x7e57,
        }
    }
}

/// What an utterance is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// One or two readings, to be read back.
    Reading,
    /// An answer to a read-back: yes, no.
    Answer,
    /// A read-back contradicted by a value of its own.
    Correction,
    /// Talk that is not for Sayback.
    Talk,
    /// A reading whose number is easily taken for another.
    Pair,
    /// A room and bed.
    Place,
}

/// One utterance of the bench.
#[derive(Debug, Clone)]
pub struct Item {
    pub kind: Kind,
    pub text: String,
    pub signs: Vec<VitalSign>,
    pub voice: &'static Voice,
    /// For the name of its file.
    pub number: usize,
}

/// Numbers that are easily taken for another, each by every voice of the half: teens,
/// tens, and digits said twice.
pub fn pairs(half: Half) -> Vec<(&'static str, Item)> {
    const TEENS: [&str; 7] = [
        "thirteen",
        "fourteen",
        "fifteen",
        "sixteen",
        "seventeen",
        "eighteen",
        "nineteen",
    ];
    const TENS: [&str; 7] = [
        "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety",
    ];
    const DIGITS: [&str; 9] = [
        "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
    ];
    let one =
        |set: &'static str, number: &&'static str| (set, format!("weight one {number} pounds"));
    let twice = |it: &&'static str| ("pairs: twice", format!("weight one {it} {it} pounds"));
    let texts = (TEENS.iter().map(|it| one("pairs: teens", it)))
        .chain(TENS.iter().map(|it| one("pairs: tens", it)))
        .chain(DIGITS.iter().map(twice));
    let texts: Vec<_> = texts.collect();
    let by = |voice: &'static Voice| texts.iter().map(move |it| (voice, it.clone()));
    let all = half.voices().into_iter().flat_map(by).enumerate();
    all.map(|(number, (voice, (set, text)))| {
        let item = Item {
            kind: Kind::Pair,
            text,
            signs: vec![VitalSign::Weight],
            voice,
            number,
        };
        (set, item)
    })
    .collect()
}

/// Readings, two in one breath now and then, with every part that is required.
pub fn readings(half: Half, count: usize) -> Vec<Item> {
    let mut rng = Rng::with_seed(half.split.seed());
    let voices = half.voices();
    let mut items = Vec::new();
    while items.len() < count {
        let mut truths = Truth::draw_several(&mut rng);
        truths.truncate(if rng.u8(0..4) == 0 { 2 } else { 1 });
        let alone = truths.len() == 1;
        let say = |it: &Truth| it.said(Units::UsCustomary, false, alone, &mut rng);
        let said: Vec<String> = truths.iter().map(say).collect();
        items.push(Item {
            kind: Kind::Reading,
            text: said.join(" "),
            signs: truths.iter().map(Truth::sign).collect(),
            voice: voices[items.len() % voices.len()],
            number: items.len(),
        });
    }
    items
}

/// Yes and no in every form, and corrections of one value.
pub fn answers(half: Half, count: usize) -> Vec<Item> {
    const YES: [&str; 5] = [
        "yes",
        "keep it",
        "yes correct",
        "that's correct",
        "yes keep it",
    ];
    const NO: [&str; 3] = ["no", "that's wrong", "no that's wrong"];
    let mut rng = Rng::with_seed(half.split.seed() + 1);
    let voices = half.voices();
    let item = |number: usize| {
        let (kind, text) = match number % 4 {
            0 => (Kind::Answer, "yes".to_owned()),
            1 => (Kind::Answer, YES[rng.usize(0..YES.len())].to_owned()),
            2 => (Kind::Answer, NO[rng.usize(0..NO.len())].to_owned()),
            _ => {
                let value = rng.u16(41..=180);
                let forms = sayback::grammar::spoken_forms(value);
                let number = &forms[rng.usize(0..forms.len())];
                (Kind::Correction, format!("no pulse {number}"))
            }
        };
        Item {
            kind,
            text,
            signs: vec![VitalSign::Pulse],
            voice: voices[number % voices.len()],
            number,
        }
    };
    (0..count).map(item).collect()
}

/// Rooms and beds.
pub fn places(half: Half, grammar: &Grammar, count: usize) -> Vec<Item> {
    let mut rng = Rng::with_seed(half.split.seed() + 2);
    let voices = half.voices();
    let item = |number: usize| Item {
        kind: Kind::Place,
        text: grammar.draw("place.where", &mut rng),
        signs: Vec::new(),
        voice: voices[number % voices.len()],
        number,
    };
    (0..count).map(item).collect()
}

/// Talk without and with numbers, in as many voices as there are.
pub fn talk(half: Half) -> Vec<Item> {
    let voices = half.voices();
    let offset = usize::from(half.split == Split::Test);
    let mine = TALK.iter().skip(offset).step_by(2);
    let each = mine.flat_map(|text| voices.iter().map(move |voice| (text, *voice)));
    let item = |(number, (text, voice)): (usize, (&&str, &'static Voice))| Item {
        kind: Kind::Talk,
        text: (*text).to_owned(),
        signs: Vec::new(),
        voice,
        number,
    };
    each.enumerate().map(item).collect()
}

/// Half of these hold numbers, names of vital signs, or a yes or no.
const TALK: [&str; 60] = [
    "I was born in nineteen thirty two",
    "she is eighty two you know and she still does her own garden",
    "we had ten people over for lunch on sunday",
    "my daughter comes at four on sunday with the children",
    "the doctor said my blood pressure was fine last week",
    "my pulse is racing today I don't know why",
    "it is half past eight already where does the time go",
    "they have raised the price to three fifty for a coffee",
    "I have six grandchildren and one great grandchild",
    "yes of course I would like that very much",
    "no not that one the blue one on the chair",
    "the temperature outside is seventy five degrees today",
    "I used to weigh one hundred and twenty pounds when I was young",
    "he was six feet tall and very handsome",
    "let me just put this cuff on your left arm",
    "do you want to sit up or stay lying down",
    "there are two hundred and fifty channels and nothing to watch",
    "my husband was in the navy for twenty years",
    "the bus number sixty seven stops right there",
    "my son lives at one forty five maple street",
    "the phone number is five five five one two three four",
    "the stock market fell two hundred points this morning",
    "we were married for fifty three years",
    "the score is seventy two to sixty eight at the half",
    "good morning did you sleep well last night",
    "I think it is going to rain again this afternoon",
    "could you open the curtains a little please",
    "the soup was too salty yesterday I told the kitchen",
    "where did I put my glasses they were right here",
    "your sister called and she sends her love",
    "we are going to have music in the garden room later",
    "just relax your arm for me and keep nice and still",
    "that's wonderful tell me more about it",
    "now the weather for the weekend with sunshine in the south",
    "and he scores what a goal the crowd goes wild",
    "the president will travel to the coast on friday",
    "call now and order your set of kitchen knives today",
    "she left him for the gardener can you believe it",
    "this program was made possible by viewers like you",
    "we found the car abandoned by the side of the road",
    "I never liked the color of these walls",
    "have you seen the cat she was on the bed a minute ago",
    "they say the new nurse is very kind",
    "put the tray on the table and I will eat it later",
    "my back is not so good when the weather turns",
    "what time does the hairdresser come to the house",
    "we danced all night in that little hall by the river",
    "the dog next door was barking until two in the morning",
    "I would love a cup of tea with a little milk",
    "did anybody feed the birds this morning",
    "the train leaves at nine fifteen from platform three",
    "take two of these with water after breakfast",
    "I paid twelve dollars and ninety five cents for that",
    "chapter eleven verse fourteen she read to us",
    "he is ninety eight years old and sharp as a tack",
    "room service used to come at seven thirty every day",
    "my brother had seven sons and then one daughter",
    "in nineteen sixty eight we moved to the city",
    "the pain was an eight when I came but I am better now",
    "bring me the other pillow and the wool blanket please",
];

/// What others in the room say, for babble and television: nothing of the above.
pub const BABBLE: [&str; 12] = [
    "when we lived on the farm there was always something to do before school started",
    "the committee agreed that the proposal should be reviewed again next month",
    "she told me the whole story from the beginning and I could hardly believe it",
    "if you take the road along the lake you get there much faster than by the highway",
    "nobody knows what happened to the old piano after the house was sold",
    "he wanted to become a teacher but his father needed him in the shop",
    "they have planted roses all along the fence and it looks lovely in the summer",
    "the museum opened a new exhibition about the history of the railway",
    "I would rather stay at home with a good book than go out in this cold",
    "our guests tonight have written a cook book about the food of the islands",
    "after the break we will hear from farmers who lost everything in the storm",
    "please remember to bring your coats because the evening will be windy",
];
