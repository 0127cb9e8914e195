//! A `PostgreSQL` server of one's own for tests: Debian's, in a temporary folder, on
//! a port of its own, with TLS by an authority made for it. It stops when the
//! program that started it ends, however that is.

#![allow(dead_code, reason = "each test program uses its own part of this")]

use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::net::TcpListener;
use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _, chown};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{Duration, Instant};

use postgres::{Client, Config, NoTls};
use rustls::pki_types::pem::PemObject as _;
use sayback::sync::{Address, HomeRecord, Link, MemberKind, init};

#[path = "../certified/mod.rs"]
mod certified;

#[allow(unused_imports, reason = "each test program uses its own part of this")]
pub use certified::{certificates, certificates_for, shown};

/// A running server.
pub struct Server {
    folder: PathBuf,
    pub port: u16,
    pub ca: String,
    watch: Mutex<Watch>,
}

struct Watch {
    _child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
}

/// The superuser's name and password there.
pub const SUPERUSER: &str = "keeper_of_all";
pub const SUPERUSER_PASSWORD: &str = "for these tests alone";

fn program(name: &str) -> PathBuf {
    let versions = fs::read_dir("/usr/lib/postgresql").into_iter().flatten();
    let found = versions
        .filter_map(|it| Some(it.ok()?.path().join("bin").join(name)))
        .filter(|it| it.exists());
    found.max().unwrap_or_else(|| {
        panic!("no {name} in /usr/lib/postgresql/*/bin; `make setup-test` installs it")
    })
}

/// How to start a program as whom `PostgreSQL` may run as: never root.
fn as_other(folder: &Path) -> Vec<String> {
    let me = fs::metadata("/proc/self").unwrap().uid();
    if me != 0 {
        return Vec::new();
    }
    let nobody = 65_534;
    chown(folder, Some(nobody), Some(nobody)).unwrap();
    for file in fs::read_dir(folder).unwrap() {
        chown(file.unwrap().path(), Some(nobody), Some(nobody)).unwrap();
    }
    let words = "setpriv --reuid 65534 --regid 65534 --clear-groups --";
    words.split(' ').map(str::to_owned).collect()
}

fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    listener.local_addr().unwrap().port()
}

impl Server {
    /// Starts one.
    pub fn start() -> Self {
        Self::start_with(&[])
    }

    /// Starts one with an authority's certificate, its own, and its key.
    pub fn certified(by: [String; 3]) -> Self {
        Self::begin(by, &[])
    }

    /// Starts one with these settings over the usual ones.
    pub fn start_with(over: &[(&str, &str)]) -> Self {
        Self::begin(certificates(), over)
    }

    fn begin([ca, certificate, key]: [String; 3], over: &[(&str, &str)]) -> Self {
        let folder = tempfile::Builder::new().prefix("sayback-pg-").tempdir();
        let folder = folder.unwrap().keep();
        let write = |name: &str, text: &str| {
            let path = folder.join(name);
            fs::write(&path, text).unwrap();
            fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
        };
        write("server.crt", &certificate);
        write("server.key", &key);
        write("password", SUPERUSER_PASSWORD);
        write("log", "");
        let other = as_other(&folder);
        let run = |name: &str, arguments: &[&str]| {
            let mut words = other.clone();
            words.push(program(name).to_str().unwrap().to_owned());
            let mut command = Command::new(&words[0]);
            command.args(&words[1..]).args(arguments).current_dir("/");
            let done = command.env("LC_ALL", "C").output().unwrap();
            assert!(
                done.status.success(),
                "{}",
                String::from_utf8_lossy(&done.stderr)
            );
        };
        let data = folder.join("data");
        let password = folder.join("password");
        run(
            "initdb",
            &[
                "--no-sync",
                "--encoding=UTF8",
                "--locale=C",
                "--auth-local=trust",
                "--auth-host=scram-sha-256",
                &format!("--username={SUPERUSER}"),
                &format!("--pwfile={}", password.display()),
                &format!("--pgdata={}", data.display()),
            ],
        );
        let doors = "local all all trust\nhostnossl all all all reject\nhostssl all all all scram-sha-256\n";
        fs::write(data.join("pg_hba.conf"), doors).unwrap();
        let port = free_port();
        let set = [
            ("listen_addresses", "127.0.0.1".to_owned()),
            ("port", port.to_string()),
            ("unix_socket_directories", folder.display().to_string()),
            ("ssl", "on".to_owned()),
            (
                "ssl_cert_file",
                folder.join("server.crt").display().to_string(),
            ),
            (
                "ssl_key_file",
                folder.join("server.key").display().to_string(),
            ),
            // Everything that PostgreSQL can be made to log, to look for secrets in.
            ("log_statement", "all".to_owned()),
            ("log_parameter_max_length_on_error", "-1".to_owned()),
            // The server is killed in these tests, the machine is not.
            ("fsync", "off".to_owned()),
        ];
        let mut words = other;
        words.push(program("postgres").to_str().unwrap().to_owned());
        words.extend(["-D".to_owned(), data.display().to_string()]);
        let over = over
            .iter()
            .map(|(name, value)| (*name, (*value).to_owned()));
        // The last one holds.
        for (name, value) in set.into_iter().chain(over) {
            words.extend(["-c".to_owned(), format!("{name}={value}")]);
        }
        let watch = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/postgres/server.sh");
        let mut child = Command::new("sh")
            .arg(watch)
            .arg(&folder)
            .args(&words)
            .current_dir("/")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let (to, from) = (child.stdin.take().unwrap(), child.stdout.take().unwrap());
        let watch = Watch {
            _child: child,
            to,
            from: BufReader::new(from),
        };
        let server = Self {
            folder,
            port,
            ca,
            watch: Mutex::new(watch),
        };
        server.up();
        server
    }

