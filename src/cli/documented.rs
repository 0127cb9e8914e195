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

/// Files below a folder of the project that end so.
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
    // Blocks have three of them.
    let text = text.split("```").step_by(2).collect::<String>();
    text.split('`').skip(1).step_by(2).map(words).collect()
}

/// The same in a source, of commands alone: what is in its texts goes on after a backslash.
fn commands_in_source(text: &str) -> Vec<Vec<String>> {
    let text = text.replace("\\\n", " ").replace("\n///", " ");
    let after = text.split("`sayback ").skip(1);
    let parts = after.filter_map(|it| it.split('`').next());
    // A name in braces stands for any.
    let parts = parts.filter(|it| !it.contains('{'));
    parts.map(|it| words(&format!("sayback {it}"))).collect()
}

/// Whether a command line is taken; a mention of it may lack what is required.
fn is_taken(words: &[String], whole: bool) -> Result<(), String> {
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
            kind if !whole && (lacks.contains(&kind) || lacks_value(&error)) => Ok(()),
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
            if let Err(why) = is_taken(line, true) {
                wrong.push(format!("{}: {line:?}: {why}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(tried > 25, "{tried}");
}

#[test]
fn every_mention_of_a_command_or_an_option_is_of_one() {
    let cli = Cli::command();
    let commands: BTreeSet<&str> = cli.get_subcommands().map(Command::get_name).collect();
    let mut known = BTreeSet::from(["--help".to_owned(), "--version".to_owned()]);
    options(&cli, &mut known);
    let mut found = Vec::new();
    files("", &[".md"], &mut found);
    files("docs", &[".md"], &mut found);
    files("grammar", &[".md"], &mut found);
    files("src", &[".rs"], &mut found);
    found.retain(|it| !it.ends_with(file!()));
    let (mut tried, mut wrong) = (0, Vec::new());
    for path in found {
        let text = std::fs::read_to_string(&path).unwrap();
        let document = path.extension().is_some_and(|it| it == "md");
        let measuring = OF_MEASURING.iter().any(|it| path.ends_with(it));
        let mentioned = if document {
            in_backticks(&text)
        } else {
            commands_in_source(&text)
        };
        for mut said in mentioned {
            let option = |it: &String| it.starts_with("--");
            let first = said.first().map(String::as_str);
            if first.is_some_and(|it| commands.contains(it)) && said.iter().any(option) {
                said.insert(0, "sayback".to_owned());
            }
            let taken = match said.as_slice() {
                // A name in capitals stands for any; where the record's chain begins is
                // written down as "sayback record, chain 1".
                [first, second, ..] if first == "sayback" => {
                    if ["COMMAND", "record,"].contains(&&**second) {
                        continue;
                    }
                    is_taken(&said, false)
                }
                [first, ..] if option(first) && !measuring => known
                    .contains(first)
                    .then_some(())
                    .ok_or_else(|| "no such option".to_owned()),
                _ => continue,
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
