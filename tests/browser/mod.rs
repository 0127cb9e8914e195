//! A real Chromium, driven through chromedriver over the `WebDriver` protocol
//! (W3C): a few requests of JSON over a local connection, so that the tests
//! need no client of their own.

#![allow(dead_code, reason = "each test uses a part of it")]

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;

const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";
const PATIENCE: Duration = Duration::from_secs(10);
/// The longest that chromedriver takes to answer; a browser is slow to start.
const ANSWER: Duration = Duration::from_secs(120);

pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
    profile: TempDir,
}

/// How the page is looked at.
#[derive(Clone, Copy)]
pub struct Look {
    pub dark: bool,
    pub width: u32,
    pub height: u32,
}

pub const DESK: Look = Look {
    dark: false,
    width: 1280,
    height: 900,
};
pub const NIGHT: Look = Look { dark: true, ..DESK };
/// A phone: what is measured and pictured is what it would show.
pub const HAND: Look = Look {
    dark: false,
    width: 390,
    height: 844,
};

impl Browser {
    /// A browser. A machine without one has not run these tests, so that they
    /// fail there rather than pass.
    pub fn open(look: Look) -> Self {
        Self::driven_by(Command::new("chromedriver"), look, &[])
    }

    /// A browser that gives its microphone to whoever asks. Its sound system is the one
    /// that this command for chromedriver sees.
    pub fn with_sound(driver: Command) -> Self {
        Self::driven_by(driver, DESK, &["--use-fake-ui-for-media-stream"])
    }

