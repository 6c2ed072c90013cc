//! A far end in a process of its own, and the harness's instruments and serial ports at the near end.
//!
//! In: a script of this folder, a rig that names its line as `PORT`. Out: every event of the instruments.

use dutycup::door::clock::SystemClock;
use dutycup::door::instrument::InstrumentEvent;
use dutycup::door::port::serial::SerialPorts;
use dutycup::door::port::{Arrival, Ports};
use dutycup::door::problem::fault::{Fault, FaultCode};
use dutycup::door::run::desk::{Desk, Events};
use dutycup::door::run::readings::Readings;
use dutycup::door::script::rig::Rig;
use dutycup::door::script::rig_file;
use dutycup::door::script::role::Role;
use dutycup::door::script::yaml::Text;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// The rest of a rig, which the tests do not use.
const REST: &str = "
pair: {pump: none, nozzles: [{name: A}], pwm: 1000 Hz, drive_side: low}
limits: {line_pressure: 250 psi, cup_mass: 1 kg, supply: [9 V, 16 V], on_time: 1 min}
watchdog: none
";

/// A far end; ended on drop.
pub(crate) struct FarEnd {
    child: Child,
    port: String,
}

impl FarEnd {
    /// Starts a script of this folder.
    pub(crate) fn start(script: &str) -> FarEnd {
        let python = python().expect("an interpreter with tests/peers/requirements.txt (see .ci/run)");
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/peers");
        let mut child = Command::new(python)
            .arg(folder.join(script))
            .env("PYTHONDONTWRITEBYTECODE", "1")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|e| panic!("{e}"));
        let mut port = String::new();
        let stdout = child.stdout.take().expect("piped");
        BufReader::new(stdout).read_line(&mut port).expect("its line");
        assert!(port.starts_with('/'), "{script} says where its line is: {port:?}");
        let port = port.trim().to_owned();
        FarEnd { child, port }
    }

    /// A rig of this text, with the line's name in place of `PORT`.
    pub(crate) fn rig_text(&self, text: &str) -> String {
        format!("format: 1\nrig: peers\n{text}{REST}").replace("PORT", &self.port)
    }

    /// Plays a rig for a time: sets roles at half of it, and returns what the instruments reported.
    pub(crate) fn play(&self, text: &str, settings: &[(&str, f64)], span: Duration) -> Heard {
        let text = Text::new("peers.yaml", self.rig_text(text));
        let rig = rig_file::read(&text).unwrap_or_else(|e| panic!("{e}"));
        let mut desk = Desk::new(&rig).unwrap_or_else(|e| panic!("{e}"));
        let (mut ports, failed) =
            SerialPorts::open(&rig, SystemClock::start(), Box::new(|_| {})).unwrap_or_else(|e| panic!("{e}"));
        assert!(failed.is_empty(), "{failed:?}");
        let mut out = vec![Vec::new(); desk.len()];
        let (mut events, mut sent) = (Events::new(), Vec::new());
        let mut settings = Some(settings);
        let begin = ports.now();
        desk.start(begin);
        let mut now = begin;
        while now.since(begin) < span {
            if now.since(begin) > span / 2
                && let Some(settings) = settings.take()
            {
                for (role, value) in settings {
                    let role = Role::parse(role).expect("a role");
                    desk.set(&role, *value, &Readings::new(&rig), now).unwrap_or_else(|e| panic!("{e}"));
                }
            }
            desk.advance(now, &mut out, &mut events);
            for (port, bytes) in out.iter_mut().enumerate() {
                ports.send(port, bytes).unwrap_or_else(|e| panic!("{e}"));
                sent.append(bytes);
            }
            now = ports.wait(desk.wake().min(begin + span), &mut |at, arrival| match arrival {
                Arrival::Bytes(port, bytes) => desk.receive(port, at, bytes, &mut events),
                other => panic!("{other:?}"),
            });
        }
        let events = events.into_iter().map(|(_, event)| event).collect();
        Heard { rig, events, sent }
    }
}

