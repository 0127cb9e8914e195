//! The card as a page to print and as plain text.

use std::fmt::Write as _;

use maud::{DOCTYPE, Markup, html};

use super::Section;

/// The card's style sheet.
pub const STYLE: &str = include_str!("card.css");

const TITLE: &str = "What you can say to Sayback";
const RULE: &str = "It reads back what it heard. Only your yes keeps it.";
const FOOT: &str = "Sayback records and reminds; it does not diagnose. The care plan, facility policy \
    and the licensed nurse decide.";

/// A page of one sheet, A4 or Letter. `style` is how it gets [`STYLE`].
#[must_use]
pub fn html(card: &[Section], style: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (TITLE) }
                link rel="icon" href="data:,";
                (style)
            }
            body {
                header { h1 { (TITLE) } p { (RULE) } }
                main {
                    @for section in card {
                        section {
                            h2 { (section.title) }
                            dl {
                                @for line in section.lines.iter().filter(|it| !it.say.is_empty()) {
                                    dt { (line.to) }
                                    dd {
                                        @for (at, say) in line.say.iter().enumerate() {
                                            @if at > 0 { " \u{b7} " }
                                            q { (say) }
                                        }
                                        @for words in &line.words { span.words { "+ " (words) } }
                                    }
                                }
                            }
                        }
                    }
                }
                footer { (FOOT) }
            }
        }
    }
}

/// The card as plain text.
#[must_use]
pub fn text(card: &[Section]) -> String {
    let mut text = format!("{TITLE}\n{RULE}\n");
    for section in card {
        let _ = write!(text, "\n{}\n", section.title.to_uppercase());
        for line in section.lines.iter().filter(|it| !it.say.is_empty()) {
            let say: Vec<String> = line.say.iter().map(|it| format!("\"{it}\"")).collect();
            let _ = writeln!(text, "  {}: {}", line.to, say.join(", "));
            for words in &line.words {
                let _ = writeln!(text, "      + {words}");
            }
        }
    }
    let _ = write!(text, "\n{FOOT}\n");
    text
}
