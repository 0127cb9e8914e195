//! `sayback doctor`: is this installation fit for a round?

use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::Args;
use sayback::facts::Time;
use sayback::hearing::Microphone;
use sayback::review::export::post::{Access, Server};
use sayback::review::{Station, Validity, accounts::FIRST};
use sayback::speaking::{Espeak, EspeakSettings, Player};
use sayback::store::{self, Key, Store};
use serde::Serialize;
use sha2::{Digest as _, Sha256};

use super::commands::{Message, finished, message, model_folder};
use super::home::read_home;
use super::members::NotWell;
use super::{End, vault};

/// What set-up accepts of the model, as checksums.
const PINS: &str = include_str!("../../setup/pins.txt");
/// A year of a large home is some hundred megabytes; below this, recording may
/// stop at any moment.
const LEAST_ROOM: u64 = 100 << 20;
const LITTLE_ROOM: u64 = 1 << 30;

/// What to examine.
#[derive(Args)]
pub struct Doctor {
    /// The record
    #[arg(long, default_value = "record.db")]
    store: PathBuf,
    /// The home's file
    #[arg(long)]
    home: Option<PathBuf>,
    #[command(flatten)]
    model: super::Model,
    /// The FHIR server that readings are sent to: is it there?
    #[arg(long, env = "SAYBACK_FHIR", value_name = "URL")]
    fhir: Option<String>,
    /// This recorder's link file: can the home be reached, and what is not there yet?
    #[arg(long, value_name = "FILE")]
    link: Option<PathBuf>,
    /// A tablet's microphone and loudspeaker are used: look for none here
    #[arg(long)]
    tablet: bool,
    #[command(flatten)]
    tls: super::TlsArgs,
    /// JSON, one object a line
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
enum Outcome {
    Ok,
    Warn,
    Fail,
}

#[derive(Serialize)]
struct Line {
    check: &'static str,
    outcome: Outcome,
    text: String,
}

type Found = (Outcome, String);

/// Runs every check, whatever the others find.
pub fn doctor(arguments: &Doctor) -> Result<End, Message> {
    let now = chrono::Local::now().fixed_offset();
    let store = &arguments.store;
    let mut checks = Vec::new();
    if !arguments.tablet {
        checks.extend([("microphone", microphone()), ("loudspeaker", loudspeaker())]);
    }
    checks.extend([
        ("voice", voice()),
        ("model", model(&arguments.model)),
        ("disk", disk(store)),
        ("key", key(store)),
    ]);
    let (record, clock) = record(store, now);
    checks.extend([("record", record), ("clock", clock)]);
    checks.push(("accounts", accounts(store)));
    checks.push(("sound", sound(store, arguments.home.as_deref())));
    if let Some(home) = &arguments.home {
        checks.push(("home", home_file(home)));
    }
    if let Some(address) = &arguments.fhir {
        checks.push(("fhir", fhir(address)));
    }
    if let Some(certificate) = arguments.tls.certificate() {
        checks.push(("certificate", stands(certificate.examine(now))));
    }
    if let Some(link) = &arguments.link {
        let standing = super::members::standing(link, store);
        let certificate = super::members::certificate(link, now);
        // Of a home that is not reached, that is said once.
        if standing.is_ok() || certificate.is_ok() {
            checks.push(("server", stands(certificate)));
        }
        checks.push(("link", standing.map_or_else(not_well, ok)));
    }
    let lines = checks.into_iter().map(|(check, (outcome, text))| Line {
        check,
        outcome,
        text,
    });
    let lines: Vec<Line> = lines.collect();
    let mut out = anstream::stdout().lock();
    for line in &lines {
        let written = if arguments.json {
            writeln!(out, "{}", serde_json::to_string(line).map_err(message)?)
        } else {
            let outcome = format!("{:?}", line.outcome).to_lowercase();
            writeln!(out, "{outcome:<5}{:<12}{}", line.check, line.text)
        };
        finished(written)?;
    }
    let fails = lines.iter().any(|it| it.outcome == Outcome::Fail);
    Ok(if fails { End::Found } else { End::Done })
}

fn ok(text: impl Into<String>) -> Found {
    (Outcome::Ok, text.into())
}

fn warn(text: impl Into<String>) -> Found {
    (Outcome::Warn, text.into())
}

fn fail(text: impl Into<String>) -> Found {
    (Outcome::Fail, text.into())
}

fn stands(certificate: Result<Validity, Message>) -> Found {
    match certificate {
        Ok(Validity::Good(text)) => ok(text),
        Ok(Validity::Soon(why)) => warn(why),
        Ok(Validity::Refused(why)) | Err(why) => fail(why),
    }
}

/// A home that is away for now stops no round; what somebody has to put right is told.
fn not_well(it: NotWell) -> Found {
    if it.passes {
        warn(it.why)
    } else {
        fail(it.why)
    }
}

fn microphone() -> Found {
    match Microphone::open(None) {
        Ok(found) => ok(found.name()),
        Err(error) => fail(error.to_string()),
    }
}

fn loudspeaker() -> Found {
    match Player::open(None) {
        Ok(_) => ok("it opens"),
        Err(error) => fail(error.to_string()),
    }
}

fn voice() -> Found {
    match Espeak::new(EspeakSettings::default()) {
        Ok(_) => ok("espeak-ng"),
        Err(error) => fail(error.to_string()),
    }
}

fn model(arguments: &super::Model) -> Found {
    let folder = match model_folder(arguments) {
        Ok(folder) => folder,
        Err(why) => return fail(why),
    };
    let pins = PINS
        .lines()
        .filter_map(|it| it.split_once("  assets/model-en-us/"));
    let mut files = 0;
    for (sum, name) in pins {
        let Ok(bytes) = std::fs::read(folder.join(name)) else {
            let what = format!(
                "{}: {name} is missing; unpack the release again (in a checkout: `make setup`)",
                folder.display()
            );
            return fail(what);
        };
        if store::hex(&Sha256::digest(&bytes)) != sum {
            return warn(format!(
                "{}: {name} is not the one of setup/pins.txt: another model, or damaged",
                folder.display()
            ));
        }
        files += 1;
    }
    ok(format!("{}, {files} files as pinned", folder.display()))
}

fn folder_of(path: &Path) -> &Path {
    let folder = path.parent().filter(|it| !it.as_os_str().is_empty());
    folder.unwrap_or(Path::new("."))
}

fn disk(store: &Path) -> Found {
    let folder = folder_of(store);
    let room = match rustix::fs::statvfs(folder) {
        Ok(found) => found.f_bavail.saturating_mul(found.f_frsize),
        Err(error) => return fail(format!("{}: {error}", folder.display())),
    };
    // A folder of someone else, or on a disk that is only read.
    let needed = rustix::fs::Access::WRITE_OK | rustix::fs::Access::EXEC_OK;
    if let Err(error) = rustix::fs::access(folder, needed) {
        let why = std::io::Error::from(error);
        return fail(format!(
            "{} can't be written to by this user ({why}): no round could be recorded",
            folder.display()
        ));
    }
    let text = format!("{} MB free", room >> 20);
    if room < LEAST_ROOM {
        fail(format!("{text}; make room before a round"))
    } else if room < LITTLE_ROOM {
        warn(format!("{text}; make room soon"))
    } else {
        ok(text)
    }
}

fn key(record: &Path) -> Found {
    let key = match vault::used() {
        Ok(key) => key,
        Err(why) => return fail(why),
    };
    match (key.check(), key) {
        (Ok(keys), Key::File(_)) if keys > 1 => ok(format!("{key:?}, and {} older", keys - 1)),
        (Ok(_), _) => ok(format!("{key:?}")),
        (Err(store::KeyError::Missing(file)), _) if !record.exists() => ok(format!(
            "none yet; made in {} at the first start",
            file.display()
        )),
        (Err(error), _) => fail(error.to_string()),
    }
}

/// The record, and the clock against what it holds.
fn record(path: &Path, now: Time) -> (Found, Found) {
    if !path.exists() {
        let none = format!("{} is not there; the first round makes it", path.display());
        return (warn(none), clock(None, now));
    }
    // As a first start leaves it for which the disk had no room.
    if path.metadata().is_ok_and(|it| it.len() == 0) {
        let empty = format!("{} is empty; the first round begins it", path.display());
        return (warn(empty), clock(None, now));
    }
    let store = match vault::open_to_read(path) {
        Ok(store) => store,
        Err(why) => return (fail(why), clock(None, now)),
    };
    let record = match store.check(&[]) {
        Err(error) => fail(error.to_string()),
        Ok(report) => match report.findings.as_slice() {
            [] => fault(&store, report.facts),
            [first, rest @ ..] => {
                let more = if rest.is_empty() { "" } else { "; and more" };
                fail(format!("{first}{more}: see `sayback check`"))
            }
        },
    };
    (record, clock(Some(&store), now))
}

fn fault(store: &Store, facts: i64) -> Found {
    if let Some(fault) = store.log_fault() {
        return fail(fault.to_string());
    }
    if !store.encrypted() {
        return warn(format!(
            "{facts} facts, sound, but not encrypted; see `sayback key encrypt --help`"
        ));
    }
    ok(format!("{facts} facts, sound, encrypted"))
}

/// A clock that was never set says 1970 or the day the machine was made.
fn clock(store: Option<&Store>, now: Time) -> Found {
    let text = now.format("%Y-%m-%d %H:%M %:z").to_string();
    let built = chrono::NaiveDate::from_ymd_opt(2026, 1, 1).unwrap_or_default();
    if now.date_naive() < built {
        return fail(format!("{text}: it was never set"));
    }
    match store.map(|it| vault::clock_behind(it, now)) {
        Some(Ok(Some(why)) | Err(why)) => fail(why),
        Some(Ok(None)) | None => ok(text),
    }
}

fn accounts(record: &Path) -> Found {
    let path = record.with_file_name("accounts.db");
    if !path.exists() {
        return ok("none yet; `sayback serve` makes them");
    }
    let key = match vault::used() {
        Ok(key) => key,
        Err(why) => return fail(why),
    };
    match Station::accounts_with(record, key) {
        Err(error) => fail(error.to_string()),
        // A first start was stopped: opening them has made up for it.
        Ok((_, Some(code))) => warn(format!(
            "there was nobody to sign in; sign in as \"{FIRST}\" with this one-time code, which is \
             not shown again: {code}"
        )),
        Ok(_) if store::is_plain(&path) => warn("not encrypted; see `sayback key encrypt --help`"),
        Ok(_) => ok("they open, encrypted"),
    }
}

fn sound(record: &Path, home: Option<&Path>) -> Found {
    // A home's file that can't be read is said of the home.
    let home = home.and_then(|it| read_home(it).ok());
    match super::sound::doctor(record, home.as_ref()) {
        Ok((true, text)) => ok(text),
        Ok((false, text)) => warn(text),
        Err(why) => fail(why),
    }
}

fn home_file(path: &Path) -> Found {
    match read_home(path) {
        Err(why) => fail(why),
        Ok(home) => ok(format!("{}, {} residents", home.name, home.residents.len())),
    }
}

fn fhir(address: &str) -> Found {
    let access = Access {
        token: std::env::var("SAYBACK_FHIR_TOKEN").ok(),
        ..Access::default()
    };
    match Server::new(address, access).and_then(|it| it.answers()) {
        Ok(version) => ok(format!("{address} answers, FHIR {version}")),
        Err(error) => fail(error.to_string()),
    }
}
