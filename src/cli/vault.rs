//! The key, and what keeps the record whole: `sayback check`, `backup`,
//! `restore` and `key`.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use clap::{Args, Subcommand};
use sayback::facts::{ChainHead, Time};
use sayback::round::Pins;
use sayback::store::{self, Copied, Key, Report, Store};
use sayback::sync::{HomeRecord, Link};

use super::End;
use super::commands::{Message, finished, message};
use super::staff::secret;

/// How the record's key is given.
#[derive(Args, Default)]
pub struct KeyArgs {
    /// File of the key that the record is encrypted with; made when the first
    /// record needs it. Else ~/.config/sayback/record.key
    #[arg(long, global = true, env = "SAYBACK_KEY_FILE", value_name = "FILE")]
    key_file: Option<PathBuf>,
    /// Ask for a passphrase, which the record is encrypted with instead
    #[arg(long, global = true)]
    passphrase: bool,
}

/// The record to check.
#[derive(Args)]
pub struct Check {
    /// The record
    #[arg(default_value = "record.db")]
    file: PathBuf,
    /// The home's record instead, with this recorder's or station's link file
    #[arg(long, conflicts_with = "file", value_name = "FILE")]
    link: Option<PathBuf>,
    /// A head that the record must hold, such as 12:ab34…, from an export, a
    /// backup or a sheet: finds what was cut off or made anew since
    #[arg(long, value_name = "HEAD")]
    against: Vec<ChainHead>,
    /// JSON, one object
    #[arg(long)]
    json: bool,
}

/// What to copy, and where to.
#[derive(Args)]
pub struct Backup {
    /// The record
    from: PathBuf,
    /// The copy to make
    to: PathBuf,
    /// Make nothing: open a copy that is there as a restore would, walk through
    /// it, and compare it with the record
    #[arg(long)]
    verify: bool,
}

/// What to put back, and where to.
#[derive(Args)]
pub struct Restore {
    /// The backup
    copy: PathBuf,
    /// The record to make
    to: PathBuf,
}

/// What to do about the key.
#[derive(Subcommand)]
pub enum KeyCommand {
    /// Show where the key is
    Path,
    /// Encrypt a record that is not encrypted yet, and the files beside it
    ///
    /// Those are the accounts, the PINs and the kept sound. Stop `listen` and `serve` first. What the disk still holds of the file
    /// as it was is not wiped.
    Encrypt {
        /// The record
        file: PathBuf,
    },
    /// Encrypt records, and the files beside them, with a new key
    ///
    /// Those are the accounts, the PINs and the kept sound. Stop `listen` and `serve` first. The key file keeps the older keys, for
    /// backups that were made with them. With a passphrase, the new one is taken
    /// from `SAYBACK_NEW_PASSPHRASE` or asked for twice. What a run that was stopped
    /// has changed is passed over.
    Rotate {
        /// Every record that has the old key
        #[arg(required = true)]
        files: Vec<PathBuf>,
        /// Then forget the older keys: backups made with them can never be read
        /// again
        #[arg(long)]
        forget_old: bool,
    },
}

/// How many of the last facts the clock is held against.
const LAST: i64 = 1_000;
/// Clocks of several recorders differ by some seconds.
const SKEW: chrono::TimeDelta = chrono::TimeDelta::minutes(2);

static GIVEN: OnceLock<KeyArgs> = OnceLock::new();
static USED: OnceLock<Key> = OnceLock::new();

/// Takes note of how the key is given.
pub fn given(arguments: KeyArgs) {
    let _ = GIVEN.set(arguments);
}

/// The key. Asks for a passphrase only when it is needed, and once.
pub fn used() -> Result<&'static Key, Message> {
    if let Some(key) = USED.get() {
        return Ok(key);
    }
    let nothing = KeyArgs::default();
    let given = GIVEN.get().unwrap_or(&nothing);
    let words = words("SAYBACK_PASSPHRASE", given.passphrase, "Passphrase: ")?;
    let key = match (words, &given.key_file) {
        (Some(words), _) => Key::Passphrase(words),
        (None, Some(file)) => Key::File(file.clone()),
        (None, None) => Key::File(
            Key::default_file()
                .ok_or("there is no home folder to keep the key in; say where with --key-file")?,
        ),
    };
    Ok(USED.get_or_init(|| key))
}

fn words(variable: &str, ask: bool, prompt: &str) -> Result<Option<String>, Message> {
    match std::env::var(variable) {
        Ok(words) => Ok(Some(words)),
        Err(std::env::VarError::NotUnicode(_)) => Err(format!("{variable} is no text")),
        Err(_) if ask => secret(prompt).map(Some),
        Err(_) => Ok(None),
    }
}

/// Opens a record to append to.
pub fn open(path: &Path) -> Result<Store, Message> {
    Store::open_with(path, used()?).map_err(message)
}

/// Opens a record that must exist.
pub fn open_to_read(path: &Path) -> Result<Store, Message> {
    Store::open_to_read_with(path, used()?).map_err(message)
}