    fn driven_by(mut driver: Command, look: Look, more: &[&str]) -> Self {
        let mut driver = driver
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|error| {
                panic!("chromedriver cannot be started ({error}); run setup/setup.sh --test")
            });
        // It says which port it has taken.
        let mut said = BufReader::new(driver.stdout.take().unwrap()).lines();
        let port = said.by_ref().map_while(Result::ok).find_map(|line| {
            let (_, port) = line.split_once("started successfully on port ")?;
            port.trim_end_matches('.').parse().ok()
        });
        let port = port.expect("chromedriver has a port");
        std::thread::spawn(move || said.for_each(drop));
        let profile = tempfile::tempdir().unwrap();
        let mut browser = Self {
            driver,
            port,
            session: String::new(),
            profile,
        };
        browser.wait(|it| it.call("GET", "/status", &json!(null))["ready"] == true);
        let mut arguments = vec![
            "--headless".to_owned(),
            "--no-sandbox".into(),
            "--disable-gpu".into(),
            "--disable-quic".into(),
            "--no-first-run".into(),
            "--disable-background-networking".into(),
            "--disable-component-update".into(),
            "--disable-sync".into(),
            "--disable-dev-shm-usage".into(),
            "--hide-scrollbars".into(),
            // One process for all pages of a place: most of a page's time was its process's start.
            "--process-per-site".into(),
            format!("--window-size={},{}", look.width, look.height),
            format!("--user-data-dir={}", browser.profile.path().display()),
        ];
        arguments.extend(more.iter().map(ToString::to_string));
        if look.dark {
            arguments.push("--blink-settings=preferredColorScheme=0".into());
        }
        let wanted = json!({ "capabilities": { "alwaysMatch": {
            "acceptInsecureCerts": true,
            "goog:chromeOptions": { "args": arguments },
            "goog:loggingPrefs": { "browser": "ALL" },
        } } });
        let made = browser.call("POST", "/session", &wanted);
        let session = made["sessionId"].as_str();
        let session = session.unwrap_or_else(|| {
            panic!("chromedriver has no browser ({made}); run setup/setup.sh --test")
        });
        session.clone_into(&mut browser.session);
        if look.width < 600 {
            browser.size(look.width, look.height);
        }
        browser
    }

    fn call(&self, method: &str, path: &str, body: &Value) -> Value {
        let address = SocketAddr::from(([127, 0, 0, 1], self.port));
        let Ok(mut stream) = TcpStream::connect(address) else {
            return Value::Null;
        };
        stream.set_read_timeout(Some(ANSWER)).unwrap();
        let body = if body.is_null() {
            String::new()
        } else {
            body.to_string()
        };
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nHost: {address}\r\nContent-Type: application/json\r\n\
             Content-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        )
        .unwrap();
        let mut answer = BufReader::new(stream);
        let mut length = 0;
        loop {
            let mut line = String::new();
            answer.read_line(&mut line).unwrap();
            let line = line.trim().to_lowercase();
            if line.is_empty() {
                break;
            }
            if let Some(value) = line.strip_prefix("content-length:") {
                length = value.trim().parse().unwrap();
            }
        }
        let mut body = vec![0; length];
        answer.read_exact(&mut body).unwrap();
        let mut answer: Value = serde_json::from_slice(&body).unwrap();
        answer["value"].take()
    }

    fn ask(&self, method: &str, path: &str, body: &Value) -> Value {
        let path = format!("/session/{}{path}", self.session);
        self.call(method, &path, body)
    }

    /// Waits until something is so.
    pub fn wait(&self, so: impl Fn(&Self) -> bool) {
        let until = Instant::now() + PATIENCE;
        while !so(self) {
            assert!(
                Instant::now() < until,
                "waited in vain: {}",
                self.text("body")
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    pub fn go(&self, address: &str) {
        self.ask("POST", "/url", &json!({ "url": address }));
    }

    /// Goes on in another tab; those before stay open.
    pub fn another_tab(&self) {
        let made = self.ask("POST", "/window/new", &json!({ "type": "tab" }));
        self.ask("POST", "/window", &json!({ "handle": made["handle"] }));
    }

    pub fn address(&self) -> String {
        self.ask("GET", "/url", &json!(null))
            .as_str()
            .unwrap_or_default()
            .to_owned()
    }

    fn element(&self, css: &str) -> Option<String> {
        let found = self.ask(
            "POST",
            "/element",
            &json!({ "using": "css selector", "value": css }),
        );
        found[ELEMENT].as_str().map(ToOwned::to_owned)
    }

    pub fn text(&self, css: &str) -> String {
        let element = self.element(css);
        let text = element.map(|it| self.ask("GET", &format!("/element/{it}/text"), &json!(null)));
        text.and_then(|it| it.as_str().map(ToOwned::to_owned))
            .unwrap_or_default()
    }

    pub fn click(&self, css: &str) {
        let element = self
            .element(css)
            .unwrap_or_else(|| panic!("no {css} at {}", self.address()));
        let done = self.ask("POST", &format!("/element/{element}/click"), &json!({}));
        assert!(done["error"].is_null(), "{css}: {done}");
    }

    pub fn fill(&self, css: &str, text: &str) {
        let element = self
            .element(css)
            .unwrap_or_else(|| panic!("no {css} at {}", self.address()));
        self.ask("POST", &format!("/element/{element}/clear"), &json!({}));
        let done = self.ask(
            "POST",
            &format!("/element/{element}/value"),
            &json!({ "text": text }),
        );
        assert!(done["error"].is_null(), "{css}: {done}");
    }

    /// Presses one key, wherever the focus is.
    pub fn press(&self, key: &str) {
        let keys = json!({ "actions": [{ "type": "key", "id": "keys", "actions": [
            { "type": "keyDown", "value": key }, { "type": "keyUp", "value": key },
        ] }] });
        self.ask("POST", "/actions", &keys);
    }

    pub fn run(&self, script: &str) -> Value {
        self.ask(
            "POST",
            "/execute/sync",
            &json!({ "script": script, "args": [] }),
        )
    }

    /// What an outside checker of accessibility (axe-core) finds serious, as
    /// lines; it needs no network.
    pub fn barriers(&self) -> Vec<String> {
        let axe = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/axe/axe.min.js");
        let script = std::fs::read_to_string(&axe).unwrap_or_else(|error| {
            panic!(
                "{} cannot be read ({error}); run: make setup-test",
                axe.display()
            )
        });
        if self.run("return !window.axe") == true {
            self.run(&script);
        }
        let check = "const done = arguments[arguments.length - 1];
            axe.run({ resultTypes: ['violations'] }).then(it => done(it.violations
              .filter(it => ['serious', 'critical'].includes(it.impact))
              .map(it => it.id + ': ' + it.nodes.map(it => it.html).slice(0, 3).join(' '))))
            .catch(it => done(['' + it]));";
        let found = json!({ "script": check, "args": [] });
        let found = self.ask("POST", "/execute/async", &found);
        let lines = found.as_array().unwrap_or_else(|| panic!("{found}"));
        lines.iter().map(ToString::to_string).collect()
    }

    /// Every cookie, those that scripts don't see included.
    pub fn cookies(&self) -> Vec<Value> {
        let all = self.ask("GET", "/cookie", &json!(null));
        all.as_array().cloned().unwrap_or_default()
    }

    /// What the browser complained of: a refused script or style, an error.
    pub fn complaints(&self) -> Vec<String> {
        let log = self.ask("POST", "/se/log", &json!({ "type": "browser" }));
        let lines = log.as_array().cloned().unwrap_or_default();
        lines
            .iter()
            .filter_map(|it| it["message"].as_str().map(ToOwned::to_owned))
            .collect()
    }

    /// Looks at the page through a window of exactly this size, as that of a
    /// phone, which no window of a desk is as small as.
    pub fn size(&self, width: u32, height: u32) {
        let metrics = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600 });
        let command = json!({ "cmd": "Emulation.setDeviceMetricsOverride", "params": metrics });
        self.ask("POST", "/goog/cdp/execute", &command);
    }

    /// How many sheets of this size, in centimetres, the page prints on.
    pub fn sheets(&self, width: f64, height: f64) -> usize {
        let page = json!({ "page": { "width": width, "height": height } });
        let printed = self.ask("POST", "/print", &page);
        let pdf = base64(printed.as_str().unwrap_or_default());
        let pdf = String::from_utf8_lossy(&pdf);
        pdf.matches("/Type /Page\n").count()
    }

    /// A picture of what is in the window.
    pub fn snap(&self, to: &Path) {
        let picture = self.ask("GET", "/screenshot", &json!(null));
        std::fs::write(to, base64(picture.as_str().unwrap_or_default())).unwrap();
    }

    /// A picture in the folder `SAYBACK_PICTURES`, where that is set.
    pub fn pictured(&self, name: &str) {
        if let Some(folder) = std::env::var_os("SAYBACK_PICTURES") {
            let folder = std::path::PathBuf::from(folder);
            std::fs::create_dir_all(&folder).unwrap();
            self.picture(&folder.join(format!("{name}.png")));
        }
    }

    /// A picture of the whole page.
    pub fn picture(&self, to: &Path) {
        let whole = json!({ "captureBeyondViewport": true });
        let command = json!({ "cmd": "Page.captureScreenshot", "params": whole });
        let picture = self.ask("POST", "/goog/cdp/execute", &command);
        let bytes = base64(picture["data"].as_str().unwrap_or_default());
        std::fs::write(to, bytes).unwrap();
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        self.ask("DELETE", "", &json!(null));
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

fn base64(text: &str) -> Vec<u8> {
    let digit = |it: u8| match it {
        b'A'..=b'Z' => it - b'A',
        b'a'..=b'z' => it - b'a' + 26,
        b'0'..=b'9' => it - b'0' + 52,
        b'+' => 62,
        _ => 63,
    };
    let mut bytes = Vec::with_capacity(text.len() * 3 / 4);
    for four in text.trim_end_matches('=').as_bytes().chunks(4) {
        let bits = four
            .iter()
            .fold(0_u32, |bits, it| bits << 6 | u32::from(digit(*it)));
        let bits = bits << (6 * (4 - four.len()));
        bytes.extend(&bits.to_be_bytes()[1..four.len()]);
    }
    bytes
}
