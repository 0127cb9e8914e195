//! `sayback export` and `sayback import-patients`.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::error::ErrorKind;
use clap::{Args, ValueEnum};
use sayback::residents::{Home, ResidentId};
use sayback::review::export::fhir::{
    self, Links, Observation, Patient, PatientSystem, collection, ndjson, resources, transactions,
};
use sayback::review::export::import::{ImportError, Plan, Rooms, plan, read_rooms};
use sayback::review::export::post::{Access, Server};
use sayback::review::export::sheet::round_sheet;
use sayback::review::export::summary::summary;
use sayback::review::export::{Chart, Selection, Style, csv};
use sayback::store::{Readable, Unread};
use uuid::Uuid;

use super::End;
use super::clock::offsets_here;
use super::commands::{Message, finished, message};
use super::home::{read, read_home, read_roster, replace};

/// Observations in one transaction: small enough for any server's patience.
const TRANSACTION: usize = 100;

/// What to take out of the record, and how.
#[derive(Args)]
pub struct Export {
    /// The record
    #[arg(long, default_value = "record.db")]
    store: PathBuf,
    /// The home's file: who the residents are
    #[arg(long)]
    home: PathBuf,
    /// The form
    #[arg(long, value_enum, required_unless_present = "post")]
    format: Option<Format>,
    /// The file to write, or the folder for fhir-ndjson; standard output when
    /// left out
    #[arg(long)]
    out: Option<PathBuf>,
    /// Only what was recorded or changed from this day on, such as 2026-03-09
    #[arg(long)]
    since: Option<NaiveDate>,
    /// Only this resident, by the home's identifier
    #[arg(long)]
    resident: Option<String>,
    /// Which round's sheet, by identifier; the last one's when left out
    #[arg(long)]
    round: Option<Uuid>,
    /// Whose the residents' identifiers are, as a URI that the chart knows them
    /// by; one made from the home's name when left out
    #[arg(long)]
    patient_system: Option<String>,
    #[command(flatten)]
    post: Post,
}

impl Export {
    /// A filter that a form can't heed is refused, as any argument that is wrong: what
    /// is printed would be of another resident or day than was asked for.
    fn refuse_unused_filters(&self) {
        let sheet = matches!(self.format, Some(Format::RoundSheet));
        let why = if sheet && self.resident.is_some() {
            "a round's sheet is of all its residents; --format summary with --resident is of one"
        } else if sheet && self.since.is_some() {
            "a round's sheet is of the whole round; --round says which, and --since says nothing"
        } else if !sheet && self.round.is_some() {
            "--round is only for --format round-sheet; --since and --resident choose elsewhere"
        } else {
            return;
        };
        clap::Error::raw(ErrorKind::ArgumentConflict, format!("{why}\n")).exit();
    }
}

#[derive(Args)]
struct Post {
    /// Send it to the FHIR server at this base address, as transactions
    ///
    /// What is sent twice is there once. Each transaction is taken whole or not
    /// at all, and is tried again where that may help. Nothing is sent anywhere
    /// else. A bearer token is taken from `SAYBACK_FHIR_TOKEN`.
    #[arg(long, value_name = "URL", conflicts_with_all = ["format", "out"])]
    #[expect(clippy::struct_field_names, reason = "the argument is --post")]
    post: Option<String>,
    /// Certificates (PEM) of the authority that vouches for the server
    #[arg(long, value_name = "FILE", requires = "post")]
    authority: Option<PathBuf>,
    /// Send readings to another machine without encryption
    #[arg(long, requires = "post")]
    plain_http: bool,
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    /// One FHIR R4 Bundle
    FhirBundle,
    /// FHIR R4 as a folder of NDJSON files, one for each kind of resource
    FhirNdjson,
    /// One reading a line; docs/csv.md says what the columns hold
    Csv,
    /// The sheet of a round, to print: HTML that needs nothing beside itself
    RoundSheet,
    /// A page about each resident, to print: HTML as well
    Summary,
}

/// FHIR Patients to take into the home's file.
#[derive(Args)]
pub struct ImportPatients {
    /// FHIR R4 JSON: a Bundle with Patients, a Patient, or NDJSON; - for
    /// standard input
    file: PathBuf,
    /// The home's file
    #[arg(long)]
    home: PathBuf,
    /// A table (CSV) with the columns id, room and bed: where they live
    #[arg(long)]
    rooms: Option<PathBuf>,
    /// The system of the home's own identifiers, where a Patient has several
    #[arg(long, value_name = "URI")]
    identifier_system: Option<String>,
    /// Write it; without this, only what would change is shown
    #[arg(long)]
    write: bool,
}

