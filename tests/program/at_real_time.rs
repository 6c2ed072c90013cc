//! The whole path over pseudo-terminals, at real time: the longest test of this program, so the first in the alphabet.

use crate::whole_path::{dutycup, scratch, text};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// `emulate` serving in the background; ended on drop.
struct Emulated(Child, PathBuf);

impl Emulated {
    fn start(name: &str) -> Self {
        let ports = scratch(name);
        let child = Command::new(env!("CARGO_BIN_EXE_dutycup"))
            .args(["emulate", "rigs/virtual.yaml", "--seed", "7", "--ports", &ports.display().to_string()])
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("emulate starts");
        let emulated = Emulated(child, ports);
        for _ in 0..6000 {
            if emulated.1.join("rig.yaml").exists() {
                return emulated;
            }
            #[expect(
                clippy::disallowed_methods,
                reason = "a pseudo-terminal is the subject; it has to come up"
            )]
            std::thread::sleep(std::time::Duration::from_millis(10));
        }
        panic!("emulate did not write rig.yaml");
    }

    /// Ends it as Ctrl-C would, and returns what it printed.
    fn end(mut self) -> String {
        let pid = rustix::process::Pid::from_child(&self.0);
        rustix::process::kill_process(pid, rustix::process::Signal::INT).expect("signal");
        let mut out = String::new();
        std::io::Read::read_to_string(&mut self.0.stdout.take().expect("stdout"), &mut out)
            .expect("readable");
        let _ = self.0.wait();
        out
    }
}

impl Drop for Emulated {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Duty, flow and U of a `duty_flow.csv`.
fn curve(dir: &Path) -> Vec<(f64, f64, f64)> {
    let text = fs::read_to_string(dir.join("duty_flow.csv")).expect("duty_flow.csv");
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |i: usize| cells[i].parse::<f64>().expect("a number");
        (number(1), number(2), number(3))
    };
    text.lines().skip(1).map(row).collect()
}

/// The scenario shortened for real time.
const SHORT: [&str; 20] = [
    "--set",
    "dwell=2 s",
    "--set",
    "repeats=1",
    "--set",
    "duties=25 %, 60 %, 100 %",
    "--set",
    "window=1 s",
    "--set",
    "prime=3 s",
    "--set",
    "zero=2 s",
    "--set",
    "rest=1 s",
    "--set",
    "ramp=4 s",
    "--set",
    "weighed=60 %",
    "--seed",
    "7",
];

#[test]
fn the_same_code_drives_pseudo_terminals_in_real_time() {
    let bench = Emulated::start("ports");
    let (over, inside) = (scratch("over-ports"), scratch("in-process"));
    let run = |dir: &Path, more: &[&str]| {
        let out = dir.display().to_string();
        let output =
            dutycup(&[&["run", "scenarios/pump-and-nozzle.yaml", "--out", &out], &SHORT[..], more].concat());
        assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    };
    let rig = bench.1.join("rig.yaml").display().to_string();
    run(&over, &["--rig", &rig, "--arm", "virtual"]);
    run(&inside, &[]);
    let (a, b) = (curve(&over), curve(&inside));
    assert_eq!(a.len(), b.len());
    let apart = a.iter().zip(&b).filter(|(a, b)| (a.1 - b.1).abs() > a.2.hypot(b.2)).count();
    println!("{apart} of {} duties differ by more than U of the difference", a.len());
    assert!(20 * apart <= a.len(), "{apart} of {} duties differ", a.len());
    let line = bench.end();
    let end: serde_json::Value = serde_json::from_str(&line).unwrap_or_else(|e| panic!("{e}: {line}"));
    let longest_ms = end["longest_on_after_last_heartbeat_ms"].as_f64().expect("a time");
    println!("pump on at most {longest_ms} ms after the last heartbeat");
    assert!(longest_ms < 500.0, "{line}");
}

#[test]
fn a_bench_with_ports_is_not_energised_unasked() {
    let bench = Emulated::start("ports-unarmed");
    let dir = scratch("unarmed");
    let rig = bench.1.join("rig.yaml").display().to_string();
    let output = dutycup(&[
        "run",
        "scenarios/pump-and-nozzle.yaml",
        "--rig",
        &rig,
        "--out",
        &dir.display().to_string(),
    ]);
    assert_eq!(output.status.code(), Some(2), "{}", text(&output.stderr));
    assert!(!dir.exists(), "nothing was begun");
    drop(bench);
}