    /// The one that all tests of a program share.
    pub fn shared() -> &'static Self {
        static SHARED: OnceLock<Server> = OnceLock::new();
        SHARED.get_or_init(Self::start)
    }

    fn tell(&self, what: &str) {
        let mut watch = self.watch.lock().unwrap();
        writeln!(watch.to, "{what}").unwrap();
        let mut answer = String::new();
        watch.from.read_line(&mut answer).unwrap();
        assert_eq!(answer, "done\n");
    }

    /// Stops the server as if it were killed.
    pub fn down(&self) {
        self.tell("stop");
    }

    /// Starts it again.
    pub fn up(&self) {
        self.tell("start");
        let started = Instant::now();
        while let Err(error) = self.superuser("postgres") {
            let log = fs::read_to_string(self.folder.join("log")).unwrap_or_default();
            let late = started.elapsed() > Duration::from_secs(60);
            assert!(!late, "the server does not start: {error}\n{log}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// What the server logged.
    pub fn log(&self) -> String {
        fs::read_to_string(self.folder.join("log")).unwrap()
    }

    /// Signs on as the superuser, through the socket.
    pub fn superuser(&self, database: &str) -> Result<Client, postgres::Error> {
        let mut config = Config::new();
        config
            .host_path(&self.folder)
            .port(self.port)
            .user(SUPERUSER);
        config.dbname(database).connect(NoTls)
    }

    /// A database without anything in it, and its name.
    pub fn database(&self) -> String {
        static NEXT: AtomicU32 = AtomicU32::new(1);
        let name = format!("home_{}", NEXT.fetch_add(1, Ordering::Relaxed));
        let mut client = self.superuser("postgres").unwrap();
        client
            .batch_execute(&format!("CREATE DATABASE {name}"))
            .unwrap();
        name
    }

    /// Where it is for those who are enrolled.
    pub fn address(&self, database: &str) -> Address {
        Address {
            host: "localhost".to_owned(),
            port: self.port,
            database: database.to_owned(),
            ca: self.ca.clone(),
        }
    }

    /// A home in a database: the link of its keeper.
    pub fn home(&self, database: &str, id: &str) -> Link {
        // Roles are the server's, and two at once who make them get in each other's way.
        static ONE: Mutex<()> = Mutex::new(());
        let _one = ONE
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        let mut client = self.superuser(database).unwrap();
        let address = self.address(database);
        let name = format!("The home {id}");
        init(&mut client, (id, &name), "the installer", &address)
            .unwrap()
            .0
    }
}

/// Roles are the server's, and two at once who make them get in each other's way.
pub fn one_at_a_time() -> MutexGuard<'static, ()> {
    static ONE: Mutex<()> = Mutex::new(());
    ONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A member of the keeper's home.
pub fn enrol(keeper: &Link, kind: MemberKind, label: &str) -> Link {
    HomeRecord::open(keeper)
        .unwrap()
        .enrol(kind, label)
        .unwrap()
}

/// A connection as a member, for whatever SQL it tries.
pub fn raw(link: &Link) -> Client {
    let mut roots = rustls::RootCertStore::empty();
    let ca = rustls::pki_types::CertificateDer::from_pem_slice(link.ca.as_bytes()).unwrap();
    roots.add(ca).unwrap();
    let ring = std::sync::Arc::new(rustls::crypto::ring::default_provider());
    let tls = rustls::ClientConfig::builder_with_provider(ring);
    let tls = tls.with_safe_default_protocol_versions().unwrap();
    let tls = tls.with_root_certificates(roots).with_no_client_auth();
    let mut config = Config::new();
    config.host(&link.host).port(link.port).user(&link.role);
    config.dbname(&link.database).password(&link.password.0);
    config.ssl_mode(postgres::config::SslMode::Require);
    config
        .connect(tokio_postgres_rustls::MakeRustlsConnect::new(tls))
        .unwrap()
}
