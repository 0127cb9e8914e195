//! `sayback home` and `sayback send`: several recorders, one home.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Local, Utc};
use clap::{Args, Subcommand};
use sayback::facts::Time;
use sayback::residents::Home;
use sayback::review::Validity;
use sayback::sync::{
    Address, Environment, Exchange, Files, HomeRecord, Link, LinkStatus, Linked, MemberKind,
    Replaced, Setting, Trouble, certificate_of_home, init, read_status, send_once, usable,
};

use super::commands::{Message, message};
use super::home::{parse_limits, read};
use super::table::table;
use super::{End, vault};

#[derive(Subcommand)]
pub enum HomeCommand {
    /// Make the database ready for a home, and the home's keeper
    ///
    /// Signs on as psql does: PGHOST, PGPORT, PGDATABASE (sayback),
    /// PGUSER, and PGPASSWORD or a file of passwords. Run again, it brings the
    /// database up to date and makes one more keeper. The keeper enrols the others.
    Init {
        /// A short name that stays: small letters, digits, hyphens
        #[arg(long)]
        id: String,
        /// The home's name
        #[arg(long)]
        name: String,
        /// The keeper's link file to make
        #[arg(long, default_value = "keeper.toml")]
        out: PathBuf,
        /// What to call the keeper
        #[arg(long, default_value = "keeper")]
        label: String,
        /// Name or address by which recorders reach this database, as in its
        /// certificate; else PGHOST
        #[arg(long, value_name = "HOST")]
        address: Option<String>,
        /// Certificate of the authority that the database's certificate is from,
        /// PEM; else PGSSLROOTCERT
        #[arg(long, value_name = "FILE")]
        ca: Option<PathBuf>,
    },
    /// Enrol a recorder, a nurse's station or another keeper: makes its link file
    ///
    /// Carry the file to its machine by hand; it is all that is needed to sign on as
    /// that one.
    Enrol {
        #[command(flatten)]
        who: Who,
        /// The link file to make
        #[arg(long)]
        out: PathBuf,
        #[command(flatten)]
        keeper: Keeper,
    },
    /// List who is enrolled, and when each sent something last
    Members {
        #[command(flatten)]
        keeper: Keeper,
    },
    /// Cut off whoever is enrolled under a label, at once
    ///
    /// What it sent stays. For a lost or stolen device; enrol the next one anew.
    Revoke {
        /// The label
        label: String,
        #[command(flatten)]
        keeper: Keeper,
    },
    /// Put a home's file in force for all recorders
    SetRoster(Set),
    /// Put a file of limits in force for all recorders
    SetLimits(Set),
    /// Write the home's file in force to a file, and say which version it is
    GetRoster(Get),
    /// Write the limits in force to a file, and say which version it is
    GetLimits(Get),
}

#[derive(Args)]
#[group(required = true, multiple = false)]
pub struct Who {
    /// A recorder, and what to call it, such as "cart 2"
    #[arg(long, value_name = "LABEL")]
    recorder: Option<String>,
    /// A nurse's station
    #[arg(long, value_name = "LABEL")]
    station: Option<String>,
    /// Another keeper
    #[arg(long, value_name = "LABEL")]
    another_keeper: Option<String>,
}

#[derive(Args)]
pub struct Keeper {
    /// The keeper's link file
    #[arg(long, default_value = "keeper.toml", value_name = "FILE")]
    link: PathBuf,
}

#[derive(Args)]
pub struct Set {
    /// The file
    file: PathBuf,
    /// Who puts it in force
    #[arg(long, value_name = "NAME")]
    by: String,
    /// The version it was made from, as `get-roster` or `get-limits` said
    #[arg(long, value_name = "VERSION")]
    based_on: Option<i32>,
    #[command(flatten)]
    keeper: Keeper,
}

#[derive(Args)]
pub struct Get {
    /// The file to write
    #[arg(long)]
    out: PathBuf,
    #[command(flatten)]
    keeper: Keeper,
}

