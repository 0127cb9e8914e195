//! Nothing goes out but over TLS to the home's own server.

use std::io::{Read as _, Write as _};
use std::net::TcpListener;

use sayback::sync::{Password, SyncError};

use super::*;

#[test]
fn another_authority_is_refused() {
    let aspen = Aspen::new();
    let [other, ..] = postgres_server::certificates();
    let link = Link {
        ca: other,
        ..aspen.recorder
    };
    let error = HomeRecord::open(&link).err().unwrap();
    assert!(matches!(error, SyncError::NotTheHome(_)), "{error:?}");
    assert!(error.to_string().contains("certificate"), "{error}");
}

#[test]
fn a_certificate_for_another_host_is_refused() {
    let aspen = Aspen::new();
    // The same machine by a name that the certificate does not have.
    let link = Link {
        host: "127.0.0.2".to_owned(),
        ..aspen.recorder.clone()
    };
    let listener = TcpListener::bind(("127.0.0.2", 0)).unwrap();
    let port = listener.local_addr().unwrap().port();
    let to = aspen.recorder.port;
    std::thread::spawn(move || {
        let (mut from, _) = listener.accept().unwrap();
        let mut to = std::net::TcpStream::connect(("127.0.0.1", to)).unwrap();
        let (mut back, mut forth) = (from.try_clone().unwrap(), to.try_clone().unwrap());
        std::thread::spawn(move || std::io::copy(&mut forth, &mut back));
        let _ = std::io::copy(&mut from, &mut to);
    });
    let error = HomeRecord::open(&Link { port, ..link }).err().unwrap();
    assert!(matches!(error, SyncError::NotTheHome(_)), "{error:?}");
}

/// Opens a link to someone who answers the wish for TLS with this letter: what is wrong
/// with it, and what was said to them then.
fn answered(letter: u8, link: Link) -> (SyncError, Vec<u8>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let heard = std::thread::spawn(move || {
        let (mut from, _) = listener.accept().unwrap();
        from.read_exact(&mut [0; 8]).unwrap();
        from.write_all(&[letter]).unwrap();
        let mut rest = [0; 2000];
        let length = from.read(&mut rest).unwrap_or_default();
        rest[..length].to_vec()
    });
    let link = Link {
        host: "127.0.0.1".to_owned(),
        port,
        ..link
    };
    let error = HomeRecord::open(&link).err().unwrap();
    (error, heard.join().unwrap())
}

/// Someone in between who takes TLS away learns not even who wanted to sign on.
#[test]
fn plain_text_is_refused_before_anything_is_said() {
    let (error, heard) = answered(b'N', Aspen::new().recorder);
    assert!(matches!(error, SyncError::NotTheHome(_)), "{error:?}");
    assert!(error.to_string().contains("no TLS"), "{error}");
    assert_eq!(heard, b"");
}

/// What a recorder offers is TLS 1.3 and 1.2, and a server that can do no better than
/// 1.1 is told nothing.
#[test]
fn tls_before_1_2_is_neither_offered_nor_taken() {
    let (_, hello) = answered(b'S', Aspen::new().recorder);
    // The extension supported_versions: its number, its length, that of its list, each.
    let versions = [0, 0x2b, 0, 5, 4, 3, 4, 3, 3];
    assert!(hello.windows(9).any(|it| it == versions), "{hello:02x?}");

    let server = Server::start_with(&[
        ("ssl_ciphers", "ALL:@SECLEVEL=0"),
        ("ssl_min_protocol_version", "TLSv1"),
    ]);
    let aspen = Aspen::on(&server);
    for (newest, taken) in [("TLSv1.1", false), ("TLSv1.2", true), ("TLSv1.3", true)] {
        let mut superuser = server.superuser("postgres").unwrap();
        let set = format!("ALTER SYSTEM SET ssl_max_protocol_version = '{newest}'");
        superuser.batch_execute(&set).unwrap();
        superuser.batch_execute("SELECT pg_reload_conf()").unwrap();
        let speaks = || speaks(aspen.recorder.port, newest);
        assert!((0..50).any(|_| speaks()), "the server speaks {newest}");
        match HomeRecord::open(&aspen.recorder) {
            Ok(_) => assert!(taken, "{newest}"),
            Err(error) => {
                assert!(!taken, "{newest}: {error}");
                assert!(error.to_string().contains("no TLS of 1.2"), "{error}");
            }
        }
    }
}

