//! What happens to a bench when the process, its cables or its neighbours misbehave: signals, kills, vanished ports, a
//! second run. On pseudo-terminals at real time; the pump's truth comes from `emulate`, from outside the program.

use dutycup::door::record::RunFolder;
use rustix::process::{Pid, Signal, kill_process};
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// The scenario, shortened so that the pump runs within a few seconds.
const SHORT: [&str; 12] = [
    "--set",
    "prime=20 s",
    "--set",
    "dwell=5 s",
    "--set",
    "repeats=1",
    "--set",
    "zero=2 s",
    "--set",
    "ramp=4 s",
    "--set",
    "rest=1 s",
];

fn scratch(name: &str) -> PathBuf {
    let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join("process-faults").join(name);
    let _ = fs::remove_dir_all(&dir);
    fs::create_dir_all(dir.parent().expect("a parent")).expect("scratch");
    dir
}

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_dutycup"));
    command.current_dir(env!("CARGO_MANIFEST_DIR")).stdin(Stdio::null());
    command
}

#[expect(clippy::disallowed_methods, reason = "pseudo-terminals and signals are the subject")]
fn wait(ms: u64) {
    std::thread::sleep(Duration::from_millis(ms));
}

/// A time in which anything comes about, however busy the machine, ms: what waits, waits for the event.
const GENEROUS_MS: u64 = 120_000;

/// Waits until `done`, at most `ms`; whether it came.
fn until(ms: u64, mut done: impl FnMut() -> bool) -> bool {
    for _ in 0..ms / 10 {
        if done() {
            return true;
        }
        wait(10);
    }
    false
}

/// `emulate`, ended on drop.
struct Bench(Child, PathBuf);

impl Bench {
    fn serve(name: &str) -> Bench {
        let ports = scratch(&format!("{name}-ports"));
        let child = program()
            .args(["emulate", "rigs/virtual.yaml", "--ports", &ports.display().to_string()])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("emulate starts");
        let bench = Bench(child, ports);
        assert!(until(GENEROUS_MS, || bench.1.join("rig.yaml").exists()), "emulate serves");
        bench
    }

