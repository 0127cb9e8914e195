//! More connections than a page takes.

use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::time::{Duration, Instant};

use sayback::review::MOST_CONNECTIONS;

/// Fewer than a connection may be silent, which would free its place.
const WAIT: Duration = Duration::from_secs(10);

/// A connection that asked for something small, and stays open after the answer.
fn come(at: SocketAddr) -> TcpStream {
    let mut stream = TcpStream::connect(at).unwrap();
    stream.set_read_timeout(Some(WAIT)).unwrap();
    // Who is hung up on may learn of it here already.
    let _ = stream.write_all(b"GET /style.css HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n");
    stream
}

fn is_answered(stream: &mut TcpStream) -> bool {
    let mut status = [0; 12];
    let read = stream.read_exact(&mut status);
    read.is_ok() && status == *b"HTTP/1.1 200"
}

/// Takes every place that a page has, and sees that one more is refused until a place
/// is free again.
pub fn takes_every_place(at: SocketAddr) {
    let mut all: Vec<_> = (0..MOST_CONNECTIONS).map(|_| come(at)).collect();
    assert!(all.iter_mut().all(is_answered), "there is a place for each");
    assert!(!is_answered(&mut come(at)), "one too many is let in");
    all.pop();
    let until = Instant::now() + WAIT;
    while !is_answered(&mut come(at)) {
        assert!(Instant::now() < until, "the place is never free again");
        std::thread::sleep(Duration::from_millis(20));
    }
}