/// Whether a server of `PostgreSQL` and one that knows how shake hands by this version,
/// which is then its newest.
fn speaks(port: u16, version: &str) -> bool {
    std::thread::sleep(std::time::Duration::from_millis(100));
    let mut client = std::process::Command::new("openssl");
    client.args(["s_client", "-starttls", "postgres", "-brief"]);
    client.args(["-cipher", "ALL:@SECLEVEL=0", "-min_protocol", "TLSv1"]);
    let client = client.arg("-connect").arg(format!("127.0.0.1:{port}"));
    let told = client.stdin(std::process::Stdio::null()).output().unwrap();
    let told = String::from_utf8_lossy(&told.stderr).into_owned();
    told.contains(&format!("Protocol version: {version}\n"))
}

#[test]
fn the_server_takes_no_plain_text_and_no_wrong_password() {
    let aspen = Aspen::new();
    let mut plain = postgres::Config::new();
    plain.host("127.0.0.1").port(aspen.recorder.port);
    plain.user(&aspen.recorder.role).dbname(&aspen.database);
    plain.password(&aspen.recorder.password.0);
    let refused = plain.connect(postgres::NoTls).err().unwrap();
    assert!(
        format!("{refused:?}").contains("rejects connection"),
        "{refused:?}"
    );
    let link = Link {
        password: Password("another".to_owned()),
        ..aspen.recorder
    };
    let error = HomeRecord::open(&link).err().unwrap();
    assert!(matches!(error, SyncError::CutOff(_)), "{error:?}");
}

#[test]
fn no_password_is_in_the_servers_log_nor_in_what_is_shown() {
    let aspen = Aspen::new();
    open(&aspen.recorder)
        .put(&[sent(&note(1, "secret remark"))])
        .unwrap();
    let mut wrong = sent(&note(2, "secret remark"));
    wrong.fact.truncate(60);
    open(&aspen.recorder).put(&[wrong]).unwrap_err();
    let log = Server::shared().log();
    assert!(log.contains("sayback.put"), "all is logged");
    for link in [&aspen.recorder, &aspen.station, &aspen.keeper] {
        assert!(!log.contains(&link.password.0));
        assert!(!format!("{link:?}").contains(&link.password.0));
    }
}

#[test]
fn a_link_file_is_its_owners_alone_or_not_used() {
    use std::os::unix::fs::PermissionsExt as _;
    let aspen = Aspen::new();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("link.toml");
    aspen.recorder.write(&path).unwrap();
    let mode = |path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&path), 0o600);
    assert_eq!(Link::read(&path).unwrap(), aspen.recorder);
    let over = aspen.station.write(&path).unwrap_err();
    assert!(over.to_string().contains("exists"), "{over}");
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o640)).unwrap();
    let error = Link::read(&path).unwrap_err().to_string();
    assert!(error.contains("chmod 600"), "{error}");
    let text = std::fs::read_to_string(&path).unwrap();
    let bad = text.replace("\nport = ", "\nport = x");
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600)).unwrap();
    std::fs::write(&path, bad).unwrap();
    let error = Link::read(&path).unwrap_err().to_string();
    assert!(error.contains("no link file"), "{error}");
    assert!(!error.contains(&aspen.recorder.password.0));
}

/// What docs/home.md tells an installer to type makes certificates that are believed.
#[test]
fn the_certificates_of_the_manual_are_believed() {
    let manual = include_str!("../../docs/home.md");
    let from = manual.find("openssl req -x509").unwrap();
    let to = from + manual[from..].find("install -o postgres").unwrap();
    let commands = manual[from..to].replace("station.home.lan", "localhost");
    let folder = tempfile::tempdir().unwrap();
    let mut shell = std::process::Command::new("sh");
    let made = shell.args(["-ec", &commands]).current_dir(folder.path());
    let made = made.output().unwrap();
    assert!(
        made.status.success(),
        "{}",
        String::from_utf8_lossy(&made.stderr)
    );
    let text = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
    let server = Server::certified(["ca.pem", "server.crt", "server.key"].map(text));
    let aspen = Aspen::on(&server);
    open(&aspen.recorder).put(&[sent(&note(1, "x"))]).unwrap();
}