/// Runs `sayback import-patients`.
pub fn import_patients(arguments: &ImportPatients) -> Result<End, Message> {
    let mut home = read_roster(&arguments.home)?;
    let nothing = |file: &Path, errors: Vec<ImportError>| {
        let errors: Vec<String> = errors.iter().map(|it| format!("\n  {it}")).collect();
        format!("{}: nothing is imported{}", file.display(), errors.concat())
    };
    let rooms = match &arguments.rooms {
        Some(file) => read_rooms(&read(file)?).map_err(|errors| nothing(file, errors))?,
        None => Rooms::new(),
    };
    let text = read(&arguments.file)?;
    let system = arguments.identifier_system.as_deref();
    let plan =
        plan(&text, &home, &rooms, system).map_err(|errors| nothing(&arguments.file, errors))?;
    show(&plan);
    if plan.is_empty() {
        anstream::println!("Nothing to write.");
        return Ok(End::Done);
    }
    plan.apply(&mut home);
    let text = home.to_toml().map_err(message)?;
    Home::from_toml(&text).map_err(|error| format!("nothing is imported: {error}"))?;
    if arguments.write {
        replace(&arguments.home, &text)?;
        anstream::println!("Written to {}.", arguments.home.display());
    } else {
        anstream::println!("Nothing is written yet; say --write to write it.");
    }
    Ok(End::Done)
}

fn show(plan: &Plan) {
    for it in &plan.added {
        let bed = it.bed.as_ref().map(|bed| format!(", bed {bed}"));
        anstream::println!(
            "added: {} ({}, born {}, room {}{})",
            it.id.0,
            it.name,
            it.birth_date,
            it.room,
            bed.unwrap_or_default()
        );
    }
    for (resident, differences) in &plan.changed {
        for it in differences {
            let (id, field) = (&resident.id.0, it.field);
            anstream::println!("changed: {id}, {field}: {} -> {}", it.before, it.after);
        }
    }
    for id in &plan.inactive {
        let id = &id.0;
        anstream::println!("no longer active, take out by hand if that is right: {id}");
    }
    let (same, rest) = (plan.same.len(), plan.unmentioned.len());
    anstream::println!(
        "{} added, {} changed, {same} the same, {rest} not in the file and left as they are.",
        plan.added.len(),
        plan.changed.len()
    );
}

/// Runs `sayback export`.
pub fn export(arguments: &Export) -> Result<End, Message> {
    arguments.refuse_unused_filters();
    let home = read_home(&arguments.home)?;
    let store = super::vault::open_to_read(&arguments.store)?;
    // The head first: what is appended meanwhile is then beyond it.
    let head = store.head().map_err(message)?;
    let read = store.readable().map_err(message)?;
    let mut what = What::new(arguments, &home, &read)?;
    what.chart.head = head;
    let ended = what.write(arguments)?;
    let concerns = |it: &&Unread| what.selection.concerns(it);
    let unread = read.unread.iter().filter(concerns);
    Ok(left_out(unread).unwrap_or(ended))
}

/// Says what could not be read; how a command ends then.
pub fn left_out<'a>(unread: impl Iterator<Item = &'a Unread>) -> Option<End> {
    let unread: Vec<String> = unread
        .map(|it| {
            format!(
                "\n  fact {} of {}: {}",
                it.id,
                it.at.date_naive(),
                it.problem
            )
        })
        .collect();
    let left_out = match unread.len() {
        0 => return None,
        1 => "1 entry that came from the home is".to_owned(),
        more => format!("{more} entries that came from the home are"),
    };
    anstream::eprintln!(
        "sayback: {left_out} left out, which this version can't read. The rest may have been \
         corrected or retracted by that; is there a newer Sayback?{}",
        unread.concat()
    );
    Some(End::Lacking)
}

struct What<'a> {
    home: &'a Home,
    chart: Chart<'a>,
    selection: Selection,
    system: PatientSystem,
}

impl<'a> What<'a> {
    fn write(&self, arguments: &Export) -> Result<End, Message> {
        if let Some(address) = &arguments.post.post {
            return self.post(address, &arguments.post);
        }
        let out = arguments.out.as_deref();
        self.head_beside(arguments.format, out)?;
        match arguments.format {
            Some(Format::FhirNdjson) => self.ndjson(out),
            Some(Format::Csv) => {
                let table = csv::table(&self.chart, self.home, &self.selection);
                write(out, &table.map_err(message)?)
            }
            Some(Format::RoundSheet) => {
                let sheet = round_sheet(
                    &self.chart,
                    self.home,
                    arguments.round,
                    Style::Inside,
                    &offsets_here(),
                );
                write(out, &sheet.ok_or("no such round is in the record")?)
            }
            Some(Format::Summary) => write(
                out,
                &summary(&self.chart, self.home, &self.selection, Style::Inside),
            ),
            Some(Format::FhirBundle) | None => {
                let (patients, observations) = self.resources(Links::Bundle);
                let bundle =
                    collection(patients, observations).of_record_at(self.chart.head.as_ref());
                let bundle = bundle.lacking(fhir::left_out(&self.chart, &self.selection));
                let text = serde_json::to_string_pretty(&bundle).map_err(message)?;
                write(out, &(text + "\n"))
            }
        }
    }

