//! What each command does.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;

use sayback::devices::{Direction, devices};
use sayback::dialogue::Dialogue;
use sayback::facts::{Fact, residents_with_ranges};
use sayback::grammar::Grammar;
use sayback::metrics::Counted;
use sayback::round::{Both, Mouth, Rehearsal, Screen, Script, Silent, Terminal, ear_for};
use sayback::speaking::{Cached, Espeak, EspeakSettings, Piper, Player, Tee};
use sayback::store::Readable;

use super::export::left_out;
use super::home::{limits, read_home, roster};
use super::screen::{Watched, page, print_card};
use super::staff::{member, no_pins, staff};
use super::table::{record_table, stored_table};
use super::understand::{hear, understand};
use super::{Command, End, Model, VoiceArgs, VoiceName, accounts, vault};

/// An error as the user reads it.
pub type Message = String;

pub fn message(error: impl std::fmt::Display) -> Message {
    error.to_string()
}

pub fn run(command: Command) -> Result<End, Message> {
    match command {
        Command::Hear {
            files,
            meaning,
            model,
            expect,
            json,
        } => hear(&files, &meaning, &model, expect.into(), json),
        Command::Understand {
            words,
            meaning,
            json,
        } => understand(&words, &meaning, json),
        Command::Rehearse {
            script,
            model,
            voice,
            store,
            said,
            silent,
            quiet,
            pace,
            screen,
            metrics,
        } => {
            metrics.open()?;
            let script = Script::read(&script).map_err(message)?;
            let watched = Watched {
                quiet,
                pace: Duration::from_secs_f64(pace),
                screen: screen.place()?,
            };
            rehearse(&script, &model, &voice, (store, said), silent, watched)
        }
        Command::Listen(arguments) => super::listen::listen(&arguments),
        Command::Send(arguments) => super::members::send(&arguments),
        Command::Home(command) => super::members::home(command),
        Command::Card { text } => print_card(text),
        Command::Record { store, json } => record(&store, json),
        Command::Roster(command) => roster(command),
        Command::Limits(command) => limits(command),
        Command::Staff(command) => staff(command),
        Command::Export(arguments) => super::export::export(&arguments),
        Command::ImportPatients(arguments) => super::export::import_patients(&arguments),
        Command::Serve(arguments) => super::serve::serve(&arguments),
        Command::Devices => list_devices(),
        Command::Check(arguments) => vault::check(&arguments),
        Command::Backup(arguments) => vault::backup(&arguments),
        Command::Restore(arguments) => vault::restore(&arguments),
        Command::Key(command) => vault::key(&command),
        Command::Accounts(command) => accounts::accounts(command),
        Command::Doctor(arguments) => super::doctor::doctor(&arguments),
    }
}

/// A reader that has gone away (`| head`) is no error.
pub fn finished(written: std::io::Result<()>) -> Result<End, Message> {
    match written {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(message(error)),
        _ => Ok(End::Done),
    }
}

