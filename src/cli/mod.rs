//! The command line: its arguments, its errors and its exit codes.

mod accounts;
mod clock;
mod commands;
mod doctor;
#[cfg(test)]
mod documented;
mod export;
mod home;
mod listen;
mod log;
mod members;
mod screen;
mod serve;
mod show;
mod sound;
mod staff;
mod table;
mod understand;
mod vault;

use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand, ValueEnum};
use sayback::bedside::{Place, key_in};
use sayback::grammar::Expect;
use sayback::hearing::with_best_kernels;
use sayback::metrics;
use sayback::review::{Certificate, Validity};
use sayback::vitals::VitalSign;

/// Offline, hands-free voice recorder for a vital-signs round.
///
/// The aide speaks a reading, Sayback reads it back, and only a spoken yes
/// keeps it. Nothing is sent anywhere but by `export --post`, to the address it
/// is given, and by `send`, `listen --link`, `serve --link` and `home`, to the
/// home's own database.
///
/// Sayback records and reminds; it does not diagnose. The care plan, facility
/// policy and the licensed nurse decide.
#[derive(Parser)]
#[command(version, after_help = EXIT_CODES, after_long_help = EXIT_CODES)]
struct Cli {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    key: vault::KeyArgs,
    #[command(flatten)]
    log: log::LogArgs,
}

const EXIT_CODES: &str = "\
Exit codes:
  0  done
  1  something is wrong with a file, a device or the record; the message says what to do
  2  the arguments are wrong
  3  a rehearsal ran, and an \"expect\" line of its script was not met
  4  a check ran, and found something wrong
  5  done, without what came from the home and this version can't read; standard error says
     which entries those are

Environment:
  SAYBACK_MODEL  folder of the recogniser's model, as --model
  SAYBACK_KEY_FILE    file of the key that the record is encrypted with, as --key-file
  SAYBACK_PASSPHRASE  a passphrase instead; SAYBACK_NEW_PASSPHRASE the next one, for `key rotate`
  PGHOST and the like  how `home init` signs on, as for psql
  SAYBACK_FHIR_TOKEN  bearer token for `export --post`
  SAYBACK_LOG    what to log on standard error, such as \"debug\"; never readings or names
  SAYBACK_LOG_FORMAT  human or json, as --log-format
  NO_COLOR       no colour when set";