/// What `send` is given.
#[derive(Args)]
pub struct Send {
    /// The record
    #[arg(long, default_value = "record.db")]
    store: PathBuf,
    /// The link file of this recorder
    #[arg(long, value_name = "FILE")]
    link: PathBuf,
    /// This record was sent as another recorder, or to another home, and is the one of this
    /// link from now on
    #[arg(long)]
    relinked: bool,
}

/// Runs `sayback home`.
pub fn home(command: HomeCommand) -> Result<End, Message> {
    match command {
        HomeCommand::Init {
            id,
            name,
            out,
            label,
            address,
            ca,
        } => begin((&id, &name), (&out, &label), address, ca.as_deref())?,
        HomeCommand::Enrol { who, out, keeper } => enrol(who, &out, &keeper)?,
        HomeCommand::Members { keeper } => members(&keeper)?,
        HomeCommand::Revoke { label, keeper } => {
            let ended = keeper.open()?.revoke(&label).map_err(message)?;
            anstream::println!(
                "\"{label}\" is cut off; {ended} open connections were ended. What it sent stays."
            );
        }
        HomeCommand::SetRoster(it) => set(Setting::Roster, &it)?,
        HomeCommand::SetLimits(it) => set(Setting::Limits, &it)?,
        HomeCommand::GetRoster(it) => get(Setting::Roster, &it)?,
        HomeCommand::GetLimits(it) => get(Setting::Limits, &it)?,
    }
    Ok(End::Done)
}

impl Keeper {
    fn open(&self) -> Result<HomeRecord, Message> {
        let link = Link::read(&self.link).map_err(message)?;
        if link.kind == MemberKind::Recorder {
            return Err(format!(
                "{} is a recorder's; give the keeper's link file with --link",
                self.link.display()
            ));
        }
        HomeRecord::open(&link).map_err(message)
    }
}

fn begin(
    home: (&str, &str),
    (out, label): (&Path, &str),
    address: Option<String>,
    ca: Option<&Path>,
) -> Result<(), Message> {
    new(out)?;
    let mut environment = Environment::read().map_err(message)?;
    // What members are to believe is believed here too.
    if let Some(ca) = ca {
        environment.ca = Some(ca.to_owned());
    }
    let host = match address {
        Some(host) => host,
        None if environment.is_socket() => {
            return Err(
                "say with --address by which name recorders reach this database".to_owned(),
            );
        }
        None => environment.host.clone(),
    };
    let ca = environment.ca.as_deref().ok_or(
        "say with --ca which authority the database's certificate is from (the certificate \
         itself, where it is its own)",
    )?;
    let address = Address {
        host,
        port: environment.port,
        database: environment.database.clone(),
        ca: read(ca)?,
    };
    let mut client = environment.connect().map_err(message)?;
    let (link, is_new) = init(&mut client, home, label, &address).map_err(message)?;
    link.write(out).map_err(message)?;
    let (id, name) = home;
    if is_new {
        anstream::println!("The home {id} ({name}) is begun.");
    } else {
        anstream::println!("The home {id} was there; its database is up to date.");
    }
    anstream::println!("Its keeper \"{label}\" signs on with {}.", out.display());
    if let Err(error) = HomeRecord::open(&link) {
        anstream::eprintln!(
            "sayback: WARNING: signing on with it from here does not work yet: {error}"
        );
    }
    Ok(())
}

/// Nobody is enrolled whose link can't be written: a file is made there on trial, and taken
/// away again.
fn new(out: &Path) -> Result<(), Message> {
    let at = out.display();
    match std::fs::File::create_new(out) {
        Ok(_) => std::fs::remove_file(out).map_err(|error| format!("{at}: {error}")),
        Err(error) if error.kind() == ErrorKind::AlreadyExists => {
            Err(format!("{at} is there already; name another file"))
        }
        Err(error) => Err(format!("{at} can't be written: {error}; name another file")),
    }
}

