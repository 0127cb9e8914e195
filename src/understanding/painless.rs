//! "No pain" is a value, and has the word of a refusal in it.

use crate::grammar::{Piece, Spoken, Token};
use crate::vitals::VitalSign;

const PAIN: Token = Token::Sign(VitalSign::Pain);

/// Makes "no pain" a pain of 0 where nothing of it follows: "no, pain five" corrects. After
/// a word that was lost it is other talk. Zero is no pain on the numeric rating scale:
/// CMS RAI Manual, MDS 3.0, item J0600A.
pub(super) fn as_nought(mut tokens: Vec<Spoken>) -> Vec<Spoken> {
    for at in 1..tokens.len() {
        let said = tokens[at - 1].token == Token::No && tokens[at].token == PAIN;
        let lost = at > 1 && tokens[at - 2].token == Token::Unknown;
        let own = tokens[at + 1..].iter().map(|it| &it.token);
        let mut own = own.take_while(|it| !matches!(it, Token::Sign(_)));
        // How the next one was taken may stand before its name.
        if said && !lost && own.all(|it| matches!(it, Token::Filler | Token::Is(_))) {
            let (from, pain) = (tokens[at - 1].from, tokens[at].from);
            let nought = Token::Number(Piece::Digit(0));
            tokens[at - 1] = Spoken {
                token: PAIN,
                from,
                to: pain,
            };
            tokens[at].token = nought;
        }
    }
    tokens
}