    /// Ends it and returns the longest time the pump stayed on after the last heartbeat, ms.
    fn end(mut self) -> f64 {
        kill_process(Pid::from_child(&self.0), Signal::INT).expect("signal");
        let mut line = String::new();
        self.0.stdout.take().expect("stdout").read_to_string(&mut line).expect("readable");
        let value: serde_json::Value = serde_json::from_str(&line).unwrap_or_else(|e| panic!("{e}: {line}"));
        value["longest_on_after_last_heartbeat_ms"].as_f64().expect("a time")
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A run on the served bench, with the pump on.
struct Run(Child, PathBuf);

impl Run {
    fn start(name: &str, bench: &Bench) -> Run {
        let out = scratch(&format!("{name}-out"));
        let rig = bench.1.join("rig.yaml").display().to_string();
        let child = program()
            .args(["run", "scenarios/pump-and-nozzle.yaml", "--rig", &rig, "--arm", "virtual"])
            .args(["--out", &out.display().to_string()])
            .args(SHORT)
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("run starts");
        let mut run = Run(child, out);
        let folder = run.1.clone();
        let spraying =
            || fs::read_to_string(folder.join("events.csv")).is_ok_and(|e| e.contains("pump_duty=60"));
        let ended = |child: &mut Child| child.try_wait().is_ok_and(|status| status.is_some());
        until(GENEROUS_MS, || spraying() || ended(&mut run.0));
        assert!(spraying(), "the pump is switched on: {:?}", run.ended());
        wait(400);
        run
    }

    fn signal(&self, signal: Signal) {
        kill_process(Pid::from_child(&self.0), signal).expect("signal");
    }

    /// Waits for the end; exit code and what was said.
    fn ended(&mut self) -> (Option<i32>, String) {
        let over = until(GENEROUS_MS, || self.0.try_wait().is_ok_and(|status| status.is_some()));
        let code = self.0.try_wait().ok().flatten().and_then(|status| status.code());
        let mut said = String::new();
        if over {
            let _ = self.0.stderr.take().expect("stderr").read_to_string(&mut said);
        }
        (code, said)
    }

    fn events(&self) -> String {
        fs::read_to_string(self.1.join("events.csv")).expect("events")
    }
}

impl Drop for Run {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn signals_end_the_run_safe_with_their_own_code() {
    for (signal, code) in [(Signal::INT, 130), (Signal::TERM, 143), (Signal::HUP, 129)] {
        let name = format!("signal-{code}");
        let bench = Bench::serve(&name);
        let mut run = Run::start(&name, &bench);
        run.signal(signal);
        let (ended, said) = run.ended();
        assert_eq!(ended, Some(code), "{said}");
        let events = run.events();
        assert!(events.contains("output reads back off"), "{said}\n{events}");
        let folder = RunFolder::open(&run.1).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(folder.run.exit_code, Some(code as u8));
        assert!(bench.end() < 500.0);
    }
}

#[test]
fn a_killed_or_frozen_run_leaves_the_pump_off_and_a_readable_record() {
    for (n, signal) in [(0, Signal::KILL), (1, Signal::KILL), (2, Signal::STOP), (3, Signal::ABORT)] {
        let name = format!("killed-{n}");
        let bench = Bench::serve(&name);
        let run = Run::start(&name, &bench);
        wait(130 * n);
        run.signal(signal);
        wait(1200);
        let longest_ms = bench.end();
        println!("{name}: pump on for {longest_ms} ms after the last heartbeat");
        assert!(longest_ms <= 501.0, "{longest_ms} ms");
        let folder = RunFolder::open(&run.1).unwrap_or_else(|e| panic!("{name}: {e}"));
        let mut rows = 0;
        folder.samples(&mut |_| rows += 1).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert!(rows > 100, "{name}: {rows} rows");
    }
}

#[test]
fn vanished_ports_end_the_run_by_name() {
    let bench = Bench::serve("unplugged");
    let mut run = Run::start("unplugged", &bench);
    drop(bench);
    let (code, said) = run.ended();
    assert_eq!(code, Some(4), "{said}");
    assert!(said.contains("CONTROL_LOST") || said.contains("SENSOR_LOST"), "{said}");
    assert!(said.contains("emergency stop"), "says what to do: {said}");
    assert!(RunFolder::open(&run.1).is_ok());
}

#[test]
fn a_second_run_is_refused_and_the_first_goes_on() {
    let bench = Bench::serve("busy");
    let mut first = Run::start("busy", &bench);
    let rig = bench.1.join("rig.yaml").display().to_string();
    let out = scratch("busy-second").display().to_string();
    let second = program()
        .args(["run", "scenarios/pump-and-nozzle.yaml", "--rig", &rig, "--arm", "virtual", "--out", &out])
        .output()
        .expect("second run");
    let said = String::from_utf8_lossy(&second.stderr).into_owned();
    assert_eq!(second.status.code(), Some(4), "{said}");
    assert!(said.contains("BENCH_LOCKED"), "{said}");
    assert!(first.0.try_wait().expect("alive").is_none(), "the first goes on");
    first.signal(Signal::INT);
    assert_eq!(first.ended().0, Some(130));
}

#[test]
fn a_missing_port_is_named_before_anything_is_energised() {
    let bench = Bench::serve("missing");
    fs::remove_file(bench.1.join("scale")).expect("a link");
    let rig = bench.1.join("rig.yaml").display().to_string();
    let out = scratch("missing-out").display().to_string();
    let run = program()
        .args(["run", "scenarios/pump-and-nozzle.yaml", "--rig", &rig, "--arm", "virtual", "--out", &out])
        .output()
        .expect("run");
    let said = String::from_utf8_lossy(&run.stderr).into_owned();
    assert_eq!(run.status.code(), Some(4), "{said}");
    assert!(said.contains("PORT_NOT_FOUND") && said.contains("scale"), "{said}");
    assert!(bench.end() <= 0.0, "the pump was never on");
}

#[test]
fn ctrl_z_is_refused_with_the_pump_on() {
    let bench = Bench::serve("ctrl-z");
    let mut run = Run::start("ctrl-z", &bench);
    run.signal(Signal::TSTP);
    wait(700);
    let stat = fs::read_to_string(format!("/proc/{}/stat", run.0.id())).expect("it is there");
    let state = stat.rsplit_once(") ").map(|(_, rest)| rest.chars().next());
    assert!(matches!(state, Some(Some('S' | 'R' | 'D'))), "not stopped: {stat}");
    run.signal(Signal::INT);
    let (code, said) = run.ended();
    assert_eq!(code, Some(130), "{said}");
    assert!(said.contains("Ctrl-Z is refused"), "{said}");
    assert!(bench.end() < 500.0, "the heartbeat went on");
}