fn enrol(who: Who, out: &Path, keeper: &Keeper) -> Result<(), Message> {
    new(out)?;
    let (kind, label) = match (who.recorder, who.station, who.another_keeper) {
        (Some(label), _, _) => (MemberKind::Recorder, label),
        (_, Some(label), _) => (MemberKind::Station, label),
        (_, _, label) => (MemberKind::Keeper, label.unwrap_or_default()),
    };
    let mut home = keeper.open()?;
    let link = home.enrol(kind, &label).map_err(message)?;
    if let Err(error) = link.write(out) {
        home.revoke(&label).map_err(message)?;
        return Err(format!("nobody is enrolled: {error}"));
    }
    anstream::println!(
        "{} \"{label}\" is enrolled in the home {}. Its link file is {}: carry it there, and keep \
         no copy.",
        kind.name(),
        link.home,
        out.display()
    );
    Ok(())
}

fn members(keeper: &Keeper) -> Result<(), Message> {
    let members = keeper.open()?.members().map_err(message)?;
    let when = |it: Option<DateTime<Utc>>| it.map_or_else(String::new, local);
    let rows = members.into_iter().map(|it| {
        [
            it.label,
            it.kind,
            local(it.enrolled),
            when(it.last_sent),
            when(it.revoked),
        ]
    });
    let mut table = table(&["Label", "Kind", "Enrolled", "Last sent", "Cut off"]);
    table.add_rows(rows);
    anstream::println!("{table}");
    Ok(())
}

fn local(at: DateTime<Utc>) -> String {
    at.with_timezone(&Local)
        .format("%Y-%m-%d %H:%M")
        .to_string()
}

fn set(setting: Setting, arguments: &Set) -> Result<(), Message> {
    let text = read(&arguments.file)?;
    let file = arguments.file.display();
    let mut home = arguments.keeper.open()?;
    let wrong = |error: &dyn std::fmt::Display| format!("{file}: {error}\nNothing is changed.");
    match setting {
        Setting::Roster => {
            usable(&text, None).map_err(|it| wrong(&it))?;
        }
        Setting::Limits => {
            let roster = home.setting(Setting::Roster).map_err(message)?;
            let roster = roster.ok_or("set the roster first: limits are in its units")?;
            let units = Home::from_toml(&roster.text)
                .map_err(|it| wrong(&it))?
                .units;
            // This names the file itself.
            parse_limits(&arguments.file, &text, units)
                .map_err(|it| format!("{it}\nNothing is changed."))?;
        }
    }
    let done = home.set(setting, &text, &arguments.by, arguments.based_on);
    anstream::println!("{}", replaced(setting, &done.map_err(message)?));
    Ok(())
}

fn replaced(setting: Setting, done: &Replaced) -> String {
    let name = setting.name();
    let mut text = format!(
        "In force for all recorders: {name}, version {}.",
        done.version
    );
    if let Some((version, by, at)) = &done.before {
        text = format!(
            "{text} It replaces version {version}, by {by}, of {}.",
            local(*at)
        );
        if done.unseen {
            text = format!(
                "{text}\nWARNING: it was not made from that version. Look what {by} had changed: \
                 `sayback home get-{name}` writes this one; version {version} stays in the database."
            );
        }
    }
    text
}

fn get(setting: Setting, arguments: &Get) -> Result<(), Message> {
    new(&arguments.out)?;
    let name = setting.name();
    let version = arguments.keeper.open()?.setting(setting).map_err(message)?;
    let version =
        version.ok_or_else(|| format!("nothing was ever set as the {name} of this home"))?;
    super::home::replace(&arguments.out, &version.text)?;
    anstream::println!(
        "{}: {name}, version {}, by {}, of {}. Give --based-on {} when you set it again.",
        arguments.out.display(),
        version.version,
        version.by,
        local(version.at),
        version.version
    );
    Ok(())
}

/// Reads the link of a recorder, or of a station that also records.
fn recorder(path: &Path) -> Result<Link, Message> {
    let link = Link::read(path).map_err(message)?;
    if link.kind == MemberKind::Keeper {
        return Err(format!(
            "{} is a keeper's; enrol this recorder and give its own",
            path.display()
        ));
    }
    Ok(link)
}

