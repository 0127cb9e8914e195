//! A tablet as a way in: whatever its page says, and in whatever frames.

use std::future::pending;
use std::io;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::serve::Listener;
use sayback::bedside::{KEY_COOKIE, Tablet, app};
use sayback::hearing::{Microphone, MicrophoneEvent, RATE};
use sayback::speaking::Audio;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, DuplexStream, duplex};
use tokio::sync::mpsc;
use tokio::time::timeout;

use super::web::{KEY, link, runtime};

/// What nobody may make last longer.
const PATIENCE: Duration = Duration::from_secs(10);
const BUFFER: usize = 1 << 20;
/// Sound that is held back until more has come, on either side of what is made of it.
const SLACK: usize = 4_096;
/// Of the sound that is played.
const SAMPLES: u8 = 16;

/// Connections within this program.
struct Ways(mpsc::UnboundedReceiver<DuplexStream>);

impl Listener for Ways {
    type Io = DuplexStream;
    type Addr = ();

    async fn accept(&mut self) -> (DuplexStream, ()) {
        match self.0.recv().await {
            Some(way) => (way, ()),
            None => pending().await,
        }
    }

    fn local_addr(&self) -> io::Result<()> {
        Ok(())
    }
}

/// A frame of a `WebSocket` as a browser sends it (RFC 6455, section 5.2), masked by zeros.
fn frame(kind: u8, payload: &[u8]) -> Vec<u8> {
    let mut frame = vec![FINAL | kind];
    match (u8::try_from(payload.len()), u16::try_from(payload.len())) {
        (Ok(length @ ..=0x7d), _) => frame.push(MASKED | length),
        (_, Ok(length)) => {
            frame.push(MASKED | 0x7e);
            frame.extend(length.to_be_bytes());
        }
        _ => {
            frame.push(MASKED | 0x7f);
            frame.extend((payload.len() as u64).to_be_bytes());
        }
    }
    frame.extend([0; 4]);
    frame.extend(payload);
    frame
}

const FINAL: u8 = 0x80;
const MASKED: u8 = 0x80;
const TEXT: u8 = 1;
const BINARY: u8 = 2;

/// What a page sends once a sound to play is there: each piece begins with a byte that says
/// what it is, and two with its length.
fn pieces(mut data: &[u8]) -> (Vec<u8>, usize) {
    let (mut sent, mut sound) = (Vec::new(), 0);
    while let [kind, low, high, rest @ ..] = data {
        let length = usize::from(u16::from_le_bytes([*low, *high])).min(rest.len());
        let (payload, rest) = rest.split_at(length);
        data = rest;
        sound += length;
        match kind % 8 {
            0 | 1 => sent.extend(frame(TEXT, payload)),
            2 | 3 => sent.extend(frame(BINARY, payload)),
            4 => sent.extend(frame(8 + kind / 8 % 3, payload)),
            5 => sent.extend(frame(kind / 8, payload)),
            // No frame at all.
            _ => sent.extend(payload),
        }
    }
    (sent, sound)
}

/// Asks for the page's end of the sound, and says what the page gives.
async fn knock(way: &mut DuplexStream, hello: &[u8]) -> io::Result<()> {
    let asked = format!(
        "GET /sound HTTP/1.1\r\nhost: 127.0.0.1:8471\r\norigin: http://127.0.0.1:8471\r\n\
         cookie: {KEY_COOKIE}={KEY}\r\nconnection: upgrade\r\nupgrade: websocket\r\n\
         sec-websocket-version: 13\r\nsec-websocket-key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
    );
    way.write_all(asked.as_bytes()).await?;
    way.write_all(&frame(TEXT, hello)).await
}

/// Reads until the sound to play is there: eight bytes, and then its samples.
async fn is_given(way: &mut DuplexStream) -> io::Result<()> {
    let begins = [FINAL | BINARY, 8 + 2 * SAMPLES];
    let mut read = Vec::new();
    while !read.windows(2).any(|it| it == begins) {
        if way.read_buf(&mut read).await? == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
    }
    Ok(())
}

/// Sends this, hangs up, and reads until the other side does.
async fn send(way: &mut DuplexStream, bytes: &[u8]) {
    // Who has been hung up on cannot write to the end.
    let _ = way.write_all(bytes).await;
    let _ = way.shutdown().await;
    let _ = way.read_to_end(&mut Vec::new()).await;
}

/// Hears until a page is lost: how many samples came of it.
async fn hear(microphone: &mut Microphone) -> usize {
    let mut heard = 0;
    loop {
        match microphone.next().await {
            Some(MicrophoneEvent::Frames(frames)) => heard += frames.len(),
            Some(MicrophoneEvent::Back) => {}
            Some(MicrophoneEvent::Lost(_)) | None => return heard,
        }
    }
}

/// A page of a tablet: the first line says what it gives, and the rest what it sends.
/// It is hung up on in time, no more sound comes of it than it sent, what it says of a
/// sound that was played fits when that was, and the next page is heard.
pub fn tablet(data: &[u8]) {
    let end = data.iter().position(|it| *it == b'\n');
    let (hello, rest) = data.split_at(end.unwrap_or(data.len()));
    let (sent, sound) = pieces(rest.get(1..).unwrap_or_default());
    runtime().block_on(async {
        let (_screen, mut link, _given) = link();
        let (tablet, mut microphone, player) = Tablet::new();
        link.tablet = Some(Arc::clone(&tablet));
        let (ways, coming) = mpsc::unbounded_channel();
        let serving = axum::serve(Ways(coming), app(link)).into_future();
        let serving = tokio::spawn(serving);
        let open = || {
            let (here, there) = duplex(BUFFER);
            ways.send(there).expect("somebody answers");
            here
        };

        let mut way = open();
        knock(&mut way, hello).await.expect("room for it");
        let taken = async {
            tokio::select! {
                () = tablet.is_there() => true,
                // It was hung up on.
                () = async { while way.read(&mut [0; 512]).await.is_ok_and(|it| it > 0) {} } => false,
            }
        };
        let taken = timeout(PATIENCE, taken).await.expect("an answer to the hello");
        if taken {
            let before = Instant::now();
            let sound_there = player.play(Audio {
                rate: RATE,
                samples: vec![0; SAMPLES.into()],
            });
            // What is said of it before it is there is of no sound.
            let given = timeout(PATIENCE, is_given(&mut way)).await;
            given.expect("a sound in time").expect("a sound");
            let page = async { tokio::join!(send(&mut way, &sent), hear(&mut microphone)).1 };
            let heard = timeout(PATIENCE, page).await.expect("an end");
            // The lowest rate that is taken is half of what is heard.
            assert!(heard <= sound + SLACK, "{heard} samples of {sound} bytes");
            let ended = tokio::task::spawn_blocking(|| sound_there.wait()).await;
            if let Ok(played) = ended.expect("no panic") {
                assert!(before <= played.first && played.first <= played.last);
                assert!(played.last <= Instant::now());
            }
        }

        let mut way = open();
        let hello = format!("{{\"rate\":{RATE}}}");
        knock(&mut way, hello.as_bytes()).await.expect("room for it");
        let silence = frame(BINARY, &[0; 3_200]);
        let page = async { tokio::join!(send(&mut way, &silence), hear(&mut microphone)).1 };
        let heard = timeout(PATIENCE, page).await.expect("the next page is heard");
        assert_eq!(heard, 1_600);
        serving.abort();
    });
}
