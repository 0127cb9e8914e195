//! What the documents, the services and the program's own messages say to type is what
//! the command line takes.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{Command, CommandFactory as _, Parser as _};

use super::Cli;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");
/// Of these the options are those of other programs too.
const OF_MEASURING: [&str; 4] = [
    "hearing.md",
    "hearing-tried.md",
    "hearing-adapted.md",
    "figures.md",
];

/// Files in a folder of the project, and in those below it, that end so; of the project itself
/// (no name), only what lies in it.
fn files(folder: &str, ends: &[&str], found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(Path::new(ROOT).join(folder)).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() && !folder.is_empty() {
            files(&format!("{folder}/{name}"), ends, found);
        } else if ends.iter().any(|it| name.ends_with(it)) {
            found.push(path);
        }
    }
}

/// The words of a line as a shell takes them, without a remark.
fn words(line: &str) -> Vec<String> {
    let (mut words, mut word, mut quote) = (Vec::new(), None::<String>, None);
    for letter in line.chars() {
        match (quote, letter) {
            (Some(open), _) if letter == open => quote = None,
            (None, '"' | '\'') => {
                quote = Some(letter);
                word.get_or_insert_default();
            }
            (None, '#') if word.is_none() => break,
            (None, _) if letter.is_whitespace() => words.extend(word.take()),
            _ => word.get_or_insert_default().push(letter),
        }
    }
    words.extend(word);
    words
}

/// The lines that are to be typed: of a block in a document, or of a service.
fn lines(text: &str) -> Vec<Vec<String>> {
    let joined = text.replace("\\\n", " ");
    let typed = joined.lines().filter_map(|line| {
        let service = line.strip_prefix("ExecStart=/opt/sayback/current/");
        let line = service.unwrap_or(line);
        let line = line.strip_prefix("sudo -u postgres ").unwrap_or(line);
        line.starts_with("sayback ").then(|| words(line))
    });
    typed.collect()
}

/// What stands between backticks in a document, though it goes on in the next line.
fn in_backticks(text: &str) -> Vec<Vec<String>> {
    // Every second part is a block between three of them, of which `lines` has what is typed.
    let text = text.split("```").step_by(2).collect::<String>();
    text.split('`').skip(1).step_by(2).map(words).collect()
}

/// The commands that a source names between backticks, in its texts and remarks: those go on
/// in the next line after a backslash, or with `///`.
fn commands_in_source(text: &str) -> Vec<Vec<String>> {
    let text = text.replace("\\\n", " ").replace("\n///", " ");
    let after = text.split("`sayback ").skip(1);
    let parts = after.filter_map(|it| it.split('`').next());
    // A name in braces stands for any.
    let parts = parts.filter(|it| !it.contains('{'));
    parts.map(|it| words(&format!("sayback {it}"))).collect()
}

/// How much of a command line is there.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Said {
    /// All that is to be typed.
    Whole,
    /// Its name and what it is about: what is required may be missing.
    Mention,
}

/// Whether the command line takes it, or why not.
fn is_taken(words: &[String], said: Said) -> Result<(), String> {
    let lacks = [
        ErrorKind::MissingRequiredArgument,
        ErrorKind::MissingSubcommand,
        ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand,
    ];
    let head = format!("12:{}", "0".repeat(64));
    let words = words.iter().map(|it| if it == "HEAD" { &head } else { it });
    match Cli::try_parse_from(words) {
        Err(error) => match error.kind() {
            ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => Ok(()),
            kind if said == Said::Mention && (lacks.contains(&kind) || lacks_value(&error)) => {
                Ok(())
            }
            _ => Err(error.to_string()),
        },
        Ok(_) => Ok(()),
    }
}

/// Whether an option is named without what belongs to it.
fn lacks_value(error: &clap::Error) -> bool {
    let given = error.get(ContextKind::InvalidValue);
    matches!(given, Some(ContextValue::String(it)) if it.is_empty())
}

fn options(command: &Command, found: &mut BTreeSet<String>) {
    let long = command.get_arguments().filter_map(|it| it.get_long());
    found.extend(long.map(|it| format!("--{it}")));
    for below in command.get_subcommands() {
        options(below, found);
    }
}

#[test]
fn every_line_to_be_typed_is_taken() {
    let mut found = Vec::new();
    files("", &[".md"], &mut found);
    files("docs", &[".md"], &mut found);
    files("dist", &[".service", ".conf"], &mut found);
    let (mut tried, mut wrong) = (0, Vec::new());
    for path in found {
        let text = std::fs::read_to_string(&path).unwrap();
        for line in lines(&text).iter().filter(|it| it[1] != "...") {
            tried += 1;
            if let Err(why) = is_taken(line, Said::Whole) {
                wrong.push(format!("{}: {line:?}: {why}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(tried > 25, "{tried}");
}

/// What there is to be mentioned.
struct Known {
    commands: BTreeSet<String>,
    options: BTreeSet<String>,
}

impl Known {
    fn all() -> Self {
        let cli = Cli::command();
        let commands = cli.get_subcommands().map(|it| it.get_name().to_owned());
        let mut known = BTreeSet::from(["--help".to_owned(), "--version".to_owned()]);
        options(&cli, &mut known);
        Self {
            commands: commands.collect(),
            options: known,
        }
    }

    /// Whether what is mentioned is right, or why not; none where it is about neither a
    /// command nor an option. Where `others` are spoken of, an option alone may be theirs.
    fn judge(&self, said: &[String], others: bool) -> Option<Result<(), String>> {
        let is_option = |it: &String| it.starts_with("--");
        match said {
            // A name in capitals stands for any; where the record's chain begins is written
            // down as "sayback record, chain 1".
            [first, second, ..] if first == "sayback" => {
                let another = ["COMMAND", "record,"].contains(&second.as_str());
                (!another).then(|| is_taken(said, Said::Mention))
            }
            // "serve --link" is of a command, and "record" alone may be any word.
            [first, rest @ ..] if self.commands.contains(first) && rest.iter().any(is_option) => {
                let whole = [&["sayback".to_owned()], said].concat();
                Some(is_taken(&whole, Said::Mention))
            }
            [first, ..] if is_option(first) && !others => {
                let known = self.options.contains(first);
                Some(known.then_some(()).ok_or("no such option".to_owned()))
            }
            _ => None,
        }
    }
}

#[test]
fn every_mention_of_a_command_or_an_option_is_of_one() {
    let known = Known::all();
    let mut found = Vec::new();
    files("", &[".md"], &mut found);
    files("docs", &[".md"], &mut found);
    files("grammar", &[".md"], &mut found);
    files("src", &[".rs"], &mut found);
    found.retain(|it| !it.ends_with(file!()));
    let (mut tried, mut wrong) = (0, Vec::new());
    for path in found {
        let text = std::fs::read_to_string(&path).unwrap();
        let mentioned = if path.extension().is_some_and(|it| it == "md") {
            in_backticks(&text)
        } else {
            commands_in_source(&text)
        };
        let others = OF_MEASURING.iter().any(|it| path.ends_with(it));
        for said in mentioned {
            let Some(taken) = known.judge(&said, others) else {
                continue;
            };
            tried += 1;
            if let Err(why) = taken {
                wrong.push(format!("{}: {said:?}: {why}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(tried > 90, "{tried}");
}
