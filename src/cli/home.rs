//! The home's files: read for a round, imported, checked, and given limits.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Subcommand;
use sayback::residents::{Home, Imported, Resident, differences, import_csv};
use sayback::sync::limits_of;
use sayback::vitals::{HomeLimits, Units};

use super::End;
use super::commands::{Message, message};

#[derive(Subcommand)]
pub enum RosterCommand {
    /// Import residents from CSV; docs/roster.md says which columns there are
    ///
    /// Residents with an identifier that is already in the home's file are
    /// changed where the table says something, others added. A column that is not
    /// there or an empty field leaves what the file has. Nothing is written if
    /// anything is wrong; else a copy of the file of before is kept beside it.
    Import {
        /// The CSV file, or - for standard input
        csv: PathBuf,
        /// The home's file to change
        #[arg(long)]
        home: PathBuf,
        /// Take away what the home's file has where a field is empty
        #[arg(long)]
        drop: bool,
        /// Show what would change and write nothing
        #[arg(long)]
        dry_run: bool,
    },
    /// Check the home's file: like-sounding names, unknown words, contradictions
    Check {
        /// The home's file
        #[arg(long)]
        home: PathBuf,
        #[command(flatten)]
        model: super::Model,
    },
}

#[derive(Subcommand)]
pub enum LimitsCommand {
    /// Check a file of limits; docs/rules.md says what can be set
    Check {
        /// The file of limits
        limits: PathBuf,
        /// Units of ranges that name none are metric
        #[arg(long)]
        metric: bool,
    },
    /// Put a file of limits in force beside the home's file
    ///
    /// With a mistake in it nothing changes: the limits of before stay in force.
    Set {
        /// The file of limits
        limits: PathBuf,
        /// The home's file
        #[arg(long)]
        home: PathBuf,
    },
}

/// The home with its own limits, if it has set any.
pub fn read_home(path: &Path) -> Result<Home, Message> {
    let mut home = read_roster(path)?;
    let limits = limits_of(path);
    if limits.exists() {
        home.set_limits(&read_limits(&limits, home.units)?);
    }
    Ok(home)
}

pub fn read_roster(path: &Path) -> Result<Home, Message> {
    let text = read(path)?;
    Home::from_toml(&text).map_err(|error| format!("{}: {error}", path.display()))
}

pub fn read_limits(path: &Path, units: Units) -> Result<HomeLimits, Message> {
    parse_limits(path, &read(path)?, units)
}

/// The limits in what was read from a file, which may be a pipe: then a second
/// reading would find nothing.
pub fn parse_limits(path: &Path, text: &str, units: Units) -> Result<HomeLimits, Message> {
    HomeLimits::parse(text, units).map_err(|error| format!("{}, {error}", path.display()))
}

pub fn read(path: &Path) -> Result<String, Message> {
    let text = if path == Path::new("-") {
        std::io::read_to_string(std::io::stdin())
    } else {
        std::fs::read_to_string(path)
    };
    text.map_err(|error| match error.kind() {
        std::io::ErrorKind::InvalidData => format!(
            "{} is not text in UTF-8; out of a spreadsheet, save it as \"CSV UTF-8\"",
            path.display()
        ),
        _ => format!("cannot read {}: {error}", path.display()),
    })
}

/// Puts a text in a file's place when it is whole and on the disk.
pub fn replace(path: &Path, text: &str) -> Result<(), Message> {
    let replaced = sayback::sync::replace(path, text);
    replaced.map_err(|error| format!("cannot write {}: {error}", path.display()))
}

pub fn roster(command: RosterCommand) -> Result<End, Message> {
    match command {
        RosterCommand::Import {
            csv,
            home,
            drop,
            dry_run,
        } => import(&csv, &home, drop, dry_run),
        RosterCommand::Check { home, model } => check(&home, &model),
    }
}

