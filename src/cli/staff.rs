//! PINs, and signing on at the terminal before a live round.

use std::io::{BufRead as _, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use sayback::residents::{Home, Staff};
use sayback::round::{Pins, Refused};

use super::commands::{Message, message};
use super::home::read_home;
use super::{End, vault};

#[derive(Subcommand)]
pub enum StaffCommand {
    /// Set someone's PIN, in place of an earlier one
    ///
    /// It is asked for twice and not shown. Once anyone has a PIN, nobody
    /// records without signing on.
    SetPin {
        /// Whose, by name as in the home's file
        name: String,
        #[command(flatten)]
        recorder: Recorder,
    },
    /// List the staff: title, badge number, and whether a PIN is set
    List {
        #[command(flatten)]
        recorder: Recorder,
    },
}

#[derive(Args)]
pub struct Recorder {
    /// The home's file
    #[arg(long)]
    home: PathBuf,
    /// The record of this recorder; the PINs are in a file beside it
    #[arg(long, default_value = "record.db")]
    store: PathBuf,
}

pub fn staff(command: StaffCommand) -> Result<End, Message> {
    match command {
        StaffCommand::SetPin { name, recorder } => set_pin(&name, &recorder),
        StaffCommand::List { recorder } => list(&recorder),
    }
}

fn set_pin(name: &str, recorder: &Recorder) -> Result<End, Message> {
    let home = read_home(&recorder.home)?;
    let staff = member(&home, name)?;
    let (record, key) = (&recorder.store, vault::used()?);
    if record.exists() {
        // Else a key would be made over one that is only missing.
        sayback::store::opens(record, key).map_err(message)?;
    }
    let mut pins = Pins::open_with(&Pins::beside(record), key).map_err(message)?;
    let pin = secret(&format!("New PIN of {}: ", staff.name))?;
    if secret("The same again: ")? != pin {
        return Err("the two PINs differ; nothing is changed".to_owned());
    }
    pins.set(&home, &staff, &pin).map_err(message)?;
    anstream::println!("{} can sign on.", staff.name);
    Ok(End::Done)
}

fn list(recorder: &Recorder) -> Result<End, Message> {
    let home = read_home(&recorder.home)?;
    let names = existing(&recorder.store)?.map(|it| it.names());
    let names = names.transpose().map_err(message)?.unwrap_or_default();
    for staff in home.staff() {
        let badge = home.badges.get(&staff.name);
        let badge = badge.map_or("no badge number".to_owned(), |it| format!("badge {it}"));
        let pin = if names.contains(&staff.name) {
            "PIN set"
        } else {
            "no PIN"
        };
        anstream::println!("{}, {}: {badge}, {pin}", staff.name, staff.title);
    }
    Ok(End::Done)
}

/// The PINs beside a record, if there are any.
pub fn existing(record: &Path) -> Result<Option<Pins>, Message> {
    let path = Pins::beside(record);
    if !path.exists() {
        return Ok(None);
    }
    let pins = Pins::open_with(&path, vault::used()?).map_err(message)?;
    let some = !pins.names().map_err(message)?.is_empty();
    Ok(some.then_some(pins))
}

/// Refuses to append to a record whose recorder has PINs without signing on.
pub fn no_pins(record: &Path) -> Result<(), Message> {
    match existing(record)? {
        None => Ok(()),
        Some(_) => Err(format!(
            "{} belongs to a recorder with PINs, where nobody records without signing on; \
             rehearse on another record",
            record.display()
        )),
    }
}

/// The aide or nurse of this name.
pub fn member(home: &Home, name: &str) -> Result<Staff, Message> {
    let found = home.staff().find(|it| it.name == name).cloned();
    found.ok_or_else(|| {
        let names: Vec<&str> = home.staff().map(|it| it.name.as_str()).collect();
        format!(
            "nobody of the staff is called \"{name}\"; the home has {}",
            names.join(", ")
        )
    })
}

/// Who is signed on for a live round. Without PINs it is who is named, or the
/// first aide; with PINs each has to give one, here or on the bedside `screen`.
pub fn sign_on(
    home: &Home,
    record: &Path,
    named: &[String],
    screen: bool,
) -> Result<Vec<Staff>, Message> {
    let Some(mut pins) = existing(record)? else {
        anstream::eprintln!(
            "sayback: no PINs are set, so anyone can record under any name; \
             `sayback staff set-pin` sets one"
        );
        if named.is_empty() {
            return Ok(vec![home.aides[0].clone()]);
        }
        return named.iter().map(|it| member(home, it)).collect();
    };
    let mut on: Vec<Staff> = Vec::new();
    for name in named {
        let staff = one(home, &mut pins, name)?;
        on.push(staff);
    }
    while named.is_empty() {
        let who = line("Name or badge number of who signs on, or Enter to begin: ")?;
        match who.trim() {
            "" if on.is_empty() && !screen => {
                return Err("nobody is signed on; nothing is recorded without".to_owned());
            }
            "" => break,
            who => {
                let staff = one(home, &mut pins, who)?;
                anstream::eprintln!("{} is signed on.", staff.name);
                if !on.contains(&staff) {
                    on.push(staff);
                }
            }
        }
    }
    Ok(on)
}

/// Asks for one PIN; again, at a terminal, while it is wrong.
fn one(home: &Home, pins: &mut Pins, who: &str) -> Result<Staff, Message> {
    loop {
        let pin = secret(&format!("PIN of {who}: "))?;
        let now = chrono::Local::now().fixed_offset();
        match pins.check(home, who, &pin, now) {
            Ok(staff) => return Ok(staff),
            Err(Refused::Wrong) if std::io::stdin().is_terminal() => {
                anstream::eprintln!("sayback: {}", Refused::Wrong);
            }
            Err(refused) => return Err(message(refused)),
        }
    }
}

/// A line that is not shown while it is typed; or the next line, where nobody
/// types.
pub fn secret(prompt: &str) -> Result<String, Message> {
    if !std::io::stdin().is_terminal() {
        return line("");
    }
    let terminal = console::Term::stderr();
    terminal.write_str(prompt).map_err(message)?;
    terminal.read_secure_line().map_err(message)
}

fn line(prompt: &str) -> Result<String, Message> {
    if std::io::stdin().is_terminal() {
        anstream::eprint!("{prompt}");
        std::io::stderr().flush().map_err(message)?;
    }
    let mut line = String::new();
    std::io::stdin()
        .lock()
        .read_line(&mut line)
        .map_err(message)?;
    Ok(line.trim_end_matches(['\n', '\r']).to_owned())
}
