//! A network in between, that can be cut.

use std::io::{Read as _, Write as _};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU32, Ordering};

/// Passes everything on, to a port of this machine, until so many bytes have gone.
pub struct Proxy {
    pub port: u16,
    /// How many bytes still go through, both ways; then what is open is cut off in
    /// the middle.
    left: Arc<AtomicI64>,
    pub cuts: Arc<AtomicU32>,
}

impl Proxy {
    /// One through which everything goes.
    pub fn to(port: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let proxy = Self {
            port: listener.local_addr().unwrap().port(),
            left: Arc::new(AtomicI64::new(i64::MAX)),
            cuts: Arc::default(),
        };
        let (left, cuts) = (Arc::clone(&proxy.left), Arc::clone(&proxy.cuts));
        std::thread::spawn(move || {
            for from in listener.incoming() {
                let from = from.unwrap();
                let Ok(to) = TcpStream::connect(("127.0.0.1", port)) else {
                    continue;
                };
                for (from, to) in [
                    (from.try_clone().unwrap(), to.try_clone().unwrap()),
                    (to, from),
                ] {
                    let (left, cuts) = (Arc::clone(&left), Arc::clone(&cuts));
                    std::thread::spawn(move || pass(from, to, &left, &cuts));
                }
            }
        });
        proxy
    }

    /// Cuts off what is open after so many bytes more.
    pub fn cut_after(&self, bytes: i64) {
        self.left.store(bytes, Ordering::SeqCst);
    }

    /// Lets everything through.
    pub fn mend(&self) {
        self.cut_after(i64::MAX);
    }
}

fn pass(mut from: TcpStream, mut to: TcpStream, left: &AtomicI64, cuts: &AtomicU32) {
    let mut buffer = [0; 512];
    while let Ok(read @ 1..) = from.read(&mut buffer) {
        let go = i64::try_from(read).unwrap();
        let before = left.fetch_sub(go, Ordering::SeqCst);
        let goes = usize::try_from(before.clamp(0, go)).unwrap();
        if to.write_all(&buffer[..goes]).is_err() {
            break;
        }
        if goes < read {
            cuts.fetch_add(1, Ordering::SeqCst);
            break;
        }
    }
    let _ = from.shutdown(Shutdown::Both);
    let _ = to.shutdown(Shutdown::Both);
}