fn rehearse(
    script: &Script,
    model: &Model,
    voice: &VoiceArgs,
    (store, said): (Option<PathBuf>, Option<PathBuf>),
    silent: bool,
    watched: Watched,
) -> Result<End, Message> {
    let home = read_home(&script.home)?;
    let aide = match &script.aide {
        Some(name) => member(&home, name)?,
        None => home.aides[0].clone(),
    };
    let path = store.unwrap_or_else(|| fresh_record(&script.path));
    no_pins(&path)?;
    let mut store = vault::open(&path)?;
    // A rehearsal deletes nothing of a record's: its script names its own home.
    if home.kept_sound.is_some() {
        super::sound::start(&mut store, &home)?;
    }
    let facts = store.readable().map_err(message)?.facts;
    let before = facts.len();
    // Ranges that a nurse has set since the home's file was written.
    let home = residents_with_ranges(&home, &facts);
    let grammar = Grammar::standard();
    let dialogue = Dialogue::new(home.clone(), aide.clone(), &grammar).map_err(message)?;
    let ear = if script.has_sound() {
        Some(ear_for(&model_folder(model)?, &grammar, &home).map_err(message)?)
    } else {
        None
    };
    let said = said.unwrap_or_else(|| path.with_extension("wav"));
    let mut mouth = mouth(voice)?;
    if !matches!(voice.voice, VoiceName::None) {
        let tee = Tee::create(&said).map_err(|error| format!("{}: {error}", said.display()))?;
        mouth = mouth.with_tee(tee);
    }
    if !silent && let Ok(player) = Player::open(None) {
        mouth = mouth.with_player(player);
    }
    let mut terminal = Terminal::new(anstream::stdout(), &aide.name, &home);
    let quiet = watched.quiet;
    let screen: &mut dyn Screen = if quiet { &mut Silent } else { &mut terminal };
    let (mut page, touches) = page(watched.screen, &dialogue, script.at, None)?;
    let mut both;
    let screen: &mut dyn Screen = if let Some(page) = &mut page {
        both = Both(screen, page);
        &mut both
    } else {
        screen
    };
    let mut counted = Counted::new(&dialogue);
    let screen = &mut Both(screen, &mut counted);
    let outcome = Rehearsal {
        script,
        dialogue: &dialogue,
        store: &mut store,
        ear,
        mouth,
        screen,
        pace: watched.pace,
        touches,
    };
    let outcome = outcome.run().map_err(message)?;
    let facts = store.readable().map_err(message)?.facts;
    if !quiet {
        anstream::println!("\n{}", stored_table(&facts[before..], &home));
        anstream::println!(
            "Stored in {} ({} facts).",
            path.display(),
            facts.len() - before
        );
        // With no voice, one that is there is of an earlier rehearsal.
        if !matches!(voice.voice, VoiceName::None) {
            anstream::println!("What Sayback said is in {}.", said.display());
        }
        anstream::println!(
            "The nurse's station shows it: {} serve --home {} --store {}",
            std::env::args().next().as_deref().unwrap_or("sayback"),
            script.home.display(),
            path.display()
        );
    }
    for (line, said) in &outcome.unmet {
        let script = script.path.display();
        anstream::eprintln!("sayback: {script}, line {line}: not said; Sayback said \"{said}\"");
    }
    Ok(if outcome.unmet.is_empty() {
        End::Done
    } else {
        End::Unmet
    })
}

fn record(path: &Path, json: bool) -> Result<End, Message> {
    let store = vault::open_to_read(path)?;
    let Readable { facts, unread } = store.readable().map_err(message)?;
    let ended = left_out(unread.iter()).unwrap_or(End::Done);
    let mut out = anstream::stdout().lock();
    if !json {
        finished(writeln!(out, "{}", record_table(&facts)))?;
        return Ok(ended);
    }
    let mut line = |fact: &Fact| {
        let json = serde_json::to_string(fact)?;
        writeln!(out, "{json}")
    };
    finished(facts.iter().try_for_each(&mut line))?;
    Ok(ended)
}

fn list_devices() -> Result<End, Message> {
    for (title, direction) in [
        ("Microphones", Direction::Input),
        ("Loudspeakers", Direction::Output),
    ] {
        anstream::println!("{title}:");
        for device in devices(direction).map_err(message)? {
            anstream::println!("  {}", device.name);
        }
    }
    Ok(End::Done)
}

/// The model given, or the one that came with the program: beside it, or in the
/// checkout's assets.
pub fn model_folder(model: &Model) -> Result<PathBuf, Message> {
    const NAME: &str = "model-en-us";
    if let Some(folder) = &model.model {
        return Ok(folder.clone());
    }
    let program = std::env::current_exe().ok();
    let beside = program
        .as_deref()
        .and_then(Path::parent)
        .map(|it| it.join(NAME));
    let places = beside.into_iter().chain([Path::new("assets").join(NAME)]);
    let mut found = places.filter(|it| it.is_dir());
    found.next().ok_or_else(|| {
        "no model is beside the program or in assets/; unpack the release again (in a checkout: run `make setup`), or give its folder with --model"
            .to_owned()
    })
}

pub fn mouth(arguments: &VoiceArgs) -> Result<Mouth, Message> {
    Ok(match arguments.voice {
        VoiceName::None => Mouth::default(),
        VoiceName::Espeak => {
            let settings = EspeakSettings {
                words_per_minute: arguments.speed,
                ..EspeakSettings::default()
            };
            let voice = Espeak::new(settings).map_err(message)?;
            Mouth::new(Box::new(Cached::new(voice)))
        }
        VoiceName::Natural => {
            let voice = Piper::open(&arguments.voice_folder, None).map_err(message)?;
            Mouth::new(Box::new(Cached::new(voice)))
        }
    })
}

/// A new record for a rehearsal, named after the script and the time.
fn fresh_record(script: &Path) -> PathBuf {
    let name = script.file_stem().unwrap_or_default().to_string_lossy();
    let time = chrono::Local::now().format("%Y%m%d-%H%M%S%3f");
    Path::new("out").join(format!("{name}-{time}.db"))
}
