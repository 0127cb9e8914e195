//! A live round: with the microphone and loudspeaker of this machine, or a tablet's.

use std::path::PathBuf;

use clap::Args;
use sayback::bedside::{Place, Tablet};
use sayback::dialogue::Dialogue;
use sayback::facts::residents_with_ranges;
use sayback::grammar::Grammar;
use sayback::hearing::Microphone;
use sayback::metrics::Counted;
use sayback::round::{Both, Live, Screen, Tutorial, ear_for};
use sayback::speaking::{Player, Tee};
use sayback::store::Store;
use sayback::sync::Linked;

use super::commands::{Message, message, model_folder, mouth};
use super::home::read_home;
use super::members::{linked, recorder_of};
use super::screen::page;
use super::show::LevelBar;
use super::staff::{existing, sign_on};
use super::{End, MetricsArgs, Model, ScreenArgs, TlsArgs, VoiceArgs, VoiceName, vault};

#[derive(Args)]
pub struct Arguments {
    /// The home's file: residents, nurses and aides
    #[arg(long, required_unless_present = "tutorial")]
    home: Option<PathBuf>,
    /// Practise: two minutes in an invented home, step by step; nothing is stored
    #[arg(long, conflicts_with_all = ["home", "signed_on", "store", "metrics"])]
    tutorial: bool,
    /// Who signs on, by name; may be given several times. Where PINs are set
    /// each is asked for one, here or on the screen; without any, the first aide
    /// of the home records
    #[arg(long, value_name = "NAME", alias = "aide")]
    signed_on: Vec<String>,
    #[command(flatten)]
    model: Model,
    #[command(flatten)]
    voice: VoiceArgs,
    /// The record to append to
    #[arg(long, default_value = "record.db")]
    store: PathBuf,
    /// Take the microphone and the loudspeaker of the tablet or phone that opens
    /// the screen, in place of this machine's
    #[arg(long, requires = "screen", conflicts_with_all = ["microphone", "speaker"])]
    tablet: bool,
    /// The microphone, by name or part of it; see `sayback devices`
    #[arg(long)]
    microphone: Option<String>,
    /// The loudspeaker, by name or part of it
    #[arg(long)]
    speaker: Option<String>,
    /// WAV file of everything Sayback says
    #[arg(long)]
    said: Option<PathBuf>,
    #[command(flatten)]
    screen: ScreenArgs,
    #[command(flatten)]
    tls: TlsArgs,
    /// This recorder's link file: what is recorded goes to the home when it can
    /// be reached, and what others recorded comes from there
    #[arg(long, value_name = "FILE", requires = "home")]
    link: Option<PathBuf>,
    #[command(flatten)]
    metrics: MetricsArgs,
}

impl Arguments {
    /// Where the screen is to be, and a microphone and a loudspeaker: the tablet's that
    /// will open it, or this machine's.
    fn sound(&self) -> Result<(Option<Place>, Microphone, Option<Player>), Message> {
        let certificate = self.tls.certificate_to_use();
        if let Some(address) = self.screen.screen
            && self.tablet
            && certificate.is_none()
            && !address.ip().is_loopback()
        {
            return Err(
                "browsers give their microphone to pages over TLS only: give --tls-cert and \
                 --tls-key, the home's own certificate (docs/bedside.md)"
                    .to_owned(),
            );
        }
        let place = |tablet| -> Result<_, Message> {
            let place = self.screen.place()?;
            Ok(place.map(|it| Place {
                certificate,
                tablet,
                ..it
            }))
        };
        if self.tablet {
            let (tablet, microphone, player) = Tablet::new();
            return Ok((place(Some(tablet))?, microphone, Some(player)));
        }
        let microphone = Microphone::open(self.microphone.as_deref()).map_err(message)?;
        let player = if matches!(self.voice.voice, VoiceName::None) {
            None
        } else {
            Some(Player::open(self.speaker.as_deref()).map_err(message)?)
        };
        Ok((place(None)?, microphone, player))
    }
}

/// A live round of an aide in a home, or practice where there is none.
pub fn listen(arguments: &Arguments) -> Result<End, Message> {
    arguments.metrics.open()?;
    let link = recorder_of(arguments.link.as_deref(), arguments.home.as_deref())?;
    let home = arguments.home.as_deref().map(read_home).transpose()?;
    let store = &arguments.store;
    let who = match home {
        Some(home) => {
            let screen = arguments.screen.screen.is_some();
            Some((sign_on(&home, store, &arguments.signed_on, screen)?, home))
        }
        None => None,
    };
    let (place, microphone, player) = arguments.sound()?;
    let tablet = place.as_ref().and_then(|it| it.tablet.clone());
    let mut mouth = mouth(&arguments.voice)?;
    if let Some(player) = player {
        mouth = mouth.with_player(player);
    }
    if let Some(said) = &arguments.said {
        let tee = Tee::create(said).map_err(|error| format!("{}: {error}", said.display()))?;
        mouth = mouth.with_tee(tee);
    }
    let grammar = Grammar::standard();
    let (mut store, dialogue, tutorial, pins) = if let Some((staff, home)) = who {
        let pins = existing(store)?;
        let mut store = vault::start(store)?;
        super::sound::start(&mut store, &home)?;
        let home = residents_with_ranges(&home, &store.readable().map_err(message)?.facts);
        let mut dialogue = Dialogue::for_staff(home, staff, &grammar).map_err(message)?;
        dialogue.set_offsets(super::clock::offsets_here());
        (store, dialogue, None, pins)
    } else {
        let dialogue = Tutorial::dialogue(&grammar).map_err(message)?;
        let tutorial = Tutorial::new(&dialogue, chrono::Local::now().fixed_offset());
        let store = Store::in_memory().map_err(message)?;
        (store, dialogue, Some(tutorial), None)
    };
    let model = model_folder(&arguments.model)?;
    let ear = ear_for(&model, &grammar, dialogue.home()).map_err(message)?;
    let linked = linked(link, store.path())?;
    let aide = dialogue.staff().first().map_or("aide", |it| &it.name);
    let mut screen = LevelBar::new(aide, dialogue.home(), microphone.name());
    let (mut page, touches) = page(place, &dialogue, None, pins)?;
    let mut both;
    let screen: &mut dyn Screen = if let Some(page) = &mut page {
        both = Both(&mut screen, page);
        &mut both
    } else {
        &mut screen
    };
    let mut counted = Counted::new(&dialogue);
    let live = Live {
        dialogue: &dialogue,
        store: &mut store,
        ear,
        microphone,
        mouth,
        screen: &mut Both(screen, &mut counted),
        touches,
        tutorial,
        link: linked.as_ref().map(Linked::status),
    };
    if tablet.is_some() {
        live.screen.microphone_lost(true);
    }
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build();
    let run = runtime.map_err(message)?.block_on(async {
        if let Some(tablet) = tablet {
            wait_for(&tablet).await;
            live.screen.microphone_lost(false);
        }
        live.run().await
    });
    run.map_err(message)?;
    Ok(End::Done)
}

async fn wait_for(tablet: &Tablet) {
    anstream::println!(
        "Open it on the tablet, and press \"Use this device's microphone and loudspeaker\": the \
         round begins then."
    );
    tablet.is_there().await;
}
