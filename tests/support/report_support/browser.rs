//! A browser without a window, driven over its debugging pipe: no port is opened and nothing is fetched.
//!
//! In: requests of the DevTools protocol. Out: their results. Never: a browser left running; a wait without an end.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

/// The longest that one answer may take.
const PATIENCE: Duration = Duration::from_secs(90);

/// Names under which browsers of this kind are installed.
const NAMES: &[&str] = &["chromium", "chromium-browser", "google-chrome", "google-chrome-stable"];

/// A running browser with one page.
pub(crate) struct Browser {
    child: Child,
    input: Option<ChildStdin>,
    answers: Receiver<Value>,
    next: u64,
    session: Option<String>,
    /// Addresses that the page asked for.
    pub(crate) requested: Vec<String>,
    _profile: tempfile::TempDir,
}

/// The browser to use: `DUTYCUP_BROWSER`, or the first that is installed.
pub(crate) fn installed() -> Option<String> {
    let named = std::env::var("DUTYCUP_BROWSER").ok();
    let runs = |name: &String| {
        let version = Command::new(name).arg("--version").stderr(Stdio::null()).output();
        version.is_ok_and(|o| o.status.success())
    };
    named.into_iter().chain(NAMES.iter().map(|n| (*n).to_owned())).find(runs)
}

impl Browser {
    /// Starts it with a fresh profile.
    pub(crate) fn start(name: &str) -> Browser {
        let profile = tempfile::tempdir().expect("a folder for the profile");
        // The browser speaks on descriptors 3 and 4; the shell hands it ours there and is replaced by it.
        let mut child = Command::new("sh")
            .arg("-c")
            .arg("exec \"$0\" \"$@\" 3<&0 4>&1 </dev/null >/dev/null 2>&1")
            .arg(name)
            .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"])
            .args(["--disable-background-networking", "--disable-component-update", "--disable-sync"])
            .arg("--remote-debugging-pipe")
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("a shell");
        let input = child.stdin.take();
        let output = child.stdout.take().expect("a pipe");
        let (sender, answers) = channel();
        std::thread::spawn(move || {
            for message in BufReader::new(output).split(0).map_while(Result::ok) {
                let parsed = serde_json::from_slice(&message).unwrap_or(Value::Null);
                if sender.send(parsed).is_err() {
                    break;
                }
            }
        });
        let mut browser = Browser {
            child,
            input,
            answers,
            next: 0,
            session: None,
            requested: Vec::new(),
            _profile: profile,
        };
        let target = browser.call("Target.createTarget", json!({"url": "about:blank"}));
        let attached =
            browser.call("Target.attachToTarget", json!({"targetId": target["targetId"], "flatten": true}));
        browser.session = attached["sessionId"].as_str().map(str::to_owned);
        browser.call("Page.enable", json!({}));
        browser.call("Network.enable", json!({}));
        browser
    }

    /// Asks for something and waits for the answer.
    pub(crate) fn call(&mut self, method: &str, parameters: Value) -> Value {
        self.next += 1;
        let id = self.next;
        let mut request = json!({"id": id, "method": method, "params": parameters});
        if let Some(session) = &self.session {
            request["sessionId"] = json!(session);
        }
        let input = self.input.as_mut().expect("the browser runs");
        input.write_all(format!("{request}\0").as_bytes()).expect("the browser listens");
        input.flush().expect("the browser listens");
        loop {
            let message = self.answers.recv_timeout(PATIENCE).expect("the browser answers");
            if message["method"] == "Network.requestWillBeSent" {
                let url = message["params"]["request"]["url"].as_str().unwrap_or_default();
                self.requested.push(url.to_owned());
            }
            if message["id"] == json!(id) {
                assert!(message["error"].is_null(), "{method}: {}", message["error"]);
                return message["result"].clone();
            }
        }
    }

    /// The value of an expression on the page.
    pub(crate) fn evaluate(&mut self, expression: &str) -> Value {
        let result = self.call(
            "Runtime.evaluate",
            json!({"expression": expression, "returnByValue": true, "awaitPromise": true}),
        );
        assert!(result["exceptionDetails"].is_null(), "{}", result["exceptionDetails"]);
        result["result"]["value"].clone()
    }

    /// Shows a file at a width, in light or dark, on screen or as printed.
    pub(crate) fn show(&mut self, path: &str, width: u32, scheme: &str, media: &str) {
        let features = json!([{"name": "prefers-color-scheme", "value": scheme}]);
        self.call("Emulation.setEmulatedMedia", json!({"media": media, "features": features}));
        self.call(
            "Emulation.setDeviceMetricsOverride",
            json!({"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}),
        );
        self.call("Page.navigate", json!({"url": format!("file://{path}")}));
        let ready = "new Promise(done => document.readyState == 'complete' ? done(location.href) : \
                     addEventListener('load', () => done(location.href)))";
        while !self.evaluate(ready).as_str().is_some_and(|url| url.ends_with(path)) {}
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // Without its input the browser ends; what does not is ended.
        self.input = None;
        while let Ok(_late) = self.answers.recv_timeout(Duration::from_secs(10)) {}
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