#[derive(Subcommand)]
enum Command {
    /// Hear recordings: what was said in WAV files, and what it means
    ///
    /// Each file is a stream of its own. With --json, one object a line for each
    /// utterance: words with times and confidence, alternatives, and the meaning
    /// or the reason there is none.
    Hear {
        /// WAV files of any common rate, width and number of channels
        #[arg(required = true)]
        files: Vec<PathBuf>,
        #[command(flatten)]
        meaning: Meaning,
        #[command(flatten)]
        model: Model,
        /// The state of the conversation: what is listened for
        #[arg(long, value_enum, default_value_t = Listening::Readings)]
        expect: Listening,
        /// JSON, one object a line
        #[arg(long)]
        json: bool,
    },
    /// Understand words: what they mean, given as text
    Understand {
        /// What is said, such as "pulse seventy two regular"
        words: String,
        #[command(flatten)]
        meaning: Meaning,
        /// JSON, one object
        #[arg(long)]
        json: bool,
    },
    /// Rehearse a round from a script of recordings and texts
    ///
    /// The same ear, dialogue, record and voice as a live round. Each line of the
    /// script is given after the previous answer.
    Rehearse {
        /// The script; audio-fixtures/demo-round.script shows what it can hold
        script: PathBuf,
        #[command(flatten)]
        model: Model,
        #[command(flatten)]
        voice: VoiceArgs,
        /// The record to append to; a new one in out/ when left out
        #[arg(long)]
        store: Option<PathBuf>,
        /// WAV file of everything Sayback says; beside the record when left out
        #[arg(long)]
        said: Option<PathBuf>,
        /// Do not play the answers, even where there is a loudspeaker
        #[arg(long)]
        silent: bool,
        /// Show nothing but errors
        #[arg(long)]
        quiet: bool,
        /// Wait so many seconds before each step, so that people can follow
        #[arg(long, default_value_t = 0.0, value_parser = pace)]
        pace: f64,
        #[command(flatten)]
        screen: ScreenArgs,
        #[command(flatten)]
        metrics: MetricsArgs,
    },
    /// Listen: a live round with microphone and loudspeaker
    Listen(listen::Arguments),
    /// Send what is recorded to the home, once, and fetch what is there
    ///
    /// `listen --link` does so by itself.
    Send(members::Send),
    /// Several recorders, one home: begin it, enrol, cut off; docs/home.md
    #[command(subcommand)]
    Home(members::HomeCommand),
    /// Print the card: what you can say, on one page
    ///
    /// HTML on standard output, for a browser to print on A4 or Letter.
    Card {
        /// Plain text
        #[arg(long)]
        text: bool,
    },
    /// Show the record: the facts that are stored
    Record {
        /// The record
        #[arg(long, default_value = "record.db")]
        store: PathBuf,
        /// JSON, one fact a line, as stored
        #[arg(long)]
        json: bool,
    },
    /// Import and check the roster of residents
    #[command(subcommand)]
    Roster(home::RosterCommand),
    /// Who may record: set PINs, and list the staff
    #[command(subcommand)]
    Staff(staff::StaffCommand),
    /// Check a home's own limits, or put them in force
    #[command(subcommand)]
    Limits(home::LimitsCommand),
    /// Take readings out of the record: to a file, or to the chart
    ///
    /// FHIR R4 Observations that conform to the vital-signs profiles, or CSV.
    /// Corrected, retracted and not-taken ones are there and say so.
    Export(export::Export),
    /// Take residents from FHIR R4 Patients into the home's file
    ///
    /// Shows what would be added and changed; --write does it. With a mistake
    /// anywhere nothing is imported. Nobody is removed, and ranges and care plans
    /// stay. Comments in the home's file are not kept.
    ImportPatients(export::ImportPatients),
    /// Serve the nurse's station: pages for a browser
    ///
    /// The first start makes the accounts, beside the record, and prints a
    /// one-time code for the administrator, who makes the others.
    Serve(serve::Arguments),
    /// List microphones and loudspeakers
    Devices,
    /// Check the record: was anything changed, removed, moved or added?
    ///
    /// Walks through every fact and names each that does not follow from the one
    /// before, by its row and identifier.
    Check(vault::Check),
    /// Copy the record to another file, also while it is in use
    ///
    /// The copy is encrypted with the record's key, which is not in it: keep a
    /// copy of the key too, elsewhere. It is walked through before it gets its
    /// name. Nothing is written over.
    Backup(vault::Backup),
    /// Put a backup in place of a record that is lost
    ///
    /// The backup is walked through first. Nothing is written over.
    Restore(vault::Restore),
    /// The accounts of the nurse's station
    #[command(subcommand)]
    Accounts(accounts::AccountsCommand),
    /// The key that the record is encrypted with
    #[command(subcommand)]
    Key(vault::KeyCommand),
    /// Examine this installation: one line for each check
    Doctor(doctor::Doctor),
}

impl Command {
    /// Whether sound is decoded.
    const fn hears(&self) -> bool {
        matches!(
            self,
            Self::Hear { .. } | Self::Rehearse { .. } | Self::Listen(_)
        )
    }
}

#[derive(Args)]
struct Model {
    /// Folder of the recogniser's model; models.md says which there are
    #[arg(long, env = "SAYBACK_MODEL")]
    model: Option<PathBuf>,
}

#[derive(Args)]
struct Meaning {
    /// The home's file, for its units, rooms, beds and nurses
    #[arg(long)]
    home: Option<PathBuf>,
    /// Work in °C, kilograms and centimetres where no unit is said
    #[arg(long, conflicts_with = "home")]
    metric: bool,
    /// A vital sign that waits for an answer, to which a bare number can belong
    #[arg(long, value_enum)]
    pending: Vec<Sign>,
}

#[derive(Args)]
struct ScreenArgs {
    /// Show the round on a page at this address, such as 127.0.0.1:8471, and take
    /// answers by hand there; a rehearsal then goes on by hand after its script
    #[arg(long, value_name = "ADDRESS")]
    screen: Option<SocketAddr>,
    /// A file with the key in the screen's address, made where there is none: the
    /// address then stays as it is; otherwise it is new at every start
    #[arg(long, value_name = "FILE", requires = "screen")]
    screen_key: Option<PathBuf>,
}

impl ScreenArgs {
    /// Where the screen is to be, if anywhere.
    fn place(&self) -> Result<Option<Place>, String> {
        let Some(address) = self.screen else {
            return Ok(None);
        };
        let key = self.screen_key.as_deref().map(key_in).transpose()?;
        let place = Place::at(address);
        Ok(Some(Place { key, ..place }))
    }
}

#[derive(Args)]
struct TlsArgs {
    /// The home's own certificate, PEM; pages then go out over TLS only
    #[arg(long, requires = "tls_key")]
    tls_cert: Option<PathBuf>,
    /// The certificate's private key, PEM
    #[arg(long, requires = "tls_cert")]
    tls_key: Option<PathBuf>,
}

