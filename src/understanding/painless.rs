//! "No pain" is a value, and has the word of a refusal in it.

use crate::grammar::{Piece, Spoken, Token};
use crate::vitals::VitalSign;

const PAIN: Token = Token::Sign(VitalSign::Pain);
const NOUGHT: Token = Token::Number(Piece::Digit(0));

/// Makes "no pain" a pain of 0 where nothing of it follows: "no, pain five" corrects. After
/// a word that was lost it is other talk. Zero is no pain on the numeric rating scale:
/// CMS RAI Manual, MDS 3.0, item J0600A.
pub(super) fn as_nought(mut tokens: Vec<Spoken>) -> Vec<Spoken> {
    for at in 1..tokens.len() {
        let said = is_none(&tokens[at - 1], &tokens[at]);
        let lost = at > 1 && tokens[at - 2].token == Token::Unknown;
        let own = tokens[at + 1..].iter().map(|it| &it.token);
        let mut own = own.take_while(|it| !matches!(it, Token::Sign(_)));
        // How the next one was taken may stand before its name.
        if said && !lost && own.all(|it| matches!(it, Token::Filler | Token::Is(_))) {
            let (from, pain) = (tokens[at - 1].from, tokens[at].from);
            tokens[at - 1] = Spoken {
                token: PAIN,
                from,
                to: pain,
            };
            tokens[at].token = NOUGHT;
        }
    }
    tokens
}

fn is_none(no: &Spoken, pain: &Spoken) -> bool {
    no.token == Token::No && pain.token == PAIN
}

/// "Change the pain to no pain": what follows the "to", where that is all.
pub(super) fn changed_to_nought(value: &[Spoken]) -> Option<Spoken> {
    match value {
        [no, pain] if is_none(no, pain) => Some(Spoken {
            token: NOUGHT,
            from: no.from,
            to: pain.to,
        }),
        _ => None,
    }
}