    fn new(arguments: &Export, home: &'a Home, read: &'a Readable) -> Result<Self, Message> {
        let mut chart = Chart::of(&read.facts);
        chart.unread = &read.unread;
        let resident = arguments.resident.clone().map(ResidentId);
        if let Some(id) = &resident
            && home.resident(id).is_none()
            && chart.identified(id).is_none()
        {
            return Err(format!(
                "no resident \"{}\" is in the home's file or in the record",
                id.0
            ));
        }
        let system = match &arguments.patient_system {
            Some(uri) => PatientSystem::new(uri)?,
            None => PatientSystem::of_home(home),
        };
        Ok(Self {
            home,
            chart,
            selection: Selection {
                since: arguments.since,
                resident,
            },
            system,
        })
    }

    /// What was selected, with the residents it is about.
    fn resources(&self, links: Links) -> (Vec<Patient>, Vec<Observation>) {
        resources(&self.chart, self.home, &self.system, links, &self.selection)
    }

    /// Where the record stood, in a file beside those that have no room for it.
    fn head_beside(&self, format: Option<Format>, out: Option<&Path>) -> Result<(), Message> {
        let (Some(head), Some(out)) = (&self.chart.head, out) else {
            return Ok(());
        };
        let beside = match format {
            Some(Format::Csv | Format::Summary) => {
                let mut name = out.as_os_str().to_owned();
                name.push(".head");
                PathBuf::from(name)
            }
            Some(Format::FhirNdjson) => {
                std::fs::create_dir_all(out)
                    .map_err(|error| format!("cannot make {}: {error}", out.display()))?;
                out.join("record.head")
            }
            Some(Format::FhirBundle | Format::RoundSheet) | None => return Ok(()),
        };
        write(Some(&beside), &format!("{head}\n")).map(drop)
    }

    fn ndjson(&self, out: Option<&Path>) -> Result<End, Message> {
        let folder = out.ok_or("fhir-ndjson writes several files: give a folder with --out")?;
        let (patients, observations) = self.resources(Links::Relative);
        std::fs::create_dir_all(folder)
            .map_err(|error| format!("cannot make {}: {error}", folder.display()))?;
        let patients = ndjson(&patients).map_err(message)?;
        write(Some(&folder.join("Patient.ndjson")), &patients)?;
        let observations = ndjson(&observations).map_err(message)?;
        write(Some(&folder.join("Observation.ndjson")), &observations)?;
        // As FHIR's own bulk export tells of what it lacks. None may be left there
        // from an earlier one.
        let outcome = fhir::left_out(&self.chart, &self.selection);
        let (outcome, name) = (
            Vec::from_iter(outcome),
            folder.join("OperationOutcome.ndjson"),
        );
        if outcome.is_empty() && !name.exists() {
            return Ok(End::Done);
        }
        write(Some(&name), &ndjson(&outcome).map_err(message)?)
    }

    fn post(&self, address: &str, post: &Post) -> Result<End, Message> {
        let authorities = post.authority.as_ref().map(std::fs::read).transpose();
        let access = Access {
            // From the environment, since arguments can be seen by others.
            token: std::env::var("SAYBACK_FHIR_TOKEN").ok(),
            authorities: authorities
                .map_err(|error| format!("cannot read the authority's certificates: {error}"))?,
            plain: post.plain_http,
            ..Access::default()
        };
        let server = Server::new(address, access).map_err(message)?;
        let (patients, observations) = self.resources(Links::Bundle);
        let all = observations.len();
        let mut sent = 0;
        for bundle in transactions(patients, observations, TRANSACTION) {
            let waiting = |wait: std::time::Duration, why: &str| {
                anstream::eprintln!(
                    "sayback: {why}; trying again in {:.0} s",
                    wait.as_secs_f64().ceil()
                );
            };
            if let Err(error) = server.send(&bundle, waiting) {
                return Err(format!(
                    "{error}\n{sent} of {all} observations were taken before; sending all again \
                     does no harm"
                ));
            }
            sent = (sent + TRANSACTION).min(all);
        }
        anstream::println!("{all} observations are on the server.");
        Ok(End::Done)
    }
}

/// Writes a file that only its owner can read, or to standard output.
fn write(out: Option<&Path>, text: &str) -> Result<End, Message> {
    let Some(path) = out else {
        return finished(std::io::stdout().lock().write_all(text.as_bytes()));
    };
    let failed = |error: std::io::Error| format!("cannot write {}: {error}", path.display());
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(path).map_err(failed)?;
    // One that was there before may have been open to others.
    #[cfg(unix)]
    {
        let owner = std::os::unix::fs::PermissionsExt::from_mode(0o600);
        file.set_permissions(owner).map_err(failed)?;
    }
    file.write_all(text.as_bytes()).map_err(failed)?;
    Ok(End::Done)
}