impl Drop for FarEnd {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The interpreter, where there is one.
fn python() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os("DUTYCUP_PEERS_PYTHON") {
        return Some(named.into());
    }
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).parent()?;
    Some(target.join("peers/bin/python")).filter(|python| python.exists())
}

/// What was heard.
pub(crate) struct Heard {
    rig: Rig,
    pub(crate) events: Vec<InstrumentEvent>,
    pub(crate) sent: Vec<u8>,
}

impl Heard {
    /// Readings of a role: the instrument's own numbers.
    pub(crate) fn readings(&self, role: &str) -> Vec<f64> {
        let wanted = self.channel(role);
        let reading = |event: &InstrumentEvent| match event {
            InstrumentEvent::Reading { channel, raw, .. } if *channel == wanted => Some(*raw),
            _ => None,
        };
        self.events.iter().filter_map(reading).collect()
    }

    /// Every reading of a role is this value, and there are some.
    #[track_caller]
    pub(crate) fn reads(&self, role: &str, expected: f64) {
        let seen = self.readings(role);
        assert!(seen.len() >= 3, "{role}: {} readings; {:?}", seen.len(), self.faults());
        for value in seen {
            assert!((value - expected).abs() <= 1e-9 * expected.abs(), "{role}: {value} for {expected}");
        }
    }

    /// Whether the command of a role was acknowledged.
    pub(crate) fn told(&self, role: &str) -> bool {
        let wanted = self.channel(role);
        let told =
            |e: &InstrumentEvent| matches!(e, InstrumentEvent::Told { channel, .. } if *channel == wanted);
        self.events.iter().any(told)
    }

    /// Faults in order.
    pub(crate) fn faults(&self) -> Vec<&Fault> {
        fn fault(event: &InstrumentEvent) -> Option<&Fault> {
            match event {
                InstrumentEvent::Fault(fault) => Some(fault),
                _ => None,
            }
        }
        self.events.iter().filter_map(fault).collect()
    }

    /// A fault with this code whose text holds `words`.
    #[track_caller]
    pub(crate) fn fault(&self, code: FaultCode, words: &str) {
        let found = |f: &&Fault| f.code == code && f.to_string().contains(words);
        assert!(
            self.faults().into_iter().any(|f| found(&f)),
            "{code} with {words:?} in {:#?}",
            self.faults()
        );
    }

    /// What the instrument says it is.
    pub(crate) fn identity(&self) -> Option<&str> {
        self.events.iter().find_map(|event| match event {
            InstrumentEvent::Ready { identity } => identity.as_deref(),
            _ => None,
        })
    }

    fn channel(&self, role: &str) -> usize {
        let is = |c: &dutycup::door::script::rig::ChannelSpec| c.role.word() == role;
        self.rig.channels.iter().position(is).expect("a channel of the rig")
    }
}

/// `dutycup check --json` of a rig of this text: exit code, what was found, stderr.
pub(crate) fn check(far: &FarEnd, text: &str) -> (Option<i32>, serde_json::Value, String) {
    let dir = tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"));
    let path = dir.path().join("rig.yaml");
    std::fs::write(&path, far.rig_text(text)).unwrap_or_else(|e| panic!("{e}"));
    let done = Command::new(env!("CARGO_BIN_EXE_dutycup"))
        .arg("check")
        .arg(&path)
        .args(["--seconds", "2", "--json"])
        .stdin(Stdio::null())
        .output()
        .unwrap_or_else(|e| panic!("{e}"));
    assert!(done.status.code().is_some(), "check ended by itself: {}", done.status);
    let found = serde_json::from_slice(&done.stdout).unwrap_or_else(|e| panic!("{e}"));
    (done.status.code(), found, String::from_utf8_lossy(&done.stderr).into_owned())
}

/// The mean that `check` shows for a column; none where nothing was read.
pub(crate) fn mean(found: &serde_json::Value, column: &str) -> Option<f64> {
    let mut channels = found["channels"].as_array().expect("channels").iter();
    let channel = channels.find(|c| c["channel"] == column).expect("the column");
    channel["mean"].as_f64().filter(|_| channel["readings"].as_u64() > Some(0))
}