/// Opens a record for work, looks whether it is whole, and says what whoever
/// starts it must know. Damage does not keep anyone from recording.
pub fn start(path: &Path) -> Result<Store, Message> {
    let key = used()?;
    let had_key = key.check().is_ok();
    let had_record = std::fs::metadata(path).is_ok_and(|it| it.len() > 0);
    let store = open(path)?;
    if !had_record {
        anstream::println!("A new record was begun: {}.", path.display());
    }
    if let (false, Key::File(file)) = (had_key, key) {
        anstream::println!(
            "A key was made in {}. The record is encrypted with it. Keep a copy of it where the \
             record is not: without it nobody can read the record.",
            file.display()
        );
    }
    let warn = |text: &str| anstream::eprintln!("sayback: WARNING: {text}");
    if let Some(facts) = store.upgraded() {
        anstream::println!("The record has a new form; its {facts} facts are chained now.");
    }
    if let Some(fault) = store.log_fault() {
        warn(&format!("{fault}."));
    }
    if !store.encrypted() {
        warn("the record is not encrypted; see `sayback key encrypt --help`.");
    }
    let report = store.check(&[]).map_err(message)?;
    for finding in &report.findings {
        warn(&format!("the record is damaged: {finding}."));
    }
    if let Some(text) = clock_behind(&store, chrono::Local::now().fixed_offset())? {
        warn(&text);
    }
    Ok(store)
}

/// What to say when the clock is behind what was recorded last.
pub fn clock_behind(store: &Store, now: Time) -> Result<Option<String>, Message> {
    let head = store.head().map_err(message)?;
    let from = head.map_or(0, |it| it.seq - LAST);
    let facts = store.facts_after(from, usize::MAX).map_err(message)?;
    let times = facts.into_iter().filter_map(|it| Some(it.fact.ok()?.at));
    let late = times.max().filter(|last| *last > now + SKEW);
    Ok(late.map(|last| {
        format!(
            "the clock says {}, and something was recorded at {}: set the clock before you \
             record. Facts keep the order in which they were recorded.",
            now.format("%Y-%m-%d %H:%M"),
            last.format("%Y-%m-%d %H:%M"),
        )
    }))
}

/// Runs `sayback check`.
pub fn check(arguments: &Check) -> Result<End, Message> {
    if let Some(link) = &arguments.link {
        return check_home(link, arguments);
    }
    let store = open_to_read(&arguments.file)?;
    let report = store.check(&arguments.against).map_err(message)?;
    let sound = super::sound::look(&arguments.file)?;
    let mut out = anstream::stdout().lock();
    if arguments.json {
        let json = serde_json::to_value(&report).map_err(message)?;
        let fault = store.log_fault().map(|it| it.to_string());
        let all = serde_json::json!({
            "file": arguments.file,
            "sound": report.sound() && fault.is_none(),
            "upgraded": store.upgraded(),
            "log_fault": fault,
            "kept_sound": sound.as_json(),
            "report": json,
        });
        finished(writeln!(out, "{all}"))?;
    } else {
        let what = store.path().display().to_string();
        finished(write!(
            out,
            "{}{sound}",
            in_words(&what, Some(&store), &report)
        ))?;
    }
    let all_right = report.sound() && store.log_fault().is_none() && sound.is_right();
    Ok(if all_right { End::Done } else { End::Found })
}

fn check_home(link: &Path, arguments: &Check) -> Result<End, Message> {
    let mut home = HomeRecord::open(&Link::read(link).map_err(message)?).map_err(message)?;
    let report = home.check(&arguments.against).map_err(message)?;
    let mut out = anstream::stdout().lock();
    if arguments.json {
        let json = serde_json::to_value(&report).map_err(message)?;
        let all = serde_json::json!({
            "home": home.link().home,
            "sound": report.sound(),
            "report": json,
        });
        finished(writeln!(out, "{all}"))?;
    } else {
        let what = format!("The home {}", home.link().home);
        finished(write!(out, "{}", in_words(&what, None, &report)))?;
    }
    Ok(if report.sound() {
        End::Done
    } else {
        End::Found
    })
}

fn in_words(what: &str, store: Option<&Store>, report: &Report) -> String {
    let mut lines = Vec::new();
    let encrypted = match report.encrypted {
        Some(true) => ", encrypted",
        Some(false) => ", NOT encrypted",
        None => "",
    };
    lines.push(format!("{what}: {} facts{encrypted}.", report.facts));
    if let Some(facts) = store.and_then(Store::upgraded) {
        lines.push(format!("Upgraded just now: {facts} facts were chained."));
    }
    if report.chained_from > 1 {
        lines.push(format!(
            "Facts before row {} were chained when the record was upgraded: what happened to them \
             before that can't be told.",
            report.chained_from
        ));
    }
    if let Some(head) = &report.head {
        lines.push(format!("Head: {head}"));
    }
    if report.signatures > 0 {
        lines.push(format!("Signatures that agree: {}.", report.signatures));
    }
    lines.extend(
        store
            .and_then(Store::log_fault)
            .map(|it| format!("DAMAGED: {it}.")),
    );
    if report.unread > 0 {
        lines.push(format!(
            "Recorded elsewhere, and not to be read by this version: {}. Is there a newer one?",
            report.unread
        ));
    }
    for finding in &report.findings {
        lines.push(format!("WRONG: {finding}"));
    }
    if report.sound() {
        lines.push("Nothing was changed, removed, moved or added.".to_owned());
    }
    lines.push(String::new());
    lines.join("\n")
}