/// The link of a recorder, with the home's file that it keeps up to date.
pub fn recorder_of(
    link: Option<&Path>,
    home: Option<&Path>,
) -> Result<Option<(Link, PathBuf)>, Message> {
    let link = link.map(recorder).transpose()?;
    Ok(link.zip(home.map(Path::to_owned)))
}

/// Begins to keep in touch with the home, for `listen`; the home's file is beside.
pub fn linked(link: Option<(Link, PathBuf)>, record: &Path) -> Result<Option<Linked>, Message> {
    let Some((link, home)) = link else {
        return Ok(None);
    };
    let linked = Linked::begin(&link, record, vault::used()?, Files::beside(&home));
    linked.map(Some).map_err(message)
}

/// Runs `sayback send`.
pub fn send(arguments: &Send) -> Result<End, Message> {
    let link = recorder(&arguments.link)?;
    let mut store = vault::open(&arguments.store)?;
    let mut exchange = Exchange::new(&link);
    let sent = send_once(&mut exchange, &mut store, arguments.relinked);
    let (moved, mut status) = sent.map_err(message)?;
    let today = Local::now().date_naive();
    if let Some(at) = status.another.take() {
        anstream::eprintln!(
            "sayback: WARNING: \"{}\" sent entries that were not in this record (seen on {}). \
             They are fetched. Where this record is new or was put back from a backup, that is \
             all, and `sayback send --relinked` says this no more. Else another machine has a \
             copy of this link file: what it sends is shown as from \"{0}\". Enrol that one \
             under a label of its own.",
            link.label,
            at.format("%Y-%m-%d at %H:%M")
        );
    }
    for why in exchange.refused() {
        anstream::eprintln!("sayback: WARNING: {why}");
    }
    match moved {
        Ok(moved) => {
            anstream::println!("Sent {} entries, fetched {}.", moved.sent, moved.fetched);
            anstream::println!("{}.", status.line(today));
            let head = exchange.home().head().map_err(message)?;
            anstream::println!("The home stands at {head}.");
            Ok(End::Done)
        }
        Err(error) => {
            anstream::println!(
                "{}.",
                LinkStatus {
                    trouble: None,
                    ..status
                }
                .line(today)
            );
            let again = match error.trouble() {
                Trouble::Away => "run it again when it can be reached",
                _ => "what was recorded stays here, and is sent once that is put right",
            };
            Err(format!("{error}\nNothing is lost; {again}."))
        }
    }
}

/// Why a record does not stand well with its home.
pub struct NotWell {
    /// Whether that ends by itself, when the home can be reached again.
    pub passes: bool,
    /// In words.
    pub why: Message,
}

impl From<Message> for NotWell {
    fn from(why: Message) -> Self {
        let passes = false;
        Self { passes, why }
    }
}

/// How the certificate of the home's server stands, for `doctor`.
pub fn certificate(path: &Path, now: Time) -> Result<Validity, Message> {
    certificate_of_home(&recorder(path)?, now).map_err(message)
}

/// How a record stands with its home, for `doctor`.
pub fn standing(path: &Path, record: &Path) -> Result<String, NotWell> {
    let link = recorder(path)?;
    let today = Local::now().date_naive();
    let there = record.metadata().is_ok_and(|it| it.len() > 0);
    let store = there.then(|| vault::open_to_read(record)).transpose()?;
    let written = match &store {
        Some(store) => LinkStatus::of(store).map_err(message)?,
        None => read_status(record).unwrap_or_default(),
    };
    let mut exchange = Exchange::new(&link);
    let found = if let Some(store) = &store {
        exchange.survey(store, written.clone())
    } else {
        let same = written.is_the_same(&link);
        let head = same.and_then(|()| Ok(exchange.home().head()?));
        head.map(|_| written.clone())
    };
    match found {
        Ok(status) => {
            let text = status.line(today);
            let why = format!("reached as \"{}\" of {}: {text}", link.label, link.home);
            match status.another {
                None => Ok(why),
                Some(_) => Err(NotWell { passes: true, why }),
            }
        }
        Err(error) => {
            let passes = error.trouble() == Trouble::Away;
            let why = written.after::<()>(&Err(error)).line(today);
            Err(NotWell { passes, why })
        }
    }
}