fn import(csv: &Path, path: &Path, drop: bool, dry_run: bool) -> Result<End, Message> {
    let mut home = read_roster(path)?;
    let text = read(csv)?;
    let today = chrono::Local::now().date_naive();
    let imported = import_csv(&text, &home, today, drop).map_err(|errors| {
        let errors: Vec<String> = errors.iter().map(|it| format!("\n  {it}")).collect();
        format!("{}: nothing is imported{}", csv.display(), errors.concat())
    })?;
    let before = home.clone();
    let mut said = Vec::new();
    for Imported { resident, bare } in imported {
        let id = resident.id.0.clone();
        let known = home.residents.iter().position(|it| it.id == resident.id);
        let Some(at) = known else {
            said.push(format!("added: {id} ({})", resident.name));
            home.residents.push(resident);
            continue;
        };
        for it in differences(&home.residents[at], &resident).map_err(message)? {
            let (field, before, after) = (it.field, it.before, it.after);
            said.push(format!("changed: {id}, {field}: {before} -> {after}"));
        }
        let kept = bare.map(|bare| differences(&resident, &bare)).transpose();
        for it in kept.map_err(message)?.into_iter().flatten() {
            said.push(format!(
                "kept: {id}, {}: {}; the table leaves it empty, and --drop would take it away",
                it.field, it.before
            ));
        }
        home.residents[at] = resident;
    }
    let text = home.to_toml().map_err(message)?;
    // What was written must be readable, and a home as a whole: two residents
    // in one bed only show now.
    Home::from_toml(&text).map_err(|error| format!("nothing is imported: {error}"))?;
    for line in said {
        anstream::println!("{line}");
    }
    if home == before {
        anstream::println!("Nothing to write.");
    } else if dry_run {
        anstream::println!("Nothing is written.");
    } else {
        let copy = keep_beside(path)?;
        replace(path, &text)?;
        anstream::println!(
            "Written to {}; as it was before: {}.\nA recorder or station that runs with this \
             file takes it in when it is started again.",
            path.display(),
            copy.display()
        );
    }
    Ok(End::Done)
}

/// A copy of a file beside it, under a name with the time that was free.
fn keep_beside(path: &Path) -> Result<PathBuf, Message> {
    let at = chrono::Local::now().format("%Y%m%d-%H%M%S").to_string();
    let text = std::fs::read(path);
    let text = text.map_err(|error| format!("cannot read {}: {error}", path.display()))?;
    let mut last = format!(".before-{at}");
    let mut again = 0;
    loop {
        let mut copy = path.as_os_str().to_owned();
        copy.push(&last);
        let copy = PathBuf::from(copy);
        let made = std::fs::File::create_new(&copy);
        match made.and_then(|mut file| file.write_all(&text).and_then(|()| file.sync_all())) {
            Ok(()) => return Ok(copy),
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
                again += 1;
                last = format!(".before-{at}-{again}");
            }
            Err(error) => return Err(format!("cannot write {}: {error}", copy.display())),
        }
    }
}

fn check(path: &Path, model: &super::Model) -> Result<End, Message> {
    let home = read_home(path)?;
    let folder = super::commands::model_folder(model)?;
    let words = sayback::hearing::Words::read(&folder).map_err(message)?;
    let today = chrono::Local::now().date_naive();
    let notices = home.check(&|word| words.know(word), today);
    for notice in &notices {
        let about: Vec<&str> = notice.about.iter().map(|it| it.0.as_str()).collect();
        let about = if about.is_empty() {
            "staff".to_owned()
        } else {
            about.join(", ")
        };
        anstream::println!("{about}: {}", notice.text);
    }
    let spoken = home.residents.iter().map(Resident::spoken_name).count();
    let found = match notices.len() {
        0 => "nothing to mind".to_owned(),
        some => format!("{some} to mind"),
    };
    anstream::println!("{spoken} residents; {found}.");
    Ok(End::Done)
}

pub fn limits(command: LimitsCommand) -> Result<End, Message> {
    match command {
        LimitsCommand::Check { limits, metric } => {
            let units = if metric {
                Units::Metric
            } else {
                Units::UsCustomary
            };
            read_limits(&limits, units)?;
            anstream::println!("{}: nothing is wrong.", limits.display());
        }
        LimitsCommand::Set { limits, home } => {
            let units = read_roster(&home)?.units;
            let in_force = limits_of(&home);
            let text = read(&limits)?;
            parse_limits(&limits, &text, units).map_err(|error| {
                let before = if in_force.exists() {
                    "the limits of before"
                } else {
                    "the defaults"
                };
                format!("{error}\nNothing is changed: {before} stay in force.")
            })?;
            replace(&in_force, &text)?;
            anstream::println!("In force: {}.", in_force.display());
        }
    }
    Ok(End::Done)
}