/// Runs `sayback backup`.
pub fn backup(arguments: &Backup) -> Result<End, Message> {
    let (from, to) = (&arguments.from, &arguments.to);
    if arguments.verify {
        let copied = store::verify(to, Some(from), used()?).map_err(message)?;
        return tell("The backup can be restored", to, &copied);
    }
    let store = open_to_read(from)?;
    let copied = store.backup(to, used()?).map_err(message)?;
    let done = tell("Copied to", to, &copied);
    super::sound::not_copied(from);
    done
}

/// Runs `sayback restore`.
pub fn restore(arguments: &Restore) -> Result<End, Message> {
    let copied = store::restore(&arguments.copy, &arguments.to, used()?).map_err(message)?;
    tell("Restored to", &arguments.to, &copied)
}

fn tell(what: &str, path: &Path, copied: &Copied) -> Result<End, Message> {
    let mut out = anstream::stdout().lock();
    let facts = copied.facts;
    let head = copied.head.as_ref();
    let head = head.map(|it| format!("Head: {it}\n")).unwrap_or_default();
    let path = path.display();
    finished(write!(
        out,
        "{what}: {path}, {facts} facts, nothing wrong.\n{head}"
    ))
}

/// Runs `sayback key`.
pub fn key(command: &KeyCommand) -> Result<End, Message> {
    match command {
        KeyCommand::Path => match used()? {
            Key::File(file) => anstream::println!("{}", file.display()),
            other => anstream::println!("{other:?}"),
        },
        KeyCommand::Encrypt { file } => {
            let beside = beside(file).filter(|it| store::is_plain(it));
            for file in [file.clone()].into_iter().chain(beside) {
                store::encrypt(&file, used()?).map_err(message)?;
                anstream::println!("{} is encrypted now with {:?}.", file.display(), used()?);
            }
            anstream::println!(
                "Keep a copy of the key where the record is not. What the disk still holds of the \
                 files as they were is not wiped; nor are their unencrypted copies."
            );
        }
        KeyCommand::Rotate { files, forget_old } => rotate(files, *forget_old)?,
    }
    Ok(End::Done)
}

/// What else is encrypted with a record's key.
fn beside(record: &Path) -> impl Iterator<Item = PathBuf> {
    let all = [
        record.with_file_name("accounts.db"),
        Pins::beside(record),
        store::sound_beside(record),
    ];
    all.into_iter().filter(|it| it.exists())
}

/// Asked for twice: nobody sees what is typed, and a slip would lose the record.
fn new_passphrase() -> Result<String, Message> {
    let ask = |prompt| words("SAYBACK_NEW_PASSPHRASE", true, prompt);
    let new = ask("New passphrase: ")?;
    if ask("The same again: ")? != new {
        return Err("the two passphrases differ; nothing is changed".to_owned());
    }
    Ok(new.unwrap_or_default())
}

fn rotate(records: &[PathBuf], forget_old: bool) -> Result<(), Message> {
    let old = used()?;
    let mut files = records.to_vec();
    for record in records {
        files.extend(beside(record).filter(|it| !store::is_plain(it)));
    }
    files.sort();
    files.dedup();
    let new = match old {
        Key::File(_) => old.clone(),
        Key::Passphrase(_) => Key::Passphrase(new_passphrase()?),
        Key::None => return Err("there is no key".to_owned()),
    };
    if new != *old {
        // A run that was stopped has changed some already.
        let done = |it: &PathBuf| !store::is_plain(it) && store::opens(it, &new).is_ok();
        files.retain(|it| !done(it));
    }
    // All must open, and be used by nobody, before any is changed: a station whose record
    // can't be changed under it would be left with accounts that it can't read.
    for it in &files {
        store::is_free(it, old).map_err(message)?;
    }
    if let Key::File(file) = old {
        store::add_key(file).map_err(message)?;
    }
    for file in &files {
        store::reencrypt(file, old, &new).map_err(|error| {
            format!("{error}\nThose before it have the new key; run this again for the others")
        })?;
        anstream::println!("{} is encrypted with the new key.", file.display());
    }
    if let (true, Key::File(file)) = (forget_old, old) {
        let forgotten = store::forget_older(file).map_err(message)?;
        anstream::println!("{forgotten} older keys are forgotten.");
    }
    anstream::println!("Keep a copy of the new key where the record is not.");
    Ok(())
}