impl TlsArgs {
    fn certificate(&self) -> Option<Certificate> {
        let (chain, key) = (self.tls_cert.clone()?, self.tls_key.clone()?);
        Some(Certificate { chain, key })
    }

    /// The same, before pages go out with it: says where browsers refuse it, or will soon.
    fn certificate_to_use(&self) -> Option<Certificate> {
        let certificate = self.certificate()?;
        let now = chrono::Local::now().fixed_offset();
        // What can't be read is said where it is to be used.
        if let Some(why) = certificate.validity(now).ok().and_then(Validity::trouble) {
            anstream::eprintln!("sayback: WARNING: {why}.");
        }
        Some(certificate)
    }
}

#[derive(Args)]
struct MetricsArgs {
    /// Give a monitor counts and times of the machine, nothing about anyone, at
    /// /metrics of this address of this machine, such as 127.0.0.1:8472
    #[arg(long, value_name = "ADDRESS")]
    metrics: Option<SocketAddr>,
}

impl MetricsArgs {
    fn open(&self) -> Result<(), String> {
        if let Some(address) = self.metrics {
            let at = metrics::open(address)?;
            anstream::println!("The metrics are at http://{at}/metrics");
        }
        Ok(())
    }
}

fn pace(text: &str) -> Result<f64, String> {
    let seconds = text.parse().ok();
    let seconds = seconds.filter(|it: &f64| (0.0..=60.0).contains(it));
    seconds.ok_or_else(|| "expected seconds, from 0 to 60".to_owned())
}

#[derive(Args)]
struct VoiceArgs {
    /// The voice that reads back
    #[arg(long, value_enum, default_value_t = VoiceName::Espeak)]
    voice: VoiceName,
    /// Words per minute of the espeak voice
    #[arg(long, default_value_t = 165, value_parser = clap::value_parser!(u16).range(80..=450))]
    speed: u16,
    /// Folder of the natural voice, as setup/natural-voice made it
    #[arg(long, default_value = "assets/voice")]
    voice_folder: PathBuf,
}

#[derive(Clone, Copy, ValueEnum)]
enum VoiceName {
    /// espeak-ng: always works, speaks at once
    Espeak,
    /// A natural voice; setup/natural-voice installs it
    Natural,
    /// No voice: the words are shown only
    None,
}

#[derive(Clone, Copy, ValueEnum)]
enum Listening {
    /// A room and bed
    Place,
    /// Readings
    Readings,
    /// An answer to a question about a reading
    Answer,
    /// Yes, no or another value
    Confirm,
    /// "start listening"
    Wake,
}

impl From<Listening> for Expect {
    fn from(it: Listening) -> Self {
        match it {
            Listening::Place => Self::Place,
            Listening::Readings => Self::Readings,
            Listening::Answer => Self::Answer,
            Listening::Confirm => Self::Confirm,
            Listening::Wake => Self::Wake,
        }
    }
}

/// A vital sign as an argument.
#[derive(Clone, Copy)]
struct Sign(VitalSign);

impl ValueEnum for Sign {
    fn value_variants<'a>() -> &'a [Self] {
        const ALL: [Sign; VitalSign::ALL.len()] = {
            let mut all = [Sign(VitalSign::Pulse); VitalSign::ALL.len()];
            let mut at = 0;
            while at < all.len() {
                all[at] = Sign(VitalSign::ALL[at]);
                at += 1;
            }
            all
        };
        &ALL
    }

    fn to_possible_value(&self) -> Option<clap::builder::PossibleValue> {
        Some(clap::builder::PossibleValue::new(self.0.tag()))
    }
}

/// How a command ended, short of an error.
enum End {
    Done,
    Unmet,
    Found,
    Lacking,
}

/// Runs the command line.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    // It starts the program anew, which those that decode nothing need not wait for.
    if cli.command.hears() {
        with_best_kernels();
    }
    log::begin(&cli.log);
    // What is in memory is a resident's: it is not dumped to a disk in a crash.
    let none = rustix::process::Rlimit {
        current: Some(0),
        maximum: Some(0),
    };
    if let Err(error) = rustix::process::setrlimit(rustix::process::Resource::Core, none) {
        tracing::warn!("a crash may leave a dump of the memory: {error}");
    }
    metrics::begin();
    vault::given(cli.key);
    match commands::run(cli.command) {
        Ok(End::Done) => ExitCode::SUCCESS,
        Ok(End::Unmet) => ExitCode::from(3),
        Ok(End::Found) => ExitCode::from(4),
        Ok(End::Lacking) => ExitCode::from(5),
        Err(message) => {
            anstream::eprintln!("sayback: {message}");
            ExitCode::FAILURE
        }
    }
}
