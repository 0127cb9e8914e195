//! A sound card that isn't there: a `PulseAudio` server with null sinks, one of
//! which is the microphone and one the loudspeaker.
//!
//! A process can't change its own environment safely, and the sound system is
//! found through it. So a test that uses the sound system itself starts a server
//! and then itself again, as a child that sees that server; the child's part is
//! the ignored test of the same name that ends in `_inside`.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use sayback::hearing::{RATE, write_wav};

const SERVER: &str = "SAYBACK_TEST_SOUND_SERVER";
/// A loudspeaker on another server.
pub const FAR: &str = "far_loudspeaker";

/// A sound server of this test's own, in a folder of its own.
pub struct Server {
    folder: tempfile::TempDir,
    process: Child,
}

impl Server {
    /// A server with a microphone and a loudspeaker.
    pub fn start() -> Self {
        Self::with(&["mic", "speaker"])
    }

    /// A server with a microphone, and another with a loudspeaker that the first
    /// one's programs know as [`FAR`]. When the microphone is taken away, there
    /// is nothing else that the sound system could give in its place.
    pub fn apart() -> (Self, Self) {
        let (mic, speaker) = (Self::with(&["mic"]), Self::with(&["speaker"]));
        let address = address_in(speaker.folder.path());
        mic.configure(&format!(
            "pcm.{FAR} {{ type pulse server \"{address}\" hint {{ show on description {FAR} }} }}"
        ));
        (mic, speaker)
    }

    fn with(sinks: &[&str]) -> Self {
        for tool in ["pulseaudio", "pactl", "paplay", "parec"] {
            let found = Command::new(tool)
                .arg("--version")
                .stdout(Stdio::null())
                .status();
            assert!(
                found.is_ok(),
                "{tool} is missing; the live tests need: apt-get install pulseaudio \
                 pulseaudio-utils libasound2-plugins alsa-utils"
            );
        }
        let folder = tempfile::tempdir().unwrap();
        let mut command = Self::command_in(folder.path(), "pulseaudio");
        let socket = folder.path().join("socket");
        let process = command
            .args([
                "-n",
                "--daemonize=no",
                "--exit-idle-time=60",
                "--log-level=error",
            ])
            .args(["--disable-shm=yes", "--use-pid-file=no"])
            .args([
                "-L",
                &format!("module-native-protocol-unix socket={}", socket.display()),
            ])
            .args(sinks.iter().flat_map(|it| {
                let module = format!("module-null-sink sink_name={it} rate=48000");
                ["-L".to_owned(), module]
            }))
            .stdin(Stdio::null())
            .spawn()
            .unwrap();
        let server = Self { folder, process };
        let up = Instant::now();
        while !server.try_pactl(&["info"]) {
            assert!(
                up.elapsed() < Duration::from_secs(10),
                "the sound server did not start"
            );
            std::thread::sleep(Duration::from_millis(50));
        }
        let inside = server.inside();
        server.configure("");
        for (set, name) in [
            ("set-default-source", "mic.monitor"),
            ("set-default-sink", "speaker"),
        ] {
            if sinks.iter().any(|it| name.starts_with(it)) {
                inside.pactl(&[set, name]);
            }
        }
        server
    }

    /// The settings of programs that know sound cards only, and more of them.
    fn configure(&self, more: &str) {
        let settings =
            format!("pcm.!default {{ type pulse }}\nctl.!default {{ type pulse }}\n{more}\n");
        std::fs::write(self.folder.path().join(".asoundrc"), settings).unwrap();
    }

    /// A command that sees the server in a folder and no other.
    pub fn command_in(folder: &Path, program: &str) -> Command {
        let mut command = Command::new(program);
        command
            .env("HOME", folder)
            .env("XDG_RUNTIME_DIR", folder)
            .env("XDG_CONFIG_HOME", folder)
            .env("PULSE_SERVER", address_in(folder))
            .env("PULSE_COOKIE", folder.join("cookie"))
            // As short as a sound card's; the null sink would take two seconds. With 25 ms
            // it takes no sound for seconds at a time where the machine is busy.
            .env("PULSE_LATENCY_MSEC", "40")
            .env(SERVER, folder);
        command
    }

    pub fn command(&self, program: &str) -> Command {
        Self::command_in(self.folder.path(), program)
    }

    /// The server as a test uses it.
    pub fn inside(&self) -> Inside {
        Inside(self.folder.path().to_owned())
    }

    fn try_pactl(&self, arguments: &[&str]) -> bool {
        let mut command = self.command("pactl");
        command
            .args(arguments)
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        command.status().unwrap().success()
    }

    /// Runs the ignored test with a name in a child that sees this server.
    pub fn run_inside(&self, test: &str) {
        let mut command = self.command(std::env::current_exe().unwrap().to_str().unwrap());
        let mut child = command
            .args([
                "--exact",
                test,
                "--ignored",
                "--nocapture",
                "--test-threads=1",
            ])
            .spawn()
            .unwrap();
        let deadline = Instant::now() + Duration::from_secs(90);
        let status = loop {
            if let Some(status) = child.try_wait().unwrap() {
                break status;
            }
            if Instant::now() > deadline {
                child.kill().unwrap();
                child.wait().unwrap();
                panic!("{test} hangs");
            }
            std::thread::sleep(Duration::from_millis(50));
        };
        assert!(status.success(), "{test} failed; see above");
    }
}

fn address_in(folder: &Path) -> String {
    format!("unix:{}", folder.join("socket").display())
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// The server that the parent started, seen from the child.
pub struct Inside(PathBuf);

impl Inside {
    pub fn get() -> Self {
        Self(PathBuf::from(
            std::env::var_os(SERVER).expect("run by its parent test only"),
        ))
    }

    /// Plays samples into the microphone, in the background.
    pub fn play_into_microphone(&self, name: &str, frames: &[i16]) -> Child {
        let path = self.0.join(name);
        write_wav(&path, RATE, frames).unwrap();
        self.play_file(&path)
    }

    /// Plays a WAV file into the microphone, in the background.
    pub fn play_file(&self, path: &Path) -> Child {
        let mut command = self.command("paplay");
        command.args(["-d", "mic"]).arg(path);
        command.stdin(Stdio::null()).spawn().unwrap()
    }

    /// The server's own folder, for files of a test too.
    pub fn folder(&self) -> &Path {
        &self.0
    }

    /// A command that sees the server.
    pub fn command(&self, program: &str) -> Command {
        Server::command_in(&self.0, program)
    }

    pub fn pactl(&self, arguments: &[&str]) -> String {
        let mut command = self.command("pactl");
        let output = command.args(arguments).output().unwrap();
        assert!(output.status.success(), "pactl {arguments:?}: {output:?}");
        String::from_utf8(output.stdout).unwrap()
    }

    /// The number of the module that is a sink.
    pub fn module_of(&self, sink: &str) -> String {
        let list = self.pactl(&["list", "short", "modules"]);
        let line = list
            .lines()
            .find(|line| line.contains(&format!("sink_name={sink}")));
        line.unwrap().split_whitespace().next().unwrap().to_owned()
    }
}
